//! Propagation of distributions by Monte Carlo, and the check of the linear result against it.

use super::{COVERAGE, student_t_factor};
use crate::{Error, ErrorKind, Result};
use nalgebra::{DMatrix, DVector};
use rand::{Rng, RngExt, SeedableRng};
use rand_distr::StandardNormal;
use rand_xoshiro::Xoshiro256PlusPlus;
use rayon::prelude::*;

/// Draws that share one stream of random numbers. Fixed: another size would give other numbers for the same seed.
pub const BLOCK: usize = 1000;

/// Draws results in parallel, the same ones for any number of threads.
///
/// `draw` is called once for every index below `draws` and writes its `outputs` results; what it leaves alone is NaN,
/// which [`Summary`] counts as undefined. Each block of [`BLOCK`] draws has a stream of its own: xoshiro256++ seeded with
/// `seed` and moved on by 2¹²⁸ numbers per block (Blackman & Vigna 2021, ACM Trans Math Softw 47:36), so streams never overlap.
/// `start` makes the working memory of a block.
///
/// Returns one vector per output, in the order of the draws.
///
/// ```
/// use hoofgeo::uncertainty::{Summary, draw_blocks};
/// use rand::RngExt;
/// let columns = draw_blocks(20_000, 1, 42, || (), |_, rng, _, out| out[0] = rng.random::<f64>() + rng.random::<f64>());
/// let sum = Summary::of(columns[0].clone(), 0.95).unwrap();
/// assert!((sum.mean - 1.0).abs() < 0.02);
/// ```
pub fn draw_blocks<S>(
    draws: usize,
    outputs: usize,
    seed: u64,
    start: impl Fn() -> S + Sync,
    draw: impl Fn(&mut S, &mut Xoshiro256PlusPlus, usize, &mut [f64]) + Sync,
) -> Vec<Vec<f64>> {
    let mut columns = vec![vec![f64::NAN; draws]; outputs];
    let mut rest: Vec<_> = columns.iter_mut().map(|c| c.chunks_mut(BLOCK)).collect();
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
    let blocks: Vec<_> = (0..draws.div_ceil(BLOCK))
        .map(|block| {
            let stream = rng.clone();
            rng.jump();
            let chunks: Vec<&mut [f64]> = rest.iter_mut().filter_map(Iterator::next).collect();
            (block * BLOCK, stream, chunks)
        })
        .collect();
    blocks.into_par_iter().for_each(|(first, mut stream, mut chunks)| {
        let mut state = start();
        let mut row = vec![f64::NAN; outputs];
        for i in 0..BLOCK.min(draws - first) {
            row.fill(f64::NAN);
            draw(&mut state, &mut stream, first + i, &mut row);
            for (chunk, value) in chunks.iter_mut().zip(&row) {
                chunk[i] = *value;
            }
        }
    });
    columns
}

/// A vector of jointly normal quantities to draw from.
///
/// The covariance may be singular, as it is where a quantity is held fixed (JCGM 101:2008, 6.4.8 and C.5, by a Cholesky
/// factor that leaves out columns without variance).
#[derive(Debug, Clone)]
pub struct NormalVector {
    mean: DVector<f64>,
    /// Row i of the factor, as column i, so that it lies in one piece.
    factor_t: DMatrix<f64>,
}

impl NormalVector {
    /// From mean and covariance.
    ///
    /// # Errors
    /// [`ErrorKind::Usage`] where the sizes differ or the covariance is not one: not finite, or with a negative variance in
    /// some direction.
    pub fn new(mean: DVector<f64>, cov: &DMatrix<f64>) -> Result<Self> {
        let n = mean.len();
        if cov.shape() != (n, n) {
            let (rows, columns) = cov.shape();
            return Err(Error::new(ErrorKind::Usage, format!("a {rows} x {columns} covariance for {n} quantities")));
        }
        let mut l: DMatrix<f64> = DMatrix::zeros(n, n);
        for j in 0..n {
            let pivot = cov[(j, j)] - l.row(j).norm_squared();
            // What is left of a variance after its correlations is a difference of nearly equal numbers: below 1e-13 of it,
            // rounding; a clearly negative remainder is not.
            if pivot.is_nan() || pivot < -1e-9 * cov[(j, j)].abs() || cov[(j, j)] < 0.0 || cov[(j, j)].is_infinite() {
                return Err(Error::new(
                    ErrorKind::Usage,
                    format!("not a covariance matrix: quantity {j} has variance {pivot:e}"),
                ));
            }
            if pivot <= 1e-13 * cov[(j, j)] {
                continue;
            }
            let root = pivot.sqrt();
            l[(j, j)] = root;
            for i in j + 1..n {
                l[(i, j)] = (cov[(i, j)] - l.row(i).dot(&l.row(j))) / root;
            }
        }
        Ok(Self { mean, factor_t: l.transpose() })
    }

    /// Number of quantities.
    pub fn len(&self) -> usize {
        self.mean.len()
    }

    /// Whether there is no quantity.
    pub fn is_empty(&self) -> bool {
        self.mean.is_empty()
    }

    /// Draws one vector into `x`, whose length must be [`len`](Self::len); what is longer is left alone.
    pub fn draw(&self, rng: &mut impl Rng, x: &mut [f64]) {
        let n = self.len().min(x.len());
        x[..n].fill_with(|| rng.sample(StandardNormal));
        // From the last row up, since row i needs only the numbers before it.
        for i in (0..n).rev() {
            let row = self.factor_t.column(i);
            let sum: f64 = row.iter().zip(&x[..=i]).map(|(l, z)| l * z).sum();
            x[i] = self.mean[i] + sum;
        }
    }
}

/// What a Monte Carlo sample says of one result.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Summary {
    /// Draws in which the result is defined.
    pub draws: usize,
    /// Draws in which it is not (NaN or infinite); they are in none of the numbers below.
    pub undefined: usize,
    /// Coverage probability of the intervals.
    pub coverage: f64,
    /// Mean.
    pub mean: f64,
    /// Standard uncertainty.
    pub u: f64,
    /// Probabilistically symmetric interval: as much probability below it as above.
    pub symmetric: [f64; 2],
    /// Shortest interval.
    pub shortest: [f64; 2],
    /// Standard uncertainty of the symmetric interval's ends that comes from the limited number of draws.
    pub endpoint_u: [f64; 2],
}

impl Summary {
    /// Mean, standard uncertainty and intervals of a sample, which need not be sorted.
    ///
    /// `None` with fewer than 5/(1 - coverage) defined draws (100 for 95 %): the tails then hold nothing to tell. The Guide's
    /// own advice is 10⁴/(1 - coverage) (JCGM 101:2008, 7.2.2).
    ///
    /// Source: JCGM 101:2008, 7.6 and 7.7. Only the tails are sorted.
    pub fn of(mut samples: Vec<f64>, coverage: f64) -> Option<Self> {
        let all = samples.len();
        samples.retain(|x| x.is_finite());
        let m = samples.len();
        if !(0.0..1.0).contains(&coverage) || (m as f64) * (1.0 - coverage) < 5.0 - 1e-9 {
            return None;
        }
        let (mean, u) = mean_and_deviation(&samples);
        // 7.7.1: q draws lie in the interval; the r-th smallest starts it, r = 1 ..= m - q.
        let q = ((coverage * m as f64 + 0.5).floor() as usize).min(m - 1);
        let tail = m - q;
        // Whole numbers in the same order compare without branches: twice as fast as floating-point ones.
        let mut keys: Vec<i64> = samples.iter().map(|x| ordered(x.to_bits() as i64)).collect();
        if 2 * tail >= m {
            keys.sort_unstable();
        } else {
            let (low, _, rest) = keys.select_nth_unstable(tail - 1);
            low.sort_unstable();
            let (_, _, high) = rest.select_nth_unstable(q - tail);
            high.sort_unstable();
        }
        for range in [0..tail, q..m] {
            for i in range {
                samples[i] = f64::from_bits(ordered(keys[i]) as u64);
            }
        }
        let (low, high) = (&samples[..tail], &samples[q..]);
        let middle = tail.div_ceil(2) - 1;
        let symmetric = [low[middle], high[middle]];
        let shortest = low
            .iter()
            .zip(high)
            .map(|(&a, &b)| [a, b])
            .min_by(|a, b| (a[1] - a[0]).total_cmp(&(b[1] - b[0])))
            .unwrap_or(symmetric);
        // The rank of a quantile scatters binomially; the sample itself translates ranks to values.
        let scatter = (m as f64 * (1.0 - coverage * coverage) / 4.0).sqrt();
        let ranks = [middle.saturating_sub(scatter as usize), (middle + scatter.ceil() as usize).min(tail - 1)];
        let widths = (ranks[1] - ranks[0]).max(1) as f64 / (2.0 * scatter);
        let endpoint_u = [low, high].map(|t| (t[ranks[1]] - t[ranks[0]]) / 2.0 / widths);
        Some(Self { draws: m, undefined: all - m, coverage, mean, u, symmetric, shortest, endpoint_u })
    }

    /// As [`of`](Self::of), at the library's own 95 %.
    pub fn at_95(samples: Vec<f64>) -> Option<Self> {
        Self::of(samples, COVERAGE)
    }

    /// Checks a linear result against this sample: do the two intervals agree to two significant digits of u?
    ///
    /// The linear interval is value ± t u with the factor for exactly this coverage, not the customary k = 2, whose interval
    /// is wider on purpose. It is compared with the symmetric interval, as both leave the same probability on each side.
    /// Draws without a result are no part of the comparison: look at [`undefined`](Self::undefined) too.
    ///
    /// Source: JCGM 101:2008, clause 8.
    ///
    /// ```
    /// use hoofgeo::uncertainty::{Agreement, Summary, draw_blocks};
    /// use rand::RngExt;
    /// use rand_distr::StandardNormal;
    /// let columns = draw_blocks(100_000, 1, 7, || (), |_, rng, _, out| {
    ///     let x: f64 = rng.sample(StandardNormal);
    ///     out[0] = x.exp(); // far from linear
    /// });
    /// let sample = Summary::of(columns[0].clone(), 0.95).unwrap();
    /// assert_eq!(sample.check_linear(1.0, 1.0, None).agreement, Agreement::Fails);
    /// ```
    pub fn check_linear(&self, value: f64, u: f64, dof: Option<f64>) -> LinearCheck {
        let half = student_t_factor(self.coverage, dof) * u;
        let difference = [(value - half - self.symmetric[0]).abs(), (value + half - self.symmetric[1]).abs()];
        let delta = numerical_tolerance(self.u);
        let within = |reach: f64| (0..2).all(|i| difference[i] <= delta + reach * self.endpoint_u[i]);
        let agreement = match (within(0.0), within(2.0)) {
            (true, _) => Agreement::Holds,
            (false, true) => Agreement::TooFewDraws,
            (false, false) => Agreement::Fails,
        };
        LinearCheck { delta, difference, agreement }
    }
}

/// Numerical tolerance of a standard uncertainty stated to two significant digits: half of the last digit's unit.
///
/// Source: JCGM 101:2008, 7.9.2. Zero for an uncertainty that is zero or not finite.
///
/// ```
/// use hoofgeo::uncertainty::numerical_tolerance;
/// assert_eq!(numerical_tolerance(0.00035), 0.000005); // 35 x 10⁻⁵, as in 7.9.2
/// ```
pub fn numerical_tolerance(u: f64) -> f64 {
    // The formatter rounds to two significant digits exactly and carries 9.96 to 1.0e1.
    let text = format!("{:.1e}", u.abs());
    match text.split_once('e').and_then(|(_, e)| e.parse::<i32>().ok()) {
        Some(exponent) if u != 0.0 && u.is_finite() => format!("5e{}", exponent - 2).parse().unwrap_or(0.0),
        _ => 0.0,
    }
}

/// Outcome of [`Summary::check_linear`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LinearCheck {
    /// Largest difference that still counts as agreement.
    pub delta: f64,
    /// Absolute differences of the lower and the upper ends.
    pub difference: [f64; 2],
    /// Whether they agree.
    pub agreement: Agreement,
}

/// Whether the linear result and the sample agree.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Agreement {
    /// To two significant digits of the standard uncertainty.
    Holds,
    /// They do not, and not by chance: state the sampled interval.
    Fails,
    /// They do not, but so few draws could differ by chance (within two standard uncertainties of the ends).
    TooFewDraws,
}

/// The bits of a number as an integer that is ordered like it, and back.
fn ordered(bits: i64) -> i64 {
    bits ^ (((bits >> 63) as u64) >> 1) as i64
}

/// Mean and standard deviation (divisor n - 1), in two passes so that a large mean does not swallow the deviations.
fn mean_and_deviation(samples: &[f64]) -> (f64, f64) {
    let n = samples.len() as f64;
    let rough = samples.iter().sum::<f64>() / n;
    let (sum, squares) = samples.iter().fold((0.0, 0.0), |(s, q), x| {
        let d = x - rough;
        (s + d, q + d * d)
    });
    (rough + sum / n, ((squares - sum * sum / n) / (n - 1.0)).max(0.0).sqrt())
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use nalgebra::{dmatrix, dvector};
    use proptest::prelude::*;

    fn normals(draws: usize, seed: u64) -> Vec<f64> {
        draw_blocks(draws, 1, seed, || (), |(), rng, _, out| out[0] = rng.sample(StandardNormal)).swap_remove(0)
    }

    #[test]
    fn same_numbers_for_any_number_of_threads() {
        let run = |threads| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            pool.install(|| {
                draw_blocks(3456, 2, 99, Vec::new, |seen: &mut Vec<usize>, rng, index, out| {
                    seen.push(index); // memory of the block may matter, and still must not depend on threads
                    out[0] = rng.random::<f64>() + seen.len() as f64;
                    out[1] = index as f64;
                })
            })
        };
        let one = run(1);
        assert_eq!(one, run(2));
        assert_eq!(one, run(7));
        assert_eq!(one[1], (0..3456).map(f64::from).collect::<Vec<_>>());
        assert!(one.iter().all(|c| c.len() == 3456));
    }

    #[test]
    fn blocks_and_seeds_have_streams_of_their_own() {
        let (a, b) = (normals(4000, 1), normals(4000, 2));
        assert_ne!(a[..BLOCK], a[BLOCK..2 * BLOCK]);
        assert_ne!(a, b);
        // Correlation of neighbouring blocks within 4 standard errors of zero.
        let r: f64 = (0..BLOCK).map(|i| a[i] * a[i + BLOCK]).sum::<f64>() / BLOCK as f64;
        assert!(r.abs() < 4.0 / (BLOCK as f64).sqrt(), "{r}");
    }

    #[test]
    fn a_longer_run_starts_like_a_shorter_one() {
        assert_eq!(normals(2500, 5), normals(10_000, 5)[..2500]);
    }

    #[test]
    fn nothing_drawn_gives_empty_columns() {
        assert_eq!(draw_blocks(0, 2, 1, || (), |(), _, _, _| ()), vec![Vec::<f64>::new(); 2]);
        assert!(draw_blocks(10, 0, 1, || (), |(), _, _, _| ()).is_empty());
        assert!(draw_blocks(10, 1, 1, || (), |(), _, _, _| ())[0].iter().all(|x| x.is_nan()));
    }

    /// JCGM 101:2008, 7.7: the definition, on a fully sorted sample.
    fn by_definition(mut y: Vec<f64>, p: f64) -> ([f64; 2], f64) {
        y.sort_by(f64::total_cmp);
        let m = y.len();
        let pm = p * m as f64;
        let q = if (pm - pm.round()).abs() < 1e-9 { pm.round() as usize } else { (pm + 0.5) as usize };
        let r = (m - q).div_ceil(2); // (m - q)/2, or (m - q + 1)/2 where that is no whole number
        let shortest = (1..=m - q).map(|r| y[r + q - 1] - y[r - 1]).fold(f64::INFINITY, f64::min);
        ([y[r - 1], y[r + q - 1]], shortest)
    }

    proptest! {
        #[test]
        fn intervals_follow_their_definition(y in prop::collection::vec(-1e3..1e3_f64, 100..700), p in 0.3..0.95_f64) {
            let s = Summary::of(y.clone(), p).unwrap();
            let (symmetric, shortest) = by_definition(y, p);
            prop_assert_eq!(s.symmetric, symmetric);
            prop_assert_eq!(s.shortest[1] - s.shortest[0], shortest);
            prop_assert!(s.shortest[1] - s.shortest[0] <= s.symmetric[1] - s.symmetric[0]);
        }

        #[test]
        fn tolerance_is_half_a_unit_of_the_second_digit(digits in 10_u32..100, exponent in -12_i32..12) {
            let u = f64::from(digits) * 10_f64.powi(exponent);
            prop_assert!((numerical_tolerance(u) / (0.5 * 10_f64.powi(exponent)) - 1.0).abs() < 1e-12);
        }
    }

    #[test]
    fn tolerance_carries_and_has_limits() {
        assert_eq!(numerical_tolerance(9.96), 0.5);
        for u in [0.0, f64::NAN, f64::INFINITY] {
            assert_eq!(numerical_tolerance(u), 0.0);
        }
    }

    #[test]
    fn normal_sample_validates_the_normal_result() {
        let s = Summary::at_95(normals(100_000, 3)).unwrap();
        // Standard errors: mean u/sqrt(M), u u/sqrt(2M); four of them.
        assert!(s.mean.abs() < 4.0 / 316.0 && (s.u - 1.0).abs() < 4.0 / 447.0, "{s:?}");
        // sqrt(0.025 x 0.975 / M) / density(1.96) = 0.0085
        assert!(s.endpoint_u.iter().all(|e| (e / 0.00845 - 1.0).abs() < 0.3), "{s:?}");
        assert!((s.symmetric[1] - 1.96).abs() < 4.0 * 0.0085);
        assert_eq!(s.check_linear(0.0, 1.0, None).agreement, Agreement::Holds);
        assert_eq!(s.check_linear(0.2, 1.0, None).agreement, Agreement::Fails);
        assert_eq!(s.check_linear(0.0, 1.2, None).agreement, Agreement::Fails);
    }

    #[test]
    fn too_few_draws_are_called_that() {
        let s = Summary::at_95(normals(1000, 3).iter().map(|x| 9.0 * x).collect()).unwrap();
        // A tolerance of 0.05 with ends known to 0.8: no agreement and no contradiction.
        assert_eq!(s.check_linear(0.0, 9.0, None).agreement, Agreement::TooFewDraws, "{s:?}");
    }

    #[test]
    fn undefined_draws_are_counted_and_left_out() {
        let mut y = normals(1000, 8);
        let clean = Summary::at_95(y.clone()).unwrap();
        y.extend([f64::NAN, f64::INFINITY, f64::NEG_INFINITY]);
        y.rotate_left(500);
        let s = Summary::at_95(y).unwrap();
        assert_eq!((s.draws, s.undefined), (1000, 3));
        assert_eq!((s.symmetric, s.shortest), (clean.symmetric, clean.shortest));
        assert!(Summary::at_95(vec![1.0; 99]).is_none());
        assert!(Summary::at_95(vec![f64::NAN; 1000]).is_none());
        assert!(Summary::of(vec![1.0; 1000], 1.0).is_none());
        let same = Summary::at_95(vec![7.0; 100]).unwrap();
        assert_eq!((same.mean, same.u, same.shortest), (7.0, 0.0, [7.0, 7.0]));
    }

    #[test]
    fn a_large_mean_does_not_swallow_the_deviations() {
        let y: Vec<f64> = normals(10_000, 4).iter().map(|x| 1e9 + 1e-3 * x).collect();
        let s = Summary::at_95(y).unwrap();
        // f64 keeps 1e9 to 1.2e-7.
        assert!((s.u / 1e-3 - 1.0).abs() < 0.03, "{}", s.u);
    }

    #[test]
    fn drawn_vectors_have_the_covariance_asked_for() {
        // The third quantity is fixed, the fourth a multiple of the first: singular twice.
        let cov = dmatrix![4.0, 1.0, 0.0, 8.0; 1.0, 9.0, 0.0, 2.0; 0.0, 0.0, 0.0, 0.0; 8.0, 2.0, 0.0, 16.0];
        let normal = NormalVector::new(dvector![1.0, 2.0, 3.0, 4.0], &cov).unwrap();
        let m = 200_000;
        let y = draw_blocks(m, 4, 11, || (), |(), rng, _, out| normal.draw(rng, out));
        for i in 0..4 {
            let mean_i = y[i].iter().sum::<f64>() / m as f64;
            assert!((mean_i - normal.mean[i]).abs() <= 4.0 * (cov[(i, i)] / m as f64).sqrt(), "{i}: {mean_i}");
            for j in 0..4 {
                let c = y[i].iter().zip(&y[j]).map(|(a, b)| (a - normal.mean[i]) * (b - normal.mean[j])).sum::<f64>()
                    / m as f64;
                let error = ((cov[(i, i)] * cov[(j, j)] + cov[(i, j)].powi(2)) / m as f64).sqrt();
                assert!((c - cov[(i, j)]).abs() <= 4.0 * error, "{i} {j}: {c}");
            }
        }
        assert!(y[2].iter().all(|x| *x == 3.0));
    }

    #[test]
    fn what_is_no_covariance_is_refused() {
        let zero = || DVector::zeros(2);
        assert!(NormalVector::new(zero(), &dmatrix![1.0, 2.0; 2.0, 1.0]).is_err());
        assert!(NormalVector::new(zero(), &dmatrix![-1.0, 0.0; 0.0, 1.0]).is_err());
        assert!(NormalVector::new(zero(), &dmatrix![f64::NAN, 0.0; 0.0, 1.0]).is_err());
        assert!(NormalVector::new(zero(), &dmatrix![f64::INFINITY, 0.0; 0.0, 1.0]).is_err());
        assert!(NormalVector::new(zero(), &dmatrix![1.0]).is_err());
    }
}
