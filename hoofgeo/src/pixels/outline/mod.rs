//! From a few clicks to the whole outline of wall, white line or frog.
//!
//! The steps: a smooth curve through the clicks, corridors about it, in each the path of least cost along edges from click to click
//! (`cost.rs`, `path.rs`: intelligent scissors), then edges to a fraction of a pixel across that path, chained and smoothed
//! (`refine.rs`). Where a stretch shows no edge, or one that is not smooth, the curve through the clicks stands for it; where much of the
//! outline does, all of it is refused.

mod cost;
mod curve;
mod path;
mod read;
mod refine;

pub use path::{Path, least_cost_path};
pub(super) use read::read_outlines;

use super::gradient::noise;
use super::{EdgeOptions, Grey, Mapping, edges_along};
use cost::EdgeCost;
use curve::{direction, distance_to, doubled_area, piece};
use nalgebra::{Point2, Vector2};
use refine::{Stretch, refine};
use std::fmt;

/// Half width of the corridor, mm: how far a click is off, and more where clicks are far apart and the curve must guess (chosen).
const REACH_MM: f64 = 1.5;
const REACH_SHARE: f64 = 0.08;
const REACH_MOST_MM: f64 = 5.0;
/// Clicks nearer to each other than this do not each hold the path, mm (chosen: their own errors would bend it, or lead a stretch on to another
/// edge; beside a groove there are several).
const HOLD_MM: f64 = 25.0;
const HOLD_GROOVE_MM: f64 = 50.0;
/// How far a click that holds the path may be moved to its edge first, mm, and how far it is expected to be off.
const CLICK_MM: [f64; 2] = [1.5, 0.8];
/// Scales of the derivatives, mm; the coarser one where the finer finds no smooth edge.
const SIGMAS_MM: [f64; 2] = [0.15, 0.45];
/// The edge is brighter on one side all round where this share of its strength is (chosen).
const ONE_SIDED: f64 = 0.75;
/// Least share of the length that is meant to follow an edge and does (chosen).
const TRACED: f64 = 0.6;
/// Points of the traced outline lie no farther apart, mm: a 120 mm hoof loses 0.1 % of its area to the chords.
const SPACING_MM: f64 = 4.0;

/// What an outline is the edge of: which of several edges beside each other is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum OutlineEdge {
    /// The strongest smooth one.
    #[default]
    Plain,
    /// The outermost one, where the thing ends before what lies behind it: a rim that is darker than either, where the surface rounds off,
    /// is its own.
    Silhouette,
    /// The rim of a groove outside, darker than the inside; where there is no groove no edge is sought.
    Groove,
}

/// What became of the outline between one click and the next that holds the path.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StretchKind {
    /// It follows an edge.
    Traced,
    /// It was not meant to: across the heels there is no edge.
    Across,
    /// No edge was found; it follows the smooth curve through the clicks.
    NoEdge,
}

/// A traced outline.
#[derive(Debug, Clone, PartialEq)]
pub struct TracedOutline {
    /// Its points, px, closed, in the order of the clicks.
    pub points: Vec<Point2<f64>>,
    /// Standard uncertainty of a traced point across the edge, mm: the picture's noise and how much neighbouring edges scatter. Not
    /// in it: whether the edge is the right one, see [`LineInfo::u_mm`](crate::landmark::LineInfo::u_mm).
    pub u_mm: f64,
    /// Share of the clicked outline's length that follows an edge, of what is meant to.
    pub traced: f64,
    /// The stretches from click to click that hold the path, and their lengths, mm.
    pub stretches: Vec<(StretchKind, f64)>,
    /// How far the farthest point lies from the clicked polygon, mm.
    pub farthest_mm: f64,
    /// How far a point may lie from it at most, mm.
    pub limit_mm: f64,
    /// Which side is brighter where that is the same all round: the inside (`true`) or the outside.
    pub bright_inside: Option<bool>,
}

impl fmt::Display for TracedOutline {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "traced: {:.0} % of it on an edge, {} points, {:.1} mm from the clicked polygon at most, ± {:.2} mm across",
            100.0 * self.traced,
            self.points.len(),
            self.farthest_mm,
            2.0 * self.u_mm
        )
    }
}

/// Why an outline was not traced.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NotTraced {
    /// Fewer than four clicks, or no area.
    TooFewClicks,
    /// The outline lies outside the photo or the mapping.
    OutOfSight,
    /// So many per cent of it show a smooth edge near the clicks, too few.
    NoEdge(f64),
}

impl fmt::Display for NotTraced {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooFewClicks => {
                f.write_str("fewer than four clicks: click the outline at toe, quarters and heels at least")
            }
            Self::OutOfSight => f.write_str("the clicked outline leaves the photo"),
            Self::NoEdge(percent) => write!(
                f,
                "only {percent:.0} % of it show a smooth edge near the clicks: brush the sole clean, light it evenly, or click more points"
            ),
        }
    }
}

/// Traces the closed outline that `clicks` (px, in order) run along, along the edge that `edge` says. `across` says which sides of the clicked
/// polygon, from a click to the next, follow no edge, such as the one between the heels.
///
/// No point lies farther from the clicked polygon than [`TracedOutline::limit_mm`].
///
/// # Errors
/// [`NotTraced`] where too little of the outline shows a smooth edge: a wrong outline is worse than the clicks.
pub fn trace_outline(
    grey: &Grey,
    map: &dyn Mapping,
    clicks: &[Point2<f64>],
    across: &[usize],
    edge: OutlineEdge,
) -> Result<TracedOutline, NotTraced> {
    let n = clicks.len();
    if n < 4 || doubled_area(clicks).abs() < 1.0 {
        return Err(NotTraced::TooFewClicks);
    }
    let middle = Point2::from(clicks.iter().map(|p| p.coords).sum::<Vector2<f64>>() / n as f64);
    let scale = map.px_per_mm(middle).ok_or(NotTraced::OutOfSight)?;
    let (low, high) = clicks.iter().fold((clicks[0], clicks[0]), |(l, h), p| (l.inf(p), h.sup(p)));
    if low.x < 0.0 || low.y < 0.0 || high.x > f64::from(grey.width()) || high.y > f64::from(grey.height()) {
        return Err(NotTraced::OutOfSight);
    }
    let tracer = Tracer { grey, scale, inside: doubled_area(clicks).signum(), noise: noise(grey, low, high), edge };
    let hold = if edge == OutlineEdge::Groove { HOLD_GROOVE_MM } else { HOLD_MM };
    let runs = runs(clicks, across);
    let curves: Vec<Run> = runs.iter().map(|r| Run::new(clicks, r, scale, hold)).collect();
    let brighter = if edge == OutlineEdge::Groove { tracer.inside } else { tracer.brighter_side(&curves) };
    let (mut points, mut stretches) = (Vec::new(), Vec::new());
    let (mut scatter, mut limit) = (Vec::new(), 0f64);
    for run in &curves {
        let mut traced: Vec<Stretch> = Vec::new();
        for hold in run.holds.windows(2) {
            let (a, b) = (run.at[hold[0]], run.at[hold[1]]);
            let curve = &run.curve[a..=b];
            let gap = (hold[0]..hold[1]).map(|k| run.gap(k)).fold(0.0, f64::max) / scale;
            let reach = (REACH_MM + REACH_SHARE * gap).min(REACH_MOST_MM);
            let away = curve.iter().map(|p| distance_to(clicks, *p)).fold(0.0, f64::max) / scale;
            limit = limit.max(away + reach + refine::REACH_MM);
            let stretch = SIGMAS_MM
                .into_iter()
                .find_map(|mm| tracer.stretch(curve, reach * scale, brighter, mm))
                .unwrap_or_else(|| Stretch::drawn(run.drawn(hold[0], hold[1], SPACING_MM * scale)));
            traced.push(stretch);
        }
        stretches.extend(
            traced
                .iter()
                .map(|s| (if s.is_traced() { StretchKind::Traced } else { StretchKind::NoEdge }, s.length() / scale)),
        );
        scatter.extend(traced.iter().filter_map(Stretch::scatter));
        let run_points = refine::joined(&traced, SPACING_MM * scale, run.closed);
        points.extend(run_points);
        stretches.extend(run.after(clicks, across).iter().map(|mm| (StretchKind::Across, mm / scale)));
        points.extend(run.kept(clicks, across));
    }
    let sum = |kind| stretches.iter().filter(|s| s.0 == kind).map(|s| s.1).sum::<f64>();
    let (yes, no) = (sum(StretchKind::Traced), sum(StretchKind::NoEdge));
    let share = if yes + no > 0.0 { yes / (yes + no) } else { 0.0 };
    if share < TRACED {
        return Err(NotTraced::NoEdge(100.0 * share));
    }
    let u = (scatter.iter().map(|s| s * s).sum::<f64>() / scatter.len().max(1) as f64).sqrt();
    let farthest = points.iter().map(|p| distance_to(clicks, *p)).fold(0.0, f64::max);
    Ok(TracedOutline {
        points,
        u_mm: u / scale,
        traced: share,
        stretches,
        farthest_mm: farthest / scale,
        limit_mm: limit,
        bright_inside: (brighter != 0.0).then_some(brighter * tracer.inside > 0.0),
    })
}

/// A row of clicks along an edge: all round, or from one end of the edge to the other.
struct Run {
    closed: bool,
    /// Its clicks' numbers, the first again at the end where it is closed.
    clicks: Vec<usize>,
    /// The curve through them, and each click's place on it.
    curve: Vec<Point2<f64>>,
    at: Vec<usize>,
    /// Which clicks (by their place in `clicks`) hold the path.
    holds: Vec<usize>,
}

/// The rows of clicks between sides that follow no edge.
fn runs(clicks: &[Point2<f64>], across: &[usize]) -> Vec<Vec<usize>> {
    let n = clicks.len();
    let is_across = |side: usize| across.contains(&(side % n));
    let Some(first) = (0..n).find(|k| is_across(*k)) else {
        return vec![(0..=n).map(|k| k % n).collect()];
    };
    let mut all = Vec::new();
    let mut row = vec![(first + 1) % n];
    for k in first + 1..=first + n {
        if is_across(k) {
            all.push(std::mem::take(&mut row));
        }
        row.push((k + 1) % n);
    }
    all.retain(|r| r.len() > 1);
    all
}

impl Run {
    fn new(clicks: &[Point2<f64>], row: &[usize], scale: f64, hold: f64) -> Self {
        let closed = row.len() > 2 && row.first() == row.last();
        let m = row.len();
        let p = |k: isize| -> Point2<f64> {
            let last = m as isize - 1;
            match k {
                _ if (0..=last).contains(&k) => clicks[row[k as usize]],
                _ if closed => clicks[row[(k.rem_euclid(last)) as usize]],
                // An end goes on as it came.
                _ if k < 0 => clicks[row[0]] + (clicks[row[0]] - clicks[row[1]]),
                _ => clicks[row[m - 1]] + (clicks[row[m - 1]] - clicks[row[m - 2]]),
            }
        };
        let (mut curve, mut at) = (Vec::new(), Vec::new());
        for k in 0..m as isize - 1 {
            at.push(curve.len());
            curve.extend(piece([p(k - 1), p(k), p(k + 1), p(k + 2)], (0.5 * scale).max(1.0)));
        }
        at.push(curve.len());
        curve.push(p(m as isize - 1));
        let mut run = Self { closed, clicks: row.to_vec(), curve, at, holds: vec![0] };
        let mut since = 0.0;
        for k in 0..m - 1 {
            since += run.gap(k);
            if since >= hold * scale || k + 2 == m {
                run.holds.push(k + 1);
                since = 0.0;
            }
        }
        run
    }

    /// Length of the curve from a click to the next, px.
    fn gap(&self, k: usize) -> f64 {
        self.curve[self.at[k]..=self.at[k + 1]].windows(2).map(|w| (w[1] - w[0]).norm()).sum()
    }

    /// The clicks from one to another and points of the curve between them, no farther apart than `spacing` px.
    fn drawn(&self, from: usize, to: usize, spacing: f64) -> Vec<Point2<f64>> {
        let mut points = vec![self.curve[self.at[from]]];
        for k in from..to {
            let (a, b) = (self.at[k], self.at[k + 1]);
            let n = ((self.gap(k) / spacing).ceil() as usize).clamp(1, (b - a).max(1));
            points.extend((1..=n).map(|i| self.curve[a + (b - a) * i / n]));
        }
        points
    }

    /// Clicks after its end before the next run starts, which stay as they are.
    fn kept(&self, clicks: &[Point2<f64>], across: &[usize]) -> Vec<Point2<f64>> {
        let n = clicks.len();
        let Some(last) = self.clicks.last().filter(|_| !self.closed) else { return Vec::new() };
        (1..n).map(|k| (last + k) % n).take_while(|k| across.contains(k)).map(|k| clicks[k]).collect()
    }

    /// Lengths of the sides that follow no edge after its end, px.
    fn after(&self, clicks: &[Point2<f64>], across: &[usize]) -> Vec<f64> {
        let n = clicks.len();
        let Some(last) = self.clicks.last().filter(|_| !self.closed) else { return Vec::new() };
        (0..n)
            .map(|k| (last + k) % n)
            .take_while(|k| across.contains(k))
            .map(|k| (clicks[(k + 1) % n] - clicks[k]).norm())
            .collect()
    }
}

struct Tracer<'a> {
    grey: &'a Grey,
    /// px per mm.
    scale: f64,
    /// +1 where the inside lies to the right of the way round.
    inside: f64,
    noise: f64,
    edge: OutlineEdge,
}

impl Tracer<'_> {
    fn options(&self, sigma_mm: f64) -> EdgeOptions {
        EdgeOptions {
            reach: refine::REACH_MM * self.scale,
            sigma: (sigma_mm * self.scale).max(1.0),
            band: 0.3 * self.scale,
            noise: self.noise,
        }
    }

    /// The strongest edge near a place of a curve, to its right (+) or left, weighed by how near it is.
    fn nearest_edge(&self, curve: &[Point2<f64>], i: usize, side: f64) -> Option<(Point2<f64>, f64)> {
        let along = direction(curve, i, 2);
        let right = Vector2::new(-along.y, along.x);
        let options = EdgeOptions { reach: CLICK_MM[0] * self.scale, ..self.options(SIGMAS_MM[0]) };
        let weight = |offset: f64, slope: f64| slope * (-0.5 * (offset / (CLICK_MM[1] * self.scale)).powi(2)).exp();
        edges_along(self.grey, curve[i], right, &options)
            .into_iter()
            .filter(|e| e.slope * side >= 0.0)
            .map(|e| (e.at, weight(e.offset, e.slope)))
            .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
    }

    /// The side of the outline that is brighter all round, seen along it: right (+1), left (-1); 0 where it changes.
    fn brighter_side(&self, runs: &[Run]) -> f64 {
        let step = (2.0 * self.scale / (0.5 * self.scale).max(1.0)).round().max(1.0) as usize;
        let votes: Vec<f64> = runs
            .iter()
            .flat_map(|r| (0..r.curve.len()).step_by(step).filter_map(|i| self.nearest_edge(&r.curve, i, 0.0)))
            .map(|e| e.1)
            .collect();
        let (sum, all) = (votes.iter().sum::<f64>(), votes.iter().map(|v| v.abs()).sum::<f64>());
        if sum.abs() > (2.0 * ONE_SIDED - 1.0) * all { sum.signum() } else { 0.0 }
    }

    /// The edge along a piece of the curve.
    fn stretch(&self, curve: &[Point2<f64>], reach: f64, brighter: f64, sigma_mm: f64) -> Option<Stretch> {
        let options = self.options(sigma_mm);
        let path = self.path(curve, reach, brighter, options.sigma)?;
        let rim = (self.edge == OutlineEdge::Silhouette).then_some(self.inside);
        refine(self.grey, &path, self.scale, brighter, rim, &options)
    }

    /// The path of least cost along it, from the edge nearest to its start to that nearest to its end.
    fn path(&self, curve: &[Point2<f64>], reach: f64, brighter: f64, sigma: f64) -> Option<Vec<Point2<f64>>> {
        let cost = EdgeCost::new(self.grey, curve, reach, sigma, brighter)?;
        let held = |i: usize| {
            let moved = self.nearest_edge(curve, i, brighter).map_or(curve[i], |e| e.0);
            cost.pixel(moved).or_else(|| cost.pixel(curve[i]))
        };
        let (from, to) = (held(0)?, held(curve.len() - 1)?);
        let path = least_cost_path(cost.size(), from, to, |a, b| cost.link(a, b))?;
        Some(path.pixels.into_iter().map(|p| cost.place(p)).collect())
    }
}

#[cfg(test)]
mod tests;
