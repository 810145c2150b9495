use super::super::*;
use super::{fixture, with_exif};
use crate::ErrorKind;
use image::{DynamicImage, ImageFormat, Rgb, RgbImage};
use little_exif::exif_tag::ExifTag as T;
use std::fs;
use std::io::Cursor;

const SIZE: (u32, u32) = (64, 48);
const RED: [u8; 3] = [250, 10, 10];

/// Grey with one red block whose centre is off every axis of symmetry.
fn picture() -> RgbImage {
    let red = |x, y| (8..16).contains(&x) && (4..12).contains(&y);
    RgbImage::from_fn(SIZE.0, SIZE.1, |x, y| Rgb(if red(x, y) { RED } else { [120; 3] }))
}
const BLOCK_CENTRE: [f64; 2] = [12.0, 8.0];

fn jpeg() -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut encoder = jpeg_encoder::Encoder::new(&mut bytes, 95);
    encoder.set_sampling_factor(jpeg_encoder::SamplingFactor::F_1_1);
    encoder.encode(&picture(), SIZE.0 as u16, SIZE.1 as u16, jpeg_encoder::ColorType::Rgb).unwrap();
    bytes
}

fn encoded(picture: &DynamicImage, format: ImageFormat) -> Vec<u8> {
    let mut bytes = Vec::new();
    picture.write_to(&mut Cursor::new(&mut bytes), format).unwrap();
    bytes
}

fn decode(bytes: &[u8]) -> crate::Result<RgbImage> {
    decode_upright_bytes(bytes, &facts_from_bytes(bytes)?)
}

fn redness(p: &RgbImage, [x, y]: [f64; 2]) -> i32 {
    let p = p.get_pixel(x as u32, y as u32).0;
    i32::from(p[0]) - i32::from(p[1])
}

#[test]
fn pixels_land_where_the_point_map_says() {
    let dir = tempfile::tempdir().unwrap();
    for o in Orientation::ALL {
        let path = dir.path().join(format!("{}.jpg", o.exif()));
        fs::write(&path, with_exif(jpeg(), [T::Orientation(vec![o.exif().into()])])).unwrap();
        let (upright, facts) = (decode_upright(&path).unwrap(), read_facts(&path).unwrap());
        assert_eq!(upright.dimensions(), (facts.width_px, facts.height_px));
        // The block's middle is red to its edges (less one pixel for JPEG's ringing), its mirror images are not.
        for d in [[-3.0, -3.0], [2.9, -3.0], [-3.0, 2.9], [2.9, 2.9]] {
            let at = o.apply([BLOCK_CENTRE[0] + d[0], BLOCK_CENTRE[1] + d[1]], SIZE);
            assert!(redness(&upright, at) > 150, "{o:?} at {at:?}");
        }
        let red = upright.pixels().filter(|p| p.0[0] > p.0[1].saturating_add(100)).count();
        assert_eq!(red, 64, "{o:?}: the block is 8 x 8 px");
    }
}

#[test]
fn every_type_and_depth_gives_the_same_upright_rgb() {
    let picture = picture();
    let rgb = DynamicImage::ImageRgb8(picture.clone());
    let deep = DynamicImage::ImageRgb16(rgb.to_rgb16());
    let clear = DynamicImage::ImageRgba8(rgb.to_rgba8());
    let grey = DynamicImage::ImageLuma8(rgb.to_luma8());
    for (name, bytes) in [
        ("png", encoded(&rgb, ImageFormat::Png)),
        ("16-bit png", encoded(&deep, ImageFormat::Png)),
        ("png with alpha", encoded(&clear, ImageFormat::Png)),
        ("tiff", encoded(&rgb, ImageFormat::Tiff)),
        ("16-bit tiff", encoded(&deep, ImageFormat::Tiff)),
        ("webp", encoded(&rgb, ImageFormat::WebP)),
    ] {
        assert!(decode(&bytes).unwrap() == picture, "{name}");
        // An independent reader of headers agrees on the size.
        let theirs =
            image::ImageReader::new(Cursor::new(&bytes)).with_guessed_format().unwrap().into_dimensions().unwrap();
        assert_eq!(theirs, SIZE, "{name}");
    }
    let decoded = decode(&encoded(&grey, ImageFormat::Png)).unwrap();
    assert_eq!(decoded, DynamicImage::ImageLuma8(rgb.to_luma8()).to_rgb8());
}

#[test]
fn a_cut_off_picture_is_refused_not_filled_with_grey() {
    let whole = jpeg();
    assert!(decode(&whole).is_ok());
    for n in 0..whole.len() {
        let e = decode(&whole[..n]).unwrap_err();
        assert!(e.kind() == ErrorKind::Photo && e.help_text().is_some(), "prefix {n}: {e}");
    }
    // What phones append behind the picture (a film, a depth map) is no damage.
    let trailing = [whole.as_slice(), b"MotionPhoto_Data"].concat();
    assert_eq!(decode(&trailing).unwrap(), decode(&whole).unwrap());
    for format in [ImageFormat::Png, ImageFormat::WebP, ImageFormat::Tiff] {
        let bytes = encoded(&DynamicImage::ImageRgb8(picture()), format);
        assert!(decode(&bytes[..bytes.len() * 2 / 3]).is_err(), "{format:?}");
    }
}

#[test]
fn changed_pixels_never_panic() {
    let whole = jpeg();
    for at in 2..whole.len() {
        for byte in [0x00, 0x7f, 0xff] {
            let mut bytes = whole.clone();
            bytes[at] = byte;
            if let Ok(picture) = decode(&bytes) {
                assert!(picture.width() > 0);
            }
        }
    }
}

#[test]
fn a_bomb_is_refused_before_it_is_decoded() {
    // 32000 x 32000 px of one colour in a few bytes: only the header is needed to refuse it.
    let mut bytes = encoded(&DynamicImage::ImageRgb8(picture()), ImageFormat::Png);
    bytes[16..24].copy_from_slice(&[0, 0, 0x7d, 0, 0, 0, 0x7d, 0]);
    let e = decode(&bytes).unwrap_err();
    assert!(e.what().contains("more than 250 megapixels") && e.help_text().is_some(), "{e}");
}

/// The colours of the corners as `fixtures/exif/SOURCE.md` says libheif's own program shows them.
#[test]
fn heic_is_decoded_as_the_container_says() {
    let (r, g, b, y) = ("red", "green", "blue", "yellow");
    for (name, size, corners) in [
        ("unturned.heic", (64, 48), [r, g, b, y]),
        ("turned.heic", (48, 64), [b, r, y, g]),
        ("mirrored.heic", (48, 64), [r, b, g, y]),
    ] {
        let picture = decode_upright(fixture(name)).unwrap();
        assert_eq!(picture.dimensions(), size, "{name}");
        let colour = |x: u32, y: u32| match picture.get_pixel(x, y).0.map(|c| c > 128) {
            [true, false, false] => "red",
            [false, true, false] => "green",
            [false, false, true] => "blue",
            [true, true, false] => "yellow",
            _ => "other",
        };
        let (right, bottom) = (size.0 - 6, size.1 - 6);
        assert_eq!([colour(5, 5), colour(right, 5), colour(5, bottom), colour(right, bottom)], corners, "{name}");
    }
    let whole = std::fs::read(fixture("turned.heic")).unwrap();
    for n in (0..whole.len()).step_by(7) {
        assert!(decode(&whole[..n]).is_err(), "prefix {n}");
    }
}

/// The primary picture's size wherever the file states it.
fn with_size(mut heic: Vec<u8>, [width, height]: [u32; 2]) -> Vec<u8> {
    for at in 0..heic.len() - 16 {
        if heic[at..].starts_with(b"ispe\0\0\0\0\0\0\0\x40\0\0\0\x30") {
            heic[at + 8..at + 12].copy_from_slice(&width.to_be_bytes());
            heic[at + 12..at + 16].copy_from_slice(&height.to_be_bytes());
        }
    }
    heic
}

#[test]
fn heic_of_a_false_or_too_large_size_is_refused() {
    let whole = std::fs::read(fixture("unturned.heic")).unwrap();
    assert_eq!(with_size(whole.clone(), [64, 48]), whole);
    let e = decode(&with_size(whole.clone(), [16_320, 12_240])).unwrap_err();
    assert!(e.what().contains("200 megapixels") && e.what().contains("up to 60"), "{e}");
    assert!(e.help_text().unwrap().contains("12 or 50 megapixels"), "{e}");
    for size in [[60, 48], [64, 4000], [4000, 3000]] {
        let e = decode(&with_size(whole.clone(), size)).unwrap_err();
        assert!(e.kind() == ErrorKind::Photo && e.help_text().is_some(), "{size:?}: {e}");
    }
}

/// A photo of many tiles, as phones write them, made by the same library's encoder: the tiles stand where they belong.
#[cfg(not(feature = "libheif"))]
#[test]
fn heic_of_many_tiles_is_put_together() {
    let (width, height) = (1300, 900);
    let drawn =
        RgbImage::from_fn(width, height, |x, y| image::Rgb([(x / 6) as u8, (y / 4) as u8, ((x + y) / 9) as u8]));
    let options = heifer::EncodeOptions { quality: 90, ..heifer::EncodeOptions::default() };
    let heic = heifer::encode_rgb8(width, height, drawn.as_raw(), &options).unwrap();
    let decoded = decode(&heic).unwrap();
    assert_eq!(decoded.dimensions(), (width, height));
    let off: u64 = drawn.as_raw().iter().zip(decoded.as_raw()).map(|(a, b)| u64::from(a.abs_diff(*b))).sum();
    let mean = off as f64 / drawn.as_raw().len() as f64;
    assert!(mean < 1.5, "{mean} levels off in the mean");
}

#[test]
fn damaged_heic_never_panics() {
    let whole = std::fs::read(fixture("turned.heic")).unwrap();
    let mut state = 20_261_128_u64;
    let mut random = |below: usize| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as usize % below
    };
    for _ in 0..1500 {
        let mut bytes = whole.clone();
        for _ in 0..=random(4) {
            bytes[random(whole.len())] = random(256) as u8;
        }
        let Ok(facts) = crate::photo::facts_from_bytes(&bytes) else { continue };
        match crate::photo::decode_upright_bytes(&bytes, &facts) {
            Ok(picture) => assert_eq!(picture.dimensions(), (facts.width_px, facts.height_px)),
            Err(e) => assert!(e.help_text().is_some(), "{e}"),
        }
    }
}
