//! One photo of a folder: its header, its sidecar, its lens, its values.

use super::folder::{Entry, SIDECAR_SUFFIX, is_photo_name};
use super::lens::{LensUsed, Lenses};
use super::name::shown;
use super::placements::PlacementNote;
use super::results::PhotoRecord;
use super::ruler::RulerRead;
use crate::error::{Error, ErrorKind, Result};
use crate::file::{FileKind, read_file};
use crate::measured::Measured;
use crate::photo::{PhotoFacts, Remark, Sha256Hex, read_facts_and_fingerprint};
#[cfg(feature = "pictures")]
use crate::sidecar::Graduation;
use crate::sidecar::{PhotoRef, Sidecar, Visit};
use std::path::PathBuf;
use std::sync::Arc;

/// A photo measured.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub struct PhotoReport {
    /// Path relative to the folder.
    pub name: String,
    /// Path of the photo.
    pub path: PathBuf,
    /// Fingerprint of the photo's file.
    pub photo_sha256: Sha256Hex,
    /// Fingerprint of the sidecar's file.
    pub sidecar_sha256: Sha256Hex,
    /// What the photo's header tells.
    pub facts: PhotoFacts,
    /// The sidecar, with what the visit shares.
    pub sidecar: Sidecar,
    /// What the visit file says, the practitioner's notes among it.
    pub visit: Option<Arc<Visit>>,
    /// What was known of the lens.
    pub lens: LensUsed,
    /// Scene and values.
    pub measured: Measured,
    /// The table that the spread of placing was taken from, where one was.
    pub placement: Option<PlacementNote>,
    /// The ruler as it was read from the pixels, where it was to be, or why it could not be.
    pub ruler: Option<Result<RulerRead>>,
    /// Path of the annotated picture relative to the output folder, where one was asked for, or why there is none.
    pub picture: Option<Result<String>>,
}

impl PhotoReport {
    /// What tables say of it.
    pub fn record(&self) -> PhotoRecord {
        PhotoRecord::of(self)
    }

    /// When it was taken: by the sidecar, else by EXIF.
    pub fn taken(&self) -> Option<&str> {
        self.sidecar.taken.as_deref().or(self.facts.taken.as_deref())
    }

    /// The sidecar as pictures show it: the graduations that were read, every tenth millimetre, in the place of those marked.
    #[cfg(feature = "pictures")]
    pub(crate) fn sidecar_as_read(&self) -> Sidecar {
        let mut sidecar = self.sidecar.clone();
        if let (Some(Ok(read)), Some(scale)) = (&self.ruler, &mut sidecar.scale) {
            let tens = read.graduations.iter().filter(|g| (g.mm / 10.0).fract() == 0.0);
            scale.points = tens.map(|g| Graduation::along(g.mm, g.at)).collect();
        }
        sidecar
    }
}

/// A photo's files, read and checked against each other.
pub(crate) struct ReadEntry {
    pub photo_sha256: Sha256Hex,
    pub(super) sidecar_sha256: Sha256Hex,
    pub facts: PhotoFacts,
    pub sidecar: Sidecar,
    pub(super) visit: Option<Arc<Visit>>,
    pub lens: LensUsed,
}

pub(crate) fn read_entry(entry: &Entry, lenses: &Lenses) -> Result<ReadEntry> {
    let path = entry.sidecar();
    if !entry.has_photo {
        return Err(no_photo(entry).in_file(&path));
    }
    if !entry.has_sidecar {
        return Err(no_sidecar(entry));
    }
    let visit = entry.visit.clone().transpose().map_err(|e| shared(e, entry))?;
    let bytes = read_file(&path, FileKind::Sidecar)?;
    let sidecar = Sidecar::parse_bytes(&bytes, visit.as_deref()).map_err(|e| e.in_file(&path))?;
    let (facts, photo_sha256) = read_facts_and_fingerprint(&entry.photo).map_err(|e| e.in_file(&entry.photo))?;
    belongs(&sidecar.photo, &facts, entry)?;
    let folder = entry.photo.parent().unwrap_or(&entry.photo);
    let lens = lenses.choose(&sidecar, &facts, folder, entry.folders_down()).map_err(|e| match e.file() {
        Some(_) => shared(e, entry),
        None => e.in_file(&path),
    })?;
    Ok(ReadEntry { photo_sha256, sidecar_sha256: Sha256Hex::of(&bytes), facts, sidecar, visit, lens })
}

/// Why a photo without a sidecar is refused.
pub(super) fn no_sidecar(entry: &Entry) -> Error {
    Error::new(ErrorKind::Format, "has no sidecar")
        .in_file(&entry.photo)
        .help("`hoofgeo start FOLDER` writes one with empty slots")
}

/// Why a sidecar has no photo.
fn no_photo(entry: &Entry) -> Error {
    let name = shown(entry.photo.file_name().unwrap_or_default());
    let beside = |ending: &str| entry.photo.with_file_name(format!("{name}.{ending}")).is_file();
    if entry.photo.is_dir() {
        return Error::new(ErrorKind::Photo, format!("`{name}` is a folder, not a photo"))
            .help("a sidecar stands beside its photo and has its name: LF.jpg and LF.jpg.hoof.json");
    }
    if !is_photo_name(&name) {
        let found = ["jpg", "JPG", "jpeg", "JPEG", "png", "heic", "HEIC"].into_iter().find(|e| beside(e));
        return Error::new(ErrorKind::Photo, format!("`{name}` is no photo's name")).help(match found {
            Some(ending) => format!("rename the sidecar to {name}.{ending}{SIDECAR_SUFFIX}"),
            None => "a sidecar has its photo's whole name: LF.jpg and LF.jpg.hoof.json".to_owned(),
        });
    }
    Error::new(ErrorKind::Photo, "the photo that this sidecar belongs to is missing")
        .help(format!("put {name} beside it, or remove the sidecar"))
}

/// An error of a file that several photos share says which photo it stops.
fn shared(error: Error, entry: &Entry) -> Error {
    let stops = format!("{} is measured with this file", entry.name);
    let help = error.help_text().map_or_else(|| stops.clone(), |help| format!("{help}; {stops}"));
    error.help(help)
}

/// Whether sidecar and photo belong together, pixel for pixel.
pub(crate) fn belongs(said: &PhotoRef, facts: &PhotoFacts, entry: &Entry) -> Result<()> {
    let file = shown(entry.photo.file_name().unwrap_or_default());
    if said.file != file {
        return Err(Error::new(
            ErrorKind::Photo,
            format!("photo.file says `{}`, but it stands beside `{file}`", said.file),
        )
        .in_file(entry.sidecar())
        .help(
            "was the photo renamed? then write its new name into photo.file; else put the sidecar beside its own photo",
        ));
    }
    if let Some(Remark::Cropped { recorded, actual }) =
        facts.remarks.iter().find(|r| matches!(r, Remark::Cropped { .. }))
    {
        return Err(Error::new(
            ErrorKind::Photo,
            format!(
                "was cropped: the camera recorded {} x {} px, the file has {} x {} px",
                recorded.0, recorded.1, actual.0, actual.1
            ),
        )
        .in_file(&entry.photo)
        .help("use the photo as the camera stored it: a crop hides where the lens's middle was"));
    }
    let said = (said.width_px, said.height_px);
    let is = (facts.width_px, facts.height_px);
    if said != is {
        let turned = if (said.1, said.0) == is { "; it was turned since" } else { "" };
        return Err(Error::new(
            ErrorKind::Photo,
            format!("upright it has {} x {} px, its sidecar says {} x {} px{turned}", is.0, is.1, said.0, said.1),
        )
        .in_file(&entry.photo)
        .help("use the photo that the landmarks were placed on, or place them again on this one"));
    }
    Ok(())
}
