//! A strip of the wall from the coronet to the ground, its brightness averaged along the rings.

use crate::pixels::gradient::median;
use crate::pixels::{Grey, Mapping};
use nalgebra::{Point2, Vector2};
use std::f64::consts::PI;

/// Bands side by side across a strip: their disagreement is the noise, tubules and stains included.
pub(super) const BANDS: usize = 10;
/// Columns sampled in a band.
const COLUMNS: usize = 4;
/// Step along the wall, mm.
pub(super) const STEP_MM: f64 = 0.15;
/// Beginning and end of the profile, mm.
const MARGINS_MM: [f64; 2] = [1.0, 1.0];
/// No ring is looked for this near to the coronary line, where hair, its shadow and the pale film of young horn lie, nor this near to the
/// ground, where mud and wear are (mm; chosen on rendered feet).
const CLEAR_MM: [f64; 2] = [8.5, 4.5];
/// Brightness is compared as its logarithm, so that shade and light count alike; this many levels are added so that dark noise does not.
const DARK: f64 = 12.0;
/// Specks of mud and glare beyond so many robust standard deviations from their surroundings are cut to that.
const SPECK: f64 = 5.0;
/// Their surroundings, mm (standard deviation).
const AROUND_MM: f64 = 5.0;

/// The wall between its four landmarks in the plane, mm: shares from toe (0) to heel (1), depths from the coronary line along the wall.
#[derive(Debug, Clone, Copy)]
pub(super) struct Wall {
    /// Coronet and ground at the toe, then at the heel.
    pub(super) corners: [Point2<f64>; 4],
}

impl Wall {
    fn ends(&self, share: f64) -> [Point2<f64>; 2] {
        let [toe_top, toe, heel_top, heel] = self.corners;
        [toe_top + (heel_top - toe_top) * share, toe + (heel - toe) * share]
    }

    /// The place at a share and depth, mm.
    pub(super) fn at(&self, share: f64, depth: f64) -> Point2<f64> {
        let [top, low] = self.ends(share);
        let down = (low - top).try_normalize(1e-9).unwrap_or_else(Vector2::zeros);
        top + down * depth
    }

    /// Length of the wall at a share, mm.
    pub(super) fn length(&self, share: f64) -> f64 {
        let [top, low] = self.ends(share);
        (low - top).norm()
    }

    /// Length across the wall between two shares, half-way down, mm.
    pub(super) fn across(&self, from: f64, to: f64) -> f64 {
        let middle = |s: f64| nalgebra::center(&self.ends(s)[0], &self.ends(s)[1]);
        (middle(to) - middle(from)).norm()
    }
}

/// The log brightness of a strip's bands along the wall.
#[derive(Debug, Clone)]
pub(super) struct Strip {
    /// Share of the strip's middle.
    pub(super) share: f64,
    /// Depth of the first sample, mm.
    pub(super) first: f64,
    /// Distance of each band from the strip's middle, mm, towards the heel.
    pub(super) x: [f64; BANDS],
    values: Vec<[f64; BANDS]>,
}

impl Strip {
    /// Samples the strip between two shares; `None` where it leaves the photo or is shorter than 12 mm.
    pub(super) fn sample(grey: &Grey, map: &dyn Mapping, wall: &Wall, [from, to]: [f64; 2]) -> Option<Self> {
        let middle = (from + to) / 2.0;
        let last = wall.length(from).min(wall.length(to)) - MARGINS_MM[1];
        let n = ((last - MARGINS_MM[0]) / STEP_MM) as usize;
        if n < (12.0 / STEP_MM) as usize {
            return None;
        }
        let width = wall.across(from, to);
        let mut values = vec![[0.0; BANDS]; n];
        for b in 0..BANDS {
            let mut columns = Vec::with_capacity(COLUMNS);
            for c in 0..COLUMNS {
                let t = ((b * COLUMNS + c) as f64 + 0.5) / (BANDS * COLUMNS) as f64;
                let share = from + (to - from) * t;
                let column = (0..n)
                    .map(|i| {
                        let place = wall.at(share, MARGINS_MM[0] + i as f64 * STEP_MM);
                        grey.sample(map.pixel(place)?).map(|v| (v.max(0.0) + DARK).ln())
                    })
                    .collect::<Option<Vec<f64>>>()?;
                columns.push(without_specks(column));
            }
            for (i, row) in values.iter_mut().enumerate() {
                row[b] = columns.iter().map(|c| c[i]).sum::<f64>() / COLUMNS as f64;
            }
        }
        let x = std::array::from_fn(|b| width * ((b as f64 + 0.5) / BANDS as f64 - 0.5));
        Some(Self { share: middle, first: MARGINS_MM[0], x, values })
    }

    /// How much each band looks like the crest of a ridge of standard deviation `sigma` mm at every depth: minus the second derivative of the
    /// smoothed profile, normalised so that a ridge answers most at its own scale (γ = 3/4). Beside it how much it looks like a step, on the
    /// same scale: where a step begins both are equal.
    ///
    /// T. Lindeberg, "Edge detection and ridge detection with automatic scale selection", Int. J. Computer Vision 30 (1998) 117-154.
    pub(super) fn ridges(&self, sigma: f64) -> Ridges {
        let s = sigma / STEP_MM;
        let bell = |t: f64| (-0.5 * t * t).exp() / (2.0 * PI * s).sqrt();
        Ridges {
            first: self.first,
            x: self.x,
            rows: self.filtered(s, |t| (1.0 - t * t) * bell(t) / s),
            steps: self.filtered(s, |t| t * bell(t) / s),
        }
    }

    /// Every band through a filter without mean, given at distances in standard deviations of `s` steps.
    fn filtered(&self, s: f64, filter: impl Fn(f64) -> f64) -> Vec<[f64; BANDS]> {
        let reach = (4.0 * s).ceil() as i64;
        let mut kernel: Vec<f64> = (-reach..=reach).map(|i| filter(i as f64 / s)).collect();
        let mean = kernel.iter().sum::<f64>() / kernel.len() as f64;
        kernel.iter_mut().for_each(|k| *k -= mean);
        let n = self.values.len() as i64;
        let at = |i: i64| &self.values[i.clamp(0, n - 1) as usize];
        (0..n)
            .map(|i| {
                let mut sum = [0.0; BANDS];
                for (k, w) in kernel.iter().enumerate() {
                    let row = at(i + k as i64 - reach);
                    sum.iter_mut().zip(row).for_each(|(s, v)| *s += w * v);
                }
                sum
            })
            .collect()
    }
}

/// A column with its specks cut off.
fn without_specks(mut column: Vec<f64>) -> Vec<f64> {
    let around = smoothed(&column, AROUND_MM / STEP_MM);
    let mut off: Vec<f64> = column.iter().zip(&around).map(|(v, a)| (v - a).abs()).collect();
    let limit = SPECK * median(&mut off).unwrap_or(0.0) / 0.6745;
    column.iter_mut().zip(&around).for_each(|(v, a)| *v = a + (*v - a).clamp(-limit, limit));
    column
}

/// Smoothed by a Gaussian, which is cut and normalised at the ends.
fn smoothed(values: &[f64], sigma: f64) -> Vec<f64> {
    let reach = (3.0 * sigma).ceil() as usize;
    let bell: Vec<f64> = (0..=reach).map(|i| (-0.5 * (i as f64 / sigma).powi(2)).exp()).collect();
    (0..values.len())
        .map(|i| {
            let (low, high) = (i.saturating_sub(reach), (i + reach).min(values.len() - 1));
            let (mut sum, mut weight) = (0.0, 0.0);
            for (k, v) in values.iter().enumerate().take(high + 1).skip(low) {
                let w = bell[k.abs_diff(i)];
                sum += w * v;
                weight += w;
            }
            sum / weight
        })
        .collect()
}

/// The answers of a strip's bands to a ridge filter.
#[derive(Debug, Clone)]
pub(super) struct Ridges {
    first: f64,
    x: [f64; BANDS],
    rows: Vec<[f64; BANDS]>,
    steps: Vec<[f64; BANDS]>,
}

/// How rings run across a strip: a ring `depth` mm below the coronary line at the strip's middle lies `slope + stretch · depth` deeper a
/// millimetre towards the heel.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Slant {
    pub(super) slope: f64,
    pub(super) stretch: f64,
}

impl Slant {
    /// Depth at `x` mm from the strip's middle of what lies at `depth` there.
    pub(super) fn at(&self, depth: f64, x: f64) -> f64 {
        depth + (self.slope + self.stretch * depth) * x
    }
}

/// A strip's answers averaged along the rings.
#[derive(Debug, Clone)]
pub(super) struct Profile {
    /// Depth of the first value, mm.
    pub(super) first: f64,
    /// Mean of the bands.
    pub(super) mean: Vec<f64>,
    /// How much they look like a step.
    pub(super) step: Vec<f64>,
    /// Its standard uncertainty from the bands' scatter.
    pub(super) u: Vec<f64>,
    /// Standard uncertainty of its derivative, per mm.
    pub(super) u_slope: Vec<f64>,
    /// Share of the bands' variance that they have in common: the intraclass correlation of single bands (Shrout and Fleiss 1979, ICC(1,1)).
    pub(super) coherence: f64,
    pub(super) slant: Slant,
}

impl Profile {
    /// Whether rings are looked for at a depth.
    pub(super) fn is_clear(&self, depth: f64) -> bool {
        let last = self.first + (self.mean.len() - 1) as f64 * STEP_MM;
        (CLEAR_MM[0]..=last + MARGINS_MM[1] - CLEAR_MM[1]).contains(&depth)
    }
}

impl Ridges {
    /// The bands' answers at a depth of the strip's middle, along the rings; those that have left the profile are left out.
    fn row<'a>(&'a self, of: &'a [[f64; BANDS]], depth: f64, slant: Slant) -> impl Iterator<Item = f64> + 'a {
        (0..BANDS).filter_map(move |b| {
            let t = (slant.at(depth, self.x[b]) - self.first) / STEP_MM;
            let i = t.floor();
            if i < 0.0 || i as usize + 1 >= of.len() {
                return None;
            }
            let (before, after) = (of[i as usize][b], of[i as usize + 1][b]);
            Some(before + (after - before) * (t - i))
        })
    }

    /// Energy of the mean over the bands, as a share of that of the bands.
    fn agreement(&self, slant: Slant) -> f64 {
        let (mut together, mut each) = (0.0, 0.0);
        // Every other half millimetre is enough to compare slants.
        for i in (0..self.rows.len()).step_by(3) {
            let (mut sum, mut squares, mut n) = (0.0, 0.0, 0.0);
            for v in self.row(&self.rows, self.first + i as f64 * STEP_MM, slant) {
                (sum, squares, n) = (sum + v, squares + v * v, n + 1.0);
            }
            if n > 0.5 * BANDS as f64 {
                together += sum * sum / n;
                each += squares;
            }
        }
        if each > 0.0 { together / each } else { 0.0 }
    }

    /// The slant at which the bands agree best.
    pub(super) fn slant(&self) -> Slant {
        // Up to 29° off the coronary line, and rings that grow apart by a tenth over 10 mm (chosen).
        const SLOPE: f64 = 0.55;
        const STRETCH: f64 = 0.01;
        let best = |around: Slant, slope: f64, stretch: f64, n: i32| {
            let mut found = (around, f64::MIN);
            for i in -n..=n {
                for j in -3..=3 {
                    let s = Slant {
                        slope: around.slope + slope * f64::from(i) / f64::from(n),
                        stretch: around.stretch + stretch * f64::from(j) / 3.0,
                    };
                    let a = self.agreement(s);
                    if a > found.1 {
                        found = (s, a);
                    }
                }
            }
            found.0
        };
        let coarse = best(Slant::default(), SLOPE, STRETCH, 14);
        best(coarse, SLOPE / 14.0, STRETCH / 3.0, 4)
    }

    /// The mean along the rings, with its uncertainty.
    pub(super) fn profile(&self, slant: Slant) -> Profile {
        let n = self.rows.len();
        let depth = |i: usize| self.first + i as f64 * STEP_MM;
        let rows: Vec<Vec<f64>> = (0..n).map(|i| self.row(&self.rows, depth(i), slant).collect()).collect();
        let mean_of = |r: &[f64]| r.iter().sum::<f64>() / r.len().max(1) as f64;
        let error_of = |r: &[f64]| {
            let (m, k) = (mean_of(r), r.len() as f64);
            if k < 0.5 * BANDS as f64 {
                return f64::INFINITY;
            }
            (r.iter().map(|v| (v - m).powi(2)).sum::<f64>() / (k * (k - 1.0))).sqrt()
        };
        let mean: Vec<f64> = rows.iter().map(|r| mean_of(r)).collect();
        let step = (0..n).map(|i| mean_of(&self.row(&self.steps, depth(i), slant).collect::<Vec<_>>())).collect();
        let own: Vec<f64> = rows.iter().map(|r| error_of(r)).collect();
        let slopes: Vec<f64> = (0..n)
            .map(|i| {
                let (a, b) = (&rows[i.saturating_sub(1)], &rows[(i + 1).min(n - 1)]);
                if a.len() != b.len() {
                    return f64::INFINITY;
                }
                error_of(&a.iter().zip(b).map(|(a, b)| (b - a) / (2.0 * STEP_MM)).collect::<Vec<_>>())
            })
            .collect();
        // Intraclass correlation: depths are the targets, bands the raters.
        let clear = |i: &usize| {
            let depth = self.first + *i as f64 * STEP_MM;
            depth >= CLEAR_MM[0] && depth <= self.first + (n - 1) as f64 * STEP_MM + MARGINS_MM[1] - CLEAR_MM[1]
        };
        let whole: Vec<usize> = (0..n).filter(|i| rows[*i].len() == BANDS && clear(i)).collect();
        let k = BANDS as f64;
        let total = mean_of(&whole.iter().map(|i| mean[*i]).collect::<Vec<_>>());
        let m = whole.len().max(2) as f64;
        let between = k * whole.iter().map(|i| (mean[*i] - total).powi(2)).sum::<f64>() / (m - 1.0);
        let within = whole.iter().map(|i| own[*i].powi(2) * k).sum::<f64>() / m;
        let coherence = if between > 0.0 { (between - within) / (between + (k - 1.0) * within) } else { 0.0 };
        Profile { first: self.first, mean, step, u: pooled(own), u_slope: pooled(slopes), coherence, slant }
    }
}

/// Ten values scatter too much to give an uncertainty of their own: never less than the profile's median.
fn pooled(own: Vec<f64>) -> Vec<f64> {
    let mut finite: Vec<f64> = own.iter().copied().filter(|v| v.is_finite()).collect();
    let floor = median(&mut finite).unwrap_or(f64::INFINITY);
    own.into_iter().map(|v| v.max(floor)).collect()
}

#[cfg(test)]
mod tests {
    use super::super::ridge::maxima;
    use super::*;

    /// `fixtures/paths/reference.json`: the courses of a brick wall in a photograph, as scipy finds them (`gaussian_filter1d` of second order,
    /// `find_peaks`, maxima of a cubic spline).
    #[test]
    fn courses_of_bricks_lie_where_a_reference_library_finds_them() {
        let all: serde_json::Value =
            serde_json::from_str(include_str!("../../../../fixtures/paths/reference.json")).expect("JSON");
        let number = |v: &serde_json::Value| v.as_f64().expect("a number");
        let rows = all["brick"]["bands"].as_array().expect("rows");
        let values: Vec<[f64; BANDS]> = rows.iter().map(|r| std::array::from_fn(|b| number(&r[b]))).collect();
        let strip = Strip { share: 0.0, first: 0.0, x: [0.0; BANDS], values };
        for case in all["brick"]["ridges"].as_array().expect("cases") {
            let sigma = number(&case["sigma"]);
            let profile = strip.ridges(sigma * STEP_MM).profile(Slant::default());
            let found: Vec<_> = maxima(&profile).collect();
            let numbers = |of: &str| -> Vec<f64> { case[of].as_array().expect("numbers").iter().map(number).collect() };
            let (places, heights) = (numbers("spline_maxima"), numbers("heights"));
            let mut lower = Vec::new();
            for (at, height) in places.iter().zip(&heights) {
                let off = |c: &super::super::ridge::Crest| (c.depth / STEP_MM - at).abs();
                let nearest = found.iter().min_by(|a, b| off(a).total_cmp(&off(b))).expect("crests");
                // A parabola through three samples against a spline: less than a twentieth of a sample.
                assert!(off(nearest) < 0.05, "{at}: {nearest:?}");
                lower.push(height - nearest.strength);
            }
            // scipy's kernel, cut off at four standard deviations, answers an even profile too: so much higher stands every crest.
            let (least, most) = lower.iter().fold((f64::MAX, f64::MIN), |(a, b), v| (a.min(*v), b.max(*v)));
            let highest = heights.iter().fold(0.0, |m: f64, h| m.max(*h));
            assert!(most - least < 0.02 * highest, "{lower:?} of {highest}");
            assert!(profile.coherence > 0.1, "courses run across the bands: {}", profile.coherence);
        }
    }
}
