//! Intraclass correlation: the share of the spread that is real difference between what was measured.

use super::{all_finite, too_few};
use crate::error::{Error, ErrorKind, Result};
use crate::uncertainty::COVERAGE;
use statrs::distribution::{ContinuousCDF, FisherSnedecor};

/// Ratings of n targets by the same k raters, all present.
#[derive(Debug, Clone, PartialEq)]
pub struct Ratings {
    targets: usize,
    raters: usize,
    values: Vec<f64>,
}

/// The six forms of Shrout and Fleiss (1979).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum IccForm {
    /// ICC(1,1): each target has raters of its own; one rating.
    OneWaySingle,
    /// ICC(2,1): raters are a sample of all raters, their bias counts; one rating.
    RandomSingle,
    /// ICC(3,1): these raters are the only ones, their bias does not count; one rating.
    FixedSingle,
    /// ICC(1,k): as ICC(1,1), the mean of k ratings.
    OneWayMean,
    /// ICC(2,k): as ICC(2,1), the mean of k ratings.
    RandomMean,
    /// ICC(3,k): as ICC(3,1), the mean of k ratings.
    FixedMean,
}

impl IccForm {
    /// All six, in the order of the paper's table 4.
    pub const ALL: [Self; 6] = [
        Self::OneWaySingle,
        Self::RandomSingle,
        Self::FixedSingle,
        Self::OneWayMean,
        Self::RandomMean,
        Self::FixedMean,
    ];

    /// The paper's name of it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::OneWaySingle => "ICC(1,1)",
            Self::RandomSingle => "ICC(2,1)",
            Self::FixedSingle => "ICC(3,1)",
            Self::OneWayMean => "ICC(1,k)",
            Self::RandomMean => "ICC(2,k)",
            Self::FixedMean => "ICC(3,k)",
        }
    }
}

/// One coefficient with its 95 % confidence interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Icc {
    /// Which form.
    pub form: IccForm,
    /// The estimate.
    pub value: f64,
    /// 95 % confidence interval.
    pub interval: [f64; 2],
}

/// Mean squares and the six coefficients.
#[derive(Debug, Clone, PartialEq)]
pub struct IccTable {
    /// Between targets (BMS).
    pub between: f64,
    /// Within targets (WMS).
    pub within: f64,
    /// Between raters (JMS).
    pub raters: f64,
    /// Residual (EMS).
    pub error: f64,
    /// The coefficients, in the order of [`IccForm::ALL`].
    pub forms: [Icc; 6],
}

impl Ratings {
    /// Ratings target by target, `raters` of them for each.
    ///
    /// # Errors
    /// `Usage` for fewer than two targets or raters, a number of values that does not fit, or values that are no numbers.
    pub fn new(raters: usize, values: Vec<f64>) -> Result<Self> {
        if raters < 2 || values.len() < 2 * raters {
            return Err(too_few("fewer than two targets or two raters"));
        }
        if !values.len().is_multiple_of(raters) {
            let what = format!("{} ratings are not whole rows of {raters}", values.len());
            return Err(Error::new(ErrorKind::Usage, what).help("leave out targets that one rater has not rated"));
        }
        all_finite(&values)?;
        Ok(Self { targets: values.len() / raters, raters, values })
    }

    /// Mean squares and the six intraclass correlations with their 95 % intervals.
    ///
    /// P. E. Shrout and J. L. Fleiss, "Intraclass correlations: uses in assessing rater reliability", Psychological Bulletin
    /// 86 (1979) 420-428; the interval of the second form by the paper's formula with Satterthwaite's degrees of freedom.
    ///
    /// # Example: table 2 of the paper
    /// ```
    /// use hoofgeo::agreement::Ratings;
    /// let ratings = vec![9., 2., 5., 8., 6., 1., 3., 2., 8., 4., 6., 8., 7., 1., 2., 6., 10., 5., 6., 9., 6., 2., 4., 7.];
    /// let table = Ratings::new(4, ratings)?.icc();
    /// assert!((table.forms[1].value - 0.29).abs() < 0.005);
    /// # Ok::<(), hoofgeo::Error>(())
    /// ```
    pub fn icc(&self) -> IccTable {
        let (n, k) = (self.targets as f64, self.raters as f64);
        let grand = self.values.iter().sum::<f64>() / (n * k);
        let square = |mean: f64| (mean - grand).powi(2);
        let rows = self.values.chunks(self.raters).map(|r| square(r.iter().sum::<f64>() / k)).sum::<f64>() * k;
        let column = |j: usize| self.values[j..].iter().step_by(self.raters).sum::<f64>() / n;
        let columns = (0..self.raters).map(|j| square(column(j))).sum::<f64>() * n;
        let total: f64 = self.values.iter().map(|v| square(*v)).sum();
        let between = rows / (n - 1.0);
        let within = (total - rows).max(0.0) / (n * (k - 1.0));
        let raters = columns / (k - 1.0);
        let error = (total - rows - columns).max(0.0) / ((n - 1.0) * (k - 1.0));
        let one = between_over(between, within, [n - 1.0, n * (k - 1.0)], k);
        let three = between_over(between, error, [n - 1.0, (n - 1.0) * (k - 1.0)], k);
        let two = self.second(between, raters, error);
        // The mean of k ratings by the Spearman-Brown formula, which the paper's forms for means are.
        let mean = |icc: f64| k * icc / (1.0 + (k - 1.0) * icc);
        let single = [one, two, three];
        let forms = std::array::from_fn(|i| {
            let (value, interval) = single[i % 3];
            let form = IccForm::ALL[i];
            if i < 3 {
                Icc { form, value, interval }
            } else {
                Icc { form, value: mean(value), interval: interval.map(mean) }
            }
        });
        IccTable { between, within, raters, error, forms }
    }

    /// ICC(2,1) and its interval.
    fn second(&self, between: f64, raters: f64, error: f64) -> (f64, [f64; 2]) {
        let (n, k) = (self.targets as f64, self.raters as f64);
        let icc = (between - error) / (between + (k - 1.0) * error + k * (raters - error) / n);
        let f = raters / error;
        let b = n * (1.0 + (k - 1.0) * icc) - k * icc;
        let dof = (k - 1.0) * (n - 1.0) * (k * icc * f + b).powi(2) / ((n - 1.0) * (k * icc * f).powi(2) + b * b);
        let c = k * raters + (k * n - k - n) * error;
        let (upper_f, lower_f) = (fisher(n - 1.0, dof), fisher(dof, n - 1.0));
        let lower = n * (between - upper_f * error) / (upper_f * c + n * between);
        let upper = n * (lower_f * between - error) / (c + n * lower_f * between);
        (icc, [lower, upper])
    }
}

/// A coefficient (B - W) / (B + (k - 1) W) and its interval from the ratio of two mean squares.
fn between_over(between: f64, within: f64, dof: [f64; 2], k: f64) -> (f64, [f64; 2]) {
    let share = |f: f64| (f - 1.0) / (f + k - 1.0);
    let f = between / within;
    let value = if within == 0.0 { 1.0 } else { share(f) };
    let lower = f / fisher(dof[0], dof[1]);
    let upper = f * fisher(dof[1], dof[0]);
    (value, if within == 0.0 { [1.0, 1.0] } else { [share(lower), share(upper)] })
}

/// The quantile of Fisher's F below which all but half of what 95 % leaves lies.
fn fisher(d1: f64, d2: f64) -> f64 {
    FisherSnedecor::new(d1, d2).map_or(f64::NAN, |f| f.inverse_cdf(0.5 + COVERAGE / 2.0))
}
