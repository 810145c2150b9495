//! What stands around: plank, mat, wooden block, glove.

use super::super::light::{Finish, Rgb};
use super::super::noise::{cells, fractal, mix, smooth, value};
use super::super::raster::Hit;
use super::Shader;
use nalgebra::Vector3;

impl Shader<'_> {
    pub(super) fn board(&self, hit: &Hit, to_eye: &Vector3<f32>) -> Rgb {
        let p = hit.point;
        let on_top = smooth(0.4, 0.7, hit.normal.y);
        let across = mix(p.y * 1.4 + 200.0, p.z, on_top);
        let (lit, open) = if on_top > 0.5 { self.shadow.map_or((1.0, 1.0), |s| s.at(p.x, p.z)) } else { (1.0, 0.85) };
        let mut n = hit.normal;
        let (mut colour, gloss);
        if self.plank {
            let wave = 3.0 * value(p.x * 0.008, across * 0.03, 60) + 1.2 * value(p.x * 0.02, across * 0.07, 61);
            let ring = value(2.0, (across + 4.0 * wave) * 0.42, 62) * 0.6
                + 0.4 * value(p.x * 0.01, (across + 4.0 * wave) * 1.1, 63);
            let fibre = value(p.x * 0.09, across * 2.4, 64) * 0.6 + 0.4 * value(p.x * 0.2, across * 5.5, 65);
            let grey = fractal(p.x * 0.012, across * 0.05, 3, 66);
            colour = Vector3::new(0.255, 0.205, 0.150)
                .lerp(&Vector3::new(0.27, 0.25, 0.225), (0.5 + 0.8 * grey).clamp(0.0, 1.0));
            colour *= 0.95 + 0.30 * ring + 0.20 * fibre;
            let check = smooth(0.05, 0.01, value(p.x * 0.006, across * 0.23, 67).abs())
                * smooth(0.0, 0.4, value(p.x * 0.02, across * 0.1, 68));
            colour *= 1.0 - 0.65 * check;
            n = (n + Vector3::new(0.0, 0.0, 0.14 * fibre)).normalize();
            gloss = 0.05;
        } else {
            let speck = value(p.x * 1.7, across * 1.7, 70);
            let (near, _, id) = cells(p.x * 0.11, across * 0.11, 71);
            let dimple = smooth(0.42, 0.30, near);
            colour = Vector3::new(0.050, 0.049, 0.047) * (1.0 + 0.30 * speck + 0.10 * (id - 0.5));
            colour *= 1.0 - 0.25 * dimple * on_top + 0.20 * fractal(p.x * 0.25, across * 0.4, 3, 75);
            let dust = smooth(-0.1, 0.7, fractal(p.x * 0.03, across * 0.045, 5, 72) + 0.25 * speck * 0.5 + 0.08);
            colour = colour.lerp(&Vector3::new(0.20, 0.18, 0.15), 0.34 * dust);
            n = (n + Vector3::new(0.12 * speck, 0.0, 0.1 * value(p.x * 0.8, across * 0.8, 73))).normalize();
            gloss = 0.25 * (1.0 - dust);
        }
        let crumbs = smooth(0.42, 0.56, fractal(p.x * 0.22, across * 0.22, 4, 74)) * on_top;
        colour = colour.lerp(&Vector3::new(0.16, 0.125, 0.085), 0.7 * crumbs);
        // A used, rounded edge.
        let edge = smooth(3.0, 0.0, p.y.abs()) * smooth(3.0, 0.0, (96.0 - p.z).abs());
        n = (n + Vector3::new(0.0, 0.6, 0.5) * edge).normalize();
        colour *= 1.0 + 0.25 * edge;
        self.light.shade(&n, to_eye, &Finish { gloss, lit, open, ..Finish::matte(colour) })
    }

    /// A worn work glove: creases across the fingers, dust where it is handled.
    pub(super) fn glove(&self, hit: &Hit, to_eye: &Vector3<f32>) -> Rgb {
        let [round, along, ..] = hit.attributes;
        let crease = fractal(round * 0.6, along * 0.30, 4, 90);
        let grain = value(round * 9.0, along * 1.6, 91);
        let pore = value(round * 22.0, along * 3.4, 92);
        let worn = fractal(round * 0.8 + 5.0, along * 0.05, 3, 93);
        let mut colour = Vector3::new(0.040, 0.055, 0.075) * (0.92 + 0.30 * crease + 0.10 * grain + 0.10 * pore);
        colour = colour.lerp(&Vector3::new(0.115, 0.108, 0.095), smooth(0.0, 0.45, worn) * 0.75);
        let fold = smooth(0.06, 0.0, value(round * 0.5, along * 0.13, 94).abs());
        colour *= 1.0 - 0.35 * fold;
        let n = (hit.normal + Vector3::new(0.28 * crease, 0.38 * crease + 0.12 * grain, 0.0)).normalize();
        self.light.shade(&n, to_eye, &Finish { gloss: 0.22, sharp: 14.0, open: 0.9, ..Finish::matte(colour) })
    }

    pub(super) fn prop(&self, hit: &Hit, to_eye: &Vector3<f32>) -> Rgb {
        let p = hit.point;
        let grain = value(p.x * 0.5 + 0.4 * value(p.x * 0.1, p.y * 0.05, 80), p.y * 0.03, 81);
        let fibre = value(p.x * 3.1, p.y * 0.15 + p.z * 0.1, 82);
        let colour = Vector3::new(0.46, 0.33, 0.20) * (0.9 + 0.16 * grain + 0.10 * fibre);
        let open = mix(0.5, 1.0, smooth(0.0, 14.0, p.y));
        self.light.shade(&hit.normal, to_eye, &Finish { open, gloss: 0.06, ..Finish::matte(colour) })
    }
}
