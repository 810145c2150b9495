//! What lies behind, out of focus: a yard with a barn wall, or the ground under a lifted foot.

use super::camera::Camera;
use super::light::Rgb;
use super::noise::{fractal, mix, smooth, unit, value};
use hoofgeo::View;
use nalgebra::{Point3, Vector3};

const COARSE: usize = 4;

/// A blurred picture, a quarter of the photo's size each way.
#[derive(Debug)]
pub(crate) struct Backdrop {
    width: usize,
    height: usize,
    pixels: Vec<Rgb>,
}

impl Backdrop {
    pub(crate) fn new(camera: &Camera, view: View, seed: u32) -> Self {
        let (width, height) = (camera.width as usize / COARSE + 2, camera.height as usize / COARSE + 2);
        let eye = camera.place();
        let mut pixels: Vec<Rgb> = Vec::with_capacity(width * height);
        for r in 0..height {
            for c in 0..width {
                let out = camera.look_out([(c * COARSE) as f64 + 2.0, (r * COARSE) as f64 + 2.0]);
                pixels.push(match view {
                    View::Lateral => yard(&eye, &out, seed),
                    View::Solar => floor_below(&eye, &out, seed),
                });
            }
        }
        // Three box blurs are close to the round blur of a lens, and cheap.
        let radius = if view == View::Lateral { width / 62 } else { width / 70 };
        for _ in 0..3 {
            pixels = blur(&pixels, width, height, radius.max(1));
        }
        Self { width, height, pixels }
    }

    /// The colour at a pixel.
    pub(crate) fn at(&self, u: f32, v: f32) -> Rgb {
        let x = (u / COARSE as f32 - 0.5).clamp(0.0, self.width as f32 - 1.01);
        let y = (v / COARSE as f32 - 0.5).clamp(0.0, self.height as f32 - 1.01);
        let (c, r) = (x as usize, y as usize);
        let (tx, ty) = (x - c as f32, y - r as f32);
        let p = |dc: usize, dr: usize| self.pixels[(r + dr) * self.width + c + dc];
        p(0, 0).lerp(&p(1, 0), tx).lerp(&p(0, 1).lerp(&p(1, 1), tx), ty)
    }
}

/// Concrete in front of a boarded barn wall, straw swept against it.
fn yard(eye: &Point3<f64>, out: &Vector3<f64>, seed: u32) -> Rgb {
    const WALL: f64 = -2300.0;
    const FLOOR: f64 = -42.0;
    let to_floor = if out.y < 0.0 { (FLOOR - eye.y) / out.y } else { f64::MAX };
    let to_wall = (WALL - eye.z) / out.z;
    if to_floor < to_wall {
        let p = eye + out * to_floor;
        let (x, z) = (p.x as f32, p.z as f32);
        let stain = fractal(x * 0.004, z * 0.003, 4, seed + 200);
        let mut colour =
            Vector3::new(0.34, 0.325, 0.30) * (0.85 + 0.45 * stain + 0.18 * value(x * 0.05, z * 0.03, seed + 201));
        let straw =
            smooth(0.05, 0.35, value(x * 0.012, z * 0.01, seed + 202) + smooth(-1500.0, -2250.0, z) * 0.7 - 0.25);
        let blade = 0.75 + 0.5 * value(x * 0.08 + z * 0.03, z * 0.05, seed + 203);
        colour = colour.lerp(&(Vector3::new(0.56, 0.44, 0.22) * blade), 0.85 * straw);
        let shade = smooth(-2280.0, -1900.0, z);
        colour * mix(0.40, 1.0, shade)
    } else {
        let p = eye + out * to_wall;
        let (x, y) = (p.x as f32 + 4000.0, p.y as f32);
        let width = 132.0;
        let board = (x / width).floor();
        let tone = unit(board as i32, 2, seed + 204);
        let gap = smooth(9.0, 3.0, (x - board * width).min((board + 1.0) * width - x));
        let grain = value(x * 0.06, y * 0.004, seed + 205) + 0.5 * value(x * 0.2, y * 0.01, seed + 206);
        let mut colour = Vector3::new(0.215, 0.165, 0.125).lerp(&Vector3::new(0.25, 0.235, 0.215), tone);
        colour *= 0.9 + 0.22 * grain + 0.25 * (tone - 0.5);
        colour *= 1.0 - 0.75 * gap;
        colour *= mix(0.55, 1.0, smooth(-60.0, 90.0, y));
        // Light falls in from one side.
        colour * (0.8 + 0.5 * smooth(3400.0, 4500.0, x + 0.8 * y))
    }
}

/// Concrete with straw, half a metre behind the lifted foot, in the shade of the horse.
fn floor_below(eye: &Point3<f64>, out: &Vector3<f64>, seed: u32) -> Rgb {
    let p = eye + out * ((-420.0 - eye.z) / out.z);
    let (x, y) = (p.x as f32, p.y as f32);
    let stain = fractal(x * 0.008, y * 0.008, 4, seed + 210);
    let mut colour =
        Vector3::new(0.235, 0.222, 0.20) * (0.9 + 0.5 * stain + 0.2 * value(x * 0.06, y * 0.06, seed + 211));
    for k in 0..4 {
        let a = 0.7 * k as f32 + 0.3;
        let (s, c) = a.sin_cos();
        let (along, across) = (c * x + s * y, c * y - s * x);
        let blade = smooth(0.50, 0.62, value(along * 0.012, across * 0.16, seed + 212 + k))
            * smooth(-0.2, 0.3, value(x * 0.01, y * 0.01, seed + 220 + k));
        colour = colour.lerp(&Vector3::new(0.40, 0.335, 0.21), 0.6 * blade);
    }
    // The horse stands above: darker towards the leg.
    colour * mix(0.42, 1.0, smooth(-260.0, 160.0, y + 0.25 * x))
}

fn blur(pixels: &[Rgb], width: usize, height: usize, radius: usize) -> Vec<Rgb> {
    let pass = |from: &[Rgb], n: usize, lines: usize, stride: usize, step: usize| {
        let mut to = vec![Rgb::zeros(); from.len()];
        for l in 0..lines {
            let at = |i: isize| from[l * step + (i.clamp(0, n as isize - 1) as usize) * stride];
            let mut sum = Rgb::zeros();
            for i in -(radius as isize)..=radius as isize {
                sum += at(i);
            }
            for i in 0..n {
                to[l * step + i * stride] = sum / (2 * radius + 1) as f32;
                sum += at(i as isize + radius as isize + 1) - at(i as isize - radius as isize);
            }
        }
        to
    };
    let rows = pass(pixels, width, height, 1, width);
    pass(&rows, height, width, width, 1)
}
