//! The toe judged from the sole: frog apex, white line, wall.

use super::{FROG_APEX, SULCUS};
use crate::foot::View;
use crate::formula;
use crate::landmark::Landmark;
use crate::measure::geometry::{dot, frog_axis, from_to};
use crate::measure::{COMMON_PRACTICE, Measurement, Need, Plausible, Quantity, Reference};
use crate::numeric::Real;
use crate::placed::{Outcome, Placed};

/// From the frog's apex to the wall.
pub const TOE_LENGTH_FROM_FROG: Measurement = Measurement {
    id: "toe_length_from_frog",
    name: "Toe length from the frog",
    view: View::Solar,
    quantity: Quantity::Length,
    definition: "Distance along the frog's axis from the frog's apex to the outermost wall at the toe.",
    needs: &[Need::Point(Landmark::ToeOuter), FROG_APEX, SULCUS],
    source: COMMON_PRACTICE,
    references: &[
        Reference { says: "about a third of the foot's length", source: COMMON_PRACTICE },
        Reference { says: "about 38 mm in an average fore foot", source: COMMON_PRACTICE },
    ],
    plausible: Plausible::estimated([4.0, 160.0], [14.0, 95.0]),
    formula: formula!(toe_length_from_frog),
};

fn toe_length_from_frog<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    along_axis(p, Landmark::FrogApex, Landmark::ToeOuter)
}

/// From the frog's apex to the white line.
pub const SOLE_TOE_LENGTH: Measurement = Measurement {
    id: "sole_toe_length",
    name: "Sole length at the toe",
    view: View::Solar,
    quantity: Quantity::Length,
    definition: "Distance along the frog's axis from the frog's apex to the inner edge of the white line: the sole in front \
                 of the frog.",
    needs: &[Need::Point(Landmark::WhiteLineInner), FROG_APEX, SULCUS],
    source: COMMON_PRACTICE,
    references: &[],
    plausible: Plausible::estimated([1.0, 140.0], [7.0, 80.0]),
    formula: formula!(sole_toe_length),
};

fn sole_toe_length<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    along_axis(p, Landmark::FrogApex, Landmark::WhiteLineInner)
}

/// Width of the white line.
pub const WHITE_LINE_WIDTH: Measurement = Measurement {
    id: "white_line_width",
    name: "White line width at the toe",
    view: View::Solar,
    quantity: Quantity::Length,
    definition: "Distance along the frog's axis from the white line's inner to its outer edge at the toe.",
    needs: &[Need::Point(Landmark::WhiteLineInner), Need::Point(Landmark::WhiteLineOuter), FROG_APEX, SULCUS],
    source: COMMON_PRACTICE,
    references: &[Reference { says: "2 to 4 mm; above about 5 mm stretched", source: COMMON_PRACTICE }],
    plausible: Plausible::estimated([-4.0, 40.0], [-1.0, 16.0]),
    formula: formula!(white_line_width),
};

fn white_line_width<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    along_axis(p, Landmark::WhiteLineInner, Landmark::WhiteLineOuter)
}

/// Thickness of the wall at the toe.
pub const WALL_THICKNESS_TOE: Measurement = Measurement {
    id: "wall_thickness_toe",
    name: "Wall thickness at the toe",
    view: View::Solar,
    quantity: Quantity::Length,
    definition: "Distance along the frog's axis from the white line's outer edge to the outermost wall at the toe.",
    needs: &[Need::Point(Landmark::WhiteLineOuter), Need::Point(Landmark::ToeOuter), FROG_APEX, SULCUS],
    source: COMMON_PRACTICE,
    references: &[Reference { says: "5 to 10 mm", source: "WikiVet, equine integument" }],
    plausible: Plausible::estimated([-4.0, 50.0], [1.0, 30.0]),
    formula: formula!(wall_thickness_toe),
};

fn wall_thickness_toe<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    along_axis(p, Landmark::WhiteLineOuter, Landmark::ToeOuter)
}

/// How far `to` lies ahead of `from` along the frog's axis.
fn along_axis<T: Real>(p: &Placed<'_, T>, from: Landmark, to: Landmark) -> Outcome<T> {
    Ok(dot(from_to(p.at(from)?, p.at(to)?), frog_axis(p)?.forward))
}
