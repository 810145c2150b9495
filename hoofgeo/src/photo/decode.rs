//! The pixels of a photo, upright.

use super::jpeg::Outline;
use super::limits::max_decode_bytes;
use super::{PhotoFacts, PhotoType, facts_from_bytes};
use crate::file::{FileKind, read_file};
use crate::{Error, ErrorKind, Result};
use image::{ColorType, DynamicImage, ImageDecoder, ImageFormat, ImageReader, Limits, RgbImage};
use std::io::Cursor;
use std::path::Path;

/// Decodes a photo to upright 8-bit RGB: turned as its EXIF (or HEIC container) says, transparency dropped, grey made colour,
/// 16 bits reduced to 8. Memory and time are bounded by the header, before anything is decoded: see [`max_decode_bytes`] and
/// [`MAX_SCANS`](super::MAX_SCANS).
///
/// # Errors
/// As [`read_facts`](super::read_facts), and [`ErrorKind::Photo`] when the pixels are damaged or cut off, or a HEIC has more than 60
/// megapixels.
pub fn decode_upright(path: impl AsRef<Path>) -> Result<RgbImage> {
    let path = path.as_ref();
    let bytes = read_file(path, FileKind::Photo)?;
    facts_from_bytes(&bytes).and_then(|facts| decode_upright_bytes(&bytes, &facts)).map_err(|e| e.in_file(path))
}

/// The same from bytes at hand and their facts.
///
/// # Errors
/// As [`decode_upright`], without the name of a file.
pub fn decode_upright_bytes(bytes: &[u8], facts: &PhotoFacts) -> Result<RgbImage> {
    let mut picture = match facts.photo_type {
        PhotoType::Jpeg => jpeg(bytes, facts)?,
        PhotoType::Png => png(bytes, facts)?,
        PhotoType::Tiff => by_image(bytes, facts, ImageFormat::Tiff, 0)?,
        // A lossless picture is unpacked with transparency before it loses it.
        PhotoType::WebP => by_image(bytes, facts, ImageFormat::WebP, 4 * pixels(facts))?,
        PhotoType::Heic => {
            check_memory(bytes.len() as u64 + 6 * pixels(facts), facts)?;
            return super::heic::decode_upright(bytes, facts);
        }
    };
    if let Some(turn) = image::metadata::Orientation::from_exif(facts.orientation.exif())
        && turn != image::metadata::Orientation::NoTransforms
    {
        let mut dynamic = DynamicImage::ImageRgb8(picture);
        dynamic.apply_orientation(turn);
        picture = dynamic.into_rgb8();
    }
    Ok(picture)
}

fn pixels(facts: &PhotoFacts) -> u64 {
    u64::from(facts.stored_width_px) * u64::from(facts.stored_height_px)
}

/// Whether decoding may take so much memory, bytes.
fn check_memory(needed: u64, facts: &PhotoFacts) -> Result<()> {
    let most = max_decode_bytes(pixels(facts));
    if needed <= most {
        return Ok(());
    }
    let (needed, most) = (needed.div_ceil(1_000_000), most / 1_000_000);
    let what = format!("decoding the photo would take {needed} MB of memory, more than the {most} MB it may");
    Err(Error::new(ErrorKind::Photo, what).help("export it as JPEG, not progressive, from the program that shows it"))
}

fn other_size(facts: &PhotoFacts, (w, h): (u32, u32)) -> Error {
    let what = format!(
        "the photo's header says {} x {} px, its pixels are {w} x {h}",
        facts.stored_width_px, facts.stored_height_px
    );
    Error::new(ErrorKind::Photo, what).help("export the photo again from the program that shows it")
}

fn jpeg(bytes: &[u8], facts: &PhotoFacts) -> Result<RgbImage> {
    let outline = Outline::of(bytes);
    if !outline.is_whole() {
        return Err(cut_off());
    }
    outline.check_scans()?;
    // Its decoder copies the file.
    by_image(bytes, facts, ImageFormat::Jpeg, outline.coefficient_bytes() + bytes.len() as u64)
}

fn png(bytes: &[u8], facts: &PhotoFacts) -> Result<RgbImage> {
    check_memory(bytes.len() as u64 + 3 * pixels(facts), facts)?;
    match super::png::decode(bytes, (facts.stored_width_px, facts.stored_height_px)) {
        Ok(super::png::Found::Pixels(picture)) => Ok(picture),
        Ok(super::png::Found::Size(w, h)) => Err(other_size(facts, (w, h))),
        Err(::png::DecodingError::IoError(e)) if e.kind() == std::io::ErrorKind::UnexpectedEof => Err(cut_off()),
        Err(e) => Err(unreadable(&e)),
    }
}

/// Decodes with the crate `image`, whose decoder takes `beside` bytes of memory beside the file and the pixels it gives.
fn by_image(bytes: &[u8], facts: &PhotoFacts, format: ImageFormat, beside: u64) -> Result<RgbImage> {
    let mut limits = Limits::no_limits();
    limits.max_alloc = Some(max_decode_bytes(pixels(facts)));
    let mut reader = ImageReader::with_format(Cursor::new(bytes), format);
    reader.limits(limits.clone());
    let mut decoder = reader.into_decoder().map_err(|e| damaged(&e))?;
    // The true frame, before anything is decoded.
    let size = decoder.dimensions();
    if size != (facts.stored_width_px, facts.stored_height_px) {
        return Err(other_size(facts, size));
    }
    let to_rgb = if decoder.color_type() == ColorType::Rgb8 { 0 } else { 3 * pixels(facts) };
    check_memory(bytes.len() as u64 + decoder.total_bytes() + beside + to_rgb, facts)?;
    decoder.set_limits(limits).map_err(|e| damaged(&e))?;
    DynamicImage::from_decoder(decoder).map(DynamicImage::into_rgb8).map_err(|e| damaged(&e))
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
    unreadable(e)
}

fn unreadable(e: &dyn std::fmt::Display) -> Error {
    Error::new(ErrorKind::Photo, format!("the picture cannot be decoded: {e}"))
        .help("copy it again from the camera or the backup, or export it as JPEG from a program that shows it")
}
