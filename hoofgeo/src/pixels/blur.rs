//! How blurred a part of a photo is.
//!
//! At an edge that is blurred by a Gaussian of standard deviation s, blurring it once more by b lowers the gradient by the factor
//! R = √((s² + b²)/s²), whatever the edge's height; so s = b/√(R² − 1). The strongest edges are looked at, at the finest scale at which
//! they are sharp enough to be told from noise.
//!
//! # Source
//! S. Zhuo & T. Sim, "Defocus map estimation from a single image", Pattern Recognition 44 (2011) 1852-1858, for the ratio. Noise:
//! J. Immerkær, "Fast noise variance estimation", Computer Vision and Image Understanding 64 (1996) 300-302, with the median.

use super::Grey;
use image::RgbImage;

/// First smoothing, against noise, and the second blur, px of the scale looked at.
const SMOOTH: f64 = 1.0;
const BLUR: f64 = 1.5;

/// The variance of the gradient's central difference, px²: a box two pixels wide.
const DIFFERENCE: f64 = 1.0 / 3.0;

/// Share of the edges that is looked at: the strongest.
const STRONGEST: f64 = 0.1;

/// How many times an edge's gradient is above that of noise.
const ABOVE_NOISE: f32 = 8.0;

/// Standard deviation of a smoothed picture's gradient per axis for noise of 1: 1/(√(8π) s²) for s = 1.
const NOISE_GRADIENT: f32 = 0.2;

/// With fewer edges nothing is said of a scale.
const FEWEST: usize = 100;

/// A blur above this, in px of the scale looked at, is told better at the next coarser one.
const COARSER: f64 = 1.5;

/// Most pixels looked at per scale, and the side of the windows that stand for a larger region.
const MOST_PIXELS: usize = 700_000;
const WINDOW: u32 = 128;

/// A rectangle of a photo, px.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rectangle {
    /// Left column.
    pub x: u32,
    /// Top row.
    pub y: u32,
    /// Columns.
    pub width: u32,
    /// Rows.
    pub height: u32,
}

/// Standard deviation of the Gaussian that blurs a region's strong edges, px: the median over them. `None` where there are hardly any
/// edges. Good to a quarter; a sharp photo gives 0 to 1.
///
/// # Example: a checkerboard, sharp and smoothed
/// ```
/// use hoofgeo::pixels::{Grey, Rectangle, blur_px};
/// use image::{Rgb, RgbImage};
/// let board = RgbImage::from_fn(400, 400, |x, y| Rgb([if (x / 40 + y / 40) % 2 == 0 { 60 } else { 190 }; 3]));
/// let whole = Rectangle { x: 0, y: 0, width: 400, height: 400 };
/// assert!(blur_px(&board, whole).unwrap() < 0.7);
/// let smooth = Grey::of(&board).smoothed(3.0);
/// let smooth = RgbImage::from_fn(400, 400, |x, y| Rgb([smooth.at(x.into(), y.into()) as u8; 3]));
/// assert!((2.4..3.75).contains(&blur_px(&smooth, whole).unwrap()));
/// ```
pub fn blur_px(photo: &RgbImage, region: Rectangle) -> Option<f64> {
    let (mut found, mut level) = (None, 0);
    while region.width >> level >= 48 && region.height >> level >= 48 {
        if let Some(blur) = blur_at(photo, region, level) {
            found = Some(blur * f64::from(1u32 << level));
            if blur <= COARSER {
                break;
            }
        }
        level += 1;
    }
    found
}

/// The blur in px of a scale: 2^`level` px of the photo are one.
fn blur_at(photo: &RgbImage, region: Rectangle, level: u32) -> Option<f64> {
    let (width, height) = ((region.width >> level) as usize, (region.height >> level) as usize);
    let patches =
        if width * height <= MOST_PIXELS { vec![patch(photo, region, level)] } else { windows(photo, region, level) };
    let noise = noise(&patches);
    let mut edges: Vec<(f32, f32)> = patches.iter().flat_map(edges).collect();
    edges.sort_unstable_by(|a, b| b.0.total_cmp(&a.0));
    edges.truncate((edges.len() as f64 * STRONGEST).ceil() as usize);
    edges.retain(|e| e.0 > ABOVE_NOISE * NOISE_GRADIENT * noise);
    if edges.len() < FEWEST {
        return None;
    }
    // What averaging 2^level px into one does, in px of the scale: the variance of a box less that of one pixel.
    let averaged = (1.0 - 0.25f64.powi(level as i32)) / 12.0;
    let mut variances: Vec<f64> = edges
        .iter()
        .map(|(sharp, soft)| {
            let ratio = f64::from(sharp / soft.max(1e-6));
            BLUR * BLUR / (ratio * ratio - 1.0).max(1e-3) - SMOOTH * SMOOTH - DIFFERENCE - averaged
        })
        .collect();
    let middle = variances.len() / 2;
    let median = *variances.select_nth_unstable_by(middle, f64::total_cmp).1;
    Some(median.max(0.0).sqrt())
}

/// A rectangle's brightness, 2^`level` x 2^`level` px averaged into one.
fn patch(photo: &RgbImage, r: Rectangle, level: u32) -> Grey {
    let n = 1usize << level;
    let (width, height) = ((r.width >> level) as usize, (r.height >> level) as usize);
    let stride = photo.width() as usize * 3;
    let mut values = vec![0f32; width * height];
    for (row, values) in values.chunks_exact_mut(width.max(1)).enumerate() {
        for y in 0..n {
            let first = (r.y as usize + row * n + y) * stride + r.x as usize * 3;
            let line = &photo.as_raw()[first..first + width * n * 3];
            for (value, block) in values.iter_mut().zip(line.chunks_exact(3 * n)) {
                // BT.601 in 1/1024; exact enough here and fast.
                let luma = |p: &[u8]| 306 * u32::from(p[0]) + 601 * u32::from(p[1]) + 117 * u32::from(p[2]);
                *value += block.chunks_exact(3).map(luma).sum::<u32>() as f32;
            }
        }
        let scale = 1.0 / (1024 * n * n) as f32;
        values.iter_mut().for_each(|v| *v *= scale);
    }
    Grey::from_values(width as u32, height as u32, values).expect("one value for each pixel")
}

/// The windows of a large region with the strongest edges.
fn windows(photo: &RgbImage, region: Rectangle, level: u32) -> Vec<Grey> {
    let side = WINDOW << level;
    let (columns, rows) = (region.width / side, region.height / side);
    // Contrast between every fourth pixel and its neighbour four pixels on: enough to find the edges.
    let contrast = |x: u32, y: u32| {
        let green = |x, y| i32::from(photo.get_pixel(x, y).0[1]);
        let step = 4 << level;
        let mut strong = 0;
        for y in (y..y + side - step).step_by(step as usize) {
            for x in (x..x + side - step).step_by(step as usize) {
                let here = green(x, y);
                strong += i32::from((here - green(x + step, y)).abs().max((here - green(x, y + step)).abs()) > 24);
            }
        }
        strong
    };
    let mut all: Vec<(i32, u32, u32)> = (0..rows)
        .flat_map(|j| (0..columns).map(move |i| (region.x + i * side, region.y + j * side)))
        .map(|(x, y)| (contrast(x, y), x, y))
        .collect();
    all.sort_unstable_by(|a, b| b.cmp(a));
    all.truncate(MOST_PIXELS / (WINDOW * WINDOW) as usize);
    all.into_iter().map(|(_, x, y)| patch(photo, Rectangle { x, y, width: side, height: side }, level)).collect()
}

/// Standard deviation of the noise: by the median of a mask that leaves out what is flat, straight or curved one way.
fn noise(patches: &[Grey]) -> f32 {
    let mut all = Vec::new();
    for patch in patches {
        let (w, h) = (patch.width() as usize, patch.height() as usize);
        let v = patch.values();
        for y in (1..h - 1).step_by(2) {
            for x in (1..w - 1).step_by(2) {
                let at = |dx: usize, dy: usize| v[(y + dy - 1) * w + x + dx - 1];
                let corners = at(0, 0) + at(2, 0) + at(0, 2) + at(2, 2);
                let sides = at(1, 0) + at(0, 1) + at(2, 1) + at(1, 2);
                all.push((corners - 2.0 * sides + 4.0 * at(1, 1)).abs());
            }
        }
    }
    if all.is_empty() {
        return 0.0;
    }
    let middle = all.len() / 2;
    // The median of |x| is 0.6745 standard deviations; the mask multiplies those by 6.
    *all.select_nth_unstable_by(middle, f32::total_cmp).1 / (0.6745 * 6.0)
}

/// Local maxima of the gradient along its own direction: the gradient there, and after the second blur.
fn edges(patch: &Grey) -> Vec<(f32, f32)> {
    let (w, h) = (patch.width() as usize, patch.height() as usize);
    if w < 8 || h < 8 {
        return Vec::new();
    }
    let sharp = patch.smoothed(SMOOTH as f32);
    let soft = patch.smoothed((SMOOTH * SMOOTH + BLUR * BLUR).sqrt() as f32);
    let gradient = |g: &Grey, i: usize| {
        let v = g.values();
        ((v[i + 1] - v[i - 1]) / 2.0, (v[i + w] - v[i - w]) / 2.0)
    };
    let mut size = vec![0f32; w * h];
    for y in 1..h - 1 {
        let line = y * w + 1;
        for (i, size) in size[line..line + w - 2].iter_mut().enumerate() {
            let (x, y) = gradient(&sharp, line + i);
            *size = x.hypot(y);
        }
    }
    let mut found = Vec::new();
    for y in 2..h - 2 {
        for i in y * w + 2..(y + 1) * w - 2 {
            let here = size[i];
            if here < 1.0 {
                continue;
            }
            let (gx, gy) = gradient(&sharp, i);
            let (ux, uy) = (gx / here, gy / here);
            let step = ux.round() as isize + uy.round() as isize * w as isize;
            let (ahead, behind) = (size[i.wrapping_add_signed(step)], size[i.wrapping_add_signed(-step)]);
            if here > ahead && here >= behind {
                let (sx, sy) = gradient(&soft, i);
                found.push((here, sx * ux + sy * uy));
            }
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::Rgb;

    /// Discs of random sizes and tones, smoothed, with noise.
    fn picture(size: u32, sigma: f32, noise: f32) -> RgbImage {
        let mut seed = 5u32;
        let mut random = || {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (seed >> 8) as f32 / (1 << 24) as f32
        };
        let mut values = vec![120f32; (size * size) as usize];
        for _ in 0..60 {
            let (x, y, r) = (random() * size as f32, random() * size as f32, size as f32 * (0.02 + 0.08 * random()));
            let tone = 40.0 + 180.0 * random();
            for (i, v) in values.iter_mut().enumerate() {
                let (dx, dy) = ((i as u32 % size) as f32 - x, (i as u32 / size) as f32 - y);
                if dx * dx + dy * dy < r * r {
                    *v = tone;
                }
            }
        }
        let grey = Grey::from_values(size, size, values).expect("square");
        let grey = if sigma > 0.0 { grey.smoothed(sigma) } else { grey };
        RgbImage::from_fn(size, size, |x, y| {
            let n = noise * (random() + random() + random() + random() - 2.0) * 3f32.sqrt();
            Rgb([(grey.at(x.into(), y.into()) as f32 + n).round().clamp(0.0, 255.0) as u8; 3])
        })
    }

    #[test]
    fn the_blur_of_known_gaussians() {
        let size = 640;
        let whole = Rectangle { x: 0, y: 0, width: size, height: size };
        for noise in [0.0, 3.0] {
            for sigma in [0.7f32, 1.0, 1.5, 2.0, 3.0, 5.0, 8.0] {
                let found = blur_px(&picture(size, sigma, noise), whole).expect("edges");
                let ratio = found / f64::from(sigma);
                assert!((0.8..1.25).contains(&ratio), "sigma {sigma}, noise {noise}: {found}");
            }
            let sharp = blur_px(&picture(size, 0.0, noise), whole).expect("edges");
            assert!(sharp < 0.6, "sharp, noise {noise}: {sharp}");
        }
    }

    #[test]
    fn nothing_is_said_of_an_empty_picture_or_of_noise() {
        let whole = Rectangle { x: 0, y: 0, width: 400, height: 300 };
        assert_eq!(blur_px(&RgbImage::from_pixel(400, 300, Rgb([90; 3])), whole), None);
        let mut seed = 1u32;
        let noise = RgbImage::from_fn(400, 300, |_, _| {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            Rgb([100 + (seed >> 28) as u8; 3])
        });
        assert_eq!(blur_px(&noise, whole), None);
        assert_eq!(blur_px(&noise, Rectangle { width: 10, ..whole }), None);
    }
}
