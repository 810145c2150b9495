//! The file that the browser's opener is given. An opener's arguments can be read by everyone on the machine; this file can be
//! read by its owner alone, leads to the page with a ticket that is good once, and is removed when it has been used.

use crate::error::{Error, Result};
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};
use tempfile::{NamedTempFile, TempDir};

/// How long it waits for the browser.
const LASTS: Duration = Duration::from_secs(60);

/// Removed when dropped.
#[derive(Debug)]
pub(super) struct Opening {
    file: NamedTempFile,
    _folder: TempDir,
    ticket: String,
    until: Instant,
}

impl Opening {
    /// Writes it into a folder of its own. `address` ends in the ticket.
    pub(super) fn write(address: &str, ticket: String) -> Result<Self> {
        let failed =
            |e: std::io::Error| Error::io(std::env::temp_dir(), "cannot write the page that opens the browser", &e);
        let folder = own_folder().map_err(failed)?;
        let mut file =
            tempfile::Builder::new().prefix("open-").suffix(".html").tempfile_in(folder.path()).map_err(failed)?;
        let page = format!(
            "<!doctype html>\n<meta charset=\"utf-8\">\n<meta name=\"referrer\" content=\"no-referrer\">\n\
             <meta http-equiv=\"refresh\" content=\"0; url={address}\">\n<title>hoofgeo place</title>\n"
        );
        file.write_all(page.as_bytes()).and_then(|()| file.flush()).map_err(failed)?;
        Ok(Self { file, _folder: folder, ticket, until: Instant::now() + LASTS })
    }

    pub(super) fn path(&self) -> &Path {
        self.file.path()
    }

    pub(super) fn ticket(&self) -> &str {
        &self.ticket
    }

    pub(super) fn is_over(&self) -> bool {
        Instant::now() >= self.until
    }
}

/// A folder that its owner alone may enter. On Linux in the home folder where that can be: browsers that come as a sandboxed
/// package see no other temporary folder than their own, and no hidden one.
fn own_folder() -> std::io::Result<TempDir> {
    let mut builder = tempfile::Builder::new();
    builder.prefix("hoofgeo-");
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o700));
    let home =
        std::env::var_os("HOME").map(PathBuf::from).filter(|home| cfg!(target_os = "linux") && home.is_absolute());
    home.and_then(|home| builder.tempdir_in(home).ok()).map_or_else(|| builder.tempdir(), Ok)
}
