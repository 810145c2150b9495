//! The heel from the side: its angle, length and height, against the toe and against the hard sole plane.

use super::toe::{dorsal_wall_length, toe_height};
use super::{DORSAL_WALL, GROUND, HEEL_WALL};
use crate::foot::View;
use crate::formula;
use crate::landmark::Landmark;
use crate::measure::geometry::{angle_between, cross, distance, dorsal_wall, dot, from_to, ground, heel_wall, height};
use crate::measure::{COMMON_PRACTICE, Measurement, Need, Plausible, Quantity, Reference};
use crate::numeric::Real;
use crate::placed::{Outcome, Placed, Undefined};

/// How steep the heel wall stands.
pub const HEEL_ANGLE: Measurement = Measurement {
    id: "heel_angle",
    name: "Heel angle",
    view: View::Lateral,
    quantity: Quantity::Angle,
    definition: "Angle between the ground, prolonged behind the heel, and the near heel wall, from its rearmost bearing point \
                 up to the coronary band.",
    needs: &[HEEL_WALL, GROUND],
    source: "Dyson et al. 2011, Vet J 190:364-371",
    references: &[
        Reference {
            says: "43.5° ± 6.3° in sound fore feet (mean ± SD)",
            source: "Dyson et al. 2011, Vet J 190:364-371, as quoted by others",
        },
        Reference {
            says: "should come near the toe angle, though wear normally makes the heel lower",
            source: "Adams & Stashak, Lameness in Horses, 7th ed., ch. 11",
        },
    ],
    plausible: Plausible::estimated([5.0, 110.0], [18.0, 80.0]).from(
        "mean - 4 SD and + 6 SD (upright and club feet) of sound fore feet, Dyson et al. 2011, Vet J 190:364-371",
    ),
    formula: formula!(heel_angle),
};

fn heel_angle<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    let wall = heel_wall(p)?;
    angle_between(ground(p)?.back, wall.along)
}

/// Toe angle minus heel angle.
pub const HEEL_TOE_ANGLE_DIFFERENCE: Measurement = Measurement {
    id: "heel_toe_angle_difference",
    name: "Toe minus heel angle",
    view: View::Lateral,
    quantity: Quantity::Angle,
    definition: "Dorsal wall angle minus heel angle. It does not depend on the ground, and no flat trim changes it: both \
                 angles turn alike.",
    needs: &[DORSAL_WALL, HEEL_WALL],
    source: "Turner 1992, Objective assessment of hoof balance (heel 5° lower than toe); the limit is disputed",
    references: &[
        Reference {
            says: "8.7° is the difference of the means in sound fore feet: the 5° rule marks the average sound horse",
            source: "Dyson et al. 2011, Vet J 190:364-371, as quoted by others",
        },
        Reference {
            says: "5° less, at least 5°, more than 5°, or any amount less",
            source: "Turner 1992; trade press; Butler 2012; Bowe (they disagree)",
        },
        Reference {
            says: "odds of suspensory apparatus failure × 6.75 per 10° in racing Thoroughbreds",
            source: "Kane et al. 1998, Am J Vet Res 59",
        },
    ],
    plausible: Plausible::estimated([-60.0, 70.0], [-20.0, 38.0]),
    formula: formula!(heel_toe_angle_difference),
};

fn heel_toe_angle_difference<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    let (toe, heel) = (dorsal_wall(p)?, heel_wall(p)?);
    let turn = cross(heel.along, toe.along).atan2(dot(heel.along, toe.along));
    // Steeper means turned away from the direction back, whichever way the foot faces.
    let back = from_to(toe.through, heel.through);
    Ok(if cross(back, toe.along) < T::zero() { -turn } else { turn })
}

/// Length of the heel's horn.
pub const HEEL_LENGTH: Measurement = Measurement {
    id: "heel_length",
    name: "Heel length",
    view: View::Lateral,
    quantity: Quantity::Length,
    definition: "Distance along the horn from the coronary band at the near heel to its rearmost bearing point. Not the \
                 heel's height: for the same height an underrun heel is longer.",
    needs: &[Need::Point(Landmark::HeelCoronet), Need::Point(Landmark::HeelGround)],
    source: "Stachurska et al. 2008, Arch Tierz 51:531",
    references: &[],
    plausible: Plausible::estimated([2.0, 160.0], [5.0, 105.0]),
    formula: formula!(heel_length),
};

fn heel_length<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    distance(p.at(Landmark::HeelGround)?, p.at(Landmark::HeelCoronet)?)
}

/// Heel length over dorsal wall length.
pub const HEEL_TOE_LENGTH_RATIO: Measurement = Measurement {
    id: "heel_toe_length_ratio",
    name: "Heel to toe length",
    view: View::Lateral,
    quantity: Quantity::Ratio,
    definition: "Heel length divided by dorsal wall length.",
    needs: &[
        Need::Point(Landmark::HeelCoronet),
        Need::Point(Landmark::HeelGround),
        Need::Point(Landmark::ToeCoronet),
        Need::Point(Landmark::ToeGround),
    ],
    source: "Stachurska et al. 2008, Arch Tierz 51:531 (given there as toe to heel)",
    references: &[
        Reference {
            says: "0.5 (toe to heel 2:1), fore and hind, 77 mares after trimming",
            source: "Stachurska et al. 2008, Arch Tierz 51:531",
        },
        Reference { says: "0.33 fore, 0.5 hind (3:1 and 2:1)", source: COMMON_PRACTICE },
    ],
    plausible: Plausible::estimated([0.03, 1.3], [0.08, 0.85]),
    formula: formula!(heel_toe_length_ratio),
};

fn heel_toe_length_ratio<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    Ok(heel_length(p)? / dorsal_wall_length(p)?)
}

/// Height of the coronary band at the heel.
pub const HEEL_HEIGHT: Measurement = Measurement {
    id: "heel_height",
    name: "Heel height",
    view: View::Lateral,
    quantity: Quantity::Length,
    definition: "Height of the coronary band at the near heel above the ground, square to it. It does not tell an underrun \
                 heel from a low one.",
    needs: &[Need::Point(Landmark::HeelCoronet), GROUND],
    source: "Dyson et al. 2011, Vet J 190:364-371 (palmar coronary band height)",
    references: &[],
    plausible: Plausible::estimated([1.0, 130.0], [4.0, 85.0]),
    formula: formula!(heel_height),
};

fn heel_height<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    height(p, Landmark::HeelCoronet)
}

/// Heel height over toe height.
pub const HEEL_TOE_HEIGHT_RATIO: Measurement = Measurement {
    id: "heel_toe_height_ratio",
    name: "Heel to toe height",
    view: View::Lateral,
    quantity: Quantity::Ratio,
    definition: "Heel height divided by toe height (both to the coronary band).",
    needs: &[Need::Point(Landmark::HeelCoronet), Need::Point(Landmark::ToeCoronet), GROUND],
    source: "White et al. 2008, Equine Vet J 40:623-628 (heel height as a percentage of toe height)",
    references: &[Reference {
        says: "not below 1/3 (dorsal to palmar not more than 3:1); smaller in lame feet",
        source: "Dyson et al. 2011, Vet J 190:364-371, as read by the trade",
    }],
    plausible: Plausible::estimated([0.02, 1.3], [0.06, 0.85]),
    formula: formula!(heel_toe_height_ratio),
};

fn heel_toe_height_ratio<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    let toe = toe_height(p)?;
    if toe <= T::zero() {
        return Err(Undefined::Impossible("toe_coronet lies below the ground"));
    }
    Ok(heel_height(p)? / toe)
}

/// How far the heel's bearing point has run forward under the foot.
pub const HEEL_SUPPORT_OFFSET: Measurement = Measurement {
    id: "heel_support_offset",
    name: "Heel support offset",
    view: View::Lateral,
    quantity: Quantity::Length,
    definition: "Distance along the ground by which the heel's rearmost bearing point lies ahead of the vertical through the \
                 coronary band at the heel.",
    needs: &[Need::Point(Landmark::HeelGround), Need::Point(Landmark::HeelCoronet), GROUND],
    source: COMMON_PRACTICE,
    references: &[],
    plausible: Plausible::estimated([-50.0, 150.0], [-15.0, 90.0]),
    formula: formula!(heel_support_offset),
};

fn heel_support_offset<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    Ok(dot(from_to(p.at(Landmark::HeelGround)?, p.at(Landmark::HeelCoronet)?), ground(p)?.back))
}

/// Spare heel horn beyond the hard sole plane.
pub const HEEL_ABOVE_SOLE_PLANE: Measurement = Measurement {
    id: "heel_above_sole_plane",
    name: "Heel above sole plane",
    view: View::Lateral,
    quantity: Quantity::Length,
    definition: "Height of the heel horn that stands past the hard sole plane at the seat of corn, square to the ground: read \
                 off a gauge on the side facing the camera, otherwise from where the sole plane meets the heel wall.",
    needs: &[Need::Either(&[
        &[Need::Gauge],
        &[Need::Point(Landmark::SolePlaneHeel), Need::Point(Landmark::HeelGround), GROUND],
    ])],
    source: COMMON_PRACTICE,
    references: &[Reference {
        says: "rule of thumb: heels more than 6 mm above the sole are trimmed to 6 mm",
        source: "one barefoot trimming manual, 2017",
    }],
    plausible: Plausible::estimated([-30.0, 50.0], [-8.0, 28.0]),
    formula: formula!(heel_above_sole_plane),
};

pub(crate) fn heel_above_sole_plane<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    if let Ok(read) = p.gauge() {
        return Ok(read);
    }
    let spare = from_to(p.at(Landmark::HeelGround)?, p.at(Landmark::SolePlaneHeel)?);
    Ok(dot(spare, ground(p)?.up(p)?))
}
