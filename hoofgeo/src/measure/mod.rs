//! What is measured. Each measurement is one declaration: its definition, what it needs, its source and one formula.
//!
//! The formula is generic over the scalar. On `f64` it gives the value and the Monte Carlo distribution, on dual numbers the
//! sensitivities. Schema, tables, `explain` and documentation are derived from the declarations.
//!
//! To add one: write the constant and its formula in the file of its theme, and name the constant in [`ALL`].

pub mod geometry;
mod lateral;
mod plausible;
mod solar;

pub use lateral::balance::{CORONARY_BAND_ANGLE, PASTERN_AXIS_DEVIATION, SUPPORT_LENGTH};
pub(crate) use lateral::heel::heel_above_sole_plane;
pub use lateral::heel::{
    HEEL_ABOVE_SOLE_PLANE, HEEL_ANGLE, HEEL_HEIGHT, HEEL_LENGTH, HEEL_SUPPORT_OFFSET, HEEL_TOE_ANGLE_DIFFERENCE,
    HEEL_TOE_HEIGHT_RATIO, HEEL_TOE_LENGTH_RATIO,
};
pub use lateral::rings::{RING_DIVERGENCE, RING_SPACING_HEEL, RING_SPACING_TOE};
pub use lateral::toe::{DORSAL_WALL_ANGLE, DORSAL_WALL_LENGTH, FLARE_START, TOE_EXCESS, TOE_FLARE, TOE_HEIGHT};
pub use lateral::tubules::{TUBULE_ANGLE_GRADIENT, TUBULE_ANGLE_HEEL, TUBULE_ANGLE_QUARTER, TUBULE_ANGLE_TOE};
pub use plausible::{Plausible, Standing};
pub use solar::areas::{BEARING_AREA, OUTLINE_AREA, SOLE_AREA};
pub use solar::frog::{FROG_LENGTH, FROG_WIDTH, FROG_WIDTH_LENGTH_RATIO};
pub use solar::heels::{HEEL_BASE_WIDTH, HEEL_LENGTH_DIFFERENCE};
pub use solar::size::{
    HEEL_BASE_SHARE, HOOF_LENGTH, HOOF_WIDTH, LENGTH_WIDTH_RATIO, MEDIAL_LATERAL_WIDTH_DIFFERENCE, TOE_BASE_SHARE,
};
pub use solar::toe::{SOLE_TOE_LENGTH, TOE_LENGTH_FROM_FROG, WALL_THICKNESS_TOE, WHITE_LINE_WIDTH};

use crate::foot::View;
use crate::landmark::{Landmark, Line};
use crate::placed::{Outcome, Placed};

/// The dual number that formulas are differentiated with: eight sensitivities at a time.
pub type Dual = num_dual::DualSVec64<{ Formula::SEEDS }>;

/// The kind of a measured quantity, which fixes its unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Quantity {
    /// Millimetres.
    Length,
    /// Degrees; formulas give radians.
    Angle,
    /// Square millimetres.
    Area,
    /// A ratio of like quantities.
    Ratio,
}

impl Quantity {
    /// The unit in results.
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Length => "mm",
            Self::Angle => "deg",
            Self::Area => "mm2",
            Self::Ratio => "1",
        }
    }

    /// Factor from the formula's unit to the unit in results.
    pub fn factor(self) -> f64 {
        match self {
            Self::Angle => 1f64.to_degrees(),
            Self::Length | Self::Area | Self::Ratio => 1.0,
        }
    }
}

/// Something that a measurement needs from the photo.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Need {
    /// A landmark.
    Point(Landmark),
    /// A line with at least so many points.
    Line(Line, usize),
    /// A gauge reading.
    Gauge,
    /// One of several sets, the first that is complete counts.
    Either(&'static [&'static [Need]]),
}

/// A published value to compare with: never a verdict.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reference {
    /// What was found, in words with numbers and units.
    pub says: &'static str,
    /// Where.
    pub source: &'static str,
}

/// A formula in its two instances.
#[derive(Debug, Clone, Copy)]
pub struct Formula {
    /// On plain numbers.
    pub value: for<'a, 'b> fn(&'b Placed<'a, f64>) -> Outcome<f64>,
    /// On dual numbers.
    pub dual: for<'a, 'b> fn(&'b Placed<'a, Dual>) -> Outcome<Dual>,
}

impl Formula {
    /// Sensitivities worked out at a time.
    pub const SEEDS: usize = 8;
}

/// Makes a [`Formula`] of a function that is generic over the scalar.
#[macro_export]
macro_rules! formula {
    ($function:path) => {
        $crate::measure::Formula { value: $function, dual: $function }
    };
}

/// A measurement's declaration.
#[derive(Debug, Clone, Copy)]
pub struct Measurement {
    /// Key in files and on the command line.
    pub id: &'static str,
    /// Name in the trade's words.
    pub name: &'static str,
    /// The view it is measured in.
    pub view: View,
    /// Kind and unit.
    pub quantity: Quantity,
    /// Definition, enough to redo it by hand.
    pub definition: &'static str,
    /// What it needs.
    pub needs: &'static [Need],
    /// Where the definition comes from, and who defines it otherwise.
    pub source: &'static str,
    /// Published values.
    pub references: &'static [Reference],
    /// What it can be at all, and what is rare.
    pub plausible: Plausible,
    /// The formula.
    pub formula: Formula,
}

/// Measurements are the same where their ids are.
impl PartialEq for Measurement {
    fn eq(&self, other: &Self) -> bool {
        self.id == other.id
    }
}

impl Eq for Measurement {}

/// Every measurement, in the order of tables and reports.
pub const ALL: &[&Measurement] = &[
    &DORSAL_WALL_ANGLE,
    &HEEL_ANGLE,
    &HEEL_TOE_ANGLE_DIFFERENCE,
    &DORSAL_WALL_LENGTH,
    &HEEL_LENGTH,
    &HEEL_TOE_LENGTH_RATIO,
    &TOE_HEIGHT,
    &HEEL_HEIGHT,
    &HEEL_TOE_HEIGHT_RATIO,
    &CORONARY_BAND_ANGLE,
    &SUPPORT_LENGTH,
    &HEEL_SUPPORT_OFFSET,
    &PASTERN_AXIS_DEVIATION,
    &TOE_FLARE,
    &FLARE_START,
    &TOE_EXCESS,
    &TUBULE_ANGLE_TOE,
    &TUBULE_ANGLE_QUARTER,
    &TUBULE_ANGLE_HEEL,
    &TUBULE_ANGLE_GRADIENT,
    &RING_SPACING_TOE,
    &RING_SPACING_HEEL,
    &RING_DIVERGENCE,
    &HEEL_ABOVE_SOLE_PLANE,
    &HOOF_LENGTH,
    &HOOF_WIDTH,
    &LENGTH_WIDTH_RATIO,
    &TOE_LENGTH_FROM_FROG,
    &SOLE_TOE_LENGTH,
    &WHITE_LINE_WIDTH,
    &WALL_THICKNESS_TOE,
    &FROG_LENGTH,
    &FROG_WIDTH,
    &FROG_WIDTH_LENGTH_RATIO,
    &HEEL_BASE_WIDTH,
    &HEEL_BASE_SHARE,
    &TOE_BASE_SHARE,
    &MEDIAL_LATERAL_WIDTH_DIFFERENCE,
    &HEEL_LENGTH_DIFFERENCE,
    &BEARING_AREA,
    &SOLE_AREA,
    &OUTLINE_AREA,
];

/// The measurement of this id.
pub fn find(id: &str) -> Option<&'static Measurement> {
    ALL.iter().copied().find(|m| m.id == id)
}

/// The measurements of a view.
pub fn of(view: View) -> impl Iterator<Item = &'static Measurement> {
    ALL.iter().copied().filter(move |m| m.view == view)
}

/// "Common practice, no source": the mark of a fact of the trade that nobody published.
const COMMON_PRACTICE: &str = "common practice, no source";
