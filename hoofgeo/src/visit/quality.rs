//! What a photo's pixels and geometry make worth knowing, for `check`.

use super::folder::Entry;
use super::run::CheckOptions;
use super::session::Opened;
use crate::error::Result;
use crate::measured::Measured;
use crate::photo::decode_upright;
use crate::pixels::quality::{cut_off, inspect, of_scene};

/// Of a photo that would be measured; an error where its pixels are to be looked at and cannot be.
pub(super) fn remarks(opened: &mut Opened, measured: &Measured, options: &CheckOptions) -> Result<Vec<String>> {
    let (scene, located) = (&measured.scene, &measured.located);
    if !options.pixels {
        let sidecar = &opened.files.sidecar;
        let remarks = of_scene(sidecar, scene, located).into_iter().chain(cut_off(sidecar));
        return Ok(remarks.map(|r| r.to_string()).collect());
    }
    let photo = opened.pixels()?;
    let remarks = inspect(&photo, Some(&opened.files.sidecar), Some((scene, located)));
    Ok(remarks.iter().map(ToString::to_string).collect())
}

/// Of a photo that would be refused. Its pixels may be the reason, and then nothing more is said of them.
pub(super) fn remarks_of_photo(entry: &Entry, options: &CheckOptions) -> Vec<String> {
    if !(options.pixels && entry.has_photo) {
        return Vec::new();
    }
    let photo = decode_upright(&entry.photo);
    photo.map_or_else(|_| Vec::new(), |photo| inspect(&photo, None, None).iter().map(ToString::to_string).collect())
}
