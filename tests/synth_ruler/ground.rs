//! What lies around the ruler, or instead of it.

use super::rule::{hash, noise};
use super::{Rng, uniform};
use rand::RngExt;

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub(crate) enum Ground {
    /// Soft light and dark.
    Plain,
    /// Sand: rough at every size.
    Sand,
    /// Boxes and discs of many tones.
    Things,
    /// Blades of grass, crossing.
    Grass,
    /// Woven fabric.
    Fabric,
    /// A wall of bricks.
    Bricks,
    /// Straight even stripes.
    Stripes,
    /// Horn tubules: nearly parallel, of uneven distance.
    Tubules,
    /// A row of pickets: lines of one length at one distance, with every some one longer by chance.
    Pickets,
}

impl Ground {
    pub(crate) const CLUTTER: [Self; 6] =
        [Self::Plain, Self::Sand, Self::Things, Self::Grass, Self::Bricks, Self::Tubules];
    pub(crate) const EVEN: [Self; 9] = [
        Self::Plain,
        Self::Sand,
        Self::Things,
        Self::Grass,
        Self::Fabric,
        Self::Bricks,
        Self::Stripes,
        Self::Tubules,
        Self::Pickets,
    ];

    pub(crate) const fn name(self) -> &'static str {
        match self {
            Self::Plain => "plain",
            Self::Sand => "sand",
            Self::Things => "things",
            Self::Grass => "grass",
            Self::Fabric => "fabric",
            Self::Bricks => "bricks",
            Self::Stripes => "stripes",
            Self::Tubules => "tubules",
            Self::Pickets => "pickets",
        }
    }

    /// Brightness of every pixel, before blur.
    pub(crate) fn render(self, rng: &mut Rng, (w, h): (u32, u32), size: f64) -> Vec<f64> {
        let seed = rng.random_range(0..1u32 << 20);
        let base = uniform(rng, 70.0, 160.0);
        let (s, c) = uniform(rng, 0.0, std::f64::consts::TAU).sin_cos();
        let period = uniform(rng, 4.0, 30.0);
        let contrast = uniform(rng, 30.0, 100.0);
        let shapes: Vec<[f64; 6]> = (0..60)
            .map(|_| {
                [
                    uniform(rng, 0.0, f64::from(w)),
                    uniform(rng, 0.0, f64::from(h)),
                    uniform(rng, 8.0, 160.0),
                    uniform(rng, 8.0, 160.0),
                    uniform(rng, 30.0, 220.0),
                    uniform(rng, 0.0, 2.0),
                ]
            })
            .collect();
        let mut out: Vec<f64> = Vec::with_capacity((w * h) as usize);
        for row in 0..h {
            for column in 0..w {
                let (x, y) = (f64::from(column) + 0.5, f64::from(row) + 0.5);
                let (a, b) = (x * c + y * s, -x * s + y * c);
                out.push(match self {
                    Self::Plain => base + 30.0 * noise(x * 0.004, y * 0.004, seed),
                    Self::Sand => {
                        base + [0.5, 0.2, 0.08, 0.02]
                            .iter()
                            .enumerate()
                            .map(|(i, f)| 18.0 * noise(x * f, y * f, seed + i as u32))
                            .sum::<f64>()
                    }
                    Self::Things => {
                        let mut tone = base + 20.0 * noise(x * 0.01, y * 0.01, seed);
                        for [u, v, ru, rv, t, kind] in &shapes {
                            let (dx, dy) = ((x - u) / ru, (y - v) / rv);
                            let inside = if *kind < 1.0 { dx.abs().max(dy.abs()) < 1.0 } else { dx.hypot(dy) < 1.0 };
                            if inside {
                                tone = *t;
                            }
                        }
                        tone
                    }
                    Self::Grass => {
                        let blade = |k: u32| {
                            let t = f64::from(k) * 0.7 + 0.2;
                            let (s, c) = t.sin_cos();
                            noise((x * c + y * s) * 0.25, (-x * s + y * c) * 0.02, seed + k)
                        };
                        base + 28.0 * (blade(0).max(blade(1)).max(blade(2)).max(blade(3)))
                    }
                    Self::Fabric => {
                        let over = ((a / period).floor() + (b / period).floor()).rem_euclid(2.0) < 1.0;
                        let t = if over { (a / period).fract() } else { (b / period).fract() };
                        base + contrast * ((t.abs() - 0.5).abs() - 0.25) + 8.0 * noise(x * 0.3, y * 0.3, seed)
                    }
                    Self::Bricks => {
                        let (bw, bh) = (8.0 * size.max(6.0), 3.0 * size.max(6.0));
                        let line = (b / bh).floor();
                        let along = a / bw + 0.5 * line.rem_euclid(2.0);
                        let joint = along.rem_euclid(1.0) < 0.06 || (b / bh).rem_euclid(1.0) < 0.15;
                        if joint {
                            base + 40.0
                        } else {
                            base + 25.0 * hash(along.floor() as i64, line as i64, seed)
                                + 12.0 * noise(x * 0.2, y * 0.2, seed)
                        }
                    }
                    Self::Stripes => {
                        let wave = (std::f64::consts::TAU * a / period).sin();
                        base + 0.5 * contrast * (wave * 3.0).clamp(-1.0, 1.0)
                    }
                    Self::Tubules => {
                        let bent = a + 12.0 * noise(a * 0.003, b * 0.004, seed + 9);
                        base + 22.0 * noise(bent / period * 2.0, b * 0.004, seed)
                            + 10.0 * noise(bent / period * 5.0, b * 0.01, seed + 1)
                    }
                    Self::Pickets => {
                        let k = (a / period).round();
                        let cell = (b / (9.0 * period)).floor();
                        let from = (b / (9.0 * period)).rem_euclid(1.0) * 9.0;
                        let longer = hash(k as i64, cell as i64, seed).abs() < 0.2;
                        let length = if longer { 6.0 } else { 4.0 };
                        let on = ((a / period) - k).abs() < 0.16 && from < length;
                        if on { base - 50.0 } else { base + 40.0 }
                    }
                });
            }
        }
        out
    }
}
