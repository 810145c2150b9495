//! The underside of the foot: which horn is where, and how deep it lies.

use super::foot::{Foot3d, Half};
use super::mesh::{Material, Mesh};
use super::noise::{fractal, mix, smooth};
use nalgebra::{Point2, Point3, Vector3};

/// What there is at a place of the underside; distances mm.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Place {
    /// Depth inside the wall's outer edge; negative outside.
    pub(crate) inside: f32,
    /// Nearest v of the outline, with the sign of the half.
    pub(crate) v: f32,
    /// Depth inside the frog's edge; negative outside.
    pub(crate) in_frog: f32,
    /// Nearness to the middle of a bar: 1 on it, 0 away from it.
    pub(crate) bar: f32,
}

const STEP: f64 = 0.6;

/// Distances to every outline, on a grid that is read by linear interpolation.
#[derive(Debug)]
pub(crate) struct Underside {
    foot: Foot3d,
    low: Point2<f64>,
    columns: usize,
    rows: usize,
    places: Vec<Place>,
    seed: u32,
    /// How rough the sole is: 1 with all its old layers, less once pared.
    rough: f32,
}

impl Underside {
    pub(crate) fn new(foot: &Foot3d, seed: u32, rough: f32) -> Self {
        let low = Point2::new(-4.0, -foot.half_width_medial - 4.0);
        let high = Point2::new(foot.support_length + 30.0, foot.half_width_lateral + 4.0);
        let columns = ((high.x - low.x) / STEP) as usize + 1;
        let rows = ((high.y - low.y) / STEP) as usize + 1;
        let outlines = Outlines::new(foot);
        let places = (0..rows * columns)
            .map(|i| outlines.place(low.x + STEP * (i % columns) as f64, low.y + STEP * (i / columns) as f64))
            .collect();
        Self { foot: foot.clone(), low, columns, rows, places, seed, rough }
    }

    /// What there is at (x, z) of the foot frame.
    pub(crate) fn place(&self, x: f64, z: f64) -> Place {
        let gx = ((x - self.low.x) / STEP).clamp(0.0, (self.columns - 1) as f64 - 1e-3);
        let gz = ((z - self.low.y) / STEP).clamp(0.0, (self.rows - 1) as f64 - 1e-3);
        let (c, r) = (gx as usize, gz as usize);
        let (tx, tz) = ((gx - c as f64) as f32, (gz - r as f64) as f32);
        let p = |dc: usize, dr: usize| self.places[(r + dr) * self.columns + c + dc];
        let (a, b, d, e) = (p(0, 0), p(1, 0), p(0, 1), p(1, 1));
        // Where the nearest v jumps from one half to the other there is nothing to mix.
        let v = if (a.v - e.v).abs() + (b.v - d.v).abs() < 0.3 {
            mix(mix(a.v, b.v, tx), mix(d.v, e.v, tx), tz)
        } else {
            a.v
        };
        let two = |f: fn(&Place) -> f32| mix(mix(f(&a), f(&b), tx), mix(f(&d), f(&e), tx), tz);
        Place { inside: two(|p| p.inside), v, in_frog: two(|p| p.in_frog), bar: two(|p| p.bar) }
    }

    /// How far the surface lies above the ground (recessed, seen from below) at (x, z), mm.
    pub(crate) fn recess(&self, x: f64, z: f64) -> f64 {
        let foot = &self.foot;
        let at = self.place(x, z);
        let (wall, white) = foot.wall_at(f64::from(at.v.abs()));
        let (wall, edge) = (wall as f32, (wall + white) as f32);
        let (fx, fz) = (x as f32, z as f32);
        let along = ((x - foot.apex_at) / foot.frog_length) as f32;
        // The sole's vault, deepest beside the frog, with flakes of old horn.
        let sole = (at.inside - edge).max(0.0);
        let flake = self.rough * 0.8 * (layer(fx, fz, self.seed).0 - 0.5)
            + self.rough * 0.4 * fractal(fx * 0.11, fz * 0.11, 3, self.seed)
            + 0.25 * fractal(fx * 0.5, fz * 0.5, 2, self.seed + 9);
        let mut y = 0.35 * smooth(wall - 0.3, wall + 0.4, at.inside);
        y += (0.4 + foot.sole_depth as f32 * (1.0 - (-sole / 15.0).exp()) + flake * smooth(0.0, 6.0, sole))
            * smooth(0.0, 1.2, sole);
        // Grooves beside the frog.
        let outside = -at.in_frog;
        let groove = 6.5 * smooth(-0.1, 0.75, along) + 1.0;
        y += groove * (-((outside - 2.5) / 3.6).powi(2)).exp() * smooth(-0.12, 0.06, along) * smooth(1.25, 0.9, along);
        // Bars.
        y = mix(y, mix(1.0, y - 2.0, smooth(0.9, 0.25, along)).max(0.6), at.bar * smooth(0.2, 0.5, along));
        // The frog: a rubbery wedge with a cleft in its rear half.
        if at.in_frog > -1.5 {
            let bulge = 1.0 - (-(at.in_frog.max(0.0)) / 3.2).exp();
            let crown = mix(foot.sole_depth as f32 * 0.86, 1.2, smooth(0.0, 0.85, along));
            let cleft = 9.0 * (-(fz / 2.6).powi(2)).exp() * smooth(0.38, 0.72, along)
                + 1.6 * (-(fz / 6.5).powi(2)).exp() * smooth(0.3, 0.7, along);
            let lump = 0.55 * fractal(fx * 0.10, fz * 0.20, 3, self.seed + 3)
                + 0.9 * fractal(fx * 0.03, fz * 0.05, 2, self.seed + 4);
            let frog = crown + 4.5 * (1.0 - bulge) + cleft + lump;
            y = mix(y, frog, smooth(-1.5, 0.8, at.in_frog));
        }
        // Behind the heels the skin rises to the bulbs.
        let behind = fx - foot.support_length as f32;
        if behind > -6.0 && at.in_frog < 1.0 {
            let half = foot.heel_half_width as f32;
            let lobe = (-((fz.abs() - 0.52 * half) / (0.34 * half)).powi(2)).exp();
            let cleft = 7.0 * (-(fz / 5.0).powi(2)).exp();
            let skin = 2.6 + 0.80 * behind.max(-2.0) + 0.012 * behind.max(0.0).powi(2)
                - 4.2 * lobe * smooth(-1.0, 14.0, behind)
                + cleft
                + 7.0 * smooth(6.0, 18.0, behind);
            y = mix(y, skin, smooth(-2.5, 2.0, behind) * smooth(1.0, -3.0, at.in_frog));
        }
        f64::from(y + 0.25 * smooth(0.9, 0.0, at.inside) * smooth(0.0, -4.0, behind))
    }

    /// A point of the underside in the foot frame.
    pub(crate) fn point(&self, x: f64, z: f64) -> Point3<f64> {
        Point3::new(x, self.recess(x, z), z)
    }

    /// The mesh, lit by a sun in direction `sun` (foot frame, towards the sun).
    pub(crate) fn mesh(&self, sun: Vector3<f64>) -> Mesh {
        let n = (self.columns, self.rows);
        let heights: Vec<f32> = (0..n.0 * n.1)
            .map(|i| self.recess(self.low.x + STEP * (i % n.0) as f64, self.low.y + STEP * (i / n.0) as f64) as f32)
            .collect();
        let read = |c: f64, r: f64| {
            let (c, r) = (c.clamp(0.0, (n.0 - 1) as f64), r.clamp(0.0, (n.1 - 1) as f64));
            heights[r as usize * n.0 + c as usize]
        };
        let open = |c: usize, r: usize| {
            // The share of the sky seen: mean slope of the horizon in eight directions.
            let h = heights[r * n.0 + c];
            let mut shut = 0.0;
            for k in 0..8 {
                let (s, co) = (f64::from(k) * std::f64::consts::FRAC_PI_4).sin_cos();
                let mut steepest = 0.0_f32;
                for step in [2.0, 5.0, 10.0, 18.0] {
                    let rise = h - read(c as f64 + co * step, r as f64 + s * step);
                    steepest = steepest.max(rise / (step * STEP) as f32);
                }
                shut += steepest / (1.0 + steepest * steepest).sqrt();
            }
            1.0 - shut / 8.0
        };
        let light = |c: usize, r: usize| {
            let h = heights[r * n.0 + c];
            let flat = sun.x.hypot(sun.z);
            let rise = (-sun.y / flat) as f32;
            let mut lit = 1.0_f32;
            for k in 1..14 {
                let far = 0.8 * f64::from(k);
                let ridge = h - read(c as f64 + sun.x / flat * far / STEP, r as f64 + sun.z / flat * far / STEP);
                lit = lit.min(1.0 - ((ridge - rise * far as f32) / (0.12 * far as f32 + 0.3)).clamp(0.0, 1.0));
            }
            lit
        };
        let mut mesh = Mesh::grid(Material::Sole, n.0, n.1, false, |c, r| {
            let (x, z) = (self.low.x + STEP * c as f64, self.low.y + STEP * r as f64);
            let p = Point3::new(x, f64::from(heights[r * n.0 + c]), z);
            (p, [x as f32, z as f32, open(c, r), light(c, r), 0.0])
        });
        let keep = |i: &u32| {
            let p = &mesh.points[*i as usize];
            self.covers(p.x, p.z) > -2.0
        };
        let triangles = mesh.triangles.iter().copied().filter(|t| t.iter().any(keep)).collect();
        mesh.triangles = triangles;
        mesh
    }

    /// Distance inside the region that the underside fills, mm.
    pub(crate) fn covers(&self, x: f64, z: f64) -> f32 {
        let at = self.place(x, z);
        let behind = (x - self.foot.support_length) as f32;
        let tail = if behind > -8.0 {
            let half = self.foot.heel_half_width as f32 + 0.3;
            (half - z.abs() as f32).min(27.0 - behind)
        } else {
            -9.0
        };
        at.inside.max(at.in_frog).max(tail)
    }
}

/// The outlines as fine polylines.
struct Outlines {
    outer: Vec<(Point2<f64>, f64)>,
    frog: Vec<Point2<f64>>,
    bars: [[Point2<f64>; 2]; 2],
}

impl Outlines {
    fn new(foot: &Foot3d) -> Self {
        let outer = (-120..=120)
            .map(|i| {
                let v = f64::from(i) / 60.0;
                let half = if v < 0.0 { Half::Medial } else { Half::Lateral };
                let p = foot.ground_curve(half, v.abs());
                (Point2::new(p.x, half.sign() * p.y), v)
            })
            .collect();
        let frog = (-80..=80)
            .map(|i| {
                let s = f64::from(i) / 40.0;
                let p = foot.frog_curve(s.abs());
                Point2::new(p.x, p.y * s.signum())
            })
            .collect();
        let bar = |half: Half| {
            let heel = foot.heel_ground(half);
            let (wall, _) = foot.wall_at(2.0);
            [
                Point2::new(heel.x - 0.5 * wall, heel.z - half.sign() * wall * 0.9),
                Point2::new(foot.apex_at + 0.42 * foot.frog_length, half.sign() * (0.36 * foot.frog_width + 7.0)),
            ]
        };
        Self { outer, frog, bars: [bar(Half::Medial), bar(Half::Lateral)] }
    }

    fn place(&self, x: f64, z: f64) -> Place {
        let p = Point2::new(x, z);
        let mut near = (f64::MAX, 0.0);
        for w in self.outer.windows(2) {
            let (d, t) = to_segment(p, w[0].0, w[1].0);
            if d < near.0 {
                near = (d, w[0].1 + t * (w[1].1 - w[0].1));
            }
        }
        let ends = (self.outer[0].0, self.outer[self.outer.len() - 1].0);
        let across = to_segment(p, ends.0, ends.1).0;
        let inside = contains(&self.outer.iter().map(|o| o.0).collect::<Vec<_>>(), p);
        // Across the heels there is no wall: only outside the outline does that edge count.
        let depth = if inside { near.0 } else { -near.0.min(across) };
        let frog = self.frog.windows(2).map(|w| to_segment(p, w[0], w[1]).0).fold(f64::MAX, f64::min);
        let in_frog = if contains(&self.frog, p) { frog } else { -frog };
        let bar = self.bars.iter().map(|b| to_segment(p, b[0], b[1]).0).fold(f64::MAX, f64::min);
        Place {
            inside: depth as f32,
            v: near.1 as f32,
            in_frog: in_frog as f32,
            bar: (-(bar / 3.4).powi(2)).exp() as f32,
        }
    }
}

/// Old sole comes off in layers: which one lies open at (x, z), 0 to 1, and how near its broken edge is, 0 to 1.
pub(crate) fn layer(x: f32, z: f32, seed: u32) -> (f32, f32) {
    let wobble = 0.22 * fractal(x * 0.25, z * 0.25, 3, seed + 71);
    let q = 2.6 * fractal(x * 0.038, z * 0.038, 3, seed + 70) + wobble + 8.0;
    let (level, share) = (q.floor(), q.fract());
    let step = smooth(0.86, 1.0, share);
    (((level + step) * 0.37).fract(), smooth(0.80, 0.97, share) * smooth(1.0, 0.98, share))
}

fn to_segment(p: Point2<f64>, a: Point2<f64>, b: Point2<f64>) -> (f64, f64) {
    let d = b - a;
    let t = ((p - a).dot(&d) / d.norm_squared().max(1e-12)).clamp(0.0, 1.0);
    ((p - (a + d * t)).norm(), t)
}

fn contains(polygon: &[Point2<f64>], p: Point2<f64>) -> bool {
    let mut inside = false;
    let mut a = polygon[polygon.len() - 1];
    for &b in polygon {
        if (a.y > p.y) != (b.y > p.y) && p.x < a.x + (p.y - a.y) / (b.y - a.y) * (b.x - a.x) {
            inside = !inside;
        }
        a = b;
    }
    inside
}
