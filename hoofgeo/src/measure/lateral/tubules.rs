//! Direction of the horn tubules at toe, quarter and heel.

use super::GROUND;
use crate::foot::View;
use crate::formula;
use crate::landmark::Line;
use crate::measure::geometry::{angle_between, cross, dot, fitted_direction, from_to, ground};
use crate::measure::{COMMON_PRACTICE, Measurement, Need, Plausible, Quantity, Reference};
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
    plausible: Plausible::estimated([5.0, 120.0], [25.0, 80.0]),
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
    plausible: Plausible::estimated([5.0, 130.0], [18.0, 85.0]),
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
    plausible: Plausible::estimated([5.0, 130.0], [12.0, 90.0]),
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

/// How the tubules change from toe to heel.
pub const TUBULE_ANGLE_GRADIENT: Measurement = Measurement {
    id: "tubule_angle_gradient",
    name: "Tubule angle, toe minus heel",
    view: View::Lateral,
    quantity: Quantity::Angle,
    definition: "Tubule angle at the toe minus tubule angle at the heel: positive where the tubules lie flatter at the heel. \
                 It does not depend on the ground, and no flat trim changes it.",
    needs: &[Need::Line(Line::TubulesToe, 2), Need::Line(Line::TubulesHeel, 2)],
    source: COMMON_PRACTICE,
    references: &[Reference { says: "within 5°", source: "D. Taylor, AAEP talk, as reported by the trade press" }],
    plausible: Plausible::estimated([-70.0, 80.0], [-30.0, 45.0]),
    formula: formula!(tubule_angle_gradient),
};

fn tubule_angle_gradient<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    let (toe, heel) = (p.line(Line::TubulesToe, 2)?, p.line(Line::TubulesHeel, 2)?);
    if toe.len() > 2 || heel.len() > 2 {
        p.note_fit();
    }
    let (front, rear) = (-fitted_direction(toe)?, -fitted_direction(heel)?);
    let turn = cross(rear, front).atan2(dot(rear, front));
    // Steeper means turned away from the direction back, whichever way the foot faces.
    Ok(if cross(from_to(toe[0], heel[0]), front) < T::zero() { -turn } else { turn })
}
