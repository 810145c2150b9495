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

/// What is known of a photo, as far as advice depends on it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Circumstances {
    /// The scale has graduations in two directions (L-shaped ruler, card, board), so it shows how the camera leans.
    pub scale_is_two_dimensional: bool,
    /// A lens profile was given.
    pub has_lens_profile: bool,
    /// The focal length is known: from a lens profile or from the photo's header.
    pub focal_length_is_known: bool,
    /// The sidecar says where the measured plane lies.
    pub plane_is_stated: bool,
    /// Landmarks were placed more than once.
    pub landmarks_are_repeated: bool,
}

/// What would make a result more certain whose largest share comes from `source`, as a sentence without a full stop.
///
/// The advice follows from the measurement model alone: what a scale can and cannot show, and what a repeat averages.
///
/// ```
/// use hoofgeo::uncertainty::{Circumstances, Source, advice};
/// let straight_ruler = Circumstances::default();
/// assert_eq!(advice(Source::CameraTilt, straight_ruler), "an L-shaped ruler would show the camera's tilt");
/// ```
pub const fn advice(source: Source, known: Circumstances) -> &'static str {
    match source {
        Source::Graduations if known.scale_is_two_dimensional => {
            "mark more graduations, spread over the whole scale, and let the scale fill more of the photo"
        }
        Source::Graduations => {
            "mark more graduations, the outermost ones included, and let the ruler fill more of the photo"
        }
        Source::ScaleTolerance => {
            "use a ruler of a better accuracy class (I is better than II), or one with a calibration certificate"
        }
        Source::Lens if known.has_lens_profile => {
            "calibrate the lens again with more photos of the board, some of them tilted, reaching into all corners"
        }
        Source::Lens if known.focal_length_is_known => {
            "calibrate the lens once with photos of a board, and keep hoof and scale near the middle of the photo"
        }
        Source::Lens => {
            "use the camera's original file: it states the focal length, which forwarded pictures often lose; or calibrate the lens"
        }
        Source::CameraTilt if known.scale_is_two_dimensional => {
            "lay the scale flat against the hoof's plane, and let it fill more of the photo"
        }
        Source::CameraTilt => "an L-shaped ruler would show the camera's tilt",
        Source::MeasuredPlane if known.plane_is_stated => {
            "hold the scale closer to the measured plane, measure the distance between them better, or stand farther away"
        }
        Source::MeasuredPlane => {
            "state in the sidecar how far the scale lies from the measured plane; hold it closer, or stand farther away"
        }
        Source::Landmarks if known.landmarks_are_repeated => {
            "clean the hoof and light it from the side, so that the landmarks are better defined"
        }
        Source::Landmarks => "place each landmark several times, on a clean, dry, well-lit hoof",
        Source::PoseAmbiguity => {
            "the scale looks the same leaning towards the camera and away from it: stand closer or tilt the camera a little more"
        }
        Source::Gauge => "repeat the gauge reading, and state its uncertainty",
        Source::Intervention => "take this foot's own growth from two visits in place of the published range",
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

    /// Whatever is known, the advice must not ask for what the user already has.
    #[test]
    fn advice_never_asks_for_what_is_there() {
        for bits in 0..32_u8 {
            let known = Circumstances {
                scale_is_two_dimensional: bits & 1 != 0,
                has_lens_profile: bits & 2 != 0,
                focal_length_is_known: bits & 4 != 0,
                plane_is_stated: bits & 8 != 0,
                landmarks_are_repeated: bits & 16 != 0,
            };
            for source in Source::ALL {
                let text = advice(source, known);
                assert!(!text.is_empty() && !text.ends_with('.'));
                assert!(!(known.scale_is_two_dimensional && text.contains("L-shaped")));
                assert!(!(known.has_lens_profile && text.contains("once")));
                assert!(!(known.focal_length_is_known && text.contains("original file")));
                assert!(!(known.plane_is_stated && text.contains("state in the sidecar")));
                assert!(!(known.landmarks_are_repeated && text.contains("several times")));
            }
        }
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
