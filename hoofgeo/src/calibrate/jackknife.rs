//! What the photos say about themselves when each is left out in turn: the honest covariance, and which photo is a bad one.

use super::BoardPoint;
use super::bundle::{CameraMatrix, CameraVector, Fit};
use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;
use statrs::distribution::{ContinuousCDF, StudentsT};

/// A photo whose residuals are below this many px RMS is never a bad one. Chosen; corners on real photos are off by 0.1 px and more.
const NEVER_BAD_PX: f64 = 0.02;

/// The fits without each photo; `None` where the rest does not determine the camera.
pub(super) fn leave_one_out(fit: &Fit, photos: &[&[BoardPoint]]) -> Vec<Option<Fit>> {
    (0..photos.len()).into_par_iter().map(|i| fit.without(photos, i)).collect()
}

/// Covariance of the camera from the spread of the fits without one photo: (n - 1)/n Σ (θᵢ - θ̄)(θᵢ - θ̄)ᵀ.
///
/// # Source
/// B. Efron & C. Stein, *The jackknife estimate of variance*, Annals of Statistics 9 (1981) 586-596.
pub(super) fn covariance(fits: &[Fit]) -> CameraMatrix {
    let n = fits.len() as f64;
    let mean: CameraVector = fits.iter().map(|f| f.state.camera).sum::<CameraVector>() / n;
    let deviations = fits.iter().map(|f| f.state.camera - mean);
    deviations.map(|d| d * d.transpose()).sum::<CameraMatrix>() * ((n - 1.0) / n)
}

/// The covariance to rely on: the jackknife's, shrunk to the formal one as far as the number of photos makes necessary.
///
/// A dozen photos determine the jackknife's variances to 20 %, but not a whole matrix: in some direction it is far too small by
/// chance. In coordinates in which the formal covariance is the unit matrix it is drawn towards a multiple of that matrix (oracle
/// approximating shrinkage), its principal variances are kept no smaller than the formal ones, and then every parameter's
/// standard uncertainty is raised to the jackknife's where it came out smaller.
///
/// # Source
/// Y. Chen, A. Wiesel, Y. C. Eldar & A. O. Hero, *Shrinkage algorithms for MMSE covariance estimation*, IEEE Trans. Signal
/// Processing 58 (2010) 5016-5029, equation 23. That the result is kept above both others is our own caution.
pub(super) fn honest(
    formal: &CameraMatrix,
    jackknife: &CameraMatrix,
    free: &[usize],
    photos: usize,
) -> Option<CameraMatrix> {
    let p = free.len();
    let pick = |m: &CameraMatrix| DMatrix::from_fn(p, p, |i, j| m[(free[i], free[j])]);
    let scale: DVector<f64> = DVector::from_fn(p, |i, _| formal[(free[i], free[i])].sqrt());
    let scaled = |m: &CameraMatrix| {
        let mut c = pick(m);
        for i in 0..p {
            for j in 0..p {
                c[(i, j)] /= scale[i] * scale[j];
            }
        }
        c
    };
    let root = scaled(formal).cholesky()?.l();
    let inverse = root.clone().try_inverse()?;
    let spread = &inverse * scaled(jackknife) * inverse.transpose();
    let mut eigen = ((&spread + spread.transpose()) / 2.0).symmetric_eigen();
    let (trace, of_square) = (eigen.eigenvalues.sum(), eigen.eigenvalues.norm_squared());
    let (size, freedom) = (p as f64, photos as f64 - 1.0);
    let above = (1.0 - 2.0 / size) * of_square + trace * trace;
    let below = (freedom + 1.0 - 2.0 / size) * (of_square - trace * trace / size);
    let share = if below > 0.0 { (above / below).min(1.0) } else { 1.0 };
    for v in eigen.eigenvalues.iter_mut() {
        *v = ((1.0 - share) * *v + share * trace / size).max(1.0);
    }
    let shrunk = &root * eigen.recompose() * root.transpose();
    let mut honest = CameraMatrix::zeros();
    let raise: Vec<f64> = (0..p)
        .map(|i| {
            let jackknife = jackknife[(free[i], free[i])] / (scale[i] * scale[i]);
            (jackknife / shrunk[(i, i)]).max(1.0).sqrt()
        })
        .collect();
    for i in 0..p {
        for j in 0..p {
            honest[(free[i], free[j])] =
                (shrunk[(i, j)] + shrunk[(j, i)]) / 2.0 * scale[i] * scale[j] * raise[i] * raise[j];
        }
    }
    honest.iter().all(|v| v.is_finite()).then_some(honest)
}

/// A photo that fits worse than the others.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Worst {
    pub(super) photo: usize,
    /// Its RMS residual, judged by a fit that does not contain it, px.
    pub(super) rms_px: f64,
    /// Geometric mean of the others'.
    pub(super) others_px: f64,
    /// How probable a photo so far off is among so many good ones.
    pub(super) probability: f64,
}

/// The photo that stands out most.
///
/// How well corners are found differs from photo to photo far more than the residuals' number explains, so that photos are compared
/// with photos: the logarithm of a photo's RMS against the mean and scatter of the others', by Student's t with n - 2 degrees of
/// freedom, one-sided, times the number of photos (Bonferroni). The photo is judged by what it adds to the sum of squares of a
/// fit without it, so that a bad photo cannot hide by bending the fit, and cannot spoil the others' figures.
pub(super) fn worst(fit: &Fit, without: &[Option<Fit>], photos: &[&[BoardPoint]]) -> Option<Worst> {
    let n = photos.len();
    let t = StudentsT::new(0.0, 1.0, n as f64 - 2.0).ok()?;
    let candidates = without.iter().enumerate().filter_map(|(photo, rest)| {
        let rest = rest.as_ref()?;
        let freedom = 2.0 * photos[photo].len() as f64 - 6.0;
        let rms = |sum: f64, freedom: f64| (2.0 * sum / freedom).sqrt();
        let rms_px = rms((fit.sum_of_squares - rest.sum_of_squares).max(0.0), freedom);
        let others = (0..n).filter(|&i| i != photo).enumerate();
        let logs: Vec<f64> =
            others.map(|(place, i)| rms(rest.photo_sum(place), 2.0 * photos[i].len() as f64 - 6.0).ln()).collect();
        let count = logs.len() as f64;
        let mean = logs.iter().sum::<f64>() / count;
        let scatter = (logs.iter().map(|l| (l - mean).powi(2)).sum::<f64>() / (count - 1.0)).sqrt();
        // No smaller than what the number of residuals alone brings: the standard deviation of ln s is about 1/√(2ν).
        let scatter = scatter.max((2.0 * freedom).sqrt().recip());
        let off = (rms_px.ln() - mean) / (scatter * (1.0 + 1.0 / count).sqrt());
        let probability = (n as f64 * t.sf(off)).min(1.0);
        let judged = rms_px > NEVER_BAD_PX && off.is_finite();
        judged.then_some(Worst { photo, rms_px, others_px: mean.exp(), probability })
    });
    candidates.min_by(|a, b| a.probability.total_cmp(&b.probability))
}
