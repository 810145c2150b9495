//! Where uncertainty comes from, how much each source brings, and what to do about it.

use serde::{Serialize, Serializer};
use std::fmt;

/// A source of uncertainty, as grouped in every budget.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[non_exhaustive]
pub enum Source {
    /// Where the scale's graduations were marked on the photo.
    Graduations,
    /// The tolerance of the scale itself.
    ScaleTolerance,
    /// Lens distortion, principal point and focal length.
    Lens,
    /// The part of the camera's tilt that the scale cannot show.
    CameraTilt,
    /// Where the measured plane lies behind or before the scale, and how it leans.
    MeasuredPlane,
    /// Where the landmarks were placed, and how well they are defined.
    Landmarks,
    /// A second pose of the scale that fits almost as well.
    PoseAmbiguity,
    /// A gauge reading on the foot itself.
    Gauge,
    /// What is to be done to the foot, or happens to it: a trim, growth.
    Intervention,
}

impl Source {
    /// All sources, in the order of the model.
    pub const ALL: [Self; 9] = [
        Self::Graduations,
        Self::ScaleTolerance,
        Self::Lens,
        Self::CameraTilt,
        Self::MeasuredPlane,
        Self::Landmarks,
        Self::PoseAmbiguity,
        Self::Gauge,
        Self::Intervention,
    ];

    /// The name in files.
    pub const fn id(self) -> &'static str {
        match self {
            Self::Graduations => "graduations",
            Self::ScaleTolerance => "scale_tolerance",
            Self::Lens => "lens",
            Self::CameraTilt => "camera_tilt",
            Self::MeasuredPlane => "measured_plane",
            Self::Landmarks => "landmarks",
            Self::PoseAmbiguity => "pose_ambiguity",
            Self::Gauge => "gauge",
            Self::Intervention => "intervention",
        }
    }

    /// The name for people.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Graduations => "graduations",
            Self::ScaleTolerance => "scale tolerance",
            Self::Lens => "lens and focal length",
            Self::CameraTilt => "camera tilt (unseen)",
            Self::MeasuredPlane => "measured plane",
            Self::Landmarks => "landmark placement",
            Self::PoseAmbiguity => "two possible poses",
            Self::Gauge => "gauge",
            Self::Intervention => "trim and growth",
        }
    }
}

impl fmt::Display for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.label())
    }
}

impl Serialize for Source {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.id())
    }
}

/// The variance shares of a result's sources, the largest first.
///
/// The shares sum to 1. Where inputs of different sources are correlated a share may be negative: that source then makes
/// the result more certain.
#[derive(Debug, Clone, PartialEq)]
pub struct Budget<L = Source> {
    /// Source and its share of the variance.
    pub shares: Vec<(L, f64)>,
}

impl<L: Copy + PartialEq> Budget<L> {
    /// Adds up the variances of each source and divides by their total.
    ///
    /// The variances may carry any common unit. A total of zero, or one that is not finite, gives an empty budget.
    ///
    /// ```
    /// use hoofgeo::uncertainty::{Budget, Source};
    /// let budget = Budget::from_variances([(Source::Lens, 1.0), (Source::Landmarks, 2.0), (Source::Lens, 1.0)]);
    /// assert_eq!(budget.shares, [(Source::Lens, 0.5), (Source::Landmarks, 0.5)]);
    /// ```
    pub fn from_variances(variances: impl IntoIterator<Item = (L, f64)>) -> Self {
        let mut shares: Vec<(L, f64)> = Vec::new();
        for (source, variance) in variances {
            match shares.iter_mut().find(|(s, _)| *s == source) {
                Some((_, sum)) => *sum += variance,
                None => shares.push((source, variance)),
            }
        }
        let total: f64 = shares.iter().map(|(_, v)| v).sum();
        if !total.is_finite() || total <= 0.0 {
            return Self { shares: Vec::new() };
        }
        for (_, share) in &mut shares {
            *share /= total;
        }
        // A stable sort: equal shares keep the order they came in.
        shares.sort_by(|a, b| b.1.total_cmp(&a.1));
        Self { shares }
    }

    /// Each source with its share of the variance, the largest first.
    pub fn iter(&self) -> std::slice::Iter<'_, (L, f64)> {
        self.shares.iter()
    }

    /// The largest share.
    pub fn largest(&self) -> Option<(L, f64)> {
        self.shares.first().copied()
    }

    /// The share of one source; zero where it brings nothing.
    pub fn share(&self, source: L) -> f64 {
        self.shares.iter().find(|(s, _)| *s == source).map_or(0.0, |(_, share)| *share)
    }

    /// What the standard uncertainty would be multiplied with if `source` were removed altogether.
    ///
    /// ```
    /// use hoofgeo::uncertainty::{Budget, Source};
    /// let budget = Budget::from_variances([(Source::CameraTilt, 0.75), (Source::Landmarks, 0.25)]);
    /// assert_eq!(budget.factor_without(Source::CameraTilt), 0.5);
    /// ```
    pub fn factor_without(&self, source: L) -> f64 {
        (1.0 - self.share(source)).max(0.0).sqrt()
    }
}

impl<'a, L> IntoIterator for &'a Budget<L> {
    type Item = &'a (L, f64);
    type IntoIter = std::slice::Iter<'a, (L, f64)>;

    fn into_iter(self) -> Self::IntoIter {
        self.shares.iter()
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::collections::BTreeSet;

    #[test]
    fn names_are_distinct_and_in_order() {
        let ids: BTreeSet<_> = Source::ALL.iter().map(|s| s.id()).collect();
        let labels: BTreeSet<_> = Source::ALL.iter().map(|s| s.label()).collect();
        assert_eq!((ids.len(), labels.len()), (Source::ALL.len(), Source::ALL.len()));
        assert!(Source::ALL.is_sorted());
        assert_eq!(serde_json::to_string(&Source::CameraTilt).unwrap(), "\"camera_tilt\"");
        assert_eq!(format!("{:>10}|", Source::Gauge), "     gauge|");
    }

    proptest! {
        #[test]
        fn shares_sum_to_one_and_fall(variances in prop::collection::vec((0_usize..8, 1e-12..1e12_f64), 1..40)) {
            let budget = Budget::from_variances(variances.into_iter().map(|(i, v)| (Source::ALL[i], v)));
            prop_assert!((budget.shares.iter().map(|s| s.1).sum::<f64>() - 1.0).abs() < 1e-12);
            prop_assert!(budget.shares.is_sorted_by(|a, b| a.1 >= b.1));
            let distinct: BTreeSet<_> = budget.shares.iter().map(|s| s.0).collect();
            prop_assert_eq!(distinct.len(), budget.shares.len());
        }
    }

    #[test]
    fn nothing_uncertain_gives_an_empty_budget() {
        assert!(Budget::from_variances([(Source::Lens, 0.0)]).shares.is_empty());
        assert!(Budget::from_variances([(Source::Lens, f64::NAN)]).shares.is_empty());
        assert_eq!(Budget::<Source>::from_variances([]).factor_without(Source::Lens), 1.0);
    }
}
