//! What a measurement can be at all, and what is rare.

use super::Quantity;
use crate::foot::SubjectKind;

/// The values that a measurement can have: beyond `possible` no foot is known to reach, and a slip is to blame (a wrong label, a
/// landmark on the wrong place); beyond `usual` a foot is rare enough to be looked at twice.
///
/// Declared for grown horses from pony to draught horse, in the unit of results. Where the sidecar says what kind of animal it is
/// (`subject.kind`), [`Plausible::of`] gives that kind's.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plausible {
    /// Lower and upper end of what is possible.
    pub possible: [f64; 2],
    /// Lower and upper end of what is usual.
    pub usual: [f64; 2],
    /// Where the limits come from.
    pub source: &'static str,
}

/// Where a value stands against what is plausible.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Standing {
    /// Such feet are met every day.
    Usual,
    /// Such feet are rare; the nearest usual value.
    Rare(f64),
    /// No such foot is known; the nearest possible value.
    Impossible(f64),
}

/// "Estimate, no source": from feet between a Shetland pony's (some 70 mm long) and a heavy draught horse's (some 200 mm), with room
/// for neglected and freshly cut ones.
const ESTIMATE: &str = "estimate, no source";

impl Plausible {
    /// Nothing is impossible: for measurements of one's own.
    pub const ANY: Self = Self {
        possible: [f64::NEG_INFINITY, f64::INFINITY],
        usual: [f64::NEG_INFINITY, f64::INFINITY],
        source: "no limits declared",
    };

    /// Limits estimated without a source.
    pub const fn estimated(possible: [f64; 2], usual: [f64; 2]) -> Self {
        Self { possible, usual, source: ESTIMATE }
    }

    /// The same limits with their source.
    #[must_use]
    pub const fn from(self, source: &'static str) -> Self {
        Self { source, ..self }
    }

    /// The limits for a kind of animal (factors are estimates, no source): a pony's feet may be a quarter smaller, a draught horse's a
    /// seventh larger, a foal's are smaller by half and more and its angles vary by a tenth of the range more.
    #[must_use]
    pub fn of(self, kind: SubjectKind, quantity: Quantity) -> Self {
        let power = match quantity {
            Quantity::Length => 1,
            Quantity::Area => 2,
            Quantity::Angle | Quantity::Ratio => 0,
        };
        let scaled = |[low, high]: [f64; 2], down: f64, up: f64| {
            // A limit below zero is one of asymmetry, not of size.
            [if low > 0.0 { low * f64::powi(down, power) } else { low }, high * f64::powi(up, power)]
        };
        let (down, up, wider) = match kind {
            SubjectKind::Adult => return self,
            SubjectKind::Pony => (0.75, 1.0, 0.0),
            SubjectKind::Draught => (1.0, 1.15, 0.0),
            SubjectKind::Foal => (0.4, 0.9, 0.1),
        };
        let widened = |[low, high]: [f64; 2]| {
            let by = if power == 0 { wider * (high - low) } else { 0.0 };
            [low - by, high + by]
        };
        Self {
            possible: widened(scaled(self.possible, down, up)),
            usual: widened(scaled(self.usual, down, up)),
            ..self
        }
    }

    /// Where a value stands that is known to ± `expanded`: beyond a limit only where all of its interval is.
    pub fn judge_known(&self, value: f64, expanded: f64) -> Standing {
        let [low, high] = self.usual;
        let nearest = if value < low {
            (value + expanded).min(low)
        } else if value > high {
            (value - expanded).max(high)
        } else {
            value
        };
        self.judge(nearest)
    }

    /// Where a value stands.
    ///
    /// ```
    /// use hoofgeo::measure::{SUPPORT_LENGTH, Standing};
    /// // A ruler read in centimetres makes a foot of 130 mm one of 13 mm.
    /// assert_eq!(SUPPORT_LENGTH.plausible.judge(13.0), Standing::Impossible(45.0));
    /// assert_eq!(SUPPORT_LENGTH.plausible.judge(130.0), Standing::Usual);
    /// ```
    pub fn judge(&self, value: f64) -> Standing {
        let beyond = |[low, high]: [f64; 2]| {
            if value < low {
                Some(low)
            } else if value > high {
                Some(high)
            } else {
                None
            }
        };
        match (beyond(self.possible), beyond(self.usual)) {
            (Some(limit), _) => Standing::Impossible(limit),
            (None, Some(limit)) => Standing::Rare(limit),
            (None, None) => Standing::Usual,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::ALL;
    use crate::review::quantities;

    #[test]
    fn what_is_usual_is_possible_for_every_kind_of_animal() {
        for m in ALL.iter().chain(quantities::ALL) {
            for kind in SubjectKind::ALL {
                let p = m.plausible.of(*kind, m.quantity);
                assert!(
                    p.possible[0] <= p.usual[0] && p.usual[0] < p.usual[1] && p.usual[1] <= p.possible[1],
                    "{}",
                    m.id
                );
                assert!(!p.source.is_empty());
            }
        }
    }

    #[test]
    fn a_foal_is_small_and_a_shire_is_large() {
        let judge = |kind, mm| crate::measure::SUPPORT_LENGTH.plausible.of(kind, Quantity::Length).judge(mm);
        assert_eq!(judge(SubjectKind::Foal, 50.0), Standing::Usual);
        assert_ne!(judge(SubjectKind::Adult, 50.0), Standing::Usual);
        assert_eq!(judge(SubjectKind::Draught, 240.0), Standing::Usual);
        assert_ne!(judge(SubjectKind::Adult, 240.0), Standing::Usual);
    }
}
