//! What a photo's header tells, without a look at its pixels.

use super::container::{Fault, Header, read_header};
use super::limits::{MAX_MEGAPIXELS, MAX_SIDE_PX};
use super::{Orientation, Remark, Sha256Hex, fingerprint};
use crate::file::{FileKind, open_file, read_file};
use crate::lens::FILM_DIAGONAL_MM;
use crate::{Error, ErrorKind, Result};
use exif::Tag;
use serde::Serialize;
use std::fmt;
use std::io::{BufRead, BufReader, Cursor, Seek};
use std::path::Path;

/// The type of a photo's file, by its content (names lie).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[non_exhaustive]
pub enum PhotoType {
    /// JPEG (ITU-T T.81).
    #[serde(rename = "JPEG")]
    Jpeg,
    /// PNG.
    #[serde(rename = "PNG")]
    Png,
    /// TIFF 6.0.
    #[serde(rename = "TIFF")]
    Tiff,
    /// WebP (RFC 9649).
    WebP,
    /// HEIC (ISO/IEC 23008-12 with HEVC).
    #[serde(rename = "HEIC")]
    Heic,
}

impl fmt::Display for PhotoType {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Jpeg => "JPEG",
            Self::Png => "PNG",
            Self::Tiff => "TIFF",
            Self::WebP => "WebP",
            Self::Heic => "HEIC",
        })
    }
}

/// Everything known of a photo from its header.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct PhotoFacts {
    /// The file's type.
    pub photo_type: PhotoType,
    /// Width of the upright photo, px.
    pub width_px: u32,
    /// Height of the upright photo, px.
    pub height_px: u32,
    /// Width of the picture as stored, px.
    pub stored_width_px: u32,
    /// Height of the picture as stored, px.
    pub stored_height_px: u32,
    /// How the stored picture is turned to stand upright.
    pub orientation: Orientation,
    /// Maker of the camera.
    pub make: Option<String>,
    /// Model of the camera.
    pub model: Option<String>,
    /// Model of the lens.
    pub lens_model: Option<String>,
    /// Focal length of the lens, mm.
    pub focal_mm: Option<f64>,
    /// Focal length of the lens that gives the same picture on 35 mm film, mm; a whole number by the standard.
    pub focal_35mm: Option<f64>,
    /// By how much the camera enlarged the middle of its picture; 1 where it says that it did not.
    pub digital_zoom: Option<f64>,
    /// When it was taken: RFC 3339 where the camera recorded its offset from UTC, else `YYYY-MM-DDTHH:MM:SS` on the
    /// camera's own clock. No zone is ever assumed.
    pub taken: Option<String>,
    /// Width that the camera recorded for the stored picture (EXIF PixelXDimension), px.
    pub exif_width_px: Option<u32>,
    /// Height that the camera recorded for the stored picture (EXIF PixelYDimension), px.
    pub exif_height_px: Option<u32>,
    /// What a careful person would want to know.
    pub remarks: Vec<Remark>,
}

impl PhotoFacts {
    /// A first guess of the focal length, px of the upright photo: the 35 mm equivalent f35, which the makers reckon on the
    /// frame's diagonal (CIPA DCG-001, from memory), scaled to this frame: `f35 · √(width² + height²) / 43.27 mm`.
    ///
    /// The diagonal is the same upright and stored, and a picture made smaller as a whole keeps its angle of view, so both need no
    /// correction. None without an f35, and none for a photo that was cropped since (its diagonal is not the camera's).
    ///
    /// Digital zoom changes nothing here. The standard does not say whether f35 contains it: some phones write the equivalent of
    /// the enlarged picture (4.15 mm lens, ratio 1.97, f35 57), for which a correction would be wrong by the ratio, others may not.
    /// [`Remark::DigitalZoom`] warns instead.
    ///
    /// # Example
    /// ```
    /// # use hoofgeo::photo::{PhotoFacts, facts_from_bytes};
    /// fn wide_angle(facts: &PhotoFacts) -> Option<bool> {
    ///     Some(facts.prior_focal_px()? < f64::from(facts.width_px.max(facts.height_px)))
    /// }
    /// # assert!(facts_from_bytes(b"no photo").is_err());
    /// ```
    pub fn prior_focal_px(&self) -> Option<f64> {
        if self.remarks.iter().any(|r| matches!(r, Remark::Cropped { .. })) {
            return None;
        }
        Some(self.focal_35mm? * f64::from(self.width_px).hypot(f64::from(self.height_px)) / FILM_DIAGONAL_MM)
    }
}

/// Reads a photo's header; the pixels stay unread (a TIFF is read whole, its parts may lie anywhere).
///
/// # Errors
/// [`ErrorKind::Io`] when the file cannot be read or is a folder; [`ErrorKind::Photo`] when it is empty, cut off inside its header, not a
/// photo, without or beyond a sensible size. A damaged EXIF is no error but a [`Remark`].
///
/// # Example
/// ```no_run
/// let facts = hoofgeo::photo::read_facts("near-fore-side.jpg")?;
/// println!("{} x {} px, taken {:?}", facts.width_px, facts.height_px, facts.taken);
/// for remark in &facts.remarks {
///     println!("note: {remark}");
/// }
/// # Ok::<(), hoofgeo::Error>(())
/// ```
pub fn read_facts(path: impl AsRef<Path>) -> Result<PhotoFacts> {
    let path = path.as_ref();
    facts(&mut BufReader::new(open_file(path, FileKind::Photo)?)).map_err(|e| e.in_file(path))
}

/// The facts of a photo that is in memory already.
///
/// # Errors
/// As [`read_facts`], without the name of a file.
pub fn facts_from_bytes(bytes: &[u8]) -> Result<PhotoFacts> {
    facts(&mut Cursor::new(bytes))
}

/// Facts and SHA-256 of the same bytes, from one read of the file.
///
/// # Errors
/// As [`read_facts`].
pub fn read_facts_and_fingerprint(path: impl AsRef<Path>) -> Result<(PhotoFacts, Sha256Hex)> {
    let path = path.as_ref();
    let bytes = read_file(path, FileKind::Photo)?;
    let facts = facts_from_bytes(&bytes).map_err(|e| e.in_file(path))?;
    Ok((facts, fingerprint::Sha256Hex::of(&bytes)))
}

fn facts<R: BufRead + Seek>(r: &mut R) -> Result<PhotoFacts> {
    let header = read_header(r).map_err(|fault| match fault {
        Fault::Photo(e) => e,
        Fault::Read(e) => Error::new(ErrorKind::Io, format!("cannot read the file: {e}"))
            .help("check that the disk or card is still connected and sound"),
    })?;
    check_size(header.stored)?;
    Ok(gather(&header))
}

fn check_size((w, h): (u32, u32)) -> Result<()> {
    if w == 0 || h == 0 {
        return Err(Error::new(ErrorKind::Photo, format!("the photo says that it is {w} x {h} px"))
            .help("copy it again from the camera or the backup"));
    }
    let pixels = u64::from(w) * u64::from(h);
    if pixels > MAX_MEGAPIXELS * 1_000_000 {
        return Err(Error::new(
            ErrorKind::Photo,
            format!("the photo says that it is {w} x {h} px, more than {MAX_MEGAPIXELS} megapixels"),
        )
        .help("check that it is a camera's photo and whole; a stitched panorama cannot be measured"));
    }
    if w.max(h) > MAX_SIDE_PX {
        let what = format!("the photo says that it is {w} x {h} px, a side longer than {MAX_SIDE_PX} px");
        return Err(Error::new(ErrorKind::Photo, what).help("check that it is a camera's photo and whole"));
    }
    Ok(())
}

fn gather(header: &Header) -> PhotoFacts {
    let (exif, stored) = (&header.exif, header.stored);
    let mut remarks: Vec<Remark> = exif.remark().into_iter().collect();
    let orientation = orientation(header, &mut remarks);
    let (width_px, height_px) = orientation.upright_size(stored);
    let (exif_width_px, exif_height_px) = (exif.uint(Tag::PixelXDimension), exif.uint(Tag::PixelYDimension));
    let recorded = exif_width_px.zip(exif_height_px).filter(|&(w, h)| w > 0 && h > 0);
    remarks.extend(recorded.and_then(|recorded| size_remark(recorded, stored)));
    let turned_already = header.orientation.is_none() && stored.0 != stored.1 && recorded == Some((stored.1, stored.0));
    if turned_already && orientation.swaps_axes() {
        remarks.push(Remark::TurnedTwice { orientation });
    }

    let sensor_width_mm = exif.focal_plane_width_mm(recorded.map_or(stored.0, |(w, _)| w));
    // From memory: the smallest phone sensors are some 2.5 mm wide, the largest digital backs 54 mm.
    if let Some(sensor_width_mm) = sensor_width_mm.filter(|w| !(2.0..=60.0).contains(w)) {
        remarks.push(Remark::ImplausibleFocalPlaneResolution { sensor_width_mm });
    }
    // 0 means "unknown" (Exif 2.32). From memory: lenses are made from 5 to some 2000 mm equivalent.
    let mut focal_35mm = exif.positive(Tag::FocalLengthIn35mmFilm);
    if let Some(mm) = focal_35mm.filter(|mm| !(5.0..=3000.0).contains(mm)) {
        remarks.push(Remark::ImplausibleFocal35 { mm });
        focal_35mm = None;
    }
    // 0 means "not used" (Exif 2.32).
    let digital_zoom = exif.number(Tag::DigitalZoomRatio).filter(|&z| z >= 0.0).map(|z| if z == 0.0 { 1.0 } else { z });
    // Phones write 1.0007 for none; one per cent is less than an f35 in whole millimetres says anyway.
    if let Some(ratio) = digital_zoom.filter(|&z| z > 1.01) {
        remarks.push(Remark::DigitalZoom { ratio });
    }
    let taken = exif.taken(&mut remarks);
    PhotoFacts {
        photo_type: header.photo_type,
        width_px,
        height_px,
        stored_width_px: stored.0,
        stored_height_px: stored.1,
        orientation,
        make: exif.text(Tag::Make),
        model: exif.text(Tag::Model),
        lens_model: exif.text(Tag::LensModel),
        focal_mm: exif.positive(Tag::FocalLength),
        focal_35mm,
        digital_zoom,
        taken,
        exif_width_px,
        exif_height_px,
        remarks,
    }
}

fn orientation(header: &Header, remarks: &mut Vec<Remark>) -> Orientation {
    let number = header.exif.uint(Tag::Orientation);
    let exif = number.and_then(Orientation::from_exif);
    match (header.orientation, exif, number) {
        (Some(container), Some(exif), _) if container != exif => {
            remarks.push(Remark::OrientationsDiffer { container, exif });
            container
        }
        (Some(container), _, _) => container,
        (None, Some(exif), _) => exif,
        (None, None, Some(value)) => {
            remarks.push(Remark::InvalidOrientation { value });
            Orientation::Upright
        }
        (None, None, None) => Orientation::Upright,
    }
}

/// Whether the photo has another size than the camera recorded. Width and height exchanged (a picture turned by an editor) is
/// the same size.
fn size_remark(recorded: (u32, u32), actual: (u32, u32)) -> Option<Remark> {
    let turned = (recorded.1, recorded.0);
    if recorded == actual || turned == actual {
        return None;
    }
    // Resizing rounds each side to whole pixels: one side, scaled as the other was, comes out within one.
    let in_proportion = |(rw, rh): (u32, u32)| {
        let (scaled_w, scaled_h) =
            (f64::from(rw) * f64::from(actual.1) / f64::from(rh), f64::from(rh) * f64::from(actual.0) / f64::from(rw));
        (scaled_w - f64::from(actual.0)).abs() <= 1.0 || (scaled_h - f64::from(actual.1)).abs() <= 1.0
    };
    Some(if in_proportion(recorded) || in_proportion(turned) {
        Remark::Resized { recorded, actual }
    } else {
        Remark::Cropped { recorded, actual }
    })
}
