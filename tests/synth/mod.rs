//! Synthetic photos with known truth, drawn from the very priors that the model states.
//!
//! The foot is invented; its shape follows no animal. All pixels come from projecting known places through a known camera.
#![allow(dead_code, reason = "every test takes its own part of this module")]
#![allow(clippy::unwrap_used, reason = "tests")]

pub(crate) mod count;

use hoofgeo::landmark::{Landmark, Line, Spread};
use hoofgeo::located::{CLICK_U_PX, CORRELATION_MM, NEAR_HEEL_MM, PLANE_TILT_U_DEG, PLANE_U_MM, SOLE_MM};
use hoofgeo::measured::GRADUATION_U_PX;
use hoofgeo::placed::{Index, Placed};
use hoofgeo::scale::{self, ScaleKind, Tolerance};
use hoofgeo::scene::LensPrior;
use hoofgeo::scene::params::{LENS, LN_FOCAL, LN_MAGNIFICATION, PIVOT, ROLL, STRETCH, TILT_X, TILT_Y, UNKNOWNS, View3};
use hoofgeo::scene::plane::Plane;
use hoofgeo::sidecar::{Graduation, Placement, PlaneSpec, Scale, Sidecar};
use hoofgeo::{PlaneName, View};
use nalgebra::{DMatrix, Point2, SMatrix, Vector2};
use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;
use rand_xoshiro::Xoshiro256PlusPlus;
use std::collections::BTreeMap;

pub(crate) const FRAME: (u32, u32) = (4032, 3024);

pub(crate) type Rng = Xoshiro256PlusPlus;

pub(crate) fn rng(seed: u64) -> Rng {
    Rng::seed_from_u64(seed)
}

pub(crate) fn normal(rng: &mut Rng) -> f64 {
    rng.sample(StandardNormal)
}

pub(crate) fn uniform(rng: &mut Rng, from: f64, to: f64) -> f64 {
    rng.random_range(from..to)
}

/// What the program is told of the lens.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Known {
    Exif,
    Unknown,
    Profile,
}

impl Known {
    pub(crate) const ALL: [Self; 3] = [Self::Exif, Self::Unknown, Self::Profile];

    pub(crate) fn prior(self) -> LensPrior {
        // A phone's main camera: 26 mm on the diagonal of a 35 mm frame.
        let focal = 26.0 / 43.27 * f64::from(FRAME.0).hypot(f64::from(FRAME.1));
        match self {
            Self::Exif => LensPrior::exif(FRAME, focal),
            Self::Unknown => LensPrior::unknown(FRAME),
            Self::Profile => {
                let mean = [focal, 2020.0, 1500.0, -0.02, 0.01, 0.0, 0.0002, -0.0001];
                let u = [6.0, 5.0, 5.0, 0.004, 0.01, 0.0, 0.0002, 0.0002];
                let mut c: SMatrix<f64, LENS, LENS> =
                    SMatrix::from_diagonal(&nalgebra::SVector::from(u.map(|u| u * u)));
                (c[(3, 4)], c[(4, 3)]) = (-0.9 * u[3] * u[4], -0.9 * u[3] * u[4]);
                LensPrior::profile(mean, &c)
            }
        }
    }
}

/// A sidecar without anything in it.
pub(crate) fn blank(view: View) -> Sidecar {
    let text = format!(
        r#"{{ "format": "hoofgeo-sidecar/1", "photo": {{ "file": "a.jpg", "width_px": {}, "height_px": {} }},
              "subject": {{ "foot": "LF" }}, "view": "{view}" }}"#,
        FRAME.0, FRAME.1
    );
    Sidecar::parse(&text, None).unwrap()
}

/// Named places of a foot in the measured plane (or a plane parallel to it), mm.
#[derive(Debug, Clone, Default)]
pub(crate) struct Places {
    pub(crate) landmarks: BTreeMap<Landmark, Point2<f64>>,
    pub(crate) lines: BTreeMap<Line, Vec<Point2<f64>>>,
}

impl Places {
    /// The same places moved.
    pub(crate) fn map(&self, f: impl Fn(Point2<f64>) -> Point2<f64>) -> Self {
        Self {
            landmarks: self.landmarks.iter().map(|(l, p)| (*l, f(*p))).collect(),
            lines: self.lines.iter().map(|(l, p)| (*l, p.iter().map(|p| f(*p)).collect())).collect(),
        }
    }

    /// As formulas see them: index and points, in the order landmarks, lines.
    pub(crate) fn list(&self) -> (Index, Vec<Point2<f64>>) {
        let (mut index, mut points) = (Index::default(), Vec::new());
        for (l, p) in &self.landmarks {
            index.set_landmark(*l, points.len());
            points.push(*p);
        }
        for (l, p) in &self.lines {
            index.set_line(*l, points.len()..points.len() + p.len());
            points.extend(p);
        }
        (index, points)
    }

    /// Value of a measurement, in its unit.
    pub(crate) fn value(&self, m: &hoofgeo::measure::Measurement, gauge: Option<f64>) -> hoofgeo::placed::Outcome<f64> {
        let (index, points) = self.list();
        Ok((m.formula.value)(&Placed::new(&index, &points, gauge))? * m.quantity.factor())
    }

    pub(crate) fn insert(&mut self, l: Landmark, x: f64, y: f64) {
        self.landmarks.insert(l, Point2::new(x, y));
    }
}

/// The synthetic lateral foot S1: toe at the origin, heel 120 mm behind (x), wall 85 mm at 52°, heel 36 mm at 44°; the lower
/// part of the wall's outline flares.
pub(crate) fn lateral_foot() -> Places {
    use Landmark::{
        Breakover, GroundBack, GroundFront, HeelBulb, HeelCoronet, HeelGround, PasternLower, PasternUpper,
        SolePlaneHeel, ToeCoronet, ToeGround,
    };
    let mut p = Places::default();
    let at = |from: (f64, f64), length: f64, degrees: f64| {
        let (s, c) = degrees.to_radians().sin_cos();
        (from.0 + length * c, from.1 + length * s)
    };
    let toe = at((0.0, 0.0), 85.0, 52.0);
    let heel = at((120.0, 0.0), 36.0, 44.0);
    let mut set = |l, (x, y)| p.insert(l, x, y);
    set(ToeGround, (0.0, 0.0));
    set(HeelGround, (120.0, 0.0));
    set(ToeCoronet, toe);
    set(HeelCoronet, heel);
    set(GroundFront, (-15.0, 0.0));
    set(GroundBack, (150.0, 0.0));
    set(PasternLower, (62.0, 76.0));
    set(PasternUpper, at((62.0, 76.0), 60.0, 55.0));
    set(SolePlaneHeel, at((120.0, 0.0), 4.0 / 44f64.to_radians().sin(), 44.0));
    set(Breakover, (12.0, 0.0));
    set(HeelBulb, (158.0, 15.0));
    let along = |from: (f64, f64), to: (f64, f64), n: usize| -> Vec<Point2<f64>> {
        (0..n)
            .map(|i| {
                let s = i as f64 / (n - 1) as f64;
                Point2::new(from.0 + (to.0 - from.0) * s, from.1 + (to.1 - from.1) * s)
            })
            .collect()
    };
    // Down the wall; the lower half runs ahead by up to 9 mm.
    let mut wall = along(toe, (0.0, 0.0), 10);
    for (i, w) in wall.iter_mut().enumerate() {
        w.x -= 9.0 * ((i as f64 / 9.0 - 0.5).max(0.0) * 2.0).powi(2);
    }
    p.lines.insert(Line::DorsalWall, wall);
    p.lines.insert(Line::HeelWall, along(heel, (120.0, 0.0), 5));
    p.lines.insert(Line::Ground, along((-15.0, 0.0), (150.0, 0.0), 4));
    p.lines.insert(Line::TubulesToe, along((58.0, 60.0), (25.0, 18.0), 4));
    p.lines.insert(Line::TubulesQuarter, along((95.0, 44.0), (65.0, 8.0), 4));
    p.lines.insert(Line::TubulesHeel, along((135.0, 24.0), (118.0, 8.0), 3));
    p.lines.insert(Line::RingsToe, along(at(toe, -10.0, 52.0), at(toe, -55.0, 52.0), 4));
    p.lines.insert(Line::RingsHeel, along(at(heel, -7.0, 44.0), at(heel, -31.0, 44.0), 4));
    p
}

/// The synthetic sole S2: y from the heel buttresses' line to the toe, x across.
pub(crate) fn solar_foot() -> Places {
    use Landmark::{
        BreakoverSolar, BulbLateral, BulbMedial, CentralSulcus, FrogApex, FrogBaseLateral, FrogBaseMedial, HeelLateral,
        HeelMedial, ToeOuter, WhiteLineInner, WhiteLineOuter, WidestLateral, WidestMedial,
    };
    let mut p = Places::default();
    for (l, x, y) in [
        (ToeOuter, 0.0, 130.0),
        (WhiteLineInner, 0.0, 118.0),
        (WhiteLineOuter, 0.0, 121.0),
        (FrogApex, 0.0, 85.0),
        (CentralSulcus, 0.0, -8.0),
        (FrogBaseMedial, -26.0, -5.0),
        (FrogBaseLateral, 26.0, -5.0),
        (HeelMedial, -35.0, 0.0),
        (HeelLateral, 35.0, 0.0),
        (WidestMedial, -63.0, 67.0),
        (WidestLateral, 63.0, 67.0),
        (BulbMedial, -25.0, -20.0),
        (BulbLateral, 25.0, -20.0),
        (BreakoverSolar, 0.0, 124.0),
    ] {
        p.insert(l, x, y);
    }
    let ellipse = |a: f64, b: f64, cy: f64, n: usize| -> Vec<Point2<f64>> {
        (0..n)
            .map(|i| {
                let t = std::f64::consts::TAU * i as f64 / n as f64;
                Point2::new(a * t.cos(), cy + b * t.sin())
            })
            .collect()
    };
    p.lines.insert(Line::OuterWall, ellipse(63.0, 65.0, 65.0, 24));
    p.lines.insert(Line::WhiteLine, ellipse(52.0, 54.0, 64.0, 24));
    p.lines.insert(Line::FrogOutline, ellipse(24.0, 44.0, 41.0, 18));
    p
}

pub(crate) fn foot(view: View) -> Places {
    match view {
        View::Lateral => lateral_foot(),
        View::Solar => solar_foot(),
    }
}

/// The labels marked on a scale of each kind, mm.
pub(crate) fn labels(kind: ScaleKind) -> Vec<[f64; 2]> {
    match kind {
        ScaleKind::StraightRuler => (0..7).map(|i| [25.0 * f64::from(i), 0.0]).collect(),
        ScaleKind::SquareRuler => {
            let across = (0..6).map(|i| [30.0 * f64::from(i), 0.0]);
            across.chain((1..4).map(|i| [0.0, 30.0 * f64::from(i)])).collect()
        }
        ScaleKind::Card => vec![[0.0, 0.0], [85.6, 0.0], [85.6, 53.98], [0.0, 53.98]],
        ScaleKind::Board => (0..24).map(|i| [25.0 * f64::from(i % 6), 20.0 * f64::from(i / 6)]).collect(),
        other => panic!("no labels for {other:?}"),
    }
}

/// A photo with its truth.
pub(crate) struct Photo {
    pub(crate) sidecar: Sidecar,
    pub(crate) lens: LensPrior,
    /// The true places in the measured plane.
    pub(crate) truth: Places,
    pub(crate) state: [f64; UNKNOWNS],
    /// What else was drawn of the foot.
    foot: FootDraw,
}

/// What is drawn of a foot: its flare, whether lines are marked on it, where its near heel stands.
#[derive(Debug, Clone, Copy, Default)]
struct FootDraw {
    more: f64,
    with_lines: bool,
    behind: Option<f64>,
}

/// How photos are drawn.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Spec {
    pub(crate) kind: ScaleKind,
    pub(crate) view: View,
    pub(crate) known: Known,
    /// Placements of each landmark.
    pub(crate) repeats: usize,
}

/// Draws one photo. `None` where it could not have been taken: something outside the frame or beyond the lens model, or seen
/// at more than 60° off square.
pub(crate) fn draw(spec: &Spec, rng: &mut Rng) -> Option<Photo> {
    draw_like(spec, rng, None)
}

/// Draws another photo of the same foot with the same lens and ruler, everything else anew.
pub(crate) fn draw_like(spec: &Spec, rng: &mut Rng, like: Option<&Photo>) -> Option<Photo> {
    let mut foot_draw = FootDraw::default();
    let lens = spec.known.prior();
    let mut x = [0.0; UNKNOWNS];
    let root = root(&DMatrix::from_column_slice(LENS, LENS, lens.covariance.as_slice()));
    let z = nalgebra::DVector::from_fn(LENS, |_, _| normal(rng));
    let shift = root * z;
    for i in 0..LENS {
        x[i] = lens.mean[i] + shift[i];
    }
    if let Some(l) = like {
        x[..LENS].copy_from_slice(&l.state[..LENS]);
    }
    let two = spec.kind.is_two_dimensional();
    let tilt_u = if two { 30f64 } else { 5.0 }.to_radians();
    (x[TILT_X], x[TILT_Y]) = (tilt_u * normal(rng), tilt_u * normal(rng));
    if (x[TILT_X].cos() * x[TILT_Y].cos()) < 0.5 {
        return None;
    }
    x[ROLL] = uniform(rng, -0.2, 0.2);
    let distance = match spec.view {
        View::Lateral => uniform(rng, 1000.0, 1500.0),
        View::Solar => uniform(rng, 500.0, 800.0),
    };
    x[LN_MAGNIFICATION] = x[LN_FOCAL] - f64::ln(distance);
    let tolerance = Tolerance::assumed(spec.kind);
    let labels = labels(spec.kind);
    let points: Vec<scale::Graduation> =
        labels.iter().map(|l| scale::Graduation::marked(Point2::from(*l), Point2::origin())).collect();
    let relative = tolerance.relative_u(scale::span(&points));
    x[STRETCH] = match tolerance {
        // Rectangular, as the class is declared.
        Tolerance::Class(_) => uniform(rng, -1.0, 1.0) * relative * 3f64.sqrt(),
        Tolerance::URel(_) => relative * normal(rng),
    };
    if let Some(l) = like {
        x[STRETCH] = l.state[STRETCH];
    }
    let pivot = Point2::from(labels.iter().map(|l| Vector2::from(*l)).sum::<Vector2<f64>>() / labels.len() as f64);
    // The foot stands above the scale in the photo (lateral) or beside and above it (solar).
    let move_by = match spec.view {
        View::Lateral => Vector2::new(15.0, 12.0),
        View::Solar => Vector2::new(75.0, 20.0),
    };
    let magnification = x[LN_MAGNIFICATION].exp();
    x[PIVOT] = f64::from(FRAME.0) / 2.0 + 150.0 * normal(rng);
    x[PIVOT + 1] = f64::from(FRAME.1) / 2.0 + 45.0 * magnification + 100.0 * normal(rng);
    let view = View3::<f64>::new(&x, pivot);

    let mut sidecar = blank(spec.view);
    let mut planes = BTreeMap::new();
    planes.insert(PlaneName::Measured, ([0.0; 3], [PLANE_U_MM, PLANE_TILT_U_DEG]));
    match spec.view {
        View::Lateral if given(rng.random::<bool>(), like.map(|l| l.foot.behind.is_some())) => {
            let behind = given(uniform(rng, -40.0, -20.0), like.and_then(|l| l.foot.behind));
            foot_draw.behind = Some(behind);
            planes.insert(PlaneName::NearHeel, ([behind, 0.0, 0.0], [8.0, PLANE_TILT_U_DEG]));
            sidecar.planes.insert(
                PlaneName::NearHeel,
                PlaneSpec { behind_scale_mm: Some(behind), u_mm: Some(8.0), tilt_u_deg: None },
            );
        }
        View::Solar if given(rng.random::<bool>(), like.map(|l| l.foot.behind.is_some())) => {
            foot_draw.behind = Some(8.0);
            planes.insert(PlaneName::Sole, ([8.0, 0.0, 0.0], [4.0, PLANE_TILT_U_DEG]));
            sidecar
                .planes
                .insert(PlaneName::Sole, PlaneSpec { behind_scale_mm: Some(8.0), u_mm: Some(4.0), tilt_u_deg: None });
        }
        _ => {}
    }
    let mut planes: BTreeMap<PlaneName, [f64; 3]> = planes
        .into_iter()
        .map(|(name, (mean, [u, tilt]))| {
            let t = f64::to_radians(tilt);
            (name, [mean[0] + u * normal(rng), t * normal(rng), t * normal(rng)])
        })
        .collect();
    // What the sidecar is silent about stands at its usual distance from the measured plane.
    let (silent, [mean, u]) = match spec.view {
        View::Lateral => (PlaneName::NearHeel, NEAR_HEEL_MM),
        View::Solar => (PlaneName::Sole, SOLE_MM),
    };
    if !planes.contains_key(&silent) {
        let m = planes[&PlaneName::Measured];
        let t = PLANE_TILT_U_DEG.to_radians();
        planes.insert(silent, [m[0] + mean + u * normal(rng), m[1] + t * normal(rng), m[2] + t * normal(rng)]);
    }
    let planes: BTreeMap<PlaneName, Plane<f64>> = planes.into_iter().map(|(n, p)| (n, Plane::new(&p))).collect();
    let measured = planes[&PlaneName::Measured];

    // Graduations.
    let mut marked = Vec::new();
    for l in &labels {
        let p = view.graduation_pixel(Point2::from(*l))?;
        let near = view.camera.undistort(p)?;
        let c = view.pose.to_camera(nalgebra::Vector3::new(l[0] * view.stretch, l[1] * view.stretch, 0.0));
        // Beyond the fold of the lens model another direction has the same pixel.
        if (near - Point2::new(c.x / c.z, c.y / c.z)).norm() > 1e-6 {
            return None;
        }
        let p = inside(p)? + Vector2::new(normal(rng), normal(rng)) * GRADUATION_U_PX;
        let at = [p.x, p.y];
        marked.push(if two { Graduation::in_plane(*l, at) } else { Graduation::along(l[0], at) });
    }
    sidecar.scale = Some(Scale {
        kind: spec.kind,
        tolerance: Some(tolerance),
        u_px: None,
        tilt_u_deg: None,
        metric: None,
        points: marked,
    });

    let with_lines = given(rng.random::<f64>() < 0.7, like.map(|l| l.foot.with_lines));
    foot_draw.with_lines = with_lines;
    let mut nominal = foot(spec.view).map(|p| p + move_by);
    if !with_lines {
        nominal.lines.clear();
    } else if let Some(wall) = nominal.lines.get_mut(&Line::DorsalWall) {
        // Flares from hardly to plainly.
        let more = given(uniform(rng, -6.0, 6.0), like.map(|l| l.foot.more));
        foot_draw.more = more;
        let n = wall.len() - 1;
        for (i, w) in wall.iter_mut().enumerate() {
            w.x -= more * ((i as f64 / n as f64 - 0.5).max(0.0) * 2.0).powi(2);
        }
    }
    // Places on their own planes, and the same dropped on the measured plane: the truth.
    let own = |name: PlaneName| planes.get(&name).copied().unwrap_or(measured);
    let mut truth = Places::default();
    let pixel = |place: Point2<f64>, plane: PlaneName, anatomy: Vector2<f64>, u_px: f64, rng: &mut Rng| {
        let on = own(plane);
        let lifted = on.lift(place + anatomy);
        let p = view.pixel(lifted)?;
        let near = view.camera.undistort(p)?;
        let c = view.pose.to_camera(lifted);
        if (near - Point2::new(c.x / c.z, c.y / c.z)).norm() > 1e-6 {
            return None;
        }
        let p = inside(p)?;
        let at: Vec<[f64; 2]> =
            (0..spec.repeats).map(|_| [p.x + u_px * normal(rng), p.y + u_px * normal(rng)]).collect();
        Some((measured.drop(on.lift(place)), at))
    };
    for (l, place) in &nominal.landmarks {
        let anatomy = match l.info().spread {
            Spread::Round(u) => Vector2::new(normal(rng), normal(rng)) * u,
            Spread::Oval { along, across, axis } => {
                let (from, to) = axis.ends();
                let d = (nominal.landmarks[&to] - nominal.landmarks[&from]).normalize();
                d * (along * normal(rng)) + Vector2::new(-d.y, d.x) * (across * normal(rng))
            }
        };
        let (place, at) = pixel(*place, l.info().plane, anatomy, CLICK_U_PX, rng)?;
        truth.landmarks.insert(*l, place);
        sidecar.landmarks.insert(*l, Placement { at, ..Placement::default() });
    }
    for (l, places) in &nominal.lines {
        let info = l.info();
        let [whole, wander] = if l.is_edge() { info.edge_mm() } else { [0.0, info.u_mm] };
        let together = Vector2::new(normal(rng), normal(rng)) * whole;
        let mut wandering = Vector2::<f64>::zeros();
        let (mut true_places, mut seen) = (Vec::new(), Vec::new());
        let n = places.len();
        for (i, place) in places.iter().enumerate() {
            let kept =
                if i == 0 || !l.is_edge() { 0.0 } else { (-(place - places[i - 1]).norm() / CORRELATION_MM).exp() };
            wandering = wandering * kept + Vector2::new(normal(rng), normal(rng)) * (1.0 - kept * kept).sqrt();
            let off = together + wandering * wander;
            let anatomy = if info.closed {
                let along = places[(i + 1) % n] - places[(i + n - 1) % n];
                Vector2::new(along.y, -along.x).normalize() * off.x
            } else {
                off
            };
            let (place, at) = pixel(*place, info.plane, anatomy, CLICK_U_PX, rng)?;
            true_places.push(place);
            seen.push(at[0]);
        }
        truth.lines.insert(*l, true_places);
        sidecar.lines.insert(*l, seen);
    }
    Some(Photo { sidecar, lens, truth, state: x, foot: foot_draw })
}

/// What is given already, else what was drawn; drawn it is in any case, so that the other numbers stay the same.
fn given<T>(drawn: T, given: Option<T>) -> T {
    given.unwrap_or(drawn)
}

fn inside(p: Point2<f64>) -> Option<Point2<f64>> {
    let (w, h) = (f64::from(FRAME.0), f64::from(FRAME.1));
    (p.x > 0.0 && p.y > 0.0 && p.x < w && p.y < h).then_some(p)
}

/// A square root of a covariance that may have zero rows.
fn root(c: &DMatrix<f64>) -> DMatrix<f64> {
    let n = c.nrows();
    let mut l: DMatrix<f64> = DMatrix::zeros(n, n);
    for j in 0..n {
        let d = c[(j, j)] - l.row(j).norm_squared();
        if d <= 0.0 {
            continue;
        }
        l[(j, j)] = d.sqrt();
        for i in j + 1..n {
            l[(i, j)] = (c[(i, j)] - l.row(i).dot(&l.row(j))) / l[(j, j)];
        }
    }
    l
}
