//! The toe from the side: the dorsal wall's angle, length, height and flare.

use super::{DORSAL_WALL, GROUND};
use crate::foot::View;
use crate::formula;
use crate::landmark::{Landmark, Line};
use crate::measure::geometry::{Straight, angle_between, cross, distance, dorsal_wall, dot, from_to, ground, height};
use crate::measure::{COMMON_PRACTICE, Measurement, Need, Plausible, Quantity, Reference};
use crate::numeric::{Real, constant, value};
use crate::placed::{Outcome, Placed, Undefined};
use nalgebra::Point2;

/// How steep the dorsal wall stands.
pub const DORSAL_WALL_ANGLE: Measurement = Measurement {
    id: "dorsal_wall_angle",
    name: "Dorsal wall angle",
    view: View::Lateral,
    quantity: Quantity::Angle,
    definition: "Angle on the palmar side between the ground, from toe to heel, and the dorsal wall, from the ground up.",
    needs: &[DORSAL_WALL, GROUND],
    source: "White et al. 2008, Equine Vet J 40:623-628 (hoof angle on lateral photos)",
    references: &[
        Reference {
            says: "52.2° ± 3.7° in sound fore feet (mean ± SD)",
            source: "Dyson et al. 2011, Vet J 190:364-371, as quoted by others",
        },
        Reference {
            says: "50.05° ± 2.21° before and 51.40° ± 2.13° after a trim (10 horses, fore feet, radiographs)",
            source: "Effects of hoof trimming on radiographic measurements, Dareh-Shori horse, Iran J Vet Surg",
        },
        Reference {
            says: "textbooks disagree: 45°, 45-50°, 50-55°",
            source: "Hickman 1987; Stashak 2002; Butler 1995, as quoted by others",
        },
    ],
    plausible: Plausible::estimated([20.0, 85.0], [35.0, 70.0]).from(
        "mean ± 4.7 SD of sound fore feet, Dyson et al. 2011, Vet J 190:364-371; beyond possible: estimate, no source",
    ),
    formula: formula!(dorsal_wall_angle),
};

pub(super) fn dorsal_wall_angle<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    let wall = dorsal_wall(p)?;
    angle_between(ground(p)?.back, wall.along)
}

/// Length of the dorsal wall.
pub const DORSAL_WALL_LENGTH: Measurement = Measurement {
    id: "dorsal_wall_length",
    name: "Dorsal wall length",
    view: View::Lateral,
    quantity: Quantity::Length,
    definition: "Straight distance from the coronary band at the dorsal midline to the toe's bearing edge.",
    needs: &[Need::Point(Landmark::ToeCoronet), Need::Point(Landmark::ToeGround)],
    source: "FEIF, How to measure the length of a hoof, 2010",
    references: &[
        Reference {
            says: "88.3 ± 11.9 mm before and 85.3 ± 10.4 mm after a trim (10 horses, fore feet)",
            source: "Effects of hoof trimming on radiographic measurements, Dareh-Shori horse, Iran J Vet Surg",
        },
        Reference { says: "76 to 100 mm is usual", source: COMMON_PRACTICE },
        Reference {
            says: "the coronet moves: a toe's length cannot be judged from the side alone",
            source: "Ramey 2006 (opinion)",
        },
    ],
    plausible: Plausible::estimated([20.0, 280.0], [34.0, 190.0])
        .from("76 to 100 mm is usual in riding horses (common practice, no source); ponies, draught horses, neglected feet: estimate"),
    formula: formula!(dorsal_wall_length),
};

pub(super) fn dorsal_wall_length<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    distance(p.at(Landmark::ToeGround)?, p.at(Landmark::ToeCoronet)?)
}

/// Height of the coronary band at the toe.
pub const TOE_HEIGHT: Measurement = Measurement {
    id: "toe_height",
    name: "Toe height",
    view: View::Lateral,
    quantity: Quantity::Length,
    definition: "Height of the coronary band at the dorsal midline above the ground, square to it.",
    needs: &[Need::Point(Landmark::ToeCoronet), GROUND],
    source: "Dyson et al. 2011, Vet J 190:364-371 (dorsal coronary band height)",
    references: &[],
    plausible: Plausible::estimated([12.0, 240.0], [25.0, 165.0]),
    formula: formula!(toe_height),
};

pub(super) fn toe_height<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    height(p, Landmark::ToeCoronet)
}

/// Fewest points of the dorsal wall for comparing its thirds.
const THIRDS: usize = 5;

/// Flare below this, degrees, has no start: the two lines are too nearly parallel to cross anywhere in particular (the trade
/// calls flare notable from here on; common practice, no source).
const FLARE_DEG: f64 = 5.0;

/// How far the wall must run ahead of its upper third's line for its flare to have begun, mm (common practice, no source).
const AHEAD_MM: f64 = 2.0;

/// Flare of the toe.
pub const TOE_FLARE: Measurement = Measurement {
    id: "toe_flare",
    name: "Toe flare",
    view: View::Lateral,
    quantity: Quantity::Angle,
    definition: "Angle of the dorsal wall's upper third minus that of its lower third, each the line that fits best; \
                 positive where the lower part lies flatter.",
    needs: &[Need::Line(Line::DorsalWall, THIRDS), GROUND],
    source: COMMON_PRACTICE,
    references: &[
        Reference { says: "0° in an undistorted wall", source: COMMON_PRACTICE },
        Reference { says: "above 5° notable, above 10° marked", source: COMMON_PRACTICE },
    ],
    plausible: Plausible::estimated([-60.0, 60.0], [-25.0, 35.0]),
    formula: formula!(toe_flare),
};

fn toe_flare<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    let wall = p.line(Line::DorsalWall, THIRDS)?;
    p.note_fit();
    let upper = third(wall, 0.0)?.along;
    let lower = third(wall, 2.0 / 3.0)?.along;
    let turn = cross(upper, lower).atan2(dot(upper, lower));
    // Both run down; forwards is where they go against the ground's back, on either side the photo was taken from.
    let forwards = if p.has(Landmark::ToeGround) && p.has(Landmark::HeelGround) {
        from_to(p.at(Landmark::HeelGround)?, p.at(Landmark::ToeGround)?)
    } else {
        -ground(p)?.back
    };
    Ok(if cross(upper, forwards) < T::zero() { -turn } else { turn })
}

/// The line that fits the third of the wall beginning at `from` (share of its length from the coronet).
fn third<T: Real>(wall: &[Point2<T>], from: f64) -> Outcome<Straight<T>> {
    let along = lengths(wall);
    let total = along[along.len() - 1];
    let (start, end) = (from * total - 1e-9, (from + 1.0 / 3.0) * total + 1e-9);
    let points: Vec<_> = wall.iter().zip(&along).filter(|(_, s)| (start..=end).contains(*s)).map(|(p, _)| *p).collect();
    if points.len() < 2 {
        return Err(Undefined::Impossible("each third of dorsal_wall needs at least two points"));
    }
    Straight::fitted(&points)
}

/// Distance of each point from the first, along the line, on plain numbers.
fn lengths<T: Real>(line: &[Point2<T>]) -> Vec<f64> {
    let mut sum = 0.0;
    let mut out = vec![0.0];
    for pair in line.windows(2) {
        let d = from_to(pair[0], pair[1]);
        sum += value(d.x).hypot(value(d.y));
        out.push(sum);
    }
    out
}

/// Where the toe's flare begins.
pub const FLARE_START: Measurement = Measurement {
    id: "flare_start",
    name: "Flare start",
    view: View::Lateral,
    quantity: Quantity::Length,
    definition: "Distance below the coronet, along the line of the dorsal wall's upper third, at which the line of the lower \
                 third has run 2 mm ahead of it, each the line that fits best. Only where the toe flares by 5° or more.",
    needs: &[Need::Line(Line::DorsalWall, THIRDS), GROUND],
    source: COMMON_PRACTICE,
    references: &[],
    plausible: Plausible::estimated([-100.0, 300.0], [-20.0, 160.0]),
    formula: formula!(flare_start),
};

fn flare_start<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    let flare = toe_flare(p)?;
    if flare < constant(FLARE_DEG.to_radians()) {
        return Err(Undefined::Impossible("the toe flares by less than 5°, so where the flare starts is not defined"));
    }
    let wall = p.line(Line::DorsalWall, THIRDS)?;
    let upper = third(wall, 0.0)?;
    let bend = upper.crossing(&third(wall, 2.0 / 3.0)?)?;
    Ok(dot(from_to(wall[0], bend), upper.along) + constant::<T>(AHEAD_MM) / flare.tan())
}

/// How far the toe has run ahead of the upper wall.
pub const TOE_EXCESS: Measurement = Measurement {
    id: "toe_excess",
    name: "Toe excess",
    view: View::Lateral,
    quantity: Quantity::Length,
    definition: "Distance along the ground by which the toe's bearing edge lies ahead of where the line of the dorsal wall's \
                 upper third meets the ground.",
    needs: &[Need::Line(Line::DorsalWall, THIRDS), Need::Point(Landmark::ToeGround), GROUND],
    source: COMMON_PRACTICE,
    references: &[Reference { says: "0 mm ideal; the rule is disputed among trimmers", source: COMMON_PRACTICE }],
    plausible: Plausible::estimated([-80.0, 130.0], [-25.0, 55.0]),
    formula: formula!(toe_excess),
};

fn toe_excess<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
    let wall = p.line(Line::DorsalWall, THIRDS)?;
    p.note_fit();
    let g = ground(p)?;
    let meets = third(wall, 0.0)?.crossing(&Straight { through: g.through, along: g.back })?;
    Ok(dot(from_to(p.at(Landmark::ToeGround)?, meets), g.back))
}
