//! Dense nonlinear least squares after Levenberg and Marquardt.
//!
//! Minimises Σ rᵢ(x)². The damping follows Nielsen's gain-ratio rule (H. B. Nielsen, *Damping parameter in Marquardt's
//! method*, IMM-REP-1999-05, DTU; also Madsen, Nielsen & Tingleff, *Methods for non-linear least squares problems*, 2004,
//! algorithm 3.16), on columns scaled to unit length so that parameters of any size are treated alike.
//!
//! It stops on the Newton decrement gᵀ(JᵀJ)⁻¹g, the reduction of the sum of squares that is still to be had. For residuals
//! divided by their standard uncertainties this is in units of χ²: a decrement of 1e-10 means that every parameter is
//! within 1e-5 of its own standard uncertainty of the optimum, whatever its unit.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

/// With this damping a step is too small to change anything.
const LARGEST_DAMPING: f64 = 1e16;

/// A least-squares problem: residuals and their derivatives.
pub trait LeastSquares {
    /// Number of parameters.
    fn parameters(&self) -> usize;

    /// Number of residuals.
    fn residuals(&self) -> usize;

    /// Writes the residuals at `x` and, where asked for, the derivatives (rows: residuals, columns: parameters).
    ///
    /// Returns `false` where `x` lies outside the model's domain; the solver then takes a shorter step.
    fn evaluate(&self, x: &[f64], residuals: &mut [f64], jacobian: Option<&mut DMatrix<f64>>) -> bool;
}

/// When to stop.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    /// Most evaluations of the residuals.
    pub max_evaluations: usize,
    /// Stop when the reduction still to be had is below this many units of the sum of squares …
    pub decrement: f64,
    /// … or below this share of it.
    pub relative_decrement: f64,
    /// Damping to begin with, relative to the scaled normal equations' unit diagonal.
    pub damping: f64,
}

impl Default for Options {
    fn default() -> Self {
        Self { max_evaluations: 200, decrement: 1e-10, relative_decrement: 0.0, damping: 1e-4 }
    }
}

/// Why the solver stopped.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Stop {
    /// The reduction still to be had is below the limit.
    Converged,
    /// No step makes the sum of squares smaller: as good as the arithmetic allows.
    NoProgress,
    /// The number of evaluations ran out.
    TooManyEvaluations,
    /// The starting point lies outside the model's domain.
    BadStart,
}

/// The end of a fit.
#[derive(Debug, Clone)]
pub struct Fit {
    /// The parameters found.
    pub x: Vec<f64>,
    /// Sum of squared residuals there.
    pub sum_of_squares: f64,
    /// The residuals there.
    pub residuals: Vec<f64>,
    /// The derivatives there.
    pub jacobian: DMatrix<f64>,
    /// Number of evaluations made.
    pub evaluations: usize,
    /// Why it stopped.
    pub stop: Stop,
}

impl Fit {
    /// Whether the fit can be used.
    pub fn is_good(&self) -> bool {
        matches!(self.stop, Stop::Converged | Stop::NoProgress)
    }
}

/// JᵀJ with its columns scaled to unit length, and the scale.
struct Normal {
    matrix: DMatrix<f64>,
    gradient: DVector<f64>,
    scale: DVector<f64>,
}

impl Normal {
    fn new(jacobian: &DMatrix<f64>, residuals: &[f64]) -> Self {
        let scale = DVector::from_iterator(
            jacobian.ncols(),
            jacobian.column_iter().map(|c| {
                let n = c.norm();
                if n > 0.0 { n } else { 1.0 }
            }),
        );
        let n = jacobian.ncols();
        let mut matrix = DMatrix::zeros(n, n);
        let mut gradient = DVector::zeros(n);
        for i in 0..n {
            let ci = jacobian.column(i);
            for j in 0..=i {
                let v = ci.dot(&jacobian.column(j)) / (scale[i] * scale[j]);
                matrix[(i, j)] = v;
                matrix[(j, i)] = v;
            }
            gradient[i] = ci.iter().zip(residuals).map(|(a, b)| a * b).sum::<f64>() / scale[i];
        }
        Self { matrix, gradient, scale }
    }

    fn damped(&self, damping: f64) -> Option<Cholesky<f64, Dyn>> {
        let mut m = self.matrix.clone();
        for i in 0..m.nrows() {
            m[(i, i)] += damping;
        }
        Cholesky::new(m)
    }
}

/// Minimises the sum of squares from `start`.
///
/// # Example: a straight line through three points
/// ```
/// use hoofgeo::numeric::{minimise, LeastSquares, Options};
/// use nalgebra::DMatrix;
///
/// struct Line([(f64, f64); 3]);
/// impl LeastSquares for Line {
///     fn parameters(&self) -> usize { 2 }
///     fn residuals(&self) -> usize { 3 }
///     fn evaluate(&self, p: &[f64], r: &mut [f64], j: Option<&mut DMatrix<f64>>) -> bool {
///         for (r, (x, y)) in r.iter_mut().zip(self.0) { *r = p[0] + p[1] * x - y; }
///         if let Some(j) = j {
///             for (i, (x, _)) in self.0.iter().enumerate() { j[(i, 0)] = 1.0; j[(i, 1)] = *x; }
///         }
///         true
///     }
/// }
/// let fit = minimise(&Line([(0.0, 1.0), (1.0, 3.0), (2.0, 5.0)]), &[0.0, 0.0], &Options::default());
/// assert!(fit.is_good() && (fit.x[0] - 1.0).abs() < 1e-5 && (fit.x[1] - 2.0).abs() < 1e-5);
/// ```
pub fn minimise<P: LeastSquares>(problem: &P, start: &[f64], options: &Options) -> Fit {
    let (m, n) = (problem.residuals(), problem.parameters());
    let mut fit = Fit {
        x: start.to_vec(),
        sum_of_squares: f64::INFINITY,
        residuals: vec![0.0; m],
        jacobian: DMatrix::zeros(m, n),
        evaluations: 1,
        stop: Stop::BadStart,
    };
    if !problem.evaluate(&fit.x, &mut fit.residuals, Some(&mut fit.jacobian)) {
        return fit;
    }
    fit.sum_of_squares = sum_of_squares(&fit.residuals);
    if !fit.sum_of_squares.is_finite() {
        return fit;
    }
    let mut trial_residuals = vec![0.0; m];
    let mut damping = options.damping;
    let mut growth = 2.0;
    loop {
        let normal = Normal::new(&fit.jacobian, &fit.residuals);
        // The undamped decrement decides on convergence; where the normal equations are singular only progress does.
        if let Some(full) = normal.damped(0.0) {
            let decrement = normal.gradient.dot(&full.solve(&normal.gradient));
            if decrement <= options.decrement.max(options.relative_decrement * fit.sum_of_squares) {
                fit.stop = Stop::Converged;
                return fit;
            }
        }
        loop {
            if fit.evaluations >= options.max_evaluations {
                fit.stop = Stop::TooManyEvaluations;
                return fit;
            }
            let Some(factor) = normal.damped(damping) else {
                damping = damping.max(1e-12) * 10.0;
                if damping > LARGEST_DAMPING || !normal.matrix.iter().all(|v| v.is_finite()) {
                    fit.stop = Stop::NoProgress;
                    return fit;
                }
                continue;
            };
            let step = -factor.solve(&normal.gradient);
            // Reduction that the linear model promises: half of stepᵀ(λ·step − g), twice for a plain sum of squares.
            let promised = step.dot(&(&step * damping - &normal.gradient));
            let trial: Vec<f64> = (0..n).map(|i| fit.x[i] + step[i] / normal.scale[i]).collect();
            if trial == fit.x || promised <= f64::EPSILON * 1e-3 * fit.sum_of_squares {
                fit.stop = Stop::NoProgress;
                return fit;
            }
            fit.evaluations += 1;
            let inside = problem.evaluate(&trial, &mut trial_residuals, None);
            let trial_sum = if inside { sum_of_squares(&trial_residuals) } else { f64::INFINITY };
            let gain = (fit.sum_of_squares - trial_sum) / promised;
            if trial_sum.is_finite()
                && gain > 0.0
                && problem.evaluate(&trial, &mut fit.residuals, Some(&mut fit.jacobian))
            {
                fit.x = trial;
                fit.sum_of_squares = trial_sum;
                damping *= (1.0 - (2.0 * gain - 1.0).powi(3)).clamp(1.0 / 10.0, 2.0);
                growth = 2.0;
                break;
            }
            damping *= growth;
            growth *= 2.0;
            if damping > LARGEST_DAMPING {
                fit.stop = Stop::NoProgress;
                return fit;
            }
        }
    }
}

/// (JᵀJ)⁻¹, the parameters' covariance where the residuals are divided by their standard uncertainties; `None` where some
/// parameter is not determined at all.
pub fn covariance(jacobian: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    let normal = Normal::new(jacobian, &vec![0.0; jacobian.nrows()]);
    let mut inverse = normal.damped(0.0)?.inverse();
    for i in 0..inverse.nrows() {
        for j in 0..inverse.ncols() {
            inverse[(i, j)] /= normal.scale[i] * normal.scale[j];
        }
    }
    inverse.iter().all(|v| v.is_finite()).then_some(inverse)
}

fn sum_of_squares(r: &[f64]) -> f64 {
    r.iter().map(|v| v * v).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A model whose derivative is not a number ends the run instead of looping.
    #[test]
    fn a_derivative_that_is_not_a_number_ends_the_run() {
        struct Broken;
        impl LeastSquares for Broken {
            fn parameters(&self) -> usize {
                1
            }
            fn residuals(&self) -> usize {
                1
            }
            fn evaluate(&self, _: &[f64], r: &mut [f64], j: Option<&mut DMatrix<f64>>) -> bool {
                r[0] = 1.0;
                if let Some(j) = j {
                    j[(0, 0)] = f64::NAN;
                }
                true
            }
        }
        assert_eq!(minimise(&Broken, &[0.0], &Options::default()).stop, Stop::NoProgress);
    }
}
