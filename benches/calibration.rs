//! Calibration from 13 photos of 54 corners (OpenCV's sample photographs, `fixtures/opencv/SOURCE.md`).
#![allow(missing_docs, clippy::unwrap_used, reason = "bench")]

use criterion::{Criterion, criterion_group, criterion_main};
use hoofgeo::calibrate::{BoardPhoto, BoardPoint, Options, calibrate};
use nalgebra::Point2;
use serde_json::Value;
use std::hint::black_box;
use std::path::Path;

fn photographs(side: &str) -> Vec<BoardPhoto> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap().join("fixtures/opencv/board_corners.json");
    let cases: Vec<Value> = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
    let photos = cases.iter().filter(|c| c["id"].as_str().unwrap().starts_with(side)).map(|c| {
        let corners = c["subpix"].as_array().unwrap().iter().enumerate();
        let points = corners.map(|(i, p)| BoardPoint {
            mm: Point2::new((i % 9) as f64 * 25.0, (i / 9) as f64 * 25.0),
            pixel: Point2::new(p[0].as_f64().unwrap() + 0.5, p[1].as_f64().unwrap() + 0.5),
        });
        BoardPhoto { name: c["id"].as_str().unwrap().into(), frame_px: (640, 480), points: points.collect() }
    });
    photos.collect()
}

/// With everything that a calibration does: start, refinement, 13 fits without one photo, both covariances, the test for bad photos.
fn calibration(c: &mut Criterion) {
    for side in ["left", "right"] {
        let photos = photographs(side);
        for (name, square_pixels) in [("one focal length", true), ("two focal lengths", false)] {
            let options = Options { square_pixels, ..Options::default() };
            c.bench_function(&format!("calibration/{side}, {name}"), |b| {
                b.iter(|| calibrate(black_box(&photos), &options).unwrap());
            });
        }
    }
}

criterion_group!(benches, calibration);
criterion_main!(benches);
