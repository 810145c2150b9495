//! Scales that lie in the photo, and how far their graduations can be trusted.

mod tolerance;

pub use tolerance::{RuleClass, Tolerance};

use nalgebra::{Matrix2, Point2, Vector2};
use serde::{Deserialize, Serialize};

/// What kind of scale lies in the photo.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum ScaleKind {
    /// A straight ruler: graduations along one edge.
    StraightRuler,
    /// An L-shaped ruler: graduations along two edges.
    SquareRuler,
    /// A card of format ID-1 (ISO/IEC 7810), 85.60 mm x 53.98 mm.
    Card,
    /// A printed board.
    Board,
}

impl ScaleKind {
    /// Whether its points spread over a plane, not only along an edge.
    pub const fn is_two_dimensional(self) -> bool {
        !matches!(self, Self::StraightRuler)
    }

    /// The name in files.
    pub const fn name(self) -> &'static str {
        match self {
            Self::StraightRuler => "straight_ruler",
            Self::SquareRuler => "square_ruler",
            Self::Card => "card",
            Self::Board => "board",
        }
    }
}

/// A marked graduation: where it is on the scale and on the photo.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Graduation {
    /// Place in the scale's own plane by its label, mm.
    pub label: Point2<f64>,
    /// Pixel of the upright photo.
    pub pixel: Point2<f64>,
    /// Covariance of that pixel; where absent, the scene's common standard uncertainty counts on both axes.
    pub covariance_px: Option<Matrix2<f64>>,
}

impl Graduation {
    /// A graduation marked by hand.
    pub const fn marked(label: Point2<f64>, pixel: Point2<f64>) -> Self {
        Self { label, pixel, covariance_px: None }
    }
}

/// The longest distance between two of the graduations, mm.
pub fn span(graduations: &[Graduation]) -> f64 {
    let mut longest = 0.0f64;
    for (i, a) in graduations.iter().enumerate() {
        for b in &graduations[i + 1..] {
            longest = longest.max((a.label - b.label).norm());
        }
    }
    longest
}

/// Whether the labels span a plane: at least four of them, no three quarters of their extent on one line.
pub fn is_two_dimensional(graduations: &[Graduation]) -> bool {
    graduations.len() >= 4 && spread_ratio(graduations.iter().map(|g| g.label.coords)) > 0.02
}

/// Extent across over extent along of a set of points: 0 on a line, 1 for a round set.
fn spread_ratio(points: impl Iterator<Item = Vector2<f64>> + Clone) -> f64 {
    let n = points.clone().count() as f64;
    let middle = points.clone().sum::<Vector2<f64>>() / n;
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for p in points {
        let d = p - middle;
        (xx, xy, yy) = (xx + d.x * d.x, xy + d.x * d.y, yy + d.y * d.y);
    }
    let half = (xx + yy) / 2.0;
    let root = (((xx - yy) / 2.0).powi(2) + xy * xy).sqrt();
    if half + root > 0.0 { ((half - root).max(0.0) / (half + root)).sqrt() } else { 0.0 }
}
