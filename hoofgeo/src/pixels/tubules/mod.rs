//! The direction of the horn tubules inside a region of the wall, in the plane that is measured.
//!
//! Tubules show as fine lines down the wall: brightness changes across them and hardly along them. Whether there are any, and about which
//! way they run, is seen cell by cell (`cells.rs`); which way exactly, by adding brightness up along them (`lines.rs`), where rings,
//! mud and noise come out even.

mod cells;
mod lines;

use super::Grey;
use super::mapping::Mapping;
use cells::{Rough, rough};
use nalgebra::{Point2, Vector2};
use std::f64::consts::PI;
use std::fmt;

/// Changes over more than this, mm, are shading and rings, and are taken off. Rings do not cross the tubules squarely: what is
/// left of them turns the tensor towards them (by 2° RMS on rendered walls with 1.2 mm here, by 0.9° with 0.5 mm).
const BROAD_MM: f64 = 0.5;
/// A direction less certain than this is none (chosen on rendered feet).
const U_MAX: f64 = 1.7 * PI / 180.0;
/// What the strips cannot show: light and relief are not even (chosen on rendered feet).
const U_FLOOR: f64 = 0.4 * PI / 180.0;

/// The tubules of a region.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TubuleDirection {
    /// Middle of the region, in the plane, mm.
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
    let Rough { angle, fan, dispersion, coherence, share, cells } = rough(grey, map, region, expected)?;
    let seen = lines::lines(grey, map, region, expected, angle, fan).ok_or(NoTubules::TooScattered)?;
    let u = seen.u.hypot(U_FLOOR);
    if u > U_MAX {
        return Err(NoTubules::TooScattered);
    }
    let (sin, cos) = seen.angle.sin_cos();
    let along = Vector2::new(cos * expected.x - sin * expected.y, sin * expected.x + cos * expected.y);
    Ok(TubuleDirection { at: seen.at, along, u, dispersion, coherence, share, fan: seen.fan, cells })
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
            assert!(found.u.to_degrees() < 1.1 && found.share > 0.9, "{found:?}");
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
    fn grain_that_runs_every_way_is_refused() {
        // Sixty waves, each straight right across the region, in as many directions.
        for seed in 0..6 {
            let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
            let mut waves: Vec<[f64; 3]> = Vec::new();
            waves.resize_with(60, || {
                [rng.random_range(0.0..PI), rng.random_range(0.4..4.0), rng.random_range(0.0..std::f64::consts::TAU)]
            });
            let grain = |x: f64, y: f64| -> f64 {
                let wave = |[a, l, p]: &[f64; 3]| ((x * a.cos() + y * a.sin()) * std::f64::consts::TAU / l + p).sin();
                3.0 * waves.iter().map(wave).sum::<f64>()
            };
            let grey = wall(1.0, 3.0, seed, grain);
            assert!(look(&grey, 1.0, 50.0).is_err(), "seed {seed}");
        }
    }

    #[test]
    fn tubules_that_fan_have_the_direction_of_the_middle() {
        // Lines through a point 80 mm below and to the left of the middle, at 50° there: they turn by 1/80 rad a millimetre.
        let (sin, cos) = f64::to_radians(50.0).sin_cos();
        let from = Point2::new(15.0 - 80.0 * cos, -20.0 - 80.0 * sin);
        let shade = |x: f64, y: f64| {
            let across = 80.0 * ((y - from.y).atan2(x - from.x) - f64::to_radians(50.0));
            [0.7, 0.9, 1.37].iter().map(|l| 6.0 * (across * std::f64::consts::TAU / l + l).sin()).sum()
        };
        let found = look(&wall(1.0, 6.0, 11, shade), 1.0, 50.0).expect("fibres");
        let off = found.along.y.atan2(found.along.x).to_degrees() - 50.0;
        assert!(off.abs() < 0.2, "{off}");
        assert!((found.fan.to_degrees() + 0.716).abs() < 0.05, "{}", found.fan.to_degrees());
    }

    #[test]
    fn noise_that_hides_tubules_from_small_cells_leaves_them_to_lines() {
        // The fibres' grey levels scatter by 7, the noise by 20.
        let found = look(&wall(1.0, 20.0, 4, |x, y| fibres(50.0, x, y)), 1.0, 50.0).expect("fibres");
        let off = found.along.y.atan2(found.along.x).to_degrees() - 50.0;
        assert!(off.abs() < 0.4 && off.abs() < 3.0 * found.u.to_degrees(), "{off}");
    }

    #[test]
    fn a_region_that_is_too_small_says_so() {
        let grey = wall(1.0, 3.0, 5, |x, y| fibres(50.0, x, y));
        let region = [(100.0, 100.0), (150.0, 100.0), (150.0, 150.0)].map(|(x, y)| Point2::new(x, y));
        let up = Vector2::new(0.6, 0.8);
        assert_eq!(tubule_direction(&grey, &Tilted(1.0), &region, up), Err(NoTubules::TooSmall));
    }
}
