//! Readings of several photos with their covariances, and weighted fits to them.

use super::shot::{Key, Reading, Shot};
use crate::uncertainty::{COVERAGE, coverage_factor, effective_dof, student_t_factor};
use nalgebra::{DMatrix, DVector};
use statrs::distribution::{ChiSquared, ContinuousCDF};

/// Readings and what they share.
pub(super) struct Pool<'a> {
    readings: Vec<(&'a Shot, &'a Reading)>,
    one_scale: bool,
}

/// A weighted sum of a pool's readings.
pub(super) type Combination = Vec<(usize, f64)>;

impl<'a> Pool<'a> {
    pub(super) fn new(readings: Vec<(&'a Shot, &'a Reading)>, one_scale: bool) -> Self {
        Self { readings, one_scale }
    }

    pub(super) fn value(&self, c: &Combination) -> f64 {
        c.iter().map(|(i, w)| w * self.readings[*i].1.value).sum()
    }

    /// Covariance of two sums. Different readings of one photo count as fully correlated, which can only make a mean of them less
    /// certain.
    pub(super) fn covariance(&self, a: &Combination, b: &Combination) -> f64 {
        a.iter().flat_map(|(i, v)| b.iter().map(move |(j, w)| v * w * self.between(*i, *j))).sum()
    }

    fn between(&self, i: usize, j: usize) -> f64 {
        let ((a, x), (b, y)) = (self.readings[i], self.readings[j]);
        if i == j {
            return x.u * x.u;
        }
        if std::ptr::eq(a, b) {
            return x.u * y.u;
        }
        let one_lens = a.lens.is_some() && a.lens == b.lens;
        let one_scale = self.one_scale && a.scale.is_some() && a.scale == b.scale;
        let one_stand = a.day == b.day && Key::of(a) == Key::of(b);
        let limit = x.u * y.u;
        x.shared.covariance(&y.shared, one_lens, one_scale, one_stand).clamp(-limit, limit)
    }

    /// The mean of some readings, each weighted by the inverse of its variance.
    pub(super) fn mean(&self, of: &[usize]) -> Combination {
        let weight = |i: usize| self.readings[i].1.u.powi(-2);
        let total: f64 = of.iter().map(|&i| weight(i)).sum();
        of.iter().map(|&i| (i, weight(i) / total)).collect()
    }

    /// Effective degrees of freedom of a sum.
    pub(super) fn dof(&self, c: &Combination) -> Option<f64> {
        let u = self.covariance(c, c).max(0.0).sqrt();
        effective_dof(u, c.iter().map(|(i, w)| (w * self.readings[*i].1.u, self.readings[*i].1.dof)))
    }

    /// Fits sums by a linear model, generalised least squares with all covariances.
    pub(super) fn fit(&self, sums: &[Combination], design: &DMatrix<f64>) -> Option<Fit> {
        self.fit_with(sums, design, |_| true)
    }

    /// The same, the sums taken as independent of each other.
    pub(super) fn fit_as_independent(&self, sums: &[Combination], design: &DMatrix<f64>) -> Option<Fit> {
        self.fit_with(sums, design, |same| same)
    }

    fn fit_with(&self, sums: &[Combination], design: &DMatrix<f64>, keep: impl Fn(bool) -> bool) -> Option<Fit> {
        let n = sums.len();
        let y = DVector::from_fn(n, |i, _| self.value(&sums[i]));
        let v = DMatrix::from_fn(n, n, |i, j| if keep(i == j) { self.covariance(&sums[i], &sums[j]) } else { 0.0 });
        // The worst known of them speaks for all.
        let dof = sums.iter().filter_map(|s| self.dof(s)).reduce(f64::min);
        Fit::new(design, &y, &v, dof)
    }
}

/// `first - second` of two sums.
pub(super) fn minus(first: &Combination, second: &Combination) -> Combination {
    first.iter().copied().chain(second.iter().map(|(i, w)| (*i, -w))).collect()
}

/// How well a fitted line or rate explains the values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scatter {
    /// Sum of the squared residuals over their variances, covariances regarded.
    pub chi_square: f64,
    /// Degrees of freedom.
    pub dof: usize,
    /// Probability of at least this chi-square if the model and the uncertainties are right.
    pub probability: f64,
    /// The Birge ratio √(χ²/dof). Above 1 every uncertainty of the fit was multiplied with it.
    pub birge: f64,
}

impl Scatter {
    /// Whether the values scatter more than their uncertainties explain, at 5 %.
    pub fn is_excessive(&self) -> bool {
        self.probability < 1.0 - COVERAGE
    }
}

/// A weighted linear fit.
///
/// # Source
/// Generalised least squares (Aitken 1936): x = (Aᵀ V⁻¹ A)⁻¹ Aᵀ V⁻¹ y. Scatter beyond the uncertainties widens them by the Birge ratio
/// (Birge 1932, Phys. Rev. 40:207, from memory), and only widens.
pub(super) struct Fit {
    pub(super) x: DVector<f64>,
    /// Covariance, widened where the values scatter.
    pub(super) covariance: DMatrix<f64>,
    /// `None` where there are no more values than unknowns.
    pub(super) scatter: Option<Scatter>,
    /// Coverage factor of 95 % intervals.
    pub(super) k: f64,
}

impl Fit {
    pub(super) fn new(a: &DMatrix<f64>, y: &DVector<f64>, v: &DMatrix<f64>, dof: Option<f64>) -> Option<Self> {
        let cholesky = v.clone().cholesky()?;
        let weighted = cholesky.solve(a);
        let mut covariance = (a.transpose() * &weighted).try_inverse()?;
        let x = &covariance * (weighted.transpose() * y);
        let residual = y - a * &x;
        let chi_square = residual.dot(&cholesky.solve(&residual));
        let free = a.nrows() - a.ncols();
        let mut k = coverage_factor(dof);
        let scatter = (free > 0).then(|| Scatter {
            chi_square,
            dof: free,
            probability: ChiSquared::new(free as f64).map_or(f64::NAN, |c| c.sf(chi_square)),
            birge: (chi_square / free as f64).sqrt(),
        });
        if let Some(s) = &scatter {
            covariance *= s.birge.max(1.0).powi(2);
            if s.is_excessive() {
                // The spread now comes from the scatter itself, which few visits know badly.
                k = k.max(student_t_factor(COVERAGE, Some(free as f64)));
            }
        }
        Some(Self { x, covariance, scatter, k })
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use nalgebra::{dmatrix, dvector};

    /// JCGM 100:2008, H.3: a thermometer's calibration line fitted to 11 equally certain points, t0 = 20 °C: intercept -0.1712,
    /// slope 0.002 18; the standard deviations 0.0029 and 0.000 67 follow from the scatter, s = 0.0035.
    #[test]
    fn the_guides_calibration_line() {
        let t = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511];
        let b = [0.171, 0.169, 0.166, 0.159, 0.164, 0.165, 0.156, 0.157, 0.159, 0.161, 0.160].map(|b: f64| -b);
        let a = DMatrix::from_fn(11, 2, |i, j| if j == 0 { 1.0 } else { t[i] - 20.0 });
        // Claimed ten times better than they are, so that the Birge ratio must do it all.
        let v = DMatrix::identity(11, 11) * 0.000_35_f64.powi(2);
        let fit = Fit::new(&a, &DVector::from_row_slice(&b), &v, None).unwrap();
        assert!((fit.x[0] + 0.1712).abs() < 5e-5 && (fit.x[1] - 0.002_18).abs() < 5e-6, "{}", fit.x);
        assert!((fit.covariance[(0, 0)].sqrt() - 0.0029).abs() < 5e-5);
        assert!((fit.covariance[(1, 1)].sqrt() - 0.000_67).abs() < 5e-6);
        let scatter = fit.scatter.unwrap();
        assert!((scatter.birge - 10.0).abs() < 0.1 && scatter.is_excessive());
        assert!((fit.k - student_t_factor(COVERAGE, Some(9.0))).abs() < 1e-12);
    }

    /// Two readings with a common error: it drops out of their difference, and stays in their mean.
    #[test]
    fn a_common_error_moves_the_level_but_not_the_slope() {
        let (own, common) = (0.3_f64, 2.0_f64);
        let v = dmatrix![own.powi(2) + common.powi(2), common.powi(2); common.powi(2), own.powi(2) + common.powi(2)];
        let fit = Fit::new(&dmatrix![1.0, 0.0; 1.0, 1.0], &dvector![50.0, 51.0], &v, None).unwrap();
        assert!((fit.x[1] - 1.0).abs() < 1e-12);
        assert!((fit.covariance[(1, 1)] - 2.0 * own * own).abs() < 1e-9);
        assert!(fit.scatter.is_none() && fit.k == 2.0);
    }

    #[test]
    fn less_scatter_than_stated_narrows_nothing() {
        let a = dmatrix![1.0, 0.0; 1.0, 1.0; 1.0, 2.0];
        let fit = Fit::new(&a, &dvector![1.0, 2.0, 3.0], &DMatrix::identity(3, 3), None).unwrap();
        assert!((fit.covariance[(1, 1)] - 0.5).abs() < 1e-12);
    }
}
