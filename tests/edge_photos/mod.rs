//! Rendered feet under changed conditions, what is read from them, and how far that is off: shared by the example `edges` and the test
//! `read_edges`.
#![allow(missing_docs, dead_code, unreachable_pub, clippy::unwrap_used, reason = "tests and an experiment")]

use hoofgeo::measured::{MeasureOptions, locate};
use hoofgeo::pixels::{
    Flat, Found, Grey, Mapping, Moved, PlaneMap, ReadOptions, Reading, TubuleDirection, read_photo, tubule_direction,
};
use hoofgeo::scene::LensPrior;
use hoofgeo::sidecar::Sidecar;
use hoofgeo::{Foot, Landmark, Line, Stage, View};
use hoofgeo_cli::demo::{self, Case, DARK, Finish, LIGHT, Photo, Stance, foot, place_like_a_person, render_from};
use nalgebra::{Point2, SMatrix, Vector2};
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;

/// How the camera is held.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shot {
    /// From the side, the camera within 8 mm of the ground's height: it looks up at the foot by 3.5 to 4°.
    Level,
    /// From the side, as a hand holds it 120 mm above the ground: 1 to 3° down, up to 2° from the side.
    Usual,
    /// From the side, 8° down and 10° from the side.
    Steep,
    /// Onto the sole.
    Sole,
}

impl Shot {
    pub const ALL: [Self; 4] = [Self::Level, Self::Usual, Self::Steep, Self::Sole];

    pub const fn name(self) -> &'static str {
        match self {
            Self::Level => "side, camera at ground height",
            Self::Usual => "side, camera 120 mm above the ground",
            Self::Steep => "side, down 8°, aside 10°",
            Self::Sole => "sole",
        }
    }

    /// Other conditions are looked at with the camera at ground height, where everything can be read.
    pub fn takes(self, condition: &Condition) -> bool {
        matches!(self, Self::Level | Self::Sole) || condition.name == CONDITIONS[0].name
    }

    /// A foot of this seed; its shape and its grain differ from seed to seed.
    pub fn render(self, seed: u64) -> (Case, Photo) {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(0x5eed ^ seed);
        let mut about = |spread: f64| rng.random_range(-spread..=spread);
        let stage = if seed.is_multiple_of(3) { Stage::AfterTrim } else { Stage::BeforeTrim };
        let mut spec =
            foot(if seed.is_multiple_of(2) { DARK } else { LIGHT }, Foot::ALL[(seed / 2) as usize % 4], stage);
        spec.grain = (1000 + 17 * seed) as u32;
        spec.shape.dorsal_angle += about(3.0);
        spec.shape.heel_angle += about(4.0);
        spec.shape.flare = (spec.shape.flare + about(3.0)).max(0.0);
        spec.shape.ring_spacing_toe += about(1.5);
        let tilt = match self {
            Self::Level => Some([-3.75 + about(0.25), about(2.0)]),
            Self::Usual | Self::Sole => None,
            Self::Steep => Some([8.0 + about(1.0), 10.0 + about(1.0)]),
        };
        let view = if self == Self::Sole { View::Solar } else { View::Lateral };
        let shot = demo::Shot {
            view,
            size: [3200, 2400],
            focal_35mm: if view == View::Lateral { 108 } else { 72 },
            distance: if view == View::Lateral { 1180.0 } else { 735.0 },
            square: true,
            finish: Finish::Plastic,
            plank: seed % 4 < 2,
            turned: false,
            noise: false,
            taken: "2026-04-18T09:00:00+02:00".into(),
        };
        let photo = Photo {
            file_name: format!("{seed}.jpg"),
            ..render_from(&spec, &shot, seed, &Stance { held: tilt, ..Stance::default() })
        };
        (Case { spec, shot, seed, file_name: format!("{seed}.jpg") }, photo)
    }
}

/// What is done to a picture.
#[derive(Debug, Clone, Copy)]
pub struct Condition {
    pub name: &'static str,
    /// Standard deviation of a Gaussian, px.
    pub blur: f32,
    /// Noise, grey levels.
    pub noise: f64,
    /// How many times the light on the shaded side of a line through the foot; 1 is none.
    pub shadow: f64,
    /// Splashes of mud on the foot and about it.
    pub dirt: usize,
    /// Contrast against mid-grey.
    pub contrast: f64,
}

const CLEAN: Condition = Condition { name: "as it is", blur: 0.0, noise: 3.0, shadow: 1.0, dirt: 0, contrast: 1.0 };

pub const CONDITIONS: [Condition; 9] = [
    CLEAN,
    Condition { name: "blur 1.5 px", blur: 1.5, ..CLEAN },
    Condition { name: "blur 3 px", blur: 3.0, ..CLEAN },
    Condition { name: "noise 8 levels", noise: 8.0, ..CLEAN },
    Condition { name: "noise 16 levels", noise: 16.0, ..CLEAN },
    Condition { name: "hard shadow, half the light", shadow: 0.5, ..CLEAN },
    Condition { name: "a third of the contrast", contrast: 0.33, ..CLEAN },
    Condition { name: "20 splashes of mud", dirt: 20, ..CLEAN },
    Condition { name: "80 splashes of mud", dirt: 80, ..CLEAN },
];

/// How far something is off.
#[derive(Debug, Clone, Copy)]
pub struct Error {
    pub off: f64,
    pub u: f64,
    /// The same of the click.
    pub before: Option<f64>,
}

/// One thing looked for on one picture.
#[derive(Debug, Clone)]
pub struct Seen {
    pub what: &'static str,
    pub shot: Shot,
    pub condition: &'static str,
    pub seed: u64,
    /// None where it was not found.
    pub error: Option<Error>,
}

pub const LANDMARKS: [&str; 9] = [
    "toe_ground",
    "heel_ground",
    "ground_front",
    "ground_back",
    "toe_outer",
    "white_line_inner",
    "white_line_outer",
    "widest_medial",
    "widest_lateral",
];

/// Reads one photo under one condition.
pub fn look((case, photo): &(Case, Photo), shot: Shot, condition: &Condition, seed: u64) -> Vec<Seen> {
    let grey = changed(photo, condition, seed);
    let sidecar = placed(case, photo, seed);
    let reading = read_photo(
        &grey,
        &sidecar,
        &true_lens(photo),
        &MeasureOptions::default(),
        ReadOptions { replace: true, snap: true, ..ReadOptions::default() },
    )
    .unwrap();
    let mut out = Vec::new();
    let mut push = |what, error| out.push(Seen { what, shot, condition: condition.name, seed, error });
    if let Some(folder) = std::env::var_os("HOOFGEO_SEEN") {
        let grey =
            image::GrayImage::from_raw(grey.width(), grey.height(), grey.values().iter().map(|v| *v as u8).collect());
        let photo = image::DynamicImage::ImageLuma8(grey.unwrap()).to_rgb8();
        let picture = hoofgeo::picture::reading_picture(&photo, &sidecar, &reading, 2480).unwrap();
        let name = format!("{seed}-{shot:?}-{}.jpg", condition.name.replace([' ', ','], "_"));
        picture.save(std::path::Path::new(&folder).join(name)).unwrap();
    }
    for (line, found) in &reading.found {
        lines(photo, *line, found, &mut push);
        if let Found::Tubules(t) = found {
            push("tubules, in the picture", Some(in_the_picture(photo, &sidecar, *line, t)));
        }
    }
    if shot != Shot::Sole {
        push("wall, two clicks", Some(two_clicks(photo, &sidecar)));
    }
    for (landmark, moved) in &reading.moved {
        let name = LANDMARKS.iter().find(|n| **n == landmark.name()).unwrap();
        push(name, landmark_error(photo, &reading, *landmark, moved));
    }
    out
}

/// What a person would click, at the true scale: graduations are exact, so that errors are those of the reading.
fn placed(case: &Case, photo: &Photo, seed: u64) -> Sidecar {
    let mut placed = place_like_a_person(photo, case.shot.view, seed);
    for (g, (_, at)) in
        photo.graduations.iter().filter(|g| g.mm[0] % 50.0 == 0.0 && g.mm[1] % 50.0 == 0.0).zip(&mut placed.graduations)
    {
        *at = g.px;
    }
    // Tubules are looked for about the true ones, the direction expected 6° off.
    placed.lines.retain(|name, _| name.starts_with("tubules"));
    for (name, points) in &mut placed.lines {
        let truth = &photo.lines_px[name];
        let middle = Point2::from((Vector2::from(truth[0]) + Vector2::from(truth[truth.len() - 1])) / 2.0);
        let (sin, cos) = (if seed.is_multiple_of(2) { 6f64 } else { -6f64 }).to_radians().sin_cos();
        let turned = |p: &[f64; 2]| {
            let d = Point2::from(*p) - middle;
            let p = middle + Vector2::new(cos * d.x - sin * d.y, sin * d.x + cos * d.y);
            [p.x, p.y]
        };
        *points = [turned(&truth[0]), turned(&truth[truth.len() - 1])].to_vec();
    }
    let mut json = demo::sidecar(case, photo, &placed);
    json["scale"]["u_px"] = 0.05.into();
    json["scale"]["tolerance"] = serde_json::json!({ "u_rel": 1e-5 });
    Sidecar::parse(&json.to_string(), None).unwrap()
}

fn true_lens(photo: &Photo) -> LensPrior {
    let c = &photo.camera;
    let [x, y] = c.principal_point_px;
    let mean = [c.focal_px, x, y, c.radial[0], c.radial[1], c.radial[2], c.tangential[0], c.tangential[1]];
    let u: [f64; 8] = [0.5, 0.2, 0.2, 1e-5, 1e-5, 0.0, 1e-6, 1e-6];
    LensPrior::profile(mean, &SMatrix::from_diagonal(&u.map(|u| u * u).into()))
}

fn flat(p: &[f64; 3]) -> Point2<f64> {
    Point2::new(p[0], p[1])
}

/// Angle between two lines, degrees, -90 to 90.
fn turn(a: Vector2<f64>, b: Vector2<f64>) -> f64 {
    let t = a.perp(&b).atan2(a.dot(&b)).to_degrees();
    t - 180.0 * (t / 180.0).round()
}

fn fitted(points: &[Point2<f64>]) -> Vector2<f64> {
    hoofgeo::measure::geometry::fitted_direction(points).unwrap()
}

fn lines(photo: &Photo, line: Line, found: &Found, push: &mut impl FnMut(&'static str, Option<Error>)) {
    let truth: Vec<Point2<f64>> = photo.truth.lines[line.name()].iter().map(flat).collect();
    match (line, found) {
        (Line::TubulesToe | Line::TubulesQuarter | Line::TubulesHeel, found) => push(
            "tubules",
            match found {
                Found::Tubules(t) => {
                    let off = turn(t.along, truth[truth.len() - 1] - truth[0]);
                    Some(Error { off, u: t.u.to_degrees(), before: Some(6.0) })
                }
                _ => None,
            },
        ),
        (Line::DorsalWall, found) => {
            let fit = match found {
                Found::Outline(o) => Some(&o.fit),
                _ => None,
            };
            // The best line of a bent wall depends on how much of it is fitted.
            let direction = fit.map(|f| Error {
                off: turn(f.line.along, fitted(&stations(&truth))),
                u: f.line.u_direction.to_degrees(),
                before: None,
            });
            push("wall", direction);
            let flare = turn(fitted(&truth[..5]), fitted(&truth[8..])).abs();
            let error = |f: &hoofgeo::pixels::WallFit| Error {
                off: f.flare.to_degrees() - flare,
                u: f.u_flare.to_degrees(),
                before: None,
            };
            push("flare", fit.map(error));
        }
        (Line::Ground, found) => push(
            "ground",
            match found {
                Found::Ground(g) => {
                    let off = turn(g.fit.along, fitted(&truth));
                    Some(Error { off, u: g.fit.u_direction.to_degrees(), before: None })
                }
                _ => None,
            },
        ),
        _ => {}
    }
}

/// Tubules against the line that the picture shows of the true ones, taken to the plane in the same way: what the reading adds to where
/// the wall stands. The uncertainty is still that of both.
fn in_the_picture(photo: &Photo, sidecar: &Sidecar, line: Line, found: &TubuleDirection) -> Error {
    let (scene, located) = locate(sidecar, &true_lens(photo), &MeasureOptions::default()).unwrap();
    let map = PlaneMap::new(&scene, &located, line.info().plane);
    let shown = &photo.lines_px[line.name()];
    let [from, to] = [shown[0], shown[shown.len() - 1]].map(|p| map.place(p.into()).unwrap());
    Error { off: turn(found.along, to - from), u: found.u.to_degrees(), before: None }
}

/// Places of a wall where stations stand.
fn stations(wall: &[Point2<f64>]) -> Vec<Point2<f64>> {
    let last = wall.len() - 1;
    let at = |t: f64| {
        let s = t * last as f64;
        let i = (s as usize).min(last - 1);
        wall[i] + (wall[i + 1] - wall[i]) * (s - i as f64)
    };
    (0..37).map(|i| at(0.06 + 0.88 * f64::from(i) / 36.0)).collect()
}

/// The wall's direction from the two landmarks as they were clicked, with what the landmarks' own uncertainties make of it.
fn two_clicks(photo: &Photo, sidecar: &Sidecar) -> Error {
    let place = |l: Landmark| photo.camera.meets(sidecar.landmarks[&l].at[0], photo.truth.landmarks[l.name()][2]);
    let (a, b) = (place(Landmark::ToeCoronet), place(Landmark::ToeGround));
    let truth = flat(&photo.truth.landmarks["toe_ground"]) - flat(&photo.truth.landmarks["toe_coronet"]);
    // 0.5 mm across the wall above, 1 mm below, and the clicks.
    let click = 1.5 / 10.0;
    let u = (0.5f64.hypot(click).hypot(1f64.hypot(click)) / truth.norm()).to_degrees();
    Error { off: turn(b - a, truth), u, before: None }
}

fn landmark_error(photo: &Photo, reading: &Reading, landmark: Landmark, moved: &Moved) -> Option<Error> {
    let Moved::Snapped(snap) = moved else { return None };
    assert!(reading.sidecar.landmarks[&landmark].snapped.is_some());
    let truth = Point2::from(photo.landmarks_px[landmark.name()]);
    let normal = Vector2::new(-snap.edge.y, snap.edge.x);
    let mm = snap.moved_mm / (snap.at - snap.from).norm();
    // Across the edge, as `measure` takes it: the edge's own uncertainty and how well it is defined.
    let defined = landmark.info().contour.unwrap().line.info().u_mm;
    Some(Error {
        off: (snap.at - truth).dot(&normal) * mm,
        u: (snap.u_px * mm).hypot(defined),
        before: Some((snap.from - truth).dot(&normal) * mm),
    })
}

/// A picture's brightness under a condition.
pub fn changed(photo: &Photo, c: &Condition, seed: u64) -> Grey {
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(77 ^ seed);
    let (w, h) = photo.pixels.dimensions();
    let mut values = Grey::of(&photo.pixels).values().to_vec();
    let marks: Vec<Point2<f64>> = photo.landmarks_px.values().map(|p| Point2::from(*p)).collect();
    let (low, high) = marks.iter().fold((marks[0], marks[0]), |m, p| (m.0.inf(p), m.1.sup(p)));
    for _ in 0..c.dirt {
        let middle = Point2::new(rng.random_range(low.x..high.x), rng.random_range(low.y..high.y));
        let size = rng.random_range(8.0..45.0);
        let (turned, lobes) = (rng.random_range(0.0..6.0), rng.random_range(2.0..5.0f64).round());
        let brown = 82.0 * rng.random_range(0.7..1.2);
        let r = 1.5 * size;
        for y in (middle.y - r).max(0.0) as u32..((middle.y + r) as u32).min(h) {
            for x in (middle.x - r).max(0.0) as u32..((middle.x + r) as u32).min(w) {
                let d = Point2::new(f64::from(x) + 0.5, f64::from(y) + 0.5) - middle;
                let rim = size * (1.0 + 0.3 * (lobes * d.y.atan2(d.x) + turned).sin());
                let cover = (0.9 * (0.5 - (d.norm() - rim) / 2.0).clamp(0.0, 1.0)) as f32;
                let v = &mut values[(y * w + x) as usize];
                *v = *v * (1.0 - cover) + brown as f32 * cover;
            }
        }
    }
    if c.blur > 0.0 {
        values = Grey::from_values(w, h, values).unwrap().smoothed(c.blur).values().to_vec();
    }
    let centre = nalgebra::center(&low, &high);
    let angle: f64 = rng.random_range(0.0..std::f64::consts::TAU);
    let edge = Vector2::new(angle.cos(), angle.sin());
    for (i, v) in values.iter_mut().enumerate() {
        let at = Point2::new(f64::from(i as u32 % w), f64::from(i as u32 / w));
        // A penumbra of 6 px.
        let dark = (0.5 + (at - centre).dot(&edge) / 6.0).clamp(0.0, 1.0);
        let light = 1.0 + (c.shadow - 1.0) * dark;
        let grain: f64 = StandardNormal.sample(&mut rng);
        let seen = ((f64::from(*v) - 128.0) * c.contrast + 128.0) * light + c.noise * grain;
        *v = seen.round().clamp(0.0, 255.0) as f32;
    }
    Grey::from_values(w, h, values).unwrap()
}

/// Walls on which no tubules can be found.
pub const TEXTURES: [&str; 5] =
    ["smooth", "noise", "grain without direction", "rings alone", "rings over weak tubules"];

/// Whether tubules are accepted that are not there, or a direction more than 3 standard uncertainties off those that are.
pub fn texture(kind: &str, seed: u64) -> bool {
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(0x7e47 ^ seed);
    let noise = rng.random_range(1.0..8.0);
    let tubules = rng.random_range(30f64..80.0);
    let ring_turn = rng.random_range(60f64..95.0);
    let spacing = rng.random_range(3.0..9.0);
    let waves: Vec<(f64, f64, f64)> = (0..60)
        .map(|_| (rng.random_range(0.0..6.3), rng.random_range(0.4..4.0f64), rng.random_range(0.0..6.3)))
        .collect();
    let shade = |x: f64, y: f64| -> f64 {
        let across = |deg: f64| x * deg.to_radians().sin() - y * deg.to_radians().cos();
        let fibres = |strength: f64| {
            [0.4, 0.7, 1.1]
                .iter()
                .map(|l| strength * (across(tubules) * std::f64::consts::TAU / l + l).sin())
                .sum::<f64>()
        };
        let ring = |strength: f64| {
            let s = across(tubules + ring_turn);
            [1.0, 2.0, 5.0]
                .iter()
                .map(|k| strength / k * (s * std::f64::consts::TAU * k / spacing + k).sin())
                .sum::<f64>()
        };
        match kind {
            "grain without direction" => waves
                .iter()
                .map(|(a, l, p)| 3.0 * ((x * a.cos() + y * a.sin()) * std::f64::consts::TAU / l + p).sin())
                .sum(),
            "rings alone" => ring(20.0),
            "rings over weak tubules" => ring(25.0) + fibres(0.5),
            "smooth" => 0.4 * x,
            _ => 0.0,
        }
    };
    let noise = if kind == "smooth" { 0.5 } else { noise };
    let values = (0..400).flat_map(|y| (0..300).map(move |x| (f64::from(x) / 10.0, -f64::from(y) / 10.0)));
    let values: Vec<f32> = values
        .map(|(x, y)| {
            let grain: f64 = StandardNormal.sample(&mut rng);
            (128.0 + shade(x, y) + noise * grain).round().clamp(0.0, 255.0) as f32
        })
        .collect();
    let grey = Grey::from_values(300, 400, values).unwrap();
    let region = [(20.0, 20.0), (280.0, 20.0), (280.0, 380.0), (20.0, 380.0)].map(|(x, y)| Point2::new(x, y));
    let (sin, cos) = (tubules + 6.0).to_radians().sin_cos();
    match tubule_direction(&grey, &Flat { px_per_mm: 10.0 }, &region, Vector2::new(cos, sin)) {
        Err(_) => false,
        Ok(_) if kind != "rings over weak tubules" => true,
        Ok(t) => {
            let true_ = Vector2::new(tubules.to_radians().cos(), tubules.to_radians().sin());
            turn(t.along, true_).abs() > 3.0 * t.u.to_degrees()
        }
    }
}
