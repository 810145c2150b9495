//! What is printed beside a comb: characters, whichever way up, put together to numbers.

use super::glyph::{self, CLASSES, LETTER_C, LETTER_M, OTHER};
use super::patch::Local;
use super::trace::Track;
use super::view::View;
use nalgebra::{Point2, Vector2};
use rayon::prelude::*;

/// How far print is looked for from the middle of the lines, line distances, and samples.
const REACH: f64 = 16.0;
const REACH_SAMPLES: f64 = 420.0;
/// Samples for each line distance: as the photo has them, within reason.
const FINEST: f64 = 48.0;
const MOST_SAMPLES: f64 = 1.5e6;
/// Height of a character, samples.
const HEIGHTS: [f64; 2] = [7.0, 120.0];
/// … and line distances.
const LARGEST: f64 = 9.0;
const MOST_BLOBS: usize = 300;
/// What a place must be darker than its neighbourhood by, standard deviations, to be ink; and grey levels.
const INK: f32 = 0.8;
const LEAST_INK: f32 = 5.0;

/// Which way print stands: its reading direction by quarters of a turn from the comb's, and whether it is seen from behind.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Way {
    pub quarters: u8,
    pub mirrored: bool,
}

impl Way {
    pub(super) const fn all(mirrored: bool) -> [Self; 4] {
        [
            Self { quarters: 0, mirrored },
            Self { quarters: 1, mirrored },
            Self { quarters: 2, mirrored },
            Self { quarters: 3, mirrored },
        ]
    }

    /// From a place along and across the comb to one along and across the reading direction.
    fn turned(self, [u, v]: [f64; 2]) -> [f64; 2] {
        let u = if self.mirrored { -u } else { u };
        match self.quarters {
            0 => [u, v],
            1 => [v, -u],
            2 => [-u, -v],
            _ => [-v, u],
        }
    }

    fn back(self, [x, y]: [f64; 2]) -> [f64; 2] {
        let [u, v] = match self.quarters {
            0 => [x, y],
            1 => [-y, x],
            2 => [-x, -y],
            _ => [y, -x],
        };
        [if self.mirrored { -u } else { u }, v]
    }
}

/// A number or a unit that is printed beside a comb.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Word {
    /// Its middle: number of the line, with its fraction, and line distances across the comb.
    pub at: [f64; 2],
    /// Height of its characters, line distances.
    pub height: f64,
    pub text: Text,
    /// How probable its least certain character is.
    pub sure: f64,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Text {
    Number(u32),
    Centimetre,
    Millimetre,
}

/// The photo along a comb, laid straight, and what is inked in it.
pub(super) struct Strip {
    per: f64,
    /// Number of the line at the left side, and line distances from the band's middle at the upper one.
    left: f64,
    top: f64,
    width: usize,
    height: usize,
    values: Vec<f32>,
    blobs: Vec<Blob>,
}

/// A connected piece of ink: its box, samples, and how dark and bright it is in there.
#[derive(Debug, Clone, Copy)]
struct Blob {
    low: [f64; 2],
    high: [f64; 2],
    dark: f32,
    ground: f32,
    /// Of its picture as it lies in the strip, once for all ways it may stand; `None` where it is no single character.
    features: Option<[f32; glyph::INPUTS]>,
}

/// A character in reading direction.
#[derive(Debug, Clone, Copy)]
struct Glyph {
    low: [f64; 2],
    high: [f64; 2],
    class: usize,
    sure: f64,
}

impl Strip {
    /// The strip of a comb from its first to its last line and some beyond.
    pub(super) fn of(view: &View, track: &Track) -> Self {
        let middle = track.local(0.5 * f64::from(track.ends[0] + track.ends[1]));
        let per = middle.period().min(FINEST);
        let beyond = 6.0;
        let (left, right) = (f64::from(track.ends[0]) - beyond, f64::from(track.ends[1]) + beyond);
        // A whole tape has more samples than print needs.
        let per = per.min((MOST_SAMPLES / ((right - left) * 2.0 * REACH.min(REACH_SAMPLES / per))).sqrt());
        let reach = REACH.min(REACH_SAMPLES / per);
        let (width, height) = (((right - left) * per) as usize, (2.0 * reach * per) as usize);
        let mut strip =
            Self { per, left, top: -reach, width, height, values: vec![f32::NAN; width * height], blobs: Vec::new() };
        for i in 0..width {
            let k = left + (i as f64 + 0.5) / per;
            let at = local(track, k);
            let across = right_handed(&at) * at.period();
            for j in 0..height {
                let place = at.centre + across * (strip.top + (j as f64 + 0.5) / per);
                if let Some(v) = view.rough(place) {
                    strip.values[j * width + i] = v as f32;
                }
            }
        }
        // The lines themselves are no print: what reaches into the middle of their band is left out.
        let inside = |s: f64| ((s * track.length - strip.top) * per).clamp(0.0, (height - 1) as f64) as usize;
        let band = [inside(-0.2), inside(0.2)];
        strip.find_blobs(Some(band), (2.6 * per).clamp(9.0, 44.0) as usize, LARGEST * per, MOST_BLOBS);
        strip
    }

    /// A whole picture: places are its px.
    pub(super) fn whole(view: &View) -> Self {
        let (w, h) = view.frame();
        let (width, height) = (w as usize, h as usize);
        let place = |i: usize| Point2::new((i % width) as f64 + 0.5, (i / width) as f64 + 0.5);
        let values = (0..width * height).map(|i| view.rough(place(i)).map_or(f32::NAN, |v| v as f32)).collect();
        let mut strip = Self { per: 1.0, left: 0.0, top: 0.0, width, height, values, blobs: Vec::new() };
        strip.find_blobs(None, 20, HEIGHTS[1], 4 * MOST_BLOBS);
        strip
    }

    fn find_blobs(&mut self, band: Option<[usize; 2]>, radius: usize, largest: f64, most: usize) {
        let (w, h) = (self.width, self.height);
        let (mean, deviation) = moments(&self.values, w, h, radius);
        let ink: Vec<bool> =
            (0..w * h).map(|i| mean[i] - self.values[i] > (INK * deviation[i]).max(LEAST_INK)).collect();
        for blob in components(&ink, w, h) {
            let size = [blob.high[0] - blob.low[0], blob.high[1] - blob.low[1]];
            let long = size[0].max(size[1]) as f64;
            if !(HEIGHTS[0]..=HEIGHTS[1]).contains(&long) || long > largest || blob.count < 8 {
                continue;
            }
            if band.is_some_and(|band| blob.low[1] <= band[1] && blob.high[1] >= band[0]) {
                continue;
            }
            let mut inside: Vec<f32> = Vec::with_capacity(blob.count);
            let (mut ground, mut n) = (0.0, 0);
            for y in blob.low[1]..blob.high[1] {
                for x in blob.low[0]..blob.high[0] {
                    let i = y * w + x;
                    if ink[i] {
                        inside.push(self.values[i]);
                    } else if self.values[i].is_finite() && self.values[i] > mean[i] {
                        ground += self.values[i];
                        n += 1;
                    }
                }
            }
            inside.sort_by(f32::total_cmp);
            let dark = inside[inside.len() / 4];
            // A bar fills its box: the ground is what lies around it.
            let i = (blob.low[1] + blob.high[1]) / 2 * w + (blob.low[0] + blob.high[0]) / 2;
            let ground = if n > 3 { ground / n as f32 } else { mean[i] + 0.6 * deviation[i] };
            if ground - dark < 2.0 * LEAST_INK {
                continue;
            }
            self.blobs.push(Blob {
                low: blob.low.map(|v| v as f64),
                high: blob.high.map(|v| v as f64),
                dark,
                ground,
                features: None,
            });
        }
        // On a cluttered ground, print is what stands out most.
        self.blobs.sort_by(|a, b| (b.ground - b.dark).total_cmp(&(a.ground - a.dark)));
        self.blobs.truncate(most);
        let straight = Way { quarters: 0, mirrored: false };
        let all: Vec<_> = self.blobs.par_iter().map(|b| Some(self.features(b, straight, b.low, b.high))).collect();
        for (blob, features) in self.blobs.iter_mut().zip(all) {
            blob.features = features;
        }
    }

    /// The words that stand one way.
    pub(super) fn words(&self, way: Way) -> Vec<Word> {
        let mut glyphs: Vec<Glyph> = self.blobs.par_iter().flat_map_iter(|b| self.glyphs(b, way)).collect();
        glyphs.sort_by(|a, b| a.low[0].total_cmp(&b.low[0]));
        let mut used = vec![false; glyphs.len()];
        let mut words = Vec::new();
        for i in 0..glyphs.len() {
            if used[i] {
                continue;
            }
            used[i] = true;
            let mut word = vec![glyphs[i]];
            for j in i + 1..glyphs.len() {
                let (a, b) = (word[word.len() - 1], glyphs[j]);
                if !used[j] && follows(&a, &b) {
                    used[j] = true;
                    word.push(b);
                }
            }
            words.extend(self.word(&word, way));
        }
        words
    }

    /// The one or two characters that a blob may be.
    fn glyphs(&self, blob: &Blob, way: Way) -> Vec<Glyph> {
        let (a, b) = (way.turned(blob.low), way.turned(blob.high));
        let (low, high) = ([a[0].min(b[0]), a[1].min(b[1])], [a[0].max(b[0]), a[1].max(b[1])]);
        let (w, h) = (high[0] - low[0], high[1] - low[1]);
        if !(HEIGHTS[0]..=HEIGHTS[1]).contains(&h) || w > 2.2 * h {
            return Vec::new();
        }
        let one = match &blob.features {
            Some(f) => {
                let aspect = ((high[0] - low[0]) / (high[1] - low[1])) as f32;
                told(low, high, &glyph::turned(f, way.quarters, way.mirrored, aspect))
            }
            None => self.glyph(blob, way, low, high),
        };
        if one.class != OTHER || w < 0.85 * h {
            return vec![one];
        }
        // Two that touch: cut where there is least ink.
        let ink = |x: f64| -> f64 {
            (0..12).map(|j| f64::from(self.ink(blob, way, x, low[1] + h * (f64::from(j) + 0.5) / 12.0))).sum()
        };
        let cut =
            (0..15).map(|i| low[0] + w * (0.3 + 0.4 * f64::from(i) / 14.0)).min_by(|a, b| ink(*a).total_cmp(&ink(*b)));
        let Some(cut) = cut else { return vec![one] };
        let parts = [self.glyph(blob, way, low, [cut, high[1]]), self.glyph(blob, way, [cut, low[1]], high)];
        if parts.iter().all(|p| p.class < 10 && p.sure > 0.6) { parts.to_vec() } else { vec![one] }
    }

    fn ink(&self, blob: &Blob, way: Way, x: f64, y: f64) -> f32 {
        let [u, v] = way.back([x, y]);
        let (u, v) = (u - 0.5, v - 0.5);
        if u < 0.0 || v < 0.0 || u >= (self.width - 1) as f64 || v >= (self.height - 1) as f64 {
            return 0.0;
        }
        let (i, j) = (u as usize, v as usize);
        let (a, b) = ((u - i as f64) as f32, (v - j as f64) as f32);
        let (p, q) = (&self.values[j * self.width + i..][..2], &self.values[(j + 1) * self.width + i..][..2]);
        let value = (p[0] * (1.0 - a) + p[1] * a) * (1.0 - b) + (q[0] * (1.0 - a) + q[1] * a) * b;
        let ink = (blob.ground - value) / (blob.ground - blob.dark);
        if ink.is_finite() { ink.clamp(0.0, 1.0) } else { 0.0 }
    }

    fn glyph(&self, blob: &Blob, way: Way, low: [f64; 2], high: [f64; 2]) -> Glyph {
        told(low, high, &self.features(blob, way, low, high))
    }

    fn features(&self, blob: &Blob, way: Way, low: [f64; 2], high: [f64; 2]) -> [f32; glyph::INPUTS] {
        // Neighbours are no part of it.
        let pad = 0.04 * (high[1] - low[1]) + 0.5;
        let inside =
            |x: f64, y: f64| (low[0] - pad..=high[0] + pad).contains(&x) && (low[1] - pad..=high[1] + pad).contains(&y);
        let (picture, aspect) = glyph::picture(low.map(|v| v as f32), high.map(|v| v as f32), |x, y| {
            let (x, y) = (f64::from(x), f64::from(y));
            if inside(x, y) { self.ink(blob, way, x, y) } else { 0.0 }
        });
        glyph::features(&picture, aspect)
    }

    fn word(&self, glyphs: &[Glyph], way: Way) -> Option<Word> {
        let classes: Vec<usize> = glyphs.iter().map(|g| g.class).collect();
        let text = match classes[..] {
            [LETTER_C, LETTER_M] => Text::Centimetre,
            [LETTER_M, LETTER_M] => Text::Millimetre,
            _ if classes.len() <= 4 && classes.iter().all(|c| *c < 10) => {
                Text::Number(classes.iter().fold(0, |n, d| 10 * n + *d as u32))
            }
            _ => return None,
        };
        let low = [glyphs[0].low[0], glyphs.iter().map(|g| g.low[1]).fold(f64::MAX, f64::min)];
        let high = [glyphs[glyphs.len() - 1].high[0], glyphs.iter().map(|g| g.high[1]).fold(f64::MIN, f64::max)];
        let at = way.back([0.5 * (low[0] + high[0]), 0.5 * (low[1] + high[1])]);
        let height = glyphs.iter().map(|g| g.high[1] - g.low[1]).sum::<f64>() / glyphs.len() as f64;
        Some(Word {
            at: [self.left + at[0] / self.per, self.top + at[1] / self.per],
            height: height / self.per,
            text,
            sure: glyphs.iter().map(|g| g.sure).fold(1.0, f64::min),
        })
    }
}

/// A character by its features.
fn told(low: [f64; 2], high: [f64; 2], features: &[f32; glyph::INPUTS]) -> Glyph {
    let p = glyph::classify(features);
    let class = (0..CLASSES).max_by(|a, b| p[*a].total_cmp(&p[*b])).unwrap_or(OTHER);
    Glyph { low, high, class, sure: f64::from(p[class]) }
}

/// Whether a character stands next to another in one word.
fn follows(a: &Glyph, b: &Glyph) -> bool {
    let (ha, hb) = (a.high[1] - a.low[1], b.high[1] - b.low[1]);
    let h = ha.max(hb);
    let level = (a.high[1] - b.high[1]).abs() < 0.22 * h && (a.low[1] - b.low[1]).abs() < 0.22 * h;
    let gap = b.low[0] - a.high[0];
    // Narrow characters stand as far apart as wide ones, by their middles.
    let middles = 0.5 * (b.low[0] + b.high[0] - a.low[0] - a.high[0]);
    level && gap > -0.2 * h && (gap < 0.42 * h || (gap < 0.75 * h && middles < 1.1 * h))
}

/// The comb at a line, going straight on beyond its ends.
fn local(track: &Track, k: f64) -> Local {
    let inside = k.clamp(f64::from(track.ends[0]), f64::from(track.ends[1]));
    let at = track.local(inside);
    Local { centre: at.centre + at.step * (k - inside), ..at }
}

/// The direction of the lines to which the photo turns clockwise from the comb's: so that print in a strip is as in the photo.
fn right_handed(at: &Local) -> Vector2<f64> {
    if at.step.x * at.line.y - at.step.y * at.line.x < 0.0 { -at.line } else { at.line }
}

/// Mean and standard deviation around every place, of what there is: sums of columns that roll down the picture, and along them.
fn moments(values: &[f32], w: usize, h: usize, radius: usize) -> (Vec<f32>, Vec<f32>) {
    let (mut mean, mut deviation) = (vec![0.0; w * h], vec![0.0; w * h]);
    let mut columns = vec![[0.0f64; 3]; w];
    let add = |columns: &mut [[f64; 3]], y: usize, sign: f64| {
        for (c, v) in columns.iter_mut().zip(&values[y * w..(y + 1) * w]) {
            if v.is_finite() {
                let v = f64::from(*v);
                *c = [c[0] + sign, c[1] + sign * v, c[2] + sign * v * v];
            }
        }
    };
    (0..radius.min(h)).for_each(|y| add(&mut columns, y, 1.0));
    for y in 0..h {
        if y + radius < h {
            add(&mut columns, y + radius, 1.0);
        }
        if y > radius {
            add(&mut columns, y - radius - 1, -1.0);
        }
        let mut sum = [0.0; 3];
        let change = |sum: &mut [f64; 3], x: usize, sign: f64| {
            sum.iter_mut().zip(&columns[x]).for_each(|(s, c)| *s += sign * c);
        };
        (0..radius.min(w)).for_each(|x| change(&mut sum, x, 1.0));
        for x in 0..w {
            if x + radius < w {
                change(&mut sum, x + radius, 1.0);
            }
            if x > radius {
                change(&mut sum, x - radius - 1, -1.0);
            }
            let n = sum[0].max(1.0);
            let m = sum[1] / n;
            mean[y * w + x] = m as f32;
            deviation[y * w + x] = (sum[2] / n - m * m).max(0.0).sqrt() as f32;
        }
    }
    (mean, deviation)
}

struct Component {
    low: [usize; 2],
    high: [usize; 2],
    count: usize,
}

/// Connected pieces, corners included.
fn components(ink: &[bool], w: usize, h: usize) -> Vec<Component> {
    let mut seen = vec![false; w * h];
    let mut found = Vec::new();
    let mut stack = Vec::new();
    for start in 0..w * h {
        if !ink[start] || seen[start] {
            continue;
        }
        seen[start] = true;
        stack.push(start);
        let mut c = Component { low: [usize::MAX; 2], high: [0; 2], count: 0 };
        while let Some(i) = stack.pop() {
            let (x, y) = (i % w, i / w);
            c.low = [c.low[0].min(x), c.low[1].min(y)];
            c.high = [c.high[0].max(x + 1), c.high[1].max(y + 1)];
            c.count += 1;
            for ny in y.saturating_sub(1)..(y + 2).min(h) {
                for nx in x.saturating_sub(1)..(x + 2).min(w) {
                    let n = ny * w + nx;
                    if ink[n] && !seen[n] {
                        seen[n] = true;
                        stack.push(n);
                    }
                }
            }
        }
        found.push(c);
    }
    found
}
