//! What the files say, as types. Pixels are of the upright photo, (0, 0) its top-left corner.

use super::raw::{Planes, SharedScale, SharedSubject};
pub use crate::scale::{RuleClass, ScaleKind, Tolerance};
use crate::{Foot, Landmark, Line, PlaneName, Side, Stage, SubjectKind, Suggestion, Surface, View};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A photo's sidecar after its visit's shared keys were merged in, checked.
///
/// # Example: read one
/// ```
/// use hoofgeo::sidecar::Sidecar;
/// let text = r#"{
///   "format": "hoofgeo-sidecar/1",
///   "photo": { "file": "a.jpg", "width_px": 400, "height_px": 300 },
///   "subject": { "animal": "Bramble", "foot": "LF" },
///   "view": "lateral",
///   "landmarks": { "toe_ground": { "at": [90.5, 228.5] }, "heel_ground": null }
/// }"#;
/// let sidecar = Sidecar::parse(text, None)?;
/// assert_eq!(sidecar.landmarks.len(), 1);
/// assert_eq!(sidecar.empty_slots(), ["landmarks.heel_ground"]);
/// # Ok::<(), hoofgeo::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Sidecar {
    /// The photo it belongs to.
    pub photo: PhotoRef,
    /// Whose foot.
    pub subject: Subject,
    /// Where the camera looks from.
    pub view: View,
    /// The side of the foot that faces the camera (lateral photos).
    pub side: Option<Side>,
    /// When in a visit.
    pub stage: Option<Stage>,
    /// What the foot stands on; hides a part of the bearing edge where that is soft or grass.
    pub surface: Option<Surface>,
    /// ISO 8601 date, or date and time with or without an offset from UTC. Where absent, the EXIF time counts.
    pub taken: Option<String>,
    /// Who placed the landmarks.
    pub observer: Option<String>,
    /// The lens profile's file, as written.
    pub lens: Option<String>,
    /// The scale in the photo.
    pub scale: Option<Scale>,
    /// Where planes lie behind the scale. What is absent has its default.
    pub planes: BTreeMap<PlaneName, PlaneSpec>,
    /// The landmarks placed, all of this view.
    pub landmarks: BTreeMap<Landmark, Placement>,
    /// The lines drawn, all of this view.
    pub lines: BTreeMap<Line, Vec<[f64; 2]>>,
    /// What was measured with a gauge on the foot.
    pub gauge: Gauge,
    /// Free text.
    pub notes: Option<String>,
    /// JSON paths of slots that the file has but that hold nothing yet.
    pub(super) empty: Vec<String>,
}

/// The photo that a sidecar belongs to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct PhotoRef {
    /// The photo's file name, without a folder.
    #[cfg_attr(feature = "schema", schemars(regex(pattern = r"^[^/\\]+$")))]
    pub file: String,
    /// Width of the upright photo, pixels.
    #[cfg_attr(feature = "schema", schemars(range(min = 1, max = super::limits::FRAME_PX)))]
    pub width_px: u32,
    /// Height of the upright photo, pixels.
    #[cfg_attr(feature = "schema", schemars(range(min = 1, max = super::limits::FRAME_PX)))]
    pub height_px: u32,
}

/// Whose foot a photo shows.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Subject {
    /// The animal's name or number; empty where none was given.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub animal: String,
    /// Which foot.
    pub foot: Foot,
    /// What kind of animal; an adult horse where it is not said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kind: Option<SubjectKind>,
}

/// The scale in a photo.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Scale {
    /// What it is.
    pub kind: ScaleKind,
    /// How well it keeps its lengths.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tolerance: Option<Tolerance>,
    /// Standard uncertainty of a graduation's image point per axis, px.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub u_px: Option<f64>,
    /// Standard uncertainty of the scale plane's tilt against the image plane, per image axis, degrees.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tilt_u_deg: Option<f64>,
    /// Whether a straight ruler is divided into millimetres or halves of them; then it can be read without a mark (`pixels::ruler`).
    /// Needed only where the numbers printed on it cannot be read; `false` forbids to read it without a mark.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub metric: Option<bool>,
    /// The graduations found in the photo. None while the slot is empty.
    pub points: Vec<Graduation>,
}

/// One graduation, or corner, of the scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Graduation {
    /// Where it is on the scale, mm: `[x, y]`, y = 0 for a distance along the edge.
    pub mm: [f64; 2],
    /// Whether the file gives `mm` as one number, the distance along the edge.
    pub is_number: bool,
    /// Where it is in the photo, px.
    pub at: [f64; 2],
}

impl Graduation {
    /// A graduation of a straight edge: `mm` from its zero.
    pub const fn along(mm: f64, at: [f64; 2]) -> Self {
        Self { mm: [mm, 0.0], is_number: true, at }
    }

    /// A point of a two-dimensional scale.
    pub const fn in_plane(mm: [f64; 2], at: [f64; 2]) -> Self {
        Self { mm, is_number: false, at }
    }
}

/// Where a plane lies and how well that is known.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct PlaneSpec {
    /// Distance behind the scale, mm; positive away from the camera.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[cfg_attr(feature = "schema", schemars(range(min = -super::limits::MM, max = super::limits::MM)))]
    pub behind_scale_mm: Option<f64>,
    /// Standard uncertainty of that distance, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[cfg_attr(feature = "schema", schemars(range(min = 0.0, max = super::limits::MM)))]
    pub u_mm: Option<f64>,
    /// Standard uncertainty of its tilt against the scale, per axis, degrees.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[cfg_attr(feature = "schema", schemars(range(min = 0.0, max = super::limits::TILT_DEG)))]
    pub tilt_u_deg: Option<f64>,
}

/// Where a landmark was placed: once, or several times to learn the spread.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Placement {
    /// The placements, px. Never empty in a checked sidecar.
    pub at: Vec<[f64; 2]>,
    /// Standard uncertainty of placing it per axis, px; replaces the default.
    pub u_px: Option<f64>,
    /// Standard uncertainty of the anatomical point per axis, mm; replaces the default.
    pub u_mm: Option<f64>,
    /// Where it was clicked, if `at` is where an edge of the picture was found beside that.
    pub snapped: Option<Snapped>,
    /// Whether the point was marked on the foot before the photo: it is then as well defined as the pen's dot.
    pub pen_mark: bool,
    /// Where it was carried over from, if it was not clicked here.
    pub carried: Option<Carried>,
    /// What became of the program's suggestion, if `at` is one.
    pub suggested: Option<Suggestion>,
}

impl Placement {
    /// Placed once.
    pub fn once(at: [f64; 2]) -> Self {
        Self { at: vec![at], ..Self::default() }
    }
}

/// What a landmark was moved from, and to what: the edge makes its place more certain across it and says nothing along it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Snapped {
    /// Where it was clicked, px.
    #[cfg_attr(feature = "schema", schemars(with = "super::schema::Pixel"))]
    pub from: [f64; 2],
    /// The direction that the edge runs in, in pixels, either way and of any length but 0.
    pub edge: [f64; 2],
    /// Standard uncertainty of the edge's place across it, px.
    #[cfg_attr(feature = "schema", schemars(range(max = super::limits::U_PX), extend("exclusiveMinimum" = 0)))]
    pub u_px: f64,
}

/// The other photo of the foot in which a landmark was clicked; the pixels around it were found again here.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Carried {
    /// The other photo's file name.
    #[cfg_attr(feature = "schema", schemars(regex(pattern = r"\S")))]
    pub from_photo: String,
    /// Where it is in that photo, px of it.
    #[cfg_attr(feature = "schema", schemars(with = "super::schema::Pixel"))]
    pub at: [f64; 2],
    /// Standard uncertainty of finding it again here per axis, px of this photo.
    #[cfg_attr(feature = "schema", schemars(range(max = super::limits::U_PX), extend("exclusiveMinimum" = 0)))]
    pub u_px: f64,
}

/// What was measured with a gauge on the foot itself.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Gauge {
    /// How far the heels stand above the hard sole plane.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub heel_above_sole_plane_mm: Option<HeelGauge>,
}

impl Gauge {
    /// Whether nothing was measured.
    pub const fn is_empty(&self) -> bool {
        self.heel_above_sole_plane_mm.is_none()
    }
}

/// Height of the heels above the hard sole plane. At least one of the two is given.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct HeelGauge {
    /// At the medial heel, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[cfg_attr(feature = "schema", schemars(range(min = -super::limits::GAUGE_MM, max = super::limits::GAUGE_MM)))]
    pub medial: Option<f64>,
    /// At the lateral heel, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[cfg_attr(feature = "schema", schemars(range(min = -super::limits::GAUGE_MM, max = super::limits::GAUGE_MM)))]
    pub lateral: Option<f64>,
    /// Standard uncertainty of each, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[cfg_attr(feature = "schema", schemars(range(min = 0.0, max = super::limits::GAUGE_MM)))]
    pub u_mm: Option<f64>,
}

/// What the sidecars of a visit share, `visit.hoof.json`. A sidecar's own value wins.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Visit {
    /// The format's name and version, `hoofgeo-visit/1`.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[cfg_attr(feature = "schema", schemars(extend("enum" = [Self::FORMAT, ()])))]
    pub format: Option<String>,
    /// Whose feet.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub subject: Option<SharedSubject>,
    /// Date, or date and time.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[cfg_attr(feature = "schema", schemars(regex(pattern = super::time::PATTERN)))]
    pub taken: Option<String>,
    /// Who placed the landmarks.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[cfg_attr(feature = "schema", schemars(regex(pattern = r"\S")))]
    pub observer: Option<String>,
    /// The lens profile's file.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[cfg_attr(feature = "schema", schemars(regex(pattern = r"\S")))]
    pub lens: Option<String>,
    /// The scale, whole or without its points.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub scale: Option<SharedScale>,
    /// Where planes lie behind the scale.
    #[serde(default, skip_serializing_if = "Planes::is_empty")]
    pub planes: Planes,
    /// What the feet stand on in the lateral photos.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub surface: Option<Surface>,
    /// Free text.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[cfg_attr(feature = "schema", schemars(regex(pattern = r"\S")))]
    pub notes: Option<String>,
    /// Weeks until the next visit, as agreed.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[cfg_attr(feature = "schema", schemars(range(max = super::limits::INTERVAL_WEEKS), extend("exclusiveMinimum" = 0)))]
    pub interval_weeks: Option<f64>,
    /// The ground that the animal lives and works on.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[cfg_attr(feature = "schema", schemars(regex(pattern = r"\S")))]
    pub ground: Option<String>,
    /// What it is fed, and what changed.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[cfg_attr(feature = "schema", schemars(regex(pattern = r"\S")))]
    pub diet: Option<String>,
    /// Turnout, work and company.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[cfg_attr(feature = "schema", schemars(regex(pattern = r"\S")))]
    pub turnout: Option<String>,
    /// How it moves: soundness, lameness, landing.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[cfg_attr(feature = "schema", schemars(regex(pattern = r"\S")))]
    pub lameness: Option<String>,
    /// What a vet found or advised.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[cfg_attr(feature = "schema", schemars(regex(pattern = r"\S")))]
    pub vet: Option<String>,
}

impl Visit {
    /// The practitioner's free texts, each with its key, in the order of the file.
    pub(super) const fn texts(&self) -> [(&'static str, &Option<String>); 6] {
        [
            ("notes", &self.notes),
            ("ground", &self.ground),
            ("diet", &self.diet),
            ("turnout", &self.turnout),
            ("lameness", &self.lameness),
            ("vet", &self.vet),
        ]
    }

    /// What the practitioner noted at this visit: heading and text, for a report.
    ///
    /// ```
    /// use hoofgeo::sidecar::Visit;
    /// let visit = Visit::parse(r#"{ "interval_weeks": 5, "diet": "hay only since March" }"#)?;
    /// assert_eq!(visit.remarks(), [("diet", "hay only since March".to_owned()), ("next visit", "in 5 weeks".to_owned())]);
    /// # Ok::<(), hoofgeo::Error>(())
    /// ```
    pub fn remarks(&self) -> Vec<(&'static str, String)> {
        let texts = self.texts().into_iter().filter_map(|(key, text)| Some((key, text.clone()?)));
        let interval =
            self.interval_weeks.map(|w| ("next visit", format!("in {w} {}", if w == 1.0 { "week" } else { "weeks" })));
        texts.chain(interval).collect()
    }
}
