//! How far off corners are found on rendered 12-megapixel photos of a board, whose corners are known: as the library finds them, and on
//! the photo reduced to a third. Figures in VALIDATION.md.
//! `cargo run --release -p hoofgeo --features corners,pictures --example corners`
#![allow(clippy::unwrap_used, clippy::print_stdout, reason = "an experiment")]

use hoofgeo::calibrate::{Chessboard, find_chessboard};
use hoofgeo::pixels::Grey;
use nalgebra::{Matrix3, Point2};
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

/// Means over squares of three pixels.
fn reduced(photo: &Grey) -> Vec<u8> {
    let (w, h) = (i64::from(FRAME.0 / 3), i64::from(FRAME.1 / 3));
    let mean = |i: i64| (0..9).map(|d| photo.at(3 * (i % w) + d % 3, 3 * (i / w) + d / 3)).sum::<f64>() / 9.0;
    (0..w * h).map(|i| mean(i).round() as u8).collect()
}

fn main() {
    let maps = [
        ("near, tilted", Matrix3::new(330.0, 40.0, 500.0, -36.0, 340.0, 550.0, 0.012, 0.016, 1.0)),
        ("far, tilted", Matrix3::new(150.0, 18.0, 900.0, -15.0, 160.0, 800.0, 0.012, -0.01, 1.0)),
        ("turned", Matrix3::new(160.0, -170.0, 1700.0, 180.0, 150.0, 500.0, 0.008, 0.01, 1.0)),
    ];
    println!("{:<14}{:>6}{:>7}{:>12}{:>12}", "view", "blur", "noise", "reduced", "full size");
    for (name, map) in maps {
        for (blur, noise) in [(0.8, 3.0), (1.5, 5.0), (4.0, 5.0)] {
            let photo = render(map, blur, noise, 1);
            let bytes: Vec<u8> = photo.values().iter().map(|v| *v as u8).collect();
            let third = (FRAME.0 / 3, FRAME.1 / 3);
            let views = [(third, reduced(&photo), 3.0), (FRAME, bytes, 1.0)];
            print!("{name:<14}{blur:>6}{noise:>7}");
            for (frame, brightness, scale) in views {
                let found = find_chessboard("rendered", frame, &brightness, &BOARD).unwrap();
                let squares = found.points.iter().map(|p| {
                    let corners =
                        (0..54).map(|i| map.transform_point(&Point2::new(f64::from(i % 9), f64::from(i / 9))));
                    corners.map(|t| (t - p.pixel * scale).norm_squared()).fold(f64::INFINITY, f64::min)
                });
                print!("{:>9.3} px", (squares.sum::<f64>() / 54.0).sqrt());
            }
            println!();
        }
    }
}
