//! Photos of rulers, and of things that are none, rendered through a camera with known truth: small and fast enough for thousands.
#![allow(dead_code, reason = "every test takes its own part of this module")]
#![allow(clippy::unwrap_used, reason = "tests")]

pub(crate) mod ground;
pub(crate) mod rule;

use ground::Ground;
use hoofgeo::lens::{Camera, Distortion};
use hoofgeo::pixels::Grey;
use hoofgeo::pixels::ruler::Reading;
use nalgebra::{Matrix3, Point2, Rotation3, Vector2, Vector3};
use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;
use rand_xoshiro::Xoshiro256PlusPlus;
pub(crate) use rule::Divisions;
use rule::Rule;

pub(crate) type Rng = Xoshiro256PlusPlus;

pub(crate) const FRAME: (u32, u32) = (1200, 900);
/// Side of the blocks that are drawn at a time, px; it divides both sides of the frame.
const BLOCK: usize = 20;

pub(crate) fn uniform(rng: &mut Rng, from: f64, to: f64) -> f64 {
    rng.random_range(from..to)
}

pub(crate) fn one_of<T: Copy>(rng: &mut Rng, of: &[T]) -> T {
    of[rng.random_range(0..of.len())]
}

/// A patch on the ruler, mm.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Patch {
    pub(crate) at: [f64; 2],
    pub(crate) radii: [f64; 2],
    /// How much of what is below it hides, and its brightness.
    pub(crate) cover: f64,
    pub(crate) tone: f64,
}

impl Patch {
    fn cover_at(&self, x: f64, y: f64) -> f64 {
        let r = ((x - self.at[0]) / self.radii[0]).hypot((y - self.at[1]) / self.radii[1]);
        self.cover * ((1.15 - r) / 0.3).clamp(0.0, 1.0)
    }
}

/// Everything that a picture is made from.
#[derive(Debug, Clone)]
pub(crate) struct Spec {
    pub(crate) seed: u64,
    pub(crate) rule: Option<Rule>,
    pub(crate) ground: Ground,
    /// Magnification in the middle of the ruler, px/mm, and distance of the camera, mm.
    pub(crate) px_per_mm: f64,
    pub(crate) distance: f64,
    /// Tilts about the ruler's axes and turn in the image, degrees.
    pub(crate) tilt: [f64; 2],
    pub(crate) turn: f64,
    /// Pixel of the middle of what is visible of the ruler, and its place along it, mm.
    pub(crate) middle: [f64; 2],
    pub(crate) middle_mm: f64,
    /// Radial distortion for a focal length of 1.2 times the longer side.
    pub(crate) k1: f64,
    pub(crate) blur: f64,
    pub(crate) noise: f64,
    /// Brightness from one side of the photo to the other, as a factor, and its direction.
    pub(crate) light: f64,
    pub(crate) light_from: f64,
    pub(crate) dirt: Vec<Patch>,
    pub(crate) hidden: Vec<Patch>,
    /// Middle, px, radius, px, and height of a spot of glare.
    pub(crate) glare: Vec<([f64; 2], f64, f64)>,
    /// Radius of a bent tape, mm; sideways in its own plane.
    pub(crate) bend_mm: Option<f64>,
}

/// The camera of a picture: pixels to the ruler's plane and back.
pub(crate) struct View {
    lens: Camera<f64>,
    to_pixel: Matrix3<f64>,
    to_rule: Matrix3<f64>,
    bend: Option<f64>,
    middle_mm: f64,
}

impl View {
    fn new(s: &Spec) -> Self {
        let (w, h) = (f64::from(FRAME.0), f64::from(FRAME.1));
        let [a, b] = s.tilt.map(f64::to_radians);
        let rotation = Rotation3::from_axis_angle(&Vector3::z_axis(), s.turn.to_radians())
            * Rotation3::from_axis_angle(&Vector3::x_axis(), a)
            * Rotation3::from_axis_angle(&Vector3::y_axis(), b);
        // Y of the ruler runs up its face, the photo's down.
        let (x, y) = (rotation * Vector3::x(), -(rotation * Vector3::y()));
        let focal = s.px_per_mm * s.distance;
        let c = [(s.middle[0] - w / 2.0) / focal * s.distance, (s.middle[1] - h / 2.0) / focal * s.distance];
        let origin = Vector3::new(c[0], c[1], s.distance) - x * s.middle_mm;
        let k = Matrix3::new(focal, 0.0, w / 2.0, 0.0, focal, h / 2.0, 0.0, 0.0, 1.0);
        let to_pixel = k * Matrix3::from_columns(&[x, y, origin]);
        let distortion = Distortion { k1: s.k1, k2: 0.0, k3: 0.0, p1: 0.0, p2: 0.0 };
        let lens = Camera { focal: 1.2 * w.max(h), principal: Point2::new(w / 2.0, h / 2.0), distortion };
        Self { lens, to_pixel, to_rule: to_pixel.try_inverse().unwrap(), bend: s.bend_mm, middle_mm: s.middle_mm }
    }

    /// The place on the ruler that a pixel shows, mm.
    pub(crate) fn on_rule(&self, pixel: Point2<f64>) -> Option<Point2<f64>> {
        let flat = self.lens.principal + self.lens.undistort(pixel)?.coords * self.lens.focal;
        let p = self.to_rule * flat.to_homogeneous();
        if p.z <= 0.0 {
            return None;
        }
        let (x, y) = (p.x / p.z, p.y / p.z);
        Some(match self.bend {
            None => Point2::new(x, y),
            Some(r) => {
                let (dx, dy) = (x - self.middle_mm, y + r);
                Point2::new(self.middle_mm + r * dx.atan2(dy), dx.hypot(dy) - r)
            }
        })
    }

    /// Whether a block of pixels shows nothing of the rule, by its four corners and room for a bend.
    fn shows_none(&self, rule: &Rule, left: u32, top: u32) -> bool {
        let b = BLOCK as u32;
        let corners = [(0, 0), (b, 0), (0, b), (b, b)];
        let places = corners.map(|(x, y)| self.on_rule(Point2::new(f64::from(left + x), f64::from(top + y))));
        let all: Option<Vec<Point2<f64>>> = places.into_iter().collect();
        let Some(all) = all else { return false };
        let most = |of: fn(&Point2<f64>) -> f64| all.iter().map(of).fold(f64::NEG_INFINITY, f64::max);
        let least = |of: fn(&Point2<f64>) -> f64| all.iter().map(of).fold(f64::INFINITY, f64::min);
        const ROOM: f64 = 5.0;
        most(|p| p.x) < -5.0 - ROOM
            || least(|p| p.x) > rule.length + 5.0 + ROOM
            || most(|p| p.y) < -ROOM
            || least(|p| p.y) > rule.width + ROOM
    }

    /// The pixel of a place on a straight ruler.
    pub(crate) fn pixel(&self, at: Point2<f64>) -> Point2<f64> {
        let p = self.to_pixel * at.to_homogeneous();
        let flat = Point2::new(p.x / p.z, p.y / p.z);
        self.lens.pixel(Point2::from((flat - self.lens.principal) / self.lens.focal))
    }
}

/// A rendered picture.
pub(crate) struct Picture {
    pub(crate) spec: Spec,
    pub(crate) grey: Grey,
    pub(crate) view: View,
}

impl Spec {
    pub(crate) fn render(self) -> Picture {
        let view = View::new(&self);
        let mut rng = Rng::seed_from_u64(self.seed ^ 0x5eed);
        let (w, h) = FRAME;
        let ground = self.ground.render(&mut rng, FRAME, self.px_per_mm);
        let mut values: Vec<f32> = ground.iter().map(|tone| *tone as f32).collect();
        let blocks = (0..h).step_by(BLOCK).flat_map(|top| (0..w).step_by(BLOCK).map(move |left| (left, top)));
        for (left, top) in blocks {
            let Some(rule) = &self.rule else { break };
            if view.shows_none(rule, left, top) {
                continue;
            }
            for row in top..top + BLOCK as u32 {
                for column in left..left + BLOCK as u32 {
                    let centre = Point2::new(f64::from(column) + 0.5, f64::from(row) + 0.5);
                    if let Some(p) = view.on_rule(centre)
                        && rule.near(p.x, p.y, 2.0)
                    {
                        let i = (row * w + column) as usize;
                        values[i] = self.supersampled(&view, rule, centre, ground[i]) as f32;
                    }
                }
            }
        }
        let sharp = Grey::from_values(w, h, values).unwrap();
        // What the pixels' own extent blurs stands in the sampling already.
        let soft = if self.blur > 0.3 { sharp.smoothed(self.blur as f32) } else { sharp };
        let (s, c) = self.light_from.to_radians().sin_cos();
        let values = soft.values().iter().enumerate().map(|(i, v)| {
            let (x, y) = (f64::from(i as u32 % w) + 0.5, f64::from(i as u32 / w) + 0.5);
            let across = (x / f64::from(w) - 0.5) * c + (y / f64::from(h) - 0.5) * s;
            let mut v = f64::from(*v) * (1.0 + self.light * across);
            for (at, radius, height) in &self.glare {
                let r2 = ((x - at[0]).powi(2) + (y - at[1]).powi(2)) / (radius * radius);
                v += height * (-r2).exp();
            }
            let noise: f64 = rng.sample(StandardNormal);
            (v + self.noise * noise).round().clamp(0.0, 255.0) as f32
        });
        let grey = Grey::from_values(w, h, values.collect()).unwrap();
        Picture { spec: self, grey, view }
    }

    /// One pixel by three by three samples.
    fn supersampled(&self, view: &View, rule: &Rule, centre: Point2<f64>, ground: f64) -> f64 {
        const N: usize = 3;
        let mut sum = 0.0;
        // Within a pixel the map is as good as straight.
        let (Some(p), Some(px), Some(py)) = (
            view.on_rule(centre),
            view.on_rule(centre + Vector2::new(1.0, 0.0)),
            view.on_rule(centre + Vector2::new(0.0, 1.0)),
        ) else {
            return ground;
        };
        let (dx, dy) = (px - p, py - p);
        let reach = dx.norm() + dy.norm();
        let near = |d: &&Patch| (d.at[0] - p.x).abs() < 1.2 * d.radii[0] + reach;
        let dirt: Vec<&Patch> = self.dirt.iter().filter(near).collect();
        for i in 0..N * N {
            let at = |k: usize| (k as f64 + 0.5) / N as f64 - 0.5;
            let p = p + dx * at(i % N) + dy * at(i / N);
            let mut tone = ground;
            if let Some(face) = rule.tone(p.x, p.y, 0.5 / (N as f64 * self.px_per_mm)) {
                tone = face;
                for d in &dirt {
                    tone += (d.tone - tone) * d.cover_at(p.x, p.y);
                }
            }
            for d in &self.hidden {
                tone += (d.tone - tone) * d.cover_at(p.x, p.y);
            }
            sum += tone;
        }
        sum / (N * N) as f64
    }
}

/// How a reading compares with the truth.
#[derive(Debug, Clone)]
pub(crate) struct Compared {
    /// Relative error of the scale over the whole reading.
    pub(crate) scale: f64,
    /// Largest error of a label, mm, after the best common shift.
    pub(crate) label: f64,
    /// Error of each graduation along the ruler, px, and divided by its stated uncertainty, less the common part that a camera's pose takes
    /// up (place, size and lean).
    pub(crate) px: Vec<f64>,
    pub(crate) normalised: Vec<f64>,
}

impl Picture {
    /// Lines of the edge that are in the frame and not hidden, nor drowned in glare, `y` mm from the edge.
    pub(crate) fn visible(&self) -> usize {
        let Some(rule) = &self.spec.rule else { return 0 };
        let step = rule.step_mm();
        let lines = (rule.length / step) as i32;
        (0..=lines).filter(|k| self.shows(f64::from(*k) * step)).count()
    }

    /// Whether the line `mm` from the rule's zero can be seen.
    pub(crate) fn shows(&self, mm: f64) -> bool {
        let Some(rule) = &self.spec.rule else { return false };
        let at = Point2::new(mm, 0.5 * rule.lengths[0]);
        let p = self.view.pixel(at);
        let inside = |v: f64, most: u32| (12.0..f64::from(most) - 12.0).contains(&v);
        let hidden = self.spec.hidden.iter().chain(&self.spec.dirt).any(|d| d.cover_at(at.x, at.y) > 0.6);
        let glare = self.spec.glare.iter().any(|(c, r, height)| {
            let r2 = ((p.x - c[0]).powi(2) + (p.y - c[1]).powi(2)) / (r * r);
            height * (-r2).exp() > 70.0
        });
        inside(p.x, FRAME.0) && inside(p.y, FRAME.1) && !hidden && !glare
    }

    /// Smallest distance of two visible neighbouring lines, px.
    pub(crate) fn least_period(&self) -> f64 {
        let Some(rule) = &self.spec.rule else { return 0.0 };
        let step = rule.step_mm();
        (0..(rule.length / step) as i32)
            .filter_map(|k| {
                let [a, b] = [k, k + 1].map(|k| self.view.pixel(Point2::new(f64::from(k) * step, 2.0)));
                let inside = (0.0..f64::from(FRAME.0)).contains(&a.x) && (0.0..f64::from(FRAME.1)).contains(&a.y);
                inside.then_some((b - a).norm())
            })
            .fold(f64::INFINITY, f64::min)
    }

    /// Whether a person could read the ruler's lines: forty of them to be seen, at least 3 px apart, not blurred into each other (a
    /// tenth of their wave is left) and above the noise.
    pub(crate) fn is_readable(&self) -> bool {
        let Some(rule) = &self.spec.rule else { return false };
        let period = self.least_period();
        let left = (-2.0 * (std::f64::consts::PI * self.spec.blur / period).powi(2)).exp();
        rule.divisions.is_metric()
            && self.spec.bend_mm.is_none()
            && self.visible() >= 40
            && period >= 3.0
            && left >= 0.1
            && left * rule.contrast() * rule.line_width / rule.step_mm() > 1.2 * self.spec.noise
    }

    pub(crate) fn compare(&self, reading: &Reading) -> Option<Compared> {
        let rule = self.spec.rule.as_ref()?;
        let step = rule.step_mm();
        let g = &reading.graduations;
        let truth: Vec<Point2<f64>> = g.iter().map(|g| self.view.on_rule(g.at)).collect::<Option<_>>()?;
        let (a, b) = (truth[0].x, truth[g.len() - 1].x);
        let (ra, rb) = (g[0].mm, g[g.len() - 1].mm);
        let sign = ((b - a) * (rb - ra)).signum();
        let scale = ((rb - ra) / (b - a)).abs() - 1.0;
        let shifts: Vec<f64> = g.iter().zip(&truth).map(|(g, t)| g.mm - sign * t.x).collect();
        let mut sorted = shifts.clone();
        sorted.sort_by(f64::total_cmp);
        let shift = sorted[sorted.len() / 2];
        let label = shifts.iter().map(|s| (s - shift).abs()).fold(0.0, f64::max);
        let mut px = Vec::new();
        let mut rows = Vec::new();
        for (g, t) in g.iter().zip(&truth) {
            let line = (t.x / step).round() * step;
            let there = self.view.pixel(Point2::new(line, t.y));
            let along = self.view.pixel(Point2::new(line + 0.5, t.y)) - self.view.pixel(Point2::new(line - 0.5, t.y));
            px.push((g.at - there).dot(&along.normalize()));
            let k = (g.mm - g_mid(ra, rb)) / (rb - ra);
            rows.push(Vector3::new(1.0, k, k * k));
        }
        let u: Vec<f64> = g.iter().map(|g| g.u_px).collect();
        let (mut n, mut r) = (Matrix3::zeros(), Vector3::zeros());
        for ((row, e), u) in rows.iter().zip(&px).zip(&u) {
            n += row * row.transpose() / (u * u);
            r += row * (*e / (u * u));
        }
        let fit = n.try_inverse()? * r;
        // The middle of all lines may be off by a common shift (of no consequence); size and lean may not: their error stays in.
        let px: Vec<f64> = px.iter().map(|e| e - fit.x).collect();
        let normalised =
            px.iter().zip(&rows).zip(&u).map(|((e, row), u)| (e - row.y * fit.y - row.z * fit.z) / u).collect();
        Some(Compared { scale, label, px, normalised })
    }
}

fn g_mid(a: f64, b: f64) -> f64 {
    0.5 * (a + b)
}

/// Draws a picture's circumstances for a rule.
pub(crate) fn draw(seed: u64, rule: Option<Rule>) -> Spec {
    let mut rng = Rng::seed_from_u64(seed);
    let rng = &mut rng;
    let px_per_mm = uniform(rng, 3.0f64.ln(), 18.0f64.ln()).exp();
    let length = rule.as_ref().map_or(150.0, |r| r.length);
    let fits = 1000.0 / px_per_mm;
    let middle_mm = if fits < length { uniform(rng, 0.5 * fits, length - 0.5 * fits + 1e-6) } else { 0.5 * length };
    let tilt = [uniform(rng, -40.0, 40.0), uniform(rng, -40.0, 40.0)];
    let turn = uniform(rng, -180.0, 180.0);
    let middle = [uniform(rng, 480.0, 720.0), uniform(rng, 350.0, 550.0)];
    let mut dirt = Vec::new();
    for _ in 0..rng.random_range(0..14) {
        dirt.push(Patch {
            at: [uniform(rng, 0.0, length), uniform(rng, 0.0, 25.0)],
            radii: [uniform(rng, 0.3, 4.0), uniform(rng, 0.3, 3.0)],
            cover: uniform(rng, 0.2, 0.95),
            tone: uniform(rng, 40.0, 130.0),
        });
    }
    let mut hidden = Vec::new();
    if rng.random_range(0..3) == 0 {
        let at = middle_mm + uniform(rng, -0.5, 0.5) * fits.min(length);
        hidden.push(Patch {
            at: [at, uniform(rng, -5.0, 20.0)],
            radii: [uniform(rng, 5.0, 12.0), 20.0],
            cover: 1.0,
            tone: uniform(rng, 50.0, 170.0),
        });
    }
    let mut glare = Vec::new();
    if rng.random_range(0..3) == 0 {
        let at = [middle[0] + uniform(rng, -400.0, 400.0), middle[1] + uniform(rng, -300.0, 300.0)];
        glare.push((at, uniform(rng, 30.0, 130.0), uniform(rng, 60.0, 300.0)));
    }
    Spec {
        seed,
        rule,
        ground: one_of(rng, &Ground::CLUTTER),
        px_per_mm,
        distance: uniform(rng, 250.0, 600.0),
        tilt,
        turn,
        middle,
        middle_mm,
        k1: uniform(rng, -0.06, 0.03),
        blur: uniform(rng, 0.5, 2.5),
        noise: uniform(rng, 0.5, 6.0),
        light: uniform(rng, 0.0, 0.7),
        light_from: uniform(rng, 0.0, 360.0),
        dirt,
        hidden,
        glare,
        bend_mm: None,
    }
}

/// A picture with a millimetre ruler.
pub(crate) fn ruler(seed: u64) -> Spec {
    let mut rng = Rng::seed_from_u64(seed ^ 0xa11);
    let rule = Rule::draw(&mut rng, Divisions::Millimetre);
    draw(seed, Some(rule))
}

/// Rules in tenths of an inch or hundredths of a foot: their lines come in the order of a millimetre rule's.
pub(crate) const DECIMAL: &str = "decimal, not metric";
/// The same with lines as long against their distance as millimetres have them.
pub(crate) const DECIMAL_LONG: &str = "decimal, not metric, long lines";

/// A picture in which nothing may be read as millimetres: rules of other divisions, bent tapes, or no rule at all.
pub(crate) fn other(seed: u64) -> (&'static str, Spec) {
    let mut rng = Rng::seed_from_u64(seed ^ 0x0dd);
    let rng = &mut rng;
    match rng.random_range(0..10) {
        0..4 => {
            let of = [
                Divisions::InchSixteenths,
                Divisions::InchEighths,
                Divisions::InchTenths,
                Divisions::InchThirtySeconds,
                Divisions::FootHundredths,
            ];
            let divisions = one_of(rng, &of);
            let mut rule = Rule::draw(rng, divisions);
            let mut kind = "inch rule";
            if divisions.is_decimal_otherwise() {
                // Most have lines as long as a millimetre rule's; some longer, in the proportions of one.
                kind = DECIMAL;
                if rng.random_range(0..2) == 0 {
                    kind = DECIMAL_LONG;
                    let longer = uniform(rng, 1.3, 2.6);
                    rule.lengths = rule.lengths.map(|l| l * longer);
                }
            }
            let mut spec = draw(seed, Some(rule));
            // Coarser divisions are taken from farther, to be as well seen as millimetres.
            spec.px_per_mm = (spec.px_per_mm / spec.rule.as_ref().unwrap().step_mm()).clamp(2.0, 18.0);
            (kind, spec)
        }
        4..6 => {
            let mut rule = Rule::draw(rng, Divisions::Millimetre);
            rule.other = None;
            let mut spec = draw(seed, Some(rule));
            let seen = (1000.0 / spec.px_per_mm).min(spec.rule.as_ref().unwrap().length);
            // Sideways by 4 to 40 % of the length seen.
            spec.bend_mm = Some(seen / uniform(rng, 0.3, 2.5));
            ("bent tape", spec)
        }
        _ => {
            let mut spec = draw(seed, None);
            spec.ground = one_of(rng, &Ground::EVEN);
            (spec.ground.name(), spec)
        }
    }
}
