//! The rulers: their divisions, their looks.

use super::{Rng, one_of, uniform};
use rand::RngExt;

/// How a rule is divided.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Divisions {
    Millimetre,
    HalfMillimetre,
    InchSixteenths,
    InchEighths,
    InchTenths,
    InchThirtySeconds,
    /// A surveyor's tape: 3.048 mm.
    FootHundredths,
}

impl Divisions {
    /// Whether lines come in the order of a millimetre rule without being a millimetre apart.
    pub(crate) const fn is_decimal_otherwise(self) -> bool {
        matches!(self, Self::InchTenths | Self::FootHundredths)
    }

    pub(crate) const fn is_metric(self) -> bool {
        matches!(self, Self::Millimetre | Self::HalfMillimetre)
    }

    pub(crate) const fn step_mm(self) -> f64 {
        match self {
            Self::Millimetre => 1.0,
            Self::HalfMillimetre => 0.5,
            Self::InchSixteenths => 25.4 / 16.0,
            Self::InchEighths => 25.4 / 8.0,
            Self::InchTenths => 2.54,
            Self::InchThirtySeconds => 25.4 / 32.0,
            Self::FootHundredths => 3.048,
        }
    }

    /// Rank of a line's length, 0 the shortest.
    fn rank(self, k: i32) -> usize {
        let levels = |most: u32| {
            let n = k.trailing_zeros();
            n.min(most) as usize
        };
        match self {
            Self::Millimetre | Self::InchTenths | Self::FootHundredths => {
                if k % 10 == 0 {
                    2
                } else {
                    usize::from(k % 5 == 0)
                }
            }
            Self::HalfMillimetre => {
                if k % 20 == 0 {
                    3
                } else if k % 10 == 0 {
                    2
                } else {
                    usize::from(k % 2 == 0)
                }
            }
            Self::InchSixteenths => levels(4),
            Self::InchEighths => levels(3),
            Self::InchThirtySeconds => levels(5),
        }
    }

    const fn cycle(self) -> i32 {
        match self {
            Self::Millimetre | Self::InchTenths | Self::FootHundredths => 10,
            Self::HalfMillimetre => 20,
            Self::InchSixteenths => 16,
            Self::InchEighths => 8,
            Self::InchThirtySeconds => 32,
        }
    }
}

/// What a rule is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub(crate) enum Finish {
    Steel,
    White,
    Yellow,
    Wood,
}

impl Finish {
    pub(crate) const ALL: [Self; 4] = [Self::Steel, Self::White, Self::Yellow, Self::Wood];
}

/// A rule: X along its edge from zero, Y across its face; mm.
#[derive(Debug, Clone)]
pub(crate) struct Rule {
    pub(crate) divisions: Divisions,
    pub(crate) finish: Finish,
    pub(crate) length: f64,
    pub(crate) width: f64,
    /// Lengths of the lines by rank.
    pub(crate) lengths: [f64; 6],
    pub(crate) line_width: f64,
    /// Brightness of face and lines.
    face: f64,
    ink: f64,
    /// Where lines begin: at the edge, or a little inside.
    start: f64,
    /// Divisions of the opposite edge.
    pub(crate) other: Option<Divisions>,
    grain: u32,
}

impl Rule {
    pub(crate) fn draw(rng: &mut Rng, divisions: Divisions) -> Self {
        let finish = one_of(rng, &Finish::ALL);
        let (face, ink) = match finish {
            Finish::Steel => (uniform(rng, 120.0, 190.0), uniform(rng, 20.0, 60.0)),
            Finish::White => (uniform(rng, 190.0, 225.0), uniform(rng, 15.0, 50.0)),
            Finish::Yellow => (uniform(rng, 150.0, 200.0), uniform(rng, 20.0, 50.0)),
            Finish::Wood => (uniform(rng, 120.0, 170.0), uniform(rng, 20.0, 50.0)),
        };
        let divisions = if divisions == Divisions::Millimetre && finish == Finish::Steel && rng.random_range(0..4) == 0
        {
            Divisions::HalfMillimetre
        } else {
            divisions
        };
        let short = match divisions {
            Divisions::HalfMillimetre | Divisions::InchThirtySeconds => uniform(rng, 2.0, 3.0),
            _ => uniform(rng, 2.6, 4.4),
        };
        let rise = uniform(rng, 1.0, 2.2);
        let other = one_of(
            rng,
            &[None, None, Some(Divisions::Millimetre), Some(Divisions::InchSixteenths), Some(Divisions::InchEighths)],
        );
        Self {
            divisions,
            finish,
            length: one_of(rng, &[150.0, 200.0, 300.0]),
            width: uniform(rng, 22.0, 32.0),
            lengths: std::array::from_fn(|r| short + rise * r as f64),
            line_width: (0.22 * divisions.step_mm().min(1.4)).max(0.13) * uniform(rng, 0.8, 1.3),
            face,
            ink,
            start: one_of(rng, &[-1.0, -1.0, 0.4]),
            other,
            grain: rng.random_range(0..1 << 20),
        }
    }

    pub(crate) const fn step_mm(&self) -> f64 {
        self.divisions.step_mm()
    }

    pub(crate) const fn contrast(&self) -> f64 {
        self.face - self.ink
    }

    pub(crate) fn near(&self, x: f64, y: f64, by: f64) -> bool {
        (-5.0 - by..self.length + 5.0 + by).contains(&x) && (-by..self.width + by).contains(&y)
    }

    /// Brightness of the face, with edges softened over `soft` mm; `None` off the rule.
    pub(crate) fn tone(&self, x: f64, y: f64, soft: f64) -> Option<f64> {
        if !self.near(x, y, 0.0) {
            return None;
        }
        let mut ink = self.edge(self.divisions, x, y, soft);
        if let Some(other) = self.other {
            ink = ink.max(self.edge(other, x, self.width - y, soft));
        }
        let grain = match self.finish {
            Finish::Steel => {
                9.0 * noise(x * 0.3, y * 9.0, self.grain) + 14.0 * noise(x * 0.04, y * 0.1, self.grain + 1)
            }
            Finish::White => 4.0 * noise(x * 0.2, y * 0.2, self.grain),
            Finish::Yellow => 6.0 * noise(x * 0.15, y * 0.3, self.grain),
            Finish::Wood => 16.0 * noise(x * 0.08, y * 2.5, self.grain) + 6.0 * noise(x * 0.5, y * 6.0, self.grain + 1),
        };
        let face = self.face + grain;
        Some(face + (self.ink - face) * ink)
    }

    fn edge(&self, divisions: Divisions, x: f64, y: f64, soft: f64) -> f64 {
        let step = divisions.step_mm();
        let k = (x / step).round();
        let most = (self.length / step + 1e-6).floor();
        let mut ink = 0.0_f64;
        if (0.0..=most).contains(&k) {
            let reach = self.lengths[divisions.rank(k as i32)];
            let inside = |d: f64| ((d + soft) / (2.0 * soft)).clamp(0.0, 1.0);
            ink = inside(0.5 * self.line_width - (x - k * step).abs()) * inside(y - self.start) * inside(reach - y);
            if ink > 0.0 {
                ink *= 1.0 - 0.3 * noise(k * 1.7, y * 0.6, self.grain + 3).max(0.0);
            }
        }
        // The numbers stand beyond the longest lines.
        let long = divisions.step_mm() * f64::from(divisions.cycle());
        let n = (x / long).round();
        let top = self.lengths[divisions.rank(0)] + 0.7;
        if n >= 0.0 && n * long <= self.length && (top..top + 3.2).contains(&y) {
            let label = if divisions.is_metric() { (n * 10.0) as u32 } else { n as u32 };
            ink = ink.max(number(label, x - n * long, (y - top) / 3.2));
        }
        ink
    }
}

/// Digits of five by three cells, row by row from the top.
const DIGITS: [u16; 10] = [
    0b111_101_101_101_111,
    0b010_110_010_010_111,
    0b111_001_111_100_111,
    0b111_001_111_001_111,
    0b101_101_111_001_001,
    0b111_100_111_001_111,
    0b111_100_111_101_111,
    0b111_001_010_010_010,
    0b111_101_111_101_111,
    0b111_101_111_001_111,
];

fn number(n: u32, x: f64, y: f64) -> f64 {
    let text = n.to_string();
    let left = x + 1.1 * text.len() as f64;
    let (i, cell) = ((left / 2.2).floor(), left.rem_euclid(2.2) / 1.8);
    if i < 0.0 || i as usize >= text.len() || cell >= 1.0 {
        return 0.0;
    }
    let digit = usize::from(text.as_bytes()[i as usize] - b'0');
    let (row, column) = (((1.0 - y) * 5.0) as u32, (cell * 3.0) as u32);
    f64::from(DIGITS[digit] >> (14 - (3 * row.min(4) + column.min(2))) & 1)
}

/// Smooth noise of about −1 to 1.
pub(crate) fn noise(x: f64, y: f64, seed: u32) -> f64 {
    let (i, j) = (x.floor(), y.floor());
    let (u, v) = (x - i, y - j);
    let (u, v) = (u * u * (3.0 - 2.0 * u), v * v * (3.0 - 2.0 * v));
    let at = |a: f64, b: f64| hash((i + a) as i64, (j + b) as i64, seed);
    let low = at(0.0, 0.0) * (1.0 - u) + at(1.0, 0.0) * u;
    let high = at(0.0, 1.0) * (1.0 - u) + at(1.0, 1.0) * u;
    low * (1.0 - v) + high * v
}

pub(crate) fn hash(i: i64, j: i64, seed: u32) -> f64 {
    let mut h = (i as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15)
        ^ (j as u64).wrapping_mul(0xc2b2_ae3d_27d4_eb4f)
        ^ u64::from(seed) << 17;
    h = (h ^ (h >> 29)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    h = (h ^ (h >> 32)).wrapping_mul(0x94d0_49bb_1331_11eb);
    ((h >> 40) as f64 / f64::from(1u32 << 23)) - 1.0
}
