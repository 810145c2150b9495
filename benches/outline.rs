//! Tracing an outline from eight clicks and reading growth rings on a 12-megapixel photo. The peer is `benches/peers/outline.py`, which takes
//! the same photos and clicks from `target/`, where this bench leaves them.
#![allow(missing_docs, clippy::unwrap_used, reason = "a bench")]

use criterion::{Criterion, criterion_group, criterion_main};
use hoofgeo::pixels::{Flat, Grey, OutlineEdge, growth_rings, trace_outline};
use image::{GrayImage, Luma};
use nalgebra::Point2;
use std::f64::consts::TAU;
use std::hint::black_box;

const SIZE: [u32; 2] = [4000, 3000];
/// Pixels to a millimetre, as on a phone's photo of a hoof that fills the frame.
const PX_PER_MM: f64 = 20.0;

fn grain(x: u32, y: u32) -> f64 {
    let h = (x.wrapping_mul(0x8da6_b343) ^ y.wrapping_mul(0xd816_3841)).wrapping_mul(0x2c1b_3c6d);
    f64::from((h ^ (h >> 15)).wrapping_mul(0x297a_2d39) >> 8) / f64::from(1 << 24) * 16.0 - 8.0
}

fn photo(name: &str, value: impl Fn(f64, f64) -> f64) -> Grey {
    let [w, h] = SIZE;
    let values: Vec<f32> = (0..h)
        .flat_map(|y| (0..w).map(move |x| (x, y)))
        .map(|(x, y)| (value(f64::from(x) + 0.5, f64::from(y) + 0.5) + grain(x, y)).clamp(0.0, 255.0) as f32)
        .collect();
    let bytes = values.iter().map(|v| v.round() as u8).collect();
    let picture: GrayImage = image::ImageBuffer::<Luma<u8>, _>::from_raw(w, h, bytes).unwrap();
    picture.save(format!("{}/../target/{name}.png", env!("CARGO_MANIFEST_DIR"))).unwrap();
    Grey::from_values(w, h, values).unwrap()
}

fn radius(angle: f64) -> f64 {
    1180.0 + 140.0 * angle.cos() + 50.0 * (2.0 * angle).sin()
}

fn bench(c: &mut Criterion) {
    let sole = photo("outline-bench", |x, y| {
        let (dx, dy) = (x - 2000.0, y - 1500.0);
        let inside = radius(dy.atan2(dx)) - dx.hypot(dy);
        70.0 + 60.0 / (1.0 + (-inside / 1.2).exp()) + 6.0 * (0.02 * x).sin() * (0.03 * y).cos()
    });
    let clicks: Vec<Point2<f64>> = (0..8)
        .map(|k| TAU * f64::from(k) / 8.0 + 0.2)
        .map(|a| Point2::new(2000.0 + (radius(a) + 9.0) * a.cos(), 1500.0 + (radius(a) + 9.0) * a.sin()))
        .collect();
    let list = clicks.iter().map(|p| format!("[{}, {}]", p.x, p.y)).collect::<Vec<_>>().join(", ");
    std::fs::write(concat!(env!("CARGO_MANIFEST_DIR"), "/../target/outline-bench.json"), format!("[{list}]\n"))
        .unwrap();
    let corners = [(600.0, 500.0), (600.0, 2300.0), (3400.0, 700.0), (3400.0, 1900.0)].map(|(x, y)| Point2::new(x, y));
    let wall = photo("rings-bench", |x, y| {
        let depth = y - 500.0 - 200.0 * (x - 600.0) / 2800.0;
        120.0 + 14.0 * (TAU * depth / 160.0).sin() + 10.0 * (TAU * x / 9.0).sin()
    });
    let map = Flat { px_per_mm: PX_PER_MM };
    let traced = trace_outline(&sole, &map, &clicks, &[], OutlineEdge::Plain).unwrap();
    assert!(traced.traced > 0.9);
    let seen = growth_rings(&wall, [&map, &map], corners);
    assert!(seen.toe.is_ok() && seen.heel.is_ok(), "{seen:?}");
    let mut group = c.benchmark_group("12-megapixel photo");
    group.sample_size(10);
    group.bench_function("an outline from eight clicks", |b| {
        b.iter(|| trace_outline(black_box(&sole), &map, &clicks, &[], OutlineEdge::Plain).unwrap());
    });
    group.bench_function("rings at toe and heel", |b| b.iter(|| growth_rings(black_box(&wall), [&map, &map], corners)));
    group.finish();
}

criterion_group!(benches, bench);
criterion_main!(benches);
