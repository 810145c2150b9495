//! Derivatives of brightness by Gaussian derivative filters, and the noise they are measured in.

use super::Grey;
use nalgebra::{Matrix2, Point2, Vector2};

/// A Gaussian of standard deviation `sigma` and its derivative, sampled at whole steps out to four standard deviations.
pub(super) fn kernels(sigma: f64) -> (Vec<f64>, Vec<f64>) {
    let reach = (4.0 * sigma).ceil() as i64;
    let bell: Vec<f64> = (-reach..=reach).map(|i| (-0.5 * (i as f64 / sigma).powi(2)).exp()).collect();
    let sum: f64 = bell.iter().sum();
    let smooth: Vec<f64> = bell.iter().map(|b| b / sum).collect();
    // Scaled so that a slope of 1 gives 1, whatever the sampling.
    let raw: Vec<f64> = (-reach..=reach).zip(&bell).map(|(i, b)| i as f64 * b).collect();
    let slope: f64 = (-reach..=reach).zip(&raw).map(|(i, r)| i as f64 * r).sum();
    (smooth, raw.iter().map(|r| r / slope).collect())
}

/// The brightness's derivatives over a rectangle of a photo, in brightness per px.
#[derive(Debug, Clone)]
pub(super) struct Gradient {
    left: i64,
    top: i64,
    width: usize,
    height: usize,
    x: Vec<f32>,
    y: Vec<f32>,
}

impl Gradient {
    /// Over the whole pixels of `low` to `high` (corners, px), at the scale `sigma` px.
    pub(super) fn new(grey: &Grey, low: Point2<f64>, high: Point2<f64>, sigma: f64) -> Self {
        let clamp = |v: f64, side: u32| (v as i64).clamp(0, i64::from(side));
        let (left, right) = (clamp(low.x.floor(), grey.width()), clamp(high.x.ceil(), grey.width()));
        let (top, bottom) = (clamp(low.y.floor(), grey.height()), clamp(high.y.ceil(), grey.height()));
        let (width, height) = ((right - left).max(0) as usize, (bottom - top).max(0) as usize);
        let (smooth, slope) = kernels(sigma);
        let reach = (smooth.len() / 2) as i64;
        // Along rows first, over as many more rows as the columns need.
        let rows = height + 2 * reach as usize;
        let (mut smoothed, mut sloped) = (vec![0f32; width * rows], vec![0f32; width * rows]);
        let mut line = vec![0f32; width + 2 * reach as usize];
        for r in 0..rows {
            let row = top - reach + r as i64;
            for (i, v) in line.iter_mut().enumerate() {
                *v = grey.at(left - reach + i as i64, row) as f32;
            }
            filter(&line, &smooth, &mut smoothed[r * width..(r + 1) * width]);
            filter(&line, &slope, &mut sloped[r * width..(r + 1) * width]);
        }
        let (mut x, mut y) = (vec![0f32; width * height], vec![0f32; width * height]);
        for r in 0..height {
            for (k, (g, d)) in smooth.iter().zip(&slope).enumerate() {
                let from = (r + k) * width;
                let (g, d) = (*g as f32, *d as f32);
                for c in 0..width {
                    x[r * width + c] += g * sloped[from + c];
                    y[r * width + c] += d * smoothed[from + c];
                }
            }
        }
        Self { left, top, width, height, x, y }
    }

    /// Takes another's derivatives of the same rectangle off.
    pub(super) fn minus(mut self, other: &Self) -> Self {
        self.x.iter_mut().zip(&other.x).for_each(|(a, b)| *a -= b);
        self.y.iter_mut().zip(&other.y).for_each(|(a, b)| *a -= b);
        self
    }

    /// First column and row, width and height of the rectangle.
    pub(super) fn extent(&self) -> ([i64; 2], [usize; 2]) {
        ([self.left, self.top], [self.width, self.height])
    }

    /// The derivatives at a column and row of the rectangle.
    pub(super) fn at(&self, column: usize, row: usize) -> Vector2<f32> {
        let i = row * self.width + column;
        Vector2::new(self.x[i], self.y[i])
    }

    /// The structure tensor of the square of side `side` px about `centre`: the mean of g gᵀ; `None` where the square
    /// leaves the rectangle.
    pub(super) fn tensor(&self, centre: Point2<f64>, side: usize) -> Option<Matrix2<f64>> {
        let first = |c: f64, from: i64| (c - side as f64 / 2.0).round() as i64 - from;
        let (c0, r0) = (first(centre.x, self.left), first(centre.y, self.top));
        if c0 < 0 || r0 < 0 || c0 as usize + side > self.width || r0 as usize + side > self.height {
            return None;
        }
        let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
        for r in r0 as usize..r0 as usize + side {
            let row = r * self.width + c0 as usize;
            for (gx, gy) in self.x[row..row + side].iter().zip(&self.y[row..row + side]) {
                let (gx, gy) = (f64::from(*gx), f64::from(*gy));
                (xx, xy, yy) = (xx + gx * gx, xy + gx * gy, yy + gy * gy);
            }
        }
        Some(Matrix2::new(xx, xy, xy, yy) / (side * side) as f64)
    }
}

fn filter(line: &[f32], kernel: &[f64], out: &mut [f32]) {
    out.fill(0.0);
    for (k, w) in kernel.iter().enumerate() {
        let w = *w as f32;
        for (o, v) in out.iter_mut().zip(&line[k..]) {
            *o += w * v;
        }
    }
}

/// The direction across which a structure tensor changes most, and its coherence (λ₁ − λ₂)/(λ₁ + λ₂).
///
/// J. Bigun and G. H. Granlund, "Optimal orientation detection of linear symmetry", Proc. 1st ICCV (1987) 433-438.
pub fn orientation(tensor: &Matrix2<f64>) -> (Vector2<f64>, f64) {
    let (difference, twice, sum) =
        (tensor[(0, 0)] - tensor[(1, 1)], 2.0 * tensor[(0, 1)], tensor[(0, 0)] + tensor[(1, 1)]);
    let angle = 0.5 * twice.atan2(difference);
    let coherence = if sum > 0.0 { difference.hypot(twice) / sum } else { 0.0 };
    (Vector2::new(angle.cos(), angle.sin()), coherence)
}

/// The structure tensor of a square of side `side` px about a pixel place, from Gaussian derivatives at the scale `sigma` px:
/// the mean of g gᵀ, in squared brightness per squared px. `None` where the square leaves the photo.
pub fn structure_tensor(grey: &Grey, centre: Point2<f64>, side: u32, sigma: f64) -> Option<Matrix2<f64>> {
    let half = Vector2::repeat(f64::from(side) / 2.0 + 1.0);
    Gradient::new(grey, centre - half, centre + half, sigma).tensor(centre, side as usize)
}

/// Standard deviation of the noise of single pixels over a rectangle of a photo: the median size of the Laplacian
/// differences that smooth surfaces and straight edges leave at zero.
///
/// The mask is that of J. Immerkær, "Fast noise variance estimation", Computer Vision and Image Understanding 64 (1996)
/// 300-302; the median in the place of the mean keeps texture out.
pub fn noise(grey: &Grey, low: Point2<f64>, high: Point2<f64>) -> f64 {
    const MASK: [[f64; 3]; 3] = [[1.0, -2.0, 1.0], [-2.0, 4.0, -2.0], [1.0, -2.0, 1.0]];
    let (w, h) = ((high.x - low.x).max(1.0), (high.y - low.y).max(1.0));
    let step = ((w * h / 20_000.0).sqrt().ceil() as i64).max(1);
    let mut sizes = Vec::new();
    let mut row = low.y as i64;
    while row < high.y as i64 {
        let mut column = low.x as i64;
        while column < high.x as i64 {
            let mut sum = 0.0;
            for (j, line) in (-1..=1).zip(&MASK) {
                for (i, m) in (-1..=1).zip(line) {
                    sum += m * grey.at(column + i, row + j);
                }
            }
            sizes.push(sum.abs());
            column += step;
        }
        row += step;
    }
    // The mask's weights have the square sum 36; the median size of a normal variable is 0.6745 standard deviations.
    median(&mut sizes).unwrap_or(0.0) / (6.0 * 0.6745)
}

/// Where the top of the parabola through three values lies, in steps from the middle one.
pub(super) fn vertex(before: f64, here: f64, behind: f64) -> f64 {
    (before - behind) / (2.0 * (before - 2.0 * here + behind))
}

/// The middle value; `None` of none.
pub(super) fn median(values: &mut [f64]) -> Option<f64> {
    let n = values.len();
    (n > 0).then(|| *values.select_nth_unstable_by(n / 2, f64::total_cmp).1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    /// The gratings of `fixtures/shapes/shapes.json` (scikit-image 0.26): a general-purpose library finds their direction within
    /// 0.75°, the anisotropy of its gradient filter; Gaussian derivatives are held to a tenth of that.
    #[test]
    fn directions_of_gratings_are_exact_where_a_reference_library_is_near() {
        let text = include_str!("../../../fixtures/shapes/shapes.json");
        let all: serde_json::Value = serde_json::from_str(text).expect("JSON");
        let cases = all.as_array().or_else(|| all["cases"].as_array()).expect("cases");
        let gratings = cases
            .iter()
            .find(|c| c["id"].as_str().is_some_and(|id| id.starts_with("structure tensor")))
            .expect("gratings");
        let rows = gratings["rows"].as_array().expect("rows");
        assert!(rows.len() >= 9);
        for row in rows {
            let number = |key: &str| row[key].as_f64().expect("number");
            let truth = number("true_gradient_direction_deg");
            let (sin, cos) = truth.to_radians().sin_cos();
            let value = |x: i32, y: i32| (TAU * (f64::from(x) * cos + f64::from(y) * sin) / 8.0).cos() as f32;
            let values = (0..64).flat_map(|y| (0..64).map(move |x| value(x, y))).collect();
            let grey = Grey::from_values(64, 64, values).expect("64 by 64");
            let tensor = structure_tensor(&grey, Point2::new(32.0, 32.0), 32, 1.5).expect("inside");
            let (across, coherence) = orientation(&tensor);
            let found = across.y.atan2(across.x).to_degrees();
            let off = |a: f64, b: f64| (a - b + 270.0).rem_euclid(180.0) - 90.0;
            assert!(off(found, truth).abs() < 0.075, "{truth}: {found}");
            assert!(off(found, number("skimage_estimate_deg")).abs() < 0.83, "{truth}: {found}");
            assert!(coherence > 0.999 && number("coherence") > 0.999);
        }
    }

    #[test]
    fn noise_is_found_beside_shading_and_edges() {
        // A hash as noise: uniform, ±6, so 6/√3 = 3.46; a step edge and a slope on top.
        let hash = |x: u32, y: u32| {
            let h = (x.wrapping_mul(0x8da6_b343) ^ y.wrapping_mul(0xd816_3841)).wrapping_mul(0x2c1b_3c6d);
            f64::from((h ^ (h >> 15)).wrapping_mul(0x297a_2d39) >> 8) / f64::from(1 << 24) * 12.0 - 6.0
        };
        let value = |x: u32, y: u32| (f64::from(x) * 0.3 + if y > 100 { 60.0 } else { 0.0 } + hash(x, y)) as f32;
        let values = (0..200).flat_map(|y| (0..200).map(move |x| value(x, y))).collect();
        let grey = Grey::from_values(200, 200, values).expect("200 by 200");
        let found = noise(&grey, Point2::new(2.0, 2.0), Point2::new(198.0, 198.0));
        assert!((found / 3.464 - 1.0).abs() < 0.05, "{found}");
    }
}
