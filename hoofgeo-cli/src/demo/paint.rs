//! From a scene to pixels.

use super::backdrop::Backdrop;
use super::horses::{FootSpec, Shot};
use super::light::{Finish, Rgb, develop};
use super::noise::hash;
use super::raster::{BAND, NOTHING, Stage};
use super::scene::Scene;
use super::shade::Shader;
use super::shadow::Shadow;
use hoofgeo::View;
use image::RgbImage;
use nalgebra::{Point3, Vector3};
use rayon::prelude::*;

/// Paints the upright photo. Every pixel depends on the scene and the seed alone, not on the number of threads.
pub(crate) fn paint(scene: &Scene, spec: &FootSpec, shot: &Shot, seed: u64) -> RgbImage {
    let camera = &scene.camera;
    let (width, height) = (camera.width as usize, camera.height as usize);
    let backdrop = Backdrop::new(camera, shot.view, seed as u32);
    let stage = Stage::new(&scene.meshes, camera);
    let ruler = RulerView::new(scene);
    let shadow =
        (shot.view == View::Lateral).then(|| Shadow::new(scene.meshes.iter(), &scene.light.sun, &ruler.quads(scene)));
    let shader = Shader {
        spec,
        light: &scene.light,
        eye: camera.place().coords.cast(),
        foot_to_scene: scene.foot_to_scene.cast(),
        underside: scene.underside.as_ref(),
        shadow: shadow.as_ref(),
        plank: shot.plank,
    };
    let mut linear = vec![Rgb::zeros(); width * height];
    linear.par_chunks_mut(width * BAND).enumerate().for_each(|(band, rows)| {
        let samples = stage.samples(band, |m, a| shader.keeps(m, a));
        for (i, pixel) in rows.iter_mut().enumerate() {
            let (c, r) = (i % width, i / width);
            let (u, v) = (c as f32 + 0.5, (band * BAND + r) as f32 + 0.5);
            let ruler_at = ruler.at(scene, f64::from(u), f64::from(v));
            let cover = |depth: f32| ruler_at.as_ref().filter(|s| s.depth > depth).map_or(0.0, |s| s.cover);
            let ids: [usize; 4] = std::array::from_fn(|k| (2 * r + k / 2) * 2 * width + 2 * c + k % 2);
            // Samples of one surface are shaded once, with the weight of all of them that the ruler leaves open.
            let mut done = [false; 4];
            let mut colour = Rgb::zeros();
            let mut open = 0.0;
            for k in 0..4 {
                if done[k] {
                    continue;
                }
                let (m, t) = (samples.mesh[ids[k]], samples.triangle[ids[k]]);
                let mut weight = 0.0;
                for j in k..4 {
                    let same = (samples.triangle[ids[j]] == NOTHING) == (t == NOTHING) && samples.mesh[ids[j]] == m;
                    if same && !done[j] {
                        done[j] = true;
                        weight += 0.25 * (1.0 - cover(samples.depth[ids[j]]));
                    }
                }
                if weight <= 0.0 {
                    continue;
                }
                open += weight;
                colour += weight
                    * if t == NOTHING {
                        backdrop.at(u, v)
                    } else {
                        let (dx, dy) = ((k % 2) as f32 + 0.5, (k / 2) as f32 + 0.5);
                        shader.colour(&stage.hit(m, t, 2.0 * (u - 0.5) + dx, 2.0 * (v - 0.5) + dy))
                    };
            }
            *pixel = colour + ruler_at.map_or_else(Rgb::zeros, |s| s.colour * (1.0 - open));
        }
    });
    expose(&linear, width, height, shot.noise, seed as u32)
}

/// The ruler as the camera sees it, worked out per pixel so that its lines are exact.
struct RulerView {
    normal: Vector3<f64>,
    box_px: [f64; 4],
}

struct RulerPixel {
    cover: f32,
    colour: Rgb,
    depth: f32,
}

impl RulerView {
    fn new(scene: &Scene) -> Self {
        let mut box_px = [f64::MAX, f64::MAX, f64::MIN, f64::MIN];
        for (low, high) in scene.ruler.blades() {
            for corner in [[low[0], low[1]], [high[0], low[1]], [low[0], high[1]], [high[0], high[1]]] {
                let p = scene.camera.project(&scene.ruler.to_scene(&Point3::new(corner[0], corner[1], 0.0)));
                box_px = [box_px[0].min(p[0]), box_px[1].min(p[1]), box_px[2].max(p[0]), box_px[3].max(p[1])];
            }
        }
        // Straight edges bulge by a pixel or two through the lens.
        Self {
            normal: scene.ruler.rotation.column(2).into(),
            box_px: [box_px[0] - 6.0, box_px[1] - 6.0, box_px[2] + 6.0, box_px[3] + 6.0],
        }
    }

    /// The blades in the scene frame, for their shadow.
    fn quads(&self, scene: &Scene) -> Vec<[Vector3<f32>; 4]> {
        let at = |x: f64, y: f64| scene.ruler.to_scene(&Point3::new(x, y, 0.0)).coords.cast();
        scene
            .ruler
            .blades()
            .into_iter()
            .map(|(l, h)| [at(l[0], l[1]), at(h[0], l[1]), at(h[0], h[1]), at(l[0], h[1])])
            .collect()
    }

    /// The point of the scale frame that a pixel coordinate looks at, and its distance along the ray.
    fn meet(&self, scene: &Scene, u: f64, v: f64) -> ([f64; 2], f64, Vector3<f64>) {
        let out = scene.camera.look_out([u, v]);
        let eye = scene.camera.place();
        let t = (scene.ruler.origin - eye).dot(&self.normal) / out.dot(&self.normal);
        let p = scene.ruler.rotation.transpose() * (eye + out * t - scene.ruler.origin);
        ([p.x, p.y], t, out)
    }

    fn at(&self, scene: &Scene, u: f64, v: f64) -> Option<RulerPixel> {
        if u < self.box_px[0] || u > self.box_px[2] || v < self.box_px[1] || v > self.box_px[3] {
            return None;
        }
        let (p, t, out) = self.meet(scene, u, v);
        if !scene
            .ruler
            .blades()
            .iter()
            .any(|(l, h)| p[0] > l[0] - 1.0 && p[0] < h[0] + 1.0 && p[1] > l[1] - 1.0 && p[1] < h[1] + 1.0)
        {
            return None;
        }
        let (right, _, _) = self.meet(scene, u + 0.5, v);
        let (low, _, _) = self.meet(scene, u, v + 0.5);
        let extent = |k: usize| 2.0 * ((right[k] - p[k]).abs() + (low[k] - p[k]).abs());
        let (cover, colour, gloss) = scene.ruler.face(p[0] as f32, p[1] as f32, extent(0) as f32, extent(1) as f32);
        if cover <= 0.0 {
            return None;
        }
        let to_eye = (-out).normalize().cast::<f32>();
        // A blade is never quite flat: it mirrors the sky in soft bands.
        let bow = 0.10 * ((p[1] as f32) / 26.0 - 0.5) + 0.04 * (p[0] as f32 * 0.021).sin();
        let across: Vector3<f32> = scene.ruler.rotation.column(1).into_owned().cast();
        let n = (self.normal.cast::<f32>() + across * bow).normalize();
        let f = Finish { gloss: 0.8 * gloss, sharp: 20.0, ..Finish::matte(colour) };
        let mut lit = scene.light.shade(&n, &to_eye, &f);
        if gloss > 0.6 {
            let sheen = 0.5 + 0.5 * ((p[0] as f32) * 0.024 + (p[1] as f32) * 0.05 + 0.6).sin();
            lit += scene.light.sky_colour * (0.16 * gloss * sheen);
        }
        Some(RulerPixel { cover, colour: lit, depth: (1.0 / t) as f32 })
    }
}

/// Exposure of the whole photo.
const EXPOSURE: f32 = 1.16;

/// Lens softness, vignetting, film curve and sensor noise.
fn expose(linear: &[Rgb], width: usize, height: usize, noise: bool, seed: u32) -> RgbImage {
    // A symmetric kernel of 0.55 px: it softens edges and leaves them where they are.
    const KERNEL: [f32; 3] = [0.03, 0.22, 0.50];
    let mut soft = vec![Rgb::zeros(); linear.len()];
    soft.par_chunks_mut(width).enumerate().for_each(|(r, row)| {
        let line = &linear[r * width..(r + 1) * width];
        let at = |c: isize| line[c.clamp(0, width as isize - 1) as usize];
        for (c, out) in row.iter_mut().enumerate() {
            let c = c as isize;
            *out = (at(c - 2) + at(c + 2)) * KERNEL[0] + (at(c - 1) + at(c + 1)) * KERNEL[1] + at(c) * KERNEL[2];
        }
    });
    let curve: Vec<f32> = (0..4096).map(|i| 255.0 * develop(i as f32 / 1024.0)).collect();
    let mut bytes = vec![0_u8; 3 * width * height];
    bytes.par_chunks_mut(3 * width).enumerate().for_each(|(r, row)| {
        let line = |k: isize| {
            let r = (r as isize + k).clamp(0, height as isize - 1) as usize;
            &soft[r * width..(r + 1) * width]
        };
        let lines = [line(-2), line(-1), line(0), line(1), line(2)];
        let dy = (r as f32 + 0.5) / height as f32 - 0.5;
        for c in 0..width {
            let colour = (lines[0][c] + lines[4][c]) * KERNEL[0]
                + (lines[1][c] + lines[3][c]) * KERNEL[1]
                + lines[2][c] * KERNEL[2];
            let dx = (c as f32 + 0.5) / width as f32 - 0.5;
            let dim = 1.0 - 0.42 * (dx * dx + dy * dy);
            let h = hash(c as i32, r as i32, seed);
            let grain = |k: u32| {
                // The sum of two uniform bytes: triangular, near enough to a sensor's bell.
                let b = h.rotate_left(8 * k);
                ((b & 0xff) + ((b >> 11) & 0xff)) as f32 / 255.0 - 1.0
            };
            let luma = grain(0);
            for k in 0..3 {
                let level = (EXPOSURE * colour[k] * dim * 1024.0).clamp(0.0, 4094.0);
                let (i, t) = (level as usize, level.fract());
                let value = curve[i] + (curve[i + 1] - curve[i]) * t;
                let n = if noise { 4.2 * luma + 2.6 * grain(k as u32 + 1) } else { 0.0 };
                row[3 * c + k] = (value + n * (1.0 - value / 420.0) + 0.5) as u8;
            }
        }
    });
    RgbImage::from_raw(width as u32, height as u32, bytes).unwrap_or_default()
}
