//! Resampling against exact values computed elsewhere (`fixtures/opencv/SOURCE.md`).
#![allow(missing_docs, clippy::unwrap_used, reason = "tests")]

mod common;

use common::{case, near, numbers, rows};
use hoofgeo::lens::Distortion;
use hoofgeo::rectify::{Kernel, resample};
use image::{Rgb, RgbImage};
use nalgebra::{Matrix3, Point2};

/// `exact_bilinear_double`: numpy, double precision. OpenCV 4 itself is off by up to 4.5 levels.
#[test]
fn bilinear_values_are_exact() {
    let c = case("opencv/resampling.json", "warpPerspective 32x24 bilinear, border 0");
    let grey = rows(&c["inputs"]["image_u8"]);
    let photo = RgbImage::from_fn(32, 24, |x, y| Rgb([grey[y as usize][x as usize] as u8; 3]));
    let h = Matrix3::from_row_slice(&rows(&c["inputs"]["H_src_to_dst"]).concat()).try_inverse().unwrap();
    // OpenCV's pixels have their centres on whole numbers, ours on halves.
    let map = |p: Point2<f64>| {
        let q = h * nalgebra::Vector3::new(p.x - 0.5, p.y - 0.5, 1.0);
        Some(Point2::new(q.x / q.z + 0.5, q.y / q.z + 0.5))
    };
    let picture = resample(&photo, (32, 24), Kernel::Bilinear, [0; 3], &map);
    let exact = rows(&c["expected"]["exact_bilinear_double"]);
    let mut compared = 0;
    for (x, y, pixel) in picture.enumerate_pixels() {
        let from = map(Point2::new(f64::from(x) + 0.5, f64::from(y) + 0.5)).unwrap();
        // Beyond the outermost centres OpenCV mixes the border's colour in, we repeat the last pixel.
        if (0.5..=31.5).contains(&from.x) && (0.5..=23.5).contains(&from.y) {
            near(f64::from(pixel.0[0]), exact[y as usize][x as usize], 0.5 + 0.01);
            compared += 1;
        }
    }
    assert!(compared > 400, "{compared}");
}

/// OpenCV's map from a picture without distortion to the photo, in single precision.
#[test]
fn the_way_through_the_lens_is_opencvs() {
    let c = case("opencv/resampling.json", "initUndistortRectifyMap top-left 8x6");
    let (k, d) = (rows(&c["inputs"]["K"]), numbers(&c["inputs"]["dist"]));
    let distortion = Distortion { k1: d[0], k2: d[1], k3: d[4], p1: d[2], p2: d[3] };
    let (map_x, map_y) = (rows(&c["expected"]["map_x"]), rows(&c["expected"]["map_y"]));
    for (y, (line_x, line_y)) in map_x.iter().zip(&map_y).enumerate() {
        for (x, (u, v)) in line_x.iter().zip(line_y).enumerate() {
            let p = Point2::new((x as f64 - k[0][2]) / k[0][0], (y as f64 - k[1][2]) / k[1][1]);
            let q = distortion.apply(p);
            near(k[0][0] * q.x + k[0][2], *u, 2e-4);
            near(k[1][1] * q.y + k[1][2], *v, 2e-4);
        }
    }
}
