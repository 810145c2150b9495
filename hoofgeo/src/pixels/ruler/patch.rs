//! A small oblique window on a comb of lines, and the wave that the lines make in it.

use super::view::View;
use nalgebra::{Complex, Point2, Vector2};

/// Samples per line distance, along the comb and along the lines.
pub(super) const PER_PERIOD: usize = 8;
/// Line distances that a window holds.
const PERIODS: usize = 8;
const COLUMNS: usize = PERIODS * PER_PERIOD;
/// How far a window reaches along the lines, in line distances either way.
const REACH: usize = 7;
/// From this distance of lines, px, values between four pixels do.
const ROUGH_FROM: f64 = 5.0;
pub(super) const ROWS: usize = 2 * REACH * PER_PERIOD + 1;

/// Where a comb is at one place: a point on a line, the way to the next line, the direction of the lines.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Local {
    /// A point, px.
    pub centre: Point2<f64>,
    /// From one line to the next along the comb, px.
    pub step: Vector2<f64>,
    /// Direction of the lines, of length 1.
    pub line: Vector2<f64>,
}

impl Local {
    /// Distance of two lines along the comb, px.
    pub(super) fn period(&self) -> f64 {
        self.step.norm()
    }
}

/// What a window tells of the comb.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Beat {
    /// How far the nearest line lies from the window's centre along the comb, in line distances.
    pub offset: f64,
    /// By how much it leans: line distances along the comb for each one along the line.
    pub lean: f64,
    /// The stretch along the lines where they are seen, in line distances from the centre.
    pub band: [f64; 2],
    /// Share of the window's variance within the band that the wave explains, 0 to 1.
    pub share: f64,
    /// Height of the wave, units of brightness.
    pub amplitude: f64,
}

/// Looks at the comb around a place. `within` limits where the band may be sought, in line distances from the centre. `None` where the
/// window reaches out of the photo along the comb, or nothing beats in it.
pub(super) fn beat(grey: &View, at: &Local, within: [f64; 2]) -> Option<Beat> {
    let period = at.period();
    let mut waves = [Complex::new(0.0, 0.0); ROWS];
    let mut energies = [0.0; ROWS];
    let mut weights = [0.0; COLUMNS];
    for (i, w) in weights.iter_mut().enumerate() {
        *w = 0.5 - 0.5 * (std::f64::consts::TAU * (i as f64 + 0.5) / COLUMNS as f64).cos();
    }
    let total: f64 = weights.iter().sum();
    // The angle is 0 in the window's middle, between columns 31 and 32; it repeats with every line distance.
    let turns: [Complex<f64>; PER_PERIOD] = std::array::from_fn(|i| {
        Complex::from_polar(1.0, -std::f64::consts::TAU * (i as f64 + 0.5) / PER_PERIOD as f64)
    });
    let mut seen = 0;
    for (j, (wave, energy)) in waves.iter_mut().zip(&mut energies).enumerate() {
        let v = row_place(j);
        if v < within[0] - 1.0 || v > within[1] + 1.0 {
            continue;
        }
        let start = at.centre + at.line * (v * period) - at.step * (PERIODS as f64 / 2.0);
        let mut values = [0.0; COLUMNS];
        let mut inside = true;
        for (i, value) in values.iter_mut().enumerate() {
            let place = start + at.step * ((i as f64 + 0.5) / PER_PERIOD as f64);
            match if period < ROUGH_FROM { grey.sample(place) } else { grey.rough(place) } {
                Some(s) => *value = s,
                None => {
                    inside = false;
                    break;
                }
            }
        }
        if !inside {
            continue;
        }
        seen += 1;
        let mean = values.iter().zip(&weights).map(|(s, w)| s * w).sum::<f64>() / total;
        for (i, (s, w)) in values.iter().zip(&weights).enumerate() {
            let part = w * (s - mean) / total;
            *wave += turns[i % PER_PERIOD] * part;
            *energy += part * (s - mean);
        }
    }
    if seen < 2 * PER_PERIOD {
        return None;
    }
    bands(&waves, &energies, within)
}

/// Place of a row, in line distances from the centre.
fn row_place(j: usize) -> f64 {
    (j as f64 - (ROWS / 2) as f64) / PER_PERIOD as f64
}

fn bands(waves: &[Complex<f64>; ROWS], energies: &[f64; ROWS], within: [f64; 2]) -> Option<Beat> {
    // How the wave turns from row to row: rows half a line distance apart, summed where it is strong.
    const APART: usize = PER_PERIOD / 2;
    let turning: Complex<f64> = (0..ROWS - APART).map(|j| waves[j + APART] * waves[j].conj()).sum();
    let turn = turning.arg() / APART as f64;
    // Rows brought into step and smoothed over a line distance.
    let straight: Vec<Complex<f64>> =
        (0..ROWS).map(|j| waves[j] * Complex::from_polar(1.0, -turn * (j as f64 - (ROWS / 2) as f64))).collect();
    let smooth = |j: usize| -> f64 {
        let (from, to) = (j.saturating_sub(3), (j + 3).min(ROWS - 1));
        straight[from..=to].iter().sum::<Complex<f64>>().norm() / (to - from + 1) as f64
    };
    let heights: Vec<f64> = (0..ROWS).map(smooth).collect();
    let allowed = |j: usize| (within[0]..=within[1]).contains(&row_place(j));
    let (top, height) =
        heights.iter().copied().enumerate().filter(|(j, _)| allowed(*j)).max_by(|a, b| a.1.total_cmp(&b.1))?;
    if height <= 0.0 {
        return None;
    }
    let above = |j: usize| heights[j] > 0.5 * height;
    let (mut low, mut high) = (top, top);
    while low > 0 && above(low - 1) {
        low -= 1;
    }
    while high + 1 < ROWS && above(high + 1) {
        high += 1;
    }
    // Where the height passes one half, between rows.
    let cross = |inside: usize, outside: usize| {
        let (a, b) = (heights[inside], heights[outside]);
        let t = if a > b { (a - 0.5 * height) / (a - b) } else { 0.5 };
        row_place(inside) + (row_place(outside) - row_place(inside)) * t.clamp(0.0, 1.0)
    };
    let band = [
        if low > 0 { cross(low, low - 1) } else { row_place(low) },
        if high + 1 < ROWS { cross(high, high + 1) } else { row_place(high) },
    ];
    let sum: Complex<f64> = straight[low..=high].iter().sum();
    let energy: f64 = energies[low..=high].iter().sum();
    let rows = (high - low + 1) as f64;
    // A wave of height A has variance A²/2 and gives |sum| = rows A/2.
    let share = if energy > 0.0 { 2.0 * sum.norm_sqr() / rows / energy } else { 0.0 };
    let middle = 0.5 * (band[0] + band[1]);
    // Dark lines: the wave's trough. The phase of the straightened sum is that of the centre's row; at the band's middle it has turned on.
    let offset = -(-sum).arg() / std::f64::consts::TAU;
    let lean = -turn * PER_PERIOD as f64 / std::f64::consts::TAU;
    let at_middle = offset + lean * middle;
    Some(Beat { offset: at_middle - at_middle.round(), lean, band, share, amplitude: 2.0 * sum.norm() / rows })
}
