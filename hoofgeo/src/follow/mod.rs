//! A case over months: what has really changed from visit to visit, how fast, and what a trim changed.
//!
//! Photos are matched by animal, foot, view, side and stage; photos of one day are one visit, and several photos of one foot on one
//! day are averaged. Only values made in one way ([`Way`]) are compared.
//!
//! # The model of what visits share
//! Every value's error is the sum of independent errors, each with its sensitivity. Two photos share
//! - the lens, where both name one profile, or come from one camera model with the same EXIF focal length and frame: the error of
//!   what was known of it before is the same in both, component by component ([`Shared`](crate::evaluate::Shared));
//! - the stretch of the graduations, where kind and tolerance of the scale are the same: taken for one scale, unless
//!   [`FollowOptions::one_scale`] says otherwise.
//!
//! Photos of one foot from one side at one stage of one day also share the stand of foot and ruler: where the planes lie, and what the
//! foot's landmarks, edges and gauge reading are. Their mean gets more certain by what is new in each alone: graduations, camera tilt,
//! clicks. The same file under two names counts once.
//!
//! All else is made anew for each photo and counts as independent. A habit, such as holding the ruler always a little too near or seeing the coronet always a little too
//! high, would drop out of differences: leaving that unused makes them less certain than they are, never more.
//!
//! | to read | file |
//! |---|---|
//! | what is kept of a photo | `shot.rs` |
//! | covariances, weighted fits, the Birge ratio | `pool.rs` |
//! | is a difference real; the smallest that could be seen | `change.rs` |
//! | rates, dates of crossing a limit | `trend.rs` |
//! | growth from rings and wall length | `growth.rs`, `rings.rs` |
//! | when the horn at a ring was made | `event.rs` |
//! | reading folders; `follow.csv` and `follow.json` | `folders.rs`, `output.rs` |

mod change;
mod event;
#[cfg(feature = "files")]
mod folders;
mod growth;
#[cfg(feature = "files")]
mod output;
mod pool;
mod rings;
mod series;
mod shot;
mod trend;

pub use change::{Change, Verdict};
pub use event::{GrowthRate, LaidDown, laid_down};
#[cfg(feature = "files")]
pub use folders::{lens_identity, read_folders};
pub use growth::{Growth, GrowthFrom, GrowthPlace};
#[cfg(feature = "files")]
pub(crate) use output::TABLE;
#[cfg(feature = "files")]
pub use output::{FOLLOW_COLUMNS, write_results};
pub use pool::Scatter;
pub use rings::ring_depths;
pub use series::{Series, SideDifference, TrimEffect, VisitValue};
pub use shot::{Key, LensIdentity, Reading, Shot, Way};
pub use trend::{Crossing, MONTH_DAYS, Trend};

use crate::measure::Measurement;
use jiff::civil::Date;
use std::collections::BTreeMap;

/// How to follow a case.
#[derive(Debug, Clone)]
pub struct FollowOptions {
    /// Scales of one kind and tolerance are one and the same scale.
    pub one_scale: bool,
    /// Limits whose day of crossing is asked for.
    pub limits: Vec<Limit>,
}

impl Default for FollowOptions {
    fn default() -> Self {
        Self { one_scale: true, limits: Vec::new() }
    }
}

/// A value that a measurement may cross.
#[derive(Debug, Clone)]
pub struct Limit {
    /// Of which measurement.
    pub measurement: &'static Measurement,
    /// In the measurement's unit.
    pub value: f64,
    /// Who says so.
    pub source: String,
}

/// One animal over its visits.
#[derive(Debug, Clone)]
pub struct Case {
    /// Its name.
    pub animal: String,
    /// Its visits, in order.
    pub visits: Vec<VisitDay>,
    /// One row of values for each measurement, foot, view, side, stage and way.
    pub series: Vec<Series>,
    /// What the trims changed.
    pub trims: Vec<TrimEffect>,
    /// Left feet against right ones.
    pub sides: Vec<SideDifference>,
    /// How fast the horn grows.
    pub growth: Vec<Growth>,
}

/// A day on which an animal was photographed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct VisitDay {
    /// The day.
    pub day: Date,
    /// Its photos.
    pub photos: Vec<String>,
    /// What the practitioner noted: heading and text, without repeats.
    pub remarks: Vec<(String, String)>,
}

/// Follows every animal of some photos. Animals are told apart by name, whatever its upper and lower case.
pub fn follow(shots: &[Shot], options: &FollowOptions) -> Vec<Case> {
    let mut animals: BTreeMap<String, Vec<&Shot>> = BTreeMap::new();
    for shot in shots {
        animals.entry(shot.animal.to_lowercase()).or_default().push(shot);
    }
    animals.into_values().map(|shots| Case::new(&shots, options)).collect()
}

impl Case {
    fn new(all: &[&Shot], options: &FollowOptions) -> Self {
        let mut days: BTreeMap<Date, VisitDay> = BTreeMap::new();
        let (mut shots, mut repeats) = (Vec::<&Shot>::new(), Vec::new());
        for shot in all {
            match shots.iter().find(|first| shot.repeats(first)) {
                Some(first) => {
                    repeats.push((shot, format!("{} is the photo {} again and counts once", shot.photo, first.photo)))
                }
                None => shots.push(shot),
            }
        }
        for shot in &shots {
            let visit = days.entry(shot.day).or_insert_with(|| VisitDay {
                day: shot.day,
                photos: Vec::new(),
                remarks: Vec::new(),
            });
            visit.photos.push(shot.photo.clone());
            for remark in &shot.remarks {
                if !visit.remarks.contains(remark) {
                    visit.remarks.push(remark.clone());
                }
            }
        }
        for (shot, remark) in repeats {
            if let Some(visit) = days.get_mut(&shot.day) {
                visit.remarks.push(("photo".to_owned(), remark));
            }
        }
        let shots = &shots[..];
        Self {
            animal: shots.first().map_or_else(String::new, |s| s.animal.clone()),
            visits: days.into_values().collect(),
            series: series::all(shots, options),
            trims: series::trims(shots, options.one_scale),
            sides: series::sides(shots, options.one_scale),
            growth: growth::all(shots, options.one_scale),
        }
    }
}
