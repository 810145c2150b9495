//! Planes near the scale, and the way from a pixel to a place on them.

use super::params::{Pose, View3};
use crate::numeric::{Real, constant};
use nalgebra::{Point2, Vector3};

/// Unknowns of a plane: its distance behind the scale (mm, positive away from the camera) and its tilts about the
/// scale's X and Y axes (rad).
pub const PLANE: usize = 3;

/// A plane with its own axes; its origin is the scale's origin moved by the plane's distance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plane<T: Real> {
    origin: Vector3<T>,
    x: Vector3<T>,
    y: Vector3<T>,
    normal: Vector3<T>,
}

impl<T: Real> Plane<T> {
    /// From its unknowns.
    pub fn new(p: &[T; PLANE]) -> Self {
        let (sa, ca) = p[1].sin_cos();
        let (sb, cb) = p[2].sin_cos();
        // Columns of Rx(tilt about X) Ry(tilt about Y).
        Self {
            origin: Vector3::new(T::zero(), T::zero(), -p[0]),
            x: Vector3::new(cb, sa * sb, -ca * sb),
            y: Vector3::new(T::zero(), ca, sa),
            normal: Vector3::new(sb, -sa * cb, ca * cb),
        }
    }

    /// A place on the plane, in the scale frame.
    pub fn lift(&self, p: Point2<T>) -> Vector3<T> {
        Vector3::new(
            self.origin.x + self.x.x * p.x + self.y.x * p.y,
            self.origin.y + self.x.y * p.x + self.y.y * p.y,
            self.origin.z + self.x.z * p.x + self.y.z * p.y,
        )
    }

    /// The point of the plane nearest to `p`, in the plane's own axes.
    pub fn drop(&self, p: Vector3<T>) -> Point2<T> {
        let d = Vector3::new(p.x - self.origin.x, p.y - self.origin.y, p.z - self.origin.z);
        Point2::new(dot(&self.x, &d), dot(&self.y, &d))
    }

    /// Where a ray of the scale frame meets the plane; `None` where it does not meet it in front of its start.
    fn meet(&self, start: &Vector3<T>, along: &Vector3<T>) -> Option<Vector3<T>> {
        let to = Vector3::new(self.origin.x - start.x, self.origin.y - start.y, self.origin.z - start.z);
        let rate = dot(&self.normal, along);
        if rate.abs() < constant(1e-9) {
            return None;
        }
        let s = dot(&self.normal, &to) / rate;
        (s > T::zero()).then(|| Vector3::new(start.x + along.x * s, start.y + along.y * s, start.z + along.z * s))
    }
}

fn dot<T: Real>(a: &Vector3<T>, b: &Vector3<T>) -> T {
    a.x * b.x + a.y * b.y + a.z * b.z
}

/// The camera's place in the scale frame, mm.
pub fn camera_position<T: Real>(pose: &Pose<T>) -> Vector3<T> {
    let o = pose.to_scale_direction(pose.translation);
    Vector3::new(-o.x, -o.y, -o.z)
}

/// Where a pixel's ray meets `own`, dropped square onto `measured`; in the measured plane's axes, mm.
///
/// `near` is the pixel's undistorted normalised position on plain numbers. `None` where the ray misses the plane.
pub fn back_project<T: Real>(
    view: &View3<T>,
    own: &Plane<T>,
    measured: Option<&Plane<T>>,
    pixel: Point2<T>,
    near: Point2<f64>,
) -> Option<Point2<T>> {
    let d = view.camera.direction(pixel, near);
    let along = view.pose.to_scale_direction(Vector3::new(d.x, d.y, T::one()));
    let met = own.meet(&camera_position(&view.pose), &along)?;
    Some(measured.unwrap_or(own).drop(met))
}
