//! The pixels of a photo, upright.

use super::{MAX_MEGAPIXELS, PhotoFacts, PhotoType, facts_from_bytes};
use crate::{Error, ErrorKind, Result};
use image::{DynamicImage, ImageFormat, ImageReader, Limits, RgbImage};
use std::io::Cursor;
use std::path::Path;

/// Decodes a photo to upright 8-bit RGB: turned as its EXIF (or HEIC container) says, transparency dropped, grey made colour,
/// 16 bits reduced to 8.
///
/// # Errors
/// As [`read_facts`](super::read_facts), and [`ErrorKind::Photo`] when the pixels are damaged or cut off, or a HEIC has more than 60
/// megapixels.
pub fn decode_upright(path: impl AsRef<Path>) -> Result<RgbImage> {
    let path = path.as_ref();
    let bytes = super::read_whole(path)?;
    facts_from_bytes(&bytes).and_then(|facts| decode_upright_bytes(&bytes, &facts)).map_err(|e| e.in_file(path))
}

/// The same from bytes at hand and their facts.
///
/// # Errors
/// As [`decode_upright`], without the name of a file.
pub fn decode_upright_bytes(bytes: &[u8], facts: &PhotoFacts) -> Result<RgbImage> {
    let format = match facts.photo_type {
        PhotoType::Jpeg => ImageFormat::Jpeg,
        PhotoType::Png => ImageFormat::Png,
        PhotoType::Tiff => ImageFormat::Tiff,
        PhotoType::WebP => ImageFormat::WebP,
        PhotoType::Heic => return super::heic::decode_upright(bytes, facts),
    };
    if format == ImageFormat::Jpeg && !jpeg_is_whole(bytes) {
        return Err(cut_off());
    }
    let mut limits = Limits::no_limits();
    // The facts have refused more pixels than this; 16-bit colour with transparency takes 8 bytes each.
    limits.max_alloc = Some(MAX_MEGAPIXELS * 1_000_000 * 8);
    let mut reader = ImageReader::with_format(Cursor::new(bytes), format);
    reader.limits(limits);
    let mut picture = reader.decode().map(DynamicImage::into_rgb8).map_err(|e| damaged(&e))?;
    if picture.dimensions() != (facts.stored_width_px, facts.stored_height_px) {
        let (w, h) = picture.dimensions();
        let what = format!(
            "the photo's header says {} x {} px, its pixels are {w} x {h}",
            facts.stored_width_px, facts.stored_height_px
        );
        return Err(Error::new(ErrorKind::Photo, what).help("export the photo again from the program that shows it"));
    }
    if let Some(turn) = image::metadata::Orientation::from_exif(facts.orientation.exif())
        && turn != image::metadata::Orientation::NoTransforms
    {
        let mut dynamic = DynamicImage::ImageRgb8(picture);
        dynamic.apply_orientation(turn);
        picture = dynamic.into_rgb8();
    }
    Ok(picture)
}

fn cut_off() -> Error {
    Error::new(ErrorKind::Photo, "the photo is cut off: its file ends inside the picture")
        .help("copy it again from the camera or the backup")
}

fn damaged(e: &image::ImageError) -> Error {
    let ended = matches!(e, image::ImageError::IoError(io) if io.kind() == std::io::ErrorKind::UnexpectedEof);
    if ended {
        return cut_off();
    }
    Error::new(ErrorKind::Photo, format!("the picture cannot be decoded: {e}"))
        .help("copy it again from the camera or the backup, or export it as JPEG from a program that shows it")
}

/// Whether a JPEG reaches its end marker. Decoders fill what is missing with grey and say nothing; a ruler's graduation must
/// not be placed there.
fn jpeg_is_whole(bytes: &[u8]) -> bool {
    let mut at = 2;
    while let Some(&[prefix, code]) = bytes.get(at..at + 2) {
        at += match (prefix, code) {
            (0xff, 0xd9) => return true,
            (0xff, 0xff) => 1,
            (0xff, 0x00 | 0x01 | 0xd0..=0xd8) => 2,
            (0xff, _) => match bytes.get(at + 2..at + 4) {
                Some(&[high, low]) => 2 + usize::from(u16::from_be_bytes([high, low])),
                _ => return false,
            },
            _ => match bytes[at..].iter().position(|&b| b == 0xff) {
                Some(step) => step,
                None => return false,
            },
        };
    }
    false
}
