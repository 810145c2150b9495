//! A yard of its own: feet in space, a camera, a person. It shares no drawing code with the estimator: camera, feet and errors are
//! written here once more, and sidecars are made as text.
#![allow(dead_code, reason = "the table and the test each take their own part")]

use hoofgeo::placed::{Index, Placed};
use hoofgeo::scene::LensPrior;
use hoofgeo::sidecar::Sidecar;
use hoofgeo::{Landmark, Line, View};
use nalgebra::{Matrix3, Point2, Point3, Vector2, Vector3};
use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;
use rand_xoshiro::Xoshiro256PlusPlus;
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;

pub(crate) type Rng = Xoshiro256PlusPlus;
pub(crate) const FRAME: (u32, u32) = (4032, 3024);
/// A phone's main camera, px.
const FOCAL: f64 = 3030.0;

pub(crate) fn normal(rng: &mut Rng) -> f64 {
    rng.sample(StandardNormal)
}

fn between(rng: &mut Rng, from: f64, to: f64) -> f64 {
    from + (to - from) * rng.random::<f64>()
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Ruler {
    Straight,
    Square,
    Card,
}

/// How a yard differs from what the model takes for usual.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Yard {
    pub(crate) ruler: Ruler,
    pub(crate) view: View,
    /// Standard deviation of the camera's tilt about each axis, degrees.
    pub(crate) tilt: f64,
    /// Turn of the foot against the ruler about the vertical, degrees, either way; drawn with 5° where it is none.
    pub(crate) turned: Option<f64>,
    /// Distance of foot and ruler, mm, either way; drawn with 8 mm where it is none.
    pub(crate) ruler_off: Option<f64>,
    /// How far the near heel (side) or the frog (sole) lie before or behind the measured plane: from, to, mm.
    pub(crate) apart: [f64; 2],
    /// Whether the sidecar says how far, and how well it is known, mm.
    pub(crate) says_apart: Option<f64>,
    /// Points of each drawn wall; none where no line is drawn.
    pub(crate) line_points: Option<usize>,
    /// Whether errors along a drawn edge hang together, over 10 mm.
    pub(crate) hanging: bool,
    /// Whether the ground is marked.
    pub(crate) ground: bool,
    /// Grass hides so much of the foot, mm.
    pub(crate) grass: f64,
    pub(crate) says_surface: Option<&'static str>,
    /// The photo shows so much less of the frame than its header says.
    pub(crate) crop: f64,
    /// Whether the header lets suspect a crop.
    pub(crate) crop_suspected: bool,
    /// The header says nothing of the camera.
    pub(crate) no_exif: bool,
    /// k1 that the picture was left with, on top of what phones leave.
    pub(crate) barrel: f64,
    pub(crate) graduations: usize,
    /// One graduation's label is wrong by so much, mm.
    pub(crate) misread: f64,
    /// The ruler's end was taken for its zero, which lies so far inside, mm.
    pub(crate) end_for_zero: f64,
    /// All labels are wrong by this factor.
    pub(crate) label_factor: f64,
    pub(crate) swapped: Option<(Landmark, Landmark)>,
    /// One landmark lies so far off, mm.
    pub(crate) slip: Option<(Landmark, f64)>,
    /// Standard deviation of the toe along the ground, mm.
    pub(crate) toe_along: f64,
    pub(crate) pen_marks: bool,
    /// Standard deviation of a click, px.
    pub(crate) click: f64,
    /// Size of the foot against a riding horse's.
    pub(crate) size: f64,
}

impl Yard {
    pub(crate) const fn usual(ruler: Ruler, view: View) -> Self {
        let (tilt, apart) = match (ruler, view) {
            (Ruler::Straight, View::Lateral) => (5.0, [-40.0, -20.0]),
            (Ruler::Straight, View::Solar) => (5.0, [6.0, 18.0]),
            (_, View::Lateral) => (12.0, [-40.0, -20.0]),
            (_, View::Solar) => (12.0, [6.0, 18.0]),
        };
        Self {
            ruler,
            view,
            tilt,
            turned: None,
            ruler_off: None,
            apart,
            says_apart: None,
            line_points: None,
            hanging: true,
            ground: true,
            grass: 0.0,
            says_surface: None,
            crop: 1.0,
            crop_suspected: false,
            no_exif: false,
            barrel: 0.0,
            graduations: 7,
            misread: 0.0,
            end_for_zero: 0.0,
            label_factor: 1.0,
            swapped: None,
            slip: None,
            toe_along: 2.5,
            pen_marks: false,
            click: 1.5,
            size: 1.0,
        }
    }
}

/// What photos of one foot may have in common, each drawn from a seed of its own.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Seeds {
    pub(crate) foot: u64,
    pub(crate) lens: u64,
    /// Where the ruler is held, how the foot stands.
    pub(crate) stand: u64,
    /// What the person reads into the foot's landmarks.
    pub(crate) reading: u64,
    pub(crate) photo: u64,
}

impl Seeds {
    pub(crate) const fn of(n: u64) -> Self {
        let n = n.wrapping_mul(0x9E37_79B9_7F4A_7C15);
        Self { foot: n, lens: n ^ 0x11, stand: n ^ 0x22, reading: n ^ 0x44, photo: n ^ 0x88 }
    }
}

/// A foot: named places, across the measured plane and square to it (towards the camera is positive), mm.
struct Foot {
    points: BTreeMap<Landmark, Point3<f64>>,
    lines: BTreeMap<Line, Vec<Point3<f64>>>,
}

#[derive(Clone)]
pub(crate) struct Photo {
    /// `None` where it could not even be written.
    pub(crate) sidecar: Option<Sidecar>,
    pub(crate) view: View,
    pub(crate) lens: LensPrior,
    index: Index,
    truth: Vec<Point2<f64>>,
}

impl Photo {
    /// The true value of a measurement.
    pub(crate) fn value(&self, m: &hoofgeo::measure::Measurement) -> Option<f64> {
        Some((m.formula.value)(&Placed::new(&self.index, &self.truth, None)).ok()? * m.quantity.factor())
    }
}

fn along(a: Point3<f64>, b: Point3<f64>, n: usize) -> Vec<Point3<f64>> {
    (0..n).map(|i| a + (b - a) * (i as f64 / (n - 1) as f64)).collect()
}

fn side(yard: &Yard, apart: f64, rng: &mut Rng) -> Foot {
    use Landmark as L;
    let s = yard.size;
    let length = s * between(rng, 105.0, 145.0);
    let toe = between(rng, 46.0, 58.0_f64).to_radians();
    let heel = toe - between(rng, 0.0, 14.0_f64).to_radians();
    let (wall, back) = (s * between(rng, 75.0, 105.0), s * between(rng, 28.0, 45.0));
    let near = -apart;
    let at = |x: f64, y: f64| Point3::new(x, y, 0.0);
    let on_heel = |x: f64, y: f64| Point3::new(x, y, near);
    let coronet = at(wall * toe.cos(), wall * toe.sin());
    let (heel_ground, heel_coronet) = (on_heel(length, 0.0), on_heel(length + back * heel.cos(), back * heel.sin()));
    let pastern = between(rng, 48.0, 60.0_f64).to_radians();
    let lower = at(coronet.x + 6.0, coronet.y + 5.0);
    let mut points = BTreeMap::from([
        (L::ToeGround, at(0.0, 0.0)),
        (L::ToeCoronet, coronet),
        (L::HeelGround, heel_ground),
        (L::HeelCoronet, heel_coronet),
        (L::PasternLower, lower),
        (L::PasternUpper, at(lower.x + 55.0 * pastern.cos(), lower.y + 55.0 * pastern.sin())),
        (L::SolePlaneHeel, heel_ground + (heel_coronet - heel_ground) * 0.12),
        (L::HeelBulb, on_heel(heel_coronet.x + 8.0, 18.0)),
    ]);
    if yard.ground {
        points.insert(L::GroundFront, at(-25.0, 0.0));
        points.insert(L::GroundBack, at(length + 30.0, 0.0));
    }
    let mut lines = BTreeMap::new();
    if let Some(n) = yard.line_points {
        let flare = between(rng, 3.0, 12.0) * s;
        let mut front = along(coronet, at(0.0, 0.0), n);
        for (i, p) in front.iter_mut().enumerate() {
            p.x -= flare * ((i as f64 / (n - 1) as f64 - 0.5).max(0.0) * 2.0).powi(2);
        }
        let toe_end = front[n - 1];
        points.insert(L::ToeGround, toe_end);
        let down = |a: Point3<f64>, b: Point3<f64>, from: f64, to: f64| along(a + (b - a) * from, a + (b - a) * to, n);
        lines.insert(Line::TubulesToe, down(coronet, at(0.0, 0.0), 0.1, 0.5));
        lines.insert(Line::TubulesHeel, down(heel_coronet, heel_ground, 0.1, 0.8));
        let middle = on_heel(0.55 * length, 0.0);
        lines.insert(Line::TubulesQuarter, down(middle + (heel_coronet - heel_ground) * 1.5, middle, 0.1, 0.7));
        lines.insert(Line::HeelWall, along(heel_coronet, heel_ground, n));
        lines.insert(Line::DorsalWall, front);
        if yard.ground {
            lines.insert(Line::Ground, along(at(-20.0, 0.0), at(length + 20.0, 0.0), n));
        }
        let steps = [0.15, 0.3, 0.45];
        lines.insert(Line::RingsToe, steps.map(|t| coronet + (at(0.0, 0.0) - coronet) * t).to_vec());
        lines.insert(Line::RingsHeel, steps.map(|t| heel_coronet + (heel_ground - heel_coronet) * t).to_vec());
    }
    Foot { points, lines }
}

fn sole(yard: &Yard, apart: f64, rng: &mut Rng) -> Foot {
    use Landmark as L;
    let s = yard.size;
    let (length, width) = (s * between(rng, 115.0, 145.0), s * between(rng, 110.0, 140.0));
    let (apex, frog) = (length * between(rng, 0.62, 0.70), width * between(rng, 0.36, 0.5));
    let at = |x: f64, y: f64| Point3::new(x, y, 0.0);
    let deep = |x: f64, y: f64| Point3::new(x, y, -apart);
    let widest = 0.5 * length;
    let wall = between(rng, 8.0, 12.0);
    let points = BTreeMap::from([
        (L::ToeOuter, at(0.0, length)),
        (L::WhiteLineOuter, at(0.0, length - wall)),
        (L::WhiteLineInner, at(0.0, length - wall - 3.0)),
        (L::FrogApex, deep(0.0, apex)),
        (L::CentralSulcus, deep(0.0, -6.0)),
        (L::FrogBaseMedial, deep(-frog / 2.0, 0.0)),
        (L::FrogBaseLateral, deep(frog / 2.0, 0.0)),
        (L::HeelMedial, at(-0.28 * width, 2.0)),
        (L::HeelLateral, at(0.28 * width, -1.0)),
        (L::WidestMedial, at(-width / 2.0, widest)),
        (L::WidestLateral, at(width / 2.0, widest)),
        (L::BulbMedial, deep(-24.0, -20.0)),
        (L::BulbLateral, deep(24.0, -20.0)),
    ]);
    let mut lines = BTreeMap::new();
    if let Some(n) = yard.line_points {
        let n = n.max(8);
        let round = |a: f64, b: f64, y: f64, z: f64| -> Vec<Point3<f64>> {
            (0..n)
                .map(|i| std::f64::consts::TAU * i as f64 / n as f64)
                .map(|t| Point3::new(a * t.cos(), y + b * t.sin(), z))
                .collect()
        };
        lines.insert(Line::OuterWall, round(width / 2.0, length / 2.0, length / 2.0, 0.0));
        lines.insert(Line::WhiteLine, round(width / 2.0 - wall, length / 2.0 - wall, length / 2.0, 0.0));
        lines.insert(Line::FrogOutline, round(frog / 2.0, apex / 2.0, apex / 2.0, -apart));
    }
    Foot { points, lines }
}

/// Standard deviations of what a person reads into a landmark, mm: along and across its direction. The trade's estimates, typed here
/// once more.
fn spread(l: Landmark, toe_along: f64) -> (f64, f64, Landmark, Landmark) {
    use Landmark as L;
    let wall = (L::ToeGround, L::ToeCoronet);
    let ground = (L::ToeGround, L::HeelGround);
    let frog = (L::CentralSulcus, L::FrogApex);
    let (a, b, (from, to)) = match l {
        L::ToeCoronet => (1.5, 0.5, wall),
        L::ToeGround => (toe_along, 1.0, ground),
        L::HeelCoronet => (2.5, 2.5, ground),
        L::HeelGround | L::SolePlaneHeel => (1.5, 1.5, ground),
        L::GroundFront | L::GroundBack => (0.5, 0.5, ground),
        L::PasternUpper | L::PasternLower => (2.0, 2.0, ground),
        L::HeelBulb => (1.0, 1.0, ground),
        L::ToeOuter => (1.0, 1.0, frog),
        L::WhiteLineInner | L::WhiteLineOuter => (0.5, 0.5, frog),
        L::FrogApex => (3.0, 1.0, frog),
        L::CentralSulcus => (2.0, 2.0, frog),
        L::FrogBaseMedial | L::FrogBaseLateral => (3.0, 1.5, frog),
        L::WidestMedial | L::WidestLateral => (4.5, 1.0, frog),
        _ => (1.5, 1.5, frog),
    };
    (a, b, from, to)
}

/// Standard deviation of a drawn edge, mm, and whether it is closed.
fn edge(l: Line) -> (f64, bool) {
    match l {
        Line::DorsalWall | Line::Ground => (0.5, false),
        Line::HeelWall | Line::RingsToe => (1.0, false),
        Line::RingsHeel => (1.5, false),
        Line::OuterWall | Line::WhiteLine => (0.5, true),
        Line::FrogOutline => (1.0, true),
        _ => (0.7, false),
    }
}

/// A smooth random function of the length along a line, of unit variance and with correlations exp(−d²/2ℓ²), ℓ = 10 mm: another
/// kernel than the estimator's.
fn wandering(rng: &mut Rng, at: &[f64]) -> Vec<f64> {
    const WAVES: usize = 40;
    let waves: Vec<(f64, f64)> =
        (0..WAVES).map(|_| (normal(rng) / 10.0, between(rng, 0.0, std::f64::consts::TAU))).collect();
    at.iter().map(|s| waves.iter().map(|(k, p)| (k * s + p).cos()).sum::<f64>() * (2.0 / WAVES as f64).sqrt()).collect()
}

struct Camera {
    rotation: Matrix3<f64>,
    shift: Vector3<f64>,
    focal: f64,
    middle: Vector2<f64>,
    k: [f64; 4],
}

impl Camera {
    /// A point of the ruler's frame on the upright photo.
    fn sees(&self, p: Point3<f64>) -> Option<[f64; 2]> {
        let c = self.rotation * p.coords + self.shift;
        if c.z < 50.0 {
            return None;
        }
        let (x, y) = (c.x / c.z, c.y / c.z);
        let r2 = x * x + y * y;
        let [k1, k2, p1, p2] = self.k;
        let radial = 1.0 + r2 * (k1 + r2 * k2);
        let dx = x * radial + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x);
        let dy = y * radial + p1 * (r2 + 2.0 * y * y) + 2.0 * p2 * x * y;
        Some([self.middle.x + self.focal * dx, self.middle.y + self.focal * dy])
    }
}

fn turn(axis: usize, degrees: f64) -> Matrix3<f64> {
    let mut v = Vector3::zeros();
    v[axis] = degrees.to_radians();
    *nalgebra::Rotation3::new(v).matrix()
}

/// Takes a photo. `None` where something of it lies outside the frame or the camera stands too slanting.
pub(crate) fn take(yard: &Yard, seeds: &Seeds) -> Option<Photo> {
    let [mut foot_rng, mut lens_rng, mut stand, mut reading, mut rng] =
        [seeds.foot, seeds.lens, seeds.stand, seeds.reading, seeds.photo].map(Rng::seed_from_u64);
    let lateral = yard.view == View::Lateral;
    let apart = between(&mut foot_rng, yard.apart[0], yard.apart[1]);
    let foot = if lateral { side(yard, apart, &mut foot_rng) } else { sole(yard, apart, &mut foot_rng) };

    // The foot in the ruler's frame: x along the ruler, y across it, z towards the camera.
    let sign = |rng: &mut Rng| if rng.random::<bool>() { 1.0 } else { -1.0 };
    let (lean, yaw) = (5.0 * normal(&mut stand), 5.0 * normal(&mut stand));
    let yaw = yard.turned.map_or(yaw, |t| t * sign(&mut stand));
    let off = 8.0 * normal(&mut stand);
    let off = yard.ruler_off.map_or(off, |o| o * sign(&mut stand));
    let (x0, y0) = if lateral { (between(&mut stand, 0.0, 30.0), 14.0) } else { (75.0 + 10.0 * yard.size, 15.0) };
    // The turn is about the ruler's zero, as a foot is turned that stands beside it.
    let stands = turn(0, lean) * turn(1, yaw);
    let place =
        |p: Point3<f64>| Point3::from(stands * (p.coords + Vector3::new(x0, y0, 0.0)) + Vector3::new(0.0, 0.0, -off));

    // The camera.
    let tilt = [yard.tilt * normal(&mut rng), yard.tilt * normal(&mut rng)];
    if tilt[0].hypot(tilt[1]) > 50.0 {
        return None;
    }
    let distance = if lateral { between(&mut rng, 1000.0, 1500.0) } else { between(&mut rng, 550.0, 800.0) };
    let look = turn(0, tilt[0])
        * turn(1, tilt[1])
        * Matrix3::from_diagonal(&Vector3::new(1.0, -1.0, -1.0))
        * turn(2, 6.0 * normal(&mut rng));
    let centre = if lateral { Vector3::new(75.0, 45.0, 0.0) } else { Vector3::new(85.0, 75.0, 0.0) };
    let aim = Vector3::new(0.03 * normal(&mut rng), 0.03 * normal(&mut rng), 1.0) * distance;
    let told = FOCAL;
    let true_focal = told * (0.03 * normal(&mut lens_rng)).exp() * yard.crop;
    let (w, h) = (f64::from(FRAME.0), f64::from(FRAME.1));
    // A crop is taken around the foot, wherever that lay in the whole frame.
    let moved = (yard.crop - 1.0) * 0.2;
    let middle = Vector2::new(
        w / 2.0 + w * (0.01 * normal(&mut lens_rng) + moved * between(&mut lens_rng, -1.0, 1.0)),
        h / 2.0 + w * (0.01 * normal(&mut lens_rng) + moved * between(&mut lens_rng, -1.0, 1.0)),
    );
    let k = [0.02, 0.01, 0.0005, 0.0005].map(|u| u * normal(&mut lens_rng));
    let k = [k[0] + yard.barrel, k[1], k[2], k[3]];
    let distance_for_crop = Vector3::new(1.0, 1.0, yard.crop);
    let camera = Camera {
        rotation: look,
        shift: aim.component_mul(&distance_for_crop) - look * centre,
        focal: true_focal,
        middle,
        k,
    };
    let inside = |p: [f64; 2]| (p[0] > 5.0 && p[1] > 5.0 && p[0] < w - 5.0 && p[1] < h - 5.0).then_some(p);

    // The ruler.
    let labels: Vec<[f64; 2]> = match yard.ruler {
        Ruler::Straight => {
            (0..yard.graduations).map(|i| [150.0 * i as f64 / (yard.graduations - 1) as f64, 0.0]).collect()
        }
        Ruler::Square => {
            (0..6).map(|i| [30.0 * f64::from(i), 0.0]).chain((1..4).map(|i| [0.0, 30.0 * f64::from(i)])).collect()
        }
        Ruler::Card => vec![[0.0, 0.0], [85.6, 0.0], [85.6, 53.98], [0.0, 53.98]],
    };
    let stretch = 1.0 + between(&mut lens_rng, -1.0, 1.0) * if yard.ruler == Ruler::Card { 0.0015 } else { 0.0033 };
    let mut graduations = Vec::new();
    for (i, l) in labels.iter().enumerate() {
        let p = inside(camera.sees(Point3::new(l[0] * stretch, l[1] * stretch, 0.0))?)?;
        let at = [p[0] + normal(&mut rng), p[1] + normal(&mut rng)];
        let wrong = if i == 0 { yard.end_for_zero } else { 0.0 } + if i == 1 { yard.misread } else { 0.0 };
        // The end lies before the zero: what is clicked there is the end.
        let at =
            if i == 0 && yard.end_for_zero > 0.0 { inside(camera.sees(Point3::new(-wrong, 0.0, 0.0))?)? } else { at };
        let mm = if i == 0 && yard.end_for_zero > 0.0 { l[0] } else { l[0] + wrong } * yard.label_factor;
        graduations.push(if yard.ruler == Ruler::Straight {
            json!({ "mm": mm, "at": at })
        } else {
            json!({ "mm": [l[0] * yard.label_factor, l[1] * yard.label_factor], "at": at })
        });
    }

    // The person.
    let mut index = Index::default();
    let mut truth = Vec::new();
    let mut clicks: BTreeMap<Landmark, [f64; 2]> = BTreeMap::new();
    for (l, p) in &foot.points {
        let (a, b, from, to) = spread(*l, yard.toe_along);
        let [z1, z2] = [normal(&mut reading), normal(&mut reading)];
        let axis =
            foot.points.get(&from).zip(foot.points.get(&to)).map_or(Vector2::x(), |(p, q)| (q - p).xy().normalize());
        let across = Vector2::new(-axis.y, axis.x);
        let mut off = axis * (a * z1) + across * (b * z2);
        if yard.pen_marks {
            off = Vector2::new(z1, z2) * 0.3;
        }
        if yard.grass > 0.0 && p.y < 1.0 && lateral {
            // Seen where the wall, or the ground, comes out of the grass.
            let height = yard.grass * between(&mut reading, 0.6, 1.4);
            let wall = match l {
                Landmark::ToeGround => Some(Landmark::ToeCoronet),
                Landmark::HeelGround => Some(Landmark::HeelCoronet),
                _ => None,
            };
            let up = wall.and_then(|w| foot.points.get(&w)).map_or(Vector2::y(), |c| (c - p).xy() / (c - p).y);
            off += up * height;
        }
        if let Some((slipped, mm)) = yard.slip
            && slipped == *l
        {
            let t = between(&mut reading, 0.0, std::f64::consts::TAU);
            off += Vector2::new(t.cos(), t.sin()) * mm;
        }
        let seen = inside(camera.sees(place(Point3::new(p.x + off.x, p.y + off.y, p.z)))?)?;
        clicks.insert(*l, [seen[0] + yard.click * normal(&mut rng), seen[1] + yard.click * normal(&mut rng)]);
        index.set_landmark(*l, truth.len());
        truth.push(p.xy());
    }
    if let Some((a, b)) = yard.swapped
        && let (Some(p), Some(q)) = (clicks.get(&a).copied(), clicks.get(&b).copied())
    {
        clicks.insert(a, q);
        clicks.insert(b, p);
    }
    let mut lines = Map::new();
    for (l, points) in &foot.lines {
        let (u, closed) = edge(*l);
        let mut at = vec![0.0];
        for p in points.windows(2) {
            at.push(at[at.len() - 1] + (p[1] - p[0]).norm());
        }
        let each = matches!(l, Line::RingsToe | Line::RingsHeel) || !yard.hanging;
        let mut axis = || -> Vec<f64> {
            if each { at.iter().map(|_| normal(&mut reading)).collect() } else { wandering(&mut reading, &at) }
        };
        let (dx, dy) = (axis(), axis());
        let (whole_x, whole_y) = (normal(&mut reading), normal(&mut reading));
        let (whole, wander) = if closed {
            (u, 2.0 * u)
        } else if each {
            (0.0, u)
        } else {
            (0.5 * u, u)
        };
        let mut seen = Vec::new();
        index.set_line(*l, truth.len()..truth.len() + points.len());
        for (i, p) in points.iter().enumerate() {
            let off = if closed {
                let n = points.len();
                let d = points[(i + 1) % n] - points[(i + n - 1) % n];
                Vector2::new(d.y, -d.x).normalize() * (whole * whole_x + wander * dx[i])
            } else {
                Vector2::new(whole * whole_x + wander * dx[i], whole * whole_y + wander * dy[i])
            };
            let s = inside(camera.sees(place(Point3::new(p.x + off.x, p.y + off.y, p.z)))?)?;
            seen.push(json!([s[0] + yard.click * normal(&mut rng), s[1] + yard.click * normal(&mut rng)]));
            truth.push(p.xy());
        }
        lines.insert(l.name().to_owned(), Value::Array(seen));
    }

    let marks: Map<String, Value> = clicks
        .iter()
        .map(|(l, at)| {
            let mut mark = json!({ "at": at });
            if yard.pen_marks {
                mark["pen_mark"] = json!(true);
            }
            (l.name().to_owned(), mark)
        })
        .collect();
    let kind = ["straight_ruler", "square_ruler", "card"][yard.ruler as usize];
    let mut text = json!({
        "format": "hoofgeo-sidecar/1",
        "photo": { "file": "drawn.jpg", "width_px": FRAME.0, "height_px": FRAME.1 },
        "subject": { "animal": "Drawn", "foot": "LF" },
        "view": if lateral { "lateral" } else { "solar" },
        "scale": { "kind": kind, "points": graduations },
        "landmarks": marks,
        "lines": lines,
    });
    if let Some(u) = yard.says_apart {
        // Measured on the foot, and counted from the ruler.
        let name = if lateral { "near_heel" } else { "sole" };
        let said = apart + off + u * normal(&mut stand);
        text["planes"] = json!({ name: { "behind_scale_mm": said, "u_mm": u } });
    }
    if let Some(surface) = yard.says_surface {
        text["surface"] = json!(surface);
    }
    let sidecar = Sidecar::parse(&text.to_string(), None).ok();
    let lens = if yard.no_exif {
        LensPrior::unknown(FRAME)
    } else if yard.crop_suspected {
        LensPrior::exif_cropped(FRAME, told, 2.0, true)
    } else {
        LensPrior::exif(FRAME, told)
    };
    Some(Photo { sidecar, view: yard.view, lens, index, truth })
}

/// The first photo that can be taken, from this number on.
pub(crate) fn photo(yard: &Yard, number: u64) -> Option<Photo> {
    (0..50).find_map(|retry| take(yard, &Seeds::of(number * 64 + retry)))
}
