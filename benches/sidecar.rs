//! How long reading a sidecar takes: a batch of thousands of photos reads one for each.
#![allow(missing_docs, clippy::unwrap_used, reason = "a bench")]

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use hoofgeo::sidecar::{Graduation, PhotoRef, Placement, Scale, ScaleKind, Sidecar};
use hoofgeo::{Foot, Landmark, Line, View};
use std::hint::black_box;

/// Every landmark placed once, every line with `points` points on an ellipse (an arc of it where it is open).
fn full(view: View, points: u32) -> String {
    let photo = PhotoRef { file: "Bramble LF.jpg".to_owned(), width_px: 4032, height_px: 3024 };
    let mut s = Sidecar::new(photo, Foot::LeftFore, view);
    let tenth = |x: f64| (x * 10.0).round() / 10.0;
    let on_ellipse = |t: f64| [tenth(1400.0f64.mul_add(t.cos(), 2016.0)), tenth(1100.0f64.mul_add(t.sin(), 1512.0))];
    for (i, landmark) in (0u32..).zip(Landmark::of(view)) {
        s.landmarks.insert(landmark, Placement::once(on_ellipse(f64::from(i) * 0.4)));
    }
    for line in Line::of(view) {
        let turn = std::f64::consts::TAU / f64::from(points);
        s.lines.insert(line, (0..points).map(|i| on_ellipse(f64::from(i) * turn)).collect());
    }
    let points = (0u32..6).map(|i| Graduation::along(f64::from(i) * 25.0, [f64::from(i) * 300.0 + 800.5, 2400.0]));
    s.scale = Some(Scale {
        kind: ScaleKind::StraightRuler,
        tolerance: None,
        u_px: Some(1.0),
        tilt_u_deg: Some(5.0),
        metric: None,
        points: points.collect(),
    });
    s.to_json()
}

fn reading(c: &mut Criterion) {
    let mut group = c.benchmark_group("sidecar");
    for (name, text) in [("lateral", full(View::Lateral, 10)), ("solar_outlines_of_60", full(View::Solar, 60))] {
        group.throughput(Throughput::Bytes(text.len() as u64));
        group.bench_function(name, |b| b.iter(|| Sidecar::parse(black_box(&text), None).unwrap()));
        group.bench_function(format!("{name}_json_alone"), |b| {
            b.iter(|| serde_json::from_str::<serde_json::Value>(black_box(&text)).unwrap());
        });
    }
    group.finish();
}

criterion_group!(benches, reading);
criterion_main!(benches);
