//! The pixels of a PNG, row by row: 16 bits and transparency never take memory for a whole picture, and what is packed beside
//! the pixels (colour profiles, texts) is not unpacked at all.

use image::RgbImage;
use png::{BitDepth, ColorType, DecodingError, InterlaceInfo, Transformations};
use std::io::Cursor;

/// Rows and chunks that a decoder keeps, bytes. The longest row has half a megabyte.
const WORKING_BYTES: usize = 16 << 20;

/// What the decoder found, or why it could not.
pub(super) enum Found {
    Pixels(RgbImage),
    /// Another size than the header's; nothing was decoded.
    Size(u32, u32),
}

pub(super) fn decode(bytes: &[u8], size: (u32, u32)) -> Result<Found, DecodingError> {
    let mut decoder = png::Decoder::new_with_limits(Cursor::new(bytes), png::Limits { bytes: WORKING_BYTES });
    decoder.set_ignore_text_chunk(true);
    decoder.set_ignore_iccp_chunk(true);
    decoder.set_transformations(Transformations::EXPAND);
    let mut reader = decoder.read_info()?;
    let found = reader.info().size();
    if found != size {
        return Ok(Found::Size(found.0, found.1));
    }
    let (colour, depth) = reader.output_color_type();
    let stride = size.0 as usize * 3;
    let mut pixels = vec![0; stride * size.1 as usize];
    let mut rgb = vec![0; stride];
    let mut rows = 0;
    while let Some(row) = reader.next_interlaced_row()? {
        let n = to_rgb(row.data(), colour, depth, &mut rgb);
        match row.interlace() {
            InterlaceInfo::Adam7(pass) => png::expand_interlaced_row(&mut pixels, stride, &rgb[..n], pass, 24),
            InterlaceInfo::Null(_) => {
                if let Some(to) = pixels.get_mut(rows * stride..rows * stride + n) {
                    to.copy_from_slice(&rgb[..n]);
                }
            }
        }
        rows += 1;
    }
    // As many pixels as the size says were made above.
    Ok(RgbImage::from_raw(size.0, size.1, pixels).map_or(Found::Size(0, 0), Found::Pixels))
}

/// A row as 8-bit RGB; how many bytes it has.
fn to_rgb(row: &[u8], colour: ColorType, depth: BitDepth, rgb: &mut [u8]) -> usize {
    let samples = colour.samples();
    let bytes = if depth == BitDepth::Sixteen { 2 } else { 1 };
    // 65,535 becomes 255, rounded to the nearest.
    let sample = |pixel: &[u8], i: usize| match pixel.get(i * bytes..(i + 1) * bytes) {
        Some(&[high, low]) => ((u32::from(u16::from_be_bytes([high, low])) + 128) / 257) as u8,
        Some(&[byte]) => byte,
        _ => 0,
    };
    let grey = samples < 3;
    let mut n = 0;
    for (pixel, to) in row.chunks_exact(samples * bytes).zip(rgb.chunks_exact_mut(3)) {
        for (i, to) in to.iter_mut().enumerate() {
            *to = sample(pixel, if grey { 0 } else { i });
        }
        n += 3;
    }
    n
}
