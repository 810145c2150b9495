//! The frog.

use super::{FROG_APEX, SULCUS};
use crate::foot::View;
use crate::formula;
use crate::landmark::Landmark;
use crate::measure::geometry::{dot, frog_axis, from_to, midpoint};
use crate::measure::{Measurement, Need, Plausible, Quantity, Reference};
use crate::numeric::Real;
use crate::placed::{Outcome, Placed, Undefined};

const BASE: [Need; 2] = [Need::Point(Landmark::FrogBaseMedial), Need::Point(Landmark::FrogBaseLateral)];

/// Length of the frog.
pub const FROG_LENGTH: Measurement = Measurement {
    id: "frog_length",
    name: "Frog length",
    view: View::Solar,
    quantity: Quantity::Length,
    definition: "Distance along the frog's axis from half-way between the frog's rear corners to its apex.",
    needs: &[BASE[0], BASE[1], FROG_APEX, SULCUS],
    source: "Turner 1992, Objective assessment of hoof balance",
    references: &[],
    plausible: Plausible::estimated([20.0, 250.0], [34.0, 185.0]),
    formula: formula!(frog_length),
};

fn frog_length<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    let axis = frog_axis(p)?;
    let base = midpoint(p.at(Landmark::FrogBaseMedial)?, p.at(Landmark::FrogBaseLateral)?);
    Ok(dot(from_to(base, axis.apex), axis.forward))
}

/// Width of the frog.
pub const FROG_WIDTH: Measurement = Measurement {
    id: "frog_width",
    name: "Frog width",
    view: View::Solar,
    quantity: Quantity::Length,
    definition: "Distance between the frog's rear corners, square to its axis.",
    needs: &[BASE[0], BASE[1], FROG_APEX, SULCUS],
    source: "Turner 1992, Objective assessment of hoof balance",
    references: &[],
    plausible: Plausible::estimated([8.0, 170.0], [17.0, 125.0]),
    formula: formula!(frog_width),
};

fn frog_width<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    let axis = frog_axis(p)?;
    Ok(dot(from_to(p.at(Landmark::FrogBaseMedial)?, p.at(Landmark::FrogBaseLateral)?), axis.across).abs())
}

/// Width over length of the frog.
pub const FROG_WIDTH_LENGTH_RATIO: Measurement = Measurement {
    id: "frog_width_length_ratio",
    name: "Frog width to length",
    view: View::Solar,
    quantity: Quantity::Ratio,
    definition: "Frog width divided by frog length.",
    needs: &[BASE[0], BASE[1], FROG_APEX, SULCUS],
    source: "Turner 1992, Objective assessment of hoof balance",
    references: &[
        Reference {
            says: "at least 0.67; below that the foot is called contracted",
            source: "Turner 1992; Adams & Stashak, Lameness in Horses, 7th ed., p. 1099",
        },
        Reference { says: "0.5 to 0.6 is called proportionate", source: "equine podiatry text (it disagrees)" },
    ],
    plausible: Plausible::estimated([0.08, 1.8], [0.22, 1.1]),
    formula: formula!(frog_width_length_ratio),
};

fn frog_width_length_ratio<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    let length = frog_length(p)?;
    if length <= T::zero() {
        return Err(Undefined::Impossible("the frog's apex lies behind its base"));
    }
    Ok(frog_width(p)? / length)
}
