//! Reading the ruler of a 12-megapixel photo: found anywhere in it, and between two marks. The peer, the first steps with OpenCV on the
//! same photo, runs beside it where `HOOFGEO_PYTHON` names a Python that has it.
#![allow(missing_docs, clippy::unwrap_used, reason = "a bench")]

mod common;
#[path = "../tests/synth_ruler/mod.rs"]
mod synth_ruler;

use criterion::{Criterion, criterion_group, criterion_main};
use hoofgeo::pixels::Grey;
use hoofgeo::pixels::ruler::{Mark, find_metric, read_marked};
use image::{GrayImage, Luma, imageops};
use nalgebra::Point2;
use rand::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;
use std::hint::black_box;
use synth_ruler::{Picture, ruler};

/// A rendered photo made ten thirds as large, 4000 x 3000 px, with the noise of single pixels on it again.
fn enlarged(p: &Picture) -> Grey {
    let (w, h) = (p.grey.width() * 10 / 3, p.grey.height() * 10 / 3);
    // Real numbers count as 0 to 1 there.
    let share = p.grey.values().iter().map(|v| v / 255.0).collect();
    let share = image::ImageBuffer::<Luma<f32>, Vec<f32>>::from_raw(p.grey.width(), p.grey.height(), share).unwrap();
    let large = imageops::resize(&share, w, h, imageops::FilterType::CatmullRom);
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(1);
    let mut noise = || -> f32 { StandardNormal.sample(&mut rng) };
    let values = large.as_raw().iter().map(|v| (255.0 * v + 2.0 * noise()).clamp(0.0, 255.0)).collect();
    Grey::from_values(w, h, values).unwrap()
}

fn bench(c: &mut Criterion) {
    let p =
        (2000..).map(|seed| ruler(seed).render()).find(|p| p.is_readable() && find_metric(&p.grey).is_ok()).unwrap();
    let grey = enlarged(&p);
    let pixels = grey.values().iter().map(|v| v.round() as u8).collect();
    let picture: GrayImage = image::ImageBuffer::<Luma<u8>, _>::from_raw(grey.width(), grey.height(), pixels).unwrap();
    let file = tempfile::Builder::new().suffix(".png").tempfile().unwrap();
    picture.save(file.path()).unwrap();
    common::peer("ruler.py", file.path());
    let reading = common::peak_memory("found", || find_metric(&grey)).unwrap();
    let marks = [reading.graduations[2], reading.graduations[reading.graduations.len() - 3]];
    let marks = marks.map(|g| Mark { mm: g.mm, at: Point2::new(g.at.x + 1.0, g.at.y - 1.0) });
    common::peak_memory("between two marks", || read_marked(&grey, marks)).unwrap();
    let mut group = c.benchmark_group("ruler of a 12-megapixel photo");
    group.sample_size(10);
    group.bench_function("found", |b| b.iter(|| find_metric(black_box(&grey)).unwrap()));
    group.bench_function("between two marks", |b| b.iter(|| read_marked(black_box(&grey), marks).unwrap()));
    group.finish();
}

criterion_group!(benches, bench);
criterion_main!(benches);
