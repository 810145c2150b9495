//! Several observers, repeated placements: how far people agree, per landmark and per measurement.
//!
//! Each observer marks the same photos in sidecars of their own, once or several times ([`Placement::at`](crate::sidecar::Placement)
//! holds the repeats). Photos are matched by the content of their files, so that each observer may work in a folder of their own.
//!
//! All placements of a photo are brought to the measured plane through one scene, that of the first observer by name: the ruler's
//! marks then add nothing to the landmarks' spread. The measurements of an observer come from that observer's own sidecar, ruler
//! included.
//!
//! What observers differ by is not what all of them get wrong together; no statistic of placements shows that.

mod landmarks;
mod measurements;
mod nested;
mod outliers;
mod output;
mod plot;
mod read;

pub use landmarks::{LandmarkSpread, ObserverSpread};
pub use measurements::{MeasurementAgreement, ObserverPair, ObserverRepeats, PlacedValue};
pub use nested::{Nested, Target};
pub use outliers::Outlier;
pub(crate) use output::{AGREEMENT_TABLE, LANDMARKS_TABLE, VALUES_TABLE};
pub use output::{write, write_values};
pub use plot::agreement_plot;
pub use read::{Reading, read_folders};

use crate::error::{Error, ErrorKind, Result};
use crate::placement::{PlacementSpread, PlacementTable, SpreadDof};
use std::collections::{BTreeMap, BTreeSet};

/// What comparing observers has shown.
#[derive(Debug, Clone)]
pub struct Comparison {
    /// The observers, by name.
    pub observers: Vec<String>,
    /// Photos that were marked.
    pub photos: usize,
    /// Each landmark's spread, in the order of [`crate::Landmark::ALL`].
    pub landmarks: Vec<LandmarkSpread>,
    /// Each measurement's agreement, in the order of [`crate::measure::ALL`].
    pub measurements: Vec<MeasurementAgreement>,
    /// The values of each placement, photo by photo.
    pub values: Vec<PlacedValue>,
    /// Placements far from the others of their photo.
    pub outliers: Vec<Outlier>,
    /// Sidecars that cannot be measured, and why.
    pub refused: Vec<Error>,
}

/// Compares everything that was marked more than once.
///
/// # Errors
/// `Usage` where nothing was marked twice, by one observer or by two.
pub fn compare(readings: &[Reading]) -> Result<Comparison> {
    let mut photos: BTreeMap<_, Vec<&Reading>> = BTreeMap::new();
    for reading in readings {
        photos.entry(reading.photo_sha256).or_default().push(reading);
    }
    for of_photo in photos.values_mut() {
        of_photo.sort_by(|a, b| a.observer.cmp(&b.observer));
        if let Some(twice) = of_photo.windows(2).find(|w| w[0].observer == w[1].observer) {
            return Err(Error::new(
                ErrorKind::Usage,
                format!("{} and {} mark the same photo for the observer {}", twice[0].name, twice[1].name, twice[0].observer),
            )
            .help("give each sidecar its observer's name, or write the repeats into one sidecar: \"at\": [[x, y], [x, y]]"));
        }
    }
    let mut refused = Vec::new();
    let placed = landmarks::placements(&photos, &mut refused);
    let landmarks = landmarks::spreads(&placed);
    let (measurements, values) = measurements::agreements(&photos, &mut refused);
    if landmarks.is_empty() && measurements.iter().all(|m| m.spread.is_none()) {
        return Err(Error::new(ErrorKind::Usage, "no photo was marked twice, by one observer or by two")
            .help("name the folders of several observers, or place the landmarks of each photo again"));
    }
    let observers: BTreeSet<_> = readings.iter().map(|r| r.observer.clone()).collect();
    Ok(Comparison {
        observers: observers.into_iter().collect(),
        photos: photos.len(),
        outliers: outliers::find(&placed),
        landmarks,
        measurements,
        values,
        refused,
    })
}

impl Comparison {
    /// The landmarks' spreads as a table for later measurements by anybody: pooled over the observers, with what they differ by.
    pub fn placement_table(&self) -> PlacementTable {
        let mut table = PlacementTable::new(self.observers.len(), self.photos);
        for l in &self.landmarks {
            table.set(l.landmark, spread(&l.along, &l.across));
        }
        table
    }

    /// A table for each observer's own later measurements: their own spread within and between photos, and what observers differ by.
    pub fn placement_tables(&self) -> Vec<PlacementTable> {
        let of = |observer: &String| {
            let mut table = PlacementTable::new(self.observers.len(), self.photos).of_observer(observer);
            for l in &self.landmarks {
                if let Some(own) = l.by_observer.iter().find(|s| s.observer == *observer) {
                    table.set(l.landmark, spread(&own.along, &own.across));
                }
            }
            table
        };
        self.observers.iter().map(of).collect()
    }
}

/// What nobody repeated counts wholly as spread between photos, or between persons where that cannot be told.
fn spread(along: &Nested, across: &Nested) -> PlacementSpread {
    let within = |n: &Nested| n.within.unwrap_or(0.0);
    let photos = |n: &Nested| n.between_photos.unwrap_or(0.0);
    let persons = |n: &Nested| {
        let all = if n.within.is_some() { n.between.unwrap_or(0.0) } else { n.total };
        n.between_persons.unwrap_or(all)
    };
    let dof =
        |n: &Nested| SpreadDof { within: n.within_dof, between_photos: n.between_photos_dof, between: n.between_dof };
    PlacementSpread {
        within_along_mm: within(along),
        within_across_mm: within(across),
        between_photos_along_mm: photos(along),
        between_photos_across_mm: photos(across),
        between_along_mm: persons(along),
        between_across_mm: persons(across),
        degrees_of_freedom: Some(dof(along)),
    }
}
