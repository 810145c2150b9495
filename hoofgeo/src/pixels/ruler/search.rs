//! Where in a photo something beats like graduations: the spectra of overlapping tiles at several sizes.

use super::patch::Local;
use crate::pixels::Grey;
use nalgebra::{Complex, Point2, Vector2};
use rayon::prelude::*;

/// Side of a tile, px; a power of two.
const TILE: usize = 32;
const BITS: u32 = TILE.trailing_zeros();
/// Waves a tile must hold at least, and the shortest wave, px.
const LEAST_WAVES: f64 = 4.5;
const SHORTEST: f64 = 2.7;
/// Share of a tile's power that the strongest wave must have.
const LEAST_SHARE: f64 = 0.08;
/// Share that a wave must have of what stands out of a tile's spectrum.
const LEAST_OUT: f64 = 0.12;
/// By how much more a peak holds than its highest bin.
const PEAK: f64 = 2.0;
/// Least standard deviation of a tile's brightness, grey levels: below, it is noise.
const LEAST_CONTRAST: f64 = 1.5;

/// A place to start following a comb from, and how strongly it beats.
#[derive(Debug, Clone, Copy)]
pub(super) struct Seed {
    pub local: Local,
    pub strength: f64,
}

/// A picture reduced by powers of two: every reduction averages two by two pixels.
pub(super) struct Pyramid {
    levels: Vec<Grey>,
}

impl Pyramid {
    pub(super) fn new(grey: &Grey, levels: usize) -> Self {
        let mut all: Vec<Grey> = Vec::new();
        for _ in 1..levels {
            let next = halved(all.last().unwrap_or(grey));
            if next.width().min(next.height()) < 4 * TILE as u32 {
                break;
            }
            all.push(next);
        }
        Self { levels: all }
    }

    /// The picture at a level, 0 the whole one.
    pub(super) fn level<'a>(&'a self, whole: &'a Grey, level: usize) -> Option<&'a Grey> {
        if level == 0 { Some(whole) } else { self.levels.get(level - 1) }
    }
}

fn halved(grey: &Grey) -> Grey {
    let (w, h) = (grey.width() / 2, grey.height() / 2);
    let (from, stride) = (grey.values(), grey.width() as usize);
    let mut values = Vec::with_capacity((w * h) as usize);
    for y in 0..h as usize {
        let (a, b) = (&from[2 * y * stride..], &from[(2 * y + 1) * stride..]);
        values.extend((0..w as usize).map(|x| 0.25 * (a[2 * x] + a[2 * x + 1] + b[2 * x] + b[2 * x + 1])));
    }
    Grey::from_values(w, h, values).unwrap_or_else(|| unreachable!("one value for each pixel"))
}

/// The places of a picture that beat, the strongest first, of those that are wanted by their px in the whole photo. `scale` is how many
/// of those one of its px is.
pub(super) fn seeds(grey: &Grey, scale: f64, wanted: impl Fn(Point2<f64>) -> bool + Sync) -> Vec<Seed> {
    let fft = Fft::new();
    let step = TILE / 2;
    let (columns, rows) = (grey.width() as usize / step, grey.height() as usize / step);
    let at = &|row: usize, column: usize| {
        let middle = TILE as f64 / 2.0;
        let centre = Point2::new((column * step) as f64 + middle, (row * step) as f64 + middle) * scale;
        let waves = if wanted(centre) { strongest_waves(grey, column * step, row * step, &fft) } else { [None, None] };
        waves.map(|wave| {
            let (wave, strength) = wave?;
            // `wave` is in waves per px; the lines are square to it, one step apart.
            let step = wave / wave.norm_squared() * scale;
            let line = Vector2::new(-wave.y, wave.x).normalize();
            Some(Seed { local: Local { centre, step, line }, strength })
        })
    };
    let found: Vec<[Option<Seed>; 2]> = (0..rows.saturating_sub(1))
        .into_par_iter()
        .flat_map_iter(|row| (0..columns.saturating_sub(1)).map(move |column| at(row, column)))
        .collect();
    // Both kinds in turn, the strongest first: their strengths cannot be compared.
    let [high, out] = [0, 1].map(|kind| {
        let mut of: Vec<Seed> = found.iter().filter_map(|f| f[kind]).collect();
        of.sort_by(|a, b| b.strength.total_cmp(&a.strength));
        of
    });
    let pairs = high.len().min(out.len());
    let mut seeds: Vec<Seed> = high.iter().zip(&out).flat_map(|(a, b)| [*a, *b]).collect();
    seeds.extend(high[pairs..].iter().chain(&out[pairs..]));
    seeds
}

/// The highest wave of a tile, waves per px, with its strength, and the one that stands out most where that is another.
fn strongest_waves(grey: &Grey, x: usize, y: usize, fft: &Fft) -> [Option<(Vector2<f64>, f64)>; 2] {
    let stride = grey.width() as usize;
    let mut tile = [Complex::new(0.0f32, 0.0); TILE * TILE];
    let values = grey.values();
    let mut sum = 0.0;
    for (r, out) in tile.chunks_exact_mut(TILE).enumerate() {
        let from = &values[(y + r) * stride + x..][..TILE];
        for (o, v) in out.iter_mut().zip(from) {
            o.re = *v;
            sum += v;
        }
    }
    let mean = sum / (TILE * TILE) as f32;
    let mut variance = 0.0;
    for (i, t) in tile.iter_mut().enumerate() {
        let d = t.re - mean;
        variance += f64::from(d * d);
        t.re = d * fft.window[i / TILE] * fft.window[i % TILE];
    }
    if (variance / (TILE * TILE) as f64).sqrt() < LEAST_CONTRAST {
        return [None, None];
    }
    fft.transform(&mut tile);
    let power = |u: i32, v: i32| -> f64 {
        let (u, v) = (u.rem_euclid(TILE as i32) as usize, v.rem_euclid(TILE as i32) as usize);
        f64::from(tile[v * TILE + u].norm_sqr())
    };
    let most = TILE as f64 / SHORTEST;
    let bound = most as i32;
    // Natural pictures fall off with the frequency: waves count by their height against that.
    let weighed = |u: i32, v: i32| power(u, v) * f64::from(u * u + v * v).sqrt();
    // An edge is a ridge through the origin, a comb a peak: what counts is how far a wave stands out from those along its direction.
    let stands_out = |u: i32, v: i32, p: f64| {
        let along = |t: f64| weighed((f64::from(u) * t).round() as i32, (f64::from(v) * t).round() as i32);
        p - along(0.72).max(along(1.36))
    };
    let ((mut best, mut total), (mut highest, mut all)) = (((0.0, 0, 0), 0.0), ((0.0, 0, 0), 0.0));
    for v in -bound..=bound {
        for u in 0..=bound {
            let r2 = f64::from(u * u + v * v);
            if r2 < 9.0 || r2 > most * most || (u == 0 && v <= 0) {
                continue;
            }
            let p = weighed(u, v);
            all += p;
            if r2 < LEAST_WAVES * LEAST_WAVES {
                continue;
            }
            if p > highest.0 {
                highest = (p, u, v);
            }
            let out = stands_out(u, v, p);
            total += out.max(0.0);
            if out > best.0 {
                best = (out, u, v);
            }
        }
    }
    // The highest wave where it holds a good share of all, else the one that stands out.
    let around = |u: i32, v: i32| -> f64 {
        (-1..=1).flat_map(|j| (-1..=1).map(move |i| (i, j))).map(|(i, j)| weighed(u + i, v + j)).sum()
    };
    let share = around(highest.1, highest.2) / all;
    let apart = (best.1 - highest.1).abs().max((best.2 - highest.2).abs()) > 1;
    let out_share = PEAK * best.0 / total;
    let high = (share >= LEAST_SHARE).then_some((highest.1, highest.2, share));
    let out = (out_share >= LEAST_OUT && (apart || high.is_none())).then_some((best.1, best.2, out_share));
    // The peak between its neighbours, by the parabola through the logarithms.
    let peak = |a: f64, b: f64, c: f64| {
        let (a, b, c) = (a.max(1e-30).ln(), b.max(1e-30).ln(), c.max(1e-30).ln());
        let bend = a - 2.0 * b + c;
        if bend < 0.0 { (0.5 * (a - c) / bend).clamp(-0.5, 0.5) } else { 0.0 }
    };
    let wave = |(u, v, strength): (i32, i32, f64)| {
        let du = peak(power(u - 1, v), power(u, v), power(u + 1, v));
        let dv = peak(power(u, v - 1), power(u, v), power(u, v + 1));
        (Vector2::new(f64::from(u) + du, f64::from(v) + dv) / TILE as f64, strength)
    };
    [high.map(wave), out.map(wave)]
}

/// A transform of tiles, after J. W. Cooley and J. W. Tukey, "An algorithm for the machine calculation of complex Fourier series",
/// Mathematics of Computation 19 (1965) 297-301.
struct Fft {
    window: [f32; TILE],
    turns: [Complex<f32>; TILE / 2],
}

impl Fft {
    fn new() -> Self {
        let angle = |i: usize, of: usize| std::f32::consts::TAU * i as f32 / of as f32;
        Self {
            window: std::array::from_fn(|i| 0.5 - 0.5 * (std::f32::consts::TAU * (i as f32 + 0.5) / TILE as f32).cos()),
            turns: std::array::from_fn(|i| Complex::from_polar(1.0, -angle(i, TILE))),
        }
    }

    /// Both directions of a tile.
    fn transform(&self, tile: &mut [Complex<f32>]) {
        for row in tile.chunks_exact_mut(TILE) {
            self.line(row);
        }
        transpose(tile);
        for row in tile.chunks_exact_mut(TILE) {
            self.line(row);
        }
        transpose(tile);
    }

    fn line(&self, x: &mut [Complex<f32>]) {
        for i in 0..TILE {
            let j = i.reverse_bits() >> (usize::BITS - BITS);
            if i < j {
                x.swap(i, j);
            }
        }
        let mut half = 1;
        while half < TILE {
            let stride = TILE / (2 * half);
            for block in x.chunks_exact_mut(2 * half) {
                let (low, high) = block.split_at_mut(half);
                for (k, (a, b)) in low.iter_mut().zip(high).enumerate() {
                    let t = *b * self.turns[k * stride];
                    (*a, *b) = (*a + t, *a - t);
                }
            }
            half *= 2;
        }
    }
}

fn transpose(tile: &mut [Complex<f32>]) {
    for i in 0..TILE {
        for j in i + 1..TILE {
            tile.swap(i * TILE + j, j * TILE + i);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wave_is_found_with_its_length_and_direction() {
        // Six and a half waves a tile: fewer than `LEAST_WAVES` are not looked for.
        let wave = Vector2::new(0.17, -0.11);
        let values = (0..128 * 128)
            .map(|i| {
                (100.0
                    + 20.0
                        * (std::f64::consts::TAU * (wave.x * f64::from(i % 128) + wave.y * f64::from(i / 128))).cos())
                    as f32
            })
            .collect();
        let grey = Grey::from_values(128, 128, values).expect("whole");
        let seeds = seeds(&grey, 1.0, |_| true);
        assert!(seeds.len() >= 9);
        for s in seeds {
            let found = s.local.step / s.local.step.norm_squared();
            let off = (found - wave).norm().min((found + wave).norm());
            assert!(off < 0.002, "{found}");
        }
    }
}
