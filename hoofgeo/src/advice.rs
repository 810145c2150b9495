//! What would make a value more certain: each change that a person can make, by evaluating the photo's model again with that change.
//!
//! The photo stays as it is: the same camera, foot and landmarks. What a change adds to the knowledge of camera, planes or landmarks
//! is added to the scene's covariance (a linear update, as a further observation would make it) or takes the place of a plane's or a
//! landmark's uncertainty; a line that is not there yet is put where the landmarks say it runs, and the value is evaluated with it. So
//! nothing is looked up: where a change gains nothing on this photo, it is not advised. [`plan`](crate::study) asks the same.

use crate::evaluate::{Value, evaluate};
use crate::foot::{PlaneName, View};
use crate::landmark::{Landmark, Line};
use crate::located::Located;
use crate::measure::{Measurement, Need};
use crate::measured::{GRADUATION_U_PX, Measured};
use crate::scene::params::{DISTORTION, LENS, LN_FOCAL, PRINCIPAL, TILT_X, TILT_Y, UNKNOWNS, View3};
use crate::scene::plane::PLANE;
use crate::scene::{Covariance, LensSource, Scene, SceneFlag, variance};
use crate::sidecar::Sidecar;
use crate::uncertainty::{Source, coverage_factor};
use nalgebra::{Const, DMatrix, DVector, Point2, SVector, U1, Vector2, Vector3};
use num_dual::DualSVec64;
use std::collections::BTreeMap;

/// A change of how photos are taken or marked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[non_exhaustive]
pub enum Change {
    /// None: as it is.
    None,
    /// An L-shaped ruler of 200 x 125 mm in place of the straight one, marked every 25 mm.
    SquareRuler,
    /// A calibrated lens.
    LensProfile,
    /// Every landmark placed a second time.
    SecondPlacement,
    /// Dorsal and heel wall drawn as lines of ten points.
    WallLines,
    /// How far the near heel stands before the midline, measured to 5 mm.
    HeelDepth,
    /// How deep the sole lies, measured to 3 mm.
    SoleDepth,
    /// The ruler in the measured plane, or its distance from it known to 2 mm.
    RulerInPlane,
    /// The foot stood straight to the ruler, within 2°.
    StraightStand,
    /// The camera square to the ruler, within 1.5°.
    SquareCamera,
    /// The points marked on the foot with a pen.
    PenMarks,
    /// A fourth graduation.
    FourthGraduation,
    /// The ruler read from the picture.
    ReadRuler,
    /// A second photo of the same foot, from anew.
    SecondPhoto,
    /// The person's own repeat study.
    OwnStudy,
}

impl Change {
    /// All of them.
    pub const ALL: [Self; 15] = [
        Self::None,
        Self::SquareRuler,
        Self::LensProfile,
        Self::SecondPlacement,
        Self::WallLines,
        Self::HeelDepth,
        Self::SoleDepth,
        Self::RulerInPlane,
        Self::StraightStand,
        Self::SquareCamera,
        Self::PenMarks,
        Self::FourthGraduation,
        Self::ReadRuler,
        Self::SecondPhoto,
        Self::OwnStudy,
    ];

    /// What it is, in words.
    pub const fn name(self) -> &'static str {
        match self {
            Self::None => "as it is",
            Self::SquareRuler => "with an L-shaped ruler",
            Self::LensProfile => "with a lens profile",
            Self::SecondPlacement => "with a second placement",
            Self::WallLines => "with the walls as lines",
            Self::HeelDepth => "with the heel's depth",
            Self::SoleDepth => "with the sole's depth",
            Self::RulerInPlane => "with the ruler's distance",
            Self::StraightStand => "with the foot straight",
            Self::SquareCamera => "with the camera square",
            Self::PenMarks => "with pen marks",
            Self::FourthGraduation => "with a fourth graduation",
            Self::ReadRuler => "with the ruler read",
            Self::SecondPhoto => "with a second photo",
            Self::OwnStudy => "with an own repeat study",
        }
    }

    /// What to do, a sentence without a full stop.
    pub const fn words(self) -> &'static str {
        match self {
            Self::None => "leave it as it is",
            Self::SquareRuler => "use an L-shaped ruler: it shows the camera's tilt",
            Self::LensProfile => "calibrate the lens once with photos of a board",
            Self::SecondPlacement => "place each landmark a second time",
            Self::WallLines => "draw the walls as lines of ten points or more",
            Self::HeelDepth => {
                "measure how far the near heel stands before the foot's midline, and state it to 5 mm (planes.near_heel)"
            }
            Self::SoleDepth => {
                "measure how deep the sole lies behind the bearing edge, and state it to 3 mm (planes.sole)"
            }
            Self::RulerInPlane => {
                "hold the ruler in the measured plane, or state how far behind it that lies to 2 mm (planes.measured)"
            }
            Self::StraightStand => {
                "let the foot stand straight along the ruler, within 2°, and say so (planes.measured.tilt_u_deg)"
            }
            Self::SquareCamera => {
                "hold the camera level and square to the ruler, within 1.5°, and say so (scale.tilt_u_deg)"
            }
            Self::PenMarks => "mark the points on the foot with a pen before the photo",
            Self::FourthGraduation => "mark a fourth graduation",
            Self::ReadRuler => "let the ruler be read from the picture (hoofgeo read, or the page)",
            Self::SecondPhoto => "take a second photo, with camera and ruler placed anew",
            Self::OwnStudy => {
                "place the landmarks of some photos twice (hoofgeo observers): your own spread then takes the table's place"
            }
        }
    }
}

/// A change worth making, and what the uncertainty is multiplied with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Advice {
    /// What to do.
    pub change: Change,
    /// New U over old U.
    pub factor: f64,
}

impl std::fmt::Display for Advice {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} (± × {:.2})", self.change.words(), self.factor)
    }
}

/// A change that gains less is not advised.
const WORTH: f64 = 0.97;

/// What a pen's dot is known to, mm (estimate, no source).
const PEN_U_MM: f64 = 0.3;

/// How a value answers to everything that a change can alter, in its unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Sensitivity {
    /// The whole variance, before any Monte Carlo.
    pub variance: f64,
    /// Sensitivities to the scene's unknowns.
    pub scene: SVector<f64, UNKNOWNS>,
    /// Variance that each plane of [`Located::planes`] brings: by its distance and its tilts.
    pub planes: [[f64; PLANE]; PlaneName::ALL.len()],
    /// Variance that comes new with each placement of the landmarks.
    pub click: f64,
    /// The same with one placement more.
    pub click_again: f64,
    /// Variance of how well the landmarks are defined that a pen's dot would take away.
    pub definition: f64,
    /// What the pen's dot would leave of it.
    pub pen: f64,
}

impl Sensitivity {
    /// From the sensitivities to the points; `factor` is from the formula's unit to the value's, `variance` in the former.
    pub(crate) fn of(
        variance: f64,
        points: &[(usize, Vector2<f64>)],
        by_scene: &SVector<f64, UNKNOWNS>,
        located: &Located,
        factor: f64,
    ) -> Self {
        let square = factor * factor;
        let mut out = Self {
            variance: variance * square,
            scene: by_scene * factor,
            planes: [[0.0; PLANE]; PlaneName::ALL.len()],
            click: 0.0,
            click_again: 0.0,
            definition: 0.0,
            pen: 0.0,
        };
        for (slot, plane) in located.planes.iter().enumerate().take(out.planes.len()) {
            let mut by = SVector::<f64, PLANE>::zeros();
            for (i, g) in points {
                let p = &located.points[*i];
                if slot == 0 {
                    by += p.by_measured.transpose() * g;
                }
                if p.plane == slot {
                    by += p.by_own.transpose() * g;
                }
            }
            out.planes[slot] = std::array::from_fn(|k| square * (by[k] * plane.u[k]).powi(2));
        }
        for landmark in Landmark::ALL {
            let Some(i) = located.index.landmark(*landmark) else { continue };
            let Some((_, g)) = points.iter().find(|(k, _)| *k == i) else { continue };
            let p = &located.points[i];
            let click = square * (p.by_pixel.transpose() * g).norm_squared() * p.u_px * p.u_px;
            out.click += click;
            // The mean of n + 1 placements in the place of n; how many there were, the pixel's uncertainty does not say.
            out.click_again += click / 2.0;
            let ground = matches!(landmark, Landmark::GroundFront | Landmark::GroundBack);
            let (own, pen) = (square * (p.anatomy * g).dot(g), square * g.norm_squared() * PEN_U_MM * PEN_U_MM);
            if !ground && pen < own {
                out.definition += own;
                out.pen += pen;
            }
        }
        out
    }
}

/// What a change leaves of a scene: its covariance, and what the tilts' variance is multiplied with.
struct Update {
    covariance: Covariance,
    tilts: f64,
}

/// One photo under each change.
pub struct Improvements<'a> {
    measured: &'a Measured,
    scenes: BTreeMap<Change, Update>,
    /// Standard uncertainties of the values with the walls drawn as lines.
    with_lines: BTreeMap<&'static str, f64>,
}

impl<'a> Improvements<'a> {
    /// Of a measured photo and its sidecar.
    pub fn new(sidecar: &Sidecar, measured: &'a Measured) -> Self {
        let scene = &measured.scene;
        let mut scenes = BTreeMap::new();
        let mut put = |change, rows: Option<Rows>| {
            if let Some(update) = rows.and_then(|rows| rows.update(scene)) {
                scenes.insert(change, update);
            }
        };
        let labels: Vec<Point2<f64>> = sidecar.scale.iter().flat_map(|s| &s.points).map(|p| p.mm.into()).collect();
        let u_px = sidecar.scale.as_ref().and_then(|s| s.u_px).unwrap_or(GRADUATION_U_PX);
        let read = scene.flags.contains(&SceneFlag::RulerRead);
        if !scene.two_dimensional {
            let tilt_u_deg = sidecar.scale.as_ref().and_then(|s| s.tilt_u_deg);
            put(
                Change::SquareRuler,
                second_leg(scene).map(|leg| Rows::graduations(scene, &leg, u_px).free(tilt_u_deg)),
            );
            if !read && labels.len() <= 3 {
                put(Change::FourthGraduation, widest_gap(&labels).map(|l| Rows::graduations(scene, &[l], u_px)));
            }
            if !read {
                put(Change::ReadRuler, lines_read(&labels).map(|(l, u)| Rows::graduations(scene, &l, u)));
            }
        }
        let tilt = |i: usize| scene.covariance[(i, i)].max(0.0).sqrt();
        if tilt(TILT_X).max(tilt(TILT_Y)) > SQUARE_CAMERA {
            put(Change::SquareCamera, Some(Rows::direct(&[(TILT_X, SQUARE_CAMERA), (TILT_Y, SQUARE_CAMERA)])));
        }
        if scene.lens_source != LensSource::Profile {
            put(Change::LensProfile, Some(Rows::direct(&profile(scene))));
        }
        Self { measured, scenes, with_lines: walls_as_lines(sidecar, measured) }
    }

    /// A value's standard uncertainty under a change; `None` where the change is none on this photo.
    pub fn u(&self, value: &Value, change: Change) -> Option<f64> {
        let s = &value.sensitivity;
        let scene = &self.measured.scene;
        let whole = s.variance;
        let plane = |name: PlaneName, most: f64, k: std::ops::Range<usize>| {
            let slot = self.measured.located.planes.iter().position(|p| p.name == name)?;
            let u = self.measured.located.planes[slot].u;
            let less: f64 =
                k.map(|k| if u[k] > most { s.planes[slot][k] * (1.0 - (most / u[k]).powi(2)) } else { 0.0 }).sum();
            Some(whole - less)
        };
        let u2 = match change {
            Change::None => Some(whole),
            Change::SquareRuler
            | Change::LensProfile
            | Change::SquareCamera
            | Change::FourthGraduation
            | Change::ReadRuler => {
                let update = self.scenes.get(&change)?;
                let now = variance(&s.scene, &scene.covariance);
                // What the tilts bring in second order goes with the square of their variance.
                let all = whole * SCENE_SOURCES.iter().map(|source| value.budget.share(*source)).sum::<f64>();
                let bent = (all - now).max(0.0);
                Some(whole - now - bent + variance(&s.scene, &update.covariance) + bent * update.tilts * update.tilts)
            }
            Change::SecondPlacement => Some(whole - s.click + s.click_again),
            Change::WallLines => self.with_lines.get(value.measurement.id).map(|u| u * u),
            Change::HeelDepth => plane(PlaneName::NearHeel, 5.0, 0..1),
            Change::SoleDepth => plane(PlaneName::Sole, 3.0, 0..1),
            Change::RulerInPlane => plane(PlaneName::Measured, 2.0, 0..1),
            Change::StraightStand => plane(PlaneName::Measured, 2f64.to_radians(), 1..PLANE),
            Change::PenMarks => Some(whole - s.definition + s.pen),
            Change::SecondPhoto => {
                let new = variance(&s.scene, &scene.parts[0]) + variance(&s.scene, &scene.parts[3]) + s.click;
                Some(whole - new / 2.0)
            }
            // The spread stays what it is; how well it is known grows.
            Change::OwnStudy => value.dof.map(|_| whole),
        }?;
        Some(u2.max(0.0).sqrt())
    }

    /// New U over old U.
    pub fn factor(&self, value: &Value, change: Change) -> Option<f64> {
        let old = value.sensitivity.variance.sqrt();
        let k = coverage_factor(value.dof);
        let new_k = if change == Change::OwnStudy { coverage_factor(None) } else { k };
        let factor = self.u(value, change)? * new_k / (old * k);
        factor.is_finite().then_some(factor)
    }

    /// The change that shrinks a value's U most, where one does.
    pub fn best(&self, value: &Value) -> Option<Advice> {
        self.best_of(std::slice::from_ref(&value))
    }

    /// The change that shrinks the U of several values most, by the geometric mean of their factors.
    pub fn best_of(&self, values: &[&Value]) -> Option<Advice> {
        let n = values.len() as f64;
        Change::ALL
            .into_iter()
            .filter_map(|change| {
                let factors: Vec<f64> = values.iter().filter_map(|v| self.factor(v, change)).collect();
                let logs: f64 = factors.iter().map(|f| f.max(1e-6).ln()).sum();
                (!factors.is_empty()).then(|| Advice { change, factor: (logs / n).exp() })
            })
            .filter(|a| a.factor < WORTH)
            .min_by(|a, b| a.factor.total_cmp(&b.factor))
    }
}

const SCENE_SOURCES: [Source; 4] = [Source::Graduations, Source::ScaleTolerance, Source::Lens, Source::CameraTilt];

/// What the model takes for the tilt where it is not stated, degrees: with a straight ruler, and with a scale that shows it.
const STRAIGHT_TILT_U_DEG: f64 = 5.0;
const SQUARE_TILT_U_DEG: f64 = 30.0;

/// How square a camera is held by its level, rad (estimate, no source).
const SQUARE_CAMERA: f64 = 1.5 * std::f64::consts::PI / 180.0;

/// Further observations of a scene's unknowns, each with its standard uncertainty.
struct Rows {
    design: DMatrix<f64>,
    /// Variances; a negative one takes that much knowledge away.
    variances: Vec<f64>,
}

impl Rows {
    fn direct(known: &[(usize, f64)]) -> Self {
        let mut design = DMatrix::zeros(known.len(), UNKNOWNS);
        for (row, (i, _)) in known.iter().enumerate() {
            design[(row, *i)] = 1.0;
        }
        Self { design, variances: known.iter().map(|k| k.1 * k.1).collect() }
    }

    fn graduations(scene: &Scene, labels: &[Point2<f64>], u_px: f64) -> Self {
        type Dual = DualSVec64<UNKNOWNS>;
        let seeded: [Dual; UNKNOWNS] = std::array::from_fn(|i| Dual::from_re(scene.state[i]).derivative(i));
        let view = View3::new(&seeded, scene.pivot);
        let seen: Vec<_> = labels.iter().filter_map(|l| view.graduation_pixel(*l)).collect();
        let mut design = DMatrix::zeros(2 * seen.len(), UNKNOWNS);
        for (i, p) in seen.iter().enumerate() {
            for (k, c) in [p.x, p.y].into_iter().enumerate() {
                let eps: SVector<f64, UNKNOWNS> = c.eps.unwrap_generic(Const::<UNKNOWNS>, U1);
                design.row_mut(2 * i + k).copy_from(&eps.transpose());
            }
        }
        Self { variances: vec![u_px * u_px; design.nrows()], design }
    }

    /// Of a scale that shows the tilt itself: what was believed of the tilt with a straight ruler gives way to what is with any other.
    fn free(mut self, tilt_u_deg: Option<f64>) -> Self {
        let information = |deg: f64| deg.max(1e-3).to_radians().powi(-2);
        let less = information(tilt_u_deg.unwrap_or(STRAIGHT_TILT_U_DEG)) - information(SQUARE_TILT_U_DEG);
        if less > 0.0 {
            let n = self.design.nrows();
            self.design = self.design.insert_rows(n, 2, 0.0);
            (self.design[(n, TILT_X)], self.design[(n + 1, TILT_Y)]) = (1.0, 1.0);
            self.variances.extend([-1.0 / less; 2]);
        }
        self
    }

    /// The scene's covariance after these observations (linear update of a normal distribution).
    fn update(&self, scene: &Scene) -> Option<Update> {
        let c = DMatrix::from_column_slice(UNKNOWNS, UNKNOWNS, scene.covariance.as_slice());
        let gain = &self.design * &c;
        let noise = DMatrix::from_diagonal(&DVector::from_column_slice(&self.variances));
        let solved = (&gain * self.design.transpose() + noise).lu().solve(&gain)?;
        let left = c - gain.transpose() * solved;
        let covariance = Covariance::from_column_slice(left.as_slice());
        let tilts = |c: &Covariance| c[(TILT_X, TILT_X)] + c[(TILT_Y, TILT_Y)];
        let before = tilts(&scene.covariance);
        let tilts = if before > 0.0 { (tilts(&covariance) / before).max(0.0) } else { 1.0 };
        Some(Update { covariance, tilts })
    }
}

/// A profile from a dozen photos of a board (estimates, no source; `lens calibrate` states its own).
fn profile(scene: &Scene) -> Vec<(usize, f64)> {
    let side = f64::from(scene.frame_px.0.max(scene.frame_px.1));
    let u = [0.003, 0.001 * side, 0.001 * side, 0.005, 0.02, 0.0, 0.0003, 0.0003];
    debug_assert!(LN_FOCAL == 0 && PRINCIPAL == 1 && DISTORTION == 3 && u.len() == LENS);
    u.into_iter().enumerate().filter(|(_, u)| *u > 0.0).collect()
}

/// The second leg of an L-shaped ruler at the scale's zero, up or down, whichever has more room in the frame; at least two
/// graduations of it.
fn second_leg(scene: &Scene) -> Option<Vec<Point2<f64>>> {
    let view = scene.view();
    let (width, height) = (f64::from(scene.frame_px.0), f64::from(scene.frame_px.1));
    let inside = |y: f64| {
        let p = view.pixel(Vector3::new(0.0, y, 0.0));
        p.is_some_and(|p| (0.0..=width).contains(&p.x) && (0.0..=height).contains(&p.y))
    };
    let leg = |sign: f64| -> Vec<Point2<f64>> {
        (1..=5).map(|i| sign * 25.0 * f64::from(i)).take_while(|y| inside(*y)).map(|y| Point2::new(0.0, y)).collect()
    };
    let (up, down) = (leg(1.0), leg(-1.0));
    Some(if up.len() >= down.len() { up } else { down }).filter(|l| l.len() >= 2)
}

/// The middle of the widest gap between graduations.
fn widest_gap(labels: &[Point2<f64>]) -> Option<Point2<f64>> {
    let mut x: Vec<f64> = labels.iter().map(|l| l.x).collect();
    x.sort_by(f64::total_cmp);
    let gap = x.windows(2).max_by(|a, b| (a[1] - a[0]).total_cmp(&(b[1] - b[0])))?;
    Some(Point2::new((gap[0] + gap[1]) / 2.0, 0.0))
}

/// Nine graduations that tell as much as every fifth millimetre read to 0.3 px (estimate; VALIDATION.md has what reading gives).
fn lines_read(labels: &[Point2<f64>]) -> Option<(Vec<Point2<f64>>, f64)> {
    let x = || labels.iter().map(|l| l.x);
    let (from, to) = (x().fold(f64::INFINITY, f64::min), x().fold(f64::NEG_INFINITY, f64::max));
    if to.is_nan() || to - from <= 10.0 {
        return None;
    }
    let n = ((to - from) / 5.0).max(9.0);
    let some = (0..9).map(|i| Point2::new(from + (to - from) * f64::from(i) / 8.0, 0.0)).collect();
    Some((some, 0.3 * (9.0 / n).sqrt()))
}

/// The values that a wall's line would serve better, with walls drawn where the landmarks say they run.
fn walls_as_lines(sidecar: &Sidecar, measured: &Measured) -> BTreeMap<&'static str, f64> {
    const POINTS: usize = 10;
    let none = BTreeMap::new();
    if sidecar.view != View::Lateral {
        return none;
    }
    let mut drawn = sidecar.clone();
    let mut new = Vec::new();
    for (line, coronet, ground) in [
        (Line::DorsalWall, Landmark::ToeCoronet, Landmark::ToeGround),
        (Line::HeelWall, Landmark::HeelCoronet, Landmark::HeelGround),
    ] {
        let at = |l| measured.located.index.landmark(l).map(|i| measured.located.points[i].pixel);
        let (Some(top), Some(bottom)) = (at(coronet), at(ground)) else { continue };
        if drawn.lines.get(&line).is_some_and(|l| l.len() >= 3) {
            continue;
        }
        let along = (0..POINTS).map(|i| top + (bottom - top) * (i as f64 / (POINTS - 1) as f64));
        drawn.lines.insert(line, along.map(Into::into).collect());
        new.push(line);
    }
    if new.is_empty() {
        return none;
    }
    // Nothing else of the photo is needed.
    let Ok(located) = Located::new(&measured.scene, &drawn) else { return none };
    let wants = |m: &Measurement| new.iter().any(|line| m.needs.iter().any(|n| takes(n, *line)));
    let served = measured.values.iter().map(|v| v.measurement).filter(|m| wants(m));
    served.filter_map(|m| Some((m.id, evaluate(m, &located, &measured.scene).ok()?.u))).collect()
}

/// Whether a line of three points or more can serve a need.
fn takes(need: &Need, line: Line) -> bool {
    match need {
        Need::Line(l, n) => *l == line && *n > 2,
        Need::Either(sets) => sets.iter().flat_map(|s| s.iter()).any(|n| takes(n, line)),
        Need::Point(_) | Need::Gauge => false,
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests;
