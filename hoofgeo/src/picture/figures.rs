//! What is drawn for which measurement: one table.
//!
//! A measurement that is not in the table is drawn by what its formula made use of ([`Figure::Used`]), after those that are.

use crate::measure::Measurement;
use crate::{Landmark, Line};

/// A straight line that makes an angle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Arm {
    /// The dorsal wall, as measured: fitted, or through its landmarks.
    DorsalWall,
    /// The near heel wall.
    HeelWall,
    /// From one landmark to another.
    Between(Landmark, Landmark),
    /// The line that fits a row of points, upwards.
    Row(Line),
}

/// What a measurement looks like on the photo.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Figure {
    /// The angle between the ground, backwards, and an arm, with an arc.
    AngleToGround(Arm),
    /// The straight distance of two landmarks, drawn beside their line.
    Distance(Landmark, Landmark),
    /// Their distance along the ground, drawn so many steps below it.
    AlongGround(Landmark, Landmark, f64),
    /// Height of a landmark above the ground.
    AboveGround(Landmark),
    /// The distance along the frog's axis from one place to another, so far beside the axis.
    AlongAxis(Station, Station, Beside),
    /// The distance of two landmarks square to the frog's axis.
    AcrossAxis(Landmark, Landmark),
    /// Two arms that ought to be parallel: the first is prolonged.
    Break(Landmark, Landmark),
    /// The upper wall prolonged to the ground, and what lies ahead of it.
    AheadOfUpperWall,
    /// A place at the measured distance along a row of points.
    PlaceOn(Line),
    /// Ticks at every point of a row.
    Ticks(Line),
    /// The region between outlines.
    Outline(Line),
    /// What the formula made use of.
    Used,
    /// Nothing: it follows from others that are drawn.
    Derived,
}

/// A place that a length along the frog's axis starts or ends at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Station {
    At(Landmark),
    Midway(Landmark, Landmark),
}

/// Where a length along the frog's axis is drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Beside {
    /// On the axis.
    On,
    /// This far to the side that has no scale, mm.
    Mm(f64),
    /// Outside the foot.
    Outside,
}

/// What stands on the photo itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Says {
    /// The key and, where there is room, the value.
    Value,
    /// The key alone; the table has the value.
    Key,
}

use Landmark as L;
use Says::{Key, Value};
use Station::{At, Midway};

/// Figures by measurement, the most telling first: values get room in this order.
const TABLE: &[(&str, Says, Figure)] = &[
    ("dorsal_wall_angle", Value, Figure::AngleToGround(Arm::DorsalWall)),
    ("heel_angle", Value, Figure::AngleToGround(Arm::HeelWall)),
    ("dorsal_wall_length", Value, Figure::Distance(L::ToeGround, L::ToeCoronet)),
    ("support_length", Value, Figure::AlongGround(L::ToeGround, L::HeelGround, 2.0)),
    ("heel_toe_angle_difference", Value, Figure::Derived),
    ("coronary_band_angle", Value, Figure::AngleToGround(Arm::Between(L::ToeCoronet, L::HeelCoronet))),
    ("heel_support_offset", Value, Figure::AlongGround(L::HeelGround, L::HeelCoronet, 1.0)),
    ("heel_length", Key, Figure::Distance(L::HeelGround, L::HeelCoronet)),
    ("pastern_axis_deviation", Value, Figure::Break(L::PasternUpper, L::PasternLower)),
    ("toe_flare", Key, Figure::AheadOfUpperWall),
    ("heel_above_sole_plane", Key, Figure::AboveGround(L::SolePlaneHeel)),
    ("heel_toe_height_ratio", Value, Figure::Derived),
    ("toe_excess", Value, Figure::Derived),
    ("heel_toe_length_ratio", Value, Figure::Derived),
    ("tubule_angle_toe", Key, Figure::AngleToGround(Arm::Row(Line::TubulesToe))),
    ("tubule_angle_heel", Key, Figure::AngleToGround(Arm::Row(Line::TubulesHeel))),
    ("ring_divergence", Value, Figure::Derived),
    ("toe_height", Value, Figure::Derived),
    ("heel_height", Value, Figure::Derived),
    ("tubule_angle_quarter", Key, Figure::AngleToGround(Arm::Row(Line::TubulesQuarter))),
    ("ring_spacing_toe", Key, Figure::Ticks(Line::RingsToe)),
    ("ring_spacing_heel", Key, Figure::Ticks(Line::RingsHeel)),
    ("flare_start", Key, Figure::PlaceOn(Line::DorsalWall)),
    ("hoof_length", Value, Figure::AlongAxis(Midway(L::HeelMedial, L::HeelLateral), At(L::ToeOuter), Beside::Outside)),
    ("hoof_width", Value, Figure::AcrossAxis(L::WidestMedial, L::WidestLateral)),
    ("toe_length_from_frog", Value, Figure::AlongAxis(At(L::FrogApex), At(L::ToeOuter), Beside::Mm(12.0))),
    (
        "frog_length",
        Value,
        Figure::AlongAxis(Midway(L::FrogBaseMedial, L::FrogBaseLateral), At(L::FrogApex), Beside::On),
    ),
    ("frog_width", Value, Figure::AcrossAxis(L::FrogBaseMedial, L::FrogBaseLateral)),
    ("heel_base_width", Value, Figure::Distance(L::HeelMedial, L::HeelLateral)),
    ("white_line_width", Value, Figure::AlongAxis(At(L::WhiteLineInner), At(L::WhiteLineOuter), Beside::On)),
    ("wall_thickness_toe", Value, Figure::AlongAxis(At(L::WhiteLineOuter), At(L::ToeOuter), Beside::On)),
    ("sole_toe_length", Key, Figure::AlongAxis(At(L::FrogApex), At(L::WhiteLineInner), Beside::On)),
    ("heel_base_share", Value, Figure::Derived),
    ("length_width_ratio", Value, Figure::Derived),
    ("frog_width_length_ratio", Value, Figure::Derived),
    ("medial_lateral_width_difference", Value, Figure::Derived),
    ("heel_length_difference", Value, Figure::Derived),
    ("toe_base_share", Value, Figure::Derived),
    ("bearing_area", Key, Figure::Outline(Line::OuterWall)),
    ("sole_area", Key, Figure::Outline(Line::WhiteLine)),
    ("outline_area", Value, Figure::Derived),
];

/// How a measurement is drawn, and its rank among the values: smaller comes first.
pub(super) fn figure(measurement: &Measurement) -> (Figure, Says, usize) {
    let known = TABLE.iter().position(|(id, ..)| *id == measurement.id);
    known.map_or((Figure::Used, Value, TABLE.len()), |i| (TABLE[i].2, TABLE[i].1, i))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure;

    #[test]
    fn the_table_names_measurements_that_exist_once_each() {
        for (i, (id, ..)) in TABLE.iter().enumerate() {
            assert!(measure::find(id).is_some(), "{id}");
            assert!(!TABLE[..i].iter().any(|(other, ..)| other == id), "{id} twice");
        }
    }

    #[test]
    fn what_is_not_in_the_table_is_drawn_by_what_it_uses() {
        let own = Measurement { id: "own", ..measure::HOOF_WIDTH };
        assert_eq!(figure(&own), (Figure::Used, Value, TABLE.len()));
    }
}
