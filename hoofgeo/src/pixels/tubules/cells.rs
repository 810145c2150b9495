//! Whether a region shows tubules, and about which way they run.
//!
//! The structure tensor of small cells of the photo gives the direction across which brightness changes, cell by cell (Bigun and
//! Granlund 1987); each is taken to the plane by the local Jacobian of lens and angle, which is exact for lines, where
//! resampling the picture first would colour its noise and turn the tensor towards the tilt. A plane robust fit over the cells
//! gives the direction at the region's middle. Rings that cross slantwise turn it by a degree or so, alike in every cell.

use super::super::Grey;
use super::super::gradient::{Gradient, median, orientation};
use super::super::mapping::{Mapping, contains};
use super::{BROAD_MM, NoTubules};
use nalgebra::{Matrix3, Point2, Vector2, Vector3};
use std::f64::consts::{FRAC_PI_2, PI};

/// Side of a cell, mm.
const CELL_MM: f64 = 2.0;
/// Fewest pixels of a cell's side.
const CELL_PX: f64 = 10.0;
/// Scales of the derivative tried, mm; the one that fits best counts. Tubules lie some 0.2 mm apart and are seen in bundles
/// (the scales are chosen).
const SCALES_MM: [f64; 4] = [0.1, 0.16, 0.25, 0.4];
/// Cells with so many times the squared gradient of the middle one hold the edge of a shadow, a crack or mud, which is coherent and says
/// nothing of the tubules (chosen: on a rendered foot the edge of a hard shadow turned the direction by 8°).
const EDGE_CELL: f64 = 5.0;
/// Fewest cells, and fewest strips of cells along the tubules.
const LEAST: (usize, usize) = (24, 5);
/// Cells within this of the commonest direction belong to it.
const NEAR: f64 = 25.0 * PI / 180.0;
/// Least share of the cells' weight that the commonest direction must hold (chosen: a texture without direction has 0.28).
const SHARE: f64 = 0.55;
/// Least mean weight (coherence cubed) of those cells (chosen on rendered walls).
const WEIGHT: f64 = 0.06;
/// Single cells that scatter by more than this show a mixture of tubules and something else (chosen on rendered walls: noise alone
/// scatters cells of good tubules by 7 to 12°, and lines along them still say which way they run).
const SCATTER: f64 = 12.0 * PI / 180.0;
/// How far the direction may lie off the one expected.
const OFF: f64 = 35.0 * PI / 180.0;

/// About which way the tubules of a region run.
pub(super) struct Rough {
    /// Rad from the direction expected.
    pub(super) angle: f64,
    /// How it turns per mm across the direction expected, rad/mm.
    pub(super) fan: f64,
    /// Robust standard deviation of single cells about the fit, rad.
    pub(super) dispersion: f64,
    /// Cube root of the mean weight.
    pub(super) coherence: f64,
    /// Share of the cells' weight that follows the direction.
    pub(super) share: f64,
    /// Cells that follow it.
    pub(super) cells: usize,
}

/// One cell of the region.
#[derive(Clone, Copy)]
struct Cell {
    /// Place in the plane, mm: across and along the direction expected, from the middle.
    place: Vector2<f64>,
    /// Direction, rad, from the one expected, within ±π/2.
    angle: f64,
    /// Coherence cubed: a cell in which rings or dirt cross the tubules has a turned direction and hardly counts.
    weight: f64,
}

/// The direction of the scale at which it stands out most, about the direction `expected`, of length 1.
pub(super) fn rough(
    grey: &Grey,
    map: &dyn Mapping,
    region: &[Point2<f64>],
    expected: Vector2<f64>,
) -> Result<Rough, NoTubules> {
    let mut refused = NoTubules::TooSmall;
    let mut best: Option<Rough> = None;
    let mut last = 0.0;
    for scale in SCALES_MM {
        let Some((cells, sigma)) = cells(grey, map, region, expected, scale, last) else { continue };
        last = sigma;
        match direction(&cells) {
            Ok(found) if best.as_ref().is_none_or(|b| found.coherence > b.coherence) => best = Some(found),
            Ok(_) => {}
            Err(why) => refused = why,
        }
    }
    best.ok_or(refused)
}

/// The cells inside the region at a scale, and the scale in px; `None` where there are too few, or the
/// scale comes out as before.
fn cells(
    grey: &Grey,
    map: &dyn Mapping,
    region: &[Point2<f64>],
    expected: Vector2<f64>,
    scale_mm: f64,
    last: f64,
) -> Option<(Vec<Cell>, f64)> {
    let n = region.len() as f64;
    let middle = Point2::from(region.iter().map(|p| p.coords).sum::<Vector2<f64>>() / n);
    let magnification = map.px_per_mm(middle)?;
    let sigma = (scale_mm * magnification).max(1.0);
    if sigma <= last {
        return None;
    }
    let side = (CELL_MM * magnification).max(CELL_PX).round();
    let corner = |pick: fn(f64, f64) -> f64, start: f64| {
        region.iter().fold(Point2::new(start, start), |m, p| Point2::new(pick(m.x, p.x), pick(m.y, p.y)))
    };
    let (low, high) = (corner(f64::min, f64::MAX), corner(f64::max, f64::MIN));
    let broad = (BROAD_MM * magnification).max(3.0 * sigma);
    let gradient = Gradient::new(grey, low, high, sigma).minus(&Gradient::new(grey, low, high, broad));
    // The squared gradient that rounding to whole levels leaves: white noise of 1/√12, filtered.
    let floor = 2.0 / 12.0 / (8.0 * PI * sigma.powi(4));
    let half = side / 2.0;
    let corners = [(-half, -half), (half, -half), (half, half), (-half, half)];
    let mut found = Vec::new();
    let mut centre = low + Vector2::repeat(half);
    while centre.y + half <= high.y {
        centre.x = low.x + half;
        while centre.x + half <= high.x {
            if corners.iter().all(|(x, y)| contains(region, centre + Vector2::new(*x, *y))) {
                found.extend(cell(map, &gradient, centre, side as usize, floor));
            }
            centre.x += side;
        }
        centre.y += side;
    }
    if found.len() < LEAST.0 {
        return None;
    }
    let mut strengths: Vec<f64> = found.iter().map(|f| f.3).collect();
    let middle_one = median(&mut strengths)?;
    for (_, _, weight, strength) in &mut found {
        if *strength > EDGE_CELL * middle_one {
            *weight = 0.0;
        }
    }
    let sum: Vector2<f64> = found.iter().map(|(p, ..)| p.coords).sum();
    let middle = Point2::from(sum / found.len() as f64);
    let across = Vector2::new(expected.y, -expected.x);
    let cells = found
        .into_iter()
        .map(|(p, along, weight, _)| {
            let d = p - middle;
            let turn = expected.perp(&along).atan2(expected.dot(&along));
            Cell { place: Vector2::new(across.dot(&d), expected.dot(&d)), angle: half_turn(turn), weight }
        })
        .collect();
    Some((cells, sigma))
}

/// Place and direction in the plane, weight and squared gradient of one cell.
fn cell(
    map: &dyn Mapping,
    gradient: &Gradient,
    centre: Point2<f64>,
    side: usize,
    floor: f64,
) -> Option<(Point2<f64>, Vector2<f64>, f64, f64)> {
    let tensor = gradient.tensor(centre, side)?;
    let (across, coherence) = orientation(&tensor);
    let seen = if tensor.trace() > floor { coherence.powi(3) } else { 0.0 };
    let along = map.jacobian(centre)? * Vector2::new(-across.y, across.x);
    Some((map.place(centre)?, along, seen, tensor.trace()))
}

/// An angle between lines, within ±π/2.
fn half_turn(angle: f64) -> f64 {
    angle - PI * (angle / PI).round()
}

/// The direction that the cells agree on, if they do.
fn direction(cells: &[Cell]) -> Result<Rough, NoTubules> {
    let total: f64 = cells.iter().map(|c| c.weight).sum();
    if total <= 0.0 {
        return Err(NoTubules::NoDirection);
    }
    let mode = mode(cells);
    let near: Vec<Cell> = cells.iter().copied().filter(|c| half_turn(c.angle - mode).abs() < NEAR).collect();
    let share = near.iter().map(|c| c.weight).sum::<f64>() / total;
    let weight = near.iter().map(|c| c.weight).sum::<f64>() / near.len().max(1) as f64;
    if share < SHARE || weight < WEIGHT {
        return Err(NoTubules::NoDirection);
    }
    if mode.abs() > OFF {
        let across = FRAC_PI_2 - mode.abs() < OFF;
        return Err(if across {
            NoTubules::AcrossDominates
        } else {
            NoTubules::OtherDirection(mode.to_degrees().abs())
        });
    }
    if strips(&near, |c| c.place.x).min(strips(&near, |c| c.place.y)) < LEAST.1 {
        return Err(NoTubules::TooSmall);
    }
    let fitted = fit(&near, mode).ok_or(NoTubules::TooScattered)?;
    let mut off: Vec<f64> = near.iter().map(|c| residual(c, &fitted).abs()).collect();
    let dispersion = median(&mut off).unwrap_or(0.0) / 0.6745;
    if dispersion > SCATTER {
        return Err(NoTubules::TooScattered);
    }
    Ok(Rough { angle: fitted[0], fan: fitted[1], dispersion, coherence: weight.cbrt(), share, cells: near.len() })
}

/// How many strips of a cell's width hold cells.
fn strips(cells: &[Cell], along: fn(&Cell) -> f64) -> usize {
    let mut strips: Vec<i64> = cells.iter().map(|c| (along(c) / CELL_MM).round() as i64).collect();
    strips.sort_unstable();
    strips.dedup();
    strips.len()
}

/// The commonest direction: where the cells' weights, spread by 8°, add up highest.
fn mode(cells: &[Cell]) -> f64 {
    const SPREAD: f64 = 8.0 * PI / 180.0;
    let height = |a: f64| -> f64 {
        cells.iter().map(|c| c.weight * (-0.5 * (half_turn(c.angle - a) / SPREAD).powi(2)).exp()).sum()
    };
    (-45..45)
        .map(|i| f64::from(i) * PI / 90.0)
        .map(|a| (a, height(a)))
        .fold((0.0, f64::MIN), |best, here| if here.1 > best.1 { here } else { best })
        .0
}

fn residual(c: &Cell, fitted: &Vector3<f64>) -> f64 {
    half_turn(c.angle - fitted.dot(&Vector3::new(1.0, c.place.x, c.place.y)))
}

/// Direction at the middle and its turn per mm across and along, by weighted least squares with Tukey's biweight.
fn fit(cells: &[Cell], start: f64) -> Option<Vector3<f64>> {
    // The tubules of a real wall fan by less than a degree a millimetre: with few cells this keeps the slopes from taking
    // over (chosen).
    let ridge =
        Matrix3::from_diagonal(&Vector3::new(0.0, 1.0, 1.0)) * (5.0_f64.to_radians() / 1.0_f64.to_radians()).powi(2);
    let mut x = Vector3::new(start, 0.0, 0.0);
    for _ in 0..12 {
        let mut sizes: Vec<f64> = cells.iter().map(|c| residual(c, &x).abs()).collect();
        let limit = 4.685 * (median(&mut sizes)? / 0.6745).max(0.5_f64.to_radians());
        let (mut normal, mut right) = (ridge, Vector3::zeros());
        for c in cells {
            let r = residual(c, &x);
            let t = r / limit;
            if t.abs() < 1.0 {
                let a = Vector3::new(1.0, c.place.x, c.place.y);
                let w = c.weight * (1.0 - t * t).powi(2);
                normal += a * a.transpose() * w;
                right += a * (w * (r + a.dot(&x)));
            }
        }
        let next = normal.try_inverse()? * right;
        let change = (next - x).norm();
        x = next;
        if change < 1e-9 {
            break;
        }
    }
    Some(x)
}
