//! Haired skin, and the bare skin of the heel bulbs.

use super::super::light::{Finish, Rgb};
use super::super::noise::{fractal, mix, smooth, value};
use super::super::raster::Hit;
use super::{Shader, bare_skin, rgb};
use nalgebra::Vector3;

impl Shader<'_> {
    pub(super) fn hair(&self, hit: &Hit, to_eye: &Vector3<f32>) -> Rgb {
        let [arc, s, shell, shade, bare] = hit.attributes;
        let (seed, coat) = (self.spec.grain, &self.spec.coat);
        let bend = bend(arc, s, seed);
        let clump = fractal(arc * 0.12 + 0.2 * bend, s * 0.05, 4, seed + 21);
        let strand = value((arc + bend) * 2.6, s * 0.13, seed + 22);
        let fine = value((arc + bend) * 6.0, s * 0.26, seed + 23);
        let t = (0.36 + 0.30 * clump + 0.20 * strand + 0.20 * fine + 0.03 * shell).clamp(0.0, 1.15);
        let mut colour = rgb(coat.hair[0]).lerp(&rgb(coat.hair[1]), t);
        let low = smooth(40.0, -5.0, s);
        let dust = if low > 0.0 { low * smooth(0.05, 0.6, fractal(arc * 0.07, s * 0.06, 3, seed + 24)) } else { 0.0 };
        colour = colour.lerp(&Vector3::new(0.21, 0.17, 0.125), 0.30 * dust);
        let (wrinkle, pore) = if bare > 0.0 {
            let p = self.foot_to_scene.transpose() * hit.point;
            (
                fractal(p.z * 0.16 + p.y * 0.10, p.x * 0.09 + p.y * 0.16, 5, seed + 30),
                value(p.x * 0.9 + p.z * 1.1, p.y * 1.3, seed + 31),
            )
        } else {
            (0.0, 0.0)
        };
        let skin = bare_skin(coat.skin, wrinkle) * (1.0 + 0.12 * pore);
        let bald = smooth(0.35, 0.75, bare + (0.30 * strand + 0.25 * wrinkle) * (1.0 - bare));
        colour = colour.lerp(&skin, bald);
        // Hair shines along a band square to it (Kajiya and Kay 1989).
        let lean = 0.22 * strand + 0.3 * value(arc * 0.3, s * 0.08, seed + 25);
        let grow = self.foot_to_scene * Vector3::new(-0.55, -0.83, 0.0);
        let side = hit.normal.cross(&grow);
        let tangent = (grow + side * lean + hit.normal * (0.18 * fine)).normalize();
        let (tl, tv) = (tangent.dot(&self.light.sun), tangent.dot(to_eye));
        let sine = |c: f32| (1.0 - c * c).max(0.0).sqrt();
        let shine = (sine(tl) * sine(tv) - tl * tv).max(0.0).powf(26.0);
        let depth = mix(mix(0.50, 1.06, (shell / 4.0).min(1.0)), 1.0, bald);
        let strands = side * ((0.5 * lean + 0.22 * strand) * (1.0 - bald));
        let n = (hit.normal + strands + Vector3::new(0.22 * pore, 0.3 * wrinkle, 0.2 * pore) * bald).normalize();
        let facing = smooth(-0.35, 0.5, hit.normal.dot(&self.light.sun));
        let f = Finish {
            colour: colour * depth,
            gloss: 0.0,
            sharp: 1.0,
            lit: shade,
            open: shade * mix(0.75, 1.0, (shell / 4.0).max(bald)),
            wrap: 0.35,
        };
        self.light.shade(&n, to_eye, &f)
            + self.light.sun_colour.component_mul(&(colour * 0.5 + Vector3::repeat(0.035)))
                * (0.55 * shine * facing * shade * (1.0 - bald))
    }
}

/// How far locks of hair lean to one side.
fn bend(arc: f32, s: f32, seed: u32) -> f32 {
    1.1 * value(arc * 0.07, s * 0.035, seed + 20) + 0.4 * value(arc * 0.45, s * 0.10, seed + 27)
}

/// Whether a strand of hair is there: the outer shells, and the ends over the horn, are ever thinner.
pub(super) fn is_there([arc, s, shell, _, bare]: [f32; 5], seed: u32) -> bool {
    if shell < 0.5 && s >= 0.0 {
        return true;
    }
    let needed = -0.75 + 0.30 * shell + 2.5 * bare;
    if s >= 0.0 && needed > 1.5 {
        return false;
    }
    let bend = bend(arc, s, seed);
    let strand = value((arc + bend) * 2.6, s * 0.13, seed + 22);
    if s < 0.0 {
        // Hanging ends: each lock has its own length.
        let lock = value((arc + bend) * 0.35, 7.0, seed + 26);
        let reach = 2.4 + 2.0 * lock + 1.8 * value((arc + bend) * 2.2, 3.0, seed + 28) - 0.3 * shell;
        return -s < reach && strand > -0.65;
    }
    // The finer noise is worth its price only where it can decide.
    if (strand - needed).abs() > 0.5 {
        return strand > needed;
    }
    strand + 0.5 * value((arc + bend) * 6.0, s * 0.26, seed + 23) > needed
}
