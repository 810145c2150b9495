//! The pixels of a HEIC by the system's libheif instead (feature `libheif`). It turns the picture itself, as the container says.

use image::RgbImage;
use libheif_rs::{ColorSpace, DecodingOptions, HeifContext, HeifError, LibHeif, RgbChroma};

pub(super) fn decode(bytes: &[u8]) -> Result<RgbImage, String> {
    rgb(bytes).map_err(|e| e.to_string())?.ok_or_else(|| "libheif gives no RGB pixels".to_owned())
}

fn rgb(bytes: &[u8]) -> Result<Option<RgbImage>, HeifError> {
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
