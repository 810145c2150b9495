//! What a photo's pixels and geometry make worth knowing, for `check`.

use super::folder::Entry;
use super::photo::ReadEntry;
use super::run::CheckOptions;
use crate::error::Result;
use crate::located::Located;
use crate::photo::decode_upright;
use crate::pixels::quality::{cut_off, inspect, of_scene};
use crate::scene::Scene;

/// Of a photo that would be measured; an error where its pixels are to be looked at and cannot be.
pub(super) fn remarks(
    entry: &Entry,
    read: &ReadEntry,
    scene: &Scene,
    located: &Located,
    options: &CheckOptions,
) -> Result<Vec<String>> {
    if !options.pixels {
        let remarks = of_scene(&read.sidecar, scene, located).into_iter().chain(cut_off(&read.sidecar));
        return Ok(remarks.map(|r| r.to_string()).collect());
    }
    let photo = decode_upright(&entry.photo)?;
    Ok(inspect(&photo, Some(&read.sidecar), Some((scene, located))).iter().map(ToString::to_string).collect())
}

/// Of a photo that would be refused. Its pixels may be the reason, and then nothing more is said of them.
pub(super) fn remarks_of_photo(entry: &Entry, options: &CheckOptions) -> Vec<String> {
    if !(options.pixels && entry.has_photo) {
        return Vec::new();
    }
    let photo = decode_upright(&entry.photo);
    photo.map_or_else(|_| Vec::new(), |photo| inspect(&photo, None, None).iter().map(ToString::to_string).collect())
}
