//! Writes an EXIF block into a JPEG, from the standard (CIPA DC-008, TIFF 6.0) and apart from the crate that reads it.

/// A field, with what it holds.
#[derive(Debug, Clone)]
pub(crate) enum ExifTag {
    Orientation(u16),
    Make(String),
    Model(String),
    LensModel(String),
    FocalLength(Ratio),
    FocalLengthIn35mmFormat(u16),
    DigitalZoomRatio(Ratio),
    DateTimeOriginal(String),
    OffsetTimeOriginal(String),
    ExifImageWidth(u32),
    ExifImageHeight(u32),
    FocalPlaneXResolution(Ratio),
    FocalPlaneResolutionUnit(u16),
}

/// Numerator and denominator.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Ratio(pub(crate) u32, pub(crate) u32);

/// A value's type (TIFF 6.0, section 2), its count and its bytes, big-endian.
type Typed = (u16, u32, Vec<u8>);

impl ExifTag {
    /// The field's number, whether it stands in the EXIF directory and not in the first one, and its value.
    fn field(&self) -> (u16, bool, Typed) {
        let short = |v: &u16| (3, 1, v.to_be_bytes().to_vec());
        let long = |v: &u32| (4, 1, v.to_be_bytes().to_vec());
        let ratio = |v: &Ratio| (5, 1, [v.0.to_be_bytes(), v.1.to_be_bytes()].concat());
        let text = |v: &String| (2, v.len() as u32 + 1, [v.as_bytes(), b"\0"].concat());
        match self {
            Self::Orientation(v) => (0x0112, false, short(v)),
            Self::Make(v) => (0x010f, false, text(v)),
            Self::Model(v) => (0x0110, false, text(v)),
            Self::LensModel(v) => (0xa434, true, text(v)),
            Self::FocalLength(v) => (0x920a, true, ratio(v)),
            Self::FocalLengthIn35mmFormat(v) => (0xa405, true, short(v)),
            Self::DigitalZoomRatio(v) => (0xa404, true, ratio(v)),
            Self::DateTimeOriginal(v) => (0x9003, true, text(v)),
            Self::OffsetTimeOriginal(v) => (0x9011, true, text(v)),
            Self::ExifImageWidth(v) => (0xa002, true, long(v)),
            Self::ExifImageHeight(v) => (0xa003, true, long(v)),
            Self::FocalPlaneXResolution(v) => (0xa20e, true, ratio(v)),
            Self::FocalPlaneResolutionUnit(v) => (0xa210, true, short(v)),
        }
    }
}

/// A directory that begins at this offset: its entries, the mark of its end, what does not fit into four bytes behind them.
fn directory(mut fields: Vec<(u16, Typed)>, offset: usize) -> Vec<u8> {
    fields.sort_by_key(|(number, _)| *number);
    let mut out = (fields.len() as u16).to_be_bytes().to_vec();
    let behind = offset + 2 + 12 * fields.len() + 4;
    let mut values: Vec<u8> = Vec::new();
    for (number, (kind, count, mut bytes)) in fields {
        out.extend(number.to_be_bytes());
        out.extend(kind.to_be_bytes());
        out.extend(count.to_be_bytes());
        if bytes.len() <= 4 {
            bytes.resize(4, 0);
            out.extend(bytes);
        } else {
            out.extend(((behind + values.len()) as u32).to_be_bytes());
            bytes.resize(bytes.len().next_multiple_of(2), 0);
            values.extend(bytes);
        }
    }
    out.extend([0; 4]);
    out.extend(values);
    out
}

/// The photo, a JPEG, with these fields behind its first marker.
pub(crate) fn with_exif(mut photo: Vec<u8>, tags: impl IntoIterator<Item = ExifTag>) -> Vec<u8> {
    const FIRST: usize = 8;
    let (mut first, mut exif) = (Vec::new(), Vec::new());
    for (number, in_exif, value) in tags.into_iter().map(|tag| tag.field()) {
        if in_exif { &mut exif } else { &mut first }.push((number, value));
    }
    let pointer = |at: usize| (0x8769, (4, 1, (at as u32).to_be_bytes().to_vec()));
    let length = directory(first.iter().cloned().chain([pointer(0)]).collect(), FIRST).len();
    first.push(pointer(FIRST + length));
    let block =
        [b"Exif\0\0MM\0\x2a\0\0\0\x08".to_vec(), directory(first, FIRST), directory(exif, FIRST + length)].concat();
    let segment = [&[0xff, 0xe1], &(block.len() as u16 + 2).to_be_bytes()[..], &block].concat();
    photo.splice(2..2, segment);
    photo
}
