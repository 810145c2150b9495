//! What the lens database says of a photo's lens, and whether to believe it.

use crate::lens::database::{Database, Optics, Why};
use crate::photo::{PhotoFacts, Remark};
use crate::scene::LensPrior;
use crate::sidecar::LensProfile;

/// What the database says of a photo's lens.
#[derive(Debug, Default)]
pub(super) struct FromDatabase {
    /// The prior of the entry, and the same as a profile, where it may be used.
    pub(super) used: Option<(LensPrior, Option<Box<LensProfile>>)>,
    /// What there is to say of it.
    pub(super) note: Option<String>,
}

pub(super) fn from_database(database: &Database, facts: &PhotoFacts, frame: (u32, u32)) -> FromDatabase {
    let only = |note: Option<String>| FromDatabase { used: None, note };
    let optics = Optics::from(facts);
    let found = match database.find(&optics, None) {
        Ok(found) => found,
        Err(no) if matches!(no.why, Why::CameraNotStated | Why::CameraUnknown) => return only(None),
        Err(no) => {
            let note = format!("lens database: {no}; `hoofgeo lens find PHOTO` lists what could be meant");
            return only(Some(note));
        }
    };
    let entry = format!("lens database: {} on {} at {} mm", found.lens.model, found.camera.model, found.focal_mm);
    if !found.camera.is_reflex() {
        let note = format!(
            "{entry}, not used: such cameras correct their pictures themselves; where `hoofgeo lens judge PHOTO` shows \
             that this one does not, `hoofgeo lens find PHOTO --out NAME.lens.json` makes a profile of the entry"
        );
        return only(Some(note));
    }
    // A crop has lost the lens's middle, and then EXIF's focal length counts for nothing either.
    let cropped = facts.remarks.iter().any(|r| matches!(r, Remark::Cropped { .. }));
    match found.focal_px(&optics, frame).filter(|_| !cropped) {
        Some(focal_px) => {
            let fit = found.correction(frame).brown_conrady(focal_px);
            let profile = found.profile(&optics, frame).map(|(profile, _)| Box::new(profile));
            FromDatabase { used: Some((LensPrior::database(frame, &fit), profile)), note: Some(entry) }
        }
        None => only(None),
    }
}

impl From<&PhotoFacts> for Optics {
    fn from(facts: &PhotoFacts) -> Self {
        Self {
            make: facts.make.clone(),
            model: facts.model.clone(),
            lens: facts.lens_model.clone(),
            focal_mm: facts.focal_mm,
            focal_35mm: facts.focal_35mm,
        }
    }
}
