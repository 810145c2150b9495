//! A value against a limit: below, above or not resolved, with the probability that the true value lies past the limit.
//!
//! # Source
//! JCGM 106:2012, 7: the probability of conformity is that part of the distribution of the true value, given the measured one, that
//! lies on the limit's good side. No knowledge of other animals enters: a norm is an average of other horses, not of this one.

use super::rules::When;
use crate::evaluate::Value;
use crate::plausibility::Doubts;
use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// A value and how well it is known: what a verdict rests on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// Best estimate.
    pub value: f64,
    /// Standard uncertainty.
    pub u: f64,
    /// Degrees of freedom of `u`, where a component of it was estimated from repeats.
    pub dof: Option<f64>,
    /// The 95 % interval.
    pub interval: [f64; 2],
    /// Why it is not to be trusted as it stands, whatever its uncertainty.
    pub doubts: Doubts,
}

impl From<&Value> for Estimate {
    fn from(v: &Value) -> Self {
        Self { value: v.value, u: v.u, dof: v.dof, interval: v.interval, doubts: Doubts::default() }
    }
}

impl Estimate {
    /// A value known like this, its distribution normal or, with `dof`, Student's.
    pub fn new(value: f64, u: f64, dof: Option<f64>) -> Self {
        let expanded = crate::uncertainty::coverage_factor(dof) * u;
        Self { value, u, dof, interval: [value - expanded, value + expanded], doubts: Doubts::default() }
    }

    /// Half of the 95 % interval.
    pub fn expanded(&self) -> f64 {
        (self.interval[1] - self.interval[0]) / 2.0
    }

    /// The difference of two values that share nothing.
    #[must_use]
    pub fn minus(&self, other: &Self) -> Self {
        let u = self.u.hypot(other.u);
        let dof = crate::uncertainty::effective_dof(u, [(self.u, self.dof), (other.u, other.dof)]);
        Self { doubts: self.doubts.union(other.doubts), ..Self::new(self.value - other.value, u, dof) }
    }

    /// Probability that the true value lies below `limit`: JCGM 106:2012, 7.2.2. A value without uncertainty lies below it or not.
    ///
    /// ```
    /// use hoofgeo::review::Estimate;
    /// // JCGM 106, example of a breakdown voltage (from memory): -5.47 V ± 0.05 V (u) against an upper limit of -5.40 V.
    /// let p = Estimate::new(-5.47, 0.05, None).probability_below(-5.40);
    /// assert!((p - 0.92).abs() < 0.005);
    /// ```
    pub fn probability_below(&self, limit: f64) -> f64 {
        if self.u == 0.0 {
            return f64::from(u8::from(self.value < limit));
        }
        let z = (limit - self.value) / self.u;
        if !z.is_finite() {
            return if z > 0.0 { 1.0 } else { 0.0 };
        }
        match self.dof.filter(|d| *d > 0.0 && *d < MANY).map(|d| StudentsT::new(0.0, 1.0, d)) {
            Some(Ok(t)) => t.cdf(z),
            _ => Normal::standard().cdf(z),
        }
    }

    /// Probability that the true value lies from `lower` to `upper`: JCGM 106:2012, 7.2.4.
    pub fn probability_within(&self, lower: f64, upper: f64) -> f64 {
        (self.probability_below(upper) - self.probability_below(lower)).max(0.0)
    }
}

/// From here on Student's distribution is the normal one to six digits of a probability.
const MANY: f64 = 1e6;

/// Where a value stands against a limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Stands {
    /// Below it, with the confidence asked for.
    Below,
    /// Above it, with the confidence asked for.
    Above,
    /// The uncertainty spans the limit.
    NotResolved,
}

impl Stands {
    /// The name in files.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Below => "below",
            Self::Above => "above",
            Self::NotResolved => "not_resolved",
        }
    }
}

/// A value held against a limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Judged {
    /// The value; its size where the size is judged.
    pub estimate: Estimate,
    /// Where it stands.
    pub stands: Stands,
    /// Probability that the true value lies above the limit; the rest lies below it.
    pub probability_above: f64,
    /// Whether it stands on the side that the rule takes note of.
    pub noted: bool,
}

impl Judged {
    /// Probability that the true value lies on the side that `when` takes note of.
    pub fn probability_noted(&self, when: When) -> f64 {
        if when.is_above() { self.probability_above } else { 1.0 - self.probability_above }
    }
}

/// Holds a value against a limit. `confidence` is the probability that a verdict other than *not resolved* needs.
///
/// Whether a limit itself belongs to the noted side (≥ or >) decides for values without uncertainty alone: the probability that
/// an uncertain value lies exactly on the limit is zero.
///
/// ```
/// use hoofgeo::review::{Estimate, Stands, When, judge};
/// let difference = Estimate::new(11.2, 2.0, None);
/// assert_eq!(judge(difference, When::AtLeast, 5.0, false, 0.95).stands, Stands::Above);
/// assert_eq!(judge(Estimate::new(6.0, 2.0, None), When::AtLeast, 5.0, false, 0.95).stands, Stands::NotResolved);
/// // Exactly on the limit: "at least 5" and "more than 5" differ.
/// let five = Estimate::new(5.0, 0.0, None);
/// assert!(judge(five, When::AtLeast, 5.0, false, 0.95).noted && !judge(five, When::MoreThan, 5.0, false, 0.95).noted);
/// ```
pub fn judge(estimate: Estimate, when: When, limit: f64, size: bool, confidence: f64) -> Judged {
    let probability_above = if estimate.u == 0.0 {
        let value = if size { estimate.value.abs() } else { estimate.value };
        f64::from(u8::from(when.holds(value, limit) == when.is_above()))
    } else if size {
        (1.0 - estimate.probability_within(-limit.abs(), limit.abs())).clamp(0.0, 1.0)
    } else {
        1.0 - estimate.probability_below(limit)
    };
    let stands = if probability_above >= confidence {
        Stands::Above
    } else if 1.0 - probability_above >= confidence {
        Stands::Below
    } else {
        Stands::NotResolved
    };
    let noted = stands == if when.is_above() { Stands::Above } else { Stands::Below };
    Judged { estimate, stands, probability_above, noted }
}
