//! Photos of one colour with EXIF written by hand (Exif 2.32, TIFF 6.0), and headers that lie.

use super::FRAME;
use std::sync::OnceLock;

/// A value of an EXIF field.
#[derive(Clone, Copy)]
pub(crate) enum Field {
    Text(&'static str),
    Short(u16),
    Long(u32),
}

/// EXIF fields: those of the first directory, and those of the Exif directory.
pub(crate) type Fields<'a> = &'a [(u16, Field)];

pub(crate) const MAKE: u16 = 0x010f;
pub(crate) const MODEL: u16 = 0x0110;
pub(crate) const ORIENTATION: u16 = 0x0112;
pub(crate) const WIDTH: u16 = 0xa002;
pub(crate) const HEIGHT: u16 = 0xa003;
pub(crate) const FOCAL_35MM: u16 = 0xa405;
pub(crate) const LENS_MODEL: u16 = 0xa434;

/// A whole JPEG of this size, all grey, without EXIF.
pub(crate) fn plain(width: u16, height: u16) -> Vec<u8> {
    let mut bytes = Vec::new();
    let pixels = vec![128; usize::from(width) * usize::from(height)];
    let encoder = jpeg_encoder::Encoder::new(&mut bytes, 80);
    encoder.encode(&pixels, width, height, jpeg_encoder::ColorType::Luma).unwrap();
    bytes
}

fn grey() -> &'static [u8] {
    static GREY: OnceLock<Vec<u8>> = OnceLock::new();
    GREY.get_or_init(|| plain(FRAME.0, FRAME.1))
}

/// A good photo of the usual size without EXIF.
pub(crate) fn without_exif() -> Vec<u8> {
    grey().to_vec()
}

/// A good photo of the usual size: a phone with a 26 mm equivalent lens.
pub(crate) fn photo() -> Vec<u8> {
    with_exif(&[(MAKE, Field::Text("Generic")), (MODEL, Field::Text("Phone"))], &[(FOCAL_35MM, Field::Short(26))])
}

/// The grey photo with these EXIF fields.
pub(crate) fn with_exif(first: Fields<'_>, exif: Fields<'_>) -> Vec<u8> {
    with_app1(grey(), &block(first, exif))
}

/// A JPEG with an APP1 segment of EXIF behind its first marker (Exif 2.32, 4.5.4).
pub(crate) fn with_app1(jpeg: &[u8], block: &[u8]) -> Vec<u8> {
    let mut bytes = jpeg[..2].to_vec();
    bytes.extend([0xff, 0xe1]);
    bytes.extend(u16::try_from(block.len() + 8).unwrap().to_be_bytes());
    bytes.extend(b"Exif\0\0");
    bytes.extend(block);
    bytes.extend(&jpeg[2..]);
    bytes
}

/// An EXIF block: a little-endian TIFF with two directories.
pub(crate) fn block(first: Fields<'_>, exif: Fields<'_>) -> Vec<u8> {
    let mut fields = first.to_vec();
    fields.push((0x8769, Field::Long(0)));
    let second = 8 + size(&fields);
    fields.pop();
    fields.push((0x8769, Field::Long(u32::try_from(second).unwrap())));
    let mut bytes = b"II\x2a\0\x08\0\0\0".to_vec();
    directory(&mut bytes, &fields);
    assert_eq!(bytes.len(), second);
    directory(&mut bytes, exif);
    bytes
}

fn size(fields: Fields<'_>) -> usize {
    6 + fields.iter().map(|(_, f)| 12 + outside(f).len()).sum::<usize>()
}

/// The part of a value that does not fit into its entry.
fn outside(field: &Field) -> Vec<u8> {
    match field {
        Field::Text(text) => {
            let mut bytes = text.as_bytes().to_vec();
            bytes.push(0);
            while bytes.len() < 5 || bytes.len() % 2 == 1 {
                bytes.push(0);
            }
            bytes
        }
        _ => Vec::new(),
    }
}

fn directory(bytes: &mut Vec<u8>, fields: Fields<'_>) {
    let mut data = bytes.len() + 6 + 12 * fields.len();
    let mut behind = Vec::new();
    bytes.extend(u16::try_from(fields.len()).unwrap().to_le_bytes());
    for (tag, field) in fields {
        let more = outside(field);
        let (kind, count, value) = match field {
            Field::Text(_) => (2u16, more.len(), u32::try_from(data).unwrap()),
            Field::Short(v) => (3, 1, u32::from(*v)),
            Field::Long(v) => (4, 1, *v),
        };
        bytes.extend(tag.to_le_bytes());
        bytes.extend(kind.to_le_bytes());
        bytes.extend(u32::try_from(count).unwrap().to_le_bytes());
        bytes.extend(value.to_le_bytes());
        data += more.len();
        behind.extend(more);
    }
    bytes.extend([0; 4]);
    bytes.extend(behind);
}

/// The grey photo whose frame header claims another size (ITU-T T.81 B.2.2).
pub(crate) fn claims(width: u16, height: u16) -> Vec<u8> {
    let mut bytes = photo();
    let sof = bytes.windows(2).position(|w| w[0] == 0xff && matches!(w[1], 0xc0 | 0xc2)).unwrap();
    bytes[sof + 5..sof + 7].copy_from_slice(&height.to_be_bytes());
    bytes[sof + 7..sof + 9].copy_from_slice(&width.to_be_bytes());
    bytes
}

/// A PNG header that claims a size, with no pixels behind it (checksums are not looked at before the pixels).
pub(crate) fn png_header(width: u32, height: u32) -> Vec<u8> {
    let mut bytes = b"\x89PNG\r\n\x1a\n\0\0\0\x0dIHDR".to_vec();
    bytes.extend(width.to_be_bytes());
    bytes.extend(height.to_be_bytes());
    bytes.extend([8, 2, 0, 0, 0, 0, 0, 0, 0]);
    bytes.extend(b"\0\0\0\0IEND\xae\x42\x60\x82");
    bytes
}
