//! From standard to expanded uncertainty: effective degrees of freedom and coverage factors.

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// The coverage probability of every interval the library states.
pub const COVERAGE: f64 = 0.95;

/// Above this many degrees of freedom Student's quantile is expanded around the normal one: the inverse of the incomplete
/// beta function behind it loses digits (1e-4 of the quantile at a million), the expansion there is good to 1e-12.
const MANY: f64 = 1000.0;

/// Effective degrees of freedom of a combined standard uncertainty, by the Welch-Satterthwaite formula.
///
/// `combined` is u_c(y). Each part is |c_i| u(x_i) in the unit of y, with the degrees of freedom of u(x_i): `None` where
/// nothing was estimated from repeats, which counts as infinitely many. The parts must be independent of each other;
/// parts known without limit may be left out. `None` is returned where no part limits the result.
///
/// Source: JCGM 100:2008, G.4.1, formula (G.2b). The result is not truncated to a whole number.
///
/// # Example: JCGM 100 G.4.1, a product of three factors, relative uncertainties in percent
/// ```
/// use hoofgeo::uncertainty::effective_dof;
/// let parts = [(0.25, Some(9.0)), (0.57, Some(4.0)), (0.82, Some(14.0))];
/// let dof = effective_dof(1.03, parts).unwrap();
/// assert!((dof - 19.0).abs() < 0.1);
/// ```
pub fn effective_dof(combined: f64, parts: impl IntoIterator<Item = (f64, Option<f64>)>) -> Option<f64> {
    let limit: f64 = parts
        .into_iter()
        // Relative to u_c, so that the fourth powers of small lengths in metres do not vanish.
        .filter_map(|(u, dof)| dof.map(|dof| (u / combined).powi(4) / dof))
        .sum();
    // 0/0 where the combined uncertainty is zero: nothing limits it.
    (limit > 0.0).then(|| limit.recip())
}

/// Two-sided factor t_p(ν) of Student's distribution: the fraction `coverage` lies within ±t standard uncertainties.
///
/// `dof` may be fractional; `None` stands for infinitely many and gives the normal distribution's factor. Without a single
/// degree of freedom (zero, negative, not a number) nothing can be said, and the factor is infinite.
///
/// Source: JCGM 100:2008, table G.2 and G.3.4.
///
/// ```
/// use hoofgeo::uncertainty::student_t_factor;
/// assert!((student_t_factor(0.99, Some(16.0)) - 2.92).abs() < 0.005); // JCGM 100 H.1.6
/// assert!((student_t_factor(0.95, None) - 1.96).abs() < 0.0001);
/// ```
pub fn student_t_factor(coverage: f64, dof: Option<f64>) -> f64 {
    let dof = dof.unwrap_or(f64::INFINITY);
    if dof.is_nan() || dof <= 0.0 || !(0.0..1.0).contains(&coverage) {
        return f64::INFINITY;
    }
    let below = 0.5 + coverage / 2.0;
    if dof > MANY {
        return large_dof_quantile(below, dof);
    }
    StudentsT::new(0.0, 1.0, dof).map_or(f64::INFINITY, |t| t.inverse_cdf(below))
}

/// Factor k of the expanded uncertainty U = k u at 95 %, never less than 2.
///
/// Where an input was estimated from repeats, k is Student's t for the effective degrees of freedom; else 2, the customary
/// rounding of the normal distribution's 1.96 (JCGM 100:2008, 6.3.3 and G.6.6). A t between 1.96 and 2 is rounded the same
/// way, so that knowing the repeats never yields a smaller U than not knowing them.
///
/// ```
/// use hoofgeo::uncertainty::coverage_factor;
/// assert_eq!(coverage_factor(None), 2.0);
/// assert!((coverage_factor(Some(4.0)) - 2.776).abs() < 0.001);
/// ```
pub fn coverage_factor(dof: Option<f64>) -> f64 {
    if dof.is_none() { 2.0 } else { student_t_factor(COVERAGE, dof).max(2.0) }
}

/// Abramowitz & Stegun 1964, 26.7.5, to the third order in 1/ν.
fn large_dof_quantile(p: f64, dof: f64) -> f64 {
    let z = Normal::standard().inverse_cdf(p);
    let z2 = z * z;
    let first = z * (z2 + 1.0) / 4.0;
    let second = z * ((5.0 * z2 + 16.0) * z2 + 3.0) / 96.0;
    let third = z * (((3.0 * z2 + 19.0) * z2 + 17.0) * z2 - 15.0) / 384.0;
    z + (first + (second + third / dof) / dof) / dof
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    #[test]
    fn parts_without_limit_do_not_limit() {
        assert_eq!(effective_dof(1.0, [(1.0, None)]), None);
        assert_eq!(effective_dof(0.0, [(0.0, Some(3.0))]), None);
        // Half of the variance from 5 degrees of freedom: 1/(0.25/5).
        let dof = effective_dof(1.0, [(0.5_f64.sqrt(), Some(5.0)), (0.5_f64.sqrt(), None)]).unwrap();
        assert!((dof - 20.0).abs() < 1e-12);
    }

    #[test]
    fn a_single_part_keeps_its_dof() {
        for dof in [0.5, 1.0, 3.7, 1e5] {
            assert!((effective_dof(1e-9, [(1e-9, Some(dof))]).unwrap() / dof - 1.0).abs() < 1e-12);
        }
    }

    /// The quantile of Student's t has closed forms for 1 and 2 degrees of freedom.
    #[test]
    fn closed_forms() {
        let p: f64 = 0.95;
        let one = (std::f64::consts::FRAC_PI_2 * p).tan();
        let two = p * (2.0 / (1.0 - p * p)).sqrt();
        // 1e-9 relative: the accuracy of the inverse incomplete beta function behind it.
        assert!((student_t_factor(p, Some(1.0)) / one - 1.0).abs() < 1e-9);
        assert!((student_t_factor(p, Some(2.0)) / two - 1.0).abs() < 1e-9);
    }

    #[test]
    fn falls_with_more_repeats_down_to_two() {
        let mut last = f64::INFINITY;
        for n in 1..4000 {
            let k = coverage_factor(Some(f64::from(n) * 0.25));
            assert!(k <= last && k >= 2.0, "{n}: {k} after {last}");
            last = k;
        }
        assert_eq!(coverage_factor(Some(61.0)), 2.0);
        assert_eq!(coverage_factor(Some(f64::INFINITY)), 2.0);
    }

    /// The two ways to the quantile meet; where they do, the beta function is still good to 1e-8.
    #[test]
    fn joins_the_expansion() {
        for p in [0.5, 0.95, 0.99, 0.9973] {
            let (exact, expanded) = (student_t_factor(p, Some(MANY)), large_dof_quantile(0.5 + p / 2.0, MANY));
            assert!((exact / expanded - 1.0).abs() < 1e-8, "{p}: {exact} {expanded}");
        }
        assert_eq!(student_t_factor(0.95, Some(f64::INFINITY)), student_t_factor(0.95, None));
    }

    #[test]
    fn without_any_repeats_nothing_can_be_said() {
        for dof in [0.0, -1.0, f64::NAN] {
            assert_eq!(coverage_factor(Some(dof)), f64::INFINITY);
        }
        for dof in [1e-3, 1e-2, 0.1] {
            assert!(coverage_factor(Some(dof)) > 1e3);
        }
    }
}
