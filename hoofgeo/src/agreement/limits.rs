//! How far two observers, or two placements of one, lie apart.

use super::{all_finite, too_few};
use crate::error::{Error, ErrorKind, Result};
use crate::uncertainty::{COVERAGE, student_t_factor};

/// A number with its standard error and 95 % confidence interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The estimate.
    pub value: f64,
    /// Its standard error.
    pub standard_error: f64,
    /// 95 % confidence interval, by Student's t.
    pub interval: [f64; 2],
}

impl Estimate {
    fn new(value: f64, standard_error: f64, dof: f64) -> Self {
        let t = student_t_factor(COVERAGE, Some(dof));
        Self { value, standard_error, interval: [value - t * standard_error, value + t * standard_error] }
    }
}

/// Bias and limits of agreement of two observers.
#[derive(Debug, Clone, PartialEq)]
pub struct Limits {
    /// Pairs compared.
    pub pairs: usize,
    /// Mean difference, first minus second.
    pub bias: Estimate,
    /// Standard deviation of the differences.
    pub sd: f64,
    /// Lower limit, bias - 1.96 sd.
    pub lower: Estimate,
    /// Upper limit, bias + 1.96 sd.
    pub upper: Estimate,
    /// Slope of the difference over the mean of the pair, and its interval: limits that grow with size need another scale.
    /// `None` where all means are the same.
    pub slope: Option<Estimate>,
}

/// The factor of the limits: 95 % of a normal distribution. Bland and Altman's own worked example rounds it to 2.
pub(super) const LIMIT_FACTOR: f64 = 1.959_963_984_540_054;

/// Bias and 95 % limits of agreement of paired values, first minus second.
///
/// J. M. Bland and D. G. Altman, "Statistical methods for assessing agreement between two methods of clinical measurement",
/// The Lancet i (1986) 307-310. The standard error of a limit is √(3/n) sd, as printed there.
///
/// # Errors
/// `Usage` for fewer than three pairs or values that are no numbers.
///
/// # Example
/// ```
/// use hoofgeo::agreement::limits_of_agreement;
/// let limits = limits_of_agreement(&[[51.0, 50.0], [48.5, 48.0], [53.0, 53.5], [50.0, 49.0]])?;
/// assert!((limits.bias.value - 0.5).abs() < 1e-12);
/// # Ok::<(), hoofgeo::Error>(())
/// ```
pub fn limits_of_agreement(pairs: &[[f64; 2]]) -> Result<Limits> {
    all_finite(pairs.as_flattened())?;
    if pairs.len() < 3 {
        return Err(too_few("fewer than three pairs"));
    }
    let n = pairs.len() as f64;
    let differences: Vec<f64> = pairs.iter().map(|[a, b]| a - b).collect();
    let (mean, sd) = mean_and_sd(&differences);
    let limit = |sign: f64| Estimate::new(mean + sign * LIMIT_FACTOR * sd, (3.0 / n).sqrt() * sd, n - 1.0);
    Ok(Limits {
        pairs: pairs.len(),
        bias: Estimate::new(mean, sd / n.sqrt(), n - 1.0),
        sd,
        lower: limit(-1.0),
        upper: limit(1.0),
        slope: slope(pairs, &differences, mean),
    })
}

/// The straight line of the differences over the means, by least squares.
fn slope(pairs: &[[f64; 2]], differences: &[f64], mean: f64) -> Option<Estimate> {
    let middles: Vec<f64> = pairs.iter().map(|[a, b]| (a + b) / 2.0).collect();
    let centre = middles.iter().sum::<f64>() / middles.len() as f64;
    let spread: f64 = middles.iter().map(|m| (m - centre).powi(2)).sum();
    if spread <= f64::EPSILON * centre.abs().max(1.0) {
        return None;
    }
    let slope = middles.iter().zip(differences).map(|(m, d)| (m - centre) * (d - mean)).sum::<f64>() / spread;
    let rest: f64 = middles.iter().zip(differences).map(|(m, d)| (d - mean - slope * (m - centre)).powi(2)).sum();
    let dof = differences.len() as f64 - 2.0;
    Some(Estimate::new(slope, (rest / dof / spread).sqrt(), dof))
}

/// Repeatability of one observer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Repeatability {
    /// Standard deviation within a target.
    pub within_sd: f64,
    /// Its degrees of freedom.
    pub dof: f64,
    /// The difference that two placements of the same thing exceed in 5 % of all cases, 1.96 √2 times the standard deviation.
    pub coefficient: f64,
}

/// Repeatability from several placements of each target, pooled.
///
/// J. M. Bland and D. G. Altman, "Measurement error", BMJ 313 (1996) 744; ISO 5725-6:1994, 4.1.1 (repeatability limit).
///
/// # Errors
/// `Usage` where no target has two values, or values are no numbers.
pub fn repeatability<'a>(targets: impl IntoIterator<Item = &'a [f64]>) -> Result<Repeatability> {
    let (mut sum, mut dof) = (0.0, 0.0);
    for values in targets {
        all_finite(values)?;
        if values.len() < 2 {
            continue;
        }
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        sum += values.iter().map(|v| (v - mean).powi(2)).sum::<f64>();
        dof += values.len() as f64 - 1.0;
    }
    if dof == 0.0 {
        return Err(Error::new(ErrorKind::Usage, "nothing was measured twice").help("place each photo at least twice"));
    }
    let within_sd = (sum / dof).sqrt();
    Ok(Repeatability { within_sd, dof, coefficient: LIMIT_FACTOR * std::f64::consts::SQRT_2 * within_sd })
}

pub(super) fn mean_and_sd(values: &[f64]) -> (f64, f64) {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    (mean, (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt())
}
