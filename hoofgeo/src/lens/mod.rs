//! The camera's lens: pinhole projection with Brown-Conrady distortion, and the way back.

pub mod database;
mod distortion;
#[cfg(feature = "pictures")]
mod judge;
mod plumb_line;
mod radial;

pub use distortion::Distortion;
#[cfg(feature = "pictures")]
pub use judge::{Judgement, Verdict, judge};
pub use plumb_line::{PlumbEdge, PlumbLine};
pub use radial::{BrownConradyFit, Calibrated, Radial, RadialCorrection};

use crate::numeric::Real;
use nalgebra::Point2;

/// Diagonal of the 36 mm x 24 mm film frame, mm: what 35 mm equivalents and crop factors are reckoned on.
pub const FILM_DIAGONAL_MM: f64 = 43.266_615_305_567_87;

/// A pinhole camera with square pixels and lens distortion.
///
/// Pixels are of the upright photo; (0, 0) is the top-left corner of its top-left pixel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Camera<T: Real> {
    /// Focal length in px.
    pub focal: T,
    /// Principal point in px.
    pub principal: Point2<T>,
    /// Lens distortion.
    pub distortion: Distortion<T>,
}

impl<T: Real> Camera<T> {
    /// The pixel of a direction given by its normalised coordinates x/z, y/z (x right, y down, z forward).
    pub fn pixel(&self, normalised: Point2<T>) -> Point2<T> {
        let d = self.distortion.apply(normalised);
        Point2::new(self.principal.x + self.focal * d.x, self.principal.y + self.focal * d.y)
    }

    /// The normalised coordinates of a pixel, still distorted.
    fn distorted(&self, pixel: Point2<T>) -> Point2<T> {
        Point2::new((pixel.x - self.principal.x) / self.focal, (pixel.y - self.principal.y) / self.focal)
    }

    /// The normalised, undistorted coordinates of a pixel.
    ///
    /// `near` is the solution on plain numbers (see [`Distortion::remove`]); this takes one Newton step from it in the
    /// scalar `T`, which makes the derivatives exact.
    pub fn direction(&self, pixel: Point2<T>, near: Point2<f64>) -> Point2<T> {
        self.distortion.newton_step(self.distorted(pixel), near)
    }
}

impl Camera<f64> {
    /// The normalised, undistorted coordinates of a pixel; `None` where the lens model cannot be inverted, outside the
    /// radius up to which it is one-to-one.
    pub fn undistort(&self, pixel: Point2<f64>) -> Option<Point2<f64>> {
        self.distortion.remove(self.distorted(pixel))
    }

    /// A start for [`Camera::direction`] from the undistorted place that the pixel has under a nearly equal camera: two
    /// fixed-point steps, whose error the Newton step that follows squares. For random draws, where [`Camera::undistort`] would iterate
    /// for nothing. `None` where the lens model folds back on itself there.
    pub fn undistort_near(&self, pixel: Point2<f64>, almost: Point2<f64>) -> Option<Point2<f64>> {
        let distorted = self.distorted(pixel);
        let closer = |p: Point2<f64>| p + (distorted - self.distortion.apply(p));
        let near = closer(closer(almost));
        self.distortion.keeps_order_at(near.coords.norm_squared()).then_some(near)
    }
}
