//! Planning a study: what it takes to find a difference, and what a better ruler, a lens profile or a second placement would gain.
//!
//! Each photo is evaluated again as if it had been taken or marked differently, by the same [`Improvements`] that
//! give each value its advice. Nothing is scaled by rules of thumb.

pub use crate::advice::Change;

use crate::advice::Improvements;
use crate::agreement::planning::{Design, Spread, animals_needed};
use crate::error::{Error, ErrorKind, Result};
use crate::measure::Measurement;
use crate::measured::{MeasureOptions, measure};
use crate::scene::LensPrior;
use crate::sidecar::Sidecar;

/// A photo as those of the study will be.
#[derive(Debug, Clone)]
pub struct PlannedPhoto {
    /// What is placed on it.
    pub sidecar: Sidecar,
    /// What is known of its lens.
    pub lens: LensPrior,
    /// How it is measured: how well its observer places landmarks, where a table says so; the graduations, where they were read.
    pub how: MeasureOptions,
}

/// The mean uncertainty of one measurement over a set of photos, under one change.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Precision {
    /// The change.
    pub change: Change,
    /// Photos that could be measured under it.
    pub photos: usize,
    /// Standard uncertainty of one photo, root mean square, in the measurement's unit.
    pub u: f64,
    /// The part of it that comes new with each placement: the click, not how well the landmark is defined.
    pub placement: f64,
}

/// What a measurement's uncertainty is over photos, under each change; and the values as they are. A change that is none on a photo
/// (a line that is drawn already) leaves that photo out.
///
/// # Errors
/// `Usage` where no photo gives the measurement a value.
pub fn precision(photos: &[PlannedPhoto], measurement: &'static Measurement) -> Result<(Vec<Precision>, Vec<f64>)> {
    let mut sums = [(0_usize, 0.0, 0.0); Change::ALL.len()];
    let mut values = Vec::new();
    for PlannedPhoto { sidecar, lens, how } in photos {
        let Ok(measured) = measure(sidecar, lens, how) else { continue };
        let Some(value) = measured.values.iter().find(|v| v.measurement.id == measurement.id) else { continue };
        let improvements = Improvements::new(sidecar, &measured);
        for (change, (n, u2, placement2)) in Change::ALL.into_iter().zip(&mut sums) {
            if let Some(u) = improvements.u(value, change) {
                let s = &value.sensitivity;
                *n += 1;
                *u2 += u * u;
                *placement2 += if change == Change::SecondPlacement { s.click_again } else { s.click };
            }
        }
        values.push(value.value);
    }
    if values.is_empty() {
        let what = format!("{} has no value on any of these photos", measurement.id);
        return Err(
            Error::new(ErrorKind::Usage, what).help("name another measurement, or a folder with its landmarks placed")
        );
    }
    let found = Change::ALL.into_iter().zip(sums).filter(|(_, (n, ..))| *n > 0).map(|(change, (n, u2, placement2))| {
        let mean = |sum: f64| (sum / n as f64).sqrt();
        Precision { change, photos: n, u: mean(u2), placement: mean(placement2) }
    });
    Ok((found.collect(), values))
}

/// A study's question.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Question {
    /// How animals are compared.
    pub design: Design,
    /// The difference to be found, in the measurement's unit.
    pub difference: f64,
    /// Probability of finding it.
    pub power: f64,
    /// Spread between animals; in a paired design that of their true changes.
    pub animals_sd: f64,
    /// Photos of each foot each time.
    pub photos: u32,
    /// Placements of the landmarks on each photo.
    pub placements: u32,
}

impl Question {
    /// Animals needed (in each group) at a precision. All of a photo's uncertainty but its placement counts as new with every photo:
    /// cautious where photos share a ruler or a lens.
    ///
    /// # Errors
    /// As [`animals_needed`].
    pub fn animals(&self, precision: &Precision) -> Result<u32> {
        let photo = (precision.u.powi(2) - precision.placement.powi(2)).max(0.0).sqrt();
        let spread = Spread { animals: self.animals_sd, photo, placement: precision.placement };
        animals_needed(
            self.design,
            self.difference,
            spread.of_one(self.design, self.photos, self.placements),
            self.power,
        )
    }
}
