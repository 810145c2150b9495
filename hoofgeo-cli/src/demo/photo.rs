//! A finished demo photo with its truth.

use super::camera::Camera;
use super::horses::{Case, DARK, FootSpec, LIGHT, Shot, foot};
use super::paint::paint;
use super::ruler::Finish;
use super::scene::Scene;
use super::truth::{FootTruth, Truth};
use hoofgeo::{Foot, Stage, View};
use image::RgbImage;
use nalgebra::Point3;
use serde::Serialize;
use std::collections::BTreeMap;

/// What the camera writes into the photo's header.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ExifFacts {
    /// Maker of the (invented) camera.
    pub make: &'static str,
    /// Its model.
    pub model: &'static str,
    /// Focal length of the lens, mm.
    pub focal_mm: f64,
    /// 35 mm equivalent on the frame's diagonal, as a whole number.
    pub focal_35mm: u16,
    /// EXIF Orientation: 1, or 6 where the stored picture lies on its side.
    pub orientation: u16,
    /// When the photo was taken, RFC 3339 with offset.
    pub taken: String,
}

/// A graduation: where it is on the scale, and where in the photo.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Graduation {
    /// (x, y) in the scale frame, mm.
    pub mm: [f64; 2],
    /// Where its line meets the graduated edge, px of the upright photo.
    pub px: [f64; 2],
}

/// A photo and everything that is true of it.
#[derive(Debug, Clone)]
pub struct Photo {
    /// The upright picture.
    pub pixels: RgbImage,
    /// The true camera, scale frame to pixels.
    pub camera: Camera,
    /// Landmarks, lines and values.
    pub truth: Truth,
    /// The numbered graduations that are in the frame.
    pub graduations: Vec<Graduation>,
    /// Landmarks in pixels of the upright photo.
    pub landmarks_px: BTreeMap<&'static str, [f64; 2]>,
    /// Lines in pixels of the upright photo.
    pub lines_px: BTreeMap<&'static str, Vec<[f64; 2]>>,
    /// What its header says.
    pub exif: ExifFacts,
    /// Its path below the demo's folder; empty where it has none.
    pub file_name: String,
}

/// What sets a photo apart from those of the demonstration.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Stance {
    /// The camera's two tilts, degrees: how far it looks down, and from the side; `None` as a hand holds it.
    pub held: Option<[f64; 2]>,
    /// Degrees by which the camera stands higher, and further to the right, besides those.
    pub tilt: [f64; 2],
    /// Towards the sun: right, up and towards the camera; `None` as in the demonstration.
    pub sun: Option<[f64; 3]>,
}

/// Renders one photo. The same arguments give the same pixels, whatever the number of threads.
pub fn render(spec: &FootSpec, shot: &Shot, seed: u64) -> Photo {
    render_from(spec, shot, seed, &Stance::default())
}

/// The same with camera or sun elsewhere.
pub fn render_from(spec: &FootSpec, shot: &Shot, seed: u64, stance: &Stance) -> Photo {
    let scene = Scene::new(spec, shot, seed, stance);
    let pixels = paint(&scene, spec, shot, seed);
    let ruler = &scene.ruler;
    let camera = scene.camera.seen_from(&ruler.rotation, &ruler.origin.coords);
    let on_foot = FootTruth::new(&spec.shape, shot.view, scene.underside.as_ref());
    let to_scale = |p: &Point3<f64>| {
        let q = ruler.rotation.transpose() * (scene.foot_to_scene * p.coords - ruler.origin.coords);
        [q.x, q.y, q.z]
    };
    let truth = Truth {
        landmarks: on_foot.landmarks.iter().map(|(l, p)| (l.name(), to_scale(p))).collect(),
        lines: on_foot.lines.iter().map(|(l, ps)| (l.name(), ps.iter().map(to_scale).collect())).collect(),
        values: on_foot.values,
        values_line_fit: on_foot.values_line_fit,
    };
    let project = |p: &[f64; 3]| camera.project(&Point3::from(*p));
    let [width, height] = shot.size.map(f64::from);
    let graduations = ruler
        .numbered()
        .into_iter()
        .map(|mm| Graduation { mm, px: project(&[mm[0], mm[1], 0.0]) })
        .filter(|g| g.px[0] > 8.0 && g.px[1] > 8.0 && g.px[0] < width - 8.0 && g.px[1] < height - 8.0)
        .collect();
    let landmarks_px = truth.landmarks.iter().map(|(n, p)| (*n, project(p))).collect();
    let lines_px = truth.lines.iter().map(|(n, ps)| (*n, ps.iter().map(project).collect())).collect();
    // The sensor of the invented phone is seven times smaller than a 35 mm frame.
    let exif = ExifFacts {
        make: "Example",
        model: "Yard phone",
        focal_mm: f64::from(shot.focal_35mm) / 7.0,
        focal_35mm: shot.focal_35mm,
        orientation: if shot.turned { 6 } else { 1 },
        taken: shot.taken.clone(),
    };
    Photo { pixels, camera, truth, graduations, landmarks_px, lines_px, exif, file_name: String::new() }
}

impl Case {
    /// Renders this photo.
    pub fn render(&self) -> Photo {
        Photo { file_name: self.file_name.clone(), ..render(&self.spec, &self.shot, self.seed) }
    }
}

/// A small photo for tests: 800 by 600 px, a square in the side view, a straight rule in the sole view.
pub fn quick_scene(view: View, seed: u64) -> Photo {
    let animal = if seed.is_multiple_of(2) { DARK } else { LIGHT };
    let spec = foot(animal, Foot::ALL[seed as usize % 4], Stage::BeforeTrim);
    let shot = Shot {
        view,
        size: [800, 600],
        focal_35mm: if view == View::Lateral { 108 } else { 72 },
        distance: if view == View::Lateral { 1180.0 } else { 735.0 },
        square: view == View::Lateral,
        finish: Finish::Plastic,
        plank: true,
        turned: false,
        noise: true,
        taken: "2026-04-18T09:00:00+02:00".into(),
    };
    Photo { file_name: format!("quick-{}-{seed}.jpg", view.name()), ..render(&spec, &shot, seed) }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    fn still(view: View) -> Photo {
        let spec = foot(DARK, Foot::RightFore, Stage::AfterTrim);
        let shot = Shot {
            view,
            size: [2016, 1512],
            focal_35mm: 108,
            distance: if view == View::Lateral { 1180.0 } else { 1100.0 },
            square: true,
            finish: Finish::Plastic,
            plank: true,
            turned: false,
            noise: false,
            taken: "2026-04-18T09:00:00+02:00".into(),
        };
        render(&spec, &shot, 7)
    }

    /// Green level of the picture between pixels.
    fn level(pixels: &RgbImage, [u, v]: [f64; 2]) -> f64 {
        let (x, y) = (u - 0.5, v - 0.5);
        let (c, r) = (x.floor(), y.floor());
        let p = |dc: u32, dr: u32| f64::from(pixels.get_pixel(c as u32 + dc, r as u32 + dr)[1]);
        let (s, t) = (x - c, y - r);
        (p(0, 0) * (1.0 - s) + p(1, 0) * s) * (1.0 - t) + (p(0, 1) * (1.0 - s) + p(1, 1) * s) * t
    }

    #[test]
    fn rendered_graduations_lie_where_the_truth_says() {
        // Each numbered line is crossed at three heights, one millimetre apart, from half a millimetre before it to half a
        // millimetre after; the centre of gravity of what is darker than the blade is where the line was painted. The
        // truth is the full projection through the lens. Blade stains and the level's rounding cost some hundredths
        // of a pixel on a single line, hence 0.1 px each and 0.02 px on average.
        for view in [View::Lateral, View::Solar] {
            let photo = still(view);
            let at = |x: f64, y: f64| photo.camera.project(&Point3::new(x, y, 0.0));
            let (mut count, mut sum) = (0, 0.0);
            for g in photo.graduations.iter().filter(|g| g.mm[0] + g.mm[1] >= 20.0) {
                let along_x = g.mm[1] == 0.0;
                for depth in [1.2, 2.2, 3.0] {
                    let point = |s: f64| if along_x { at(g.mm[0] + s, depth) } else { at(depth, g.mm[1] + s) };
                    let steps: Vec<f64> = (-50..=50).map(|i| f64::from(i) * 0.01).collect();
                    let dark: Vec<f64> = steps.iter().map(|s| level(&photo.pixels, point(*s))).collect();
                    // The blade beside the line, on either side; stains make it slope a little.
                    let (left, right) = (dark[..12].iter().sum::<f64>() / 12.0, dark[89..].iter().sum::<f64>() / 12.0);
                    let blade = |s: f64| left + (right - left) * (s + 0.445) / 0.89;
                    let weight: Vec<f64> =
                        steps.iter().zip(&dark).map(|(s, d)| (blade(*s) - d - 12.0).max(0.0)).collect();
                    let mass: f64 = weight.iter().sum();
                    let centre = steps.iter().zip(&weight).map(|(s, w)| s * w).sum::<f64>() / mass;
                    let (seen, true_px) = (point(centre), point(0.0));
                    let off = (seen[0] - true_px[0]).hypot(seen[1] - true_px[1]) * centre.signum();
                    assert!(off.abs() < 0.1, "{view} {:?} at {depth}: {off} px", g.mm);
                    count += 1;
                    sum += off;
                }
            }
            assert!(count > 40);
            let mean: f64 = sum / f64::from(count);
            assert!(mean.abs() < 0.02, "{view}: all lines are {mean} px off");
        }
    }

    #[test]
    fn the_same_seed_gives_the_same_photo_on_any_number_of_threads() {
        let on = |threads: usize| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            pool.install(|| quick_scene(View::Solar, 3))
        };
        let (one, three) = (on(1), on(3));
        assert!(one.pixels == three.pixels);
        assert_eq!(one.truth, three.truth);
        assert_ne!(one.camera, quick_scene(View::Solar, 7).camera, "another seed, another pose");
    }

    #[test]
    fn the_hoof_is_where_its_landmarks_are() {
        // The light-footed horse: just inside the toe lies pale horn, just outside it the dark, blurred background.
        let photo = quick_scene(View::Solar, 1);
        let toe = Point3::from(photo.truth.landmarks["toe_outer"]);
        let sulcus = Point3::from(photo.truth.landmarks["central_sulcus"]);
        let forward = (toe - sulcus).normalize();
        let near = |mm: f64| level(&photo.pixels, photo.camera.project(&(toe + forward * mm)));
        assert!(near(-1.5) - near(1.5) > 50.0, "{} against {}", near(-1.5), near(1.5));
        assert!((near(2.5) - near(1.5)).abs() < 15.0, "the background is blurred; what is left is grain");
    }
}
