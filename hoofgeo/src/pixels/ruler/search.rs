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

/// More tiles than this are not all looked at.
const MANY_TILES: usize = 16_000;
/// By how much the waves of neighbouring tiles may differ, as a share, to belong to one comb.
const ALIKE: f64 = 0.12;

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
            if next.width().min(next.height()) < TILE as u32 + 8 {
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
    let spectrum = Spectrum::new();
    let step = TILE / 2;
    let (columns, rows) = (grey.width() as usize / step, grey.height() as usize / step);
    let centre_of = |row: usize, column: usize| {
        let middle = TILE as f64 / 2.0;
        Point2::new((column * step) as f64 + middle, (row * step) as f64 + middle) * scale
    };
    let seed = |centre: Point2<f64>, wave: Option<(Vector2<f64>, f64)>| {
        let (wave, strength) = wave?;
        // `wave` is in waves per px; the lines are square to it, one step apart.
        let step = wave / wave.norm_squared() * scale;
        let line = Vector2::new(-wave.y, wave.x).normalize();
        Some(Seed { local: Local { centre, step, line }, strength })
    };
    // Two tiles go through one transform: as its real and its imaginary part.
    let of_row = |row: usize| {
        // A large photo's finest tiles are looked at like the black squares of a chessboard: they overlap.
        let every = if columns * rows > MANY_TILES { 2 } else { 1 };
        let places = (row % every..columns.saturating_sub(1)).step_by(every);
        let places = places.map(|c| (c, centre_of(row, c))).filter(|(_, p)| wanted(*p));
        let fits = places.filter(|(c, _)| contrast(grey, c * step, row * step) >= LEAST_CONTRAST);
        let fits: Vec<(usize, Point2<f64>)> = fits.collect();
        let mut found = vec![[None; 2]; columns.saturating_sub(1)];
        for pair in fits.chunks(2) {
            let corners = [pair[0].0 * step, pair[pair.len() - 1].0 * step];
            let tile = spectrum.of(grey, corners, row * step);
            for (i, (column, centre)) in pair.iter().enumerate() {
                found[*column] = spectrum.strongest_waves(&tile, i == 1).map(|wave| seed(*centre, wave));
            }
        }
        found
    };
    let mut found: Vec<[Option<Seed>; 2]> = (0..rows.saturating_sub(1)).into_par_iter().flat_map_iter(of_row).collect();
    weigh_by_neighbours(&mut found, columns.saturating_sub(1));
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

/// A ruler is long: what beats counts by the tiles along its comb that beat alike.
fn weigh_by_neighbours(found: &mut [[Option<Seed>; 2]], columns: usize) {
    const REACH: i32 = 6;
    let wave = |s: &Seed| s.local.step / s.local.step.norm_squared();
    let alike = |a: &Seed, b: &Seed| {
        let (a, b) = (wave(a), wave(b));
        (a - b).norm().min((a + b).norm()) < ALIKE * a.norm()
    };
    let rows = found.len() / columns.max(1);
    let counts: Vec<[f64; 2]> = (0..found.len())
        .into_par_iter()
        .map(|i| {
            found[i].map(|seed| {
                let Some(seed) = seed else { return 0.0 };
                let (column, row) = ((i % columns) as f64, (i / columns) as f64);
                let way = seed.local.step.normalize();
                let there = |n: i32| {
                    let (x, y) = ((column + f64::from(n) * way.x).round(), (row + f64::from(n) * way.y).round());
                    // The row of lines may lie between two rows of tiles.
                    [-1.0, 0.0, 1.0].into_iter().any(|off| {
                        let (x, y) = if way.x.abs() > way.y.abs() { (x, y + off) } else { (x + off, y) };
                        let inside = x >= 0.0 && y >= 0.0 && x < columns as f64 && y < rows as f64;
                        inside && found[y as usize * columns + x as usize].iter().flatten().any(|o| alike(&seed, o))
                    })
                };
                (1..=REACH).flat_map(|n| [n, -n]).filter(|n| there(*n)).count() as f64
            })
        })
        .collect();
    for (seeds, counts) in found.iter_mut().zip(counts) {
        for (seed, count) in seeds.iter_mut().zip(counts) {
            if let Some(seed) = seed {
                seed.strength *= (1.0 + count) * (1.0 + count);
            }
        }
    }
}

/// Standard deviation of a tile's brightness.
fn contrast(grey: &Grey, x: usize, y: usize) -> f64 {
    let (stride, values) = (grey.width() as usize, grey.values());
    let (mut sum, mut squares) = (0.0f32, 0.0f32);
    // Every second place of every second row tells enough.
    for r in (0..TILE).step_by(2) {
        for v in values[(y + r) * stride + x..][..TILE].iter().skip(r / 2 % 2).step_by(2) {
            sum += v;
            squares += v * v;
        }
    }
    let n = (TILE * TILE / 4) as f32;
    f64::from((squares / n - (sum / n) * (sum / n)).max(0.0)).sqrt()
}

/// A wave that is looked for in a tile: its bin, its frequency, and the bins along its direction that it must stand out from.
#[derive(Debug, Clone, Copy)]
struct Bin {
    u: i32,
    v: i32,
    /// Whether a tile holds enough of it.
    counts: bool,
    along: [(i32, i32); 2],
}

type Tile = [Complex<f32>; TILE * TILE];

/// The transform of tiles, and all that is the same for every tile.
struct Spectrum {
    fft: Fft,
    bins: Vec<Bin>,
    /// Distance of every bin from the origin.
    radii: [f32; TILE * TILE],
}

const fn bin(u: i32, v: i32) -> usize {
    (v.rem_euclid(TILE as i32) as usize) * TILE + u.rem_euclid(TILE as i32) as usize
}

impl Spectrum {
    fn new() -> Self {
        let most = TILE as f64 / SHORTEST;
        let bound = most as i32;
        let mut bins = Vec::new();
        for v in -bound..=bound {
            for u in 0..=bound {
                let r2 = f64::from(u * u + v * v);
                if r2 < 9.0 || r2 > most * most || (u == 0 && v <= 0) {
                    continue;
                }
                let along = |t: f64| ((f64::from(u) * t).round() as i32, (f64::from(v) * t).round() as i32);
                bins.push(Bin { u, v, counts: r2 >= LEAST_WAVES * LEAST_WAVES, along: [along(0.72), along(1.36)] });
            }
        }
        let mut radii = [0.0; TILE * TILE];
        let half = TILE as i32 / 2;
        for v in -half..half {
            for u in -half..half {
                radii[bin(u, v)] = ((u * u + v * v) as f32).sqrt();
            }
        }
        Self { fft: Fft::new(), bins, radii }
    }

    /// The spectra of two tiles of a row, packed.
    fn of(&self, grey: &Grey, corners: [usize; 2], y: usize) -> Tile {
        let (stride, values) = (grey.width() as usize, grey.values());
        let mut tile = [Complex::new(0.0f32, 0.0); TILE * TILE];
        let mut sums = [0.0f32; 2];
        for (r, out) in tile.chunks_exact_mut(TILE).enumerate() {
            let [a, b] = corners.map(|x| &values[(y + r) * stride + x..][..TILE]);
            for ((o, a), b) in out.iter_mut().zip(a).zip(b) {
                *o = Complex::new(*a, *b);
                sums[0] += a;
                sums[1] += b;
            }
        }
        let mean = Complex::new(sums[0], sums[1]) / (TILE * TILE) as f32;
        for (i, t) in tile.iter_mut().enumerate() {
            *t = (*t - mean) * (self.fft.window[i / TILE] * self.fft.window[i % TILE]);
        }
        self.fft.transform(&mut tile);
        tile
    }

    /// The highest wave of a tile, waves per px, with its strength, and the one that stands out most where that is another.
    fn strongest_waves(&self, tile: &Tile, second: bool) -> [Option<(Vector2<f64>, f64)>; 2] {
        let power = |u: i32, v: i32| -> f32 {
            let (a, b) = (tile[bin(u, v)], tile[bin(-u, -v)].conj());
            0.25 * if second { (a - b).norm_sqr() } else { (a + b).norm_sqr() }
        };
        // Natural pictures fall off with the frequency: waves count by their height against that.
        let weighed = |u: i32, v: i32| power(u, v) * self.radii[bin(u, v)];
        let ((mut best, mut total), (mut highest, mut all)) = (((0.0, 0, 0), 0.0), ((0.0, 0, 0), 0.0));
        for Bin { u, v, counts, along: [low, high] } in &self.bins {
            let p = weighed(*u, *v);
            all += p;
            if !counts {
                continue;
            }
            if p > highest.0 {
                highest = (p, *u, *v);
            }
            // An edge is a ridge through the origin, a comb a peak: what counts is how far a wave stands out from those along its direction.
            let out = p - weighed(low.0, low.1).max(weighed(high.0, high.1));
            total += out.max(0.0);
            if out > best.0 {
                best = (out, *u, *v);
            }
        }
        // The highest wave where it holds a good share of all, else the one that stands out.
        let around = |u: i32, v: i32| -> f32 {
            (-1..=1).flat_map(|j| (-1..=1).map(move |i| (i, j))).map(|(i, j)| weighed(u + i, v + j)).sum()
        };
        let share = f64::from(around(highest.1, highest.2) / all);
        let apart = (best.1 - highest.1).abs().max((best.2 - highest.2).abs()) > 1;
        let out_share = PEAK * f64::from(best.0 / total);
        let high = (share >= LEAST_SHARE).then_some((highest.1, highest.2, share));
        let out = (out_share >= LEAST_OUT && (apart || high.is_none())).then_some((best.1, best.2, out_share));
        // The peak between its neighbours, by the parabola through the logarithms.
        let peak = |a: f32, b: f32, c: f32| {
            let [a, b, c] = [a, b, c].map(|p| f64::from(p.max(1e-30)).ln());
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
