//! Every line of a comb to a small part of a pixel.

use super::trace::Track;
use super::view::View;
use nalgebra::{Matrix4, Point2, Vector2, Vector4};

/// One line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Line {
    /// Its number on the track.
    pub number: i32,
    /// Where it crosses the band's middle, px.
    pub at: Point2<f64>,
    /// From one line to the next, px.
    pub step: Vector2<f64>,
    /// Direction of the line.
    pub direction: Vector2<f64>,
    /// Standard uncertainty of its place along the comb from the noise around it, px.
    pub u_noise_px: f64,
    /// Its darkness against the usual line's.
    pub strength: f64,
}

/// Half the profile around a line, in line distances.
const HALF: f64 = 0.6;
/// Least darkness of a line against the usual one's.
const LEAST_STRENGTH: f64 = 0.35;
/// Most rows that are averaged along a line.
const MOST_ROWS: usize = 64;

/// The brightness across one line, averaged along it.
struct Profile {
    number: i32,
    values: Vec<f64>,
}

/// Finds the lines of a track from `ends[0] - beyond` to `ends[1] + beyond`.
///
/// The shape of a line is taken from all of them; each is then fitted by that shape, moved and scaled, on a sloping ground.
pub(super) fn lines(grey: &View, track: &Track, beyond: i32) -> Vec<Line> {
    let period = track.local(0.5 * f64::from(track.ends[0] + track.ends[1])).period();
    // Samples at least a pixel apart, so that their noise is independent.
    let samples = ((2.0 * HALF * period * 1.6) as usize + 1).clamp(9, 61) | 1;
    let profiles: Vec<Profile> = (track.ends[0] - beyond..=track.ends[1] + beyond)
        .filter_map(|k| Some(Profile { number: k, values: profile(grey, track, k, samples)? }))
        .collect();
    if profiles.len() < 5 {
        return Vec::new();
    }
    let mut shifts = vec![0.0; profiles.len()];
    let mut found = Vec::new();
    for _ in 0..3 {
        let Some(shape) = Shape::of(&profiles, &shifts, samples) else { return Vec::new() };
        let fits: Vec<Option<Fitted>> =
            profiles.iter().zip(&shifts).map(|(p, s)| shape.fit(&p.values, *s, samples)).collect();
        for (s, f) in shifts.iter_mut().zip(&fits) {
            *s = f.as_ref().map_or(0.0, |f| f.shift);
        }
        found = fits;
    }
    let mut strengths: Vec<f64> = found.iter().flatten().map(|f| f.strength).collect();
    strengths.sort_by(f64::total_cmp);
    let Some(&usual) = strengths.get(strengths.len() / 2).filter(|s| **s > 0.0) else { return Vec::new() };
    // Noise around single lines is ill determined from a few samples: no line is better than half the usual one.
    let mut noises: Vec<f64> = found.iter().flatten().map(|f| f.u).collect();
    noises.sort_by(f64::total_cmp);
    let floor = 0.5 * noises[noises.len() / 2];
    profiles
        .iter()
        .zip(found)
        .filter_map(|(p, f)| {
            let f = f?;
            let strength = f.strength / usual;
            if strength < LEAST_STRENGTH || f.shift.abs() > 0.3 {
                return None;
            }
            let local = track.local(f64::from(p.number));
            Some(Line {
                number: p.number,
                at: local.centre + local.step * f.shift,
                step: local.step,
                direction: local.line,
                u_noise_px: f.u.max(floor) * local.period(),
                strength,
            })
        })
        .collect()
}

/// Place of a sample, line distances from the line.
fn place(i: usize, samples: usize) -> f64 {
    HALF * (2.0 * i as f64 / (samples - 1) as f64 - 1.0)
}

fn profile(grey: &View, track: &Track, k: i32, samples: usize) -> Option<Vec<f64>> {
    let local = track.local(f64::from(k));
    // The inner part of the band: its ends are ragged.
    let half = 0.38 * track.length * local.period();
    let rows = (2.0 * half).ceil().clamp(2.0, MOST_ROWS as f64) as usize;
    let mut values = vec![0.0; samples];
    for r in 0..rows {
        let along = local.line * (half * (2.0 * (r as f64 + 0.5) / rows as f64 - 1.0));
        for (i, value) in values.iter_mut().enumerate() {
            *value += grey.sample(local.centre + along + local.step * place(i, samples))?;
        }
    }
    values.iter_mut().for_each(|v| *v /= rows as f64);
    Some(values)
}

/// The shape that the lines share: its depth against the ground, as a sum of waves over one and a half line distances.
struct Shape {
    values: Vec<f64>,
}

/// A line fitted by the shape.
struct Fitted {
    shift: f64,
    strength: f64,
    /// Standard uncertainty of the shift, line distances.
    u: f64,
}

/// Samples of a shape for each line distance.
const FINE: usize = 40;
/// Half the width of a shape, line distances.
const SHAPE_HALF: f64 = 1.0;

impl Shape {
    /// The median of the profiles, brought onto each other and to one scale.
    fn of(profiles: &[Profile], shifts: &[f64], samples: usize) -> Option<Self> {
        let count = (2.0 * SHAPE_HALF * FINE as f64) as usize + 1;
        let mut bins: Vec<Vec<f64>> = vec![Vec::new(); count];
        let depths: Vec<f64> = profiles.iter().map(|p| deviation(&p.values)).collect();
        let mut sorted = depths.clone();
        sorted.sort_by(f64::total_cmp);
        let usual = sorted[sorted.len() / 2];
        if usual <= 0.0 {
            return None;
        }
        for ((p, shift), depth) in profiles.iter().zip(shifts).zip(&depths) {
            if !(0.5 * usual..=2.0 * usual).contains(depth) {
                continue;
            }
            let mean = p.values.iter().sum::<f64>() / samples as f64;
            for (i, bin) in bins.iter_mut().enumerate() {
                let t = i as f64 / FINE as f64 - SHAPE_HALF + shift;
                if let Some(v) = between(&p.values, t, samples) {
                    bin.push((v - mean) / depth);
                }
            }
        }
        let mut values: Vec<f64> = bins
            .iter_mut()
            .map(|b| {
                b.sort_by(f64::total_cmp);
                if b.len() < 3 { f64::NAN } else { 0.5 * (b[b.len() / 2] + b[(b.len() - 1) / 2]) }
            })
            .collect();
        // Beyond the profiles the comb goes on: one line distance further lies the same.
        for i in 0..count {
            if values[i].is_nan() {
                let other = if i < count / 2 { i + FINE } else { i.checked_sub(FINE)? };
                values[i] = *values.get(other)?;
            }
        }
        values.iter().all(|v| v.is_finite()).then_some(Self { values })
    }

    /// Value and slope at a place.
    fn at(&self, t: f64) -> (f64, f64) {
        let u = ((t + SHAPE_HALF) * FINE as f64).clamp(1.0, self.values.len() as f64 - 2.001);
        let i = u as usize;
        let f = u - i as f64;
        let slope = |i: usize| 0.5 * (self.values[(i + 1).min(self.values.len() - 1)] - self.values[i - 1]);
        let value = self.values[i] * (1.0 - f) + self.values[i + 1] * f;
        (value, FINE as f64 * (slope(i) * (1.0 - f) + slope(i + 1) * f))
    }

    fn fit(&self, values: &[f64], start: f64, samples: usize) -> Option<Fitted> {
        let mut shift = start;
        let mut last = None;
        for _ in 0..6 {
            // values ≈ a shape(t − shift) + b + c t, linear in a, −a dshift, b, c.
            let (mut n, mut g) = (Matrix4::zeros(), Vector4::zeros());
            let rows: Vec<Vector4<f64>> = (0..samples)
                .map(|i| {
                    let t = place(i, samples);
                    let (s, d) = self.at(t - shift);
                    Vector4::new(s, -d, 1.0, t)
                })
                .collect();
            for (row, v) in rows.iter().zip(values) {
                n += row * row.transpose();
                g += row * *v;
            }
            let inverse = n.try_inverse()?;
            let x = inverse * g;
            if x[0] <= 0.0 {
                return None;
            }
            let rss: f64 = rows.iter().zip(values).map(|(r, v)| (v - r.dot(&x)).powi(2)).sum();
            let s2 = rss / (samples - 4) as f64;
            let step = (x[1] / x[0]).clamp(-0.15, 0.15);
            shift += step;
            last = Some(Fitted { shift, strength: x[0], u: (s2 * inverse[(1, 1)]).sqrt() / x[0] });
            if step.abs() < 1e-5 || shift.abs() > 0.45 {
                break;
            }
        }
        last
    }
}

fn deviation(values: &[f64]) -> f64 {
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    (values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / values.len() as f64).sqrt()
}

/// A profile between its samples; `None` outside.
fn between(values: &[f64], t: f64, samples: usize) -> Option<f64> {
    let u = (t / HALF + 1.0) * 0.5 * (samples - 1) as f64;
    let i = u.floor();
    if u < 0.0 || i as usize + 1 >= samples {
        return None;
    }
    let (i, f) = (i as usize, u - i);
    // Cubic convolution as between pixels, with the ends repeated.
    let v = |j: i64| values[j.clamp(0, samples as i64 - 1) as usize];
    let j = i as i64;
    let (a, b, c, d) = (v(j - 1), v(j), v(j + 1), v(j + 2));
    Some(b + 0.5 * f * (c - a + f * (2.0 * a - 5.0 * b + 4.0 * c - d + f * (3.0 * (b - c) + d - a))))
}
