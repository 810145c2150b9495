//! Damaged and hostile files: an error or a remark, never a panic, never a lie about size.

use super::super::*;
use super::exif_writer::ExifTag as T;
use super::{fixture, jpeg_headers, with_exif};
use crate::ErrorKind;
use proptest::prelude::*;
use std::fs;

fn small_jpeg() -> Vec<u8> {
    with_exif(
        jpeg_headers(64, 48),
        [
            T::Orientation(6),
            T::Make("Example".into()),
            T::DateTimeOriginal("2026:05:04 09:30:00".into()),
            T::FocalLengthIn35mmFormat(26),
        ],
    )
}

/// A PNG and a WebP (lossless) header with sizes, as far as a reader of headers looks.
fn small_png_and_webp() -> [Vec<u8>; 2] {
    let mut png = b"\x89PNG\r\n\x1a\n\0\0\0\x0dIHDR\0\0\0\x40\0\0\0\x30\x08\x02\0\0\0CRC!".to_vec();
    png.extend(b"\0\0\0\x1aeXIfMM\0\x2a\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0\x06\0\0\0\0\0\0CRC!\0\0\0\0IENDCRC!");
    let bits: u32 = 63 | 47 << 14;
    let mut webp = b"RIFF\x12\0\0\0WEBPVP8L\x05\0\0\0\x2f".to_vec();
    webp.extend(bits.to_le_bytes());
    webp.push(0);
    [png, webp]
}

/// A TIFF of one directory with these 16-bit fields.
fn tiff(fields: &[(u16, u16)]) -> Vec<u8> {
    let mut tiff = b"II\x2a\0\x08\0\0\0".to_vec();
    tiff.extend((fields.len() as u16).to_le_bytes());
    for (tag, value) in fields {
        tiff.extend(tag.to_le_bytes());
        tiff.extend([3, 0, 1, 0, 0, 0]);
        tiff.extend(value.to_le_bytes());
        tiff.extend([0, 0]);
    }
    tiff.extend([0; 4]);
    tiff
}

/// As in a real file of 2006 (the samples of piexif 1.1.3, tests/images/L02.jpg).
#[test]
fn fields_in_the_wrong_directory_are_found() {
    let facts = facts_from_bytes(&tiff(&[(0x100, 64), (0x101, 48), (0xa405, 39)])).unwrap();
    assert_eq!(facts.focal_35mm, Some(39.0));
}

fn samples() -> Vec<Vec<u8>> {
    let mut all = vec![small_jpeg(), fs::read(fixture("turned.heic")).unwrap()];
    all.extend(small_png_and_webp());
    all.push(tiff(&[(0x100, 64), (0x101, 48), (0x112, 6)]));
    all
}

#[test]
fn every_type_is_read_by_its_content() {
    let types = [PhotoType::Jpeg, PhotoType::Heic, PhotoType::Png, PhotoType::WebP, PhotoType::Tiff];
    for (bytes, photo_type) in samples().iter().zip(types) {
        let facts = facts_from_bytes(bytes).unwrap();
        assert_eq!((facts.photo_type, facts.stored_width_px, facts.stored_height_px), (photo_type, 64, 48));
        let turned = photo_type != PhotoType::WebP; // the only one here without EXIF
        assert_eq!(facts.orientation.exif(), if turned { 6 } else { 1 }, "{photo_type}");
    }
}

#[test]
fn every_prefix_is_an_error_or_keeps_the_size() {
    for bytes in samples() {
        for n in 0..bytes.len() {
            match facts_from_bytes(&bytes[..n]) {
                Ok(facts) => assert_eq!((facts.stored_width_px, facts.stored_height_px), (64, 48), "prefix {n}"),
                Err(e) => assert!(e.kind() == ErrorKind::Photo && e.help_text().is_some(), "prefix {n}: {e}"),
            }
        }
    }
}

#[test]
fn damaged_jpeg_headers_are_errors_up_to_their_end() {
    let bytes = small_jpeg();
    let scan = bytes.windows(2).position(|w| w == [0xff, 0xda]).unwrap();
    for n in 0..scan + 2 {
        assert!(facts_from_bytes(&bytes[..n]).is_err(), "prefix {n}");
    }
    assert!(facts_from_bytes(&bytes[..scan + 2]).is_ok(), "the headers are complete");
    // Fill bytes before a marker are legal (ITU-T T.81 B.1.1.2).
    let mut filled = bytes.clone();
    filled.splice(2..2, [0xff, 0xff, 0xff]);
    assert_eq!(facts_from_bytes(&filled), facts_from_bytes(&bytes));
}

fn error_of(bytes: &[u8]) -> crate::Error {
    let e = facts_from_bytes(bytes).unwrap_err();
    assert!(e.kind() == ErrorKind::Photo && e.help_text().is_some(), "{e}");
    e
}

#[test]
fn errors_say_what_is_wrong() {
    assert!(error_of(b"").what().contains("empty"));
    assert!(error_of(b"GIF89a and so on").what().contains("not a photo of a known type"));
    assert!(error_of(b"\0\0\0\x14ftypisom\0\0\0\0mp42").what().contains("video"));
    assert!(error_of(b"\0\0\0\x18ftypavif\0\0\0\0mif1avif").what().contains("AVIF"));
    assert!(error_of(b"II\x2b\0\x08\0\0\0").what().contains("BigTIFF"));
    assert!(error_of(&jpeg_headers(0, 48)).what().contains("0 x 48"));
    assert!(error_of(&jpeg_headers(64, 0)).what().contains("64 x 0"));
    assert!(error_of(&jpeg_headers(65535, 65535)).what().contains("more than 250 megapixels"));
    assert!(facts_from_bytes(&jpeg_headers(20000, 12500)).is_ok(), "250 megapixels exactly");
    // A raw picture in TIFF's clothing: the first directory is a thumbnail.
    let raw = tiff(&[(0xfe, 1), (0x100, 64), (0x101, 48)]);
    assert!(error_of(&raw).what().contains("raw"));
}

#[test]
fn errors_name_the_file() {
    let dir = tempfile::tempdir().unwrap();
    let path = |name: &str| dir.path().join(name);
    let missing = read_facts(path("none.jpg")).unwrap_err();
    assert_eq!((missing.kind(), missing.file()), (ErrorKind::Io, Some(path("none.jpg").as_path())));
    assert!(missing.help_text().is_some());
    let folder = read_facts(dir.path()).unwrap_err();
    assert!(folder.kind() == ErrorKind::Io && folder.what().contains("folder"));
    assert!(fingerprint(dir.path()).is_err() && read_facts_and_fingerprint(dir.path()).is_err());
    fs::write(path("empty.jpg"), b"").unwrap();
    let empty = read_facts(path("empty.jpg")).unwrap_err();
    assert_eq!((empty.kind(), empty.file()), (ErrorKind::Photo, Some(path("empty.jpg").as_path())));
    assert_eq!(read_facts_and_fingerprint(path("empty.jpg")).unwrap_err(), empty);
}

#[cfg(unix)]
#[test]
fn a_pipe_is_refused_without_waiting() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("socket.jpg");
    let _socket = std::os::unix::net::UnixListener::bind(&path).unwrap();
    assert!(read_facts(&path).unwrap_err().what().contains("not a regular file"));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2000, ..ProptestConfig::default() })]

    #[test]
    fn changed_bytes_never_panic(
        which in 0usize..5,
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..12),
    ) {
        let mut bytes = samples().swap_remove(which);
        for (index, byte) in changes {
            let at = index.index(bytes.len());
            bytes[at] = byte;
        }
        match facts_from_bytes(&bytes) {
            Ok(facts) => {
                prop_assert!(u64::from(facts.width_px) * u64::from(facts.height_px) <= MAX_MEGAPIXELS * 1_000_000);
                prop_assert!(facts.prior_focal_px().is_none_or(|f| f.is_finite() && f > 0.0));
                let printed: String = facts.remarks.iter().map(|r| r.to_string()).collect();
                prop_assert!(!printed.chars().any(char::is_control));
            }
            Err(e) => prop_assert!(e.help_text().is_some()),
        }
    }
}
