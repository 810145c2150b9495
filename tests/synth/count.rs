//! How often intervals hold the truth.

use super::{Photo, Spec, draw, rng};
use hoofgeo::measure::ALL;
use hoofgeo::measured::{MeasureOptions, measure};
use rayon::prelude::*;
use std::collections::BTreeMap;

/// Counts of one measurement.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Count {
    pub(crate) values: usize,
    pub(crate) inside: usize,
    /// Sums of u², of (error)² and of (error/u)² where that is not a gross miss.
    pub(crate) u2: f64,
    pub(crate) error2: f64,
    pub(crate) normalised: f64,
    pub(crate) below: usize,
}

impl Count {
    pub(crate) fn share(&self) -> f64 {
        self.inside as f64 / self.values.max(1) as f64
    }

    fn add(&mut self, o: &Self) {
        self.values += o.values;
        self.inside += o.inside;
        self.u2 += o.u2;
        self.error2 += o.error2;
        self.normalised += o.normalised;
        self.below += o.below;
    }
}

/// Counts of many photos.
#[derive(Debug, Clone, Default)]
pub(crate) struct Tally {
    pub(crate) photos: usize,
    pub(crate) refused: BTreeMap<String, usize>,
    pub(crate) flags: BTreeMap<&'static str, usize>,
    pub(crate) by_id: BTreeMap<&'static str, Count>,
    pub(crate) monte_carlo: usize,
}

impl Tally {
    pub(crate) fn total(&self) -> Count {
        let mut t = Count::default();
        self.by_id.values().for_each(|c| t.add(c));
        t
    }

    pub(crate) fn refusals(&self) -> usize {
        self.refused.values().sum()
    }

    pub(crate) fn merge(mut self, o: Self) -> Self {
        self.photos += o.photos;
        self.monte_carlo += o.monte_carlo;
        for (k, v) in o.refused {
            *self.refused.entry(k).or_default() += v;
        }
        for (k, v) in o.flags {
            *self.flags.entry(k).or_default() += v;
        }
        for (k, v) in o.by_id {
            self.by_id.entry(k).or_default().add(&v);
        }
        self
    }

    fn one(photo: &Photo, options: &MeasureOptions) -> Self {
        let mut t = Self { photos: 1, ..Self::default() };
        match measure(&photo.sidecar, &photo.lens, options) {
            Err(e) => {
                *t.refused.entry(format!("{e}")).or_default() += 1;
            }
            Ok(m) => {
                for f in &m.scene.flags {
                    *t.flags.entry(f.name()).or_default() += 1;
                }
                for v in &m.values {
                    let Ok(truth) = photo.truth.value(v.measurement, None) else { continue };
                    let error = v.value - truth;
                    let c = t.by_id.entry(v.measurement.id).or_default();
                    c.values += 1;
                    c.inside += usize::from((v.interval[0]..=v.interval[1]).contains(&truth));
                    c.below += usize::from(truth < v.interval[0]);
                    c.u2 += v.u * v.u;
                    c.error2 += error * error;
                    c.normalised += (error / v.u).powi(2);
                    t.monte_carlo += usize::from(v.linear_fails);
                }
            }
        }
        t
    }
}

/// Draws `photos` photos and counts. The same seed gives the same photos.
pub(crate) fn count(spec: &Spec, photos: usize, seed: u64, options: &MeasureOptions) -> Tally {
    (0..photos as u64)
        .into_par_iter()
        .map(|i| {
            let mut rng = rng(seed.wrapping_mul(1_000_003).wrapping_add(i));
            let photo = std::iter::repeat_with(|| draw(spec, &mut rng)).flatten().next();
            photo.map_or_else(Tally::default, |p| Tally::one(&p, options))
        })
        .reduce(Tally::default, Tally::merge)
}

/// A table of a tally, one line a measurement.
pub(crate) fn table(t: &Tally) -> String {
    let mut out = String::new();
    for m in ALL {
        if let Some(c) = t.by_id.get(m.id) {
            let n = c.values as f64;
            out += &format!(
                "    {:32} {:6} {:6.2} %  below {:5.2} %  u {:9.4} rms {:9.4}  z {:5.3}\n",
                m.id,
                c.values,
                100.0 * c.share(),
                100.0 * c.below as f64 / n,
                (c.u2 / n).sqrt(),
                (c.error2 / n).sqrt(),
                (c.normalised / n).sqrt()
            );
        }
    }
    out
}
