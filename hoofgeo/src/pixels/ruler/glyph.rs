//! One printed character: a digit, a letter of a unit, or anything else.
//!
//! A picture of the character is brought to one size; what counts is how its edges run, by cells (N. Dalal and B. Triggs, "Histograms of
//! oriented gradients for human detection", CVPR 2005, 886-893). A network of one hidden layer weighs that. Its weights are learnt from
//! digits of open fonts, see `examples/train_digits.rs`; they are the file `digits.bin`.

use std::sync::LazyLock;

/// Side of a picture, px, and the margin around the character.
pub(super) const SIDE: usize = 20;
pub(super) const MARGIN: usize = 2;
/// Cells a side, directions of edges.
const CELLS: usize = 5;
const WAYS: usize = 8;
/// What goes into the network: the cells' edges, the cells' ink, width over height.
pub(super) const INPUTS: usize = CELLS * CELLS * (WAYS + 1) + 1;
pub(super) const HIDDEN: usize = 48;
/// The digits, then c and m, then everything else.
pub(super) const CLASSES: usize = 13;
pub(super) const LETTER_C: usize = 10;
pub(super) const LETTER_M: usize = 11;
pub(super) const OTHER: usize = 12;

/// How inked each place is, 0 to 1, row by row: the character between the margins, as high as there is room, or as wide.
pub(super) type Picture = [f32; SIDE * SIDE];

/// What the network is told of a picture; `aspect` is the character's width over its height.
pub(super) fn features(picture: &Picture, aspect: f32) -> [f32; INPUTS] {
    let mut out = [0.0; INPUTS];
    let at = |x: usize, y: usize| picture[y * SIDE + x];
    let cell = SIDE as f32 / CELLS as f32;
    // Each value is shared by the cells around it.
    let near = |x: usize| {
        let c = (x as f32 + 0.5) / cell - 0.5;
        let low = c.floor();
        let f = c - low;
        [(low as i32, 1.0 - f), (low as i32 + 1, f)]
    };
    for y in 1..SIDE - 1 {
        for x in 1..SIDE - 1 {
            let (dx, dy) = (at(x + 1, y) - at(x - 1, y), at(x, y + 1) - at(x, y - 1));
            let size = dx.hypot(dy);
            let turn = (dy.atan2(dx) / std::f32::consts::TAU).rem_euclid(1.0) * WAYS as f32;
            let way = turn as usize % WAYS;
            let part = turn - turn.floor();
            for (row, wy) in near(y) {
                for (column, wx) in near(x) {
                    let inside = |v: i32| (0..CELLS as i32).contains(&v);
                    if !inside(row) || !inside(column) {
                        continue;
                    }
                    let base = (row as usize * CELLS + column as usize) * (WAYS + 1);
                    let w = wx * wy;
                    out[base + way] += w * size * (1.0 - part);
                    out[base + (way + 1) % WAYS] += w * size * part;
                    out[base + WAYS] += 0.5 * w * at(x, y);
                }
            }
        }
    }
    let norm = out.iter().map(|v| v * v).sum::<f32>().sqrt().max(1e-6);
    // About one each.
    let scale = (INPUTS as f32).sqrt() / norm;
    out.iter_mut().for_each(|v| *v *= scale);
    out[INPUTS - 1] = 2.0 * (aspect - 0.6);
    out
}

/// The features of a picture turned by so many quarters of a turn, counter-clockwise to the eye, after it was mirrored left to right or not.
pub(super) fn turned(of: &[f32; INPUTS], quarters: u8, mirrored: bool, aspect: f32) -> [f32; INPUTS] {
    let mut out = [0.0; INPUTS];
    let last = CELLS - 1;
    for row in 0..CELLS {
        for column in 0..CELLS {
            // Where this cell of the turned picture was.
            let (c, r) = match quarters {
                0 => (column, row),
                1 => (last - row, column),
                2 => (last - column, last - row),
                _ => (row, last - column),
            };
            let c = if mirrored { last - c } else { c };
            let (to, from) = ((row * CELLS + column) * (WAYS + 1), (r * CELLS + c) * (WAYS + 1));
            for way in 0..WAYS {
                // Directions turn against the clock, as y runs down.
                let seen = (way + 2 * usize::from(quarters)) % WAYS;
                let was = if mirrored { (WAYS / 2 + WAYS - seen) % WAYS } else { seen };
                out[to + way] = of[from + was];
            }
            out[to + WAYS] = of[from + WAYS];
        }
    }
    out[INPUTS - 1] = 2.0 * (aspect - 0.6);
    out
}

/// The network: weights and offsets of both layers, row by row.
#[derive(Debug, Clone)]
pub(super) struct Network {
    pub hidden: Vec<f32>,
    pub output: Vec<f32>,
}

/// Σ ab, in eight sums beside each other, which the processor takes at a time.
fn dot(a: &[f32], b: &[f32]) -> f32 {
    let (a8, a_rest) = a.as_chunks::<8>();
    let (b8, b_rest) = b.as_chunks::<8>();
    let mut sums = [0.0f32; 8];
    for (a, b) in a8.iter().zip(b8) {
        for i in 0..8 {
            sums[i] += a[i] * b[i];
        }
    }
    sums.iter().sum::<f32>() + a_rest.iter().zip(b_rest).map(|(a, b)| a * b).sum::<f32>()
}

/// Numbers in both layers, offsets with them.
pub(super) const HIDDEN_SIZE: usize = HIDDEN * (INPUTS + 1);
pub(super) const OUTPUT_SIZE: usize = CLASSES * (HIDDEN + 1);

impl Network {
    /// From the file: two scales, then a byte for each weight, which stands for it in steps of that layer's scale.
    pub(super) fn from_bytes(bytes: &[u8]) -> Option<Self> {
        let scale = |i: usize| Some(f32::from_le_bytes(bytes.get(4 * i..4 * i + 4)?.try_into().ok()?));
        let (a, b) = (scale(0)?, scale(1)?);
        let rest = bytes.get(8..)?;
        if rest.len() != HIDDEN_SIZE + OUTPUT_SIZE {
            return None;
        }
        let layer = |of: &[u8], scale: f32| of.iter().map(|v| f32::from(v.cast_signed()) * scale).collect();
        Some(Self { hidden: layer(&rest[..HIDDEN_SIZE], a), output: layer(&rest[HIDDEN_SIZE..], b) })
    }

    /// What the hidden layer makes of an input.
    pub(super) fn middle(&self, input: &[f32; INPUTS]) -> [f32; HIDDEN] {
        std::array::from_fn(|i| {
            let row = &self.hidden[i * (INPUTS + 1)..][..=INPUTS];
            (dot(&row[..INPUTS], input) + row[INPUTS]).max(0.0)
        })
    }

    /// The probability of each class, by softmax.
    pub(super) fn classify(&self, middle: &[f32; HIDDEN]) -> [f32; CLASSES] {
        let mut out: [f32; CLASSES] = std::array::from_fn(|i| {
            let row = &self.output[i * (HIDDEN + 1)..][..=HIDDEN];
            dot(&row[..HIDDEN], middle) + row[HIDDEN]
        });
        let most = out.iter().copied().fold(f32::MIN, f32::max);
        out.iter_mut().for_each(|v| *v = (*v - most).exp());
        let sum: f32 = out.iter().sum();
        out.map(|v| v / sum)
    }
}

/// A character's picture from ink that can be asked for anywhere: its box, and how inked a place is.
pub(super) fn picture(low: [f32; 2], high: [f32; 2], ink: impl Fn(f32, f32) -> f32) -> (Picture, f32) {
    let (w, h) = ((high[0] - low[0]).max(0.1), (high[1] - low[1]).max(0.1));
    let room = (SIDE - 2 * MARGIN) as f32;
    let scale = h.max(w) / room;
    let (cx, cy) = (0.5 * (low[0] + high[0]), 0.5 * (low[1] + high[1]));
    let place = |i: usize| (i as f32 + 0.5 - 0.5 * SIDE as f32) * scale;
    // Smoothed where the character is larger than its picture.
    let taps = (scale.ceil() as usize).clamp(1, 4);
    let mut out = [0.0; SIDE * SIDE];
    for (y, row) in out.chunks_exact_mut(SIDE).enumerate() {
        for (x, value) in row.iter_mut().enumerate() {
            let mut sum = 0.0;
            for j in 0..taps {
                for i in 0..taps {
                    let off = |k: usize| ((k as f32 + 0.5) / taps as f32 - 0.5) * scale;
                    sum += ink(cx + place(x) + off(i), cy + place(y) + off(j));
                }
            }
            *value = sum / (taps * taps) as f32;
        }
    }
    (out, w / h)
}

static NETWORK: LazyLock<Option<Network>> = LazyLock::new(|| Network::from_bytes(include_bytes!("digits.bin")));

/// The probability of each class for a picture's features.
pub(super) fn classify(features: &[f32; INPUTS]) -> [f32; CLASSES] {
    let Some(network) = NETWORK.as_ref() else {
        let mut none = [0.0; CLASSES];
        none[OTHER] = 1.0;
        return none;
    };
    network.classify(&network.middle(features))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A picture without any symmetry.
    fn odd(x: f32, y: f32) -> f32 {
        (0.5 + 0.5 * (0.9 * x + 0.3 * y).sin() * (0.2 * x * y / 20.0 + 1.0).cos()).clamp(0.0, 1.0)
    }

    #[test]
    fn features_turn_with_their_picture() {
        let all = |f: &dyn Fn(f32, f32) -> f32| {
            let (picture, aspect) = picture([0.0; 2], [16.0; 2], f);
            features(&picture, aspect)
        };
        let upright = all(&odd);
        for mirrored in [false, true] {
            for quarters in 0..4u8 {
                // The picture that is seen at (x, y) after mirroring and turning.
                let seen = |x: f32, y: f32| {
                    let (u, v) = match quarters {
                        0 => (x, y),
                        1 => (16.0 - y, x),
                        2 => (16.0 - x, 16.0 - y),
                        _ => (y, 16.0 - x),
                    };
                    odd(if mirrored { 16.0 - u } else { u }, v)
                };
                let (a, b) = (all(&seen), turned(&upright, quarters, mirrored, 1.0));
                for (i, (a, b)) in a.iter().zip(&b).enumerate() {
                    assert!((a - b).abs() < 1e-2, "{quarters} {mirrored} {i}: {a} {b}");
                }
            }
        }
    }
}
