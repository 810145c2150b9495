//! The law of propagation of uncertainty, several results at once.

use super::{Budget, coverage_factor, effective_dof};
use crate::{Error, ErrorKind, Result};
use nalgebra::{DMatrix, DVector};
use num_dual::Dual64;

/// Covariance matrix of the results: G Σ Gᵀ, exactly symmetric.
///
/// `jacobian` G is results × inputs, in units of result per unit of input; `cov` Σ is inputs × inputs. All correlations are
/// kept, those between the results included.
///
/// Source: JCGM 100:2008, 5.2.2, formula (13); for several results JCGM 102:2011, 6.2.
///
/// # Panics
/// Where the number of inputs differs between the two matrices, which is a mistake of the program, never of its data.
///
/// # Example: the difference of two lengths that share an error
/// ```
/// use hoofgeo::uncertainty::propagate;
/// use nalgebra::{dmatrix, DMatrix};
/// let cov = dmatrix![0.25, 0.20; 0.20, 0.25]; // mm²
/// let u2: DMatrix<f64> = propagate(&dmatrix![1.0, -1.0], &cov);
/// assert!((u2[(0, 0)] - 0.1).abs() < 1e-12);
/// ```
pub fn propagate(jacobian: &DMatrix<f64>, cov: &DMatrix<f64>) -> DMatrix<f64> {
    let mut out = jacobian * cov * jacobian.transpose();
    // Rounding leaves the two triangles apart in the last digits, which a Cholesky decomposition would not mind but a
    // comparison of covariances would.
    for i in 0..out.nrows() {
        for j in 0..i {
            let mean = 0.5 * (out[(i, j)] + out[(j, i)]);
            out[(i, j)] = mean;
            out[(j, i)] = mean;
        }
    }
    out
}

/// What each independent observation brings to the variance of one result of a least-squares estimate.
///
/// `gradient` g is the result's derivative by the unknowns, `cov` Σ = (JᵀJ)⁻¹ their covariance, and `whitened` J the
/// Jacobian of the observations (priors among them) divided by their standard uncertainties. The estimate moves by Σ Jᵀ
/// per standard uncertainty of each observation, hence observation i brings (J Σ g)ᵢ². The parts are never negative and sum
/// to gᵀ Σ g, so they make an honest [`Budget`] although the unknowns themselves are correlated.
///
/// # Panics
/// Where the number of unknowns differs between the three, a mistake of the program.
pub fn observation_variances(gradient: &DVector<f64>, cov: &DMatrix<f64>, whitened: &DMatrix<f64>) -> DVector<f64> {
    (whitened * (cov * gradient)).map(|x| x * x)
}

/// Input quantities with their uncertainties, correlations and sources.
///
/// `L` names the sources; the library itself uses [`Source`](super::Source), a handbook's example may use words.
///
/// # Example: area of a sheet, both sides measured with the same ruler
/// ```
/// use hoofgeo::uncertainty::Inputs;
/// let mut x = Inputs::new();
/// let a = x.add("ruler", 210.0, 0.3, None);
/// let b = x.add("ruler", 297.0, 0.3, None);
/// x.correlate(a, b, 1.0)?;
/// let area = x.evaluate(|x| vec![x[a] * x[b]])?.combined(0);
/// assert_eq!(area.value, 62370.0);
/// assert!((area.u - 0.3 * (210.0 + 297.0)).abs() < 1e-6); // correlated: added, not in squares
/// # Ok::<(), hoofgeo::Error>(())
/// ```
#[derive(Debug, Clone)]
pub struct Inputs<L> {
    quantities: Vec<Quantity<L>>,
    correlations: Vec<(usize, usize, f64)>,
}

#[derive(Debug, Clone, Copy)]
struct Quantity<L> {
    source: L,
    value: f64,
    u: f64,
    dof: Option<f64>,
}

impl<L> Default for Inputs<L> {
    fn default() -> Self {
        Self { quantities: Vec::new(), correlations: Vec::new() }
    }
}

impl<L: Copy + PartialEq> Inputs<L> {
    /// No inputs yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a quantity: estimate, standard uncertainty and its degrees of freedom (`None`: without limit). Returns its index.
    pub fn add(&mut self, source: L, value: f64, u: f64, dof: Option<f64>) -> usize {
        self.quantities.push(Quantity { source, value, u, dof });
        self.quantities.len() - 1
    }

    /// States the correlation coefficient of two quantities; unstated ones are zero.
    ///
    /// # Errors
    /// [`ErrorKind::Usage`] for an unknown index, twice the same one, or a coefficient outside -1 to 1.
    pub fn correlate(&mut self, i: usize, j: usize, r: f64) -> Result<()> {
        let n = self.quantities.len();
        if i >= n || j >= n || i == j {
            return Err(Error::new(ErrorKind::Usage, format!("no pair of inputs {i} and {j} among {n} inputs")));
        }
        if !(-1.0..=1.0).contains(&r) {
            return Err(Error::new(ErrorKind::Usage, format!("a correlation coefficient of {r} is outside -1 to 1")));
        }
        self.correlations.push((i, j, r));
        Ok(())
    }

    /// Covariance matrix of the inputs.
    pub fn covariance(&self) -> DMatrix<f64> {
        let u = DVector::from_iterator(self.quantities.len(), self.quantities.iter().map(|q| q.u));
        let mut cov = DMatrix::from_diagonal(&u.map(|u| u * u));
        for &(i, j, r) in &self.correlations {
            cov[(i, j)] = r * u[i] * u[j];
            cov[(j, i)] = cov[(i, j)];
        }
        cov
    }

    /// Evaluates `model` and its exact derivatives (on dual numbers) and propagates the uncertainties.
    ///
    /// # Errors
    /// [`ErrorKind::Usage`] where a result or a derivative is not a finite number at these estimates.
    pub fn evaluate(&self, model: impl Fn(&[Dual64]) -> Vec<Dual64>) -> Result<Propagated<L>> {
        let mut x: Vec<Dual64> = self.quantities.iter().map(|q| Dual64::from_re(q.value)).collect();
        let values = DVector::from_vec(model(&x).iter().map(|y| y.re).collect());
        let mut jacobian = DMatrix::zeros(values.len(), x.len());
        for j in 0..x.len() {
            x[j].eps = 1.0;
            for (i, y) in model(&x).iter().enumerate().take(values.len()) {
                jacobian[(i, j)] = y.eps;
            }
            x[j].eps = 0.0;
        }
        if !values.iter().chain(&jacobian).all(|v| v.is_finite()) {
            return Err(Error::new(ErrorKind::Usage, "the model or its derivative is not defined at these estimates"));
        }
        let covariance = propagate(&jacobian, &self.covariance());
        Ok(Propagated { inputs: self.clone(), values, jacobian, covariance })
    }

    /// The inputs in sets that are correlated within, independent between.
    fn correlated_sets(&self) -> Vec<Vec<usize>> {
        let mut set: Vec<usize> = (0..self.quantities.len()).collect();
        for &(i, j, _) in self.correlations.iter().filter(|c| c.2 != 0.0) {
            let (keep, gone) = (set[i], set[j]);
            set.iter_mut().filter(|s| **s == gone).for_each(|s| *s = keep);
        }
        let mut sets = vec![Vec::new(); set.len()];
        for (i, s) in set.into_iter().enumerate() {
            sets[s].push(i);
        }
        sets.retain(|s| !s.is_empty());
        sets
    }
}

/// Results of a model with their sensitivities and joint covariance.
#[derive(Debug, Clone)]
pub struct Propagated<L> {
    inputs: Inputs<L>,
    /// The results.
    pub values: DVector<f64>,
    /// Sensitivity coefficients, results × inputs.
    pub jacobian: DMatrix<f64>,
    /// Covariance of the results.
    pub covariance: DMatrix<f64>,
}

impl<L: Copy + PartialEq> Propagated<L> {
    /// Correlation coefficient of two results.
    pub fn correlation(&self, i: usize, j: usize) -> f64 {
        self.covariance[(i, j)] / (self.covariance[(i, i)] * self.covariance[(j, j)]).sqrt()
    }

    /// One result with its expanded uncertainty at 95 % and its budget.
    ///
    /// The formula for effective degrees of freedom asks for independent parts (JCGM 100:2008, G.4.1). Inputs that are
    /// correlated with each other therefore count as one part, with the smallest degrees of freedom among them: right for
    /// means of the same n sets of readings, where any combination has n - 1, and cautious otherwise.
    pub fn combined(&self, i: usize) -> Combined<L> {
        let cov = self.inputs.covariance();
        let g = self.jacobian.row(i);
        let quantities = &self.inputs.quantities;
        let with_others = g * &cov;
        let variance = |of: usize| g[of] * with_others[of];
        let u = self.covariance[(i, i)].max(0.0).sqrt();
        let parts = self.inputs.correlated_sets().into_iter().map(|set| {
            let part: f64 = set.iter().map(|&q| variance(q)).sum();
            let dof = set.iter().filter_map(|&q| quantities[q].dof).min_by(f64::total_cmp);
            (part.max(0.0).sqrt(), dof)
        });
        let dof = effective_dof(u, parts);
        let k = coverage_factor(dof);
        let budget = Budget::from_variances(quantities.iter().enumerate().map(|(q, x)| (x.source, variance(q))));
        Combined { value: self.values[i], u, dof, k, expanded: k * u, budget }
    }
}

/// One result with its combined and its expanded uncertainty.
#[derive(Debug, Clone, PartialEq)]
pub struct Combined<L> {
    /// The estimate.
    pub value: f64,
    /// Combined standard uncertainty.
    pub u: f64,
    /// Effective degrees of freedom; `None`: not limited.
    pub dof: Option<f64>,
    /// Coverage factor for 95 %.
    pub k: f64,
    /// Expanded uncertainty U = k u.
    pub expanded: f64,
    /// Shares of the variance.
    pub budget: Budget<L>,
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use nalgebra::{dmatrix, dvector};
    use num_dual::DualNum;
    use proptest::prelude::*;

    #[test]
    fn results_of_the_same_inputs_are_correlated() {
        // JCGM 102:2011, 9.2: Y1 = X1 + X3, Y2 = X2 + X3 of standard normal inputs: r = 0.5.
        let mut x = Inputs::new();
        for name in ["X1", "X2", "X3"] {
            x.add(name, 0.0, 1.0, None);
        }
        let y = x.evaluate(|x| vec![x[0] + x[2], x[1] + x[2]]).unwrap();
        assert!((y.covariance[(0, 0)] - 2.0).abs() < 1e-15);
        assert!((y.correlation(0, 1) - 0.5).abs() < 1e-15);
        assert_eq!(y.combined(0).budget.shares, [("X1", 0.5), ("X3", 0.5), ("X2", 0.0)]);
    }

    #[test]
    fn a_shared_error_cancels_in_a_difference() {
        let mut x = Inputs::new();
        let (a, b) = (x.add('a', 50.0, 0.5, Some(3.0)), x.add('b', 45.0, 0.5, Some(7.0)));
        x.correlate(a, b, 1.0).unwrap();
        let difference = x.evaluate(|x| vec![x[0] - x[1]]).unwrap().combined(0);
        assert_eq!((difference.u, difference.dof, difference.budget.shares.len()), (0.0, None, 0));
    }

    #[test]
    fn correlated_readings_keep_their_dof() {
        let mut x = Inputs::new();
        let (a, b) = (x.add('a', 1.0, 0.1, Some(4.0)), x.add('b', 2.0, 0.2, Some(4.0)));
        let c = x.add('c', 0.0, 0.3, None);
        x.correlate(a, b, -0.4).unwrap();
        let y = x.evaluate(|x| vec![x[a] * x[b], x[a] + x[c]]).unwrap();
        assert!((y.combined(0).dof.unwrap() - 4.0).abs() < 1e-9);
        assert!((y.combined(1).dof.unwrap() - 4.0 * 100.0).abs() < 1e-6); // a brings a tenth of the variance
    }

    #[test]
    fn nonsense_is_refused() {
        let mut x = Inputs::new();
        let a = x.add("a", 0.0, 1.0, None);
        assert!(x.correlate(a, a, 0.5).is_err());
        assert!(x.correlate(a, 1, 0.5).is_err());
        let b = x.add("b", 0.0, 1.0, None);
        assert!(x.correlate(a, b, 1.1).is_err());
        assert!(x.correlate(a, b, f64::NAN).is_err());
        assert!(x.evaluate(|x| vec![x[0].ln()]).is_err(), "infinite derivative");
        assert!(x.evaluate(|x| vec![x[0] / x[1]]).is_err(), "0/0");
    }

    proptest! {
        /// Splitting the variance of an estimate by its observations loses nothing.
        #[test]
        fn observations_bring_the_whole_variance(
            entries in prop::collection::vec(-1.0..1.0_f64, 24),
            g in prop::collection::vec(-1.0..1.0_f64, 3),
        ) {
            // Eight observations of three unknowns, with priors so that the system is never singular.
            let mut j = DMatrix::from_row_slice(8, 3, &entries).insert_rows(8, 3, 0.0);
            j.view_mut((8, 0), (3, 3)).fill_with_identity();
            let cov = (j.transpose() * &j).try_inverse().unwrap();
            let g = DVector::from_vec(g);
            let parts = observation_variances(&g, &cov, &j);
            let total = propagate(&DMatrix::from_rows(&[g.transpose()]), &cov)[(0, 0)];
            prop_assert!((parts.sum() - total).abs() <= 1e-12 * (1.0 + total));
        }
    }

    #[test]
    fn covariance_is_exactly_symmetric() {
        let g = dmatrix![0.1, 0.7, 1e3; 1e-3, 2.0, 0.3; 5.0, 1.0 / 3.0, -0.9];
        let cov = dmatrix![1.0, 0.1, 0.2; 0.1, 2.0, 0.3; 0.2, 0.3, 3.0];
        let out = propagate(&g, &cov);
        assert_eq!(out, out.transpose());
        assert_eq!(observation_variances(&dvector![2.0], &dmatrix![0.25], &dmatrix![2.0])[0], 1.0);
    }
}
