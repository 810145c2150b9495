//! The EXIF fields that a measurement needs. Place and owner are left alone: a report must not tell where a horse stands.

use super::Remark;
use exif::{Context, Exif, In, Reader, Tag, Value};
use jiff::civil;
use std::io::{BufRead, Seek};

/// An EXIF block as far as it could be read.
pub(super) struct Parsed {
    exif: Option<Exif>,
    trouble: Option<String>,
}

/// Parses a bare EXIF block (a TIFF structure).
pub(super) fn parse(block: Option<Vec<u8>>) -> Parsed {
    match block {
        Some(block) => distill(Reader::new().continue_on_error(true).read_raw(block)),
        None => Parsed { exif: None, trouble: None },
    }
}

/// Finds and parses the EXIF of a HEIC; it may lie behind the picture.
pub(super) fn parse_container<R: BufRead + Seek>(r: &mut R) -> Parsed {
    distill(Reader::new().continue_on_error(true).read_from_container(r))
}

fn distill(result: Result<Exif, exif::Error>) -> Parsed {
    let mut trouble = None;
    let whole_or_part = result
        .or_else(|e| e.distill_partial_result(|errors| trouble = errors.first().map(std::string::ToString::to_string)));
    match whole_or_part {
        Ok(exif) => Parsed { exif: Some(exif), trouble },
        Err(exif::Error::NotFound(_)) => Parsed { exif: None, trouble },
        Err(e) => Parsed { exif: None, trouble: Some(e.to_string()) },
    }
}

impl Parsed {
    /// What is to be said about the block as a whole.
    pub(super) fn remark(&self) -> Option<Remark> {
        match (&self.trouble, &self.exif) {
            (Some(why), _) => Some(Remark::PartialExif { why: why.clone() }),
            (None, None) => Some(Remark::NoExif),
            (None, Some(_)) => None,
        }
    }

    fn value(&self, tag: Tag) -> Option<&Value> {
        let exif = self.exif.as_ref()?;
        // Some editors move fields of the EXIF directory up into the first one; the numbers of the two do not collide.
        let field = exif.get_field(tag, In::PRIMARY);
        Some(&field.or_else(|| exif.get_field(Tag(Context::Tiff, tag.number()), In::PRIMARY))?.value)
    }

    pub(super) fn uint(&self, tag: Tag) -> Option<u32> {
        self.value(tag)?.get_uint(0)
    }

    /// A finite number of whichever numeric type the camera chose.
    pub(super) fn number(&self, tag: Tag) -> Option<f64> {
        let value = match self.value(tag)? {
            Value::Rational(v) => v.first()?.to_f64(),
            Value::SRational(v) => v.first()?.to_f64(),
            Value::Float(v) => f64::from(*v.first()?),
            Value::Double(v) => *v.first()?,
            other => f64::from(other.get_uint(0)?),
        };
        value.is_finite().then_some(value)
    }

    pub(super) fn positive(&self, tag: Tag) -> Option<f64> {
        self.number(tag).filter(|&v| v > 0.0)
    }

    /// A text without padding and control characters; none when blank.
    pub(super) fn text(&self, tag: Tag) -> Option<String> {
        let Value::Ascii(parts) = self.value(tag)? else { return None };
        let text: String = String::from_utf8_lossy(parts.first()?).chars().filter(|c| !c.is_control()).collect();
        let text = text.trim();
        (!text.is_empty()).then(|| text.to_owned())
    }

    /// When the shutter opened: RFC 3339 where the camera recorded its offset from UTC, else the civil time alone.
    pub(super) fn taken(&self, remarks: &mut Vec<Remark>) -> Option<String> {
        let text = self.text(Tag::DateTimeOriginal)?;
        // The standard's way of saying "unknown" is blanks between the colons; cameras with an unset clock write zeros.
        if !text.bytes().any(|b| matches!(b, b'1'..=b'9')) {
            return None;
        }
        let Some(date) = civil_time(&text) else {
            remarks.push(Remark::InvalidDate { text });
            return None;
        };
        let Some(offset) = self.text(Tag::OffsetTimeOriginal).filter(|o| o.bytes().any(|b| b.is_ascii_digit())) else {
            return Some(date.to_string());
        };
        if is_offset(&offset) {
            return Some(format!("{date}{offset}"));
        }
        remarks.push(Remark::InvalidOffset { text: offset });
        Some(date.to_string())
    }

    /// Width of the sensor that the focal-plane resolution implies for a picture `width_px` wide, mm.
    pub(super) fn focal_plane_width_mm(&self, width_px: u32) -> Option<f64> {
        let mm_per_unit = match self.uint(Tag::FocalPlaneResolutionUnit) {
            None | Some(2) => 25.4,
            Some(3) => 10.0,
            Some(_) => return None,
        };
        Some(f64::from(width_px) * mm_per_unit / self.positive(Tag::FocalPlaneXResolution)?)
    }

    /// The size in a TIFF's first directory, px.
    pub(super) fn tiff_size(&self) -> Option<(u32, u32)> {
        Some((self.uint(Tag::ImageWidth)?, self.uint(Tag::ImageLength)?))
    }

    /// Whether a TIFF's first directory is a thumbnail (NewSubfileType bit 0) or a raw picture (DNGVersion present).
    pub(super) fn is_reduced_or_raw(&self) -> bool {
        let (new_subfile_type, dng_version) = (Tag(Context::Tiff, 0x00fe), Tag(Context::Tiff, 0xc612));
        self.uint(new_subfile_type).is_some_and(|v| v & 1 == 1) || self.value(dng_version).is_some()
    }
}

/// `YYYY:MM:DD HH:MM:SS`, the EXIF form.
fn civil_time(text: &str) -> Option<civil::DateTime> {
    let (date, time) = text.split_once(' ')?;
    let [y, mo, d] = three(date)?;
    let [h, mi, s] = three(time)?;
    civil::DateTime::new(
        y,
        mo.try_into().ok()?,
        d.try_into().ok()?,
        h.try_into().ok()?,
        mi.try_into().ok()?,
        s.try_into().ok()?,
        0,
    )
    .ok()
}

fn three(text: &str) -> Option<[i16; 3]> {
    let mut parts = text.split(':').map(|p| p.bytes().all(|b| b.is_ascii_digit()).then(|| p.parse().ok()).flatten());
    let numbers = [parts.next()??, parts.next()??, parts.next()??];
    parts.next().is_none().then_some(numbers)
}

/// `+HH:MM` or `-HH:MM`, the EXIF form, as far from UTC as any zone is.
fn is_offset(text: &str) -> bool {
    let [b'+' | b'-', h1, h0, b':', m1, m0] = text.as_bytes() else { return false };
    let two = |a: &u8, b: &u8| (a.is_ascii_digit() && b.is_ascii_digit()).then(|| (a - b'0') * 10 + (b - b'0'));
    matches!((two(h1, h0), two(m1, m0)), (Some(0..=14), Some(0..=59)))
}
