//! What U was on the same scenes before the defaults of planes, lines and spreads were widened: median expanded uncertainties, recorded
//! once.

pub(crate) const PHOTOS: usize = 200;
pub(crate) const SEED: u64 = 9;

/// Cell, measurement, U in its unit.
pub(crate) const U: &[(&str, &str, f64)] = &[];
