//! The numerical ground: least squares and the scalar that formulas are written in.

mod least_squares;

pub use least_squares::{Fit, LeastSquares, Options, Stop, covariance, minimise};

/// A scalar that formulas run on: `f64` for values, a dual number for derivatives.
///
/// Formulas are written once, generic over this trait; evaluating them on dual numbers gives their sensitivities.
pub trait Real: nalgebra::RealField + Copy {}

impl<T: nalgebra::RealField + Copy> Real for T {}

/// The constant `x` as a scalar of the formula's type.
#[inline]
pub fn constant<T: Real>(x: f64) -> T {
    nalgebra::convert(x)
}

/// The value without its derivatives.
#[inline]
pub fn value<T: Real>(x: T) -> f64 {
    // Dual numbers print and compare by their real part, but `RealField` has no accessor for it: `to_subset` drops the
    // derivatives for every scalar type used here.
    nalgebra::try_convert(x).unwrap_or(f64::NAN)
}
