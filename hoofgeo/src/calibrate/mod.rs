//! Calibrating a camera from photos of a flat board with points at known places, such as the inner corners of a chessboard.
//!
//! Focal length, principal point and distortion are found by least squares together with the board's pose in every photo, from a
//! start in closed form after Zhang. The usual covariance σ²(JᵀJ)⁻¹ takes all residuals as independent. On real photos they are
//! not (blur, a warped board and uneven light displace the corners of one photo together), and it comes out 1.3 to 3.4 times too
//! small on the photos this was tried on. [`Calibration`] therefore holds three: the `formal` one, the one from leaving out each
//! photo in turn (`jackknife`), and `covariance`, made of both, to rely on; that one goes into the lens profile.
//!
//! | To | call |
//! | --- | --- |
//! | print a board in true size | [`Chessboard::sheet`], then [`BoardSheet::to_pdf`] or [`BoardSheet::to_svg`] |
//! | go from photos' files to a profile | `calibrate_photos` (features `corners` and `pictures`) |
//! | find the corners in pixels of your own | `find_chessboard` (feature `corners`) |
//! | calibrate from corners that you have | [`calibrate()`], as below |
//! | take over a calibration of OpenCV's | [`import_opencv`] |
//! | measure with a profile | [`LensProfile::prior`](crate::sidecar::LensProfile::prior) gives what [`measure()`](crate::measured::measure()) takes |
//!
//! A profile holds for the frame as the camera stores it, at every size of the same proportions, at one zoom.
//!
//! # Example: from corners to a lens profile
//! ```
//! use hoofgeo::calibrate::{BoardPhoto, BoardPoint, Options, calibrate};
//! use hoofgeo::lens::{Camera, Distortion};
//! use hoofgeo::sidecar::CameraId;
//! use nalgebra::{Point2, Rotation3, Vector3};
//!
//! // What a camera of f = 900 px sees of a 7 x 5 board of 30 mm squares, held at eight angles; corners are off by a little.
//! let camera = Camera { focal: 900.0, principal: Point2::new(630.0, 482.0), distortion: Distortion { k1: -0.1, ..Distortion::none() } };
//! let photos: Vec<BoardPhoto> = (0..8).map(|k| {
//!     let angle = 0.8 * f64::from(k);
//!     let turn = Rotation3::from_euler_angles(0.5 * angle.cos(), 0.5 * angle.sin(), 0.3 * angle);
//!     let points = (0..35).map(|i| {
//!         let mm = Point2::new(f64::from(i % 7) * 30.0, f64::from(i / 7) * 30.0);
//!         let p = turn * Vector3::new(mm.x - 90.0, mm.y - 60.0, 0.0) + Vector3::new(0.0, 0.0, 400.0);
//!         let off = Vector3::new(f64::from(i * k + i).sin(), f64::from(i * k + 2 * i).cos(), 0.0).xy() * 0.1;
//!         BoardPoint { mm, pixel: camera.pixel(Point2::new(p.x / p.z, p.y / p.z)) + off }
//!     }).collect();
//!     BoardPhoto { name: format!("board-{k}.jpg"), frame_px: (1280, 960), points }
//! }).collect();
//!
//! let found = calibrate(&photos, &Options::default())?;
//! assert!((found.focal_px[0] - 900.0).abs() < 3.0 * found.standard_uncertainty()[0]);
//! let profile = found.profile(CameraId { model: Some("Phone".into()), ..CameraId::default() }, None, None)?;
//! std::fs::write(std::env::temp_dir().join("phone.lens.json"), profile.to_json()).expect("can be written");
//! # Ok::<(), hoofgeo::Error>(())
//! ```

mod board;
mod bundle;
#[cfg(feature = "corners")]
mod corners;
#[cfg(all(feature = "corners", feature = "pictures"))]
mod from_photos;
mod jackknife;
mod opencv;
mod photos;
#[cfg(feature = "corners")]
mod refine;
mod result;
mod start;

pub use board::{BoardSheet, Chessboard, Paper};
#[cfg(feature = "corners")]
pub use corners::find_chessboard;
#[cfg(all(feature = "corners", feature = "pictures"))]
pub use from_photos::{PhotoCalibration, calibrate_photos};
pub use opencv::{ImportOptions, WhichCamera, import_opencv};
pub use photos::{BoardPhoto, BoardPoint, LeftOut, Reason};
pub use result::{CalibratedPhoto, Calibration, Covariance};

use crate::error::{Error, ErrorKind, Result};
use bundle::{Fit, Free};
use photos::Set;

/// Number of camera parameters, in the order of [`Parameter`].
pub const PARAMETERS: usize = 9;

/// Fewest photos: with one left out, three angles remain, as many as Zhang's method asks for.
pub const FEWEST_PHOTOS: usize = 4;

/// A camera parameter; its number is its place in vectors and covariances.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Parameter {
    /// Focal length along x, px; with square pixels the only one.
    Fx = 0,
    /// Focal length along y, px.
    Fy = 1,
    /// Principal point's x, px.
    Cx = 2,
    /// Principal point's y, px.
    Cy = 3,
    /// Radial distortion, second order.
    K1 = 4,
    /// Radial distortion, fourth order.
    K2 = 5,
    /// Radial distortion, sixth order.
    K3 = 6,
    /// Tangential distortion, first.
    P1 = 7,
    /// Tangential distortion, second.
    P2 = 8,
}

/// How to calibrate.
#[derive(Debug, Clone, PartialEq)]
pub struct Options {
    /// One focal length for both axes, as a lens profile has it. Otherwise two, as other programs have it.
    pub square_pixels: bool,
    /// Parameters that are not estimated, and their values.
    pub hold: Vec<(Parameter, f64)>,
    /// How often a set of good photos may lose one to the test for bad ones; 0 leaves every photo in. See [`Reason::Residuals`].
    pub significance: f64,
}

impl Default for Options {
    /// Square pixels, everything estimated, a good photo lost in one set of a hundred.
    fn default() -> Self {
        Self { square_pixels: true, hold: Vec::new(), significance: 0.01 }
    }
}

impl Options {
    fn free(&self) -> Result<Free> {
        let usage = |what: String| Err(Error::new(ErrorKind::Usage, what));
        let mut free = Free { is_free: [true; PARAMETERS], square: self.square_pixels };
        for &(parameter, value) in &self.hold {
            let focal = matches!(parameter, Parameter::Fx | Parameter::Fy);
            if !value.is_finite() || (focal && value <= 0.0) {
                return usage(format!("{parameter:?} cannot be held at {value}"));
            }
            if self.square_pixels && parameter == Parameter::Fy {
                return usage("with square pixels the focal length is Fx; Fy cannot be held on its own".into());
            }
            free.is_free[parameter as usize] = false;
        }
        if self.square_pixels {
            free.is_free[1] = false;
        }
        if !free.is_free.contains(&true) {
            return usage("every parameter is held: there is nothing to calibrate".into());
        }
        if !(0.0..1.0).contains(&self.significance) {
            return usage(format!("a significance of {} is none: give 0 to 1, such as 0.01", self.significance));
        }
        Ok(free)
    }
}

/// Calibrates a camera from photos of a board.
///
/// The board's points are in mm in its own plane, in any orientation, the same for every photo. A wrong size of the squares cannot
/// show: it changes the board's distances from the camera and nothing else.
///
/// Photos that cannot be of this board and camera are left out and named, with the [`Reason`], as long as they are no more than a
/// quarter of them (one of five or more).
///
/// # Errors
/// [`ErrorKind::Usage`] for options that make no sense; [`ErrorKind::Scene`], naming the photos, for too few photos, frames
/// of different sizes, boards that are another, mirrored, or all seen from one angle, and photos that fit no common camera.
pub fn calibrate(photos: &[BoardPhoto], options: &Options) -> Result<Calibration> {
    let free = options.free()?;
    let mut set = Set::new(photos)?;
    loop {
        let points = set.points();
        let start = start::start(&points, &set.flats(), set.frame_px(), &options.hold, free.square);
        let fit = start.and_then(|s| bundle::refine(&points, s, &free)).ok_or_else(|| set.undetermined())?;
        let without = jackknife::leave_one_out(&fit, &points);
        if let Some(worst) = jackknife::worst(&fit, &without, &points)
            && worst.probability < options.significance
        {
            set.leave_out(
                worst.photo,
                Reason::Residuals { rms_px: worst.rms_px, others_px: worst.others_px, probability: worst.probability },
            )?;
            continue;
        }
        return finish(&set, &fit, without, &free);
    }
}

fn finish(set: &Set<'_>, fit: &Fit, without: Vec<Option<Fit>>, free: &Free) -> Result<Calibration> {
    let points = set.points();
    set.check_angles(&fit.state)?;
    let (formal, poses) = fit.covariance().ok_or_else(|| set.undetermined())?;
    if let Some(needed) = without.iter().position(Option::is_none) {
        return Err(set.rests_on(needed));
    }
    let without: Vec<Fit> = without.into_iter().flatten().collect();
    let jackknife = jackknife::covariance(&without);
    let honest =
        jackknife::honest(&formal, &jackknife, &free.indices(), points.len()).ok_or_else(|| set.undetermined())?;
    let found = Calibration::new(set, fit, &poses, free, [formal, jackknife, honest]);
    set.check_result(&found)?;
    Ok(found)
}
