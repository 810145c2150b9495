use super::*;
use crate::pixels::Flat;
use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;

const PX_PER_MM: f64 = 8.0;

/// Radius of an egg-shaped outline about (320, 320) px, in a direction.
fn radius(angle: f64) -> f64 {
    250.0 + 30.0 * angle.cos() + 12.0 * (2.0 * angle).sin()
}

fn at(angle: f64) -> Point2<f64> {
    let (s, c) = angle.sin_cos();
    Point2::new(320.0 + radius(angle) * c, 320.0 + radius(angle) * s)
}

/// The outline with `contrast` across it, on a slope of brightness, blurred by about a pixel, in `noise` (standard deviation).
fn photo(contrast: f64, noise: f64, seed: u64) -> Grey {
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
    let mut values = Vec::new();
    for y in 0..640 {
        for x in 0..640 {
            let (dx, dy) = (f64::from(x) + 0.5 - 320.0, f64::from(y) + 0.5 - 320.0);
            let inside = radius(dy.atan2(dx)) - dx.hypot(dy);
            let grain: f64 = (0..12).map(|_| rng.random::<f64>()).sum::<f64>() - 6.0;
            let step = 1.0 / (1.0 + (-inside / 0.8).exp());
            values.push((90.0 + 0.03 * f64::from(x) + contrast * step + noise * grain) as f32);
        }
    }
    Grey::from_values(640, 640, values).expect("640 by 640")
}

fn clicks(n: usize, off_px: f64, seed: u64) -> Vec<Point2<f64>> {
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
    let mut about = || off_px * (2.0 * rng.random::<f64>() - 1.0);
    (0..n).map(|k| at(std::f64::consts::TAU * k as f64 / n as f64 + 0.3) + Vector2::new(about(), about())).collect()
}

fn area(polygon: &[Point2<f64>]) -> f64 {
    doubled_area(polygon).abs() / 2.0
}

fn true_area() -> f64 {
    let n = 20_000;
    area(&(0..n).map(|k| at(std::f64::consts::TAU * f64::from(k) / f64::from(n))).collect::<Vec<_>>())
}

#[test]
fn a_few_clicks_give_the_whole_outline() {
    for (n, contrast, noise) in [(6, 60.0, 3.0), (10, -40.0, 5.0), (40, 60.0, 3.0)] {
        let clicked = clicks(n, 4.0, n as u64);
        let found = trace_outline(
            &photo(contrast, noise, 1),
            &Flat { px_per_mm: PX_PER_MM },
            &clicked,
            &[],
            OutlineEdge::Plain,
        )
        .expect("edge");
        let off = area(&found.points) / true_area() - 1.0;
        let before = area(&clicked) / true_area() - 1.0;
        assert!(off.abs() < 0.002, "{n}: {off}, clicked {before}");
        assert!(found.traced > 0.9 && found.farthest_mm <= found.limit_mm, "{found:?}");
        assert_eq!(found.bright_inside, Some(contrast > 0.0));
        let far = found.points.iter().map(|p| {
            let d = p - Point2::new(320.0, 320.0);
            (d.norm() - radius(d.y.atan2(d.x))).powi(2)
        });
        let rms = (far.sum::<f64>() / found.points.len() as f64).sqrt() / PX_PER_MM;
        assert!(rms < 0.06 && found.u_mm < 0.1, "{n}: {rms} mm, stated {}", found.u_mm);
        assert!((45..60).contains(&found.points.len()), "{}", found.points.len());
    }
}

#[test]
fn where_there_is_no_edge_nothing_is_traced() {
    for seed in 0..6 {
        let found = trace_outline(
            &photo(0.0, 6.0, seed),
            &Flat { px_per_mm: PX_PER_MM },
            &clicks(12, 4.0, seed),
            &[],
            OutlineEdge::Plain,
        );
        assert!(matches!(found, Err(NotTraced::NoEdge(_))), "{seed}: {found:?}");
    }
    let smooth = trace_outline(
        &photo(0.0, 0.0, 1),
        &Flat { px_per_mm: PX_PER_MM },
        &clicks(12, 4.0, 1),
        &[],
        OutlineEdge::Plain,
    );
    assert!(matches!(smooth, Err(NotTraced::NoEdge(_))), "{smooth:?}");
}

#[test]
fn what_lies_across_stays_as_it_was_clicked() {
    let clicked = clicks(12, 3.0, 4);
    let found =
        trace_outline(&photo(60.0, 3.0, 1), &Flat { px_per_mm: PX_PER_MM }, &clicked, &[4, 5], OutlineEdge::Plain)
            .expect("an edge");
    assert_eq!(found.stretches.iter().filter(|s| s.0 == StretchKind::Across).count(), 2);
    assert!(found.points.contains(&clicked[5]), "the click between the two sides");
    let three =
        trace_outline(&photo(60.0, 3.0, 1), &Flat { px_per_mm: PX_PER_MM }, &clicked[..3], &[], OutlineEdge::Plain);
    assert_eq!(three, Err(NotTraced::TooFewClicks));
    let mut outside = clicked;
    outside[0].x = 641.0;
    let found = trace_outline(&photo(60.0, 3.0, 1), &Flat { px_per_mm: PX_PER_MM }, &outside, &[], OutlineEdge::Plain);
    assert_eq!(found, Err(NotTraced::OutOfSight));
}
