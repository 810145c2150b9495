//! The direction along which lines of brightness stay together.
//!
//! A tubule is bright or dark over its whole length, while rings, mud and noise come out even in the mean of a line along it. For
//! a direction, its turn across the region (fan) and its turn along it (bend), the samples of the region are added up in narrow
//! bins along the lines that these describe, window by window; the power of the sums is greatest where the lines follow the
//! tubules. This is the Radon transform of the region, looked at where its profile is roughest (as in directional Radon
//! analysis: K. Jafari-Khouzani and H. Soltanian-Zadeh, "Radon transform orientation estimation for rotation invariant
//! texture analysis", IEEE Trans. PAMI 27 (2005) 1004-1008, from memory), with curved lines in its place.
//!
//! Each sample's product with itself is left out, so that noise adds no power in any direction.

use super::super::Grey;
use super::super::gradient::{kernels, median};
use super::super::mapping::{Mapping, contains};
use super::BROAD_MM;
use nalgebra::{Matrix3, Point2, SymmetricEigen, Vector2, Vector3};

/// Scale at which the brightness is seen, mm; not below 0.7 px.
const FINE_MM: f64 = 0.1;
/// Width of a bin across the lines, mm.
const BIN_MM: f64 = 0.1;
/// Lines are added up over about this length, mm: most tubules stay visible over it, and rings come out even (chosen: 8 to 12 mm
/// do equally well on rendered feet, 20 mm worse).
const WINDOW_MM: f64 = 10.0;
/// Brightness counts in units of its strength about it, over this scale, mm: a bright patch says no more than a dim one.
const STRENGTH_MM: f64 = 1.5;
/// It hardly counts for more than this many of those units, so that no edge of mud or of a shadow decides (chosen).
const CAP: f64 = 1.5;
/// Strength below this share of the region's middle one is not made up for: there is but noise.
const WEAK: f32 = 0.25;
/// Directions tried about the rough one: half width and step.
const SEARCH: (f64, f64) = (7.0 * DEG, 0.5 * DEG);
/// Directions that are rivals: so many degrees off to either side, where they are not steeper than this against the one expected.
const RIVALS: [f64; 13] = [12.0, 15.0, 18.0, 21.0, 24.0, 27.0, 30.0, 33.0, 36.0, 39.0, 42.0, 45.0, 48.0];
const STEEPEST: f64 = 2.0;
/// The power along the lines must be so many times that along any rival (chosen: tubules of rendered walls have 1.5 to 20, below 2 with
/// large errors; grain without direction has 0.4 to 1.3).
const DISTINCT: f64 = 2.3;
/// Tubules of a real wall fan by less than this, rad/mm (chosen): what fans more is something else.
const MOST_FAN: f64 = DEG;
/// How far to either side of the region slanting lines are followed, as a share of its length.
const ASIDE: f64 = 0.6;
/// Steps of the derivatives: so much at a quarter of the region's sides; the power's peak is some 2° wide.
const STEP: f64 = 0.35 * DEG;
/// Width of the strips that say how well the direction is known, mm.
const STRIP_MM: f64 = 2.0;
/// Fewest samples of a region, and of a bin.
const LEAST: (usize, f32) = (2000, 3.0);
const DEG: f64 = std::f64::consts::PI / 180.0;

/// What the lines of a region say.
pub(super) struct Lines {
    /// Middle of the region, in the plane, mm.
    pub(super) at: Point2<f64>,
    /// Direction there, rad from the one expected.
    pub(super) angle: f64,
    /// Its standard uncertainty by the strips, rad.
    pub(super) u: f64,
    /// Its turn per mm across the lines, rad/mm.
    pub(super) fan: f64,
}

/// Looks about the direction `rough`, rad from `expected`, and its turn `fan` per mm across; `None` where no direction stands out there.
pub(super) fn lines(
    grey: &Grey,
    map: &dyn Mapping,
    region: &[Point2<f64>],
    expected: Vector2<f64>,
    rough: f64,
    fan: f64,
) -> Option<Lines> {
    let samples = Samples::new(grey, map, region, expected)?;
    let start = (-rough).tan();
    let tried = (SEARCH.0 / SEARCH.1).round() as i32;
    let slopes: Vec<f64> = (-tried..=tried).map(|i| start + f64::from(i) * SEARCH.1).collect();
    // Cells of a noisy wall give a fan that is none: lines side by side are tried as well.
    let fans = [0.0, -fan * (1.0 + start * start)];
    let power = |slope: f64, fan: f64| samples.power(&Vector3::new(slope, fan, 0.0), 3);
    let tries = fans.iter().flat_map(|fan| slopes.iter().map(|slope| (*slope, *fan, power(*slope, *fan))));
    let best = tries.fold((start, 0.0, f64::MIN), |best, here| if here.2 > best.2 { here } else { best });
    let peak = samples.climb(Vector3::new(best.0, best.1, 0.0))?;
    // At the rim of what was tried, the top lies elsewhere.
    if (peak.at.x - start).abs() > SEARCH.0 {
        return None;
    }
    let slope = peak.at.x;
    // Grain of no one direction stays together along some line or other, but as well along another.
    let rivals = [-1.0, 1.0].iter().flat_map(|side| RIVALS.map(|deg| (slope.atan() + side * deg * DEG).tan()));
    let rival =
        rivals.filter(|s| s.abs() < STEEPEST).map(|s| power(s, 0.0).max(power(s, peak.at.y))).fold(0.0, f64::max);
    if peak.at.y.abs() > MOST_FAN || power(slope, peak.at.y) < DISTINCT * rival {
        return None;
    }
    let per_slope = 1.0 / (1.0 + slope * slope);
    Some(Lines {
        at: samples.middle,
        angle: -slope.atan(),
        u: peak.u * per_slope,
        // A millimetre across lines that slant is more than one of s.
        fan: -peak.at.y * per_slope.sqrt(),
    })
}

/// A region's brightness at places of the plane: across and along the direction expected, mm from the region's middle.
struct Samples {
    middle: Point2<f64>,
    /// Across, along, brightness.
    all: Vec<[f32; 3]>,
    low: Vector2<f64>,
    high: Vector2<f64>,
}

/// The top of the power.
struct Peak {
    /// Slope against the direction expected, its turn across and along.
    at: Vector3<f64>,
    /// Standard uncertainty of the slope.
    u: f64,
}

impl Samples {
    fn new(grey: &Grey, map: &dyn Mapping, region: &[Point2<f64>], up: Vector2<f64>) -> Option<Self> {
        let middle = Point2::from(region.iter().map(|p| p.coords).sum::<Vector2<f64>>() / region.len() as f64);
        let magnification = map.px_per_mm(middle)?;
        let raster = Raster::new(grey, region, magnification);
        let (values, strength) = raster.values(grey, magnification)?;
        let place = raster.places(map)?;
        let middle = map.place(middle)?;
        let across = Vector2::new(up.y, -up.x);
        let mut all = Vec::new();
        let (mut low, mut high) = (Vector2::repeat(f64::MAX), Vector2::repeat(f64::MIN));
        let mut strengths = Vec::new();
        for (r, c) in (0..raster.rows).flat_map(|r| (0..raster.columns).map(move |c| (r, c))) {
            if contains(region, raster.pixel(c as f64, r as f64)) {
                let d = place(c, r) - middle;
                let d = Vector2::new(across.dot(&d), up.dot(&d));
                (low, high) = (low.inf(&d), high.sup(&d));
                let i = r * raster.columns + c;
                all.push([d.x as f32, d.y as f32, values[i]]);
                strengths.push(strength.values()[i]);
            }
        }
        if all.len() < LEAST.0 {
            return None;
        }
        let mut sorted: Vec<f64> = strengths.iter().map(|s| f64::from(*s)).collect();
        let least = WEAK * median(&mut sorted)? as f32;
        if least <= 0.0 {
            return None;
        }
        for (sample, strength) in all.iter_mut().zip(strengths) {
            let t = sample[2] / (CAP as f32 * strength.max(least).sqrt());
            sample[2] = t / (1.0 + t * t).sqrt();
        }
        Some(Self { middle, all, low, high })
    }

    /// The power of the sums along the lines, strip by strip across them: the line through (s, 0) is
    /// x = s + (slope + fan s) y + bend y²/2. One in `every` samples counts.
    fn powers(&self, p: &Vector3<f64>, every: usize) -> Vec<f64> {
        // Slanting lines leave the region's box to either side.
        let aside = ASIDE * (self.high.y - self.low.y);
        let (from, to) = (self.low.x - aside, self.high.x + aside);
        let length = self.high.y - self.low.y;
        let windows = (length / WINDOW_MM).round().max(1.0);
        let bins = ((to - from) / BIN_MM) as usize + 2;
        let mut sums = vec![[0f32; 3]; bins * windows as usize];
        let [slope, fan, bend] = [p.x as f32, p.y as f32, (p.z / 2.0) as f32];
        let (per_bin, start) = ((1.0 / BIN_MM) as f32, from as f32);
        let (per_window, first) = ((0.9999 * windows / length) as f32, self.low.y as f32);
        for [x, y, v] in self.all.iter().step_by(every) {
            let s = (x - slope * y - bend * y * y) / (1.0 + fan * y);
            let place = (s - start) * per_bin;
            if place >= 0.0 && place < (bins - 1) as f32 {
                let (bin, share) = (place as usize, place.fract());
                let i = ((y - first) * per_window) as usize * bins + bin;
                for (sum, w) in sums[i..i + 2].iter_mut().zip([1.0 - share, share]) {
                    let part = w * v;
                    *sum = [sum[0] + part, sum[1] + w, sum[2] + part * part];
                }
            }
        }
        let mut strips = vec![0.0; ((bins as f64 * BIN_MM) / STRIP_MM) as usize + 1];
        for (i, [sum, n, own]) in sums.iter().enumerate() {
            if *n > LEAST.1 {
                strips[((i % bins) as f64 * BIN_MM / STRIP_MM) as usize] += f64::from((sum * sum - own) / n);
            }
        }
        strips
    }

    fn power(&self, p: &Vector3<f64>, every: usize) -> f64 {
        self.powers(p, every).iter().sum()
    }

    /// From a start to the top by Newton's method on finite differences; `None` where there is none near.
    fn climb(&self, start: Vector3<f64>) -> Option<Peak> {
        let quarter = (self.high - self.low) / 4.0;
        let steps = Vector3::new(STEP, STEP / quarter.x, STEP / quarter.y);
        let mut at = start;
        let mut here = self.power(&at, 1);
        for _ in 0..8 {
            let near = Near::new(self, &at, &steps, here);
            let mut step = near.uphill();
            let longest = step.amax();
            if longest > 2.0 {
                step *= 2.0 / longest;
            }
            let mut moved = false;
            for _ in 0..4 {
                let next = at + step.component_mul(&steps);
                let there = self.power(&next, 1);
                if there >= here {
                    (at, here, moved) = (next, there, true);
                    break;
                }
                step *= 0.5;
            }
            if !moved || step.amax() < 0.03 {
                break;
            }
        }
        let near = Near::new(self, &at, &steps, here);
        // Each strip pulls its own way; how far they would pull the top by chance is the sandwich estimate of its covariance
        // (P. J. Huber, "The behavior of maximum likelihood estimates under nonstandard conditions", 5th Berkeley Symposium
        // (1967) 221-233).
        if here <= 0.0 || (-near.curvature).cholesky().is_none() {
            return None;
        }
        let back = near.curvature.try_inverse()?;
        let pulls: Vec<&Vector3<f64>> = near.pulls.iter().filter(|g| g.amax() > 0.0).collect();
        let m = pulls.len() as f64;
        if m < 3.0 {
            return None;
        }
        let sum: Matrix3<f64> = pulls.iter().map(|g| **g * g.transpose()).sum();
        let covariance = back * sum * back * (m / (m - 1.0));
        Some(Peak { at, u: covariance[(0, 0)].max(0.0).sqrt() * steps.x })
    }
}

/// The power about a place, in steps.
struct Near {
    /// The gradient of each strip.
    pulls: Vec<Vector3<f64>>,
    curvature: Matrix3<f64>,
}

impl Near {
    fn new(samples: &Samples, at: &Vector3<f64>, steps: &Vector3<f64>, here: f64) -> Self {
        let step = |i: usize, by: f64| {
            let mut d = Vector3::zeros();
            d[i] = by * steps[i];
            d
        };
        let mut pulls = Vec::new();
        let mut curvature = Matrix3::zeros();
        for i in 0..3 {
            let (up, down) = (samples.powers(&(at + step(i, 1.0)), 1), samples.powers(&(at + step(i, -1.0)), 1));
            pulls.resize(up.len(), Vector3::zeros());
            for (pull, (u, d)) in pulls.iter_mut().zip(up.iter().zip(&down)) {
                pull[i] = (u - d) / 2.0;
            }
            curvature[(i, i)] = up.iter().sum::<f64>() + down.iter().sum::<f64>() - 2.0 * here;
        }
        for (i, j) in [(0, 1), (0, 2), (1, 2)] {
            let corner = |a: f64, b: f64| samples.power(&(at + step(i, a) + step(j, b)), 1);
            let twist = (corner(1.0, 1.0) - corner(1.0, -1.0) - corner(-1.0, 1.0) + corner(-1.0, -1.0)) / 4.0;
            (curvature[(i, j)], curvature[(j, i)]) = (twist, twist);
        }
        Self { pulls, curvature }
    }

    /// Newton's step, in steps; along a direction that bends upwards, or hardly at all, still uphill and not far.
    fn uphill(&self) -> Vector3<f64> {
        let gradient: Vector3<f64> = self.pulls.iter().sum();
        let own = SymmetricEigen::new(self.curvature);
        let least = 0.02 * own.eigenvalues.amax();
        let along = |(v, l): (nalgebra::VectorView3<'_, f64>, &f64)| v * (v.dot(&gradient) / l.abs().max(least));
        if least > 0.0 { own.eigenvectors.column_iter().zip(&own.eigenvalues).map(along).sum() } else { gradient * 0.0 }
    }
}

/// A grid over a region's box and a margin, at steps of whole pixels.
struct Raster {
    low: [i64; 2],
    step: i64,
    columns: usize,
    rows: usize,
}

impl Raster {
    fn new(grey: &Grey, region: &[Point2<f64>], magnification: f64) -> Self {
        let (mut low, mut high) = (region[0], region[0]);
        for p in region {
            (low, high) = (low.inf(p), high.sup(p));
        }
        // Beyond it the filters see nothing of the region.
        let margin = 3.0 * BROAD_MM * magnification;
        let size = [grey.width(), grey.height()].map(f64::from);
        let low = [0, 1].map(|k| (low[k] - margin).clamp(0.0, size[k]).floor() as i64);
        let high = [0, 1].map(|k| (high[k] + margin).clamp(0.0, size[k]).ceil() as i64);
        // Nothing finer than the fine scale is left to see.
        let step = ((FINE_MM * magnification) as i64).max(1);
        let [columns, rows] = [0, 1].map(|k| (((high[k] - low[k]).max(0) + step - 1) / step) as usize);
        Self { low, step, columns, rows }
    }

    /// Pixel place of a column and row.
    fn pixel(&self, column: f64, row: f64) -> Point2<f64> {
        let at = |i: f64, low: i64| low as f64 + i * self.step as f64 + 0.5;
        Point2::new(at(column, self.low[0]), at(row, self.low[1]))
    }

    /// Brightness between the fine and the broad scale, and its mean square about each place.
    fn values(&self, grey: &Grey, magnification: f64) -> Option<(Vec<f32>, Grey)> {
        let sigma = (FINE_MM * magnification).max(0.7);
        let fine = self.fine(grey, &kernels(sigma).0);
        let per_step = |mm: f64| mm * magnification / self.step as f64;
        let rest = (per_step(BROAD_MM).powi(2) - (sigma / self.step as f64).powi(2)).max(1.0).sqrt();
        let broad = self.smoothed(fine.clone(), rest)?;
        let values: Vec<f32> = fine.iter().zip(broad.values()).map(|(f, b)| f - b).collect();
        let squares = values.iter().map(|v| v * v).collect();
        let strength = self.smoothed(squares, per_step(STRENGTH_MM))?;
        Some((values, strength))
    }

    /// The photo smoothed by a kernel, on the grid.
    fn fine(&self, grey: &Grey, kernel: &[f64]) -> Vec<f32> {
        let reach = (kernel.len() / 2) as i64;
        let height = self.rows as i64 * self.step + 2 * reach;
        let mut across = vec![0f32; self.columns * height as usize];
        for (r, line) in across.chunks_exact_mut(self.columns.max(1)).enumerate() {
            for (c, out) in line.iter_mut().enumerate() {
                let left = self.low[0] + c as i64 * self.step - reach;
                let row = self.low[1] + r as i64 - reach;
                let sum: f64 = kernel.iter().enumerate().map(|(k, w)| w * grey.at(left + k as i64, row)).sum();
                *out = sum as f32;
            }
        }
        let mut all = vec![0f32; self.columns * self.rows];
        for (r, line) in all.chunks_exact_mut(self.columns.max(1)).enumerate() {
            for (k, w) in kernel.iter().enumerate() {
                let from = (r * self.step as usize + k) * self.columns;
                line.iter_mut().zip(&across[from..]).for_each(|(o, v)| *o += *w as f32 * v);
            }
        }
        all
    }

    /// Values of the grid smoothed by a Gaussian, in steps of the grid; beyond its rim they go on as at the rim.
    fn smoothed(&self, values: Vec<f32>, sigma: f64) -> Option<Grey> {
        Some(Grey::from_values(self.columns as u32, self.rows as u32, values)?.smoothed(sigma as f32))
    }

    /// Places of the grid in the plane: exact at every sixteenth column and row, linear between (to 1e-4 mm at a metre).
    fn places(&self, map: &dyn Mapping) -> Option<impl Fn(usize, usize) -> Point2<f64>> {
        const EVERY: usize = 16;
        let (across, down) = (self.columns / EVERY + 2, self.rows / EVERY + 2);
        let nodes: Vec<Point2<f64>> = (0..across * down)
            .map(|i| map.place(self.pixel((i % across * EVERY) as f64, (i / across * EVERY) as f64)))
            .collect::<Option<_>>()?;
        Some(move |c: usize, r: usize| {
            let (i, s, t) =
                (r / EVERY * across + c / EVERY, (c % EVERY) as f64 / EVERY as f64, (r % EVERY) as f64 / EVERY as f64);
            let (upper, lower) = (nodes[i].lerp(&nodes[i + 1], s), nodes[i + across].lerp(&nodes[i + across + 1], s));
            upper.lerp(&lower, t)
        })
    }
}
