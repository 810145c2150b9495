//! A horse's foot as a parametric solid, every measure of it known exactly.
//!
//! # The foot frame
//! Millimetres. Origin at `toe_ground`; **x** backwards along the ground, **y** up, **z** to the lateral side. For a
//! left foot this is a right-handed frame; a right foot is its mirror image, which `scene` sees to.

use nalgebra::{Point2, Point3, Vector2};
use serde::Serialize;

/// Which half of the foot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Half {
    Medial,
    Lateral,
}

impl Half {
    /// -1 for medial, +1 for lateral.
    pub(crate) fn sign(self) -> f64 {
        if self == Self::Lateral { 1.0 } else { -1.0 }
    }
}

/// Length of the dorsal pastern outline that is straight, mm.
pub(crate) const PASTERN_STRAIGHT: f64 = 80.0;

/// The parameters of one foot; lengths mm, angles degrees.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Foot3d {
    /// Angle of the line `toe_ground` to `toe_coronet` against the ground.
    pub dorsal_angle: f64,
    /// Length of that line.
    pub dorsal_length: f64,
    /// Angle of the wall's part above the bend minus that of the part below; positive when the lower part is flatter.
    pub flare: f64,
    /// Where the bend is, as a share of the dorsal length below the coronet.
    pub flare_at: f64,
    /// Angle of the line `heel_ground` to `heel_coronet` against the ground.
    pub heel_angle: f64,
    /// Length of that line.
    pub heel_length: f64,
    /// `toe_ground` to the lateral `heel_ground`.
    pub support_length: f64,
    /// How far the medial heel bears behind the lateral one.
    pub medial_heel_behind: f64,
    /// Half width at the widest part, medial.
    pub half_width_medial: f64,
    /// Half width at the widest part, lateral.
    pub half_width_lateral: f64,
    /// The widest part's distance behind the toe.
    pub widest_at: f64,
    /// Half the distance between the heels.
    pub heel_half_width: f64,
    /// Half width of the coronet.
    pub coronet_half_width: f64,
    /// How far the coronary band arches above its straight line.
    pub coronet_arch: f64,
    /// Wall thickness on the ground at the toe (horn outside the white line).
    pub wall_toe: f64,
    /// The same at the heels.
    pub wall_heel: f64,
    /// White line width at the toe.
    pub white_line_toe: f64,
    /// The same at the heels.
    pub white_line_heel: f64,
    /// Depth of the sole's vault.
    pub sole_depth: f64,
    /// `toe_outer` to `frog_apex`.
    pub apex_at: f64,
    /// `frog_apex` to the rear end of the central sulcus.
    pub frog_length: f64,
    /// Greatest width of the frog.
    pub frog_width: f64,
    /// Angle of the dorsal pastern outline against the ground.
    pub pastern_angle: f64,
    /// Mean distance of the growth rings at the toe.
    pub ring_spacing_toe: f64,
    /// The same at the heels.
    pub ring_spacing_heel: f64,
    /// Distance of the first ring below the coronet at the toe.
    pub first_ring: f64,
    /// How far behind `toe_ground` the toe's bevel begins.
    pub breakover_at: f64,
    /// Height of the lateral heel's bearing point below the hard sole plane.
    pub heel_above_sole: f64,
}

/// What a trim takes away.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Trim {
    /// Horn taken off the bearing edge at the toe, square to the old ground, mm.
    pub toe_down: f64,
    /// Horn taken off the heels, square to the old ground, mm.
    pub heel_down: f64,
    /// How far the toe is dressed back along the new ground, mm.
    pub toe_back: f64,
    /// The bend that remains in the dorsal wall, degrees.
    pub flare: f64,
    /// Where the new bevel begins behind `toe_ground`, mm.
    pub breakover_at: f64,
}

impl Foot3d {
    /// `toe_coronet`.
    pub(crate) fn toe_coronet(&self) -> Point3<f64> {
        let (s, c) = self.dorsal_angle.to_radians().sin_cos();
        Point3::new(self.dorsal_length * c, self.dorsal_length * s, 0.0)
    }

    /// `heel_ground` of one side.
    pub(crate) fn heel_ground(&self, half: Half) -> Point3<f64> {
        let behind = if half == Half::Medial { self.medial_heel_behind } else { 0.0 };
        Point3::new(self.support_length + behind, 0.0, half.sign() * self.heel_half_width)
    }

    /// `heel_coronet` of one side.
    pub(crate) fn heel_coronet(&self, half: Half) -> Point3<f64> {
        let (s, c) = self.heel_angle.to_radians().sin_cos();
        let ground = self.heel_ground(half);
        Point3::new(ground.x + self.heel_length * c, self.heel_length * s, ground.z)
    }

    /// The outer wall on the ground, at `v` from 0 (toe) through 1 (widest part) to 2 (heel): x and |z|.
    pub(crate) fn ground_curve(&self, half: Half, v: f64) -> Point2<f64> {
        let width = if half == Half::Medial { self.half_width_medial } else { self.half_width_lateral };
        half_outline(0.0, self.widest_at, width, self.heel_ground(half).x, self.heel_half_width, v)
    }

    /// Its unit normal towards the inside, x and |z|.
    pub(crate) fn ground_normal(&self, half: Half, v: f64) -> Vector2<f64> {
        let h = 1e-4;
        let d = self.ground_curve(half, (v + h).min(2.0)) - self.ground_curve(half, (v - h).max(0.0));
        if v <= h { Vector2::new(1.0, 0.0) } else { Vector2::new(d.y, -d.x).normalize() }
    }

    /// Wall thickness and white line width at `v`.
    pub(crate) fn wall_at(&self, v: f64) -> (f64, f64) {
        let t = (v / 2.0).clamp(0.0, 1.0);
        let t = t * t * (3.0 - 2.0 * t);
        (
            self.wall_toe + (self.wall_heel - self.wall_toe) * t,
            self.white_line_toe + (self.white_line_heel - self.white_line_toe) * t,
        )
    }

    /// The coronary band at `v`.
    pub(crate) fn coronet_curve(&self, half: Half, v: f64) -> Point3<f64> {
        let (toe, heel) = (self.toe_coronet(), self.heel_coronet(half));
        let run = heel.x - toe.x;
        let p = half_outline(toe.x, toe.x + 0.45 * run, self.coronet_half_width, heel.x, self.heel_half_width, v);
        let s = (p.x - toe.x) / run;
        let y = toe.y + (heel.y - toe.y) * s + self.coronet_arch * 4.0 * s * (1.0 - s);
        Point3::new(p.x, y, half.sign() * p.y)
    }

    /// The wall's outer surface at `v` (0 toe to 2 heel) and `t` (0 coronet to 1 ground). Lines of constant `v` are the
    /// horn tubules: straight, save for the bend of a flared toe.
    pub(crate) fn wall(&self, half: Half, v: f64, t: f64) -> Point3<f64> {
        let (c, g) = (self.coronet_curve(half, v), self.ground_curve(half, v));
        let ruled = c.coords * (1.0 - t) + Point3::new(g.x, 0.0, half.sign() * g.y).coords * t;
        let (sin, cos) = self.dorsal_angle.to_radians().sin_cos();
        let fade = (1.0 - v / 1.2).clamp(0.0, 1.0);
        let bow = self.bow(t) * fade * fade * (3.0 - 2.0 * fade);
        Point3::from(ruled) + nalgebra::Vector3::new(sin, -cos, 0.0) * bow
    }

    /// How far the dorsal wall lies behind its chord at `t`: two straight parts, joined by a short parabola.
    fn bow(&self, t: f64) -> f64 {
        let (f, half) = (self.flare_at, 0.08);
        let depth = self.bend_depth();
        let (up, low) = (depth / f, depth / (1.0 - f));
        if t < f - half {
            up * t
        } else if t > f + half {
            low * (1.0 - t)
        } else {
            let s = (t - f + half) / (2.0 * half);
            up * (f - half) + 2.0 * half * (up * s - (up + low) * s * s / 2.0)
        }
    }

    /// The depth of the bend for which the two parts differ by `flare`, by Newton's method.
    fn bend_depth(&self) -> f64 {
        let (a, b) = (self.dorsal_length * self.flare_at, self.dorsal_length * (1.0 - self.flare_at));
        let mut h = 0.0_f64;
        for _ in 0..8 {
            let error = (h / a).atan() + (h / b).atan() - self.flare.to_radians();
            h -= error / (a / (a * a + h * h) + b / (b * b + h * h));
        }
        h
    }

    /// Distance below the coronet, along the dorsal wall, of ring number `k`, as multiples of the spacing: rings are not
    /// evenly spaced, but the same ring keeps its number all round the foot.
    pub(crate) fn ring(k: usize) -> f64 {
        const UNEVEN: [f64; 12] = [0.0, 0.10, -0.07, 0.12, -0.12, 0.05, 0.14, -0.06, -0.13, 0.08, 0.02, -0.09];
        k as f64 + UNEVEN[k % UNEVEN.len()]
    }

    /// Ring spacing at `v`.
    pub(crate) fn ring_spacing(&self, v: f64) -> f64 {
        self.ring_spacing_toe + (self.ring_spacing_heel - self.ring_spacing_toe) * v / 2.0
    }

    /// Distance of ring `k` below the coronet at `v`.
    pub(crate) fn ring_below(&self, v: f64, k: usize) -> f64 {
        self.ring_spacing(v) * (self.first_ring / self.ring_spacing_toe + Self::ring(k))
    }

    /// Distances below the coronet, mm, of all rings down to the ground, at the toe (`v` = 0) or the heels (2).
    pub fn rings_below(&self, v: f64) -> Vec<f64> {
        let length = if v < 1.0 { self.dorsal_length } else { self.heel_length };
        let shown = (0..20).filter(|k| self.shows_ring(*k)).map(|k| self.ring_below(v, k));
        shown.take_while(|below| *below < length).collect()
    }

    /// Whether ring `k` has come out from under the coronary band: then it is seen all round the foot.
    pub(crate) fn shows_ring(&self, k: usize) -> bool {
        self.first_ring / self.ring_spacing_toe + Self::ring(k) > 0.8
    }

    /// The foot some weeks after a trim: toe and heel have grown longer, each along its own wall, and stand on the new bearing edge.
    /// Both angles turn by the same amount. Rings move down by `rings` at the toe.
    #[must_use]
    pub fn grown(&self, toe: f64, heel: f64, rings: f64) -> Self {
        let along = |degrees: f64, mm: f64| {
            let (s, c) = degrees.to_radians().sin_cos();
            Vector2::new(c, s) * mm
        };
        let (toe_by, heel_by) = (along(self.dorsal_angle, toe), along(self.heel_angle, heel));
        let base = Vector2::new(self.support_length, 0.0) - heel_by + toe_by;
        let turn = base.y.atan2(base.x).to_degrees();
        Self {
            dorsal_angle: self.dorsal_angle - turn,
            dorsal_length: self.dorsal_length + toe,
            heel_angle: self.heel_angle - turn,
            heel_length: self.heel_length + heel,
            support_length: base.norm(),
            widest_at: self.widest_at + toe_by.x,
            apex_at: self.apex_at + toe_by.x,
            pastern_angle: self.pastern_angle,
            breakover_at: 5.0,
            first_ring: self.first_ring + rings,
            heel_above_sole: self.heel_above_sole + heel_by.y,
            sole_depth: self.sole_depth + 0.2 * (toe_by.y + heel_by.y),
            half_width_medial: self.half_width_medial + 0.9,
            half_width_lateral: self.half_width_lateral + 1.4,
            wall_toe: self.wall_toe + 0.5 * toe_by.x,
            white_line_toe: self.white_line_toe + 0.4,
            ..self.clone()
        }
    }

    /// The frog's edge, x and z >= 0, from the apex (`s` = 0) through the base corner (1) to the sulcus (2).
    pub(crate) fn frog_curve(&self, s: f64) -> Point2<f64> {
        let (w, apex) = (self.frog_width / 2.0, self.apex_at);
        let (corner, rear) = (apex + 0.9 * self.frog_length, apex + self.frog_length);
        let run = corner - apex;
        if s <= 1.0 {
            cubic([[apex, 0.0], [apex - 0.5, 0.17 * w], [corner - 0.5 * run, 0.95 * w], [corner, w]], s)
        } else {
            cubic([[corner, w], [corner + 0.12 * run, w], [rear + 0.17 * run, 0.52 * w], [rear, 0.0]], s - 1.0)
        }
    }

    /// Centre and radii of a heel bulb.
    pub(crate) fn bulb(&self, half: Half) -> (Point3<f64>, [f64; 3]) {
        let heel = self.heel_coronet(half);
        let centre = Point3::new(heel.x - 9.0, heel.y * 0.88 + 3.0, half.sign() * self.heel_half_width * 0.50);
        (centre, [28.0, 0.74 * heel.y, 0.53 * self.heel_half_width])
    }

    /// A point of the dorsal pastern outline, `s` mm above its start just over the coronet.
    pub(crate) fn pastern(&self, s: f64) -> Point3<f64> {
        let (sin, cos) = self.pastern_angle.to_radians().sin_cos();
        let toe = self.toe_coronet();
        // Above the pastern the fetlock turns the outline upright; both pastern landmarks lie below that.
        let turn = (s - PASTERN_STRAIGHT).max(0.0);
        let forward = if turn < 90.0 { cos * turn * turn / 180.0 } else { cos * (turn - 45.0) };
        Point3::new(toe.x + 4.5 + s * cos - forward, toe.y + 10.0 + s * sin, 0.0)
    }

    /// The foot after a trim. The wall is cut along the line from `toe_down` above the old toe to `heel_down` above the
    /// old heel, and the foot set down on the cut: every angle turns by the same amount, so heel against toe stays
    /// as it was, save for what dressing the toe changes.
    #[must_use]
    pub fn trimmed(&self, trim: &Trim) -> Self {
        let heel_tan = self.heel_angle.to_radians().tan();
        let cut_toe = Point2::new(trim.toe_down / self.dorsal_angle.to_radians().tan(), trim.toe_down);
        let cut_heel = Point2::new(self.support_length + trim.heel_down / heel_tan, trim.heel_down);
        let base = cut_heel - cut_toe;
        let turn = base.y.atan2(base.x);
        let along = base.normalize();
        let set_down = |p: Point3<f64>| {
            let d = Point2::new(p.x, p.y) - cut_toe;
            Point2::new(along.dot(&d) - trim.toe_back, along.perp(&d))
        };
        let (toe, heel) = (set_down(self.toe_coronet()), set_down(self.heel_coronet(Half::Lateral)));
        let support = base.norm() - trim.toe_back;
        let back = cut_toe.x + trim.toe_back;
        let lowered = trim.heel_down * turn.cos();
        Self {
            dorsal_angle: toe.y.atan2(toe.x).to_degrees(),
            dorsal_length: toe.coords.norm(),
            flare: trim.flare,
            heel_angle: heel.y.atan2(heel.x - support).to_degrees(),
            heel_length: (heel.x - support).hypot(heel.y),
            support_length: support,
            widest_at: self.widest_at - back + 1.5,
            half_width_medial: self.half_width_medial - 0.9,
            half_width_lateral: self.half_width_lateral - 1.4,
            medial_heel_behind: 0.4 * self.medial_heel_behind,
            wall_toe: (self.wall_toe - 0.75 * trim.toe_back).max(7.0),
            white_line_toe: (self.white_line_toe - 0.4).max(2.0),
            apex_at: self.apex_at - back,
            pastern_angle: self.pastern_angle,
            breakover_at: trim.breakover_at,
            heel_above_sole: (self.heel_above_sole - lowered).max(0.0),
            sole_depth: self.sole_depth - 0.3 * (trim.toe_down + trim.heel_down),
            ..self.clone()
        }
    }
}

/// Half of a hoof's outline as two cubic curves that meet, with a common tangent, at the widest place.
fn half_outline(toe: f64, widest: f64, width: f64, heel: f64, heel_width: f64, v: f64) -> Point2<f64> {
    if v <= 1.0 {
        cubic([[toe, 0.0], [toe, 0.56 * width], [widest - 0.55 * (widest - toe), width], [widest, width]], v)
    } else {
        let run = heel - widest;
        let inward = heel_width + 0.42 * (width - heel_width);
        cubic([[widest, width], [widest + 0.42 * run, width], [heel - 0.28 * run, inward], [heel, heel_width]], v - 1.0)
    }
}

fn cubic(p: [[f64; 2]; 4], t: f64) -> Point2<f64> {
    let s = 1.0 - t;
    let w = [s * s * s, 3.0 * s * s * t, 3.0 * s * t * t, t * t * t];
    let at = |i: usize| (0..4).map(|k| w[k] * p[k][i]).sum();
    Point2::new(at(0), at(1))
}
