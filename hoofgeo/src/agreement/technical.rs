//! The technical error of measurement, as anthropometry uses it.

use super::limits::mean_and_sd;
use super::{all_finite, too_few};
use crate::error::Result;

/// Technical error of measurement and what follows from it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TechnicalError {
    /// TEM, in the unit of the values.
    pub tem: f64,
    /// TEM in percent of the mean.
    pub relative_percent: f64,
    /// Coefficient of reliability R = 1 - TEM²/SD²: the share of the spread that is not error.
    pub reliability: f64,
}

/// Technical error of measurement of n targets, each measured k times (by one observer or by k).
///
/// TEM = √(Σᵢ(Σⱼx² - (Σⱼx)²/k) / n(k-1)); for duplicates √(Σd²/2n), which is also Dahlberg's error. R is formed with the standard
/// deviation of all values.
///
/// S. J. Ulijaszek and D. A. Kerr, "Anthropometric measurement error and the assessment of nutritional status", British Journal of
/// Nutrition 82 (1999) 165-177.
///
/// # Errors
/// `Usage` for fewer than two targets or values each, or values that are no numbers.
///
/// # Example
/// ```
/// use hoofgeo::agreement::technical_error;
/// let t = technical_error(2, &[10.0, 10.2, 11.0, 10.8, 12.1, 12.0])?;
/// assert!((t.tem - (0.09_f64 / 6.0).sqrt()).abs() < 1e-12);
/// # Ok::<(), hoofgeo::Error>(())
/// ```
pub fn technical_error(each: usize, values: &[f64]) -> Result<TechnicalError> {
    all_finite(values)?;
    if each < 2 || values.len() < 2 * each || !values.len().is_multiple_of(each) {
        return Err(too_few("fewer than two targets, each measured equally often and at least twice,"));
    }
    let squares: f64 = values
        .chunks(each)
        .map(|row| {
            let mean = row.iter().sum::<f64>() / each as f64;
            row.iter().map(|v| (v - mean).powi(2)).sum::<f64>()
        })
        .sum();
    let tem = (squares / (values.len() - values.len() / each) as f64).sqrt();
    let (mean, sd) = mean_and_sd(values);
    Ok(TechnicalError { tem, relative_percent: 100.0 * tem / mean.abs(), reliability: 1.0 - (tem / sd).powi(2) })
}
