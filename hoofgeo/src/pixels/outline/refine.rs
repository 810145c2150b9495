//! Edges to a fraction of a pixel across a path, and the points that stand for them.

use super::curve::{direction, resampled};
use crate::pixels::gradient::median;
use crate::pixels::{EdgeOptions, EdgePoint, Grey, chain, edges_along};
use nalgebra::{Matrix3, Point2, Vector2, Vector3};

/// How far from the path edges are looked for, mm.
pub(super) const REACH_MM: f64 = 0.8;
/// Distance of the places at which they are, mm.
const STATION_MM: f64 = 0.5;
/// The path is smoothed over this, mm, to either side before its normals are taken.
const SMOOTH_MM: f64 = 1.0;
/// An outline bends less from one station to the next: second differences above this are another edge, mm; and the most stations that
/// may bend more (both chosen on rendered feet).
const BEND_MM: f64 = 0.25;
const BENT: f64 = 0.25;
/// A dark rim is narrower than this, mm, and its far side at least this share as strong as its near one (chosen).
const RIM_MM: f64 = 0.8;
const RIM_SHARE: f64 = 0.2;
/// A point stands for the edges this far to either side, mm.
const WINDOW_MM: f64 = 3.0;

/// A stretch of the outline from one held click to the next.
#[derive(Debug, Clone)]
pub(super) struct Stretch {
    points: Vec<Point2<f64>>,
    /// Standard uncertainty of single edges, px; `None` where the stretch stays as drawn.
    scatter: Option<f64>,
}

impl Stretch {
    pub(super) fn drawn(points: Vec<Point2<f64>>) -> Self {
        Self { points, scatter: None }
    }

    pub(super) fn is_traced(&self) -> bool {
        self.scatter.is_some()
    }

    pub(super) fn scatter(&self) -> Option<f64> {
        self.scatter
    }

    pub(super) fn length(&self) -> f64 {
        self.points.windows(2).map(|w| (w[1] - w[0]).norm()).sum()
    }
}

/// The edges across a path; `None` where a fifth of the stations show none, or they do not line up. `rim` gives the inner side (+1 to the
/// right) where the outline is a silhouette.
pub(super) fn refine(
    grey: &Grey,
    path: &[Point2<f64>],
    scale: f64,
    brighter: f64,
    rim: Option<f64>,
    options: &EdgeOptions,
) -> Option<Stretch> {
    let step = (STATION_MM * scale).max(1.5);
    let line = resampled(path, step, SMOOTH_MM * scale);
    if line.len() < 5 {
        return None;
    }
    let span = (SMOOTH_MM * scale / step).round().max(1.0) as usize;
    let all: Vec<Vec<EdgePoint>> = (0..line.len())
        .map(|i| {
            let along = direction(&line, i, span);
            edges_along(grey, line[i], Vector2::new(-along.y, along.x), options)
        })
        .collect();
    let stations: Vec<Vec<EdgePoint>> =
        all.iter().map(|s| s.iter().copied().filter(|e| e.slope * brighter >= 0.0).collect()).collect();
    let found = chain(&stations, 0.3 * scale)?;
    let scatter = scatter_of(&found, scale)?;
    let rim = rim.and_then(|inside| {
        let outer = chain(&beyond(&all, &found, inside, scale), 0.3 * scale)?;
        Some((scatter_of(&outer, scale)?, outer))
    });
    let (scatter, found) = rim.unwrap_or((scatter, found));
    Some(Stretch { points: found.into_iter().map(|e| e.at).collect(), scatter: Some(scatter) })
}

/// Edges of the other polarity close outside of a chain that is brighter inside: the far side of a dark rim.
fn beyond(all: &[Vec<EdgePoint>], chain: &[EdgePoint], inside: f64, scale: f64) -> Vec<Vec<EdgePoint>> {
    let mut inner = chain.iter().peekable();
    all.iter()
        .map(|edges| {
            let Some(main) = inner.next_if(|e| edges.iter().any(|o| o.at == e.at)) else { return Vec::new() };
            let is_rim = |e: &&EdgePoint| {
                let out = (main.offset - e.offset) * inside;
                main.slope * inside > 0.0
                    && e.slope * inside < 0.0
                    && (0.0..RIM_MM * scale).contains(&out)
                    && e.slope.abs() > RIM_SHARE * main.slope.abs()
            };
            edges.iter().filter(is_rim).copied().collect()
        })
        .collect()
}

/// Standard uncertainty of single edges of a chain, px; `None` where it is not smooth.
fn scatter_of(chain: &[EdgePoint], scale: f64) -> Option<f64> {
    let bends: Vec<f64> = chain.windows(3).map(|w| (w[0].offset - 2.0 * w[1].offset + w[2].offset).abs()).collect();
    let bent = bends.iter().filter(|b| **b > BEND_MM * scale).count();
    if bent as f64 > BENT * bends.len() as f64 {
        return None;
    }
    // Second differences of independent errors have √6 of their standard deviation.
    let rough = median(&mut bends.clone()).unwrap_or(0.0) / 0.6745 / 6f64.sqrt();
    let noise = median(&mut chain.iter().map(|e| e.u_px).collect::<Vec<_>>()).unwrap_or(0.0);
    Some(rough.hypot(noise))
}

/// The points of a run's stretches, no farther apart than `spacing` px, each from the edges about it; a stretch that stays as drawn
/// gives its own.
pub(super) fn joined(stretches: &[Stretch], spacing: f64, closed: bool) -> Vec<Point2<f64>> {
    let mut out: Vec<Point2<f64>> = Vec::new();
    let mut i = 0;
    while i < stretches.len() {
        if !stretches[i].is_traced() {
            let inner = if i > 0 && stretches[i - 1].is_traced() { 1 } else { 0 };
            let own = &stretches[i].points;
            // The click at its end belongs to the next stretch.
            let last = if i + 1 < stretches.len() || closed { own.len() - 1 } else { own.len() };
            out.extend(own.get(inner..last).unwrap_or_default());
            i += 1;
            continue;
        }
        let end = (i..stretches.len()).find(|k| !stretches[*k].is_traced()).unwrap_or(stretches.len());
        let row: Vec<Point2<f64>> = stretches[i..end].iter().flat_map(|s| s.points.iter().copied()).collect();
        let whole = closed && i == 0 && end == stretches.len();
        out.extend(thinned(&row, spacing, whole));
        i = end;
    }
    out
}

/// Points along a row of edges at even steps, each the value of the parabola that fits the edges about it best.
fn thinned(row: &[Point2<f64>], spacing: f64, whole: bool) -> Vec<Point2<f64>> {
    let guide = resampled(row, spacing, 0.0);
    let n = guide.len();
    let used = if whole { n - 1 } else { n };
    (0..used)
        .map(|i| {
            let around = |k: isize| {
                let last = n as isize - 1;
                if whole { guide[k.rem_euclid(last) as usize] } else { guide[k.clamp(0, last) as usize] }
            };
            let along = (around(i as isize + 1) - around(i as isize - 1)).try_normalize(1e-9);
            along.and_then(|d| parabola(row, guide[i], d, spacing)).unwrap_or(guide[i])
        })
        .collect()
}

fn parabola(row: &[Point2<f64>], at: Point2<f64>, along: Vector2<f64>, spacing: f64) -> Option<Point2<f64>> {
    let window = WINDOW_MM / super::SPACING_MM * spacing;
    let across = Vector2::new(-along.y, along.x);
    let (mut normal, mut right, mut n) = (Matrix3::zeros(), Vector3::zeros(), 0);
    for p in row {
        let (s, h) = ((p - at).dot(&along), (p - at).dot(&across));
        if s.abs() <= window && h.abs() <= window {
            let a = Vector3::new(1.0, s / window, (s / window).powi(2));
            normal += a * a.transpose();
            right += a * h;
            n += 1;
        }
    }
    let fit = (n >= 5).then(|| normal.lu().solve(&right)).flatten()?;
    // A polygon with its corners on a curve of curvature κ = 2 fit₂/window² is too small by κ h³/12 a side: moved out by κ h²/12 it has the
    // curve's area (0.02 mm on a hoof).
    Some(at + across * (fit[0] - fit[2] * (spacing / window).powi(2) / 6.0))
}
