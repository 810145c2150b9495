//! One measurement of one foot from visit to visit, and from before a trim to after it.

use super::change::Change;
use super::pool::{Combination, Pool};
use super::shot::{Key, Reading, Shot, Way};
use super::trend::{Crossing, Trend};
use super::{FollowOptions, Limit};
use crate::measure::{ALL, Measurement};
use crate::{Foot, Stage};
use jiff::civil::Date;
use std::collections::{BTreeMap, BTreeSet};

/// The value of one visit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VisitValue {
    /// The day.
    pub day: Date,
    /// The value: a weighted mean where several photos show the same.
    pub value: f64,
    /// Standard uncertainty.
    pub u: f64,
    /// Coverage factor.
    pub k: f64,
    /// How many photos it was made from.
    pub photos: usize,
}

/// One measurement of one foot, from one view and side, at one stage, made in one way, from visit to visit.
#[derive(Debug, Clone)]
pub struct Series {
    /// What was measured.
    pub measurement: &'static Measurement,
    /// On which foot, from where, when in a visit.
    pub key: Key,
    /// In which way.
    pub way: Way,
    /// The values, in the order of their days.
    pub values: Vec<VisitValue>,
    /// From each visit to the next.
    pub changes: Vec<Change>,
    /// From the first visit to the last, where there are more than two.
    pub since_first: Option<Change>,
    /// The straight line through all visits.
    pub trend: Option<Trend>,
    /// When that line would cross each limit of this measurement.
    pub crossings: Vec<(Limit, Crossing)>,
}

impl Series {
    /// From the last visit but one to the last.
    pub fn latest_change(&self) -> Option<&Change> {
        self.changes.last()
    }
}

/// What a trim changed: one measurement of one foot before and after, on one day.
#[derive(Debug, Clone)]
pub struct TrimEffect {
    /// What was measured.
    pub measurement: &'static Measurement,
    /// On which foot, from where; its stage is `None`.
    pub key: Key,
    /// In which way.
    pub way: Way,
    /// The value before.
    pub before: VisitValue,
    /// The value after.
    pub after: VisitValue,
    /// After minus before.
    pub change: Change,
}

/// Readings of one measurement made in one way, by what sets rows apart.
type Rows<'a> = BTreeMap<(Key, usize, Way), Vec<(&'a Shot, &'a Reading)>>;

fn rows<'a>(shots: &[&'a Shot], key: impl Fn(&Shot) -> Key) -> Rows<'a> {
    let mut rows = Rows::new();
    for shot in shots {
        for reading in &shot.readings {
            let place = ALL.iter().position(|m| m.id == reading.measurement.id).unwrap_or(ALL.len());
            rows.entry((key(shot), place, reading.way)).or_default().push((shot, reading));
        }
    }
    rows
}

/// The means of the days, and of the stages within a day where asked for.
fn means<'a>(pool: &Pool<'a>, readings: &[(&'a Shot, &'a Reading)]) -> BTreeMap<(Date, Option<Stage>), Combination> {
    let keys: BTreeSet<_> = readings.iter().map(|(s, _)| (s.day, s.stage)).collect();
    keys.into_iter()
        .map(|key| {
            let of: Vec<usize> =
                (0..readings.len()).filter(|&i| (readings[i].0.day, readings[i].0.stage) == key).collect();
            (key, pool.mean(&of))
        })
        .collect()
}

fn visit_value(pool: &Pool<'_>, day: Date, mean: &Combination) -> VisitValue {
    VisitValue {
        day,
        value: pool.value(mean),
        u: pool.covariance(mean, mean).max(0.0).sqrt(),
        k: crate::uncertainty::coverage_factor(pool.dof(mean)),
        photos: mean.len(),
    }
}

/// Every row of an animal.
pub(super) fn all(shots: &[&Shot], options: &FollowOptions) -> Vec<Series> {
    rows(shots, Key::of)
        .into_iter()
        .map(|((key, _, way), readings)| {
            let pool = Pool::new(readings.clone(), options.one_scale);
            let measurement = readings[0].1.measurement;
            let visits: Vec<(Date, Combination)> =
                means(&pool, &readings).into_iter().map(|((day, _), mean)| (day, mean)).collect();
            let change =
                |a: &(Date, Combination), b: &(Date, Combination)| Change::new(&pool, (a.0, &a.1), (b.0, &b.1));
            let trend = Trend::new(&pool, &visits);
            let limits = options.limits.iter().filter(|l| l.measurement.id == measurement.id);
            let crossings =
                trend.iter().flat_map(|t| limits.clone().map(|l| (l.clone(), t.crossing(l.value)))).collect();
            Series {
                measurement,
                key,
                way,
                values: visits.iter().map(|(day, mean)| visit_value(&pool, *day, mean)).collect(),
                changes: visits.windows(2).map(|v| change(&v[0], &v[1])).collect(),
                since_first: (visits.len() > 2).then(|| change(&visits[0], &visits[visits.len() - 1])),
                trend,
                crossings,
            }
        })
        .collect()
}

/// What the trims of an animal changed.
pub(super) fn trims(shots: &[&Shot], one_scale: bool) -> Vec<TrimEffect> {
    let mut found = Vec::new();
    for ((key, _, way), readings) in rows(shots, |s| Key { stage: None, ..Key::of(s) }) {
        let pool = Pool::new(readings.clone(), one_scale);
        let means = means(&pool, &readings);
        for ((day, _), before) in means.iter().filter(|((_, stage), _)| *stage == Some(Stage::BeforeTrim)) {
            let Some(after) = means.get(&(*day, Some(Stage::AfterTrim))) else { continue };
            found.push(TrimEffect {
                measurement: readings[0].1.measurement,
                key,
                way,
                before: visit_value(&pool, *day, before),
                after: visit_value(&pool, *day, after),
                change: Change::new(&pool, (*day, before), (*day, after)),
            });
        }
    }
    found
}

/// A measurement of the left foot of a pair against the right one's, on one day.
#[derive(Debug, Clone)]
pub struct SideDifference {
    /// What was measured.
    pub measurement: &'static Measurement,
    /// The left foot, from where, when in a visit.
    pub key: Key,
    /// In which way, on both feet.
    pub way: Way,
    /// The left foot's value.
    pub left: VisitValue,
    /// The right foot's value.
    pub right: VisitValue,
    /// Left minus right: rose where the left one is larger.
    pub difference: Change,
}

/// Left against right, for every day, view, side and stage that both feet of a pair have.
pub(super) fn sides(shots: &[&Shot], one_scale: bool) -> Vec<SideDifference> {
    let left = |foot: Foot| match foot {
        Foot::LeftFore | Foot::RightFore => Foot::LeftFore,
        Foot::LeftHind | Foot::RightHind => Foot::LeftHind,
    };
    let mut found = Vec::new();
    for ((key, _, way), readings) in rows(shots, |s| Key { foot: left(s.foot), ..Key::of(s) }) {
        let pool = Pool::new(readings.clone(), one_scale);
        let days: BTreeSet<Date> = readings.iter().map(|(s, _)| s.day).collect();
        for day in days {
            let of = |is_left: bool| -> Option<Combination> {
                let of: Vec<usize> = (0..readings.len())
                    .filter(|&i| readings[i].0.day == day && (readings[i].0.foot == key.foot) == is_left)
                    .collect();
                (!of.is_empty()).then(|| pool.mean(&of))
            };
            let (Some(left), Some(right)) = (of(true), of(false)) else { continue };
            found.push(SideDifference {
                measurement: readings[0].1.measurement,
                key,
                way,
                left: visit_value(&pool, day, &left),
                right: visit_value(&pool, day, &right),
                difference: Change::new(&pool, (day, &right), (day, &left)),
            });
        }
    }
    found
}
