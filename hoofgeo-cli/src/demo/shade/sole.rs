//! The underside: wall, white line, sole, bars, frog and packed dirt.

use super::super::light::{Finish, Rgb};
use super::super::noise::{cells, fractal, mix, smooth, unit, value};
use super::super::raster::Hit;
use super::super::underside::layer;
use super::{Shader, bare_skin, rgb};
use nalgebra::Vector3;

impl Shader<'_> {
    pub(super) fn sole(&self, hit: &Hit, to_eye: &Vector3<f32>) -> Rgb {
        let Some(under) = self.underside else { return Rgb::zeros() };
        let [x, z, open, lit, _] = hit.attributes;
        let (seed, foot, coat) = (self.spec.grain, &self.spec.shape, &self.spec.coat);
        let at = under.place(f64::from(x), f64::from(z));
        let (wall, white) = foot.wall_at(f64::from(at.v.abs()));
        let (wall, white) = (wall as f32, white as f32);
        let clean = if self.trimmed() { 1.0 } else { 0.0 };
        // The wall's and the white line's fine structure runs square to the outline: `arc` counts along it.
        let arc = at.v * 75.0;
        let mut n = hit.normal;
        let jitter = 0.18 * value(arc * 0.35, 3.0, seed + 40);
        let broad = fractal(x * 0.035, z * 0.035, 3, seed + 41);

        // Wall: dark outer horn, pale inner horn, ends of tubules as fine stipple, rasp marks after the trim.
        let stipple = value(x * 3.2, z * 3.2, seed + 42);
        let rasp = value(x * 0.16 + z * 0.10, (z - 0.35 * x) * 1.5, seed + 43) * mix(0.25, 1.0, clean);
        let share = at.inside / wall;
        let pigment = smooth(0.80, 0.45, share + 0.07 * value(arc * 0.25, share * 2.0, seed + 44));
        let mut wall_colour = rgb(coat.inner_wall).lerp(&(rgb(coat.horn[0]) * 1.35), pigment);
        if coat.stripes > 0.0 {
            let s = value(at.v * 6.5, 0.3 * share, seed + 6)
                + 0.35 * value(at.v * 30.0, 0.0, seed + 7)
                + 0.35 * value(arc * 0.3, share * 2.5, seed + 59);
            wall_colour = wall_colour.lerp(&Vector3::new(0.12, 0.10, 0.085), 0.8 * pigment * smooth(0.30, 0.6, s));
        }
        wall_colour *= 1.0 + 0.10 * stipple + 0.10 * rasp + 0.18 * broad;
        let lamella = value(arc * 1.5, at.inside * 0.12, seed + 45);
        // White line: waxy, yellowish, striped by the lamellae.
        let wax = Vector3::new(0.60, 0.47, 0.255) * mix(0.74, 1.0, clean) * (1.0 + 0.20 * lamella + 0.15 * broad);
        let pit = smooth(0.45, 0.60, fractal(arc * 0.22, at.inside * 0.22, 3, seed + 46)) * mix(0.9, 0.45, clean);
        let wax = wax.lerp(&Vector3::new(0.09, 0.072, 0.055), pit);
        // Sole: layered, chalky flakes before, pared and waxy after.
        let (wx, wz) = (fractal(x * 0.13, z * 0.13, 3, seed + 56), fractal(x * 0.13, z * 0.13, 3, seed + 57));
        let (near, next, id) = cells(x * 0.10 + 1.1 * wx + 0.5 * broad, z * 0.085 + 1.1 * wz, seed + 47);
        let crack = smooth(0.10, 0.0, next - near)
            * smooth(-0.15, 0.35, fractal(x * 0.09, z * 0.09, 2, seed + 58))
            * mix(0.26, 0.05, clean);
        let grain = fractal(x * 0.45, z * 0.45, 5, seed + 48);
        // Strokes of the knife leave facets.
        let (facet_a, facet_b, facet) = cells(x * 0.055 + 0.5 * wx * 0.4 + z * 0.03, z * 0.11 - x * 0.03, seed + 60);
        let facet_edge = smooth(0.05, 0.0, facet_b - facet_a) * clean;
        let stain = fractal(x * 0.07, z * 0.07, 4, seed + 49);
        let mut sole =
            rgb(coat.sole) * (0.92 + mix(0.22, 0.08, clean) * (id - 0.5) + 0.34 * grain + 0.2 * stipple * 0.5);
        sole = sole.lerp(&Vector3::new(0.25, 0.225, 0.185), smooth(0.05, 0.45, stain) * mix(0.55, 0.3, clean));
        sole = sole.lerp(&(rgb(coat.sole) * 1.28), smooth(0.1, 0.5, -stain) * 0.45);
        sole *= (1.0 - crack) * (1.0 + 0.14 * (facet - 0.5) * clean) * (1.0 + 0.10 * facet_edge);
        let layer = layer(x, z, seed);
        sole *= 1.0 + (0.30 * (layer.0 - 0.5) - 0.28 * layer.1) * mix(1.0, 0.25, clean);
        sole = sole.lerp(&(sole * 0.72), smooth(26.0, 6.0, -at.in_frog + 14.0) * 0.5);
        // Packed dirt lies deep, and over everything before the trim.
        let dirt_noise = fractal(x * 0.16, z * 0.16, 5, seed + 50);
        let soil = Vector3::new(0.105, 0.082, 0.058) * (1.0 + 0.5 * fractal(x * 0.8, z * 0.8, 3, seed + 51));

        let to_white = smooth(-0.22, 0.22, at.inside - wall - jitter);
        let to_sole = smooth(-0.25, 0.25, at.inside - wall - white + jitter);
        let seam = (-((at.inside - wall - white) / 0.35).powi(2)).exp();
        let mut colour = wall_colour.lerp(&wax, to_white).lerp(&sole, to_sole);
        colour *= 1.0 - 0.35 * seam * mix(1.0, 0.6, clean);
        let bar = smooth(0.35, 0.8, at.bar) * to_sole * smooth(0.0, -2.0, at.in_frog);
        let bar_horn =
            rgb(coat.inner_wall).lerp(&(rgb(coat.horn[0]) * 1.4), 0.45 + 0.3 * broad) * (1.0 + 0.15 * stipple);
        colour = colour.lerp(&(bar_horn * (0.82 + 0.25 * grain)), 0.62 * bar);
        let mut gloss = 0.12 + 0.22 * to_white * (1.0 - to_sole) + 0.10 * clean;

        // Frog: rubber with creases; ragged before, pared after.
        let frog_share = smooth(-0.5, 0.5, at.in_frog);
        let crease = fractal(x * 0.10, z * 0.32, 4, seed + 52);
        let fissure = smooth(0.05, 0.0, value(x * 0.055 + 0.25 * crease, z * 0.16, seed + 61).abs())
            * smooth(-0.1, 0.4, fractal(x * 0.05, z * 0.05, 2, seed + 62));
        let scuff = fractal(x * 0.7, z * 0.35, 4, seed + 63);
        let frog = rgb(coat.frog)
            * mix(0.92, 1.2, clean)
            * (1.0 + 0.55 * crease + 0.30 * scuff + 0.16 * stipple)
            * (1.0 - 0.6 * fissure);
        let pared = smooth(0.0, 0.5, fractal(x * 0.05, z * 0.05, 2, seed + 53) + 0.2) * clean;
        let frog = frog.lerp(&(rgb(coat.frog) * 1.9 + Vector3::new(0.05, 0.045, 0.035)), 0.6 * pared);
        colour = colour.lerp(&frog, frog_share);
        gloss = mix(gloss, 0.22, frog_share);
        let skin = smooth(-5.0, 3.0, x - foot.support_length as f32 + 2.5 * crease)
            * (1.0 - frog_share)
            * smooth(1.5, -2.5, at.inside);
        let wrinkle = fractal(z * 0.16, x * 0.12, 5, seed + 30);
        colour = colour.lerp(&bare_skin(coat.skin, wrinkle), skin);

        let deep = smooth(0.80, 0.45, open);
        let film = (smooth(0.05, 0.55, dirt_noise + 0.45 * deep) * mix(0.9, 0.30, clean))
            .max(0.85 * deep * mix(1.0, 0.8, clean));
        let on_wall = 1.0 - to_sole;
        let film = film * mix(1.0, mix(0.55, 0.10, clean), on_wall);
        colour = colour.lerp(&soil, film);
        gloss *= 1.0 - 0.8 * film;

        // The bevel across the toe, and the wall's rounded outer edge.
        let bevel =
            smooth(foot.breakover_at as f32 + 0.8, foot.breakover_at as f32 - 0.8, x) * smooth(1.0, 0.55, at.v.abs());
        let toe_out = self.foot_to_scene * Vector3::new(-1.0, 0.0, 0.0);
        n = (n + toe_out * (0.42 * bevel)).normalize();
        let round = smooth(1.3, 0.0, at.inside) * smooth(0.0, -5.0, x - foot.support_length as f32);
        let middle = self.foot_to_scene * Vector3::new(x - foot.widest_at as f32, 0.0, z).normalize();
        n = (n + middle * (0.7 * round)).normalize();
        let rough = 0.22 * (1.0 - frog_share) * to_sole * mix(1.0, 0.5, clean) + 0.06;
        let bump = Vector3::new(
            rough * fractal(x * 0.6 + 9.0, z * 0.6, 3, seed + 54),
            rough * fractal(x * 0.6, z * 0.6 + 31.0, 3, seed + 55),
            0.0,
        ) + Vector3::new(0.06 * rasp, 0.05 * rasp, 0.0) * (1.0 - to_sole);
        n = (n + bump * 1.6).normalize();
        let tilt =
            Vector3::new(unit((facet * 997.0) as i32, 1, seed) - 0.5, unit((facet * 997.0) as i32, 2, seed) - 0.5, 0.0);
        n = (n + tilt * (0.28 * clean * to_sole)).normalize();
        n = (n + Vector3::new(0.45 * crease, 0.35 * scuff, 0.0) * (frog_share * mix(0.8, 0.4, clean))).normalize();
        let dark = smooth(0.0, 0.95, open);
        let f =
            Finish { colour, gloss, sharp: 22.0, lit: lit * mix(0.4, 1.0, dark), open: 0.12 + 0.88 * dark, wrap: 0.15 };
        self.light.shade(&n, to_eye, &f)
    }
}
