//! The direction of the horn tubules inside a region of the wall, in the plane that is measured.
//!
//! Tubules show as fine lines down the wall: brightness changes across them and hardly along them. The structure tensor of
//! small cells of the photo gives that direction cell by cell (Bigun and Granlund 1987); each is taken to the plane by the
//! local Jacobian of lens and angle, which is exact for lines, where resampling the picture first would colour its noise and
//! turn the tensor towards the tilt. A plane robust fit over the cells gives the direction at the region's middle and lets
//! the tubules fan out around it.
//!
//! The uncertainty is that of leaving out whole strips along the tubules, one at a time: cells of one tubule say the same thing
//! and must not count as many.

use super::Grey;
use super::gradient::{Gradient, median, orientation};
use super::mapping::{Mapping, contains};
use nalgebra::{Matrix3, Point2, Vector2, Vector3};
use std::f64::consts::{FRAC_PI_2, PI};
use std::fmt;

/// Side of a cell, mm.
const CELL_MM: f64 = 2.0;
/// Fewest pixels of a cell's side.
const CELL_PX: f64 = 10.0;
/// Scales of the derivative tried, mm; the one that fits best counts. Tubules lie some 0.2 mm apart and are seen in bundles
/// (the scales are chosen).
const SCALES_MM: [f64; 4] = [0.1, 0.16, 0.25, 0.4];
/// Changes over more than this, mm, are shading and rings, and are taken off. Rings do not cross the tubules squarely: what is
/// left of them turns the tensor towards them (by 2° RMS on rendered walls with 1.2 mm here, by 0.9° with 0.5 mm).
const BROAD_MM: f64 = 0.5;
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
/// Single cells that scatter by more than this show a mixture of tubules and something else (chosen on rendered walls).
const SCATTER: f64 = 7.0 * PI / 180.0;
/// How far the direction may lie off the one expected.
const OFF: f64 = 35.0 * PI / 180.0;
/// A direction less certain than this is none (chosen on rendered feet, so that what is accepted is within 1° RMS).
const U_MAX: f64 = 1.5 * PI / 180.0;
/// What the strips cannot show: the wall is not plane, light and relief are not even (chosen on rendered feet: with 0.4° the errors
/// scattered by 1.2 times what was stated).
const U_FLOOR: f64 = 0.6 * PI / 180.0;

/// The tubules of a region.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TubuleDirection {
    /// Middle of the cells, in the plane, mm.
    pub at: Point2<f64>,
    /// Direction there, in the plane, length 1, on the side of the direction expected.
    pub along: Vector2<f64>,
    /// Standard uncertainty of the direction, rad.
    pub u: f64,
    /// Robust standard deviation of single cells about the fit, rad.
    pub dispersion: f64,
    /// Coherence of the cells, 0 to 1: the cube root of their mean weight.
    pub coherence: f64,
    /// Share of the cells' weight that follows the direction.
    pub share: f64,
    /// How the direction turns per mm across the tubules, rad/mm.
    pub fan: f64,
    /// Cells used.
    pub cells: usize,
}

/// Why a region shows no tubule direction.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum NoTubules {
    /// The region is too small in the photo, or not in it.
    TooSmall,
    /// No direction stands out: smooth, blurred, dirty or rasped horn.
    NoDirection,
    /// Rings or rasp marks across the horn are stronger than the tubules.
    AcrossDominates,
    /// Something else dominates, so many degrees off the direction expected.
    OtherDirection(f64),
    /// The cells do not agree well enough.
    TooScattered,
}

impl fmt::Display for NoTubules {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooSmall => {
                f.write_str("the region is too small in the photo: take it from nearer, or draw a larger one")
            }
            Self::NoDirection => {
                f.write_str("no tubules are visible: clean the wall, focus on it, light it from the side")
            }
            Self::AcrossDominates => f.write_str("rings or rasp marks across the horn are stronger than the tubules"),
            Self::OtherDirection(deg) => write!(f, "what is visible runs {deg:.0}° off where tubules can run"),
            Self::TooScattered => f.write_str("the tubules seen do not agree on a direction"),
        }
    }
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

/// The direction of the tubules inside `region`, a polygon in pixels; `expected` is about where they should run, in the
/// plane, from the ground up.
///
/// # Errors
/// [`NoTubules`] where the region does not show one direction near the one expected.
pub fn tubule_direction(
    grey: &Grey,
    map: &dyn Mapping,
    region: &[Point2<f64>],
    expected: Vector2<f64>,
) -> Result<TubuleDirection, NoTubules> {
    let expected = expected.try_normalize(1e-9).ok_or(NoTubules::TooSmall)?;
    let mut refused = NoTubules::TooSmall;
    let mut best: Option<TubuleDirection> = None;
    let mut last = 0.0;
    for scale in SCALES_MM {
        let seen = cells(grey, map, region, expected, scale, last);
        let Some((cells, middle, sigma)) = seen else { continue };
        last = sigma;
        match direction(&cells, expected) {
            Ok(found) if best.is_none_or(|b| found.u < b.u) => best = Some(TubuleDirection { at: middle, ..found }),
            Ok(_) => {}
            Err(why) => refused = why,
        }
    }
    best.ok_or(refused)
}

/// The cells inside the region at a scale, their middle in the plane, and the scale in px; `None` where there are too few, or the
/// scale comes out as before.
fn cells(
    grey: &Grey,
    map: &dyn Mapping,
    region: &[Point2<f64>],
    expected: Vector2<f64>,
    scale_mm: f64,
    last: f64,
) -> Option<(Vec<Cell>, Point2<f64>, f64)> {
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
    Some((cells, middle, sigma))
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
fn direction(cells: &[Cell], expected: Vector2<f64>) -> Result<TubuleDirection, NoTubules> {
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
    let fitted = fit(&near, mode).ok_or(NoTubules::TooScattered)?;
    let u = jackknife(&near, &fitted, mode, |c| c.place.x)?.max(jackknife(&near, &fitted, mode, |c| c.place.y)?);
    let mut off: Vec<f64> = near.iter().map(|c| residual(c, &fitted).abs()).collect();
    let dispersion = median(&mut off).unwrap_or(0.0) / 0.6745;
    let u = u.hypot(U_FLOOR);
    if u > U_MAX || dispersion > SCATTER {
        return Err(NoTubules::TooScattered);
    }
    let (sin, cos) = fitted[0].sin_cos();
    let along = Vector2::new(cos * expected.x - sin * expected.y, sin * expected.x + cos * expected.y);
    Ok(TubuleDirection {
        at: Point2::origin(),
        along,
        u,
        dispersion,
        coherence: weight.cbrt(),
        share,
        fan: fitted[1],
        cells: near.len(),
    })
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

/// Standard uncertainty of the direction by leaving out one strip of cells at a time.
fn jackknife(cells: &[Cell], whole: &Vector3<f64>, start: f64, along: fn(&Cell) -> f64) -> Result<f64, NoTubules> {
    let strip = |c: &Cell| (along(c) / CELL_MM).round() as i64;
    let mut strips: Vec<i64> = cells.iter().map(strip).collect();
    strips.sort_unstable();
    strips.dedup();
    let m = strips.len() as f64;
    if strips.len() < LEAST.1 {
        return Err(NoTubules::TooSmall);
    }
    let mut sum = 0.0;
    for s in &strips {
        let rest: Vec<Cell> = cells.iter().copied().filter(|c| strip(c) != *s).collect();
        let without = fit(&rest, start).ok_or(NoTubules::TooScattered)?;
        sum += (without[0] - whole[0]).powi(2);
    }
    Ok((sum * (m - 1.0) / m).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pixels::Flat;
    use rand::{RngExt, SeedableRng};
    use rand_xoshiro::Xoshiro256PlusPlus;

    /// A wall seen at 10 px/mm and stretched by `stretch` along y, as under a tilt: `shade` of a place in mm.
    fn wall(stretch: f64, noise: f64, seed: u64, shade: impl Fn(f64, f64) -> f64) -> Grey {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
        let mut values = Vec::new();
        for y in 0..400 {
            for x in 0..300 {
                let place = ((f64::from(x) + 0.5) / 10.0, -(f64::from(y) + 0.5) / 10.0 / stretch);
                // The sum of three uniform numbers: near enough to a sensor's bell.
                let grain: f64 = (0..3).map(|_| rng.random::<f64>() * 2.0 - 1.0).sum();
                values.push((120.0 + shade(place.0, place.1) + noise * grain) as f32);
            }
        }
        Grey::from_values(300, 400, values).expect("one value for each pixel")
    }

    struct Tilted(f64);

    impl Mapping for Tilted {
        fn place(&self, p: Point2<f64>) -> Option<Point2<f64>> {
            let flat = Flat { px_per_mm: 10.0 }.place(p)?;
            Some(Point2::new(flat.x, flat.y / self.0))
        }

        fn pixel(&self, p: Point2<f64>) -> Option<Point2<f64>> {
            Flat { px_per_mm: 10.0 }.pixel(Point2::new(p.x, p.y * self.0))
        }
    }

    /// Fibres at `degrees` from x: waves of several lengths across them, none along.
    fn fibres(degrees: f64, x: f64, y: f64) -> f64 {
        let (sin, cos) = degrees.to_radians().sin_cos();
        let across = x * sin - y * cos;
        [(0.9, 0.0), (1.37, 1.0), (0.71, 2.0)]
            .iter()
            .map(|(l, p)| 6.0 * (across * std::f64::consts::TAU / l + p).sin())
            .sum()
    }

    fn look(grey: &Grey, stretch: f64, degrees: f64) -> Result<TubuleDirection, NoTubules> {
        let region = [(20.0, 20.0), (280.0, 20.0), (280.0, 380.0), (20.0, 380.0)].map(|(x, y)| Point2::new(x, y));
        let turn = f64::to_radians(degrees + 8.0);
        tubule_direction(grey, &Tilted(stretch), &region, Vector2::new(turn.cos(), turn.sin()))
    }

    #[test]
    fn the_direction_is_that_of_the_plane_whatever_the_tilt() {
        // 0.82 is the cosine of 35°: in the photo itself the fibres lie up to 5.6° flatter.
        for (stretch, degrees) in [(1.0, 50.0), (0.82, 50.0), (0.82, 35.0), (0.9, 75.0)] {
            let grey = wall(stretch, 6.0, 3, |x, y| fibres(degrees, x, y));
            let found = look(&grey, stretch, degrees).expect("fibres are plain to see");
            let off = found.along.y.atan2(found.along.x).to_degrees() - degrees;
            assert!(off.abs() < 0.2, "{stretch} {degrees}: {off}");
            assert!(found.u.to_degrees() < 0.75 && found.share > 0.9, "{found:?}");
        }
    }

    #[test]
    fn smooth_horn_noise_and_rings_are_refused() {
        let smooth = wall(1.0, 0.0, 1, |_, _| 0.0);
        assert_eq!(look(&smooth, 1.0, 50.0), Err(NoTubules::NoDirection));
        for seed in 0..8 {
            let noise = wall(1.0, 12.0, seed, |_, _| 0.0);
            assert_eq!(look(&noise, 1.0, 50.0), Err(NoTubules::NoDirection), "seed {seed}");
        }
        let across = wall(1.0, 3.0, 5, |x, y| fibres(140.0, x, y));
        assert_eq!(look(&across, 1.0, 50.0), Err(NoTubules::AcrossDominates));
        let slanting = wall(1.0, 3.0, 5, |x, y| fibres(100.0, x, y));
        assert!(matches!(look(&slanting, 1.0, 50.0), Err(NoTubules::OtherDirection(d)) if (d - 42.0).abs() < 2.5));
    }

    #[test]
    fn rings_that_cross_slantwise_hardly_turn_it() {
        // Rings 8 mm apart at 65° to the fibres, twice as strong.
        let rings = |x: f64, y: f64| {
            let (sin, cos) = f64::to_radians(115.0).sin_cos();
            24.0 * ((x * sin - y * cos) * std::f64::consts::TAU / 8.0).sin()
        };
        let grey = wall(1.0, 4.0, 9, |x, y| fibres(50.0, x, y) + rings(x, y));
        let found = look(&grey, 1.0, 50.0).expect("fibres");
        let off = found.along.y.atan2(found.along.x).to_degrees() - 50.0;
        assert!(off.abs() < 0.3, "{off}");
    }

    #[test]
    fn the_edge_of_a_shadow_does_not_count() {
        // It runs 20° off the fibres through the middle of the region, eight times as strong as they are.
        let shadow = |x: f64, y: f64| {
            let (sin, cos) = f64::to_radians(70.0).sin_cos();
            60.0 / (1.0 + ((-(x - 15.0) * sin + (y + 20.0) * cos) / 0.15).exp())
        };
        let grey = wall(1.0, 4.0, 9, |x, y| fibres(50.0, x, y) / 3.0 + shadow(x, y));
        let found = look(&grey, 1.0, 50.0).expect("fibres");
        let off = found.along.y.atan2(found.along.x).to_degrees() - 50.0;
        assert!(off.abs() < 1.0, "{off}");
    }

    #[test]
    fn a_region_that_is_too_small_says_so() {
        let grey = wall(1.0, 3.0, 5, |x, y| fibres(50.0, x, y));
        let region = [(100.0, 100.0), (150.0, 100.0), (150.0, 150.0)].map(|(x, y)| Point2::new(x, y));
        let up = Vector2::new(0.6, 0.8);
        assert_eq!(tubule_direction(&grey, &Tilted(1.0), &region, up), Err(NoTubules::TooSmall));
    }
}
