//! The true camera of a demo photo: a pinhole with Brown-Conrady distortion, OpenCV's convention for the terms.
//!
//! Pixels count from the corner of the top-left pixel, so a principal point in OpenCV's convention is 0.5 less.

use nalgebra::{Matrix3, Point2, Point3, Rotation3, Vector3};
use serde::Serialize;

/// A camera with everything known exactly. `x_cam = rotation · x + translation`; x right, y down, z forward; mm.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Camera {
    /// Width of the upright photo, px.
    pub width: u32,
    /// Height of the upright photo, px.
    pub height: u32,
    /// Focal length, px (square pixels).
    pub focal_px: f64,
    /// Principal point, px from the top-left corner.
    pub principal_point_px: [f64; 2],
    /// k1, k2, k3 of the radial distortion on normalised coordinates.
    pub radial: [f64; 3],
    /// p1, p2 of the tangential distortion.
    pub tangential: [f64; 2],
    /// Rotation of the scale frame into the camera frame (in files: its rows).
    #[serde(serialize_with = "rows")]
    pub rotation: Matrix3<f64>,
    /// Translation of the scale frame into the camera frame, mm.
    #[serde(serialize_with = "components")]
    pub translation: Vector3<f64>,
}

fn rows<S: serde::Serializer>(m: &Matrix3<f64>, to: S) -> Result<S::Ok, S::Error> {
    let rows: Vec<[f64; 3]> = m.row_iter().map(|r| [r[0], r[1], r[2]]).collect();
    rows.serialize(to)
}

fn components<S: serde::Serializer>(v: &Vector3<f64>, to: S) -> Result<S::Ok, S::Error> {
    [v.x, v.y, v.z].serialize(to)
}

impl Camera {
    /// Where a point of the scale frame appears, px of the upright photo.
    ///
    /// The formulas are those of OpenCV's `projectPoints` (documentation of the module `calib3d`, from memory).
    pub fn project(&self, point: &Point3<f64>) -> [f64; 2] {
        let c = self.to_camera(point);
        let [x, y] = self.distort([c.x / c.z, c.y / c.z]);
        [self.focal_px * x + self.principal_point_px[0], self.focal_px * y + self.principal_point_px[1]]
    }

    /// The point in the camera frame, mm.
    pub fn to_camera(&self, point: &Point3<f64>) -> Vector3<f64> {
        self.rotation * point.coords + self.translation
    }

    /// Applies the lens to normalised coordinates.
    pub fn distort(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let ([k1, k2, k3], [p1, p2]) = (self.radial, self.tangential);
        let r2 = x * x + y * y;
        let radial = 1.0 + r2 * (k1 + r2 * (k2 + r2 * k3));
        [
            x * radial + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x),
            y * radial + p1 * (r2 + 2.0 * y * y) + 2.0 * p2 * x * y,
        ]
    }

    /// The direction in the camera frame (z = 1) that a pixel looks along, by fixed-point iteration: the demo's lenses
    /// distort by less than 1 %, so five rounds reach the last digits.
    pub fn look(&self, px: [f64; 2]) -> Vector3<f64> {
        let seen = [
            (px[0] - self.principal_point_px[0]) / self.focal_px,
            (px[1] - self.principal_point_px[1]) / self.focal_px,
        ];
        let mut guess = seen;
        for _ in 0..5 {
            let d = self.distort(guess);
            guess = [guess[0] + seen[0] - d[0], guess[1] + seen[1] - d[1]];
        }
        Vector3::new(guess[0], guess[1], 1.0)
    }

    /// The camera's place in the scale frame, mm.
    pub fn place(&self) -> Point3<f64> {
        Point3::from(-(self.rotation.transpose() * self.translation))
    }

    /// The direction a pixel looks along, in the scale frame; not normalised.
    pub fn look_out(&self, px: [f64; 2]) -> Vector3<f64> {
        self.rotation.transpose() * self.look(px)
    }

    /// Where a pixel's line of sight meets the plane at height `z` of the scale frame, mm.
    pub fn meets(&self, px: [f64; 2], z: f64) -> Point2<f64> {
        let (eye, out) = (self.place(), self.look_out(px));
        (eye + out * ((z - eye.z) / out.z)).xy()
    }

    /// The same camera, told from a frame in which a point of the scale frame is `rotation · x + translation`.
    #[must_use]
    pub fn seen_from(&self, rotation: &Matrix3<f64>, translation: &Vector3<f64>) -> Self {
        Self {
            rotation: self.rotation * rotation,
            translation: self.rotation * translation + self.translation,
            ..self.clone()
        }
    }
}

/// The pose of a camera that stands at `eye`, looks at `target` with `up` upward, and is rolled by `roll` radians.
pub(crate) fn look_at(
    eye: &Point3<f64>,
    target: &Point3<f64>,
    up: &Vector3<f64>,
    roll: f64,
) -> (Matrix3<f64>, Vector3<f64>) {
    let forward = (target - eye).normalize();
    let right = forward.cross(up).normalize();
    let down = forward.cross(&right);
    let level = Matrix3::from_rows(&[right.transpose(), down.transpose(), forward.transpose()]);
    let rotation = Rotation3::from_axis_angle(&Vector3::z_axis(), roll).into_inner() * level;
    (rotation, -(rotation * eye.coords))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn camera() -> Camera {
        let (rotation, translation) =
            look_at(&Point3::new(30.0, 90.0, 1100.0), &Point3::new(20.0, 70.0, 0.0), &Vector3::y(), 0.02);
        Camera {
            width: 2016,
            height: 1512,
            focal_px: 6400.0,
            principal_point_px: [1012.0, 750.0],
            radial: [0.018, -0.01, 0.002],
            tangential: [2e-4, -1e-4],
            rotation,
            translation,
        }
    }

    #[test]
    fn a_pixel_looks_back_at_the_point_that_it_shows() {
        let cam = camera();
        for p in [Point3::new(-80.0, 3.0, 5.0), Point3::new(140.0, 120.0, -40.0)] {
            let eye = cam.place();
            let out = cam.look_out(cam.project(&p)).normalize();
            assert!(out.cross(&(p - eye)).norm() < 1e-9, "the ray passes the point within a nanometre-ish");
        }
    }

    #[test]
    fn up_is_up_and_right_is_right() {
        let cam = camera();
        let [u0, v0] = cam.project(&Point3::origin());
        let [u1, _] = cam.project(&Point3::new(10.0, 0.0, 0.0));
        let [_, v2] = cam.project(&Point3::new(0.0, 10.0, 0.0));
        assert!(u1 > u0 && v2 < v0);
    }
}
