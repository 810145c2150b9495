//! Writing files whole or not at all, and nowhere but where they belong.
//!
//! A file grows under a temporary name ([`TEMP_PREFIX`]) and is given its own when it is whole. While it grows its writer holds the
//! system's lock on it; a program that was killed holds none any more, so that the next one knows what it has left and removes it.

use crate::error::{Error, ErrorKind, Result};
use std::collections::HashSet;
use std::fs::File;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};
use std::time::Duration;
use tempfile::NamedTempFile;

const TEMP_PREFIX: &str = ".hoofgeo-";
const TEMP_SUFFIX: &str = ".tmp";

/// Between making a temporary file and locking it another program may look at it.
const NEW: Duration = Duration::from_secs(1);

/// Where files cannot be locked, as on some network drives, nobody writes one for so long.
const OLD: Duration = Duration::from_secs(24 * 60 * 60);

/// As many folders are remembered as swept; a set may have a hundred thousand.
const MOST_SWEPT: usize = 4096;

/// Makes a file that a temporary file created for its owner alone readable for all, as a file written directly would be.
pub(super) fn readable(file: &File) -> std::io::Result<()> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        file.set_permissions(std::fs::Permissions::from_mode(0o644))?;
    }
    let _ = file;
    Ok(())
}

/// Writes a file whole or not at all: under a temporary name in its folder first. A link of its name is replaced, not followed.
///
/// # Errors
/// Where the folder cannot be written to.
pub fn write_whole(path: &Path, bytes: &[u8]) -> Result<()> {
    staged(path, bytes)?.persist(path).map_err(|e| cannot_write(path, &e.error))?;
    Ok(())
}

/// The same, grown in a folder of this run's own where that is on the same disk: what a kill leaves is removed with it.
#[cfg(feature = "pictures")]
pub(super) fn write_from(work: &Path, path: &Path, bytes: &[u8]) -> Result<()> {
    match staged_in(work, path, bytes)?.persist(path) {
        Ok(_) => Ok(()),
        Err(e) if e.error.kind() == std::io::ErrorKind::CrossesDevices => write_whole(path, bytes),
        Err(e) => Err(cannot_write(path, &e.error)),
    }
}

/// Writes a file whole, and only where there is none: another program may have written one in the meantime.
///
/// # Errors
/// Where there is one, or the folder cannot be written to.
pub(crate) fn write_new(path: &Path, bytes: &[u8]) -> Result<()> {
    staged(path, bytes)?.persist_noclobber(path).map_err(|e| cannot_write(path, &e.error))?;
    Ok(())
}

/// As [`write_whole`], or [`write_new`] where nothing is to be written over; on the disk when it returns, so that a power cut
/// thereafter loses nothing of it. That waits for the disk: not for results, which can be made again.
///
/// # Errors
/// As theirs.
#[cfg(feature = "place")]
pub(crate) fn write_durably(path: &Path, bytes: &[u8], over: bool) -> Result<()> {
    let fail = |e: std::io::Error| cannot_write(path, &e);
    let staged = staged(path, bytes)?;
    staged.as_file().sync_all().map_err(fail)?;
    let named = if over { staged.persist(path) } else { staged.persist_noclobber(path) };
    named.map_err(|e| fail(e.error))?;
    sync_folder(path).map_err(fail)
}

/// Makes sure that a name given or taken in a file's folder is on the disk, where the system lets a folder be synchronised.
#[cfg(feature = "place")]
pub(crate) fn sync_folder(path: &Path) -> std::io::Result<()> {
    #[cfg(unix)]
    File::open(folder_of(path))?.sync_all()?;
    let _ = path;
    Ok(())
}

/// A file's content under a temporary name in its folder, readable for all, still to be given its own name.
pub(crate) fn staged(path: &Path, bytes: &[u8]) -> Result<NamedTempFile> {
    let folder = folder_of(path);
    sweep_once(folder);
    staged_in(folder, path, bytes)
}

fn staged_in(folder: &Path, path: &Path, bytes: &[u8]) -> Result<NamedTempFile> {
    let fail = |e: std::io::Error| cannot_write(path, &e);
    let mut file = temporary_in(folder).map_err(fail)?;
    file.write_all(bytes).map_err(fail)?;
    readable(file.as_file()).map_err(fail)?;
    Ok(file)
}

/// A new file under a temporary name.
pub(super) fn temporary_in(folder: &Path) -> std::io::Result<NamedTempFile> {
    let file = tempfile::Builder::new().prefix(TEMP_PREFIX).suffix(TEMP_SUFFIX).tempfile_in(folder)?;
    // Says that its writer lives.
    let _ = file.as_file().try_lock();
    Ok(file)
}

/// Whether a name is one that [`temporary_in`] gives.
pub(super) fn is_temporary(name: &str) -> bool {
    name.strip_prefix(TEMP_PREFIX)
        .and_then(|n| n.strip_suffix(TEMP_SUFFIX))
        .is_some_and(|n| n.len() == 6 && n.bytes().all(|b| b.is_ascii_alphanumeric()))
}

/// Removes the temporary files of programs that were killed. What cannot be looked at stays.
pub(crate) fn sweep(folder: &Path) {
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        let ours = entry.file_name().to_str().is_some_and(is_temporary);
        if !ours || !entry.file_type().is_ok_and(|t| t.is_file()) {
            continue;
        }
        let path = entry.path();
        let Ok(file) = crate::file::open(&path) else { continue };
        let age = file.metadata().and_then(|m| m.modified()).ok().and_then(|at| at.elapsed().ok()).unwrap_or_default();
        let least = match file.try_lock() {
            Ok(()) => NEW,
            Err(std::fs::TryLockError::WouldBlock) => continue,
            Err(std::fs::TryLockError::Error(_)) => OLD,
        };
        if age >= least {
            let _ = std::fs::remove_file(&path);
        }
    }
}

/// Sweeps a folder the first time that something is written there.
fn sweep_once(folder: &Path) {
    static SWEPT: Mutex<Option<HashSet<PathBuf>>> = Mutex::new(None);
    let mut swept = SWEPT.lock().unwrap_or_else(PoisonError::into_inner);
    let swept = swept.get_or_insert_default();
    if swept.len() >= MOST_SWEPT {
        swept.clear();
    }
    if swept.insert(folder.to_path_buf()) {
        sweep(folder);
    }
}

/// The folder that a file is in, by its path.
pub(crate) fn folder_of(path: &Path) -> &Path {
    path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// Makes a folder within an output folder, and those on the way to it. The output folder may be a link, for somebody has named it; below
/// it no link is followed: it may lead to what is nobody's output.
///
/// # Errors
/// `Io` where one cannot be made, is a link or no folder.
#[cfg(feature = "pictures")]
pub(crate) fn make_within(root: &Path, folder: &Path, doing: &str) -> Result<()> {
    std::fs::create_dir_all(root).map_err(|e| Error::io(root, doing, &e))?;
    let below = folder.strip_prefix(root).unwrap_or(folder);
    let mut at = root.to_path_buf();
    for part in below.components().filter(|c| *c != std::path::Component::CurDir) {
        at.push(part);
        real_folder(&at, doing)?;
    }
    Ok(())
}

/// Makes a folder where there is none; a link to one is refused.
pub(super) fn real_folder(path: &Path, doing: &str) -> Result<()> {
    match std::fs::create_dir(path) {
        Ok(()) => return Ok(()),
        Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => {}
        Err(e) => return Err(Error::io(path, doing, &e)),
    }
    let found = path.symlink_metadata().map_err(|e| Error::io(path, doing, &e))?;
    let (what, help) = match found.file_type() {
        t if t.is_dir() => return Ok(()),
        t if t.is_symlink() => {
            ("it is a link, and links are not followed here", "remove the link, or name another output folder")
        }
        _ => ("there is a file of this name", "move it elsewhere, or name another output folder"),
    };
    Err(Error::new(ErrorKind::Io, format!("{doing}: {what}")).in_file(path).help(help))
}

pub(super) fn cannot_write(path: &Path, e: &std::io::Error) -> Error {
    Error::io(path, "cannot be written", e)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    #[test]
    fn what_a_killed_program_left_is_swept_and_nothing_else() {
        let dir = tempfile::tempdir().unwrap();
        let names = || {
            let mut names: Vec<_> = dir.path().read_dir().unwrap().map(|e| e.unwrap().file_name()).collect();
            names.sort();
            names
        };
        let dead = dir.path().join(".hoofgeo-aB3xYz.tmp");
        for name in [".tmpAbCdEf", ".hoofgeo-notes.tmp", "hoofgeo-aB3xYz.tmp"] {
            std::fs::write(dir.path().join(name), "theirs").unwrap();
        }
        std::fs::create_dir(dir.path().join(".hoofgeo-folder.tmp")).unwrap();
        let others = names();
        std::fs::write(&dead, "half").unwrap();
        let alive = temporary_in(dir.path()).unwrap();
        // Made this moment, it may still be about to be locked.
        sweep(dir.path());
        assert!(dead.exists());
        for file in [&dead, &alive.path().to_path_buf()] {
            let before = std::time::SystemTime::now() - Duration::from_secs(10);
            File::options().write(true).open(file).unwrap().set_modified(before).unwrap();
        }
        sweep(dir.path());
        assert!(!dead.exists() && alive.path().exists());
        drop(alive);
        assert_eq!(names(), others);
    }

    #[cfg(unix)]
    #[test]
    fn folders_are_made_and_links_are_not_followed() {
        let dir = tempfile::tempdir().unwrap();
        let (out, other) = (dir.path().join("out"), dir.path().join("other"));
        make_within(&out, &out.join("a/b"), "cannot be made").unwrap();
        make_within(&out, &out.join("a/b"), "cannot be made").unwrap();
        std::fs::create_dir(&other).unwrap();
        std::os::unix::fs::symlink(&other, out.join("link")).unwrap();
        let e = make_within(&out, &out.join("link/c"), "cannot be made").unwrap_err();
        assert_eq!(
            (e.file(), e.what()),
            (Some(&*out.join("link")), "cannot be made: it is a link, and links are not followed here")
        );
        assert_eq!(other.read_dir().unwrap().count(), 0);
        std::fs::write(out.join("file"), "").unwrap();
        assert!(
            make_within(&out, &out.join("file"), "cannot be made").unwrap_err().what().ends_with("a file of this name")
        );
    }
}
