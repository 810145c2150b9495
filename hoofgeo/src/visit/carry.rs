//! Lens profiles that go with copies of photos into another folder.
//!
//! A profile from within the folder keeps its place there. One from elsewhere, or made of the lens database's entry, goes into the folder
//! [`ELSEWHERE`] at the top, where no photo chooses it by itself, under a name that tells its content: two of one name stay two files.

use super::lens::{LensUsed, PROFILE_SUFFIX};
use super::name::shown;
use super::output::{folder_of, make_within, write_whole};
use crate::error::Result;
use crate::file::{FileKind, read_file};
use crate::photo::Sha256Hex;
use std::path::{Path, PathBuf};

/// The folder of profiles from elsewhere.
const ELSEWHERE: &str = "lenses";

/// Digits of the content's fingerprint in a name.
const DIGITS: usize = 8;

/// The way from one folder to another.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Carrier<'a> {
    pub(crate) from: &'a Path,
    pub(crate) to: &'a Path,
}

impl Carrier<'_> {
    /// Where a photo's copy goes. Its own name stays, whatever it is.
    pub(crate) fn photo(&self, photo: &Path) -> PathBuf {
        self.to.join(photo.strip_prefix(self.from).unwrap_or(photo))
    }

    /// Carries the profile that a photo is measured with; gives its path from the folder of the photo's copy. `None` where there is no
    /// profile.
    ///
    /// # Errors
    /// Where it cannot be read or written.
    pub(crate) fn profile(&self, lens: &LensUsed, copy: &Path) -> Result<Option<String>> {
        let (place, bytes) = match (&lens.file, &lens.entry) {
            (Some(file), _) => {
                let bytes = read_file(file, FileKind::LensProfile)?;
                (self.within(file).unwrap_or_else(|| elsewhere(file, &bytes)), bytes)
            }
            (None, Some(entry)) => {
                let bytes = entry.to_json().into_bytes();
                (elsewhere(Path::new("database.lens.json"), &bytes), bytes)
            }
            (None, None) => return Ok(None),
        };
        let path = self.to.join(&place);
        if read_file(&path, FileKind::LensProfile).ok().as_ref() != Some(&bytes) {
            make_within(self.to, folder_of(&path), "cannot be made")?;
            write_whole(&path, &bytes)?;
        }
        let up = copy.strip_prefix(self.to).unwrap_or(copy).components().count().saturating_sub(1);
        Ok(Some("../".repeat(up) + &place))
    }

    /// A profile's path within the folder, in words that a sidecar can write; `None` where it lies elsewhere.
    fn within(&self, file: &Path) -> Option<String> {
        let file = file.canonicalize().ok()?;
        let within = file.strip_prefix(self.from.canonicalize().ok()?).ok()?;
        let parts: Vec<_> = within.components().map(|c| shown(c.as_os_str())).collect();
        Some(parts.join("/"))
    }
}

fn elsewhere(file: &Path, bytes: &[u8]) -> String {
    let name = shown(file.file_name().unwrap_or_default());
    let mut digits = Sha256Hex::of(bytes).to_string();
    digits.truncate(DIGITS);
    let stem = name.strip_suffix(PROFILE_SUFFIX).unwrap_or(&name);
    format!("{ELSEWHERE}/{stem}-{digits}{PROFILE_SUFFIX}")
}
