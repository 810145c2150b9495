//! Landmarks as a careful person would place them: the truth, moved by how well each point is defined and by the hand.

use super::photo::Photo;
use hoofgeo::View;
use hoofgeo::landmark::{Landmark, Line, Spread};
use nalgebra::{Point3, Vector2};
use rand::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;
use std::collections::BTreeMap;

/// Standard deviation of a click, px per axis.
pub const CLICK_PX: f64 = 1.5;
/// Standard deviation of a click on a graduation, px per axis: a sharp mark, looked at closely.
pub const GRADUATION_PX: f64 = 1.0;

/// What a person placed on one photo, px.
#[derive(Debug, Clone, PartialEq)]
pub struct Placed {
    /// Graduations: (mm in the scale frame, px).
    pub graduations: Vec<([f64; 2], [f64; 2])>,
    /// Landmarks, by name.
    pub landmarks: BTreeMap<&'static str, [f64; 2]>,
    /// Lines, by name.
    pub lines: BTreeMap<&'static str, Vec<[f64; 2]>>,
}

/// Places everything on `photo`, with the seed deciding the errors. Spreads are those of the landmark table; points off
/// the frame are left out, as a person would have to.
pub fn place_like_a_person(photo: &Photo, view: View, seed: u64) -> Placed {
    // A stream of its own: the pose was drawn from this seed too.
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
    rng.jump();
    let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
    let truth = &photo.truth;
    let size = [f64::from(photo.camera.width), f64::from(photo.camera.height)];
    let in_frame = |p: &[f64; 2]| p[0] >= 0.0 && p[1] >= 0.0 && p[0] <= size[0] && p[1] <= size[1];
    let moved = |p: &[f64; 3], by: Vector2<f64>| photo.camera.project(&Point3::new(p[0] + by.x, p[1] + by.y, p[2]));

    let mut landmarks = BTreeMap::new();
    for landmark in Landmark::of(view) {
        let Some(at) = truth.landmarks.get(landmark.name()) else { continue };
        let by = match landmark.info().spread {
            Spread::Round(u) => Vector2::new(normal(), normal()) * u,
            Spread::Oval { along, across, axis } => {
                let (from, to) = axis.ends();
                let ends = [from, to].map(|l| truth.landmarks.get(l.name()).copied().unwrap_or_default());
                let d = Vector2::new(ends[1][0] - ends[0][0], ends[1][1] - ends[0][1]).normalize();
                d * (along * normal()) + Vector2::new(-d.y, d.x) * (across * normal())
            }
        };
        let [u, v] = moved(at, by);
        let at = [u + CLICK_PX * normal(), v + CLICK_PX * normal()];
        if in_frame(&at) {
            landmarks.insert(landmark.name(), at);
        }
    }

    let mut lines = BTreeMap::new();
    for line in Line::of(view) {
        let Some(points) = truth.lines.get(line.name()) else { continue };
        let info = line.info();
        // A closed outline is seen too far out or in as a whole; an open line's points scatter one by one.
        let whole = info.u_mm * normal();
        let n = points.len();
        let placed: Vec<_> = (0..n)
            .map(|i| {
                let by = if info.closed {
                    let (a, b) = (points[(i + n - 1) % n], points[(i + 1) % n]);
                    let d = Vector2::new(b[0] - a[0], b[1] - a[1]).normalize();
                    Vector2::new(-d.y, d.x) * whole
                } else {
                    Vector2::new(normal(), normal()) * info.u_mm
                };
                let [u, v] = moved(&points[i], by);
                [u + CLICK_PX * normal(), v + CLICK_PX * normal()]
            })
            .filter(in_frame)
            .collect();
        // A foot too low for two rings has no line of them.
        if placed.len() > 1 {
            lines.insert(line.name(), placed);
        }
    }

    let graduations = photo
        .graduations
        .iter()
        // A person takes a few well-spread ones, and a square's corner.
        .filter(|g| g.mm[0] % 50.0 == 0.0 && g.mm[1] % 50.0 == 0.0)
        .map(|g| (g.mm, [g.px[0] + GRADUATION_PX * normal(), g.px[1] + GRADUATION_PX * normal()]))
        .collect();
    Placed { graduations, landmarks, lines }
}

#[cfg(test)]
mod tests {
    use super::super::quick_scene;
    use super::*;

    #[test]
    fn a_persons_errors_have_the_stated_size() {
        // 400 people place the heel on one photo. Its spread is round, 1.5 mm; with the click, the standard deviation per
        // axis is sqrt((1.5 mm in px)² + 1.5²); 400 draws give it within 3.5 % (one standard deviation), hence 12 %.
        let photo = quick_scene(View::Lateral, 2);
        let truth = photo.landmarks_px["heel_ground"];
        let mm = Point3::from(photo.truth.landmarks["heel_ground"]);
        let a = photo.camera.project(&(mm + nalgebra::Vector3::x()));
        let px_per_mm = (a[0] - truth[0]).hypot(a[1] - truth[1]);
        let (mut sum, mut squares) = ([0.0; 2], [0.0; 2]);
        for seed in 0..400 {
            let at = place_like_a_person(&photo, View::Lateral, seed).landmarks["heel_ground"];
            for k in 0..2 {
                sum[k] += at[k] - truth[k];
                squares[k] += (at[k] - truth[k]).powi(2);
            }
        }
        let expected = (1.5 * px_per_mm).hypot(CLICK_PX);
        for k in 0..2 {
            assert!((sum[k] / 400.0).abs() < 0.2 * expected);
            let sd = (squares[k] / 400.0).sqrt();
            assert!((sd / expected - 1.0).abs() < 0.12, "{sd} px, not {expected}");
        }
    }
}
