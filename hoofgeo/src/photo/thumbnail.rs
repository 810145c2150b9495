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

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::photo::facts_from_bytes;
    use crate::picture::encode_jpeg;

    /// A JPEG whose EXIF (Exif 2.32, 4.5 and 4.6) says that it is to be turned, and holds a preview of this size.
    fn with_preview(stored: (u32, u32), preview: (u32, u32)) -> Vec<u8> {
        let plain =
            |(w, h): (u32, u32)| encode_jpeg(&RgbImage::from_pixel(w, h, image::Rgb([90, 120, 60])), 80).unwrap();
        let small = plain(preview);
        let entry = |tag: u16, kind: u16, value: u32| {
            [&tag.to_le_bytes()[..], &kind.to_le_bytes(), &1u32.to_le_bytes(), &value.to_le_bytes()].concat()
        };
        // Orientation 6 in the first directory; compression, place and length of the preview in the second.
        let first = [&1u16.to_le_bytes()[..], &entry(0x0112, 3, 6), &26u32.to_le_bytes()].concat();
        let at = 26 + 2 + 3 * 12 + 4;
        let second = [
            &3u16.to_le_bytes()[..],
            &entry(0x0103, 3, 6),
            &entry(0x0201, 4, at),
            &entry(0x0202, 4, small.len() as u32),
            &0u32.to_le_bytes(),
        ]
        .concat();
        let exif = [&b"Exif\0\0II*\0\x08\0\0\0"[..], &first, &second, &small].concat();
        let length = u16::try_from(exif.len() + 2).unwrap();
        let whole = plain(stored);
        [&whole[..2], &[0xff, 0xe1], &length.to_be_bytes(), &exif, &whole[2..]].concat()
    }

    #[test]
    fn a_preview_is_turned_as_its_photo_and_has_its_shape() {
        let photo = with_preview((400, 300), (160, 120));
        let facts = facts_from_bytes(&photo).unwrap();
        assert_eq!((facts.width_px, facts.height_px), (300, 400));
        assert_eq!(embedded_preview(&photo, &facts).unwrap().dimensions(), (120, 160));
        // Black bars about it: not the photo's shape.
        let barred = with_preview((450, 300), (160, 120));
        assert!(embedded_preview(&barred, &facts_from_bytes(&barred).unwrap()).is_none());
        // Cut off inside the preview, or none at all.
        let none = encode_jpeg(&RgbImage::new(40, 30), 80).unwrap();
        assert!(embedded_preview(&none, &facts_from_bytes(&none).unwrap()).is_none());
        assert!(embedded_preview(&photo[..200], &facts).is_none());
    }
}
