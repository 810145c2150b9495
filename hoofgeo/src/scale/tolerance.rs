//! Tolerances of rules by law.

/// Accuracy class of a material measure of length.
///
/// # Source
/// Directive 2014/32/EU, Annex X (MI-008), chapter I: between two non-consecutive scale marks the maximum permissible error is
/// ±(a + b L) mm, L rounded up to the next whole metre.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum LengthClass {
    /// Class I: a = 0.1 mm, b = 0.1.
    I,
    /// Class II: a = 0.3 mm, b = 0.2.
    II,
    /// Class III: a = 0.6 mm, b = 0.4.
    III,
}

impl LengthClass {
    /// Maximum permissible error of a length, mm.
    ///
    /// # Example: a 150 mm rule of class II
    /// ```
    /// use hoofgeo::scale::LengthClass;
    /// assert_eq!(LengthClass::II.maximum_error_mm(150.0), 0.5);
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
    pub fn end_face_error_mm(self) -> f64 {
        match self {
            Self::I => 0.1,
            Self::II => 0.2,
            Self::III => 0.3,
        }
    }
}

/// What is known of a scale's graduations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Tolerance {
    /// An accuracy class; its maximum permissible error is taken as the half width of a rectangular distribution.
    Class(LengthClass),
    /// A relative standard uncertainty.
    Relative(f64),
}

impl Tolerance {
    /// Relative standard uncertainty of the graduations over a span in mm.
    pub fn relative_u(self, span_mm: f64) -> f64 {
        match self {
            Self::Class(class) => class.maximum_error_mm(span_mm) / 3f64.sqrt() / span_mm,
            Self::Relative(u) => u,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_150_mm_class_ii_rule_is_known_to_0_29_mm() {
        let u = Tolerance::Class(LengthClass::II).relative_u(150.0) * 150.0;
        assert!((u - 0.5 / 3f64.sqrt()).abs() < 1e-15);
    }
}
