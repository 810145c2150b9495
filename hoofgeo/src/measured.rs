//! One photo measured: from its sidecar and what is known of its lens to values with uncertainties.

use crate::error::{Error, ErrorKind, Result};
use crate::evaluate::{Value, evaluate, monte_carlo};
use crate::foot::{PlaneName, SubjectKind};
use crate::landmark::{Landmark, Line};
use crate::located::Located;
use crate::measure::{self, Measurement, Standing};
use crate::placed::{Outcome, Undefined};
use crate::placement::PlacementTable;
use crate::plausibility::{self, Doubt, Doubts, Finding, Looks};
use crate::scale::{Graduation, Tolerance};
use crate::scene::{LensPrior, Scene, SceneFlag, SceneInput};
use crate::sidecar::{LensProfile, Sidecar};
use crate::uncertainty::print;
use nalgebra::{Point2, SMatrix};
use std::borrow::Cow;
use std::fmt;
use std::sync::Arc;

/// Standard uncertainty of a graduation's pixel per axis where the sidecar does not say (estimate, no source).
pub const GRADUATION_U_PX: f64 = 1.0;

/// How to measure.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct MeasureOptions {
    /// Monte Carlo draws; none for the linear result alone.
    pub draws: usize,
    /// Seed of the draws.
    pub seed: u64,
    /// Placement uncertainties found by comparing observers, for landmarks that state none of their own; without them the declared.
    pub placement: Option<Arc<PlacementTable>>,
    /// Graduations in place of those that the sidecar marks, such as those read from the pixels (`pixels::ruler`). A
    /// session (`visit::Session`) fills them in where it reads the ruler.
    pub graduations: Option<Vec<Graduation>>,
}

impl MeasureOptions {
    /// The graduations to measure a sidecar with: these, else the marked ones.
    pub(crate) fn graduations_of<'a>(&'a self, sidecar: &Sidecar) -> Cow<'a, [Graduation]> {
        self.graduations.as_deref().map_or_else(|| marked(sidecar).into(), Cow::from)
    }
}

/// A photo's scene, points and values.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub struct Measured {
    /// Camera, lens and scale pose.
    pub scene: Scene,
    /// Landmarks and lines in the measured plane.
    pub located: Located,
    /// The values, in the order of [`measure::ALL`].
    pub values: Vec<Value>,
    /// What could not be measured, and why.
    pub missing: Vec<(&'static Measurement, Undefined)>,
    /// What kind of animal it is said to be.
    pub kind: SubjectKind,
    /// What cannot be, or is rare: gross slips that no uncertainty covers.
    pub findings: Vec<Finding>,
    /// Landmarks whose spread of placing is that of [`MeasureOptions::placement`].
    pub by_table: Vec<Landmark>,
    /// Landmarks that are in that table but keep the `u_px` or `u_mm` that the sidecar states.
    pub as_stated: Vec<Landmark>,
}

/// Measures everything that a sidecar's landmarks allow.
///
/// # Errors
/// `Scale` and `Scene` where the graduations are missing or contradict each other, `Landmark` where a landmark cannot lie on its
/// plane, and `Format` where nothing was placed yet.
///
/// # Example: one photo
/// ```
/// use hoofgeo::{measured::{measure, MeasureOptions}, scene::LensPrior, sidecar::Sidecar};
/// let sidecar = Sidecar::parse(r#"{
///   "format": "hoofgeo-sidecar/1",
///   "photo": { "file": "side.jpg", "width_px": 4000, "height_px": 3000 },
///   "subject": { "foot": "LF" }, "view": "lateral", "side": "lateral",
///   "scale": { "kind": "straight_ruler", "points": [
///     { "mm": 0, "at": [1000, 2500] }, { "mm": 100, "at": [2000, 2500] }, { "mm": 200, "at": [3000, 2500] } ] },
///   "planes": { "near_heel": { "behind_scale_mm": 0 } },
///   "landmarks": { "toe_coronet": { "at": [1723, 1730] }, "toe_ground": { "at": [1200, 2400] },
///                  "heel_coronet": { "at": [2659, 2150] }, "heel_ground": { "at": [2400, 2400] } }
/// }"#, None)?;
/// let lens = LensPrior::exif((4000, 3000), 3000.0);
/// let measured = measure(&sidecar, &lens, &MeasureOptions::default())?;
/// let angle = &measured.values[0];
/// assert_eq!(angle.measurement.id, "dorsal_wall_angle");
/// assert!((angle.value - 52.0).abs() < 0.1 && angle.u < 4.0);
/// # Ok::<(), hoofgeo::Error>(())
/// ```
pub fn measure(sidecar: &Sidecar, lens: &LensPrior, options: &MeasureOptions) -> Result<Measured> {
    let placement = options.placement.as_deref();
    let graduations = &*options.graduations_of(sidecar);
    let (scene, located) = locate(sidecar, lens, options)?;
    let kind = sidecar.subject.kind.unwrap_or(SubjectKind::Adult);
    let mut values = Vec::new();
    let mut missing = Vec::new();
    for measurement in measure::of(sidecar.view) {
        match evaluate(measurement, &located, &scene).and_then(|value| possible(value, kind)) {
            Ok(value) => values.push(value),
            Err(why) => missing.push((measurement, why)),
        }
    }
    let findings = findings(sidecar, lens, graduations, placement, (&scene, &located));
    if options.draws > 0 {
        monte_carlo(&mut values, &located, &scene, options.draws, options.seed)?;
    }
    let in_table = |l: &Landmark| options.placement.as_ref().is_some_and(|table| table.spread(*l, 1).is_some());
    let states = |l: &Landmark| sidecar.landmarks.get(l).is_some_and(|p| p.u_px.is_some() || p.u_mm.is_some());
    let (as_stated, by_table) = sidecar.landmarks.keys().copied().filter(in_table).partition(states);
    Ok(Measured { scene, located, values, missing, kind, findings, by_table, as_stated })
}

/// The scene of a sidecar's scale, and its landmarks and lines in the measured plane: everything that can be refused, before
/// anything is measured. Draws are not made.
///
/// # Errors
/// As [`measure()`].
pub fn locate(sidecar: &Sidecar, lens: &LensPrior, options: &MeasureOptions) -> Result<(Scene, Located)> {
    let placement = options.placement.as_deref();
    let graduations = &*options.graduations_of(sidecar);
    // What is missing altogether is said before the scene is estimated, and all of it at once: a new sidecar lacks both.
    let nothing_placed = sidecar.landmarks.is_empty() && sidecar.lines.is_empty() && sidecar.gauge.is_empty();
    let nothing_marked = graduations.is_empty();
    if nothing_marked && nothing_placed {
        let what = "no graduation of the scale is marked and no landmark is placed yet";
        return Err(Error::new(ErrorKind::Format, what).help(format!("{MARK_GRADUATIONS}; {PLACE_LANDMARKS}")));
    }
    if nothing_placed {
        return Err(Error::new(ErrorKind::Format, "no landmark or line is placed yet").help(PLACE_LANDMARKS));
    }
    let (scene, located) = locate_at(sidecar, lens, graduations, placement)?;
    located.map(|located| (scene, located)).map_err(|error| {
        // Labels that are off by a factor put the camera before or behind everything.
        let locate = |g: &[Graduation]| locate_at(sidecar, lens, g, placement).and_then(|(s, l)| Ok((s, l?)));
        match plausibility::wrong_factor(sidecar, graduations, None, &locate) {
            Some(finding) => error.help(finding.text()),
            None => error,
        }
    })
}

/// The scene, and in it the landmarks.
fn locate_at(
    sidecar: &Sidecar,
    lens: &LensPrior,
    graduations: &[Graduation],
    placement: Option<&PlacementTable>,
) -> Result<(Scene, Result<Located>)> {
    let scene = scene_of(sidecar, lens, graduations)?;
    let spreads = |landmark, placements| placement.and_then(|table| table.spread(landmark, placements));
    let located = Located::with_spreads(&scene, sidecar, &spreads);
    Ok((scene, located))
}

/// A value, unless no such foot has it.
pub(crate) fn possible(value: Value, kind: SubjectKind) -> Outcome<Value> {
    let m = value.measurement;
    match m.plausible.of(kind, m.quantity).judge_known(value.value, value.expanded()) {
        Standing::Impossible(limit) => Err(Undefined::Beyond { value: value.value, limit, unit: m.quantity.unit() }),
        _ => Ok(value),
    }
}

/// What cannot be on a photo, or is rare: exchanged landmarks, labels off by a factor, labels that nothing checks.
fn findings(
    sidecar: &Sidecar,
    lens: &LensPrior,
    graduations: &[Graduation],
    placement: Option<&PlacementTable>,
    (scene, located): (&Scene, &Located),
) -> Vec<Finding> {
    let locate = |g: &[Graduation]| locate_at(sidecar, lens, g, placement).and_then(|(s, l)| Ok((s, l?)));
    let mut findings = match plausibility::look(sidecar, located) {
        Looks::Unknown => Vec::new(),
        Looks::WrongSize(size) => {
            plausibility::wrong_factor(sidecar, graduations, Some(size), &locate).into_iter().collect()
        }
        Looks::Foot(findings) => findings,
    };
    findings.extend(scene_input(sidecar, lens, graduations).and_then(|input| plausibility::unchecked(&input, scene)));
    findings
}

const MARK_GRADUATIONS: &str = "write graduations of the ruler, four or more and far apart, into the sidecar's scale.points: \
                                { \"mm\": 50, \"at\": [x, y] }, the pixel counted from the photo's top left corner";
const PLACE_LANDMARKS: &str =
    "write each landmark's pixel into its slot under the sidecar's landmarks: { \"at\": [x, y] }";

/// The scene of a sidecar's scale, whatever is placed.
///
/// # Errors
/// `Scale` and `Scene` where the graduations are missing or contradict each other.
pub fn scene(sidecar: &Sidecar, lens: &LensPrior, options: &MeasureOptions) -> Result<Scene> {
    scene_of(sidecar, lens, &options.graduations_of(sidecar))
}

fn scene_of(sidecar: &Sidecar, lens: &LensPrior, graduations: &[Graduation]) -> Result<Scene> {
    let Some(input) = scene_input(sidecar, lens, graduations) else {
        return Err(Error::new(ErrorKind::Scale, "no graduation of the scale is marked yet").help(MARK_GRADUATIONS));
    };
    Scene::estimate(&input)
}

fn scene_input<'a>(sidecar: &Sidecar, lens: &LensPrior, graduations: &'a [Graduation]) -> Option<SceneInput<'a>> {
    let scale = sidecar.scale.as_ref().filter(|_| !graduations.is_empty())?;
    Some(SceneInput {
        graduations,
        frame_px: (sidecar.photo.width_px, sidecar.photo.height_px),
        u_px: scale.u_px.unwrap_or(GRADUATION_U_PX),
        tilt_u_deg: scale.tilt_u_deg,
        tolerance: scale.tolerance.unwrap_or_else(|| Tolerance::assumed(scale.kind)),
        lens: lens.clone(),
    })
}

/// The graduations that a sidecar marks.
pub fn marked(sidecar: &Sidecar) -> Vec<Graduation> {
    let points = sidecar.scale.iter().flat_map(|s| &s.points);
    points.map(|g| Graduation::marked(Point2::from(g.mm), Point2::from(g.at))).collect()
}

/// `52.1 ± 1.4 °`: the value with its expanded uncertainty at 95 %, in no more digits than that deserves.
impl fmt::Display for Value {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&print(self.value, self.expanded(), self.measurement.quantity.unit()).to_string())
    }
}

impl Measured {
    /// The value of one measurement, where it could be measured.
    ///
    /// ```no_run
    /// # use hoofgeo::{measure::HEEL_ANGLE, measured::{MeasureOptions, measure}, scene::LensPrior, sidecar::Sidecar};
    /// let sidecar = Sidecar::read("LF-side.jpg.hoof.json")?;
    /// let measured = measure(&sidecar, &LensPrior::exif((4032, 3024), 2950.0), &MeasureOptions::default())?;
    /// if let Some(angle) = measured.value(&HEEL_ANGLE) {
    ///     println!("{}: {angle}", angle.measurement.name);
    /// }
    /// # Ok::<(), hoofgeo::Error>(())
    /// ```
    pub fn value(&self, measurement: &Measurement) -> Option<&Value> {
        self.values.iter().find(|v| *v.measurement == *measurement)
    }

    /// What the reader of a value has to know, by the names used in results.
    pub fn flags(&self, value: &Value) -> Vec<&'static str> {
        let mut flags: Vec<&str> = self.scene.flags.iter().map(|f| f.name()).collect();
        if value.used.bearing_line {
            flags.push("bearing_line");
        }
        let on = |plane| {
            value.used.landmarks().any(|l| l.info().plane == plane)
                || value.used.lines().any(|l| l.info().plane == plane)
        };
        if self.located.planes[0].shown_turn(&self.scene).is_some() {
            flags.push("foot_turned");
        }
        if self.located.near_heel_assumed && on(PlaneName::NearHeel) {
            flags.push("near_heel_plane_assumed");
        }
        if self.located.sole_assumed && on(PlaneName::Sole) {
            flags.push("sole_plane_assumed");
        }
        let at_ground =
            value.used.landmarks().any(Landmark::meets_ground) || value.used.lines().any(|l| l == Line::Ground);
        if self.located.hidden_mm > 0.0 && at_ground {
            flags.push("bearing_edge_hidden");
        }
        if value.linear_fails {
            flags.push("monte_carlo");
        }
        if value.used.landmarks().any(|l| self.by_table.contains(&l)) {
            flags.push(PLACEMENT_TABLE);
        }
        if value.used.landmarks().any(|l| self.as_stated.contains(&l)) {
            flags.push(PLACEMENT_STATED);
        }
        flags.extend(self.doubts(value).iter().map(Doubt::name));
        flags
    }

    /// Why a value is not to be trusted as it stands, whatever its ±.
    pub fn doubts(&self, value: &Value) -> Doubts {
        let m = value.measurement;
        let found = self.findings.iter().filter(|f| f.touches(m, &value.used)).map(|f| f.doubt);
        let standing = m.plausible.of(self.kind, m.quantity).judge_known(value.value, value.expanded());
        let rare = standing != Standing::Usual;
        found.chain(rare.then_some(Doubt::RareValue)).collect()
    }

    /// What is doubted, a sentence each without a full stop: the findings; values that no foot has, and rare ones, where no finding
    /// explains them.
    pub fn doubts_in_words(&self) -> Vec<String> {
        let mut words: Vec<String> = self.findings.iter().map(Finding::text).collect();
        if self.findings.iter().any(|f| f.doubt == Doubt::LabelsFactor) {
            return words;
        }
        for (m, why) in &self.missing {
            if matches!(why, Undefined::Beyond { .. }) {
                words.push(format!("{} {why}: check landmarks and graduations", m.id));
            }
        }
        for v in self.values.iter().filter(|v| self.doubts(v).contains(Doubt::RareValue)) {
            let value = crate::uncertainty::print(v.value, v.expanded(), v.measurement.quantity.unit());
            words.push(format!("{} {value}: {}", v.measurement.id, Doubt::RareValue.meaning()));
        }
        words
    }

    /// Every doubt about the photo or one of its values.
    pub fn all_doubts(&self) -> Doubts {
        let values = self.values.iter().map(|v| self.doubts(v));
        values.fold(self.findings.iter().map(|f| f.doubt).collect(), Doubts::union)
    }
}

/// Names the values that a table of placements counts in.
pub const PLACEMENT_TABLE: &str = "placement_table";
/// Names the values with landmarks that a table of placements does not count for.
pub const PLACEMENT_STATED: &str = "placement_stated";

/// Flags of single values, with their meanings; the others are the scene's.
const VALUE_FLAGS: [(&str, &str); 8] = [
    (
        "bearing_line",
        "no ground is marked, so the line from toe_ground to heel_ground stands in for it: a lifted or rolled foot tilts it",
    ),
    (
        "foot_turned",
        "the heel bulbs show that the foot stood turned against the ruler, which is allowed for: let it stand straight along the ruler",
    ),
    (
        "near_heel_plane_assumed",
        "nothing is said of the near heel's distance, so it was taken to stand 30 mm nearer to the camera than the measured plane, \
         give or take 15 mm: measure it and give planes.near_heel.behind_scale_mm",
    ),
    (
        "sole_plane_assumed",
        "nothing is said of the sole's depth, so it was taken to lie 12 mm behind the bearing plane, give or take 8 mm: measure it and \
         give planes.sole.behind_scale_mm",
    ),
    (
        "bearing_edge_hidden",
        "soft ground or grass may hide the lowest millimetres of the foot, which the uncertainty covers: stand the foot on a board",
    ),
    ("monte_carlo", "the linear result does not hold here; uncertainty and interval are those of the draws"),
    (PLACEMENT_TABLE, "how well its landmarks are placed is taken from a table of placements (`hoofgeo observers`)"),
    (
        PLACEMENT_STATED,
        "the sidecar states u_px or u_mm for a landmark of it, which counts in place of the table of placements: remove them there \
         to use the table",
    ),
];

/// The names of all flags that a value can have, in the order in which tables list them.
pub fn flag_names() -> impl Iterator<Item = &'static str> {
    let doubts = Doubt::ALL.iter().map(|d| d.name());
    SceneFlag::ALL.into_iter().map(SceneFlag::name).chain(VALUE_FLAGS.map(|(name, _)| name)).chain(doubts)
}

/// What a flag means and what to do about it; `None` for a name that is no flag.
pub fn flag_meaning(flag: &str) -> Option<&'static str> {
    if let Some(f) = SceneFlag::ALL.into_iter().find(|f| f.name() == flag) {
        return Some(f.meaning());
    }
    let doubt = || Doubt::ALL.iter().find(|d| d.name() == flag).map(|d| d.meaning());
    VALUE_FLAGS.into_iter().find(|(name, _)| *name == flag).map(|(_, meaning)| meaning).or_else(doubt)
}

impl LensProfile {
    /// The profile as a prior for a frame of the same camera: scaled where the frame is a smaller or larger copy of the
    /// profile's.
    ///
    /// # Errors
    /// `Usage` where the frame has other proportions than the profile's.
    pub fn prior(&self, frame_px: (u32, u32)) -> Result<LensPrior> {
        let own = (f64::from(self.frame.width_px), f64::from(self.frame.height_px));
        let frame = (f64::from(frame_px.0), f64::from(frame_px.1));
        let scale = frame.0 / own.0;
        // A copy's sides are rounded to whole pixels.
        if (frame.1 - own.1 * scale).abs() > 1.0 {
            let text = format!(
                "the lens profile is for photos of {} x {} px, this one has {} x {} px",
                self.frame.width_px, self.frame.height_px, frame_px.0, frame_px.1
            );
            return Err(Error::new(ErrorKind::Usage, text)
                .help("use a profile made from photos held the same way up and uncropped, or leave the profile out"));
        }
        let d = &self.distortion;
        let [cx, cy] = self.principal_point_px;
        let mean = [self.focal_px * scale, cx * scale, cy * scale, d.k1, d.k2, d.k3, d.p1, d.p2];
        let s = |i: usize| if i < 3 { scale } else { 1.0 };
        let covariance = SMatrix::from_fn(|i, j| self.covariance[i][j] * s(i) * s(j));
        Ok(LensPrior::profile(mean, &covariance))
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::measure::{ALL, DORSAL_WALL_ANGLE, HEEL_ANGLE, HOOF_WIDTH};

    #[test]
    fn a_value_is_found_by_its_measurement_and_printed() {
        assert!(ALL.iter().enumerate().all(|(i, m)| ALL.iter().position(|other| *other == *m) == Some(i)));
        let text = r#"{ "format": "hoofgeo-sidecar/1", "photo": { "file": "a.jpg", "width_px": 4000, "height_px": 3000 },
            "subject": { "foot": "LF" }, "view": "lateral", "scale": { "kind": "straight_ruler", "points": [
            { "mm": 0, "at": [1000, 2500] }, { "mm": 100, "at": [2000, 2500] }, { "mm": 200, "at": [3000, 2500] } ] },
            "landmarks": { "toe_coronet": { "at": [1723, 1730] }, "toe_ground": { "at": [1200, 2400] },
            "heel_ground": { "at": [2400, 2400] } } }"#;
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("a.jpg.hoof.json");
        assert!(Sidecar::read(&path).unwrap_err().to_string().contains("a.jpg.hoof.json"));
        std::fs::write(&path, text).unwrap();
        let lens = LensPrior::exif((4000, 3000), 3000.0);
        let measured = measure(&Sidecar::read(&path).unwrap(), &lens, &MeasureOptions::default()).unwrap();
        let angle = measured.value(&DORSAL_WALL_ANGLE).unwrap();
        assert_eq!(angle.to_string(), print(angle.value, angle.expanded(), "deg").to_string());
        assert!(measured.value(&HEEL_ANGLE).is_none() && measured.value(&HOOF_WIDTH).is_none());
    }
}
