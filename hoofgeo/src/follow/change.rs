//! The difference of two visits: real, or lost in the uncertainty.

use super::pool::{Combination, Pool, minus};
use crate::uncertainty::coverage_factor;
use jiff::civil::Date;
use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// What can be said of a difference.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Verdict {
    /// The true value has risen.
    Rose,
    /// The true value has fallen.
    Fell,
    /// The uncertainty hides whether it has changed.
    NotResolved,
}

impl Verdict {
    /// The name used in results.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Rose => "rose",
            Self::Fell => "fell",
            Self::NotResolved => "not_resolved",
        }
    }
}

/// The difference of a measurement between two days, or before and after a trim.
///
/// The variance of the difference is u₁² + u₂² − 2 cov: errors of the lens and of the scale's graduations are the same at both
/// times and drop out as far as both values answer to them alike (JCGM 100:2008, 5.2.2 and F.1.2.3).
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// The earlier day.
    pub from: Date,
    /// The later day.
    pub to: Date,
    /// Later minus earlier.
    pub difference: f64,
    /// Its standard uncertainty.
    pub u: f64,
    /// Coverage factor.
    pub k: f64,
    /// Probability that the true value has changed in the direction seen (JCGM 106:2012, 7.2, with no change as the limit).
    pub probability: f64,
    /// Rose or fell where the 95 % interval does not hold zero.
    pub verdict: Verdict,
}

/// One-sided standard normal quantile of 80 %.
const POWER_80: f64 = 0.841_621_233_572_914_3;

impl Change {
    pub(super) fn new(pool: &Pool<'_>, earlier: (Date, &Combination), later: (Date, &Combination)) -> Self {
        let sum = minus(later.1, earlier.1);
        let (difference, u) = (pool.value(&sum), pool.covariance(&sum, &sum).max(0.0).sqrt());
        let dof = pool.dof(&sum);
        let k = coverage_factor(dof);
        let z = difference.abs() / u;
        let probability = match dof.and_then(|dof| StudentsT::new(0.0, 1.0, dof).ok()) {
            Some(t) => t.cdf(z),
            None => Normal::standard().cdf(z),
        };
        let verdict = match difference {
            d if d > k * u => Verdict::Rose,
            d if d < -k * u => Verdict::Fell,
            _ => Verdict::NotResolved,
        };
        Self { from: earlier.0, to: later.0, difference, u, k, probability, verdict }
    }

    /// Expanded uncertainty U = k u.
    pub fn expanded(&self) -> f64 {
        self.k * self.u
    }

    /// The smallest difference that two such photos would have shown to be real: k u. With equal and independent uncertainties it
    /// is the minimal detectable change 1.96 √2 u of the clinical literature (Weir 2005, J Strength Cond Res 19:231, from memory).
    pub fn smallest(&self) -> f64 {
        self.expanded()
    }

    /// The true change that two such photos would show to be real four times in five: (k + 0.84) u, the detection limit for a
    /// power of 80 % (Currie 1968, Anal. Chem. 40:586, from memory).
    pub fn smallest_sure(&self) -> f64 {
        (self.k + POWER_80) * self.u
    }

    /// The 95 % interval of the difference.
    pub fn interval(&self) -> [f64; 2] {
        [self.difference - self.expanded(), self.difference + self.expanded()]
    }
}
