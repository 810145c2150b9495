//! How far off corners are found on rendered 12-megapixel photos of a board, whose corners are known: on the reduced photo, as the
//! library does, and refined from there at full size in windows of several widths. Figures in DEVELOPERS.md.
//! `cargo run --release -p hoofgeo --features corners,pictures --example corners`
#![allow(clippy::unwrap_used, clippy::print_stdout, reason = "an experiment")]

use hoofgeo::calibrate::{Chessboard, find_chessboard};
use hoofgeo::pixels::Grey;
use nalgebra::{Matrix2, Matrix3, Point2, Vector2};
use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;
use rand_xoshiro::Xoshiro256PlusPlus;

const FRAME: (u32, u32) = (4032, 3024);
const BOARD: Chessboard = Chessboard { columns: 9, rows: 6, square_mm: 1.0 };

/// Two samples a pixel each way through a homography, blurred (Gaussian, px), with noise (standard deviation, of 255).
fn render(map: Matrix3<f64>, blur: f32, noise: f64, seed: u64) -> Grey {
    let back = map.try_inverse().unwrap();
    let sample = |x: f64, y: f64| {
        let p = back.transform_point(&Point2::new(x, y));
        let inside = (-1.0..9.0).contains(&p.x) && (-1.0..6.0).contains(&p.y);
        if inside && (p.x.floor() + p.y.floor()).rem_euclid(2.0) == 0.0 { 40.0 } else { 220.0 }
    };
    let mut values = Vec::with_capacity((FRAME.0 * FRAME.1) as usize);
    for y in 0..FRAME.1 {
        for x in 0..FRAME.0 {
            let (x, y) = (f64::from(x), f64::from(y));
            let four = [(0.25, 0.25), (0.75, 0.25), (0.25, 0.75), (0.75, 0.75)];
            values.push((four.iter().map(|(dx, dy)| sample(x + dx, y + dy)).sum::<f64>() / 4.0) as f32);
        }
    }
    let smooth = Grey::from_values(FRAME.0, FRAME.1, values).unwrap().smoothed(blur);
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
    let noisy = smooth.values().iter().map(|v| {
        let n: f64 = rng.sample(StandardNormal);
        (f64::from(*v) + noise * n).round().clamp(0.0, 255.0) as f32
    });
    Grey::from_values(FRAME.0, FRAME.1, noisy.collect()).unwrap()
}

/// The point that every gradient of a window is at right angles to the way to (W. Förstner & E. Gülch, *A fast operator for
/// detection and precise location of distinct points*, ISPRS Intercommission Workshop 1987), by steps.
fn refine(photo: &Grey, start: Point2<f64>, half: i64) -> Point2<f64> {
    let mut p = start;
    for _ in 0..40 {
        let (cx, cy) = ((p.x - 0.5).round() as i64, (p.y - 0.5).round() as i64);
        let (mut a, mut b) = (Matrix2::zeros(), Vector2::zeros());
        for y in cy - half..=cy + half {
            for x in cx - half..=cx + half {
                let at = Vector2::new(x as f64 + 0.5, y as f64 + 0.5) - p.coords;
                let weight = (-at.norm_squared() / (0.5 * (half * half) as f64)).exp();
                let g = Vector2::new(photo.at(x + 1, y) - photo.at(x - 1, y), photo.at(x, y + 1) - photo.at(x, y - 1));
                let gg = weight * g * g.transpose();
                a += gg;
                b += gg * at;
            }
        }
        let Some(inverse) = a.try_inverse() else { return start };
        let step = inverse * b;
        p += step;
        if step.norm() < 1e-4 {
            break;
        }
    }
    if (p - start).norm() < half as f64 { p } else { start }
}

fn main() {
    let maps = [
        ("near, tilted", Matrix3::new(330.0, 40.0, 500.0, -36.0, 340.0, 550.0, 0.012, 0.016, 1.0)),
        ("far, tilted", Matrix3::new(150.0, 18.0, 900.0, -15.0, 160.0, 800.0, 0.012, -0.01, 1.0)),
        ("turned", Matrix3::new(160.0, -170.0, 1700.0, 180.0, 150.0, 500.0, 0.008, 0.01, 1.0)),
    ];
    println!(
        "{:<14}{:>6}{:>7}{:>10}{:>10}{:>10}{:>10}{:>10}",
        "view", "blur", "noise", "reduced", "half 5", "half 10", "half 20", "half 30"
    );
    for (name, map) in maps {
        for (blur, noise) in [(0.8, 3.0), (1.5, 5.0), (4.0, 5.0)] {
            let photo = render(map, blur, noise, 1);
            let bytes: Vec<u8> = photo.values().iter().map(|v| *v as u8).collect();
            let found = match find_chessboard("rendered", FRAME, &bytes, &BOARD) {
                Ok(found) => found,
                Err(e) => {
                    println!("{name:<14}{blur:>6}{noise:>7}  {e}");
                    continue;
                }
            };
            let truth: Vec<Point2<f64>> =
                (0..54).map(|i| map.transform_point(&Point2::new(f64::from(i % 9), f64::from(i / 9)))).collect();
            let rms = |pixel: &dyn Fn(Point2<f64>) -> Point2<f64>| {
                let squares = found.points.iter().map(|p| {
                    let q = pixel(p.pixel);
                    truth.iter().map(|t| (t - q).norm_squared()).fold(f64::INFINITY, f64::min)
                });
                (squares.sum::<f64>() / 54.0).sqrt()
            };
            print!("{name:<14}{blur:>6}{noise:>7}{:>10.3}", rms(&|p| p));
            for half in [5, 10, 20, 30] {
                print!("{:>10.3}", rms(&|p| refine(&photo, p, half)));
            }
            println!();
        }
    }
}
