//! Replacing a file that another program may be writing at the same moment.
//!
//! Two of these programs never save into one folder at once: both hold the lock of the folder's [`LOCK`] while they do, and whoever writes
//! sidecars can too. Against a program that knows nothing of it, the new file and the old one change places in one step, where the system
//! can (Linux, macOS). What was there at that very moment is then looked at: where it is not what the new one was made from, both change
//! back, and the page is told. So nothing of a program that writes as most do, whole and under another name first, is ever lost.
//!
//! What remains: a program that writes into the file as it stands, without a name in between, may have opened it before and write after
//! the change; that is lost. Where the system cannot exchange two files (Windows, some network drives) the file is compared just before it
//! is replaced, and what lands between is lost: some tens of microseconds.

use crate::error::{Error, ErrorKind, Result};
use crate::file::{FileKind, read_if_there};
use crate::visit::{folder_of, staged, sync_folder, write_durably};
use std::fs::{File, TryLockError};
use std::io;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// The file in a folder of sidecars that is locked while one is saved.
const LOCK: &str = ".hoofgeo-save.lock";

/// So long a save waits for another program's.
const PATIENCE: Duration = Duration::from_secs(10);

/// Held while the files of a folder are compared and written.
pub(super) struct Held {
    path: PathBuf,
    /// None where the system cannot lock files there.
    _lock: Option<File>,
}

impl Drop for Held {
    fn drop(&mut self) {
        // Whoever has opened it by now sees, once it has the lock, that the name is gone, and makes a new one. Elsewhere that cannot be
        // seen, and the file stays.
        #[cfg(unix)]
        let _ = std::fs::remove_file(&self.path);
    }
}

/// Waits until nobody else saves into this folder.
///
/// # Errors
/// `Io` where the lock's file cannot be made, or somebody holds it for long.
pub(super) fn hold(folder: &Path) -> Result<Held> {
    let path = folder.join(LOCK);
    let fail = |e: &io::Error| Error::io(&path, "cannot be written", e);
    let since = Instant::now();
    loop {
        let lock = open(&path).map_err(|e| fail(&e))?;
        match lock.try_lock() {
            Ok(()) if is_named(&lock, &path) => return Ok(Held { path, _lock: Some(lock) }),
            // It was removed by the one that held it.
            Ok(()) => {}
            Err(TryLockError::Error(_)) => return Ok(Held { path, _lock: None }),
            Err(TryLockError::WouldBlock) if since.elapsed() > PATIENCE => {
                return Err(Error::new(ErrorKind::Io, "another program is saving here for longer than is usual")
                    .in_file(&path)
                    .help("close the other program, then save again"));
            }
            Err(TryLockError::WouldBlock) => std::thread::sleep(Duration::from_millis(2)),
        }
    }
}

fn open(path: &Path) -> io::Result<File> {
    let mut options = File::options();
    options.read(true).write(true).create(true).truncate(false);
    #[cfg(unix)]
    {
        use rustix::fs::OFlags;
        use std::os::unix::fs::OpenOptionsExt;
        options.custom_flags((OFlags::NOFOLLOW | OFlags::NONBLOCK | OFlags::NOCTTY).bits() as i32);
    }
    options.open(path)
}

/// Whether an open file still has this name.
fn is_named(file: &File, path: &Path) -> bool {
    #[cfg(unix)]
    {
        use std::os::unix::fs::MetadataExt;
        let same = |a: std::fs::Metadata, b: std::fs::Metadata| (a.dev(), a.ino()) == (b.dev(), b.ino());
        file.metadata().ok().zip(path.symlink_metadata().ok()).is_some_and(|(a, b)| same(a, b))
    }
    #[cfg(not(unix))]
    {
        let _ = (file, path);
        true
    }
}

/// The file that a name leads to: what a link stands for is written, and the link stays.
///
/// # Errors
/// `Io` where a link leads nowhere.
pub(super) fn real(path: &Path) -> Result<PathBuf> {
    if !path.symlink_metadata().is_ok_and(|m| m.file_type().is_symlink()) {
        return Ok(path.to_path_buf());
    }
    path.canonicalize().map_err(|_| {
        Error::new(ErrorKind::Io, "is a link that leads nowhere")
            .in_file(path)
            .help("make the file that it leads to, or remove the link")
    })
}

/// What became of a file that was to be replaced.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Replaced {
    /// It is.
    Yes,
    /// Another program has written it meanwhile, and its version stands. A second one, where it has written even twice, lies beside it
    /// under this name.
    Other { aside: Option<String> },
}

const OTHER: Replaced = Replaced::Other { aside: None };

/// Replaces what a file said `before` (none: there was no file), unless another program has written it since. On the disk when it
/// returns.
///
/// # Errors
/// `Io` where it cannot be read or written; then it is as it was.
pub(super) fn replace(path: &Path, before: Option<&[u8]>, text: &[u8]) -> Result<Replaced> {
    let path = &real(path)?;
    let fail = |e: io::Error| Error::io(path, "cannot be written", &e);
    let new = staged(path, text)?;
    new.as_file().sync_all().map_err(fail)?;
    if read(path)?.as_deref() != before {
        return Ok(OTHER);
    }
    if before.is_none() {
        return match new.persist_noclobber(path) {
            Ok(_) => sync_folder(path).map_err(fail).map(|()| Replaced::Yes),
            Err(e) if e.error.kind() == io::ErrorKind::AlreadyExists => Ok(OTHER),
            Err(e) => Err(fail(e.error)),
        };
    }
    match exchange(new.path(), path) {
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(OTHER),
        // Not on this system, or not on this disk.
        Err(_) => {
            new.persist(path).map_err(|e| fail(e.error))?;
            return sync_folder(path).map_err(fail).map(|()| Replaced::Yes);
        }
        Ok(()) => {}
    }
    // What was there lies under the temporary name now, and goes with it.
    let found = read(new.path())?;
    if found.as_deref() == before {
        sync_folder(path).map_err(fail)?;
        // Whoever has written since, over this version, is told of too.
        return Ok(if read(path)?.as_deref() == Some(text) { Replaced::Yes } else { OTHER });
    }
    let aside = change_back(new.path(), path, text, found.as_deref());
    let aside = match aside {
        Ok(aside) => aside,
        // Whatever happens, the other's version is not removed with the temporary name.
        Err(e) => {
            let _ = new.keep();
            return Err(e);
        }
    };
    sync_folder(path).map_err(fail)?;
    Ok(Replaced::Other { aside })
}

fn read(path: &Path) -> Result<Option<Vec<u8>>> {
    read_if_there(path, FileKind::Sidecar)
}

/// Gives another program's version, which has the name `held`, its place again. Where it has written once more in that moment, the later
/// version stays in place, and the earlier one goes beside it; gives its name.
fn change_back(held: &Path, path: &Path, ours: &[u8], theirs: Option<&[u8]>) -> Result<Option<String>> {
    let fail = |e: io::Error| Error::io(path, "cannot be written", &e);
    match exchange(held, path) {
        // Removed in that moment: it is put back all the same, for what was removed was ours.
        Err(e) if e.kind() == io::ErrorKind::NotFound => {
            std::fs::hard_link(held, path).map_err(fail)?;
            return Ok(None);
        }
        end => end.map_err(fail)?,
    }
    if read(held)?.as_deref() == Some(ours) {
        return Ok(None);
    }
    exchange(held, path).map_err(fail)?;
    let earlier = read(held)?;
    match earlier.as_deref().or(theirs) {
        Some(earlier) => beside(path, "theirs", earlier).map(Some),
        None => Ok(None),
    }
}

/// Lets two files change their names, in one step.
#[cfg(any(target_os = "linux", target_os = "android", target_vendor = "apple"))]
fn exchange(a: &Path, b: &Path) -> io::Result<()> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    Ok(renameat_with(CWD, a, CWD, b, RenameFlags::EXCHANGE)?)
}

#[cfg(not(any(target_os = "linux", target_os = "android", target_vendor = "apple")))]
fn exchange(_: &Path, _: &Path) -> io::Result<()> {
    Err(io::ErrorKind::Unsupported.into())
}

/// Puts a version beside a photo's sidecar, under a name that nothing else reads or writes; gives the name.
///
/// # Errors
/// `Io` where it cannot be written.
pub(super) fn beside(sidecar: &Path, whose: &str, text: &[u8]) -> Result<String> {
    let name = sidecar.file_name().unwrap_or_default();
    let photo = crate::visit::without_suffix(name).unwrap_or(name);
    for n in 1..1000 {
        let mut own = photo.to_owned();
        own.push(format!(".{whose}-{n}.json"));
        let path = folder_of(sidecar).join(&own);
        if path.symlink_metadata().is_err() {
            write_durably(&path, text, false)?;
            return Ok(crate::visit::shown(&own).into_owned());
        }
    }
    Err(Error::new(ErrorKind::Io, "too many copies were put aside already").in_file(sidecar))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use std::collections::BTreeSet;
    use std::sync::atomic::{AtomicBool, Ordering};

    /// Every text that stands in a folder, whatever its name.
    fn texts(folder: &Path) -> BTreeSet<String> {
        let read = |e: io::Result<std::fs::DirEntry>| std::fs::read_to_string(e.unwrap().path()).unwrap();
        folder.read_dir().unwrap().map(read).collect()
    }

    /// Another program writes as most do, under another name first, at every moment of a save: its edit stands, or was there to be
    /// seen before. Many hundred times, with moments from before the save to behind it.
    #[test]
    fn an_atomic_writer_loses_no_edit() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("LF.jpg.hoof.json");
        let (mut saved, mut kept) = (0, 0);
        // What a save takes here, waiting for the disk.
        std::fs::write(&path, "before").unwrap();
        let since = Instant::now();
        replace(&path, Some(b"before"), b"ours").unwrap();
        let usual = since.elapsed();
        for round in 0..600_u32 {
            std::fs::write(&path, "before").unwrap();
            let (ours, theirs) = (format!("ours {round}"), format!("theirs {round}"));
            let go = AtomicBool::new(false);
            let replaced = std::thread::scope(|scope| {
                scope.spawn(|| {
                    let new = dir.path().join("editor.new");
                    std::fs::write(&new, &theirs).unwrap();
                    while !go.load(Ordering::Acquire) {
                        std::hint::spin_loop();
                    }
                    let since = Instant::now();
                    // From the beginning of a save to behind its end, in steps that fall differently each time.
                    while since.elapsed() < usual.mul_f64(f64::from(round * 7 % 599) / 250.0) {
                        std::hint::spin_loop();
                    }
                    std::fs::rename(&new, &path).unwrap();
                });
                go.store(true, Ordering::Release);
                replace(&path, Some(b"before"), ours.as_bytes()).unwrap()
            });
            let now = std::fs::read_to_string(&path).unwrap();
            // Theirs is there: nobody has written after it but a save that knew of it.
            assert_eq!(now, theirs, "round {round}: {replaced:?}");
            match replaced {
                Replaced::Yes => saved += 1,
                Replaced::Other { .. } => kept += 1,
            }
            assert!(texts(dir.path()).iter().all(|t| t == &theirs), "{:?}", texts(dir.path()));
        }
        assert!(saved > 0 && kept > 0, "no race: {saved} saves before, {kept} behind");
    }

    #[test]
    fn a_file_is_replaced_only_where_it_is_as_it_was() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("LF.jpg.hoof.json");
        assert_eq!(replace(&path, None, b"one").unwrap(), Replaced::Yes);
        assert_eq!(replace(&path, None, b"two").unwrap(), OTHER);
        assert_eq!(replace(&path, Some(b"none"), b"two").unwrap(), OTHER);
        assert_eq!(std::fs::read(&path).unwrap(), b"one");
        assert_eq!(replace(&path, Some(b"one"), b"two").unwrap(), Replaced::Yes);
        assert_eq!(texts(dir.path()), BTreeSet::from(["two".to_owned()]));
        std::fs::remove_file(&path).unwrap();
        assert_eq!(replace(&path, Some(b"two"), b"three").unwrap(), OTHER);
    }

    /// What is put back by hand in the midst of a change goes beside.
    #[cfg(target_os = "linux")]
    #[test]
    fn two_edits_in_one_moment_both_stay() {
        let dir = tempfile::tempdir().unwrap();
        let (held, path) = (dir.path().join("held"), dir.path().join("LF.jpg.hoof.json"));
        std::fs::write(&held, "first").unwrap();
        std::fs::write(&path, "second").unwrap();
        let aside = change_back(&held, &path, b"ours", Some(b"first")).unwrap();
        assert_eq!(aside.as_deref(), Some("LF.jpg.theirs-1.json"));
        assert_eq!(std::fs::read(&path).unwrap(), b"second");
        assert_eq!(std::fs::read(dir.path().join("LF.jpg.theirs-1.json")).unwrap(), b"first");
    }

    #[cfg(unix)]
    #[test]
    fn what_a_link_stands_for_is_written() {
        let dir = tempfile::tempdir().unwrap();
        let (target, link) = (dir.path().join("kept/LF.json"), dir.path().join("LF.jpg.hoof.json"));
        std::fs::create_dir(dir.path().join("kept")).unwrap();
        std::os::unix::fs::symlink("kept/LF.json", &link).unwrap();
        assert_eq!(replace(&link, None, b"one").unwrap_err().what(), "is a link that leads nowhere");
        std::fs::write(&target, "one").unwrap();
        assert_eq!(replace(&link, Some(b"one"), b"two").unwrap(), Replaced::Yes);
        assert!(link.symlink_metadata().unwrap().file_type().is_symlink());
        assert_eq!(std::fs::read(&target).unwrap(), b"two");
    }

    /// Saves through the lock come one after another, and it is gone behind the last.
    #[test]
    fn the_lock_is_held_by_one_at_a_time() {
        let dir = tempfile::tempdir().unwrap();
        let inside = AtomicBool::new(false);
        std::thread::scope(|scope| {
            for _ in 0..4 {
                scope.spawn(|| {
                    for _ in 0..50 {
                        let held = hold(dir.path()).unwrap();
                        assert!(!inside.swap(true, Ordering::SeqCst));
                        std::thread::yield_now();
                        inside.store(false, Ordering::SeqCst);
                        drop(held);
                    }
                });
            }
        });
        #[cfg(unix)]
        assert_eq!(dir.path().read_dir().unwrap().count(), 0);
    }
}
