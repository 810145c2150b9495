//! How large a study has to be to find a difference of a stated size.

use crate::error::{Error, ErrorKind, Result};
use crate::uncertainty::{COVERAGE, student_t_factor};
use statrs::distribution::{Continuous, ContinuousCDF, Gamma, Normal};

/// How the animals of a study are compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Design {
    /// Each animal with itself: before and after.
    Paired,
    /// Two groups of equally many animals; their number is that of one group.
    Groups,
}

/// The standard deviations that a study's spread is made of, all in the measurement's unit.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Spread {
    /// Between animals. In a paired design it is the spread of the true change between animals.
    pub animals: f64,
    /// What is new with every photo: photographing, ruler and measured plane.
    pub photo: f64,
    /// What is new with every placement of the landmarks.
    pub placement: f64,
}

impl Spread {
    /// Standard deviation of what one animal contributes: its value in [`Design::Groups`], its change in [`Design::Paired`], from
    /// `photos` photos each time and `placements` placements on each.
    pub fn of_one(&self, design: Design, photos: u32, placements: u32) -> f64 {
        let (photos, placements) = (f64::from(photos.max(1)), f64::from(placements.max(1)));
        let once = self.photo.powi(2) / photos + self.placement.powi(2) / (photos * placements);
        let times = match design {
            Design::Paired => 2.0,
            Design::Groups => 1.0,
        };
        (self.animals.powi(2) + times * once).sqrt()
    }
}

/// Probability that a two-sided t-test at 5 % finds a difference, for `animals` animals (in each group) whose contributions have the
/// standard deviation `sd`.
///
/// The exact power by the noncentral t distribution: J. Cohen, "Statistical power analysis for the behavioral sciences" (2nd ed. 1988),
/// chapter 2. Zero for fewer than two animals.
///
/// ```
/// use hoofgeo::agreement::planning::{power, Design};
/// assert!((power(Design::Groups, 64, 0.5, 1.0) - 0.80).abs() < 0.005); // Cohen 1988, table 2.4.1: n = 64 for d = 0.5
/// ```
pub fn power(design: Design, animals: u32, difference: f64, sd: f64) -> f64 {
    if animals < 2 {
        return 0.0;
    }
    let n = f64::from(animals);
    let (dof, shift) = match design {
        Design::Paired => (n - 1.0, difference.abs() / sd * n.sqrt()),
        Design::Groups => (2.0 * n - 2.0, difference.abs() / sd * (n / 2.0).sqrt()),
    };
    let bound = student_t_factor(COVERAGE, Some(dof));
    1.0 - noncentral_t(bound, dof, shift) + noncentral_t(-bound, dof, shift)
}

/// The distribution function of the noncentral t: the mean of Φ(t √(w/ν) − δ) over w, chi-square with ν degrees of freedom, by
/// Simpson's rule where w has its mass.
fn noncentral_t(t: f64, dof: f64, shift: f64) -> f64 {
    let (Ok(normal), Ok(chi2)) = (Normal::new(0.0, 1.0), Gamma::new(dof / 2.0, 0.5)) else { return f64::NAN };
    // In √w the density is smooth even at one degree of freedom; nine standard deviations of √w (0.71 at most) hold all of it.
    let (middle, reach) = (dof.sqrt(), 9.0 * std::f64::consts::FRAC_1_SQRT_2);
    let (from, to) = ((middle - reach).max(0.0), middle + reach);
    let steps = 2000;
    let h = (to - from) / f64::from(steps);
    let at = |i: u32| {
        let root = from + h * f64::from(i);
        let w = root * root;
        // At zero with one degree of freedom the density of w has a pole that 2√w does not quite cancel in floating point.
        let density = if root == 0.0 { chi_at_zero(dof) } else { chi2.ln_pdf(w).exp() * 2.0 * root };
        density * normal.cdf(t * root / dof.sqrt() - shift)
    };
    let weight = |i: u32| if i == 0 || i == steps { 1.0 } else { f64::from(2 + 2 * (i % 2)) };
    (0..=steps).map(|i| weight(i) * at(i)).sum::<f64>() * h / 3.0
}

/// Density of √w at zero: that of a half-normal for one degree of freedom, zero for more.
fn chi_at_zero(dof: f64) -> f64 {
    if dof > 1.0 { 0.0 } else { (2.0 / std::f64::consts::PI).sqrt() }
}

/// The largest study considered.
const MOST: u32 = 1_000_000;

/// The smallest number of animals (in each group) with which a difference is found with at least the wanted power.
///
/// # Errors
/// `Usage` where difference or standard deviation are not positive, the power is not between 0.05 and 1, or a million animals would not
/// be enough.
pub fn animals_needed(design: Design, difference: f64, sd: f64, wanted_power: f64) -> Result<u32> {
    if !(difference.abs() > 0.0 && difference.is_finite() && sd > 0.0 && sd.is_finite()) {
        return Err(Error::new(ErrorKind::Usage, "difference and standard deviation must be positive numbers"));
    }
    if !(wanted_power > 1.0 - COVERAGE && wanted_power < 1.0) {
        return Err(Error::new(ErrorKind::Usage, format!("a power of {wanted_power} cannot be reached or asked for"))
            .help("0.8 and 0.9 are usual"));
    }
    let enough = |n: u32| power(design, n, difference, sd) >= wanted_power;
    let mut high = 2;
    while !enough(high) {
        if high >= MOST {
            let what = "more than a million animals would be needed";
            return Err(Error::new(ErrorKind::Usage, what).help("look for a larger difference, or measure better"));
        }
        high = (high * 2).min(MOST);
    }
    let mut low = high / 2;
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if enough(middle) { high = middle } else { low = middle }
    }
    Ok(high)
}
