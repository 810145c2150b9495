//! Areas inside closed outlines.

use crate::foot::View;
use crate::formula;
use crate::landmark::Line;
use crate::measure::geometry::area;
use crate::measure::{COMMON_PRACTICE, Measurement, Need, Plausible, Quantity};
use crate::numeric::Real;
use crate::placed::{Outcome, Placed, Undefined};

/// Area that the wall bears on.
pub const BEARING_AREA: Measurement = Measurement {
    id: "bearing_area",
    name: "Bearing area",
    view: View::Solar,
    quantity: Quantity::Area,
    definition: "Area between the wall's outer edge and the white line's inner edge: the horn that the foot stands on where \
                 the ground is hard and flat.",
    needs: &[Need::Line(Line::OuterWall, 3), Need::Line(Line::WhiteLine, 3)],
    source: COMMON_PRACTICE,
    references: &[],
    plausible: Plausible::estimated([300.0, 45000.0], [650.0, 18000.0]),
    formula: formula!(bearing_area),
};

fn bearing_area<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    inside_minus(p, Line::OuterWall, Line::WhiteLine)
}

/// Area of the sole.
pub const SOLE_AREA: Measurement = Measurement {
    id: "sole_area",
    name: "Sole area",
    view: View::Solar,
    quantity: Quantity::Area,
    definition: "Area inside the white line's inner edge without the frog.",
    needs: &[Need::Line(Line::WhiteLine, 3), Need::Line(Line::FrogOutline, 3)],
    source: COMMON_PRACTICE,
    references: &[],
    plausible: Plausible::estimated([600.0, 65000.0], [1200.0, 32000.0]),
    formula: formula!(sole_area),
};

fn sole_area<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    inside_minus(p, Line::WhiteLine, Line::FrogOutline)
}

/// Area of the foot's print.
pub const OUTLINE_AREA: Measurement = Measurement {
    id: "outline_area",
    name: "Area of the outline",
    view: View::Solar,
    quantity: Quantity::Area,
    definition: "Area inside the wall's outer edge.",
    needs: &[Need::Line(Line::OuterWall, 3)],
    source: COMMON_PRACTICE,
    references: &[],
    plausible: Plausible::estimated([1500.0, 80000.0], [2500.0, 46000.0]),
    formula: formula!(outline_area),
};

fn outline_area<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    area(p.line(Line::OuterWall, 3)?)
}

fn inside_minus<T: Real>(p: &Placed<'_, T>, outer: Line, inner: Line) -> Outcome<T> {
    let rest = area(p.line(outer, 3)?)? - area(p.line(inner, 3)?)?;
    if rest < T::zero() {
        return Err(Undefined::Impossible("the inner outline is larger than the outer one"));
    }
    Ok(rest)
}
