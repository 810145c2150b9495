//! How fast the horn grows at toe and heel: from rings that move down, and from the wall's length from one trim to the next.

use super::change::Change;
use super::pool::{Combination, Pool, Scatter, minus};
use super::rings::{Pairing, pair};
use super::shot::{Key, Reading, Shot};
use super::trend::{MONTH_DAYS, days};
use crate::measure::{DORSAL_WALL_LENGTH, HEEL_LENGTH, Measurement};
use crate::{Foot, Side, Stage, View};
use jiff::civil::Date;
use nalgebra::DMatrix;

/// Where the horn grows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum GrowthPlace {
    /// At the toe, along the dorsal wall.
    Toe,
    /// At the heel, along the heel wall.
    Heel,
}

impl GrowthPlace {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Toe, Self::Heel];

    /// The name used in results.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Toe => "toe",
            Self::Heel => "heel",
        }
    }

    const fn length(self) -> &'static Measurement {
        match self {
            Self::Toe => &DORSAL_WALL_LENGTH,
            Self::Heel => &HEEL_LENGTH,
        }
    }
}

/// What a growth rate was made from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum GrowthFrom {
    /// Rings found again lower down: growth alone.
    Rings,
    /// Length before a trim minus length after the one before: growth less wear.
    Wall,
}

impl GrowthFrom {
    /// The name used in results.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Rings => "rings",
            Self::Wall => "wall_length",
        }
    }
}

/// A growth rate.
#[derive(Debug, Clone, PartialEq)]
pub struct Growth {
    /// Which foot.
    pub foot: Foot,
    /// The side that the photos show.
    pub side: Option<Side>,
    /// Where.
    pub place: GrowthPlace,
    /// From what.
    pub from: GrowthFrom,
    /// The intervals between visits, mm grown in each.
    pub intervals: Vec<Change>,
    /// mm per month of 30.4 days, one rate for all intervals.
    pub per_month: f64,
    /// Its standard uncertainty.
    pub u: f64,
    /// Coverage factor.
    pub k: f64,
    /// How well one rate fits all intervals; `None` with a single one.
    pub scatter: Option<Scatter>,
    /// Intervals whose rings could be paired in several ways, and were left out.
    pub ambiguous: usize,
}

/// All growth rates of one animal that its photos allow.
pub(super) fn all(shots: &[&Shot], one_scale: bool) -> Vec<Growth> {
    let mut sides: Vec<(Foot, Option<Side>)> =
        shots.iter().filter(|s| s.view == View::Lateral).map(|s| (s.foot, s.side)).collect();
    sides.sort_unstable();
    sides.dedup();
    let mut found = Vec::new();
    for (foot, side) in sides {
        let of: Vec<&Shot> =
            shots.iter().copied().filter(|s| s.view == View::Lateral && (s.foot, s.side) == (foot, side)).collect();
        for place in GrowthPlace::ALL {
            for from in [GrowthFrom::Rings, GrowthFrom::Wall] {
                let (pool, steps, ambiguous) = match from {
                    GrowthFrom::Rings => by_rings(&of, place, one_scale),
                    GrowthFrom::Wall => by_wall(&of, place, one_scale),
                };
                if let Some(fit) = rate(&pool, &steps, from) {
                    found.push(Growth { foot, side, place, from, ambiguous, ..fit });
                }
            }
        }
    }
    found
}

/// A step from one visit to the next: their days and sums.
type Step = ((Date, Combination), (Date, Combination));

/// Rings of consecutive visits.
fn by_rings<'a>(shots: &[&'a Shot], place: GrowthPlace, one_scale: bool) -> (Pool<'a>, Vec<Step>, usize) {
    let at = place as usize;
    // One photo a visit, the one with most rings.
    let mut visits: Vec<&Shot> = Vec::new();
    let mut sorted: Vec<&'a Shot> = shots.iter().copied().filter(|s| s.rings[at].len() > 1).collect();
    sorted.sort_by_key(|s| (s.day, std::cmp::Reverse(s.rings[at].len())));
    for shot in sorted {
        if visits.last().is_none_or(|v| v.day != shot.day) {
            visits.push(shot);
        }
    }
    let mut readings: Vec<(&Shot, &Reading)> = Vec::new();
    let mut steps: Vec<Step> = Vec::new();
    let mut ambiguous = 0;
    for pairs in visits.windows(2) {
        let (a, b) = (pairs[0], pairs[1]);
        let depth = |s: &Shot| s.rings[at].iter().map(|r| r.value).collect::<Vec<f64>>();
        let (above, common) = match pair(at, &depth(a), &depth(b), days(a.day, b.day) / MONTH_DAYS) {
            Pairing::New { above, common } => (above, common),
            Pairing::Ambiguous => {
                ambiguous += 1;
                continue;
            }
            Pairing::None => continue,
        };
        let mut mean = |shot: &'a Shot, first: usize| -> Combination {
            (0..common)
                .map(|k| {
                    readings.push((shot, &shot.rings[at][first + k]));
                    (readings.len() - 1, 1.0 / common as f64)
                })
                .collect()
        };
        let (earlier, later) = (mean(a, 0), mean(b, above));
        steps.push(((a.day, earlier), (b.day, later)));
    }
    (Pool::new(readings, one_scale), steps, ambiguous)
}

/// Wall lengths after a trim and before the next one.
fn by_wall<'a>(shots: &[&'a Shot], place: GrowthPlace, one_scale: bool) -> (Pool<'a>, Vec<Step>, usize) {
    let readings: Vec<(&Shot, &Reading)> = shots
        .iter()
        .filter_map(|s| Some((*s, s.readings.iter().find(|r| r.measurement.id == place.length().id)?)))
        .collect();
    let pool = Pool::new(readings.clone(), one_scale);
    let mut dates: Vec<Date> = readings.iter().map(|r| r.0.day).collect();
    dates.sort_unstable();
    dates.dedup();
    let at = |day: Date, stage: Stage| -> Option<(Date, Combination)> {
        let of: Vec<usize> = (0..readings.len())
            .filter(|&i| readings[i].0.day == day && Key::of(readings[i].0).stage == Some(stage))
            .collect();
        (!of.is_empty()).then(|| (day, pool.mean(&of)))
    };
    let steps =
        dates.windows(2).filter_map(|d| Some((at(d[0], Stage::AfterTrim)?, at(d[1], Stage::BeforeTrim)?))).collect();
    (pool, steps, 0)
}

/// One rate for all steps. Rings of one photo serve the step before and the step after it with other rings each, so those steps
/// count as independent: their common errors partly cancel, which is left unused.
fn rate(pool: &Pool<'_>, steps: &[Step], from: GrowthFrom) -> Option<Growth> {
    if steps.is_empty() {
        return None;
    }
    let intervals: Vec<Change> = steps.iter().map(|(a, b)| Change::new(pool, (a.0, &a.1), (b.0, &b.1))).collect();
    let months = DMatrix::from_fn(steps.len(), 1, |i, _| days(steps[i].0.0, steps[i].1.0) / MONTH_DAYS);
    let sums: Vec<Combination> = steps.iter().map(|(a, b)| minus(&b.1, &a.1)).collect();
    let fit = match from {
        GrowthFrom::Wall => pool.fit(&sums, &months)?,
        GrowthFrom::Rings => pool.fit_as_independent(&sums, &months)?,
    };
    Some(Growth {
        foot: Foot::LeftFore,
        side: None,
        place: GrowthPlace::Toe,
        from,
        intervals,
        per_month: fit.x[0],
        u: fit.covariance[(0, 0)].max(0.0).sqrt(),
        k: fit.k,
        scatter: fit.scatter,
        ambiguous: 0,
    })
}
