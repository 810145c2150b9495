//! Feet of other animals than the expected one's, and photos of them: drawn from ranges of their own.

use super::synth::{FRAME, Known, Places, Rng, blank, normal, uniform};
use hoofgeo::landmark::{Landmark, Spread};
use hoofgeo::located::CLICK_U_PX;
use hoofgeo::measured::GRADUATION_U_PX;
use hoofgeo::scale::{ScaleKind, Tolerance};
use hoofgeo::scene::LensPrior;
use hoofgeo::scene::params::{LENS, LN_FOCAL, LN_MAGNIFICATION, PIVOT, ROLL, TILT_X, TILT_Y, UNKNOWNS, View3};
use hoofgeo::scene::plane::Plane;
use hoofgeo::sidecar::{Graduation, Placement, PlaneSpec, Scale, Sidecar};
use hoofgeo::{Foot, PlaneName, Side, SubjectKind, View};
use nalgebra::{Point2, Vector2};

/// Whose foot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Animal {
    Pony,
    Riding,
    Draught,
    Foal,
}

/// In what state.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum State {
    Usual,
    Long,
    Short,
    RunUnder,
}

/// What is drawn.
#[derive(Debug, Clone, Copy)]
pub(super) struct Drawn {
    pub(super) animal: Animal,
    pub(super) state: State,
    pub(super) hind: bool,
    pub(super) view: View,
}

impl Drawn {
    pub(super) fn any(view: View, rng: &mut Rng) -> Self {
        let of = |rng: &mut Rng, n: f64| uniform(rng, 0.0, n) as usize;
        Self {
            animal: [Animal::Pony, Animal::Riding, Animal::Draught, Animal::Foal][of(rng, 4.0)],
            state: [State::Usual, State::Long, State::Short, State::RunUnder][of(rng, 4.0)],
            hind: uniform(rng, 0.0, 1.0) < 0.5,
            view,
        }
    }

    fn length(&self, rng: &mut Rng) -> f64 {
        match self.animal {
            Animal::Pony => uniform(rng, 78.0, 102.0),
            Animal::Riding => uniform(rng, 115.0, 142.0),
            Animal::Draught => uniform(rng, 150.0, 188.0),
            Animal::Foal => uniform(rng, 48.0, 78.0),
        }
    }
}

fn chance(rng: &mut Rng, p: f64) -> bool {
    uniform(rng, 0.0, 1.0) < p
}

/// The foot from the side, toe at the origin, x back.
fn lateral(d: &Drawn, rng: &mut Rng) -> Places {
    use Landmark as L;
    let size = d.length(rng) / 130.0;
    let support = 130.0 * size;
    let toe = if d.hind { 54.0 } else { 51.5 } + if d.animal == Animal::Foal { 4.0 } else { 0.0 } + 3.5 * normal(rng);
    let heel = toe - if d.state == State::RunUnder { uniform(rng, 14.0, 24.0) } else { uniform(rng, -2.0, 14.0) };
    let (longer, heel_longer) = match d.state {
        State::Usual | State::RunUnder => (1.0, 1.0),
        State::Long => (uniform(rng, 1.1, 1.35), uniform(rng, 1.1, 1.4)),
        State::Short => (uniform(rng, 0.75, 0.9), uniform(rng, 0.6, 0.9)),
    };
    let wall = support * uniform(rng, 0.62, 0.74) * longer;
    let horn = support * uniform(rng, 0.22, if d.hind { 0.36 } else { 0.33 }) * heel_longer;
    let along = |from: Point2<f64>, length: f64, degrees: f64| {
        let (s, c) = degrees.to_radians().sin_cos();
        from + Vector2::new(c, s) * length
    };
    let (front, back) = (Point2::origin(), Point2::new(support, 0.0));
    let coronet = along(front, wall, toe);
    let heel_coronet = along(back, horn, heel);
    let mut p = Places::default();
    let mut put = |l, at: Point2<f64>| p.insert(l, at.x, at.y);
    put(L::ToeGround, front);
    put(L::HeelGround, back);
    put(L::ToeCoronet, coronet);
    put(L::HeelCoronet, heel_coronet);
    if chance(rng, 0.7) {
        put(L::GroundFront, Point2::new(-size * uniform(rng, 5.0, 35.0), 0.5 * normal(rng)));
        put(L::GroundBack, Point2::new(support + size * uniform(rng, 10.0, 50.0), 0.5 * normal(rng)));
    }
    if chance(rng, 0.6) {
        let pastern = toe + 4.0 * normal(rng);
        let lower = along(along(coronet, size * uniform(rng, 8.0, 18.0), pastern), 2.0 * normal(rng), pastern + 90.0);
        put(L::PasternLower, lower);
        put(L::PasternUpper, along(lower, size * uniform(rng, 35.0, 75.0), pastern));
    }
    if chance(rng, 0.4) {
        put(L::Breakover, Point2::new(size * uniform(rng, 2.0, 26.0), 0.0));
    }
    if chance(rng, 0.5) {
        put(L::HeelBulb, heel_coronet + Vector2::new(uniform(rng, 5.0, 18.0), uniform(rng, -17.0, -4.0)) * size);
    }
    if chance(rng, 0.3) {
        put(L::SolePlaneHeel, along(back, size * uniform(rng, 0.5, 9.0), heel));
    }
    p
}

/// The sole of a left foot: y forward from the heels, x to the lateral side.
fn solar(d: &Drawn, rng: &mut Rng) -> Places {
    use Landmark as L;
    let length = d.length(rng)
        * match d.state {
            State::Usual | State::RunUnder => 1.0,
            State::Long => uniform(rng, 1.03, 1.12),
            State::Short => uniform(rng, 0.93, 1.0),
        };
    let size = length / 130.0;
    let half = length * if d.hind { uniform(rng, 0.43, 0.48) } else { uniform(rng, 0.46, 0.52) };
    let apex = length * uniform(rng, 0.6, 0.71);
    let heels = half * uniform(rng, 0.46, 0.68);
    let widest = length * uniform(rng, 0.46, 0.58);
    let mut p = Places::default();
    let even = |rng: &mut Rng, by: f64| size * by * normal(rng);
    p.insert(L::ToeOuter, even(rng, 1.0), length);
    p.insert(L::FrogApex, even(rng, 1.5), apex);
    p.insert(L::CentralSulcus, even(rng, 1.0), size * uniform(rng, -14.0, 2.0));
    for (l, side) in [(L::HeelMedial, -1.0), (L::HeelLateral, 1.0)] {
        p.insert(l, side * heels + even(rng, 1.5), even(rng, 2.0));
    }
    for (l, side) in [(L::WidestMedial, -1.0), (L::WidestLateral, 1.0)] {
        p.insert(l, side * half + even(rng, 2.0), widest + even(rng, 2.0));
    }
    if chance(rng, 0.6) {
        let wall = size * uniform(rng, 5.0, 11.0);
        p.insert(L::WhiteLineOuter, 0.0, length - wall);
        p.insert(L::WhiteLineInner, 0.0, length - wall - size * uniform(rng, 2.0, 5.0));
    }
    if chance(rng, 0.6) {
        let (base, frog) = (size * uniform(rng, -12.0, 3.0), half * uniform(rng, 0.34, 0.5));
        p.insert(L::FrogBaseMedial, -frog + even(rng, 1.0), base + even(rng, 1.5));
        p.insert(L::FrogBaseLateral, frog + even(rng, 1.0), base + even(rng, 1.5));
    }
    if chance(rng, 0.4) {
        let (behind, apart) = (-size * uniform(rng, 12.0, 28.0), half * uniform(rng, 0.32, 0.48));
        p.insert(L::BulbMedial, -apart, behind);
        p.insert(L::BulbLateral, apart, behind);
    }
    if chance(rng, 0.4) {
        p.insert(L::BreakoverSolar, 0.0, length - size * uniform(rng, 1.0, 13.0));
    }
    p
}

/// A photo of a drawn foot, sound in everything.
pub(super) fn photo(d: &Drawn, labels: &[f64], rng: &mut Rng) -> Option<(Sidecar, LensPrior)> {
    let lens = Known::Exif.prior();
    let mut x = [0.0; UNKNOWNS];
    for (i, x) in x.iter_mut().enumerate().take(LENS) {
        *x = lens.mean[i] + lens.covariance[(i, i)].sqrt() * normal(rng);
    }
    let five = 5f64.to_radians();
    (x[TILT_X], x[TILT_Y], x[ROLL]) = (five * normal(rng), five * normal(rng), uniform(rng, -0.2, 0.2));
    let distance = match d.view {
        View::Lateral => uniform(rng, 900.0, 1500.0),
        View::Solar => uniform(rng, 550.0, 850.0),
    };
    x[LN_MAGNIFICATION] = x[LN_FOCAL] - f64::ln(distance);
    (x[PIVOT], x[PIVOT + 1]) = (f64::from(FRAME.0) / 2.0, f64::from(FRAME.1) / 2.0 + 45.0 * x[LN_MAGNIFICATION].exp());
    let middle = labels.iter().sum::<f64>() / labels.len() as f64;
    let view = View3::<f64>::new(&x, Point2::new(middle, 0.0));

    let mut sidecar = blank(d.view);
    // Left and right feet, from either side.
    let (left, outside) = (chance(rng, 0.5), chance(rng, 0.7));
    sidecar.subject.foot = match (left, d.hind) {
        (true, false) => Foot::LeftFore,
        (false, false) => Foot::RightFore,
        (true, true) => Foot::LeftHind,
        (false, true) => Foot::RightHind,
    };
    if d.animal == Animal::Foal {
        sidecar.subject.kind = Some(SubjectKind::Foal);
    }
    let places = match d.view {
        View::Lateral => lateral(d, rng),
        View::Solar => solar(d, rng),
    };
    let mirrored = match d.view {
        View::Lateral => {
            sidecar.side = Some(if outside { Side::Lateral } else { Side::Medial });
            left != outside
        }
        View::Solar => !left,
    };
    let ends = places.landmarks.values().map(|p| p.x);
    let center = (ends.clone().fold(f64::INFINITY, f64::min) + ends.fold(f64::NEG_INFINITY, f64::max)) / 2.0;
    let up = if d.view == View::Lateral { 12.0 } else { 30.0 };
    let places = places.map(|p| Point2::new(middle + (p.x - center) * if mirrored { -1.0 } else { 1.0 }, p.y + up));

    let tilted = |mean: f64, u: f64, rng: &mut Rng| {
        let three = 3f64.to_radians();
        Plane::new(&[mean + u * normal(rng), three * normal(rng), three * normal(rng)])
    };
    let measured = tilted(0.0, 5.0, rng);
    let near = tilted(-30.0, 8.0, rng);
    let sole = tilted(12.0, 4.0, rng);
    let stated = |mm, u| PlaneSpec { behind_scale_mm: Some(mm), u_mm: Some(u), tilt_u_deg: None };
    match d.view {
        View::Lateral => sidecar.planes.insert(PlaneName::NearHeel, stated(-30.0, 10.0)),
        View::Solar => sidecar.planes.insert(PlaneName::Sole, stated(12.0, 5.0)),
    };
    let mut points = Vec::new();
    for l in labels {
        let p = inside(view.graduation_pixel(Point2::new(*l, 0.0))?)?;
        let at = [p.x + GRADUATION_U_PX * normal(rng), p.y + GRADUATION_U_PX * normal(rng)];
        points.push(Graduation::along(*l, at));
    }
    let tolerance = Some(Tolerance::assumed(ScaleKind::StraightRuler));
    sidecar.scale =
        Some(Scale { kind: ScaleKind::StraightRuler, tolerance, u_px: None, tilt_u_deg: None, metric: None, points });
    for (l, place) in &places.landmarks {
        let u = match l.info().spread {
            Spread::Round(u) => [u, u],
            Spread::Oval { along, across, .. } => [along, across],
        };
        let plane = match l.info().plane {
            PlaneName::NearHeel => &near,
            PlaneName::Sole => &sole,
            _ => &measured,
        };
        let p = view.pixel(plane.lift(place + Vector2::new(u[0] * normal(rng), u[1] * normal(rng))))?;
        let p = inside(p)?;
        let at = [p.x + CLICK_U_PX * normal(rng), p.y + CLICK_U_PX * normal(rng)];
        sidecar.landmarks.insert(*l, Placement::once(at));
    }
    Some((sidecar, lens))
}

fn inside(p: Point2<f64>) -> Option<Point2<f64>> {
    (p.x > 0.0 && p.y > 0.0 && p.x < f64::from(FRAME.0) && p.y < f64::from(FRAME.1)).then_some(p)
}
