//! The limits of a good photo, and what is said beyond them.

use serde::{Serialize, Serializer};
use std::fmt;

/// A limit beyond which a photo is remarked on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limit {
    /// What is limited.
    pub what: &'static str,
    /// The limit.
    pub value: f64,
    /// Its unit.
    pub unit: &'static str,
    /// Where it comes from.
    pub source: &'static str,
}

macro_rules! limits {
    ($($(#[$doc:meta])* $name:ident $value:literal $unit:literal $what:literal, $source:literal;)+) => {
        $($(#[$doc])* pub const $name: Limit = Limit { what: $what, value: $value, unit: $unit, source: $source };)+
        /// Every limit.
        pub const LIMITS: &[Limit] = &[$($name),+];
    };
}

limits! {
    /// Blur where the scale is known.
    BLUR_MM 0.5 "mm" "blur of the hoof, standard deviation, most",
        "estimate, no source: as well as the best landmarks are defined";
    /// Blur where it is not.
    BLUR_SHARE 0.001 "of the longer side" "blur of the hoof where no scale is marked, most", "estimate, no source";
    /// White.
    WHITE 0.03 "of the hoof" "burnt out to white, most", "estimate, no source";
    /// Black.
    BLACK 0.15 "of the hoof" "lost in black, most", "estimate, no source";
    /// Resolution.
    RESOLUTION 4.0 "px/mm" "resolution at the hoof, least", "estimate, no source: 1.5 px, a usual click, are then 0.4 mm";
    /// Span of the scale.
    SPAN 0.6 "of the hoof" "span of the marked graduations, least",
        "common practice, no source: a ruler as long as what is measured with it";
    /// Distance of the scale.
    DISTANCE 0.5 "of the hoof" "gap between scale and hoof, most", "estimate, no source";
    /// Tilt.
    TILT 15.0 "deg" "tilt of the camera against the scale, most",
        "estimate, no source: what stands 30 mm before the plane is then shown 8 mm off";
    /// Distance from the border.
    BORDER 0.01 "of the longer side" "distance of the hoof from the photo's border, least", "estimate, no source";
}

/// Something about a photo that makes it worth taking again, and how. None of them stops a measurement.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum QualityRemark {
    /// The hoof is blurred.
    Blurred {
        /// Standard deviation, px.
        px: f64,
        /// The same on the hoof, mm, where the scale is known.
        mm: Option<f64>,
    },
    /// Parts of the hoof are burnt out to white.
    BurntOut {
        /// Share of the hoof.
        share: f64,
    },
    /// Parts of the hoof are lost in black.
    Black {
        /// Share of the hoof.
        share: f64,
    },
    /// The photo is too coarse.
    Coarse {
        /// Resolution at the hoof, px/mm.
        px_per_mm: f64,
    },
    /// The marked graduations span too little.
    ShortScale {
        /// Distance between the outermost ones, mm.
        span_mm: f64,
        /// Length of the hoof, mm.
        hoof_mm: f64,
    },
    /// The scale lies too far from the hoof.
    FarScale {
        /// Gap between them in the measured plane, mm.
        gap_mm: f64,
        /// Length of the hoof, mm.
        hoof_mm: f64,
    },
    /// The camera was tilted against the scale.
    Tilted {
        /// By how much, degrees.
        deg: f64,
        /// Expanded uncertainty (k = 2), degrees.
        expanded_deg: f64,
    },
    /// The hoof reaches the photo's border.
    CutOff {
        /// A landmark or line that does.
        name: &'static str,
    },
}

impl fmt::Display for QualityRemark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let percent = |share: f64| 100.0 * share;
        match *self {
            Self::Blurred { px, mm } => {
                write!(f, "the hoof is blurred by {px:.1} px")?;
                if let Some(mm) = mm {
                    write!(f, ", {mm:.1} mm")?;
                }
                f.write_str(": tap on the hoof to focus, hold the camera still or rest it, have the foot held still, take more light")
            }
            Self::BurntOut { share } => write!(
                f,
                "{:.0} % of the hoof is burnt out to white: dry the hoof, no flash, out of the sun, or set the exposure lower",
                percent(share)
            ),
            Self::Black { share } => write!(
                f,
                "{:.0} % of the hoof is lost in black: light it from the side, or set the exposure higher",
                percent(share)
            ),
            Self::Coarse { px_per_mm } => write!(
                f,
                "the photo shows the hoof with {px_per_mm:.1} px/mm only: use the camera's full size, and let hoof and ruler fill the \
                 frame"
            ),
            Self::ShortScale { span_mm, hoof_mm } => write!(
                f,
                "the marked graduations span {span_mm:.0} mm of a hoof of {hoof_mm:.0} mm: mark them farther apart, or use a longer ruler"
            ),
            Self::FarScale { gap_mm, hoof_mm } => write!(
                f,
                "the ruler lies {gap_mm:.0} mm away from a hoof of {hoof_mm:.0} mm: hold it right beside the hoof"
            ),
            Self::Tilted { deg, expanded_deg } => write!(
                f,
                "the camera was tilted by {deg:.0}° ± {expanded_deg:.0}° against the scale: hold it square to the hoof"
            ),
            Self::CutOff { name } => {
                write!(f, "the hoof reaches the photo's border ({name}): step back until all of it is in the frame")
            }
        }
    }
}

impl Serialize for QualityRemark {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}
