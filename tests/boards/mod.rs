//! Photos of a chessboard, rendered through a known camera.
#![allow(dead_code, reason = "every test crate uses a part of it")]

use hoofgeo::lens::{Camera, Distortion};
use nalgebra::{Matrix3, Point2, Rotation3, Vector3};
use rayon::prelude::*;

/// Frame of the rendered photos, px.
pub(crate) const FRAME: (u32, u32) = (800, 600);

/// The camera (invented): a phone's field of view with a lens that was not corrected.
pub(crate) const CAMERA: Camera<f64> = Camera {
    focal: 690.0,
    principal: Point2::new(406.0, 295.0),
    distortion: Distortion { k1: -0.12, k2: 0.03, k3: 0.0, p1: 0.0005, p2: -0.0004 },
};

/// Samples a pixel each way.
const SAMPLES: u32 = 3;

/// A board of so many squares of 25 mm along and across; the one at the top left is black.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Squares(pub(crate) u32, pub(crate) u32);

impl Squares {
    /// 90 % of the white paper's brightness off the black squares; `None` off the paper.
    fn brightness(self, mm: Point2<f64>) -> f64 {
        let (i, j) = ((mm.x / 25.0).floor(), (mm.y / 25.0).floor());
        let on = (0.0..f64::from(self.0)).contains(&i) && (0.0..f64::from(self.1)).contains(&j);
        let paper = mm.x > -20.0
            && mm.y > -20.0
            && mm.x < 25.0 * f64::from(self.0) + 20.0
            && mm.y < 25.0 * f64::from(self.1) + 20.0;
        match (on, paper) {
            (true, _) if (i + j).rem_euclid(2.0) == 0.0 => 30.0,
            (_, true) => 225.0,
            _ => 120.0,
        }
    }
}

/// A pose of the board: turns about the camera's axes, degrees, and the place of the board's middle in the camera's frame, mm.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Pose {
    pub(crate) turn_deg: [f64; 3],
    pub(crate) middle: [f64; 3],
}

/// Twelve poses of a good set: tilted to all sides, turned by a quarter, up to the edges of the frame.
pub(crate) fn good_poses() -> Vec<Pose> {
    let tilts = [
        [30.0, 0.0, 0.0],
        [-32.0, 5.0, 8.0],
        [4.0, 33.0, -6.0],
        [-5.0, -30.0, 4.0],
        [24.0, 24.0, 90.0],
        [-22.0, 26.0, 84.0],
        [25.0, -23.0, 95.0],
        [-26.0, -24.0, 180.0],
        [12.0, -8.0, 12.0],
        [3.0, 20.0, -15.0],
        [-18.0, 3.0, 40.0],
        [20.0, -15.0, -35.0],
    ];
    let places = [(-40.0, -25.0), (40.0, 25.0), (45.0, -28.0), (-45.0, 28.0)];
    let poses = tilts.into_iter().enumerate().map(|(k, turn_deg)| {
        let (x, y) = places[k % 4];
        Pose { turn_deg, middle: [x, y, 330.0 + 12.0 * (k % 3) as f64] }
    });
    poses.collect()
}

/// Rays of every sample, row by row: z = 1.
pub(crate) fn rays(camera: &Camera<f64>) -> Vec<Vector3<f64>> {
    let (w, h) = (FRAME.0 * SAMPLES, FRAME.1 * SAMPLES);
    (0..w * h)
        .into_par_iter()
        .map(|i| {
            let at = |n: u32| (f64::from(n) + 0.5) / f64::from(SAMPLES);
            camera.undistort(Point2::new(at(i % w), at(i / w))).unwrap().coords.push(1.0)
        })
        .collect()
}

/// The board's frame in the camera's: columns are x, y and the origin (its top-left outer corner).
fn frame(pose: &Pose, squares: Squares) -> Matrix3<f64> {
    let [x, y, z] = pose.turn_deg.map(f64::to_radians);
    let r = Rotation3::from_euler_angles(x, y, z).into_inner();
    let half = Vector3::new(12.5 * f64::from(squares.0), 12.5 * f64::from(squares.1), 0.0);
    let origin = Vector3::from(pose.middle) - r * half;
    Matrix3::from_columns(&[r.column(0).into(), r.column(1).into(), origin])
}

/// Brightness of a photo, row by row.
pub(crate) fn render(rays: &[Vector3<f64>], pose: &Pose, squares: Squares) -> Vec<u8> {
    let back = frame(pose, squares).try_inverse().unwrap();
    let (w, samples) = (FRAME.0 as usize, SAMPLES as usize);
    let value = |i: usize| {
        let (x, y) = (i % w, i / w);
        let mut sum = 0.0;
        for dy in 0..samples {
            for dx in 0..samples {
                let p = back * rays[(y * samples + dy) * w * samples + x * samples + dx];
                sum += squares.brightness(Point2::new(p.x / p.z, p.y / p.z));
            }
        }
        (sum / (samples * samples) as f64).round() as u8
    };
    (0..w * FRAME.1 as usize).into_par_iter().map(value).collect()
}

/// A photo as JPEG.
pub(crate) fn jpeg(brightness: &[u8]) -> Vec<u8> {
    let mut bytes = Vec::new();
    let encoder = jpeg_encoder::Encoder::new(&mut bytes, 92);
    encoder.encode(brightness, FRAME.0 as u16, FRAME.1 as u16, jpeg_encoder::ColorType::Luma).unwrap();
    bytes
}

/// A photo blurred by means over squares of 2 · `reach` + 1 pixels, twice.
pub(crate) fn blurred(brightness: &[u8], reach: i32) -> Vec<u8> {
    let (w, h) = (FRAME.0 as i32, FRAME.1 as i32);
    let along = |from: &[u8], dx: i32, dy: i32| -> Vec<u8> {
        let mean = |i: i32| {
            let sum: u32 = (-reach..=reach)
                .map(|k| {
                    let (x, y) = ((i % w + k * dx).clamp(0, w - 1), (i / w + k * dy).clamp(0, h - 1));
                    u32::from(from[(y * w + x) as usize])
                })
                .sum();
            (sum / (2 * reach + 1) as u32) as u8
        };
        (0..w * h).into_par_iter().map(mean).collect()
    };
    [(1, 0), (0, 1), (1, 0), (0, 1)].into_iter().fold(brightness.to_vec(), |p, (dx, dy)| along(&p, dx, dy))
}

/// The photo in a mirror.
pub(crate) fn mirrored(brightness: &[u8]) -> Vec<u8> {
    brightness.chunks_exact(FRAME.0 as usize).flat_map(|row| row.iter().rev().copied()).collect()
}
