//! The scene's unknowns and how they make a camera and a pose.

use crate::lens::{Camera, Distortion};
use crate::numeric::{Real, constant};
use nalgebra::{Matrix3, Point2, Vector3};

/// Number of unknowns of camera, lens, pose and scale (the measured plane's come on top, see [`super::plane`]).
pub const UNKNOWNS: usize = 15;

/// Number of unknowns that belong to the lens; they come first.
pub const LENS: usize = 8;

/// Natural logarithm of the focal length in px: keeps it positive, and a relative prior is a plain one.
pub const LN_FOCAL: usize = 0;
/// Principal point x, px; y follows.
pub const PRINCIPAL: usize = 1;
/// Distortion k1, k2, k3, p1, p2 follow each other.
pub const DISTORTION: usize = 3;
/// Tilt of the scale plane about the image's x axis, rad.
pub const TILT_X: usize = 8;
/// Tilt of the scale plane about the image's y axis, rad.
pub const TILT_Y: usize = 9;
/// Rotation within the image, rad.
pub const ROLL: usize = 10;
/// Undistorted image position of the pivot, px; y follows.
pub const PIVOT: usize = 11;
/// Natural logarithm of the magnification at the pivot, px/mm. With it in the place of the camera's distance, the
/// graduations determine it directly, whatever the focal length.
pub const LN_MAGNIFICATION: usize = 13;
/// Relative stretch of the scale's graduations: a length of L on the label is L (1 + stretch).
pub const STRETCH: usize = 14;

/// Position and orientation of the scale: x_cam = R x_scale + t, in mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pose<T: Real> {
    /// Rotation from the scale frame to the camera frame.
    pub rotation: Matrix3<T>,
    /// The scale's origin in the camera frame, mm.
    pub translation: Vector3<T>,
}

impl<T: Real> Pose<T> {
    /// A point of the scale frame, seen from the camera.
    pub fn to_camera(&self, p: Vector3<T>) -> Vector3<T> {
        let r = &self.rotation;
        Vector3::new(
            r[(0, 0)] * p.x + r[(0, 1)] * p.y + r[(0, 2)] * p.z + self.translation.x,
            r[(1, 0)] * p.x + r[(1, 1)] * p.y + r[(1, 2)] * p.z + self.translation.y,
            r[(2, 0)] * p.x + r[(2, 1)] * p.y + r[(2, 2)] * p.z + self.translation.z,
        )
    }

    /// A direction of the camera frame in the scale frame.
    pub fn to_scale_direction(&self, d: Vector3<T>) -> Vector3<T> {
        let r = &self.rotation;
        Vector3::new(
            r[(0, 0)] * d.x + r[(1, 0)] * d.y + r[(2, 0)] * d.z,
            r[(0, 1)] * d.x + r[(1, 1)] * d.y + r[(2, 1)] * d.z,
            r[(0, 2)] * d.x + r[(1, 2)] * d.y + r[(2, 2)] * d.z,
        )
    }
}

/// Camera, pose and stretch as formulas use them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct View3<T: Real> {
    /// The camera.
    pub camera: Camera<T>,
    /// The scale's pose.
    pub pose: Pose<T>,
    /// 1 + the relative stretch of the graduations.
    pub stretch: T,
}

/// Rotation of the scale frame for tilts about the image's axes and a roll within the image.
///
/// R = Rx(tilt_x) Ry(tilt_y) diag(1, −1, −1) Rz(roll): without tilts the scale lies square to the camera, its X along the
/// image's x and its Z towards the camera.
pub fn rotation<T: Real>(tilt_x: T, tilt_y: T, roll: T) -> Matrix3<T> {
    let (sa, ca) = tilt_x.sin_cos();
    let (sb, cb) = tilt_y.sin_cos();
    let (sp, cp) = roll.sin_cos();
    let second = (-sp, -cp, T::zero());
    let third = (-sb * cp, sb * sp, -cb);
    Matrix3::new(
        cb * cp,
        -cb * sp,
        -sb,
        ca * second.0 - sa * third.0,
        ca * second.1 - sa * third.1,
        -sa * third.2,
        sa * second.0 + ca * third.0,
        sa * second.1 + ca * third.1,
        ca * third.2,
    )
}

/// The tilts and the roll of a rotation: the inverse of [`rotation`].
pub fn angles(r: &Matrix3<f64>) -> (f64, f64, f64) {
    let tilt_y = (-r[(0, 2)]).clamp(-1.0, 1.0).asin();
    let tilt_x = r[(1, 2)].atan2(-r[(2, 2)]);
    let roll = (-r[(0, 1)]).atan2(r[(0, 0)]);
    (tilt_x, tilt_y, roll)
}

impl<T: Real> View3<T> {
    /// From the unknowns; `pivot` is the middle of the graduations on the scale, mm.
    pub fn new(x: &[T; UNKNOWNS], pivot: Point2<f64>) -> Self {
        let focal = x[LN_FOCAL].exp();
        let principal = Point2::new(x[PRINCIPAL], x[PRINCIPAL + 1]);
        let d = &x[DISTORTION..];
        let distortion = Distortion { k1: d[0], k2: d[1], k3: d[2], p1: d[3], p2: d[4] };
        let rotation = rotation(x[TILT_X], x[TILT_Y], x[ROLL]);
        let distance = (x[LN_FOCAL] - x[LN_MAGNIFICATION]).exp();
        let stretch = T::one() + x[STRETCH];
        let (px, py) = (stretch * constant::<T>(pivot.x), stretch * constant::<T>(pivot.y));
        let over_focal = distance / focal;
        let translation = Vector3::new(
            (x[PIVOT] - principal.x) * over_focal - rotation[(0, 0)] * px - rotation[(0, 1)] * py,
            (x[PIVOT + 1] - principal.y) * over_focal - rotation[(1, 0)] * px - rotation[(1, 1)] * py,
            distance - rotation[(2, 0)] * px - rotation[(2, 1)] * py,
        );
        Self { camera: Camera { focal, principal, distortion }, pose: Pose { rotation, translation }, stretch }
    }

    /// The pixel of a point given by its label on the scale; `None` behind the camera.
    pub fn graduation_pixel(&self, label: Point2<f64>) -> Option<Point2<T>> {
        let p = Vector3::new(self.stretch * constant::<T>(label.x), self.stretch * constant::<T>(label.y), T::zero());
        self.pixel(p)
    }

    /// The pixel of a point of the scale frame, mm; `None` behind the camera.
    pub fn pixel(&self, p: Vector3<T>) -> Option<Point2<T>> {
        let c = self.pose.to_camera(p);
        (c.z > constant(1e-6)).then(|| self.camera.pixel(Point2::new(c.x / c.z, c.y / c.z)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn angles_undo_rotation() {
        for (a, b, c) in [(0.1_f64, -0.2_f64, 0.3_f64), (-0.6, 0.5, 3.0), (0.0, 0.0, -2.0)] {
            let r = rotation(a, b, c);
            assert!((r.determinant() - 1.0).abs() < 1e-14);
            let (a2, b2, c2) = angles(&r);
            assert!((a - a2).abs() < 1e-14 && (b - b2).abs() < 1e-14 && (c - c2).abs() < 1e-14);
        }
    }

    #[test]
    fn without_tilt_the_scale_faces_the_camera_and_y_points_up_the_image() {
        let mut x = [0.0; UNKNOWNS];
        x[LN_FOCAL] = 1000f64.ln();
        (x[PIVOT], x[PIVOT + 1]) = (500.0, 400.0);
        (x[PRINCIPAL], x[PRINCIPAL + 1]) = (500.0, 400.0);
        x[LN_MAGNIFICATION] = 2f64.ln();
        let v = View3::new(&x, Point2::origin());
        let p = v.graduation_pixel(Point2::new(10.0, 5.0)).expect("in front");
        assert!((p - Point2::new(520.0, 390.0)).norm() < 1e-12);
        assert!((v.pose.translation.z - 500.0).abs() < 1e-12);
    }
}
