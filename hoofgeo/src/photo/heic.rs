//! The pixels of a HEIC, by the system's libheif. It turns the picture itself, as the container says.

use super::PhotoFacts;
use crate::{Error, ErrorKind, Result};
use image::RgbImage;
use libheif_rs::{ColorSpace, DecodingOptions, HeifContext, HeifError, LibHeif, RgbChroma};

pub(super) fn decode_upright(bytes: &[u8], facts: &PhotoFacts) -> Result<RgbImage> {
    let picture = decode(bytes).map_err(|e| unreadable(&e.to_string()))?;
    let Some(picture) = picture else { return Err(unreadable("libheif gives no RGB pixels")) };
    if picture.dimensions() != (facts.width_px, facts.height_px) {
        let (w, h) = picture.dimensions();
        return Err(unreadable(&format!(
            "{} x {} px in its header, {w} x {h} decoded",
            facts.width_px, facts.height_px
        )));
    }
    Ok(picture)
}

fn decode(bytes: &[u8]) -> Result<Option<RgbImage>, HeifError> {
    let context = HeifContext::read_from_bytes(bytes)?;
    let options = DecodingOptions::new().map(|mut options| {
        options.set_convert_hdr_to_8bit(true);
        options
    });
    let decoded = LibHeif::new().decode(&context.primary_image_handle()?, ColorSpace::Rgb(RgbChroma::Rgb), options)?;
    let Some(plane) = decoded.planes().interleaved else { return Ok(None) };
    let row_bytes = plane.width as usize * 3;
    let rows = plane.data.chunks(plane.stride.max(1)).take(plane.height as usize);
    let pixels: Vec<u8> = rows.filter_map(|row| row.get(..row_bytes)).flatten().copied().collect();
    Ok(RgbImage::from_raw(plane.width, plane.height, pixels))
}

fn unreadable(why: &str) -> Error {
    Error::new(ErrorKind::Photo, format!("the picture cannot be decoded: {why}"))
        .help("copy it again from the camera or the backup, or export it as JPEG from a program that shows it")
}
