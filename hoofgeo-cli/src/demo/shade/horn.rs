//! The hoof wall: fibres, growth rings, pigment, mud, and what the rasp leaves.

use super::super::foot::Foot3d;
use super::super::light::{Finish, Rgb};
use super::super::noise::{fibres, fractal, mix, smooth, unit, value};
use super::super::raster::Hit;
use super::{Shader, rgb};
use nalgebra::Vector3;

impl Shader<'_> {
    pub(super) fn horn(&self, hit: &Hit, to_eye: &Vector3<f32>) -> Rgb {
        let [arc, below, v, above, _] = hit.attributes;
        let (seed, foot, coat) = (self.spec.grain, &self.spec.shape, &self.spec.coat);
        let mut n = hit.normal;
        // The grid runs so that normals point inward on one side of mirrored feet: outward is away from the foot's core.
        if n.dot(to_eye) < 0.0 {
            n = -n;
        }
        let down = self.foot_to_scene * Vector3::new(-0.68, -0.73, 0.0);
        let down = (down - n * n.dot(&down)).normalize();
        let side = n.cross(&down);

        let (ring_height, ring_slope) = rings(foot, v.abs(), below, arc, seed);
        let dressed = if self.trimmed() {
            smooth(0.95, 0.55, v.abs() + 0.1 * value(below * 0.2, arc * 0.1, seed)) * smooth(42.0, 26.0, above)
        } else {
            0.0
        };
        let fine = value(arc * 1.9, below * 0.045, seed + 1);
        let finer = value(arc * 4.6, below * 0.10, seed + 2);
        let broad = fibres(arc * 0.09, below * 0.025, 3, seed + 3);
        let patch = fractal(arc * 0.05, below * 0.06, 3, seed + 4);
        let smoothed = 1.0 - 0.85 * dressed;
        let relief = 0.10 * fine + 0.07 * finer + 0.10 * fibres(arc * 0.35, below * 0.04, 2, seed + 5);
        n = (n - down * (ring_slope * smoothed) + side * relief).normalize();

        let mut colour = rgb(coat.horn[1])
            .lerp(&rgb(coat.horn[0]), (0.58 + 0.55 * broad + 0.20 * fine + 0.13 * finer).clamp(0.0, 1.3));
        // Pigment stripes run down the tubules.
        if coat.stripes > 0.0 {
            let s = value(arc * 0.085, below * 0.004, seed + 6) + 0.35 * value(arc * 0.45, below * 0.008, seed + 7);
            let stripe = coat.stripes * smooth(0.28, 0.62, s) * (0.75 + 0.25 * fine);
            colour = colour.lerp(&Vector3::new(0.085, 0.068, 0.055), stripe);
            colour = colour.lerp(&Vector3::new(0.60, 0.46, 0.31), 0.35 * smooth(0.2, 0.6, -s));
        }
        // Rings: worn crests catch dust, hollows hold dirt.
        colour *= 1.0 + 0.30 * (ring_height - 0.35) * smoothed;
        // Young horn under the coronet is covered by a pale, flaking film.
        let film_edge = 9.0 + 5.0 * fractal(arc * 0.14, 3.0, 3, seed + 8);
        let film = smooth(film_edge + 4.0, film_edge - 4.0, below)
            * (0.55 + 0.35 * fractal(arc * 0.5, below * 0.5, 3, seed + 9));
        colour =
            colour.lerp(&(rgb(coat.horn[0]) * 1.15 + Vector3::new(0.10, 0.095, 0.085)), 0.55 * film.clamp(0.0, 1.0));
        // Lower down the horn is bleached and scuffed.
        let weather = smooth(45.0, 4.0, above);
        colour = colour.lerp(&(colour * 0.8 + Vector3::new(0.075, 0.066, 0.054)), weather * (0.45 + 0.4 * patch));
        let scuff = smooth(0.22, 0.55, fibres(arc * 0.40, below * 0.055, 4, seed + 10) + 0.3 * patch);
        colour = colour.lerp(&(colour * 1.1 + Vector3::new(0.028, 0.026, 0.023)), 0.7 * scuff);
        // Fine cracks rise from the ground.
        let line = value(arc * 0.42, below * 0.012, seed + 11).abs();
        let reach = 9.0 + 22.0 * unit((arc * 0.42).floor() as i32, 5, seed + 12).powi(3);
        let crack = smooth(0.035, 0.012, line) * smooth(reach, reach * 0.4, above) * (1.0 - dressed);
        colour *= 1.0 - 0.6 * crack;
        // Dried mud: a splashed band at the ground, specks above.
        let mud_line = 5.0 + 9.0 * (fractal(arc * 0.06, 1.0, 4, seed + 13) + 0.15);
        let mud_noise = fractal(arc * 0.25, below * 0.25, 4, seed + 14);
        let mut mud = smooth(mud_line + 3.0, mud_line - 4.0, above + 6.0 * mud_noise);
        mud = mud.max(smooth(0.50, 0.60, fractal(arc * 0.26, below * 0.30, 5, seed + 15) + 0.10 * weather) * 0.8);
        mud *= if self.trimmed() { 0.25 * smooth(4.0, 12.0, above) } else { 0.85 };
        let mud_colour = Vector3::new(0.20, 0.155, 0.105) * (1.0 + 0.35 * mud_noise);
        colour = colour.lerp(&mud_colour, mud);
        // Where the rasp went the horn is pale, matt and scratched across.
        if self.trimmed() {
            let edge = smooth(5.5, 2.5, above + 0.8 * fine).max(dressed);
            let marks = value(arc * 0.22 + below * 0.35, below * 2.6 + arc * 0.25, seed + 16);
            let fresh = rgb(coat.horn[0]) * 1.18 + Vector3::new(0.045, 0.04, 0.032);
            colour = colour.lerp(&(fresh * (1.0 + 0.16 * marks + 0.10 * finer)), 0.8 * edge);
            n = (n + down * (0.10 * marks * edge)).normalize();
        }
        let gloss = (0.70 - 0.35 * weather - 0.8 * mud - 0.55 * dressed + 0.25 * patch - 0.3 * film).clamp(0.06, 1.0);
        // Shadow of the hair above, and of the ground below.
        let open = mix(0.62, 1.0, smooth(-1.0, 9.0, below)) * mix(0.55, 1.0, smooth(0.0, 11.0, above));
        let lit = mix(0.72, 1.0, smooth(0.0, 6.0, below));
        let f = Finish { colour, gloss, sharp: mix(18.0, 42.0, gloss), lit, open, wrap: 0.08 };
        self.light.shade(&n, to_eye, &f)
    }
}

/// Height (0 to 1) and slope of the growth rings' relief.
fn rings(foot: &Foot3d, v: f32, below: f32, arc: f32, seed: u32) -> (f32, f32) {
    let spacing = foot.ring_spacing(f64::from(v)) as f32;
    let q = below / spacing - (foot.first_ring / foot.ring_spacing_toe) as f32;
    let (mut height, mut slope) = (0.0, 0.0);
    let nearest = q.round() as i32;
    for k in nearest - 1..=nearest + 1 {
        if k < 0 {
            continue;
        }
        let d = (q - Foot3d::ring(k as usize) as f32) / 0.26;
        let strength = 0.30 + 0.75 * unit(k, 1, seed + 90) + 0.30 * value(arc * 0.05, k as f32 * 7.0, seed + 91);
        let bell = strength * (-d * d).exp();
        height += bell;
        slope += -2.0 * d / 0.26 / spacing * bell;
    }
    (height, 0.75 * slope)
}
