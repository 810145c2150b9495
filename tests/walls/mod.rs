//! Rendered feet of random shape, grain and light, and how far what is read from their pixels is off.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used, reason = "each user takes its part")]

use hoofgeo::measured::{MeasureOptions, measure};
use hoofgeo::pixels::{Found, Grey, ReadOptions, Reading, read_photo};
use hoofgeo::scene::LensPrior;
use hoofgeo::sidecar::Sidecar;
use hoofgeo::{Foot, Line, Stage, View};
use hoofgeo_cli::demo::{
    Case, DARK, FootSpec, LIGHT, Photo, Shot, Stance, cases, foot, place_like_a_person, render_from, sidecar,
};
use image::RgbImage;
use nalgebra::{Point2, Vector2};
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;
use std::cell::RefCell;

/// How a photo is taken, or spoilt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Condition {
    /// As the demonstration's.
    Plain,
    /// Camera so many degrees higher and further to the side.
    Tilt(f64),
    /// Smoothed by a Gaussian, px.
    Blur(f32),
    /// Noise, levels.
    Noise(f64),
    /// So many times the light (on the values as the file codes them).
    Light(f64),
    /// A straight shadow over half of the hoof, soft by 3 px, that leaves 45 % of the light.
    Shadow,
    /// The sun from the other side and low.
    Sun,
}

/// The rows of the tables.
pub const CONDITIONS: [Condition; 11] = [
    Condition::Plain,
    Condition::Blur(1.0),
    Condition::Blur(2.0),
    Condition::Blur(4.0),
    Condition::Noise(5.0),
    Condition::Noise(10.0),
    Condition::Light(0.4),
    Condition::Shadow,
    Condition::Tilt(12.0),
    Condition::Tilt(20.0),
    Condition::Sun,
];

/// A rendered photo of a foot with or without rings, 2016 px wide.
pub struct Sight {
    pub case: Case,
    pub photo: Photo,
    pub grey: Grey,
}

/// What is rendered: blur, noise and light come afterwards.
type Rendered = (View, u64, bool, Stance);

thread_local! {
    /// The last few rendered photos: those that are only spoilt need not be rendered again.
    static LAST: RefCell<Vec<(Rendered, Photo)>> = const { RefCell::new(Vec::new()) };
}

pub fn sight(view: View, seed: u64, condition: Condition, rings: bool) -> Sight {
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed ^ 0x5eed);
    let mut about = |spread: f64| spread * (2.0 * rng.random::<f64>() - 1.0);
    let animal = if seed.is_multiple_of(2) { DARK } else { LIGHT };
    let stage = if (seed / 2).is_multiple_of(3) { Stage::AfterTrim } else { Stage::BeforeTrim };
    let mut spec: FootSpec = foot(animal, Foot::ALL[(seed / 6) as usize % 4], stage);
    let s = &mut spec.shape;
    s.dorsal_angle += about(3.0);
    s.dorsal_length += about(6.0);
    s.heel_angle += about(5.0);
    s.heel_length += about(4.0);
    s.half_width_medial += about(4.0);
    s.half_width_lateral += about(4.0);
    s.widest_at += about(4.0);
    s.wall_toe += about(1.5);
    s.apex_at += about(4.0);
    s.frog_width += about(6.0);
    s.coronet_arch += about(1.0);
    s.ring_spacing_toe = 8.5 + about(2.5);
    s.ring_spacing_heel = s.ring_spacing_toe * (1.0 + about(0.25));
    s.first_ring = if rings { 10.0 + about(5.0) } else { 5000.0 };
    spec.grain = seed as u32 * 101 + 7;
    let mut case = cases().into_iter().find(|c| c.shot.view == view && c.spec.animal == animal).unwrap();
    case.spec = spec;
    case.seed = seed;
    let shot = Shot { turned: false, size: [2016, 1512], ..case.shot.clone() };
    // A turned frame stands nearer.
    case.shot = Shot { distance: shot.distance.max(735.0), ..shot };
    let mut stance = Stance::default();
    if let Condition::Tilt(by) = condition {
        let turn = about(std::f64::consts::PI);
        stance.tilt = [by * turn.sin().abs(), by * turn.cos()];
    }
    if condition == Condition::Sun {
        stance.sun = Some([0.75 + about(0.1), 0.25, 0.6]);
    }
    let rendered: Rendered = (view, seed, rings, stance);
    let known = LAST.with_borrow(|l| l.iter().find(|r| r.0 == rendered).map(|r| r.1.clone()));
    let photo = known.unwrap_or_else(|| {
        let photo = render_from(&case.spec, &case.shot, seed, &stance);
        let photo = Photo { file_name: case.file_name.clone(), ..photo };
        LAST.with_borrow_mut(|l| {
            l.truncate(1);
            l.insert(0, (rendered, photo.clone()));
        });
        photo
    });
    let grey = spoilt(&photo.pixels, condition, &mut rng);
    Sight { case, photo, grey }
}

fn spoilt(pixels: &RgbImage, condition: Condition, rng: &mut Xoshiro256PlusPlus) -> Grey {
    let grey = Grey::of(pixels);
    let (w, h) = pixels.dimensions();
    let grey = if let Condition::Blur(sigma) = condition { grey.smoothed(sigma) } else { grey };
    // A soft straight edge through the middle of the frame.
    let turn: f64 = rng.random::<f64>() * std::f64::consts::PI;
    let noise = match condition {
        Condition::Noise(n) => n,
        // A smoothed photo has lost its own.
        Condition::Blur(_) => 2.5,
        _ => 0.0,
    };
    let values = (0..h).flat_map(|y| (0..w).map(move |x| (x, y))).zip(grey.values()).map(|((x, y), v)| {
        let d = (f64::from(x) - 0.5 * f64::from(w)) * turn.cos() + (f64::from(y) - 0.5 * f64::from(h)) * turn.sin();
        let light = match condition {
            Condition::Light(f) => f,
            Condition::Shadow => 0.45 + 0.55 / (1.0 + (-d / 3.0).exp()),
            _ => 1.0,
        };
        let grain: f64 = if noise > 0.0 { StandardNormal.sample(&mut *rng) } else { 0.0 };
        (f64::from(*v) * light + noise * grain).round().clamp(0.0, 255.0) as f32
    });
    Grey::from_values(w, h, values.collect()).unwrap()
}

impl Sight {
    /// What a person would give, with the lines that are kept, and so many clicks of each.
    fn sidecar(&self, clicks: usize, keep: impl Fn(&str) -> bool) -> Sidecar {
        let mut placed = place_like_a_person(&self.photo, self.case.shot.view, self.case.seed);
        placed.lines.retain(|n, _| keep(n));
        for points in placed.lines.values_mut() {
            *points = few(points, clicks.min(points.len()));
        }
        Sidecar::parse(&sidecar(&self.case, &self.photo, &placed).to_string(), None).unwrap()
    }

    fn lens(&self) -> LensPrior {
        let (w, h) = (self.photo.camera.width, self.photo.camera.height);
        let diagonal = f64::from(w).hypot(f64::from(h));
        LensPrior::exif((w, h), f64::from(self.case.shot.focal_35mm) * diagonal / 43.266_615)
    }

    fn true_px(&self, line: &str) -> Vec<Point2<f64>> {
        self.photo.lines_px[line].iter().map(|p| Point2::from(*p)).collect()
    }
}

/// One row of rings that was found.
#[derive(Debug)]
pub struct RowOutcome {
    /// Rings found, how many there are, and how many of the found ones are none.
    pub found: usize,
    pub shown: usize,
    pub wrong: usize,
    /// The row has another number of rings between its first and its last than there are.
    pub miscounted: bool,
    pub spacing_error_percent: f64,
    pub spacing_over_u: f64,
    /// The same error where the photo's scale is known exactly: that of the rings alone.
    pub own_error_percent: f64,
    /// Places of the rings against the true ones, their common offset taken off.
    pub places_mm: Vec<f64>,
    pub places_over_u: Vec<f64>,
}

/// What was read of a wall's rings.
#[derive(Debug)]
pub struct RingOutcome {
    pub rows: [Option<RowOutcome>; 2],
    /// Whether the first rings of both lines are the same one; `None` unless both were found.
    pub paired: Option<bool>,
    pub why: [String; 2],
}

pub fn ring(seed: u64, condition: Condition, rings: bool) -> RingOutcome {
    ring_of(&sight(View::Lateral, seed, condition, rings))
}

/// What is read of the rings of one photo.
pub fn ring_of(sight: &Sight) -> RingOutcome {
    let given = sight.sidecar(usize::MAX, |n| !n.starts_with("rings"));
    let reading =
        read_photo(&sight.grey, &given, &sight.lens(), &MeasureOptions::default(), ReadOptions::default()).unwrap();
    let measured = measure(&reading.sidecar, &sight.lens(), &MeasureOptions::default()).unwrap();
    let mut first = [None, None];
    let mut why = [String::new(), String::new()];
    let rows = [0, 1].map(|at| {
        let line = [Line::RingsToe, Line::RingsHeel][at];
        let found = &reading.found.iter().find(|(l, _)| *l == line)?.1;
        let Found::Rings(row) = found else {
            why[at] = format!("{found:?}");
            return None;
        };
        why[at] = row.to_string();
        let true_depths = sight.case.spec.shape.rings_below([0.0, 2.0][at]);
        if true_depths.len() < 2 {
            return Some(RowOutcome {
                found: row.rings.len(),
                shown: 0,
                wrong: row.rings.len(),
                miscounted: true,
                spacing_error_percent: 100.0,
                spacing_over_u: 0.0,
                own_error_percent: 100.0,
                places_mm: vec![],
                places_over_u: vec![],
            });
        }
        let ends = [["toe_coronet", "toe_ground"], ["heel_coronet", "heel_ground"]][at];
        let [top, low] = ends.map(|l| sight.photo.truth.landmarks[l]).map(|p| Point2::new(p[0], p[1]));
        let along = (low - top).normalize();
        let depth = |p: &Point2<f64>| (p - top).dot(&along);
        let usual = (true_depths[true_depths.len() - 1] - true_depths[0]) / (true_depths.len() - 1) as f64;
        // Rings are compared where they are, in the picture's own places; light and a clicked coronet move them all alike.
        let places: Vec<f64> = row.rings.iter().map(|r| depth(&r.place)).collect();
        let nearest = |d: f64| {
            (0..true_depths.len())
                .min_by(|a, b| (true_depths[*a] - d).abs().total_cmp(&(true_depths[*b] - d).abs()))
                .unwrap()
        };
        let offset = {
            // The shift by less than half a ring at which they lie nearest.
            let cost = |o: f64| places.iter().map(|p| (true_depths[nearest(p - o)] - (p - o)).abs()).sum::<f64>();
            (-20..=20).map(|k| f64::from(k) * 0.02 * usual).min_by(|a, b| cost(*a).total_cmp(&cost(*b))).unwrap()
        };
        let number: Vec<usize> = places.iter().map(|p| nearest(p - offset)).collect();
        let off: Vec<f64> = places.iter().zip(&number).map(|(p, k)| p - offset - true_depths[*k]).collect();
        let whole = row.whole.clone();
        let (a, b) = (whole.start, whole.end - 1);
        first[at] = Some(number[a]);
        let value =
            measured.values.iter().find(|v| v.measurement.id == ["ring_spacing_toe", "ring_spacing_heel"][at])?;
        let spacing = (true_depths[number[b]] - true_depths[number[a]]) / (number[b] - number[a]).max(1) as f64;
        let repeated = (1..number.len()).filter(|k| number[*k] == number[k - 1]).count();
        Some(RowOutcome {
            found: places.len(),
            shown: true_depths.len(),
            wrong: repeated + off.iter().filter(|d| d.abs() > 0.35 * usual).count(),
            miscounted: number[b] - number[a] != b - a,
            spacing_error_percent: 100.0 * (value.value / spacing - 1.0),
            spacing_over_u: (value.value - spacing) / value.u,
            own_error_percent: {
                // Where the true camera sees them in the plane of the wall's landmarks.
                let z = sight.photo.truth.landmarks[ends[1]][2];
                let seen = |p: Point2<f64>| depth(&sight.photo.camera.meets([p.x, p.y], z));
                let (first, last) = (seen(row.rings[a].at), seen(row.rings[b].at));
                100.0 * ((last - first) / (b - a).max(1) as f64 / spacing - 1.0)
            },
            places_over_u: off.iter().zip(&row.rings).map(|(d, r)| d / r.u_mm).collect(),
            places_mm: off,
        })
    });
    let paired = first[0].zip(first[1]).map(|(a, b)| a == b);
    RingOutcome { rows, paired, why }
}

/// A traced outline against the truth.
#[derive(Debug)]
pub struct Outline {
    pub area_error_percent: f64,
    pub area_over_u: f64,
    /// The area against that of the true outline as the camera sees it, through the same scale: the outline's own error.
    pub own_error_percent: f64,
    /// The same of the polygon that was clicked.
    pub clicked_own_percent: f64,
    /// Distance of the traced points from the true outline: mean (positive outside) and RMS about zero.
    pub mean_mm: f64,
    pub rms_mm: f64,
    pub stated_mm: f64,
}

/// The three outlines of a sole, traced from so many clicks each.
pub fn outline(seed: u64, condition: Condition, clicks: usize) -> [Option<Outline>; 3] {
    outline_of(&sight(View::Solar, seed, condition, true), clicks)
}

/// The same of one photo.
pub fn outline_of(sight: &Sight, clicks: usize) -> [Option<Outline>; 3] {
    let given = sight.sidecar(clicks, |_| true);
    let mut seen = given.clone();
    for (line, points) in &mut seen.lines {
        *points = sight.photo.lines_px[line.name()].clone();
    }
    let reading = traced(sight, &given);
    let areas = |s: &Sidecar| {
        let m = measure(s, &sight.lens(), &MeasureOptions::default()).unwrap();
        move |line: Line| {
            let value = |id: &str| m.values.iter().find(|v| v.measurement.id == id).map(|v| (v.value, v.u));
            let (outer, bearing, sole) = (value("outline_area")?, value("bearing_area")?, value("sole_area")?);
            Some(match line {
                Line::OuterWall => outer,
                Line::WhiteLine => (outer.0 - bearing.0, outer.1),
                _ => (outer.0 - bearing.0 - sole.0, sole.1),
            })
        }
    };
    let (before, after, seen) = (areas(&given), areas(&reading.sidecar), areas(&seen));
    let v = &sight.photo.truth.values;
    let truth = [
        v["outline_area"],
        v["outline_area"] - v["bearing_area"],
        v["outline_area"] - v["bearing_area"] - v["sole_area"],
    ];
    [0, 1, 2].map(|k| {
        let line = [Line::OuterWall, Line::WhiteLine, Line::FrogOutline][k];
        let (_, Found::Traced(found)) = reading.found.iter().find(|(l, _)| *l == line)? else { return None };
        let ((area, u), seen) = (after(line)?, seen(line)?.0);
        let scale = px_per_mm(&sight.photo);
        let polygon = sight.true_px(line.name());
        let off: Vec<f64> = found.points.iter().map(|p| signed(&polygon, *p) / scale).collect();
        let mean = off.iter().sum::<f64>() / off.len() as f64;
        Some(Outline {
            area_error_percent: 100.0 * (area / truth[k] - 1.0),
            area_over_u: (area - truth[k]) / u,
            own_error_percent: 100.0 * (area / seen - 1.0),
            clicked_own_percent: 100.0 * (before(line)?.0 / seen - 1.0),
            mean_mm: mean,
            rms_mm: (off.iter().map(|d| d * d).sum::<f64>() / off.len() as f64).sqrt(),
            stated_mm: found.u_mm,
        })
    })
}

/// Whether the outer wall is traced though it was clicked 12 mm inside of it.
pub fn outlines_beside(seed: u64) -> usize {
    let sight = sight(View::Solar, seed, Condition::Plain, true);
    let mut given = sight.sidecar(16, |n| n == "outer_wall");
    let scale = px_per_mm(&sight.photo);
    for points in given.lines.values_mut() {
        let n = points.len() as f64;
        let middle =
            Point2::new(points.iter().map(|p| p[0]).sum::<f64>() / n, points.iter().map(|p| p[1]).sum::<f64>() / n);
        let inward = |p: &[f64; 2]| {
            let d: Vector2<f64> = Point2::from(*p) - middle;
            let q = middle + d * (1.0 - 12.0 * scale / d.norm());
            [q.x, q.y]
        };
        *points = points.iter().map(inward).collect();
    }
    // The heels' landmarks lie too far off to say which side is across.
    let reading = traced(&sight, &given);
    usize::from(reading.found.iter().any(|(_, f)| matches!(f, Found::Traced(_))))
}

fn traced(sight: &Sight, given: &Sidecar) -> Reading {
    let options = ReadOptions { outlines: true, ..ReadOptions::default() };
    read_photo(&sight.grey, given, &sight.lens(), &MeasureOptions::default(), options).unwrap()
}

/// So many of a line's points, evenly, its ends among them.
fn few(points: &[[f64; 2]], n: usize) -> Vec<[f64; 2]> {
    let last = points.len() - 1;
    (0..n).map(|k| points[(k * last + (n - 1) / 2) / (n - 1)]).collect()
}

fn px_per_mm(photo: &Photo) -> f64 {
    let g = &photo.graduations;
    let (a, b) = (&g[0], &g[g.len() - 1]);
    let d = |p: [f64; 2], q: [f64; 2]| (p[0] - q[0]).hypot(p[1] - q[1]);
    d(a.px, b.px) / d(a.mm, b.mm)
}

/// Distance from a closed polygon, positive outside.
fn signed(polygon: &[Point2<f64>], p: Point2<f64>) -> f64 {
    let n = polygon.len();
    let (mut near, mut inside) = (f64::MAX, false);
    for i in 0..n {
        let (a, b) = (polygon[i], polygon[(i + 1) % n]);
        let d = b - a;
        let t = ((p - a).dot(&d) / d.norm_squared().max(1e-12)).clamp(0.0, 1.0);
        near = near.min((p - (a + d * t)).norm());
        if (a.y > p.y) != (b.y > p.y) && p.x < a.x + (p.y - a.y) / (b.y - a.y) * d.x {
            inside = !inside;
        }
    }
    if inside { -near } else { near }
}
