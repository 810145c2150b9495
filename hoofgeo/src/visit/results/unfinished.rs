//! The work folder of a run that has not ended: a journal of what is measured, so that a run that is stopped, at whatever moment, goes
//! on from there when it is started again.
//!
//! Each start writes a journal of its own and reads those of the starts before. A record is one line: a checksum, the photo's line of
//! the manifest (which holds the entry's checksum), and the entry. What a kill has cut off, or a disk has spoilt, ends its journal there;
//! the photos behind are measured again.

use super::Outputs;
use super::manifest::{PhotoLine, parse};
use super::rendered::Rendered;
use super::stored::{Earlier, Finished, Stored, finished, whole_lines};
use crate::error::{Error, ErrorKind, Result};
use crate::photo::Sha256Hex;
use crate::visit::output::{is_temporary, real_folder};
use std::fs::{File, TryLockError};
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

/// The file in it that a run holds a lock on.
const LOCK: &str = "lock";

const CANNOT_WRITE: &str = "the output folder cannot be written to";

/// Digits of a record's checksum.
const CHECK: usize = 16;

/// As many journals are read; older ones of a run that was stopped more often are left out.
const MOST_JOURNALS: usize = 200;

/// The work folder of this run.
pub(crate) struct Unfinished {
    folder: PathBuf,
    journal: BufWriter<File>,
    path: PathBuf,
    records: usize,
    /// Held while the run goes on; the system lets go of it when the program ends, however it ends.
    lock: File,
}

impl Unfinished {
    /// Makes the work folder, or goes on with the one there; gives what earlier runs have measured.
    ///
    /// # Errors
    /// `Io` where the folder cannot be written to, `Usage` where another run is writing to it.
    pub(crate) fn open(outputs: &Outputs, anew: bool) -> Result<(Self, Earlier)> {
        let folder = outputs.unfinished_folder();
        std::fs::create_dir_all(&outputs.folder)
            .map_err(|e| Error::io(&outputs.folder, "the output folder cannot be made", &e))?;
        let fail = |e: std::io::Error| Error::io(&outputs.folder, CANNOT_WRITE, &e);
        real_folder(&folder, CANNOT_WRITE)?;
        let lock = open_lock(&folder.join(LOCK))?;
        match lock.try_lock() {
            Err(TryLockError::WouldBlock) => {
                return Err(Error::new(ErrorKind::Usage, "another run is writing its results into this folder")
                    .in_file(&outputs.folder)
                    .help("wait for its end, or name another folder"));
            }
            // Where files cannot be locked, as on some network drives, there is no guard.
            Err(TryLockError::Error(_)) | Ok(()) => {}
        }
        let mut earlier = Earlier::default();
        let (journals, last) = tidy_up(&folder, anew).map_err(fail)?;
        if !anew {
            for path in journals.iter().rev().take(MOST_JOURNALS) {
                if let Some(records) = read_journal(path) {
                    earlier.add(records);
                }
            }
            if let Some((_, lines)) = finished(&outputs.folder, &outputs.manifest_name()) {
                earlier.add(Box::new(lines.filter_map(|line| match line {
                    Finished::Photo(stored) => Some(*stored),
                    Finished::Refusal(_) => None,
                })));
            }
        }
        let path = folder.join(format!("{}.journal", last + 1));
        let journal = BufWriter::with_capacity(1 << 18, File::create_new(&path).map_err(fail)?);
        Ok((Self { folder, journal, path, records: 0, lock }, earlier))
    }

    /// Where files grow before they get their names.
    pub(crate) fn folder(&self) -> &Path {
        &self.folder
    }

    /// Adds a photo measured now.
    pub(crate) fn add(&mut self, photo: &Rendered) -> std::io::Result<()> {
        self.records += 1;
        let check = checksum(&photo.line);
        writeln!(self.journal, "{check}\t{}\t{}", photo.line, photo.entry)
    }

    /// Hands everything added so far to the system: from here on only its own failure loses it.
    pub(crate) fn flush(&mut self) -> std::io::Result<()> {
        self.journal.flush()
    }

    /// Ends a run that goes on another time: the folder stays where there is something in it to go on from, and says whether.
    pub(crate) fn interrupted(mut self) -> bool {
        let written = self.flush().is_ok() && self.records > 0;
        let Self { folder, journal, path, lock, .. } = self;
        // Some systems remove no file that is open.
        drop(journal);
        if !written {
            let _ = std::fs::remove_file(&path);
        }
        let left = tidy_up(&folder, false).is_ok_and(|(journals, _)| !journals.is_empty());
        drop(lock);
        if !left {
            let _ = remove(&folder);
        }
        left
    }

    /// Ends a run whose files have their names.
    pub(crate) fn finished(self) -> Result<()> {
        let Self { folder, journal, lock, .. } = self;
        drop((journal, lock));
        remove(&folder).map_err(|e| Error::io(&folder, "cannot be removed", &e))
    }
}

fn checksum(line: &str) -> String {
    let mut text = Sha256Hex::of(line.as_bytes()).to_string();
    text.truncate(CHECK);
    text
}

/// Opens the lock's file, and makes it where there is none. Neither a link is followed nor anything written.
fn open_lock(path: &Path) -> Result<File> {
    let mut options = File::options();
    options.read(true).write(true).create(true).truncate(false);
    #[cfg(unix)]
    {
        use rustix::fs::OFlags;
        use std::os::unix::fs::OpenOptionsExt;
        options.custom_flags((OFlags::NOFOLLOW | OFlags::NONBLOCK | OFlags::NOCTTY).bits() as i32);
    }
    let not_ours = || {
        Error::new(ErrorKind::Io, format!("{CANNOT_WRITE}: this is no file of this program"))
            .in_file(path)
            .help("remove it, or name another output folder")
    };
    if path.symlink_metadata().is_ok_and(|m| !m.is_file()) {
        return Err(not_ours());
    }
    let lock = options.open(path).map_err(|e| Error::io(path, CANNOT_WRITE, &e))?;
    let found = lock.metadata().map_err(|e| Error::io(path, CANNOT_WRITE, &e))?;
    if found.is_file() { Ok(lock) } else { Err(not_ours()) }
}

/// Removes what a killed run left besides its journals, and empty journals, or all of them; gives those that stay, the oldest first, and
/// the highest number. What this program does not write, by name and kind, stays and is not read.
fn tidy_up(folder: &Path, all: bool) -> std::io::Result<(Vec<PathBuf>, u64)> {
    let mut journals = Vec::new();
    let mut last = 0;
    for entry in std::fs::read_dir(folder)? {
        let entry = entry?;
        let Ok(name) = entry.file_name().into_string() else { continue };
        let number = name.strip_suffix(".journal").and_then(|n| n.parse::<u64>().ok());
        let is_file = entry.file_type()?.is_file();
        match number {
            Some(number) if is_file && !all && entry.metadata()?.len() > 0 => {
                journals.push((number, entry.path()));
                last = last.max(number);
            }
            Some(_) if is_file => std::fs::remove_file(entry.path())?,
            Some(number) => last = last.max(number),
            None if is_file && is_temporary(&name) => std::fs::remove_file(entry.path())?,
            None => {}
        }
    }
    journals.sort();
    Ok((journals.into_iter().map(|(_, path)| path).collect(), last))
}

/// Removes the work folder with what this program has written there; it stays where there is something else in it.
fn remove(folder: &Path) -> std::io::Result<()> {
    tidy_up(folder, true)?;
    let lock = folder.join(LOCK);
    if lock.symlink_metadata().is_ok_and(|m| m.is_file()) {
        std::fs::remove_file(lock)?;
    }
    match std::fs::remove_dir(folder) {
        Err(e) if e.kind() == std::io::ErrorKind::DirectoryNotEmpty => Ok(()),
        end => end,
    }
}

/// The records of a journal as far as it is whole.
fn read_journal(path: &Path) -> Option<Box<dyn Iterator<Item = Stored> + Send>> {
    Some(Box::new(whole_lines(path)?.map_while(|text| record(&text))))
}

/// How many whole records lines hold, for the fuzz harness.
pub(super) fn records(text: &str) -> usize {
    text.lines().filter_map(record).count()
}

fn record(text: &str) -> Option<Stored> {
    let (check, rest) = text.split_once('\t')?;
    let (line, entry) = rest.split_once('\t')?;
    if check != checksum(line) {
        return None;
    }
    let line: PhotoLine = parse(line).ok()?;
    (Sha256Hex::of(entry.as_bytes()) == line.entry_sha256).then(|| Stored { line, entry: entry.to_owned() })
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    fn line(photo: &str, entry: &str) -> String {
        let sha256 = Sha256Hex::of(entry.as_bytes());
        serde_json::json!({
            "photo": photo, "photo_sha256": sha256, "sidecar_sha256": sha256, "shared": {}, "inputs_sha256": sha256, "values": 1,
            "entry_sha256": sha256, "picture": null, "picture_sha256": null,
        })
        .to_string()
    }

    fn journal(photos: &[&str]) -> String {
        let record = |photo: &&str| {
            let entry = format!("{{\"photo\":\"{photo}\",\"notes\":\"tab \\t and line \\n\"}}");
            let line = line(photo, &entry);
            format!("{}\t{line}\t{entry}\n", checksum(&line))
        };
        photos.iter().map(record).collect()
    }

    fn read(bytes: &[u8]) -> Vec<String> {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("1.journal");
        std::fs::write(&path, bytes).unwrap();
        read_journal(&path).unwrap().map(|s| s.line.photo).collect()
    }

    #[test]
    fn a_journal_cut_off_anywhere_in_its_last_record_gives_the_others() {
        let whole = journal(&["a.jpg", "b.jpg", "c.jpg"]);
        assert_eq!(read(whole.as_bytes()), ["a.jpg", "b.jpg", "c.jpg"]);
        let last = journal(&["a.jpg", "b.jpg"]).len();
        for end in last..whole.len() {
            assert_eq!(read(&whole.as_bytes()[..end]), ["a.jpg", "b.jpg"], "cut at {end}");
        }
    }

    #[test]
    fn a_journal_spoilt_at_any_byte_gives_the_records_before() {
        let whole = journal(&["a.jpg", "b.jpg"]);
        let second = journal(&["a.jpg"]).len();
        for at in second..whole.len() {
            let mut spoilt = whole.clone().into_bytes();
            spoilt[at] ^= 1;
            assert_eq!(read(&spoilt), ["a.jpg"], "spoilt at {at}");
        }
    }

    #[test]
    fn one_run_at_a_time_writes_to_a_folder() {
        let dir = tempfile::tempdir().unwrap();
        let outputs = Outputs::in_folder(dir.path());
        let (first, _) = Unfinished::open(&outputs, false).unwrap();
        let refused = Unfinished::open(&outputs, false).err().unwrap();
        assert!(refused.to_string().contains("another run"), "{refused}");
        assert!(!first.interrupted(), "nothing to go on from");
        assert_eq!(dir.path().read_dir().unwrap().count(), 0);
    }
}
