//! What annotating costs: a 12-megapixel JPEG decoded, drawn on and encoded, against decoding and encoding it with the same
//! codecs and nothing else.

use criterion::{Criterion, criterion_group, criterion_main};
use hoofgeo::measured::{MeasureOptions, Measured, measure};
use hoofgeo::photo::{PhotoFacts, decode_upright_bytes, facts_from_bytes};
use hoofgeo::picture::{PictureOptions, annotate, annotate_bytes, encode_jpeg};
use hoofgeo::scene::LensPrior;
use hoofgeo::sidecar::Sidecar;
use image::{Rgb, RgbImage};
use std::hint::black_box;

const SIZE: (u32, u32) = (4032, 3024);

/// A soft backdrop with grain, as a camera's JPEG: 1.5 to 3 MB.
fn photo() -> RgbImage {
    let mut noise = 1u32;
    RgbImage::from_fn(SIZE.0, SIZE.1, |x, y| {
        noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let wave = 30.0 * (f64::from(x) / 90.0).sin() * (f64::from(y) / 130.0).cos();
        let v = 60.0 + f64::from(x) * 110.0 / f64::from(SIZE.0) + wave + f64::from(noise >> 28);
        Rgb([v as u8, (v * 0.95) as u8, (v * 0.86) as u8])
    })
}

fn case() -> hoofgeo::Result<(Sidecar, Measured, Vec<u8>, PhotoFacts)> {
    // 16 px/mm, without tilt: places in mm from the ruler's zero.
    let at = |x: f64, y: f64| format!("[{:.1}, {:.1}]", 500.0 + 16.0 * x, 2500.0 - 16.0 * y);
    let row = |points: &[(f64, f64)]| points.iter().map(|(x, y)| at(*x, *y)).collect::<Vec<_>>().join(", ");
    let landmarks: Vec<String> = [
        ("toe_coronet", 78.0, 106.0),
        ("toe_ground", 20.0, 32.0),
        ("heel_coronet", 172.0, 68.0),
        ("heel_ground", 146.0, 32.0),
        ("ground_front", -10.0, 32.0),
        ("ground_back", 195.0, 32.0),
        ("pastern_upper", 118.0, 150.0),
        ("pastern_lower", 98.0, 126.0),
        ("heel_bulb", 184.0, 58.0),
    ]
    .iter()
    .map(|(name, x, y)| format!(r#""{name}": {{ "at": {} }}"#, at(*x, *y)))
    .collect();
    let text = format!(
        r#"{{ "format": "hoofgeo-sidecar/1", "photo": {{ "file": "a.jpg", "width_px": {}, "height_px": {} }},
        "subject": {{ "animal": "Bramble", "foot": "LF" }}, "view": "lateral", "side": "lateral",
        "scale": {{ "kind": "straight_ruler", "points": [
          {{ "mm": 0, "at": {} }}, {{ "mm": 50, "at": {} }}, {{ "mm": 100, "at": {} }}, {{ "mm": 150, "at": {} }} ] }},
        "landmarks": {{ {} }},
        "lines": {{ "dorsal_wall": [{}], "tubules_toe": [{}], "tubules_heel": [{}], "rings_toe": [{}], "rings_heel": [{}] }} }}"#,
        SIZE.0,
        SIZE.1,
        at(0.0, 0.0),
        at(50.0, 0.0),
        at(100.0, 0.0),
        at(150.0, 0.0),
        landmarks.join(", "),
        row(&[(78.0, 106.0), (66.0, 90.5), (54.0, 75.0), (43.0, 60.5), (31.0, 46.0), (20.0, 32.0)]),
        row(&[(86.0, 98.0), (40.0, 40.0)]),
        row(&[(160.0, 64.0), (144.0, 40.0)]),
        row(&[(70.0, 96.0), (62.0, 85.0), (54.0, 75.0)]),
        row(&[(168.0, 62.0), (164.0, 56.0), (160.0, 51.0)]),
    );
    let sidecar = Sidecar::parse(&text, None)?;
    let measured = measure(&sidecar, &LensPrior::exif(SIZE, 3100.0), &MeasureOptions::default())?;
    let jpeg = encode_jpeg(&photo(), 90)?;
    let facts = facts_from_bytes(&jpeg)?;
    Ok((sidecar, measured, jpeg, facts))
}

fn bench(c: &mut Criterion) {
    let (sidecar, measured, jpeg, facts) = match case() {
        Ok(case) => case,
        Err(e) => panic!("the bench's own photo cannot be measured: {e}"),
    };
    let options = PictureOptions::default();
    let mut group = c.benchmark_group("picture_12mp");
    group.sample_size(20);
    group.bench_function("decode_and_encode", |b| {
        b.iter(|| {
            let photo = decode_upright_bytes(black_box(&jpeg), &facts)?;
            encode_jpeg(&photo, options.quality)
        });
    });
    group.bench_function("decode_annotate_encode", |b| {
        b.iter(|| annotate_bytes(black_box(&jpeg), &facts, &sidecar, &measured, &options));
    });
    let plain = decode_upright_bytes(&jpeg, &facts);
    group.bench_function("annotate_alone", |b| {
        b.iter_batched(
            || plain.clone(),
            |photo| photo.and_then(|p| annotate(p, &sidecar, &measured, &options)),
            criterion::BatchSize::LargeInput,
        );
    });
    group.finish();
}

criterion_group!(benches, bench);
criterion_main!(benches);
