//! What is read from a 12-megapixel photo of a hoof: tubules, dorsal wall, ground line, single landmarks. The peer,
//! `benches/peers/pixels.py`, runs beside it where `HOOFGEO_PYTHON` names a Python that has scikit-image and OpenCV; elsewhere it is skipped.
#![allow(missing_docs, clippy::unwrap_used, clippy::print_stdout, reason = "a bench")]

mod common;

use criterion::{Criterion, criterion_group, criterion_main};
use hoofgeo::Landmark;
use hoofgeo::pixels::{Flat, Grey, ground_line, snap, tubule_direction, wall_fit, wall_outline};
use image::{GrayImage, ImageBuffer, Luma};
use nalgebra::{Point2, Vector2};
use std::hint::black_box;

const SIZE: (u32, u32) = (4000, 3000);
const MAP: Flat = Flat { px_per_mm: 20.0 };
/// The wall from the coronet to the toe, the ground from front to back, px.
const WALL: [[f64; 2]; 2] = [[1500.0, 700.0], [700.0, 2300.0]];
const GROUND: [[f64; 2]; 2] = [[300.0, 2300.0], [3700.0, 2300.0]];
/// A region of tubules along the wall: its corner and side lengths, px.
const REGION: [f64; 4] = [1500.0, 1100.0, 320.0, 800.0];

/// A dark foot with fibres along its wall on a light block, before a light board.
fn photo() -> Grey {
    let down = (Vector2::from(WALL[1]) - Vector2::from(WALL[0])).normalize();
    let out = Vector2::new(-down.y, down.x);
    let mut noise = 1u32;
    let mut values = Vec::with_capacity((SIZE.0 * SIZE.1) as usize);
    for y in 0..SIZE.1 {
        for x in 0..SIZE.0 {
            let p = Vector2::new(f64::from(x) + 0.5, f64::from(y) + 0.5);
            let across = (p - Vector2::from(WALL[0])).dot(&out);
            let step = |d: f64| 1.0 / (1.0 + (-d / 0.8).exp());
            let fibre: f64 =
                [9.0, 14.0, 23.0].iter().map(|l| 4.0 * (across * std::f64::consts::TAU / l + l).sin()).sum();
            let foot = step(-across);
            let v = (190.0 + (80.0 + fibre - 190.0) * foot) * step(2300.0 - p.y) + 150.0 * step(p.y - 2300.0);
            noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            values.push((v + f64::from(noise >> 28) / 2.0 - 4.0) as f32);
        }
    }
    Grey::from_values(SIZE.0, SIZE.1, values).unwrap()
}

fn pixels(c: &mut Criterion) {
    rayon::ThreadPoolBuilder::new().num_threads(2).build_global().unwrap();
    let grey = photo();
    let region = [
        [REGION[0], REGION[1]],
        [REGION[0] + REGION[2], REGION[1]],
        [REGION[0] + REGION[2], REGION[1] + REGION[3]],
        [REGION[0], REGION[1] + REGION[3]],
    ]
    .map(Point2::from);
    let [coronet, toe] = WALL.map(Point2::from);
    let up = Vector2::new(0.5, 1.0);
    common::peak_memory("all of it", || {
        let mut group = c.benchmark_group("read_12mp");
        group.sample_size(10);
        group.bench_function("tubules of one region", |b| {
            b.iter(|| tubule_direction(black_box(&grey), &MAP, &region, up).unwrap());
        });
        group.bench_function("dorsal wall, with its line, bow and flare", |b| {
            b.iter(|| {
                let outline = wall_outline(black_box(&grey), coronet, toe, MAP.px_per_mm).unwrap();
                wall_fit(&outline, &MAP, Vector2::new(-1.0, 0.0)).unwrap()
            });
        });
        group.bench_function("ground line", |b| {
            b.iter(|| {
                ground_line(black_box(&grey), &MAP, GROUND.map(|p| Point2::from(p) + Vector2::new(0.0, 7.0)), [0.5; 2])
            });
        });
        let contour = Landmark::ToeGround.info().contour.unwrap();
        group.bench_function("one landmark moved to its edge", |b| {
            let axis = Vector2::new(WALL[0][0] - WALL[1][0], WALL[1][1] - WALL[0][1]).normalize();
            b.iter(|| snap(black_box(&grey), &MAP, Landmark::ToeGround, &contour, toe + Vector2::new(15.0, 0.0), axis));
        });
        group.finish();
    });
    peer(&grey);
}

/// The same by scikit-image and OpenCV on the same photo; prints their figures.
fn peer(grey: &Grey) {
    let bytes = grey.values().iter().map(|v| v.round().clamp(0.0, 255.0) as u8).collect();
    let picture: GrayImage = ImageBuffer::<Luma<u8>, _>::from_raw(SIZE.0, SIZE.1, bytes).unwrap();
    let file = tempfile::Builder::new().suffix(".png").tempfile().unwrap();
    picture.save_with_format(file.path(), image::ImageFormat::Png).unwrap();
    let case = serde_json::json!({
        "photo": file.path(), "threads": 2, "px_per_mm": MAP.px_per_mm, "wall": WALL, "ground": GROUND, "region": REGION,
    });
    common::peer("pixels.py", case.to_string());
}

criterion_group!(benches, pixels);
criterion_main!(benches);
