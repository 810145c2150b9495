//! Follows a comb of lines through the photo, as a phase-locked loop follows a wave.

use super::patch::{Beat, Local, beat};
use super::view::View;
use nalgebra::{DMatrix, DVector, Point2, Vector2};

/// Line distances from one window to the next.
const STRIDE: i32 = 3;
/// Share of the variance that a wave must explain to count.
const LEAST_SHARE: f64 = 0.3;
/// Line distances that may be hidden in one piece.
const LONGEST_GAP: i32 = 24;

/// A place on the comb that was seen.
#[derive(Debug, Clone, Copy)]
struct Stop {
    /// Number of the line, counted from the start.
    number: i32,
    /// Where the line crosses the middle of the band, px.
    at: Point2<f64>,
    /// Direction of the line.
    line: Vector2<f64>,
    /// Length of the band, line distances.
    length: f64,
}

/// A comb as smooth curves over the number of its lines.
#[derive(Debug, Clone)]
pub(super) struct Track {
    /// First and last line that were seen.
    pub ends: [i32; 2],
    /// Coefficients of x and y of the band's middle.
    x: Vec<f64>,
    y: Vec<f64>,
    /// Coefficients of the lines' angle, rad.
    angle: Vec<f64>,
    /// Middle and half of the numbers' range, on which the curves are defined.
    middle: f64,
    half: f64,
    /// Length of the lines, line distances.
    pub length: f64,
    /// Scatter of the band's middle across the comb, px.
    pub scatter_px: f64,
}

impl Track {
    /// A straight comb, from the place of its line `number`; `length` is that of its lines, line distances.
    pub(super) fn straight(at: &Local, number: i32, ends: [i32; 2], length: f64) -> Self {
        let middle = 0.5 * f64::from(ends[0] + ends[1]);
        let half = (0.5 * f64::from(ends[1] - ends[0])).max(1.0);
        let centre = at.centre + at.step * (middle - f64::from(number));
        Self {
            ends,
            x: vec![centre.x, at.step.x * half],
            y: vec![centre.y, at.step.y * half],
            angle: vec![at.line.y.atan2(at.line.x)],
            middle,
            half,
            length,
            scatter_px: 0.0,
        }
    }

    fn at(&self, c: &[f64], k: f64) -> (f64, f64) {
        let t = (k - self.middle) / self.half;
        let value = c.iter().rev().fold(0.0, |s, a| s * t + a);
        let slope = c.iter().enumerate().skip(1).rev().fold(0.0, |s, (i, a)| s * t + a * i as f64);
        (value, slope / self.half)
    }

    /// Whether a seed lies on a comb that was followed already, with about its distance of lines.
    pub(super) fn covers(&self, reach: f64, seed: &Local) -> bool {
        let k = self.number_of(seed.centre).round();
        if k < f64::from(self.ends[0]) - 4.0 || k > f64::from(self.ends[1]) + 4.0 {
            return false;
        }
        let local = self.local(k);
        let along = self.off(k, seed.centre).1;
        let normal = Vector2::new(-local.line.y, local.line.x);
        let across = local.step.dot(&normal).abs();
        let ratio = seed.period() / across;
        along.abs() < (0.5 * self.length + reach) * local.period() && (0.8..1.25).contains(&ratio)
    }

    /// The gaps between the lines, as lines.
    pub(super) fn between(&self) -> Self {
        Self { middle: self.middle - 0.5, ..self.clone() }
    }

    /// The comb at line `k`.
    pub(super) fn local(&self, k: f64) -> Local {
        let ((x, dx), (y, dy)) = (self.at(&self.x, k), self.at(&self.y, k));
        let (s, c) = self.at(&self.angle, k).0.sin_cos();
        Local { centre: Point2::new(x, y), step: Vector2::new(dx, dy), line: Vector2::new(c, s) }
    }

    /// The number of the line nearest to a point, with its fraction, as far as 30 lines beyond the ends.
    pub(super) fn number_of(&self, p: Point2<f64>) -> f64 {
        let mut best = (f64::INFINITY, 0.0);
        for k in self.ends[0] - 30..=self.ends[1] + 30 {
            let local = self.local(f64::from(k));
            // Along the line, a mark may lie anywhere: only the distance from the line counts.
            let d = p - local.centre;
            let off = across(&local, d);
            if off.abs() < best.0 {
                best = (off.abs(), f64::from(k) + off);
            }
        }
        best.1
    }

    /// How far a point is from line `k` along the comb (line distances), and from the band's middle along the line (px).
    pub(super) fn off(&self, k: f64, p: Point2<f64>) -> (f64, f64) {
        let local = self.local(k);
        let d = p - local.centre;
        let off = across(&local, d);
        (off, (d - local.step * off).dot(&local.line))
    }
}

/// Line distances along the comb at which the line through `centre + d` crosses it.
fn across(local: &Local, d: Vector2<f64>) -> f64 {
    let normal = Vector2::new(-local.line.y, local.line.x);
    d.dot(&normal) / local.step.dot(&normal)
}

/// Follows the comb both ways from a start. `None` where too little of it is seen.
pub(super) fn trace(grey: &View, start: &Local) -> Option<Track> {
    let first = settle(grey, start)?;
    let mut stops = vec![Stop { number: 0, at: first.0.centre, line: first.0.line, length: first.1 }];
    for way in [1, -1] {
        follow(grey, first.0, first.1, way, &mut stops);
    }
    stops.sort_by_key(|s| s.number);
    let seen = stops.last()?.number - stops.first()?.number;
    if stops.len() < 4 || seen < 10 {
        return None;
    }
    fit(&stops)
}

/// Finds phase, lean and band at the start.
fn settle(grey: &View, start: &Local) -> Option<(Local, f64)> {
    let mut at = *start;
    let mut length = 0.0;
    for _ in 0..3 {
        let b = beat(grey, &at, [-6.0, 6.0])?;
        if b.share < LEAST_SHARE {
            return None;
        }
        at = corrected(&at, &b, 1.0);
        length = b.band[1] - b.band[0];
    }
    ((0.6..12.0).contains(&length)).then_some((at, length))
}

/// The place moved onto the line at the band's middle, its line direction corrected by a share of what was seen.
fn corrected(at: &Local, b: &Beat, share: f64) -> Local {
    let middle = 0.5 * (b.band[0] + b.band[1]);
    let line = (at.line * at.period() + at.step * (b.lean * share)).normalize();
    Local { centre: at.centre + at.line * (middle * at.period()) + at.step * b.offset, step: at.step, line }
}

fn follow(grey: &View, start: Local, length: f64, way: i32, stops: &mut Vec<Stop>) {
    let mut at = start;
    let (mut number, mut since, mut usual) = (0, 0, length);
    let (mut last, mut last_number) = (start.centre, 0);
    loop {
        number += way * STRIDE;
        at.centre += at.step * f64::from(way * STRIDE);
        // The band may drift by half its length or one line distance from window to window.
        let reach = (0.5 * usual + 1.2).min(6.5);
        let found = beat(grey, &at, [-reach, reach]).filter(|b| {
            b.share > LEAST_SHARE
                && b.offset.abs() < 0.3
                && (b.band[1] - b.band[0]) < 2.0 * usual + 0.5
                && (b.band[1] - b.band[0]) > 0.4 * usual
        });
        let Some(b) = found else {
            since += STRIDE;
            if since > LONGEST_GAP {
                return;
            }
            continue;
        };
        let new = corrected(&at, &b, 0.5);
        let step = (new.centre - last) / f64::from(number - last_number);
        // The way to the next line follows what was seen, slowly in one window and faster after a gap.
        let gain = if since > 0 { 0.6 } else { 0.35 };
        at = Local { step: at.step.lerp(&step, gain), ..new };
        usual = 0.8 * usual + 0.2 * (b.band[1] - b.band[0]);
        stops.push(Stop { number, at: new.centre, line: new.line, length: b.band[1] - b.band[0] });
        (last, last_number, since) = (new.centre, number, 0);
        if stops.len() > 4000 {
            return;
        }
    }
}

/// Smooth curves through the stops, without those that stand off.
fn fit(stops: &[Stop]) -> Option<Track> {
    let ends = [stops.first()?.number, stops.last()?.number];
    let middle = 0.5 * f64::from(ends[0] + ends[1]);
    let half = (0.5 * f64::from(ends[1] - ends[0])).max(1.0);
    let degree = if stops.len() >= 12 {
        4
    } else if stops.len() >= 6 {
        2
    } else {
        1
    };
    let reference = stops[stops.len() / 2].line;
    let mut keep: Vec<&Stop> = stops.iter().collect();
    for _ in 0..5 {
        let t: Vec<f64> = keep.iter().map(|s| (f64::from(s.number) - middle) / half).collect();
        let of = |f: &dyn Fn(&Stop) -> f64, degree: usize| {
            polynomial(&t, &keep.iter().map(|s| f(s)).collect::<Vec<_>>(), degree)
        };
        let x = of(&|s| s.at.x, degree)?;
        let y = of(&|s| s.at.y, degree)?;
        let angle = of(
            &|s| {
                reference.y.atan2(reference.x)
                    + (reference.x * s.line.y - reference.y * s.line.x).atan2(reference.dot(&s.line))
            },
            degree.min(2),
        )?;
        let mut lengths: Vec<f64> = keep.iter().map(|s| s.length).collect();
        lengths.sort_by(f64::total_cmp);
        let mut track = Track { ends, x, y, angle, middle, half, length: lengths[lengths.len() / 2], scatter_px: 0.0 };
        let offs: Vec<(f64, f64)> = keep.iter().map(|s| track.off(f64::from(s.number), s.at)).collect();
        let (along, over) = (spread(offs.iter().map(|o| o.0)), spread(offs.iter().map(|o| o.1)));
        track.scatter_px = over;
        let before = keep.len();
        let good: Vec<&Stop> = keep
            .iter()
            .zip(&offs)
            .filter(|(_, o)| o.0.abs() <= (4.0 * along).max(0.05) && o.1.abs() <= (4.0 * over).max(0.5))
            .map(|(s, _)| *s)
            .collect();
        if good.len() == before || good.len() < 4 {
            return Some(track);
        }
        keep = good;
        if keep.len() * 2 < stops.len() {
            return None;
        }
        if let (Some(a), Some(b)) = (keep.first(), keep.last())
            && [a.number, b.number] != ends
        {
            let kept: Vec<Stop> = keep.iter().map(|s| **s).collect();
            return fit(&kept);
        }
    }
    None
}

/// Standard deviation by the median of absolute values.
pub(super) fn spread(values: impl Iterator<Item = f64>) -> f64 {
    let mut v: Vec<f64> = values.map(f64::abs).collect();
    if v.is_empty() {
        return 0.0;
    }
    v.sort_by(f64::total_cmp);
    1.4826 * v[v.len() / 2]
}

/// Least-squares polynomial in `t`, lowest power first.
fn polynomial(t: &[f64], y: &[f64], degree: usize) -> Option<Vec<f64>> {
    let a = DMatrix::from_fn(t.len(), degree + 1, |i, j| t[i].powi(j as i32));
    let b = DVector::from_column_slice(y);
    let solved = a.svd(true, true).solve(&b, 1e-12).ok()?;
    Some(solved.iter().copied().collect())
}
