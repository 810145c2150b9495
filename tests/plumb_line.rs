//! The plumb-line estimate on rendered pictures of known distortion, and on real photographs.
#![allow(missing_docs, clippy::print_stderr, clippy::unwrap_used, reason = "tests; a skipped test says so")]

mod common;

use hoofgeo::lens::{Distortion, PlumbEdge, PlumbLine};
use hoofgeo::pixels::{Grey, StraightOptions, long_edges};
use nalgebra::{Point2, Vector2};
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;

type Rng = Xoshiro256PlusPlus;

const FRAME: (u32, u32) = (480, 360);
const HALF_DIAGONAL: f64 = 300.0;

/// Focal length of the rendered camera, px: 32 mm equivalent. With k1 = −0.3 a shorter one would not reach its corners.
const FOCAL: f64 = 450.0;

/// Something flat in the picture, in px of the undistorted picture, from its middle.
enum Thing {
    /// A bar with straight edges: middle, direction, half length and half width.
    Bar { middle: Vector2<f64>, along: Vector2<f64>, half: [f64; 2] },
    /// A round thing, such as a hoof's outline: middle and radii.
    Round { middle: Vector2<f64>, radii: [f64; 2] },
}

impl Thing {
    /// Distance outside the edge, px (near the edge).
    fn outside(&self, p: Vector2<f64>) -> f64 {
        match self {
            Self::Bar { middle, along, half } => {
                let d = p - middle;
                let (t, s) = (d.dot(along), along.x * d.y - along.y * d.x);
                (t.abs() - half[0]).max(s.abs() - half[1])
            }
            Self::Round { middle, radii } => {
                let d = p - middle;
                let scaled = Vector2::new(d.x / radii[0], d.y / radii[1]);
                (scaled.norm() - 1.0) * scaled.norm()
                    / Vector2::new(d.x / radii[0].powi(2), d.y / radii[1].powi(2)).norm().max(1e-9)
            }
        }
    }
}

struct Picture {
    things: Vec<(Thing, f64)>,
    kappa1: f64,
    blur: f64,
    noise: f64,
}

impl Picture {
    /// One to four bars among round things.
    fn any(rng: &mut Rng, kappa1: f64) -> Self {
        let mut things = Vec::new();
        let place = |rng: &mut Rng| Vector2::new(rng.random_range(-210.0..210.0), rng.random_range(-150.0..150.0));
        for _ in 0..rng.random_range(1..4) {
            let radii = [rng.random_range(40.0..160.0), rng.random_range(40.0..160.0)];
            things.push((Thing::Round { middle: place(rng), radii }, rng.random_range(20.0..235.0)));
        }
        for _ in 0..rng.random_range(1..5) {
            let (sin, cos) = rng.random_range(0.0..std::f64::consts::PI).sin_cos();
            let half = [rng.random_range(90.0..220.0), rng.random_range(8.0..40.0)];
            let bar = Thing::Bar { middle: place(rng), along: Vector2::new(cos, sin), half };
            things.push((bar, rng.random_range(20.0..235.0)));
        }
        Self { things, kappa1, blur: rng.random_range(0.5..1.5), noise: rng.random_range(0.5..6.0) }
    }

    fn grey(&self, rng: &mut Rng) -> Grey {
        let lens = Distortion { k1: self.kappa1, ..Distortion::none() };
        let (w, h) = (f64::from(FRAME.0), f64::from(FRAME.1));
        let mut values = Vec::new();
        for y in 0..FRAME.1 {
            for x in 0..FRAME.0 {
                let seen = Point2::new(f64::from(x) + 0.5 - w / 2.0, f64::from(y) + 0.5 - h / 2.0) / HALF_DIAGONAL;
                let p = lens.remove(seen).expect("one to one").coords * HALF_DIAGONAL;
                let mut level = 110.0 + 0.1 * p.x + 0.05 * p.y;
                for (thing, its_level) in &self.things {
                    // A logistic edge is as soft as a Gaussian blur of 0.6 times its scale's inverse.
                    let share = 1.0 / (1.0 + (thing.outside(p) / (0.55 * self.blur)).exp());
                    level += share * (its_level - level);
                }
                let noise: f64 = StandardNormal.sample(rng);
                values.push((level + self.noise * noise).clamp(0.0, 255.0).round() as f32);
            }
        }
        Grey::from_values(FRAME.0, FRAME.1, values).expect("whole")
    }
}

fn judge(grey: &Grey) -> Option<PlumbLine> {
    let edges: Vec<PlumbEdge> = long_edges(grey, &StraightOptions::default())
        .into_iter()
        .map(|e| PlumbEdge { points: e.points, trusted: false })
        .collect();
    PlumbLine::estimate(&edges, (grey.width(), grey.height()))
}

#[test]
fn intervals_cover_the_known_distortion() {
    let mut rng = Rng::seed_from_u64(1971);
    let (mut told, mut covered, mut narrow) = (0, 0, 0);
    const PICTURES: usize = 240;
    for _ in 0..PICTURES {
        let kappa1 = rng.random_range(-0.3..0.1) * (HALF_DIAGONAL / FOCAL).powi(2);
        let picture = Picture::any(&mut rng, kappa1);
        let grey = picture.grey(&mut rng);
        let Some(found) = judge(&grey) else { continue };
        if !found.is_decided() {
            continue;
        }
        told += 1;
        covered += usize::from((found.kappa1 - kappa1).abs() <= found.expanded);
        narrow += usize::from(found.expanded < 0.05);
    }
    eprintln!("{told} of {PICTURES} pictures tell, {covered} intervals hold the truth, {narrow} within ± 0.05");
    assert!(told >= 200, "{told}");
    assert!(covered as f64 >= 0.9 * told as f64, "{covered} of {told}");
    assert!(narrow as f64 >= 0.4 * told as f64, "{narrow} of {told}");
}

/// Real photographs of a chessboard taken with a strongly bending lens, calibrated with OpenCV (`fixtures/opencv`).
#[test]
fn real_photographs_of_a_bending_lens() {
    let Some(folder) = common::opencv_photographs() else { return };
    let text = include_str!("../fixtures/opencv/calibration.json");
    let calibrations: Vec<serde_json::Value> = serde_json::from_str(text).expect("JSON");
    let (mut held, mut bent, mut all) = (0, 0, 0);
    for side in ["left", "right"] {
        let id = format!("{side} subpix k1k2p1p2");
        let of = &calibrations.iter().find(|c| c["id"] == *id).expect("the calibration")["expected"];
        let number = |v: &serde_json::Value| v.as_f64().expect("a number");
        // From units of the focal length to units of half the diagonal.
        let kappa1 = number(&of["dist"][0]) * (400.0 / number(&of["K"][0][0])).powi(2);
        for i in (1..=14).filter(|i| *i != 10) {
            let path = folder.join(format!("{side}{i:02}.jpg"));
            let photo = image::open(&path).expect("a photo").into_rgb8();
            let found = judge(&Grey::of(&photo)).expect("long edges");
            eprintln!("{side}{i:02}: {:.3} ± {:.3} for {kappa1:.3}", found.kappa1, found.expanded);
            all += 1;
            held += usize::from((found.kappa1 - kappa1).abs() <= found.expanded);
            bent += usize::from(found.is_decided() && found.kappa1 + found.expanded < 0.0);
        }
    }
    eprintln!("{bent} of {all} photographs are bent, {held} intervals hold the calibrated value");
    assert_eq!((bent, all), (26, 26));
    assert!(held >= 22, "{held}");
}
