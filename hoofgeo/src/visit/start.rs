//! New sidecars with empty slots.

use super::folder::walk;
use super::name::shown;
use super::run::must_be_folder;
use crate::error::{Error, Result};
use crate::photo::read_facts;
use crate::sidecar::template;
use std::path::{Path, PathBuf};

/// What happened to one photo.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Started {
    /// A sidecar was written.
    Written(PathBuf),
    /// There was one already; it was left alone.
    Kept(PathBuf),
    /// None could be written.
    Refused(Error),
}

/// Writes a sidecar with empty slots beside every photo of a folder that has none, from hints in the file name and from EXIF.
/// Never over one that exists.
///
/// # Errors
/// Where the folder does not exist. A photo that gets no sidecar is reported to `each`.
pub fn start_folder(folder: &Path, each: &mut dyn FnMut(Started)) -> Result<()> {
    must_be_folder(folder)?;
    for entry in walk(folder, &[]) {
        each(match entry {
            Err(e) => Started::Refused(e),
            Ok(entry) if entry.has_sidecar => Started::Kept(entry.sidecar()),
            Ok(entry) => match start_one(&entry.photo, &entry.sidecar()) {
                Ok(()) => Started::Written(entry.sidecar()),
                Err(e) => Started::Refused(e.in_file(&entry.photo)),
            },
        });
    }
    Ok(())
}

fn start_one(photo: &Path, sidecar: &Path) -> Result<()> {
    let facts = read_facts(photo)?;
    let name = shown(photo.file_name().unwrap_or_default());
    let text = template(&name, facts.width_px, facts.height_px, facts.taken.as_deref());
    super::output::write_new(sidecar, text.as_bytes())
}
