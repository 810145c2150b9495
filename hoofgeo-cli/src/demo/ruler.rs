//! Straight rules and squares, graduated in millimetres.

use super::noise::{fractal, mix, smooth, value};
use nalgebra::{Matrix3, Point3, Vector3};
use std::sync::LazyLock;

/// What a scale is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Finish {
    /// Brushed steel, engraved.
    Steel,
    /// White plastic, printed.
    Plastic,
}

/// A scale in its own frame: zero at the origin, X along the graduated edge, Y across the face; mm.
#[derive(Debug, Clone, PartialEq)]
pub struct Ruler {
    /// Steel or plastic.
    pub finish: Finish,
    /// Length of the graduations along X.
    pub length: f64,
    /// Length of the second arm's graduations along Y: a square, graduated from its outer corner.
    pub second_arm: Option<f64>,
    /// Width of the blade.
    pub width: f64,
    /// Stretch of the graduations along X that a hand covers, mm.
    pub covered: Option<[f64; 2]>,
    /// Turns the scale frame into the scene frame.
    pub rotation: Matrix3<f64>,
    /// The scale's zero in the scene frame.
    pub origin: Point3<f64>,
}

/// Half the width of a graduation line, mm.
const LINE: f32 = 0.12;
/// Blade beyond the first and the last graduation of a straight rule, mm.
const MARGIN: f64 = 5.0;

impl Ruler {
    /// A point of the scale frame in the scene frame.
    pub(crate) fn to_scene(&self, p: &Point3<f64>) -> Point3<f64> {
        self.origin + self.rotation * p.coords
    }

    /// The rectangles of the face: low and high corner of each.
    pub(crate) fn blades(&self) -> Vec<([f64; 2], [f64; 2])> {
        match self.second_arm {
            None => vec![([-MARGIN, 0.0], [self.length + MARGIN, self.width])],
            Some(second) => {
                vec![([0.0, 0.0], [self.length + MARGIN, self.width]), ([0.0, 0.0], [self.width, second + MARGIN])]
            }
        }
    }

    /// Every tenth graduation that can be seen, mm in the scale frame, where its line meets the graduated edge. A square
    /// begins with its corner and has no lines on the first 11 mm.
    pub fn numbered(&self) -> Vec<[f64; 2]> {
        let tens = |length: f64| (0..=(length / 10.0) as u32).map(|k| 10.0 * f64::from(k));
        let seen = |x: &f64| self.covered.is_none_or(|[from, to]| *x < from || *x > to);
        let mut out: Vec<_> = tens(self.length).filter(seen).map(|x| [x, 0.0]).collect();
        if let Some(second) = self.second_arm {
            out.extend(tens(second).skip(1).map(|y| [0.0, y]));
            out.retain(|p| p[0] + p[1] != 10.0);
        }
        out
    }

    /// How much of a pixel the face covers, and its colour there. (x, y) in the scale frame; `fx`, `fy` are the pixel's
    /// extent along X and Y in mm: lines are averaged over it, so that their centres of gravity stay exact.
    pub(crate) fn face(&self, x: f32, y: f32, fx: f32, fy: f32) -> (f32, Vector3<f32>, f32) {
        let mut cover = 0.0_f32;
        for (low, high) in self.blades() {
            cover = cover
                .max(overlap(x, fx, low[0] as f32, high[0] as f32) * overlap(y, fy, low[1] as f32, high[1] as f32));
        }
        if cover <= 0.0 {
            return (0.0, Vector3::zeros(), 0.0);
        }
        let width = self.width as f32;
        let mut ink = 0.0_f32;
        if y < width && x > -1.0 {
            ink = arm(x, y, fx, fy, self.length as f32, self.second_arm.map_or(0.0, |_| 12.0));
            let k = (x / 10.0).round();
            if k >= 0.0 && k <= self.length as f32 / 10.0 && (self.second_arm.is_none() || k > 1.0) {
                ink = ink.max(number(k as u32 * 10, x - 10.0 * k, y - 11.2, fx.max(fy)));
            }
        }
        if let (Some(second), true) = (self.second_arm, x < width) {
            ink = ink.max(arm(y, x, fy, fx, second as f32, 12.0));
            let k = (y / 10.0).round();
            if k > 1.0 && k <= second as f32 / 10.0 {
                ink = ink.max(number(k as u32 * 10, x - 13.4, y - 10.0 * k, fx.max(fy)));
            }
        }
        let (base, ink_strength, gloss) = match self.finish {
            Finish::Steel => {
                let (along, across) = if y < width { (x, y) } else { (y, x) };
                let brush = 0.05 * value(along * 0.25, across * 9.0, 3) + 0.04 * value(along * 0.9, across * 21.0, 4);
                let smear = 0.09 * fractal(x * 0.05, y * 0.09, 3, 5)
                    - 0.10 * smooth(0.35, 0.6, fractal(x * 0.21, y * 0.2, 3, 6));
                let spots = 0.14 * smooth(0.42, 0.62, fractal(x * 0.7, y * 0.7, 2, 11));
                let tone = (0.30 + brush + smear - spots).max(0.05);
                (Vector3::new(tone, tone * 0.985, tone * 0.95), 0.93, 1.0)
            }
            Finish::Plastic => {
                let dirt = smooth(0.15, 0.6, fractal(x * 0.12, y * 0.15, 4, 5));
                let scratch = 0.03 * value(x * 0.4 + y * 2.0, y * 6.0, 8);
                let tone = 0.57 + scratch;
                let clean = Vector3::new(tone, tone * 0.98, tone * 0.93);
                (clean.lerp(&Vector3::new(0.46, 0.40, 0.32), 0.55 * dirt), 0.95, 0.35)
            }
        };
        let worn = 1.0 - 0.25 * smooth(0.1, 0.6, fractal(x * 0.3 + 40.0, y * 0.3, 3, 12));
        let ink = ink * ink_strength * worn;
        (cover, base.lerp(&Vector3::new(0.022, 0.022, 0.024), ink), gloss * (1.0 - ink))
    }
}

/// How much of the stretch from `low` to `high` a pixel at `at` takes in, weighted by a triangle that reaches one pixel
/// (`extent`) either way: triangles a pixel apart add up to straight lines, so sampling moves no centre of gravity.
fn overlap(at: f32, extent: f32, low: f32, high: f32) -> f32 {
    let below = |edge: f32| {
        let s = ((edge - at) / extent).clamp(-1.0, 1.0);
        if s < 0.0 { 0.5 * (1.0 + s) * (1.0 + s) } else { 1.0 - 0.5 * (1.0 - s) * (1.0 - s) }
    };
    below(high) - below(low)
}

/// The graduation lines of one arm: `x` along it, `y` from its graduated edge, none before `from`.
fn arm(x: f32, y: f32, fx: f32, fy: f32, length: f32, from: f32) -> f32 {
    let k = x.round();
    if k < from || k > length || y > 10.0 {
        return 0.0;
    }
    let n = k as i32;
    let long = if n % 10 == 0 {
        7.6
    } else if n % 5 == 0 {
        5.6
    } else {
        3.6
    };
    overlap(x - k, fx, -LINE, LINE) * overlap(y, fy, -1.0, long)
}

/// A number, centred at the origin, 3.3 mm high.
fn number(n: u32, x: f32, y: f32, soft: f32) -> f32 {
    const HEIGHT: f32 = 3.3;
    const PITCH: f32 = 2.3;
    if y.abs() > 0.8 * HEIGHT || x.abs() > 2.0 * PITCH {
        return 0.0;
    }
    let text = n.to_string();
    let mut ink = 0.0_f32;
    for (i, c) in text.bytes().enumerate() {
        let at = (i as f32 - 0.5 * (text.len() - 1) as f32) * PITCH;
        let (gx, gy) = ((x - at) / HEIGHT, y / HEIGHT);
        if gx.abs() < 0.5 {
            let d = glyph_distance((c - b'0') as usize, gx, gy) * HEIGHT;
            ink = ink.max(((0.24 - d) / soft.max(0.05) + 0.5).clamp(0.0, 1.0));
        }
    }
    ink
}

const GRID: usize = 48;

/// Distance from the strokes of a digit, in digit heights, read from a small table.
fn glyph_distance(digit: usize, x: f32, y: f32) -> f32 {
    static TABLE: LazyLock<Vec<Vec<f32>>> = LazyLock::new(|| (0..10).map(bake).collect());
    let (gx, gy) = ((x / 1.6 + 0.5) * (GRID - 1) as f32, (y / 1.6 + 0.5) * (GRID - 1) as f32);
    let (gx, gy) = (gx.clamp(0.0, GRID as f32 - 1.01), gy.clamp(0.0, GRID as f32 - 1.01));
    let (c, r) = (gx as usize, gy as usize);
    let t = &TABLE[digit];
    let (tx, ty) = (gx - c as f32, gy - r as f32);
    mix(mix(t[r * GRID + c], t[r * GRID + c + 1], tx), mix(t[(r + 1) * GRID + c], t[(r + 1) * GRID + c + 1], tx), ty)
}

fn bake(digit: usize) -> Vec<f32> {
    let strokes = strokes(digit);
    (0..GRID * GRID)
        .map(|i| {
            let at = |k: usize| (k as f32 / (GRID - 1) as f32 - 0.5) * 1.6;
            let (x, y) = (at(i % GRID), at(i / GRID));
            strokes
                .iter()
                .flat_map(|s| s.windows(2))
                .map(|w| {
                    let ([ax, ay], [bx, by]) = (w[0], w[1]);
                    let (dx, dy) = (bx - ax, by - ay);
                    let t = (((x - ax) * dx + (y - ay) * dy) / (dx * dx + dy * dy).max(1e-9)).clamp(0.0, 1.0);
                    (x - ax - t * dx).hypot(y - ay - t * dy)
                })
                .fold(9.0, f32::min)
        })
        .collect()
}

/// The strokes of a digit, y up, in a box 0.52 wide and 1 high round the origin.
fn strokes(digit: usize) -> Vec<Vec<[f32; 2]>> {
    let arc = |cx: f32, cy: f32, rx: f32, ry: f32, from: f32, to: f32| -> Vec<[f32; 2]> {
        (0..=24)
            .map(|i| {
                let a = (from + (to - from) * i as f32 / 24.0).to_radians();
                [cx + rx * a.cos(), cy + ry * a.sin()]
            })
            .collect()
    };
    match digit {
        0 => vec![arc(0.0, 0.0, 0.26, 0.5, 0.0, 360.0)],
        1 => vec![vec![[-0.16, 0.32], [0.04, 0.5], [0.04, -0.5]]],
        2 => {
            let mut s = arc(0.0, 0.24, 0.26, 0.26, 165.0, -28.0);
            s.extend([[-0.27, -0.5], [0.27, -0.5]]);
            vec![s]
        }
        3 => vec![arc(-0.01, 0.25, 0.23, 0.25, 150.0, -90.0), arc(-0.01, -0.25, 0.27, 0.25, 90.0, -155.0)],
        4 => vec![vec![[0.28, -0.22], [-0.3, -0.22], [0.12, 0.5], [0.12, -0.5]]],
        5 => {
            let mut s = vec![[0.22, 0.5], [-0.19, 0.5], [-0.22, 0.06]];
            s.extend(arc(-0.01, -0.18, 0.27, 0.32, 132.0, -150.0));
            vec![s]
        }
        6 => vec![arc(0.0, -0.2, 0.26, 0.3, 0.0, 360.0), arc(0.16, -0.2, 0.42, 0.7, 180.0, 92.0)],
        7 => vec![vec![[-0.27, 0.5], [0.27, 0.5], [-0.08, -0.5]]],
        8 => vec![arc(0.0, 0.25, 0.22, 0.25, 0.0, 360.0), arc(0.0, -0.25, 0.27, 0.25, 0.0, 360.0)],
        _ => vec![arc(0.0, 0.2, 0.26, 0.3, 0.0, 360.0), arc(-0.16, 0.2, 0.42, 0.7, 0.0, -88.0)],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_keeps_its_centre_of_gravity_whatever_the_pixel() {
        // Sum of ink times position over pixels of any size and phase is the line's own centre.
        for (extent, phase) in [(0.15_f32, 0.03_f32), (0.23, 0.11), (0.4, 0.2)] {
            let (mut mass, mut moment) = (0.0, 0.0);
            for i in -6..=6 {
                let x = 50.0 + phase + extent * i as f32;
                if (x - 50.0).abs() < 0.52 {
                    let ink = arm(x, 2.0, extent, extent, 150.0, 0.0);
                    mass += ink;
                    moment += ink * (x - 50.0);
                }
            }
            assert!((mass * extent - 2.0 * LINE).abs() < 1e-4, "no ink is lost");
            assert!((moment / mass).abs() < 2e-4, "no ink is moved");
        }
    }
}
