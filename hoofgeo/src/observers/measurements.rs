//! How far observers agree on each measurement.

use super::nested::Target;
use super::{Nested, Reading};
use crate::agreement::components::{Components, Observation, components};
use crate::agreement::{
    IccTable, Limits, Ratings, Repeatability, TechnicalError, limits_of_agreement, repeatability, technical_error,
};
use crate::error::Error;
use crate::foot::Foot;
use crate::measure::{self, Measurement};
use crate::photo::Sha256Hex;
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

/// One measurement's agreement. What the data do not allow is absent.
#[derive(Debug, Clone)]
pub struct MeasurementAgreement {
    /// Which measurement.
    pub measurement: &'static Measurement,
    /// Photos on which it has a value.
    pub photos: usize,
    /// Values in all.
    pub values: usize,
    /// Within and between observers, in the measurement's unit.
    pub spread: Option<Nested>,
    /// Technical error of measurement between observers: the first placements on the photos that all of them marked.
    pub inter_observer: Option<TechnicalError>,
    /// Intraclass correlations of the same values.
    pub icc: Option<IccTable>,
    /// Each observer's repeats.
    pub repeats: Vec<ObserverRepeats>,
    /// Each pair of observers.
    pub pairs: Vec<ObserverPair>,
    /// Sources of spread by a mixed model.
    pub components: Option<Components>,
}

/// One observer's repeats of a measurement.
#[derive(Debug, Clone, PartialEq)]
pub struct ObserverRepeats {
    /// Who.
    pub observer: String,
    /// Standard deviation within a photo and what follows from it.
    pub repeatability: Repeatability,
    /// Technical error of the first two placements.
    pub technical_error: Option<TechnicalError>,
}

/// Two observers on the same photos.
#[derive(Debug, Clone, PartialEq)]
pub struct ObserverPair {
    /// Both names; differences are first minus second.
    pub observers: [String; 2],
    /// Each photo's two means over placements.
    pub values: Vec<[f64; 2]>,
    /// Bias and limits of agreement.
    pub limits: Limits,
}

/// Where a value comes from.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
struct Key {
    animal: String,
    foot: String,
    photo: Sha256Hex,
    observer: String,
}

/// The repeats of one observer on one photo, by [`Key`].
type Table = BTreeMap<Key, Vec<f64>>;

/// A value of one placement by one observer.
#[derive(Debug, Clone, PartialEq)]
pub struct PlacedValue {
    /// Whose foot.
    pub animal: String,
    /// Which foot.
    pub foot: Foot,
    /// The photo's path in the observer's folder.
    pub photo: String,
    /// Fingerprint of the photo: the same for all observers.
    pub photo_sha256: Sha256Hex,
    /// Who placed the landmarks.
    pub observer: String,
    /// Which of the observer's placements, from 1.
    pub placement: usize,
    /// What was measured.
    pub measurement: &'static Measurement,
    /// The value, and its standard uncertainty as one placement has it.
    pub value: [f64; 2],
}

pub(super) fn agreements(
    photos: &BTreeMap<Sha256Hex, Vec<&Reading>>,
    refused: &mut Vec<Error>,
) -> (Vec<MeasurementAgreement>, Vec<PlacedValue>) {
    let readings: Vec<&Reading> = photos.values().flatten().copied().collect();
    let work: Vec<(&Reading, usize)> =
        readings.iter().flat_map(|r| (0..r.repeats().max(1)).map(move |i| (*r, i))).collect();
    let measured: Vec<_> =
        work.into_par_iter().map(|(reading, i)| (reading, i, reading.measured(i).map(|m| m.values))).collect();
    let mut tables: BTreeMap<&str, Table> = BTreeMap::new();
    let mut all = Vec::new();
    for (reading, i, values) in measured {
        match values {
            Ok(values) => {
                for v in values {
                    tables.entry(v.measurement.id).or_default().entry(key(reading)).or_default().push(v.value);
                    all.push(PlacedValue {
                        animal: reading.sidecar.subject.animal.clone(),
                        foot: reading.sidecar.subject.foot,
                        photo: reading.name.clone(),
                        photo_sha256: reading.photo_sha256,
                        observer: reading.observer.clone(),
                        placement: i + 1,
                        measurement: v.measurement,
                        value: [v.value, v.u],
                    });
                }
            }
            // Said once for each sidecar.
            Err(e) if i == 0 => refused.push(e.in_file(format!("{} ({})", reading.name, reading.observer))),
            Err(_) => {}
        }
    }
    (measure::ALL.iter().filter_map(|m| tables.get(m.id).map(|table| agreement(m, table))).collect(), all)
}

/// A trimmed foot is another target than the same foot before.
fn key(reading: &Reading) -> Key {
    let s = &reading.sidecar;
    let foot = [Some(s.subject.foot.name()), s.side.map(|s| s.name()), s.stage.map(|s| s.name()), s.taken.as_deref()];
    Key {
        animal: s.subject.animal.clone(),
        foot: foot.into_iter().flatten().collect::<Vec<_>>().join(" "),
        photo: reading.photo_sha256,
        observer: reading.observer.clone(),
    }
}

fn agreement(measurement: &'static Measurement, table: &Table) -> MeasurementAgreement {
    let mut by_photo: BTreeMap<Sha256Hex, BTreeMap<&str, &[f64]>> = BTreeMap::new();
    for (key, values) in table {
        by_photo.entry(key.photo).or_default().insert(&key.observer, values);
    }
    let observers: Vec<&str> = table.keys().map(|k| k.observer.as_str()).collect::<BTreeSet<_>>().into_iter().collect();
    let cells: Vec<Target<'_>> =
        by_photo.values().map(|photo| photo.iter().map(|(o, v)| (*o, v.to_vec())).collect()).collect();
    let complete: Vec<f64> = by_photo
        .values()
        .filter(|photo| photo.len() == observers.len())
        .flat_map(|photo| photo.values().map(|v| v[0]))
        .collect();
    let texts: Vec<(&Key, String)> = table.keys().map(|k| (k, k.photo.to_string())).collect();
    let observations: Vec<Observation<'_>> = texts
        .iter()
        .flat_map(|(k, photo)| {
            table[*k].iter().map(move |v| Observation {
                animal: &k.animal,
                foot: &k.foot,
                photo,
                observer: &k.observer,
                value: *v,
            })
        })
        .collect();
    MeasurementAgreement {
        measurement,
        photos: by_photo.len(),
        values: observations.len(),
        spread: Nested::of(&cells),
        inter_observer: technical_error(observers.len(), &complete).ok(),
        icc: Ratings::new(observers.len(), complete).ok().map(|r| r.icc()),
        repeats: observers.iter().filter_map(|o| repeats(o, table)).collect(),
        pairs: pairs(&observers, &by_photo),
        components: components(&observations).ok(),
    }
}

fn repeats(observer: &str, table: &Table) -> Option<ObserverRepeats> {
    let own: Vec<&[f64]> = table.iter().filter(|(k, _)| k.observer == observer).map(|(_, v)| v.as_slice()).collect();
    let twice: Vec<f64> = own.iter().filter(|v| v.len() > 1).flat_map(|v| v[..2].iter().copied()).collect();
    Some(ObserverRepeats {
        observer: observer.to_owned(),
        repeatability: repeatability(own).ok()?,
        technical_error: technical_error(2, &twice).ok(),
    })
}

fn pairs(observers: &[&str], by_photo: &BTreeMap<Sha256Hex, BTreeMap<&str, &[f64]>>) -> Vec<ObserverPair> {
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
    let mut found = Vec::new();
    for (i, a) in observers.iter().enumerate() {
        for b in &observers[i + 1..] {
            let values: Vec<[f64; 2]> =
                by_photo.values().filter_map(|photo| Some([mean(photo.get(a)?), mean(photo.get(b)?)])).collect();
            if let Ok(limits) = limits_of_agreement(&values) {
                found.push(ObserverPair { observers: [(*a).to_owned(), (*b).to_owned()], values, limits });
            }
        }
    }
    found
}
