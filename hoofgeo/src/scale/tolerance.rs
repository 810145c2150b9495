//! Tolerances of rules by law, and what each kind of scale is trusted to where nothing is stated.

use super::ScaleKind;
use serde::{Deserialize, Serialize};

/// Accuracy class of a rule.
///
/// # Source
/// Directive 2014/32/EU, Annex X (MI-008), chapter I: between two non-consecutive scale marks the maximum permissible error is
/// ±(a + b L) mm, L rounded up to the next whole metre.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum RuleClass {
    /// Class I: a = 0.1 mm, b = 0.1.
    I,
    /// Class II: a = 0.3 mm, b = 0.2.
    II,
    /// Class III: a = 0.6 mm, b = 0.4.
    III,
}

impl RuleClass {
    /// Maximum permissible error of a length, mm.
    ///
    /// # Example: a 150 mm rule of class II
    /// ```
    /// use hoofgeo::scale::RuleClass;
    /// assert_eq!(RuleClass::II.maximum_error_mm(150.0), 0.5);
    /// ```
    pub fn maximum_error_mm(self, length_mm: f64) -> f64 {
        let (a, b) = match self {
            Self::I => (0.1, 0.1),
            Self::II => (0.3, 0.2),
            Self::III => (0.6, 0.4),
        };
        a + b * (length_mm / 1000.0).ceil().max(1.0)
    }

    /// Further error allowed where one end of the length is the rule's end face instead of a mark, mm.
    pub const fn end_face_error_mm(self) -> f64 {
        match self {
            Self::I => 0.1,
            Self::II => 0.2,
            Self::III => 0.3,
        }
    }
}

/// How well the scale's graduations keep their nominal distances.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Tolerance {
    /// The accuracy class printed on the rule; its maximum permissible error is taken as the half width of a rectangular
    /// distribution.
    #[serde(rename = "class")]
    Class(RuleClass),
    /// Relative standard uncertainty of every length on it (2e-4: 0.02 mm on 100 mm).
    #[serde(rename = "u_rel")]
    URel(#[cfg_attr(feature = "schema", schemars(range(min = 0.0, max = 0.1)))] f64),
}

impl Tolerance {
    /// Relative standard uncertainty of the graduations over a span in mm.
    pub fn relative_u(self, span_mm: f64) -> f64 {
        match self {
            Self::Class(class) => class.maximum_error_mm(span_mm) / 3f64.sqrt() / span_mm,
            Self::URel(u) => u,
        }
    }

    /// What a scale is trusted to where its sidecar does not say: a ruler as class II (estimate, no source); a card within
    /// ISO/IEC 7810's limits of 85.47 to 85.72 mm (from memory), rectangular; a printed board to 0.2 % (printers stretch;
    /// estimate, no source).
    pub fn assumed(kind: ScaleKind) -> Self {
        match kind {
            ScaleKind::StraightRuler | ScaleKind::SquareRuler => Self::Class(RuleClass::II),
            ScaleKind::Card => Self::URel(0.125 / 3f64.sqrt() / 85.6),
            ScaleKind::Board => Self::URel(0.002),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_150_mm_class_ii_rule_is_known_to_0_29_mm() {
        let u = Tolerance::Class(RuleClass::II).relative_u(150.0) * 150.0;
        assert!((u - 0.5 / 3f64.sqrt()).abs() < 1e-15);
    }
}
