//! Looking at the quality of a hoof in a 12-megapixel photo, on two threads, and the whole of `check` for one such photo. The peers,
//! OpenCV and scikit-image, run beside it where `HOOFGEO_PYTHON` names a Python that has them.
#![allow(missing_docs, clippy::unwrap_used, reason = "bench")]

mod common;

use common::{SIZE, photo, ppm};
use criterion::{Criterion, criterion_group, criterion_main};
use hoofgeo::pixels::quality::look;
use hoofgeo::visit::{CheckOptions, CheckReport, VisitOptions, check_folder};
use image::RgbImage;
use nalgebra::Point2;
use std::hint::black_box;

const HOOF: [(f64, f64); 4] = [(600.0, 2300.0), (3300.0, 2400.0), (1400.0, 500.0), (3700.0, 600.0)];

/// A visit of one photo with its sidecar.
fn visit(photo: &RgbImage) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let jpeg = hoofgeo::picture::encode_jpeg(photo, 92).unwrap();
    std::fs::write(folder.path().join("LF-lateral.jpg"), jpeg).unwrap();
    let [a, b, c, _] = HOOF.map(|(x, y)| format!("[{x}, {y}]"));
    let text = format!(
        r#"{{ "format": "hoofgeo-sidecar/1", "photo": {{ "file": "LF-lateral.jpg", "width_px": {}, "height_px": {} }},
        "subject": {{ "foot": "LF" }}, "view": "lateral", "side": "lateral",
        "scale": {{ "kind": "straight_ruler", "points": [
          {{ "mm": 0, "at": [500, 2600] }}, {{ "mm": 80, "at": [2100, 2600] }}, {{ "mm": 150, "at": [3500, 2600] }} ] }},
        "landmarks": {{ "toe_ground": {{ "at": {a} }}, "heel_ground": {{ "at": {b} }}, "toe_coronet": {{ "at": {c} }} }} }}"#,
        SIZE.0, SIZE.1
    );
    std::fs::write(folder.path().join("LF-lateral.jpg.hoof.json"), text).unwrap();
    folder
}

fn quality(c: &mut Criterion) {
    rayon::ThreadPoolBuilder::new().num_threads(2).build_global().unwrap();
    let photo = photo();
    let hoof = HOOF.map(|(x, y)| Point2::new(x, y));
    let file = ppm(&photo);
    common::peer("quality.py", file.path());
    common::peak_memory("quality of the hoof's pixels", || look(black_box(&photo), &hoof));
    let folder = visit(&photo);
    let options = CheckOptions { pixels: true, visit: VisitOptions::default() };
    let check = || {
        let mut good = 0;
        check_folder(folder.path(), &options, &mut |r| good += u32::from(matches!(r, CheckReport::Good { .. })))
            .unwrap();
        assert_eq!(good, 1, "the photo is read");
    };
    common::peak_memory("check of the photo", check);
    let mut group = c.benchmark_group("quality_12mp");
    group.sample_size(20);
    group.bench_function("of the hoof's decoded pixels", |b| b.iter(|| look(black_box(&photo), &hoof)));
    group.bench_function("check of a folder with the photo, from its JPEG", |b| b.iter(check));
    group.finish();
}

criterion_group!(benches, quality);
criterion_main!(benches);
