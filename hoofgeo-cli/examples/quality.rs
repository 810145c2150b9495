//! How often `check` remarks on blur and light, on rendered feet that are blurred, shaken, over- and underexposed by known amounts, and how
//! near the estimated blur comes to the true one. Figures are in VALIDATION.md.
#![allow(clippy::print_stdout, reason = "an experiment")]

use hoofgeo::pixels::Grey;
use hoofgeo::pixels::quality::{Pixels, QualityRemark, hoof_pixels, look, of_pixels};
use hoofgeo::sidecar::Sidecar;
use hoofgeo_cli::demo::{cases, place_like_a_person, sidecar};
use image::{Rgb, RgbImage};
use nalgebra::Point2;
use rayon::prelude::*;

/// What is done to a photo.
#[derive(Clone, Copy)]
enum Change {
    /// Smoothed by a Gaussian of this standard deviation, px.
    Blur(f32),
    /// Moved by so many px across while the shutter was open.
    Shake(u32),
    /// So many times the light (on the values as the file codes them).
    Light(f32),
    /// Noise of this standard deviation, levels.
    Noise(f32),
}

fn main() -> hoofgeo::Result<()> {
    // The longer side; blur is in its pixels.
    const WIDTH: f64 = 1600.0;
    let photos: Vec<(RgbImage, Vec<Point2<f64>>, f64)> = cases()
        .into_iter()
        .step_by(4)
        .map(|mut case| {
            let [w, h] = case.shot.size;
            case.shot.size = [w, h].map(|side| (f64::from(side) * WIDTH / f64::from(w.max(h))).round() as u32);
            let photo = case.render();
            let placed = place_like_a_person(&photo, case.shot.view, case.seed);
            let text = sidecar(&case, &photo, &placed).to_string();
            let read = Sidecar::parse(&text, None)?;
            // Rendered graduations give the resolution without a scene.
            let g = &photo.graduations;
            let (a, b) = (&g[0], &g[g.len() - 1]);
            let d = |p: [f64; 2], q: [f64; 2]| (p[0] - q[0]).hypot(p[1] - q[1]);
            Ok((photo.pixels, hoof_pixels(&read), d(a.px, b.px) / d(a.mm, b.mm)))
        })
        .collect::<hoofgeo::Result<_>>()?;
    let mean = photos.iter().map(|p| p.2).sum::<f64>() / photos.len() as f64;
    println!("{} photos, {mean:.1} px/mm on the average", photos.len());
    println!("| change | blur found, px (least, median, most) | blurred | burnt out | black |");
    println!("| --- | --- | --- | --- | --- |");
    let none = [Change::Noise(0.0), Change::Noise(4.0), Change::Noise(8.0)];
    let blur = [1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0].map(Change::Blur);
    let shake = [3, 6, 12, 24].map(Change::Shake);
    let light = [0.02, 0.05, 0.1, 0.3, 0.6, 1.3, 1.6, 2.0, 3.0].map(Change::Light);
    for change in none.into_iter().chain(blur).chain(shake).chain(light) {
        let found: Vec<(Pixels, Vec<QualityRemark>)> = photos
            .par_iter()
            .map(|(photo, hoof, px_per_mm)| {
                let changed = apply(photo, change);
                let pixels = look(&changed, hoof);
                (pixels, of_pixels(&pixels, changed.dimensions(), Some(*px_per_mm)))
            })
            .collect();
        let mut blurs: Vec<f64> = found.iter().filter_map(|(p, _)| p.blur_px).collect();
        blurs.sort_by(f64::total_cmp);
        let share = |is: fn(&QualityRemark) -> bool| {
            format!("{} of {}", found.iter().filter(|(_, r)| r.iter().any(is)).count(), found.len())
        };
        let blur = match &blurs[..] {
            [] => "none".to_owned(),
            b => format!("{:.1}, {:.1}, {:.1}", b[0], b[b.len() / 2], b[b.len() - 1]),
        };
        println!(
            "| {} | {blur} | {} | {} | {} |",
            match change {
                Change::Blur(s) => format!("Gaussian, {s} px"),
                Change::Shake(n) => format!("shaken by {n} px"),
                Change::Light(f) => format!("{f} times the light"),
                Change::Noise(s) => format!("noise of {s} levels"),
            },
            share(|r| matches!(r, QualityRemark::Blurred { .. })),
            share(|r| matches!(r, QualityRemark::BurntOut { .. })),
            share(|r| matches!(r, QualityRemark::Black { .. })),
        );
    }
    Ok(())
}

/// A changed photo, always with a camera's noise of 2 levels at least.
fn apply(photo: &RgbImage, change: Change) -> RgbImage {
    let (w, h) = photo.dimensions();
    let mut planes: Vec<Vec<f32>> =
        (0..3).map(|c| photo.as_raw().iter().skip(c).step_by(3).map(|v| f32::from(*v)).collect()).collect();
    let mut noise = 2.0;
    match change {
        Change::Blur(sigma) => {
            for plane in &mut planes {
                if let Some(grey) = Grey::from_values(w, h, std::mem::take(plane)) {
                    *plane = grey.smoothed(sigma).values().to_vec();
                }
            }
        }
        Change::Shake(n) => {
            for plane in &mut planes {
                for row in plane.chunks_exact_mut(w as usize) {
                    let old = row.to_vec();
                    for (x, v) in row.iter_mut().enumerate() {
                        let from = x.saturating_sub(n as usize - 1);
                        *v = old[from..=x].iter().sum::<f32>() / (x + 1 - from) as f32;
                    }
                }
            }
        }
        Change::Light(factor) => planes.iter_mut().flatten().for_each(|v| *v *= factor),
        Change::Noise(sigma) => noise = sigma.max(noise),
    }
    let mut seed = 1u32;
    let mut random = || {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (seed >> 8) as f32 / (1 << 24) as f32
    };
    let mut out = RgbImage::new(w, h);
    for (i, pixel) in out.pixels_mut().enumerate() {
        let n = noise * (random() + random() + random() + random() - 2.0) * 3f32.sqrt();
        *pixel = Rgb([0, 1, 2].map(|c| (planes[c][i] + n).round().clamp(0.0, 255.0) as u8));
    }
    out
}
