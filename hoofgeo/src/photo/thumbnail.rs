//! The small picture that a camera puts into a photo's file: quick to show, good enough to tell what the photo shows.

use super::{PhotoFacts, PhotoType};
use exif::{In, Reader, Tag};
use image::{DynamicImage, ImageFormat, RgbImage};
use std::io::Cursor;

/// A preview larger than this, px, or in a file larger than this, bytes, is none.
const MOST_SIDE: u32 = 2048;
const MOST_BYTES: usize = 1 << 20;

/// The preview in a photo's file, upright; none where there is none, where it cannot be decoded, or where its shape is another than the
/// photo's (some cameras put black bars about it).
pub(crate) fn embedded_preview(bytes: &[u8], facts: &PhotoFacts) -> Option<RgbImage> {
    let preview = match facts.photo_type {
        PhotoType::Jpeg | PhotoType::Tiff => upright(exif_preview(bytes)?, facts),
        PhotoType::Heic => heic_preview(bytes)?,
        _ => return None,
    };
    let (w, h) = preview.dimensions();
    let shape = f64::from(w) * f64::from(facts.height_px) / (f64::from(h) * f64::from(facts.width_px));
    // A pixel more or less on 160 x 120 is 1 %.
    ((0.96..1.04).contains(&shape) && w.max(h) <= MOST_SIDE).then_some(preview)
}

/// The JPEG in the second directory of the EXIF (Exif 2.32, 4.5.5).
fn exif_preview(bytes: &[u8]) -> Option<RgbImage> {
    let exif = Reader::new()
        .continue_on_error(true)
        .read_from_container(&mut Cursor::new(bytes))
        .or_else(|e| e.distill_partial_result(|_| ()))
        .ok()?;
    let number = |tag| exif.get_field(tag, In::THUMBNAIL)?.value.get_uint(0).map(|n| n as usize);
    let (from, length) = (number(Tag::JPEGInterchangeFormat)?, number(Tag::JPEGInterchangeFormatLength)?);
    let jpeg = exif.buf().get(from..from.checked_add(length)?).filter(|jpeg| jpeg.len() <= MOST_BYTES)?;
    let mut reader = image::ImageReader::with_format(Cursor::new(jpeg), ImageFormat::Jpeg);
    let mut limits = image::Limits::default();
    (limits.max_image_width, limits.max_image_height) = (Some(MOST_SIDE), Some(MOST_SIDE));
    reader.limits(limits);
    reader.decode().ok().map(DynamicImage::into_rgb8)
}

/// The `thmb` item of a HEIC, which its container turns itself.
fn heic_preview(bytes: &[u8]) -> Option<RgbImage> {
    let decoded = std::panic::catch_unwind(|| heifer::decode_thumbnail(bytes)).ok()?.ok()??;
    RgbImage::from_raw(decoded.width, decoded.height, decoded.to_rgb8())
}

fn upright(preview: RgbImage, facts: &PhotoFacts) -> RgbImage {
    let mut dynamic = DynamicImage::ImageRgb8(preview);
    if let Some(turn) = image::metadata::Orientation::from_exif(facts.orientation.exif()) {
        dynamic.apply_orientation(turn);
    }
    dynamic.into_rgb8()
}
