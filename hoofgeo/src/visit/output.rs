//! Writing files whole or not at all.

use crate::error::{Error, Result};
use std::fs::File;
use std::io::Write;
use std::path::Path;
use tempfile::NamedTempFile;

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

/// Writes a file whole or not at all: under a temporary name in its folder first.
///
/// # Errors
/// Where the folder cannot be written to.
pub fn write_whole(path: &Path, bytes: &[u8]) -> Result<()> {
    staged(path, bytes)?.persist(path).map_err(|e| cannot_write(path, &e.error))?;
    Ok(())
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
    File::open(path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new(".")))?.sync_all()?;
    let _ = path;
    Ok(())
}

/// A file's content under a temporary name in its folder, readable for all, still to be given its own name.
pub(super) fn staged(path: &Path, bytes: &[u8]) -> Result<NamedTempFile> {
    let fail = |e: std::io::Error| cannot_write(path, &e);
    let mut file = NamedTempFile::new_in(path.parent().unwrap_or(path)).map_err(fail)?;
    file.write_all(bytes).map_err(fail)?;
    readable(file.as_file()).map_err(fail)?;
    Ok(file)
}

pub(super) fn cannot_write(path: &Path, e: &std::io::Error) -> Error {
    Error::io(path, "cannot be written", e)
}
