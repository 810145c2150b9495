//! Tests of reading photos. Fixtures and their sources: `fixtures/exif/SOURCE.md`.
#![allow(clippy::unwrap_used, reason = "tests")]

pub(crate) mod exif_writer;
mod facts;
mod hostile;
mod orientation;
#[cfg(feature = "pictures")]
mod pixels;
mod reference;

use super::{PhotoFacts, facts_from_bytes};
use exif_writer::{ExifTag, Ratio, with_exif};
use std::path::PathBuf;

fn fixture(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../fixtures/exif").join(name)
}

/// The headers of a JPEG of this size around a scan that holds nothing: all that a reader of headers looks at.
fn jpeg_headers(width: u16, height: u16) -> Vec<u8> {
    let ([w1, w0], [h1, h0]) = (width.to_be_bytes(), height.to_be_bytes());
    let mut bytes = vec![0xff, 0xd8];
    bytes.extend([0xff, 0xc0, 0, 11, 8, h1, h0, w1, w0, 1, 1, 0x11, 0]); // SOF0, one component
    bytes.extend([0xff, 0xda, 0, 8, 1, 1, 0, 0, 63, 0, 0x12, 0xff, 0x00, 0x34, 0xff, 0xd9]); // SOS, scan, EOI
    bytes
}

fn facts_of(width: u16, height: u16, tags: impl IntoIterator<Item = ExifTag>) -> PhotoFacts {
    facts_from_bytes(&with_exif(jpeg_headers(width, height), tags)).unwrap()
}

fn ratio(value: f64) -> Ratio {
    let denominator = 1_000_000;
    Ratio((value * f64::from(denominator)).round() as u32, denominator)
}
