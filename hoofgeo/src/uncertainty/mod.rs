//! Uncertainty after the Guide: linear propagation with its budget, coverage factors, Monte Carlo, and results as text.
//!
//! The sources are the JCGM's guides, free of charge from the BIPM: JCGM 100:2008 (the GUM), JCGM 101:2008 (propagation of
//! distributions by Monte Carlo) and JCGM 102:2011 (several output quantities).
//!
//! | Task | Item |
//! | --- | --- |
//! | sensitivities and covariance to the covariance of the results | [`propagate`] |
//! | a handful of labelled inputs and a formula, as in a handbook | [`Inputs`] |
//! | which source of uncertainty matters; what to do about it | [`Budget`], [`Source`]; [`advice`](crate::advice) |
//! | standard to expanded uncertainty | [`effective_dof`], [`coverage_factor`] |
//! | distribution of the results, and whether the linear result holds | [`draw_blocks`], [`Summary`] |
//! | value ± U with no more digits than it deserves | [`print()`] |
mod coverage;
mod linear;
mod monte_carlo;
mod print;
mod source;

pub use coverage::{COVERAGE, coverage_factor, effective_dof, student_t_factor};
pub use linear::{Combined, Inputs, Propagated, observation_variances, propagate};
pub use monte_carlo::{Agreement, BLOCK, LinearCheck, NormalVector, Summary, draw_blocks, numerical_tolerance};
pub use print::{Printed, print, print_signed};
pub use source::{Budget, Source};
