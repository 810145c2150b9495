//! The public lens database of the Lensfun project: which distortion a camera's lens has, by its name.
//!
//! The data (CC BY-SA 3.0) are not part of this library: they are read from the folder where the system's package installs them
//! ([`Database::system`]), or from a folder of the user's choice. The reader was written from the format's published documentation.
//!
//! # Source
//! Lensfun project, *The Lensfun database format* (documentation) and database version 1.

mod matching;
mod profile;
mod read;
#[cfg(test)]
mod tests;

pub use matching::{FocalFrom, Match, NoMatch, Optics, Why};

use super::{Calibrated, Radial};
use std::collections::BTreeMap;
use std::path::PathBuf;

/// Cameras, lenses and mounts of a database.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Database {
    /// The folder it was read from.
    pub folder: PathBuf,
    /// When it was published, seconds since 1970, where its folder says so.
    pub timestamp: Option<i64>,
    /// Its cameras.
    pub cameras: Vec<CameraEntry>,
    /// Its lenses.
    pub lenses: Vec<LensEntry>,
    /// For each mount the others whose lenses fit it.
    pub mounts: BTreeMap<String, Vec<String>>,
}

/// A camera of the database.
#[derive(Debug, Clone, PartialEq)]
pub struct CameraEntry {
    /// Its maker, as EXIF names it.
    pub maker: String,
    /// Its model, as EXIF names it.
    pub model: String,
    /// Which of several settings or models of this name, where it says so.
    pub variant: Option<String>,
    /// Its mount; a camera with a fixed lens has one of its own.
    pub mount: String,
    /// Diagonal of 35 mm film by the sensor's.
    pub crop: f64,
}

/// A lens of the database.
#[derive(Debug, Clone, PartialEq)]
pub struct LensEntry {
    /// Its maker.
    pub maker: String,
    /// Its name.
    pub model: String,
    /// The mounts it is made for.
    pub mounts: Vec<String>,
    /// The frame its calibration was made on.
    pub calibrated: Calibrated,
    /// Its projection, such as `rectilinear` (the usual) or `fisheye`.
    pub projection: String,
    /// Whether the entry moves the optical centre away from the frame's middle.
    pub off_centre: bool,
    /// Its distortion at each calibrated focal length, ascending.
    pub distortion: Vec<Setting>,
    /// Names of distortion models in the entry that are not known here.
    pub unknown_models: Vec<String>,
}

/// The distortion at one focal length.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Setting {
    /// Focal length as EXIF states it, mm.
    pub focal_mm: f64,
    /// The distortion there.
    pub model: Radial,
}

/// A focal length this far outside the calibrated ones still counts as the nearest of them: lenses state rounded values
/// (estimate, no source).
const FOCAL_ROUNDING: f64 = 0.05;

impl LensEntry {
    /// Smallest and largest calibrated focal length, mm; `None` where its distortion was not calibrated.
    pub fn focal_range_mm(&self) -> Option<[f64; 2]> {
        Some([self.distortion.first()?.focal_mm, self.distortion.last()?.focal_mm])
    }

    /// The distortion at a focal length, mm; `None` outside the calibrated ones.
    ///
    /// Between two calibrated focal lengths each term times the focal length follows a cubic Hermite spline, linear in the focal
    /// length, whose slopes are half the difference of the two neighbours (Catmull-Rom), one-sided at the ends: the
    /// interpolation that the database is made for. Neighbours of another model count as none.
    pub fn at(&self, focal_mm: f64) -> Option<Radial> {
        let settings = &self.distortion;
        let (first, last) = (settings.first()?, settings.last()?);
        let inside =
            focal_mm >= first.focal_mm * (1.0 - FOCAL_ROUNDING) && focal_mm <= last.focal_mm * (1.0 + FOCAL_ROUNDING);
        if !inside {
            return None;
        }
        let after = settings.partition_point(|s| s.focal_mm <= focal_mm);
        if after == 0 || after == settings.len() || settings[after - 1].focal_mm == focal_mm {
            return Some(settings[after.saturating_sub(1)].model);
        }
        let (left, right) = (&settings[after - 1], &settings[after]);
        if std::mem::discriminant(&left.model) != std::mem::discriminant(&right.model) {
            let nearer = if focal_mm - left.focal_mm <= right.focal_mm - focal_mm { left } else { right };
            return Some(nearer.model);
        }
        let alike = |s: &&Setting| std::mem::discriminant(&s.model) == std::mem::discriminant(&left.model);
        let before = after.checked_sub(2).and_then(|i| settings.get(i)).filter(alike).unwrap_or(left);
        let behind = settings.get(after + 1).filter(alike).unwrap_or(right);
        let t = (focal_mm - left.focal_mm) / (right.focal_mm - left.focal_mm);
        let (t2, t3) = (t * t, t * t * t);
        let terms = std::array::from_fn(|k| {
            let y = |s: &Setting| s.model.terms()[k] * s.focal_mm;
            let at_left = if before == left { y(right) - y(left) } else { (y(right) - y(before)) / 2.0 };
            let at_right = if behind == right { y(right) - y(left) } else { (y(behind) - y(left)) / 2.0 };
            let value = (2.0 * t3 - 3.0 * t2 + 1.0) * y(left)
                + (t3 - 2.0 * t2 + t) * at_left
                + (3.0 * t2 - 2.0 * t3) * y(right)
                + (t3 - t2) * at_right;
            value / focal_mm
        });
        Some(left.model.with_terms(terms))
    }
}

impl CameraEntry {
    /// Whether the camera is a single-lens reflex camera, by its mount.
    ///
    /// These write their JPEG pictures uncorrected unless told otherwise, and the database's entries are for uncorrected
    /// pictures. Phones, compact and mirrorless cameras correct theirs (common practice, no source): for them an entry of the
    /// database would correct a second time.
    pub fn is_reflex(&self) -> bool {
        const MOUNTS: [&str; 16] = [
            "4/3 System",
            "Canon EF",
            "Canon EF-S",
            "Contax/Yashica",
            "Hasselblad 500",
            "Hasselblad H",
            "M42",
            "Mamiya 645",
            "Minolta AF",
            "Nikon F AF",
            "Pentax K",
            "Pentax KAF2",
            "Pentax KAF4",
            "Rollei 6x6",
            "Sigma SA",
            "Sony Alpha",
        ];
        MOUNTS.contains(&self.mount.as_str())
    }
}
