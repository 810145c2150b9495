//! Growth rings from one visit to the next: a ring moves down with the horn.

use super::shot::Reading;
use crate::evaluate::{Value, evaluate};
use crate::foot::View;
use crate::formula;
use crate::landmark::{Landmark, Line};
use crate::located::Located;
use crate::measure::geometry::distance;
use crate::measure::{Measurement, Need, Plausible, Quantity};
use crate::measured::Measured;
use crate::numeric::Real;
use crate::placed::{Outcome, Placed};
use crate::scene::Scene;

/// Rings looked at, from the coronet down; and those of them that are paired from visit to visit.
const MOST: usize = 12;
const PAIRED: usize = 8;

/// Growth per month, mm, that a pairing of rings may mean: adult horses 6 to 10, foals 12 to 15, cold winters about 4 (trade press
/// and a farrier's figures), widened.
const PLAUSIBLE: [f64; 2] = [3.0, 15.0];

/// By how much χ² must be smaller for one of several plausible pairings to be believed (estimate, no source).
const CLEARLY: f64 = 6.0;

const fn ring(line: Line, formula: crate::measure::Formula) -> Measurement {
    Measurement {
        id: "ring_below_coronet",
        name: "Ring below the coronet",
        view: View::Lateral,
        quantity: Quantity::Length,
        definition: "Distance from the coronary point to where a growth ring crosses the wall, straight.",
        needs: match line {
            Line::RingsToe => &[Need::Line(Line::RingsToe, 1), Need::Point(Landmark::ToeCoronet)],
            _ => &[Need::Line(Line::RingsHeel, 1), Need::Point(Landmark::HeelCoronet)],
        },
        source: "geometry; a ring moves down as fast as the horn grows, common practice, no source",
        references: &[],
        plausible: Plausible::ANY,
        formula,
    }
}

macro_rules! rings {
    ($line:expr, $formula:ident, $($k:literal)+) => {
        [$(ring($line, formula!($formula::<_, $k>))),+]
    };
}

static TOE: [Measurement; MOST] = rings!(Line::RingsToe, at_toe, 0 1 2 3 4 5 6 7 8 9 10 11);
static HEEL: [Measurement; MOST] = rings!(Line::RingsHeel, at_heel, 0 1 2 3 4 5 6 7 8 9 10 11);

fn at_toe<T: Real, const K: usize>(p: &Placed<'_, T>) -> Outcome<T> {
    distance(p.at(Landmark::ToeCoronet)?, p.line(Line::RingsToe, K + 1)?[K])
}

fn at_heel<T: Real, const K: usize>(p: &Placed<'_, T>) -> Outcome<T> {
    distance(p.at(Landmark::HeelCoronet)?, p.line(Line::RingsHeel, K + 1)?[K])
}

/// How deep a photo's rings lie below the coronet at toe and heel, mm, from the uppermost down, the first twelve of each.
pub fn ring_depths(located: &Located, scene: &Scene) -> [Vec<Value>; 2] {
    [&TOE, &HEEL].map(|rings| rings.iter().map_while(|m| evaluate(m, located, scene).ok()).collect())
}

/// The same as far as following a case needs it.
pub(super) fn readings(measured: &Measured) -> [Vec<Reading>; 2] {
    ring_depths(&measured.located, &measured.scene).map(|values| values.iter().take(PAIRED).map(Reading::of).collect())
}

/// Standard uncertainty of how well one ring's crossing is defined, mm.
fn ring_u(at: usize) -> f64 {
    if at == 0 { Line::RingsToe.info().u_mm } else { Line::RingsHeel.info().u_mm }
}

/// Which rings of a later visit are those of an earlier one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Pairing {
    /// So many new rings have come at the top; so many rings were seen at both visits.
    New { above: usize, common: usize },
    /// Too few rings, or none fits.
    None,
    /// Several pairings fit.
    Ambiguous,
}

/// Pairs the rings of two visits `months` apart.
pub(super) fn pair(at: usize, earlier: &[f64], later: &[f64], months: f64) -> Pairing {
    let variance = 2.0 * ring_u(at).powi(2);
    let mut found: Vec<(f64, usize, usize)> = (0..later.len())
        .filter_map(|above| {
            let common = earlier.len().min(later.len() - above);
            if common < 2 {
                return None;
            }
            let moved: Vec<f64> = (0..common).map(|k| later[above + k] - earlier[k]).collect();
            let mean = moved.iter().sum::<f64>() / common as f64;
            let chi_square = moved.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / variance;
            (PLAUSIBLE[0]..=PLAUSIBLE[1]).contains(&(mean / months)).then_some((chi_square, above, common))
        })
        .collect();
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    match found.as_slice() {
        [] => Pairing::None,
        [best, next, ..] if next.0 - best.0 < CLEARLY => Pairing::Ambiguous,
        [best, ..] => Pairing::New { above: best.1, common: best.2 },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rings_are_paired_by_growth_that_can_be() {
        let before = [15.0, 23.6, 32.2, 40.8];
        let after: Vec<f64> = [6.4, 15.0, 23.6, 32.2].iter().map(|d| d + 9.2).collect();
        // 9.2 mm in 1.15 months; the pairing without a new ring would mean 0.5 mm a month.
        assert_eq!(pair(0, &before, &after, 1.15), Pairing::New { above: 1, common: 3 });
        // After half a year, 8 mm a month or 9.4 fit alike.
        assert_eq!(pair(0, &before, &before, 6.0), Pairing::None);
        let far: Vec<f64> = before.iter().map(|d| d + 34.4).collect();
        // 34.4 mm in half a year, or four rings of 8.6 fewer: the same picture.
        assert_eq!(pair(0, &before, &far, 6.0), Pairing::Ambiguous);
        let filled: Vec<f64> = (0..8).map(|k| 6.4 + 8.6 * f64::from(k)).collect();
        assert_eq!(pair(0, &before, &filled, 4.0), Pairing::Ambiguous);
    }
}
