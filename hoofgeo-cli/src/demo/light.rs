//! Light: one soft sun, the sky, and what the ground throws back.

use super::noise::{mix, smooth};
use nalgebra::Vector3;

pub(crate) type Rgb = Vector3<f32>;

/// The light of a scene, in the scene frame.
#[derive(Debug, Clone)]
pub(crate) struct Light {
    /// Towards the sun.
    pub(crate) sun: Vector3<f32>,
    /// Away from the ground.
    pub(crate) up: Vector3<f32>,
    pub(crate) sun_colour: Rgb,
    pub(crate) sky_colour: Rgb,
    pub(crate) ground_colour: Rgb,
}

/// How a surface takes light.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Finish {
    pub(crate) colour: Rgb,
    /// Strength of the mirror-like part, 0 to 1.
    pub(crate) gloss: f32,
    /// Sharpness of highlights (Blinn-Phong exponent).
    pub(crate) sharp: f32,
    /// Share of the sun that arrives.
    pub(crate) lit: f32,
    /// Share of the sky that is seen.
    pub(crate) open: f32,
    /// How far light wraps round edges (skin, wax).
    pub(crate) wrap: f32,
}

impl Finish {
    pub(crate) fn matte(colour: Rgb) -> Self {
        Self { colour, gloss: 0.0, sharp: 12.0, lit: 1.0, open: 1.0, wrap: 0.1 }
    }
}

impl Light {
    /// What the surroundings look like along a mirrored ray.
    fn surroundings(&self, dir: &Vector3<f32>) -> Rgb {
        let h = dir.dot(&self.up);
        self.ground_colour.lerp(&(self.sky_colour * 1.25), smooth(-0.15, 0.55, h))
    }

    /// Light that leaves a surface with normal `n` towards `to_eye`.
    pub(crate) fn shade(&self, n: &Vector3<f32>, to_eye: &Vector3<f32>, f: &Finish) -> Rgb {
        let facing = (n.dot(&self.sun) + f.wrap) / (1.0 + f.wrap);
        let sky = 0.5 + 0.5 * n.dot(&self.up);
        let ambient = self.ground_colour.lerp(&self.sky_colour, sky) * f.open;
        let diffuse = self.sun_colour * (facing.max(0.0) * f.lit) + ambient;
        let mut out = f.colour.component_mul(&diffuse);
        if f.gloss > 0.0 {
            let half = (self.sun + to_eye).normalize();
            let edge = (1.0 - n.dot(to_eye).max(0.0)).powi(5);
            let fresnel = mix(0.045, 0.6, edge) * f.gloss;
            let spot = (n.dot(&half).max(0.0)).powf(f.sharp) * (f.sharp + 8.0) * 0.04;
            let mirrored = n * (2.0 * n.dot(to_eye)) - to_eye;
            out += self.sun_colour * (spot * fresnel * f.lit * facing.clamp(0.0, 1.0))
                + self.surroundings(&mirrored) * (fresnel * f.open * 1.2);
        }
        out
    }
}

/// Scene light to sRGB levels: a gentle film curve, then the sRGB transfer function (IEC 61966-2-1).
pub(crate) fn develop(linear: f32) -> f32 {
    let x = linear.max(0.0);
    // A slight toe, and a shoulder that reaches white at about two and a half times a white card.
    let toe = x * (x + 0.018) / (x + 0.034);
    let c = (toe * (1.0 + 0.13 * toe) / (0.97 + 0.62 * toe)).min(1.0);
    if c <= 0.003_130_8 { 12.92 * c } else { 1.055 * c.powf(1.0 / 2.4) - 0.055 }
}
