//! What is judged besides the measurements themselves: combinations of one photo's points, evaluated as measurements are, so that
//! everything their parts share stays correlated.

use crate::foot::View;
use crate::formula;
use crate::landmark::{Landmark, Line};
use crate::measure::geometry::{
    angle_between, cross, dorsal_wall, dot, fitted_direction, frog_axis, from_to, ground, heel_wall, height, midpoint,
};
use crate::measure::{self, Measurement, Need, Plausible, Quantity, Reference};
use crate::numeric::{Real, constant};
use crate::placed::{Outcome, Placed, Undefined};

/// Every quantity that the review adds to [`measure::ALL`].
pub const ALL: &[&Measurement] = &[
    &TUBULE_ANGLE_DIFFERENCE,
    &HEEL_RUN_AHEAD,
    &HEEL_RUN_BEYOND_SOLE_PLANE,
    &HEEL_AHEAD_OF_FROG,
    &TOE_SHARE_FROM_FROG,
];

/// Tubules at the toe against those at the heel.
pub const TUBULE_ANGLE_DIFFERENCE: Measurement = Measurement {
    id: "tubule_angle_difference",
    name: "Toe minus heel tubules",
    view: View::Lateral,
    quantity: Quantity::Angle,
    definition: "Angle of the horn tubules at the toe minus that at the heel, each the line that fits best. It does not depend on \
                 the ground.",
    needs: &[Need::Line(Line::TubulesToe, 2), Need::Line(Line::TubulesHeel, 2)],
    source: "D. Taylor, AAEP talk, as reported by the trade press",
    references: &[Reference {
        says: "heel tubules within 5° of those at the toe",
        source: "D. Taylor, AAEP talk, as reported by the trade press",
    }],
    plausible: Plausible::estimated([-70.0, 80.0], [-30.0, 45.0]),
    formula: formula!(tubule_angle_difference),
};

fn tubule_angle_difference<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    let (toe, heel) = (p.line(Line::TubulesToe, 2)?, p.line(Line::TubulesHeel, 2)?);
    if toe.len() > 2 || heel.len() > 2 {
        p.note_fit();
    }
    let (toe_up, heel_up) = (-fitted_direction(toe)?, -fitted_direction(heel)?);
    let turn = cross(heel_up, toe_up).atan2(dot(heel_up, toe_up));
    // The heel's tubule stands behind the toe's, whichever way the foot faces.
    let back = from_to(measure::geometry::mean(toe), measure::geometry::mean(heel));
    Ok(if cross(back, toe_up) < T::zero() { -turn } else { turn })
}

/// How far the heel bears ahead of where a heel parallel to the toe would.
pub const HEEL_RUN_AHEAD: Measurement = Measurement {
    id: "heel_run_ahead",
    name: "Heel bearing point ahead",
    view: View::Lateral,
    quantity: Quantity::Length,
    definition: "Heel support offset minus what it would be if the heel wall ran parallel to the dorsal wall from the same \
                 coronary point: how far the bearing point lies ahead of where a parallel heel would bear.",
    needs: &[
        Need::Point(Landmark::HeelGround),
        Need::Point(Landmark::HeelCoronet),
        Need::Point(Landmark::ToeGround),
        Need::Point(Landmark::ToeCoronet),
    ],
    source: "geometry: a heel of coronary height h at angle β bears h (cot β - cot α) ahead of one at the toe's angle α",
    references: &[],
    plausible: Plausible::estimated([-70.0, 130.0], [-20.0, 65.0]),
    formula: formula!(heel_run_ahead),
};

fn heel_run_ahead<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    let g = ground(p)?;
    let (heel, top) = (p.at(Landmark::HeelGround)?, p.at(Landmark::HeelCoronet)?);
    let offset = dot(from_to(heel, top), g.back);
    let toe = angle_between(g.back, dorsal_wall(p)?.along)?;
    if toe < constant(MIN_ANGLE) {
        return Err(Undefined::Impossible("the dorsal wall lies flat on the ground"));
    }
    Ok(offset - height(p, Landmark::HeelCoronet)? / toe.tan())
}

/// A wall flatter than this, rad, meets the ground nowhere in particular.
const MIN_ANGLE: f64 = 0.1;

/// How far the spare heel horn carries the bearing point forward.
pub const HEEL_RUN_BEYOND_SOLE_PLANE: Measurement = Measurement {
    id: "heel_run_beyond_sole_plane",
    name: "Run of the spare heel horn",
    view: View::Lateral,
    quantity: Quantity::Length,
    definition: "Height of the heel horn beyond the hard sole plane divided by the tangent of the heel angle: how far the bearing \
                 point would move back along the horn if the heel were lowered to the hard sole plane.",
    needs: measure::HEEL_ABOVE_SOLE_PLANE.needs,
    source: "geometry: f = e / tan β",
    references: &[],
    plausible: Plausible::estimated([-80.0, 160.0], [-20.0, 50.0]),
    formula: formula!(heel_run_beyond_sole_plane),
};

fn heel_run_beyond_sole_plane<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    let spare = measure::heel_above_sole_plane(p)?;
    let angle = angle_between(ground(p)?.back, heel_wall(p)?.along)?;
    if angle < constant(MIN_ANGLE) {
        return Err(Undefined::Impossible("the heel wall lies flat on the ground"));
    }
    Ok(spare / angle.tan())
}

/// Bearing points of the heels against the frog.
pub const HEEL_AHEAD_OF_FROG: Measurement = Measurement {
    id: "heel_ahead_of_frog_base",
    name: "Heels ahead of the frog's base",
    view: View::Solar,
    quantity: Quantity::Length,
    definition: "Distance along the frog's axis by which half-way between the heel buttresses' rearmost bearing points lies ahead \
                 of half-way between the frog's rear corners.",
    needs: &[
        Need::Point(Landmark::HeelMedial),
        Need::Point(Landmark::HeelLateral),
        Need::Point(Landmark::FrogBaseMedial),
        Need::Point(Landmark::FrogBaseLateral),
        Need::Point(Landmark::FrogApex),
        Need::Point(Landmark::CentralSulcus),
    ],
    source: "O'Grady, Guidelines for trimming the equine foot, AAEP 2009; D. Taylor, AAEP talk (bearing point ahead of the frog's base)",
    references: &[],
    plausible: Plausible::estimated([-70.0, 90.0], [-25.0, 50.0]),
    formula: formula!(heel_ahead_of_frog_base),
};

fn heel_ahead_of_frog_base<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    let heels = midpoint(p.at(Landmark::HeelMedial)?, p.at(Landmark::HeelLateral)?);
    let base = midpoint(p.at(Landmark::FrogBaseMedial)?, p.at(Landmark::FrogBaseLateral)?);
    Ok(dot(from_to(base, heels), frog_axis(p)?.forward))
}

/// The toe's part of the foot, seen from the sole.
pub const TOE_SHARE_FROM_FROG: Measurement = Measurement {
    id: "toe_share_from_frog",
    name: "Share ahead of the frog",
    view: View::Solar,
    quantity: Quantity::Ratio,
    definition: "Toe length from the frog divided by hoof length: the part of the foot's length that lies ahead of the frog's apex.",
    needs: measure::HOOF_LENGTH.needs,
    source: "laminitis charity page; trimming schools (a third ahead of the frog's apex, two thirds behind)",
    references: &[Reference { says: "0.33", source: "laminitis charity page; trimming schools" }],
    plausible: Plausible::estimated([0.02, 0.95], [0.12, 0.6]),
    formula: formula!(toe_share_from_frog),
};

fn toe_share_from_frog<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    let axis = frog_axis(p)?;
    let heels = midpoint(p.at(Landmark::HeelMedial)?, p.at(Landmark::HeelLateral)?);
    let toe = p.at(Landmark::ToeOuter)?;
    let whole = dot(from_to(heels, toe), axis.forward);
    if whole <= T::zero() {
        return Err(Undefined::Impossible("the toe lies behind the heels on the frog's axis"));
    }
    Ok(dot(from_to(axis.apex, toe), axis.forward) / whole)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::placed::Index;
    use nalgebra::Point2;

    /// The synthetic foot of the check values (geometry): toe at the origin, support 120, wall 85 at 52°, heel 36 at 44°.
    fn s1(mirror: f64) -> (Index, Vec<Point2<f64>>) {
        let at = |x: f64, length: f64, deg: f64| {
            let (s, c) = deg.to_radians().sin_cos();
            Point2::new(mirror * (x + length * c), length * s)
        };
        let mut index = Index::default();
        let mut points = vec![at(0.0, 0.0, 0.0), at(0.0, 85.0, 52.0), at(120.0, 0.0, 0.0), at(120.0, 36.0, 44.0)];
        for (i, l) in [Landmark::ToeGround, Landmark::ToeCoronet, Landmark::HeelGround, Landmark::HeelCoronet]
            .into_iter()
            .enumerate()
        {
            index.set_landmark(l, i);
        }
        index.set_line(Line::TubulesToe, 4..6);
        points.extend([at(20.0, 60.0, 51.0), at(20.0, 10.0, 51.0)]);
        index.set_line(Line::TubulesHeel, 6..8);
        points.extend([at(110.0, 30.0, 43.0), at(110.0, 5.0, 43.0)]);
        (index, points)
    }

    #[test]
    fn the_bearing_point_of_a_parallel_heel_lies_where_it_belongs() {
        for mirror in [1.0, -1.0] {
            let (index, points) = s1(mirror);
            let p = Placed::new(&index, &points, Some(7.0));
            let (alpha, beta) = (52f64.to_radians(), 44f64.to_radians());
            let expected = 36.0 * beta.sin() * (1.0 / beta.tan() - 1.0 / alpha.tan());
            assert!((heel_run_ahead(&p).unwrap() - expected).abs() < 1e-9);
            // Check value 14, geometry: e = 7 at 44° runs 7.249 mm forward.
            assert!((heel_run_beyond_sole_plane(&p).unwrap() - 7.249).abs() < 5e-4);
            assert!((tubule_angle_difference(&p).unwrap().to_degrees() - 8.0).abs() < 1e-9);
        }
    }
}
