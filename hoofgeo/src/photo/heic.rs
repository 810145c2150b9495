//! The pixels of a HEIC (HEVC in ISO/IEC 23008-12), turned and cropped as its container says; an EXIF turn beside that is not applied
//! again (23008-12 Annex A: it is informative).

use super::PhotoFacts;
use crate::{Error, ErrorKind, Result};
use image::RgbImage;

/// Larger pictures are not decoded, in millions of pixels: they take 4 bytes a pixel and some seconds.
pub(super) const MAX_HEIC_MEGAPIXELS: u64 = 60;

/// Decodes the primary picture.
///
/// # Errors
/// `Photo` for pictures of more than [`MAX_HEIC_MEGAPIXELS`], damaged ones, and those whose pixels are not what the header says.
pub(super) fn decode_upright(bytes: &[u8], facts: &PhotoFacts) -> Result<RgbImage> {
    let pixels = u64::from(facts.width_px) * u64::from(facts.height_px);
    if pixels > MAX_HEIC_MEGAPIXELS * 1_000_000 {
        let (megapixels, most) = (pixels.div_ceil(1_000_000), MAX_HEIC_MEGAPIXELS);
        let what = format!("the photo has {megapixels} megapixels; of HEIC photos, up to {most} are decoded");
        return Err(Error::new(ErrorKind::Photo, what)
            .help("set the camera to 12 or 50 megapixels, which shows no less of a hoof, or export this one as JPEG"));
    }
    #[cfg(feature = "libheif")]
    let picture = super::libheif::decode(bytes);
    #[cfg(not(feature = "libheif"))]
    let picture = decode(bytes);
    let picture = picture.map_err(|why| unreadable(&why))?;
    if picture.dimensions() != (facts.width_px, facts.height_px) {
        let (w, h) = picture.dimensions();
        return Err(unreadable(&format!(
            "{} x {} px in its header, {w} x {h} decoded",
            facts.width_px, facts.height_px
        )));
    }
    Ok(picture)
}

#[cfg(not(feature = "libheif"))]
fn decode(bytes: &[u8]) -> std::result::Result<RgbImage, String> {
    let options = heifer::Options {
        // Photos are worked on side by side already: one that comes alone takes the cores.
        max_threads: usize::from(rayon::current_thread_index().is_some()),
        // Blocks at the right and lower edge may reach beyond the picture.
        max_pixels: (MAX_HEIC_MEGAPIXELS + 4) * 1_000_000,
    };
    // A decoder of this size may have faults left: one photo's must not end the whole visit.
    let decoded = std::panic::catch_unwind(|| heifer::decode_rgba8(bytes, &options));
    let image = decoded.map_err(|_| "the decoder failed on it".to_owned())?.map_err(|e| e.to_string())?;
    let (width, height) = (image.width, image.height);
    RgbImage::from_raw(width, height, image.into_rgb8()).ok_or_else(|| "it has fewer pixels than it says".to_owned())
}

fn unreadable(why: &str) -> Error {
    Error::new(ErrorKind::Photo, format!("the picture cannot be decoded: {why}"))
        .help("copy it again from the camera or the backup, or export it as JPEG from a program that shows it")
}
