//! Growth rings at toe and heel.

use crate::foot::View;
use crate::formula;
use crate::landmark::{Landmark, Line};
use crate::measure::geometry::{Straight, cross, distance, dot, fitted_direction, from_to};
use crate::measure::{COMMON_PRACTICE, Measurement, Need, Plausible, Quantity, Reference};
use crate::numeric::{Real, constant};
use crate::placed::{Outcome, Placed};

/// Spacing of the rings at the toe.
pub const RING_SPACING_TOE: Measurement = Measurement {
    id: "ring_spacing_toe",
    name: "Ring spacing at the toe",
    view: View::Lateral,
    quantity: Quantity::Length,
    definition: "Mean distance between successive growth rings where they cross the dorsal wall, along the straight line that \
                 fits the crossings best.",
    needs: &[Need::Line(Line::RingsToe, 2)],
    source: COMMON_PRACTICE,
    references: &[Reference {
        says: "the toe grows 7 mm in 28 days (Lipizzaners)",
        source: "Josseck et al. 1995, Equine Vet J 27:175-182",
    }],
    plausible: Plausible::estimated([0.5, 80.0], [1.5, 40.0]),
    formula: formula!(ring_spacing_toe),
};

fn ring_spacing_toe<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    spacing(p, Line::RingsToe)
}

/// Spacing of the rings at the heel.
pub const RING_SPACING_HEEL: Measurement = Measurement {
    id: "ring_spacing_heel",
    name: "Ring spacing at the heel",
    view: View::Lateral,
    quantity: Quantity::Length,
    definition: "Mean distance between successive growth rings where they cross the heel wall, along the straight line that \
                 fits the crossings best.",
    needs: &[Need::Line(Line::RingsHeel, 2)],
    source: COMMON_PRACTICE,
    references: &[],
    plausible: Plausible::estimated([0.3, 60.0], [0.8, 35.0]),
    formula: formula!(ring_spacing_heel),
};

fn ring_spacing_heel<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    spacing(p, Line::RingsHeel)
}

fn spacing<T: Real>(p: &Placed<'_, T>, line: Line) -> Outcome<T> {
    let rings = p.line(line, 2)?;
    let (first, last) = (rings[0], rings[rings.len() - 1]);
    // Not the sum of the steps: their scatter across the horn would make that too long, by 4 % for rings 8 mm apart.
    Ok(dot(from_to(first, last), fitted_direction(rings)?) / constant((rings.len() - 1) as f64))
}

/// Divergence of the rings from toe to heel.
pub const RING_DIVERGENCE: Measurement = Measurement {
    id: "ring_divergence",
    name: "Ring divergence",
    view: View::Lateral,
    quantity: Quantity::Angle,
    definition: "Angle between the coronary band and the lowest growth ring marked both at toe and heel: the arc tangent of \
                 the ring's distance below the coronary line at the heel minus that at the toe, over the coronary line's \
                 length. Positive where the rings lie wider at the heel.",
    needs: &[
        Need::Line(Line::RingsToe, 1),
        Need::Line(Line::RingsHeel, 1),
        Need::Point(Landmark::ToeCoronet),
        Need::Point(Landmark::HeelCoronet),
    ],
    source: "geometry of Fleming's observation (wider at the heel: chronic laminitis, club foot; wider at the toe: low heel)",
    references: &[
        Reference { says: "0° where rings run parallel to the coronet", source: COMMON_PRACTICE },
        Reference {
            says: "divergent rings go with lameness of more than three months",
            source: "Dyson et al. 2011, Vet J 190:364-371",
        },
    ],
    plausible: Plausible::estimated([-45.0, 45.0], [-18.0, 22.0]),
    formula: formula!(ring_divergence),
};

fn ring_divergence<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    let (toe, heel) = (p.line(Line::RingsToe, 1)?, p.line(Line::RingsHeel, 1)?);
    let lowest = toe.len().min(heel.len()) - 1;
    let (front, rear) = (p.at(Landmark::ToeCoronet)?, p.at(Landmark::HeelCoronet)?);
    let band = Straight::through(front, rear)?;
    let below = |ring| cross(band.along, from_to(front, ring)).abs();
    let coronet = distance(front, rear)?;
    Ok((below(heel[lowest]) - below(toe[lowest])).atan2(coronet))
}
