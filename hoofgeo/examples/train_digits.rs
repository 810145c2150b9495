//! Learns the weights by which printed digits are told (`hoofgeo/src/pixels/ruler/digits.bin`) from digits of open fonts: those of the
//! crate `dejavu`, and every TrueType or OpenType font of the folders that are named. The same fonts give the same weights.
//! `cargo run --release --example train_digits -- OUT [--held-out FOLDER] [FOLDER...]` writes them and says how many characters of fonts
//! it did not learn from are told right, wrong and refused.
//!
//! The weights in the project are learnt from DejaVu 2.37 and Debian 13's packages fonts-liberation, fonts-roboto-unhinted, fonts-lato,
//! fonts-open-sans, fonts-b612, fonts-jura, fonts-dosis, fonts-oxygen, fonts-national-park, fonts-routed-gothic (SIL Open Font Licence or
//! Apache 2.0); held out were fonts-cabin, fonts-play, fonts-quicksand and fonts-inter.
#![allow(clippy::print_stdout, reason = "a table is what it is for")]
#![allow(dead_code, reason = "the network is the library's own file")]

#[path = "../src/pixels/ruler/glyph.rs"]
mod glyph;

use glyph::{CLASSES, HIDDEN, HIDDEN_SIZE, INPUTS, LETTER_C, LETTER_M, Network, OTHER, OUTPUT_SIZE};
use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;
use rand_xoshiro::Xoshiro256PlusPlus as Rng;
use rayon::prelude::*;
use skrifa::instance::{LocationRef, Size};
use skrifa::outline::{DrawSettings, OutlinePen};
use skrifa::{FontRef, MetadataProvider};
use std::path::Path;

/// Height of an upper-case letter in a mask, px, and a mask's side.
const HEIGHT: usize = 48;
const SIDE: usize = 96;
/// Letters that are no digit at a second look either.
const LETTERS: &str = "AEFHKLNPRTUVWXYadefhkprtuvwxyz%&#";
const SAMPLES: usize = 400_000;
const BATCH: usize = 64;

/// How inked the places of a character are, 0 to 1.
#[derive(Clone)]
struct Mask(Vec<f32>);

#[derive(Default)]
struct Flat {
    lines: Vec<[[f32; 2]; 2]>,
    start: [f32; 2],
    at: [f32; 2],
}

impl OutlinePen for Flat {
    fn move_to(&mut self, x: f32, y: f32) {
        (self.start, self.at) = ([x, y], [x, y]);
    }
    fn line_to(&mut self, x: f32, y: f32) {
        self.lines.push([self.at, [x, y]]);
        self.at = [x, y];
    }
    fn quad_to(&mut self, cx: f32, cy: f32, x: f32, y: f32) {
        let a = self.at;
        for i in 1..=6 {
            let t = i as f32 / 6.0;
            let of = |a: f32, c: f32, b: f32| a * (1.0 - t) * (1.0 - t) + 2.0 * c * t * (1.0 - t) + b * t * t;
            self.line_to(of(a[0], cx, x), of(a[1], cy, y));
        }
    }
    fn curve_to(&mut self, ax: f32, ay: f32, bx: f32, by: f32, x: f32, y: f32) {
        let s = self.at;
        for i in 1..=8 {
            let t = i as f32 / 8.0;
            let u = 1.0 - t;
            let of = |s: f32, a: f32, b: f32, e: f32| {
                s * u * u * u + 3.0 * a * t * u * u + 3.0 * b * t * t * u + e * t * t * t
            };
            self.line_to(of(s[0], ax, bx, x), of(s[1], ay, by, y));
        }
    }
    fn close(&mut self) {
        let s = self.start;
        self.line_to(s[0], s[1]);
    }
}

/// A character in the middle of a mask; `None` where the font has none.
fn mask(font: &FontRef<'_>, c: char) -> Option<Mask> {
    let outlines = font.outline_glyphs();
    let cap = font.charmap().map('0')?;
    let bounds = |g| font.glyph_metrics(Size::new(1.0), LocationRef::default()).bounds(g);
    let b = bounds(cap)?;
    let size = HEIGHT as f32 / (b.y_max - b.y_min).max(0.1);
    let glyph = outlines.get(font.charmap().map(c)?)?;
    let mut pen = Flat::default();
    glyph.draw(DrawSettings::unhinted(Size::new(size), LocationRef::default()), &mut pen).ok()?;
    let ends = pen.lines.iter().flatten();
    let (low, high) = ends.fold(([f32::MAX; 2], [f32::MIN; 2]), |(l, h), p| {
        ([l[0].min(p[0]), l[1].min(p[1])], [h[0].max(p[0]), h[1].max(p[1])])
    });
    if !(high[0] - low[0]).is_finite() || high[0] - low[0] > SIDE as f32 || high[1] - low[1] > SIDE as f32 {
        return None;
    }
    let (ox, oy) = (0.5 * (SIDE as f32 - low[0] - high[0]), 0.5 * (SIDE as f32 - low[1] - high[1]));
    let mut out = vec![0.0; SIDE * SIDE];
    // Four scan lines a row, exact along them.
    for row in 0..SIDE {
        for sub in 0..4 {
            let y = SIDE as f32 - (row as f32 + (sub as f32 + 0.5) / 4.0) - oy;
            let mut crossings: Vec<(f32, i32)> = pen
                .lines
                .iter()
                .filter(|[a, b]| (a[1] <= y) != (b[1] <= y))
                .map(|[a, b]| {
                    (ox + a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0]), if a[1] < b[1] { 1 } else { -1 })
                })
                .collect();
            crossings.sort_by(|a, b| a.0.total_cmp(&b.0));
            let mut winding = 0;
            for pair in crossings.windows(2) {
                winding += pair[0].1;
                if winding == 0 {
                    continue;
                }
                for (x, v) in out[row * SIDE..(row + 1) * SIDE].iter_mut().enumerate() {
                    let (l, r) = (pair[0].0.max(x as f32), pair[1].0.min(x as f32 + 1.0));
                    *v += 0.25 * (r - l).max(0.0);
                }
            }
        }
    }
    Some(Mask(out))
}

impl Mask {
    fn at(&self, x: f32, y: f32) -> f32 {
        let (x, y) = (x + 0.5 * SIDE as f32, y + 0.5 * SIDE as f32);
        if x < 0.0 || y < 0.0 || x >= SIDE as f32 || y >= SIDE as f32 {
            return 0.0;
        }
        self.0[y as usize * SIDE + x as usize]
    }
}

/// The characters of one font: digits, units, others.
struct Face {
    digits: Vec<Mask>,
    c: Vec<Mask>,
    m: Vec<Mask>,
    letters: Vec<Mask>,
}

impl Face {
    fn of(data: &[u8]) -> Option<Self> {
        let font = FontRef::new(data).ok()?;
        let of = |s: &str| -> Vec<Mask> { s.chars().filter_map(|c| mask(&font, c)).collect() };
        let face = Self { digits: of("0123456789"), c: of("cC"), m: of("mM"), letters: of(LETTERS) };
        (face.digits.len() == 10 && !face.letters.is_empty() && !face.c.is_empty() && !face.m.is_empty())
            .then_some(face)
    }
}

fn uniform(rng: &mut Rng, a: f32, b: f32) -> f32 {
    rng.random_range(a..b)
}

/// A character as it may be seen: its features and class.
fn sample(faces: &[Face], rng: &mut Rng) -> ([f32; INPUTS], usize) {
    loop {
        if let Some(s) = try_sample(faces, rng) {
            return s;
        }
    }
}

fn try_sample(faces: &[Face], rng: &mut Rng) -> Option<([f32; INPUTS], usize)> {
    let face = &faces[rng.random_range(0..faces.len())];
    let pick = |of: &[Mask], rng: &mut Rng| of[rng.random_range(0..of.len())].clone();
    let (mut turn, mut mirror, mut beside, mut cut) = (0, 1.0, None, None);
    let mut bar = None;
    let (class, mask) = match rng.random_range(0..100) {
        0..62 => {
            let d = rng.random_range(0..10);
            if d == 1 && rng.random_range(0..4) == 0 {
                bar = Some(uniform(rng, 0.1, 0.24));
            }
            (d, face.digits[d].clone())
        }
        62..66 => (LETTER_C, pick(&face.c, rng)),
        66..70 => (LETTER_M, pick(&face.m, rng)),
        70..80 => (OTHER, pick(&face.letters, rng)),
        80..85 => {
            turn = [1, 3][rng.random_range(0..2)];
            (OTHER, face.digits[[2, 3, 4, 5, 6, 7, 9][rng.random_range(0..7)]].clone())
        }
        85..90 => {
            turn = 2;
            (OTHER, face.digits[[3, 4, 7][rng.random_range(0..3)]].clone())
        }
        90..94 => {
            mirror = -1.0;
            (OTHER, face.digits[[2, 3, 4, 5, 6, 7, 9][rng.random_range(0..7)]].clone())
        }
        94..97 => {
            beside = Some((pick(&face.digits, rng), uniform(rng, 18.0, 34.0)));
            (OTHER, pick(&face.digits, rng))
        }
        _ => {
            cut = Some(uniform(rng, -6.0, 6.0));
            (OTHER, pick(&face.digits, rng))
        }
    };
    // A picture of `h` px height of the character.
    let h = uniform(rng, 8f32.ln(), 40f32.ln()).exp();
    let scale = HEIGHT as f32 / h;
    let n = (1.9 * h) as usize + 4;
    let (lean, wide) = (uniform(rng, -0.1, 0.1), uniform(rng, 0.75, 1.3));
    let shear = uniform(rng, -0.15, 0.15);
    let (sin, cos) = lean.sin_cos();
    // Thicker or thinner by a blur of the mask, and another level.
    let phase = [uniform(rng, -0.5, 0.5), uniform(rng, -0.5, 0.5)];
    let ink_at = |x: f32, y: f32| -> f32 {
        let (x, y) = (x * cos + y * sin, y * cos - x * sin);
        let (x, y) = ((x + shear * y) / wide * mirror, y);
        let (x, y) = match turn {
            1 => (y, -x),
            2 => (-x, -y),
            3 => (-y, x),
            _ => (x, y),
        };
        if let Some(width) = bar {
            return f32::from(u8::from(x.abs() < 0.5 * width * HEIGHT as f32 && y.abs() < 0.5 * HEIGHT as f32));
        }
        if cut.is_some_and(|c| y > c) {
            return 0.0;
        }
        let mut v = mask.at(x, y);
        if let Some((other, off)) = &beside {
            v = v.max(other.at(x - off, y)).max(0.0);
            v = v.max(mask.at(x + 0.2 * off, y));
        }
        v
    };
    let mut clean = vec![0.0f32; n * n];
    for (i, v) in clean.iter_mut().enumerate() {
        let (x, y) =
            ((i % n) as f32 + 0.5 - 0.5 * n as f32 + phase[0], (i / n) as f32 + 0.5 - 0.5 * n as f32 + phase[1]);
        for j in 0..9 {
            let (dx, dy) = ((j % 3) as f32 / 3.0 - 1.0 / 3.0, (j / 3) as f32 / 3.0 - 1.0 / 3.0);
            *v += ink_at((x + dx) * scale, (y + dy) * scale) / 9.0;
        }
    }
    let sigma = uniform(rng, 0.3, (0.075 * h).clamp(0.5, 2.0));
    let soft = blurred(&clean, n, sigma);
    let most = soft.iter().copied().fold(0.0, f32::max);
    let level = uniform(rng, 0.35, 0.6) * most;
    let (mut low, mut high) = ([f32::MAX; 2], [f32::MIN; 2]);
    for (i, v) in soft.iter().enumerate() {
        if *v > level {
            let (x, y) = ((i % n) as f32, (i / n) as f32);
            low = [low[0].min(x), low[1].min(y)];
            high = [high[0].max(x + 1.0), high[1].max(y + 1.0)];
        }
    }
    if high[0] - low[0] < 1.0 || high[1] - low[1] < 4.0 {
        return None;
    }
    let jitter = 0.03 * h;
    for k in 0..2 {
        low[k] += uniform(rng, -jitter, jitter);
        high[k] += uniform(rng, -jitter, jitter);
    }
    let noise = uniform(rng, 0.0, 0.12);
    let (gain, slope) = (uniform(rng, 0.75, 1.35), uniform(rng, -0.15, 0.15));
    let seen: Vec<f32> = soft
        .iter()
        .enumerate()
        .map(|(i, v)| {
            let e: f32 = rng.sample(StandardNormal);
            (v * gain + noise * e + slope * ((i % n) as f32 / n as f32 - 0.5)).clamp(0.0, 1.0)
        })
        .collect();
    let (picture, aspect) = glyph::picture(low, high, |x, y| {
        let (u, v) = (x - 0.5, y - 0.5);
        if u < 0.0 || v < 0.0 || u >= (n - 1) as f32 || v >= (n - 1) as f32 {
            return 0.0;
        }
        let (i, j) = (u as usize, v as usize);
        let (a, b) = (u - i as f32, v - j as f32);
        let at = |i: usize, j: usize| seen[j * n + i];
        (at(i, j) * (1.0 - a) + at(i + 1, j) * a) * (1.0 - b) + (at(i, j + 1) * (1.0 - a) + at(i + 1, j + 1) * a) * b
    });
    Some((glyph::features(&picture, aspect), class))
}

fn blurred(values: &[f32], n: usize, sigma: f32) -> Vec<f32> {
    let reach = (3.0 * sigma).ceil() as i32;
    let bell: Vec<f32> = (-reach..=reach).map(|i| (-0.5 * (i as f32 / sigma).powi(2)).exp()).collect();
    let sum: f32 = bell.iter().sum();
    let pass = |from: &[f32], dx: i32, dy: i32| -> Vec<f32> {
        (0..n * n)
            .map(|i| {
                let (x, y) = ((i % n) as i32, (i / n) as i32);
                let at = |k: i32| {
                    let (x, y) = ((x + k * dx).clamp(0, n as i32 - 1), (y + k * dy).clamp(0, n as i32 - 1));
                    from[y as usize * n + x as usize]
                };
                bell.iter().zip(-reach..).map(|(w, k)| w * at(k)).sum::<f32>() / sum
            })
            .collect()
    };
    pass(&pass(values, 1, 0), 0, 1)
}

/// Adam's steps (D. P. Kingma and J. Ba, "Adam: a method for stochastic optimization", ICLR 2015).
struct Adam {
    first: Vec<f32>,
    second: Vec<f32>,
    steps: i32,
}

impl Adam {
    fn new(n: usize) -> Self {
        Self { first: vec![0.0; n], second: vec![0.0; n], steps: 0 }
    }

    fn step(&mut self, weights: &mut [f32], gradient: &[f32], rate: f32) {
        self.steps += 1;
        let (a, b) = (1.0 - 0.9f32.powi(self.steps), 1.0 - 0.999f32.powi(self.steps));
        for (((w, g), m), v) in weights.iter_mut().zip(gradient).zip(&mut self.first).zip(&mut self.second) {
            *m = 0.9 * *m + 0.1 * g;
            *v = 0.999 * *v + 0.001 * g * g;
            // Small weights, so that a byte each does.
            *w -= rate * (*m / a / ((*v / b).sqrt() + 1e-8) + 2e-4 * *w);
        }
    }
}

fn train(faces: &[Face]) -> Network {
    let mut rng = Rng::seed_from_u64(1);
    let mut start = |n: usize, fan: usize| -> Vec<f32> {
        (0..n).map(|_| rng.sample::<f32, _>(StandardNormal) * (1.0 / fan as f32).sqrt()).collect()
    };
    let mut net = Network { hidden: start(HIDDEN_SIZE, INPUTS), output: start(OUTPUT_SIZE, HIDDEN) };
    let (mut a, mut b) = (Adam::new(HIDDEN_SIZE), Adam::new(OUTPUT_SIZE));
    let batches = SAMPLES / BATCH;
    for batch in 0..batches {
        let samples: Vec<([f32; INPUTS], usize)> = (0..BATCH)
            .into_par_iter()
            .map(|i| sample(faces, &mut Rng::seed_from_u64((batch * BATCH + i + 1000) as u64)))
            .collect();
        let (mut gh, mut go) = (vec![0.0f32; HIDDEN_SIZE], vec![0.0f32; OUTPUT_SIZE]);
        let mut loss = 0.0;
        for (input, class) in &samples {
            let middle = net.middle(input);
            let mut error = net.classify(&middle);
            loss -= error[*class].max(1e-9).ln() / BATCH as f32;
            error[*class] -= 1.0;
            let mut back = [0.0f32; HIDDEN];
            for (i, e) in error.iter().enumerate() {
                let e = e / BATCH as f32;
                let row = i * (HIDDEN + 1);
                for j in 0..HIDDEN {
                    go[row + j] += e * middle[j];
                    back[j] += e * net.output[row + j];
                }
                go[row + HIDDEN] += e;
            }
            for (j, e) in back.iter().enumerate().filter(|(j, _)| middle[*j] > 0.0) {
                let row = &mut gh[j * (INPUTS + 1)..][..=INPUTS];
                for (g, v) in row.iter_mut().zip(input) {
                    *g += e * v;
                }
                row[INPUTS] += e;
            }
        }
        let rate = 2e-3 * (1.0 - batch as f32 / batches as f32);
        a.step(&mut net.hidden, &gh, rate);
        b.step(&mut net.output, &go, rate);
        if batch % 1000 == 0 {
            println!("{batch:>6} of {batches}: loss {loss:.3}");
        }
    }
    net
}

fn bytes(net: &Network) -> Vec<u8> {
    let scale = |w: &[f32]| w.iter().fold(0.0f32, |m, v| m.max(v.abs())) / 127.0;
    let (a, b) = (scale(&net.hidden), scale(&net.output));
    let mut out: Vec<u8> = [a, b].iter().flat_map(|s| s.to_le_bytes()).collect();
    for (layer, s) in [(&net.hidden, a), (&net.output, b)] {
        out.extend(layer.iter().map(|w| ((w / s).round() as i8).cast_unsigned()));
    }
    out
}

/// Characters told right, wrong and refused, digits and others apart.
fn judge(net: &Network, faces: &[Face], name: &str) {
    let mut counts = [[0usize; 3]; 2];
    let mut confused = std::collections::BTreeMap::new();
    for seed in 0..20_000u64 {
        let (input, class) = sample(faces, &mut Rng::seed_from_u64(900_000_000 + seed));
        let p = net.classify(&net.middle(&input));
        let best = (0..CLASSES).max_by(|a, b| p[*a].total_cmp(&p[*b])).unwrap_or(OTHER);
        let sure = p[best] >= 0.8 && best != OTHER;
        let kind = usize::from(class >= 10);
        counts[kind][if !sure {
            2
        } else if best == class {
            0
        } else {
            1
        }] += 1;
        if sure && best != class {
            *confused.entry((class, best)).or_insert(0) += 1;
        }
    }
    let mut worst: Vec<_> = confused.into_iter().collect();
    worst.sort_by_key(|w| std::cmp::Reverse(w.1));
    worst.truncate(12);
    println!("{name}: digits right, wrong, refused {:?}; letters and others {:?}; {worst:?}", counts[0], counts[1]);
}

fn faces_in(folder: &Path) -> Vec<Face> {
    let mut files: Vec<_> = std::fs::read_dir(folder).into_iter().flatten().flatten().map(|e| e.path()).collect();
    files.sort();
    files
        .iter()
        .filter(|f| f.extension().is_some_and(|e| e == "ttf" || e == "otf"))
        .filter(|f| {
            // Hairlines and outlines are printed on no ruler.
            let name = f.file_name().unwrap_or_default().to_string_lossy().into_owned();
            !["Thin", "Hairline", "ExtraLight", "Outline"].iter().any(|n| name.contains(n))
        })
        .filter_map(|f| Face::of(&std::fs::read(f).ok()?))
        .collect()
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut args = std::env::args().skip(1);
    let out = args.next().ok_or("name the file to write")?;
    let (mut learnt, mut held) = (Vec::new(), Vec::new());
    use dejavu::{sans, sans_condensed, sans_mono, serif, serif_condensed};
    for data in [
        sans::regular(),
        sans::bold(),
        sans::oblique(),
        sans_condensed::regular(),
        sans_condensed::bold(),
        sans_mono::regular(),
        sans_mono::bold(),
        serif::regular(),
        serif::bold(),
        serif_condensed::regular(),
    ] {
        learnt.extend(Face::of(data));
    }
    while let Some(arg) = args.next() {
        if arg == "--held-out" {
            held.extend(faces_in(Path::new(&args.next().ok_or("name a folder")?)));
        } else {
            learnt.extend(faces_in(Path::new(&arg)));
        }
    }
    println!("{} faces to learn from, {} held out", learnt.len(), held.len());
    let net = train(&learnt);
    let bytes = bytes(&net);
    let read = Network::from_bytes(&bytes).ok_or("the file is not whole")?;
    std::fs::write(out, &bytes)?;
    judge(&read, &learnt, "learnt");
    if !held.is_empty() {
        judge(&read, &held, "held out");
    }
    Ok(())
}
