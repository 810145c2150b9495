//! How well people agree with themselves and with each other: the statistics of repeated measurement.
//!
//! | Question | Here |
//! | --- | --- |
//! | What share of the spread is real difference between feet? | [`Ratings::icc`], six forms |
//! | How far apart are two placements of one observer? | [`technical_error`], [`repeatability`] |
//! | How far apart are two observers? | [`limits_of_agreement`] |
//! | Which part comes from animal, foot, photo, observer, placement? | [`components`](components::components) |
//! | How many animals does a study need? | [`planning`] |
//!
//! Nothing here knows hooves or pixels; [`crate::observers`] brings sidecars to it.

pub mod components;
mod icc;
mod likelihood;
mod limits;
pub mod planning;
mod technical;

pub use icc::{Icc, IccForm, IccTable, Ratings};
pub use limits::{Estimate, Limits, Repeatability, limits_of_agreement, repeatability};
pub use technical::{TechnicalError, technical_error};

use crate::error::{Error, ErrorKind, Result};

/// Refuses what is no number.
fn all_finite(values: &[f64]) -> Result<()> {
    match values.iter().position(|v| !v.is_finite()) {
        None => Ok(()),
        Some(i) => {
            Err(Error::new(ErrorKind::Usage, format!("value {} of {} is no finite number", i + 1, values.len())))
        }
    }
}

fn too_few(what: &str) -> Error {
    Error::new(ErrorKind::Usage, format!("{what} are too few to say anything of agreement"))
}
