//! The heels from the sole.

use super::{FROG_APEX, SULCUS};
use crate::foot::View;
use crate::formula;
use crate::landmark::Landmark;
use crate::measure::geometry::{distance, dot, frog_axis, from_to};
use crate::measure::{COMMON_PRACTICE, Measurement, Need, Plausible, Quantity, Reference};
use crate::numeric::Real;
use crate::placed::{Outcome, Placed};

const HEELS: [Need; 2] = [Need::Point(Landmark::HeelMedial), Need::Point(Landmark::HeelLateral)];

/// Distance of the heels.
pub const HEEL_BASE_WIDTH: Measurement = Measurement {
    id: "heel_base_width",
    name: "Heel base width",
    view: View::Solar,
    quantity: Quantity::Length,
    definition: "Distance between the rearmost bearing points of the two heel buttresses.",
    needs: &HEELS,
    source: "de Klerk et al. 2021, preprint (heel width); Stachurska et al. 2008, Arch Tierz 51:531",
    references: &[Reference {
        says: "wider in barefoot than in shod feet (167 hooves)",
        source: "de Klerk et al. 2021, bioRxiv 2021.02.23.432452 (preprint)",
    }],
    plausible: Plausible::estimated([12.0, 200.0], [24.0, 165.0]),
    formula: formula!(heel_base_width),
};

fn heel_base_width<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    distance(p.at(Landmark::HeelMedial)?, p.at(Landmark::HeelLateral)?)
}

/// How much farther back one heel reaches than the other.
pub const HEEL_LENGTH_DIFFERENCE: Measurement = Measurement {
    id: "heel_length_difference",
    name: "Medial minus lateral heel length",
    view: View::Solar,
    quantity: Quantity::Length,
    definition: "Distance along the frog's axis by which the medial heel's bearing point reaches farther back than the \
                 lateral one.",
    needs: &[HEELS[0], HEELS[1], FROG_APEX, SULCUS],
    source: COMMON_PRACTICE,
    references: &[],
    plausible: Plausible::estimated([-90.0, 90.0], [-28.0, 28.0]),
    formula: formula!(heel_length_difference),
};

fn heel_length_difference<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    Ok(dot(from_to(p.at(Landmark::HeelMedial)?, p.at(Landmark::HeelLateral)?), frog_axis(p)?.forward))
}
