//! Direction of the horn tubules at toe, quarter and heel.

use super::GROUND;
use crate::foot::View;
use crate::formula;
use crate::landmark::Line;
use crate::measure::geometry::{angle_between, fitted_direction, ground};
use crate::measure::{COMMON_PRACTICE, Measurement, Need, Quantity, Reference};
use crate::numeric::Real;
use crate::placed::{Outcome, Placed};

/// Tubules at the toe.
pub const TUBULE_ANGLE_TOE: Measurement = Measurement {
    id: "tubule_angle_toe",
    name: "Tubule angle at the toe",
    view: View::Lateral,
    quantity: Quantity::Angle,
    definition: "Angle between the ground, from toe to heel, and the horn tubules at the toe, from the ground up.",
    needs: &[Need::Line(Line::TubulesToe, 2), GROUND],
    source: COMMON_PRACTICE,
    references: &[],
    formula: formula!(tubule_angle_toe),
};

fn tubule_angle_toe<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    tubule_angle(p, Line::TubulesToe)
}

/// Tubules at the quarter.
pub const TUBULE_ANGLE_QUARTER: Measurement = Measurement {
    id: "tubule_angle_quarter",
    name: "Tubule angle at the quarter",
    view: View::Lateral,
    quantity: Quantity::Angle,
    definition: "Angle between the ground, from toe to heel, and the horn tubules at the quarter, from the ground up.",
    needs: &[Need::Line(Line::TubulesQuarter, 2), GROUND],
    source: COMMON_PRACTICE,
    references: &[],
    formula: formula!(tubule_angle_quarter),
};

fn tubule_angle_quarter<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    tubule_angle(p, Line::TubulesQuarter)
}

/// Tubules at the heel.
pub const TUBULE_ANGLE_HEEL: Measurement = Measurement {
    id: "tubule_angle_heel",
    name: "Tubule angle at the heel",
    view: View::Lateral,
    quantity: Quantity::Angle,
    definition: "Angle between the ground, from toe to heel, and the horn tubules at the heel, from the ground up.",
    needs: &[Need::Line(Line::TubulesHeel, 2), GROUND],
    source: COMMON_PRACTICE,
    references: &[Reference {
        says: "within 5° of the tubules at the toe",
        source: "D. Taylor, AAEP talk, as reported by the trade press",
    }],
    formula: formula!(tubule_angle_heel),
};

fn tubule_angle_heel<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    tubule_angle(p, Line::TubulesHeel)
}

fn tubule_angle<T: Real>(p: &Placed<'_, T>, line: Line) -> Outcome<T> {
    let points = p.line(line, 2)?;
    if points.len() > 2 {
        p.note_fit();
    }
    let down = fitted_direction(points)?;
    angle_between(ground(p)?.back, -down)
}
