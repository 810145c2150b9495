//! What is known of the camera before the graduations are looked at.

use super::params::{DISTORTION, LENS, LN_FOCAL, PRINCIPAL};
use crate::lens::BrownConradyFit;
use nalgebra::{DMatrix, SMatrix, SVector};

/// Where the knowledge of the lens comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum LensSource {
    /// A lens profile with its covariance.
    Profile,
    /// The lens database's entry for the photo's camera and lens.
    Database,
    /// The photo's EXIF focal length alone.
    Exif,
    /// The EXIF focal length of a picture that may show but a part of what the camera saw.
    ExifCropped,
    /// Nothing is known of the camera.
    Unknown,
}

impl LensSource {
    /// The name used in results.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Profile => "lens_profile",
            Self::Database => "lens_database",
            Self::Exif => "exif",
            Self::ExifCropped => "exif_cropped",
            Self::Unknown => "none",
        }
    }
}

/// Mean and covariance of ln(focal), principal point and distortion (k1, k2, k3, p1, p2) before the photo is looked at.
///
/// A parameter of zero variance is held fixed.
#[derive(Debug, Clone, PartialEq)]
pub struct LensPrior {
    /// Where it comes from.
    pub source: LensSource,
    /// The mean.
    pub mean: SVector<f64, LENS>,
    /// The covariance.
    pub covariance: SMatrix<f64, LENS, LENS>,
}

impl LensPrior {
    /// From the focal length that a photo's header states, px.
    ///
    /// Standard uncertainties: focal length 3 % (the equivalent is a whole number and rounds a nominal value), principal
    /// point 1 % of the longer side, and distortion as small as phones leave it after their own correction: k1 0.02,
    /// k2 0.01, p1 and p2 0.0005 (estimates, no source).
    pub fn exif(frame_px: (u32, u32), focal_px: f64) -> Self {
        Self::round(LensSource::Exif, frame_px, focal_px, 0.03, [0.02, 0.01, 0.0005])
    }

    /// From the focal length that a photo's header states for the whole frame, px, where the photo may be a crop of it: by up to
    /// `factor` in each direction, from anywhere in the frame where `off_centre`.
    ///
    /// A resized photo and a crop that kept the proportions look the same, and a digital zoom may or may not be in the header's focal
    /// length. The focal length is then up to `factor` times as long, and the principal point off the middle by up to
    /// (factor − 1)/2 of the longer side. Both ends lie within 2.1 standard uncertainties, merely resized (the usual case) within 0.7; more
    /// than twofold crops are not thought of (estimates, no source).
    pub fn exif_cropped(frame_px: (u32, u32), focal_px: f64, factor: f64, off_centre: bool) -> Self {
        let factor = factor.clamp(1.0, 2.0);
        let mut prior = Self { source: LensSource::ExifCropped, ..Self::exif(frame_px, focal_px) };
        prior.mean[LN_FOCAL] += 0.25 * factor.ln();
        prior.covariance[(LN_FOCAL, LN_FOCAL)] += (0.36 * factor.ln()).powi(2);
        if off_centre {
            let u = 0.15 * (factor - 1.0) * f64::from(frame_px.0.max(frame_px.1));
            for i in [PRINCIPAL, PRINCIPAL + 1] {
                prior.covariance[(i, i)] += u * u;
            }
        }
        prior
    }

    /// For a camera of which nothing is known: focal length 1.2 times the longer side ± 25 %, k1 and k2 ± 0.2, p1 and p2
    /// ± 0.002 (estimates, no source).
    pub fn unknown(frame_px: (u32, u32)) -> Self {
        let focal = 1.2 * f64::from(frame_px.0.max(frame_px.1));
        Self::round(LensSource::Unknown, frame_px, focal, 0.25, [0.2, 0.2, 0.002])
    }

    /// From a calibration: focal length (px), principal point (px), k1, k2, k3, p1, p2 with their covariance.
    pub fn profile(mean: [f64; LENS], covariance: &SMatrix<f64, LENS, LENS>) -> Self {
        let mut m = SVector::from(mean);
        let mut scale = SMatrix::<f64, LENS, LENS>::identity();
        scale[(0, 0)] = 1.0 / m[0];
        m[0] = m[0].ln();
        Self { source: LensSource::Profile, mean: m, covariance: scale * covariance * scale }
    }

    /// From an entry of the lens database: its terms with the covariance that [`RadialCorrection::brown_conrady`] gives them (20 % of
    /// each), focal length, principal point and tangential terms as [`LensPrior::exif`] has them.
    ///
    /// [`RadialCorrection::brown_conrady`]: crate::lens::RadialCorrection::brown_conrady
    pub fn database(frame_px: (u32, u32), fit: &BrownConradyFit) -> Self {
        let mut prior = Self { source: LensSource::Database, ..Self::exif(frame_px, fit.focal_px) };
        let d = &fit.distortion;
        let places = [LN_FOCAL, DISTORTION, DISTORTION + 1, DISTORTION + 2];
        for (k, i) in [d.k1, d.k2, d.k3].into_iter().zip(&places[1..]) {
            prior.mean[*i] = k;
        }
        for (r, i) in places.into_iter().enumerate() {
            for (c, j) in places.into_iter().enumerate() {
                prior.covariance[(i, j)] = fit.covariance[(r, c)];
            }
        }
        prior
    }

    /// Focal length of the mean, px.
    pub fn focal_px(&self) -> f64 {
        self.mean[0].exp()
    }

    fn round(source: LensSource, frame_px: (u32, u32), focal: f64, u_focal: f64, [k1, k2, p]: [f64; 3]) -> Self {
        let (w, h) = (f64::from(frame_px.0), f64::from(frame_px.1));
        let u_principal = 0.01 * w.max(h);
        let u = SVector::from([u_focal, u_principal, u_principal, k1, k2, 0.0, p, p]);
        let mean = SVector::from([focal.ln(), w / 2.0, h / 2.0, 0.0, 0.0, 0.0, 0.0, 0.0]);
        Self { source, mean, covariance: SMatrix::from_diagonal(&u.component_mul(&u)) }
    }

    /// Which parameters are free, and the matrix that turns their deviations into independent ones of unit variance
    /// (inverse of the covariance's Cholesky factor); `None` where the covariance is not positive definite on them.
    pub(super) fn whitening(&self) -> Option<(Vec<usize>, DMatrix<f64>)> {
        let free: Vec<usize> = (0..LENS).filter(|&i| self.covariance[(i, i)] > 0.0).collect();
        let c = DMatrix::from_fn(free.len(), free.len(), |i, j| self.covariance[(free[i], free[j])]);
        // Scaled to correlations first: the entries differ by many orders of magnitude.
        let s: Vec<f64> = (0..free.len()).map(|i| c[(i, i)].sqrt()).collect();
        let correlation = DMatrix::from_fn(free.len(), free.len(), |i, j| c[(i, j)] / (s[i] * s[j]));
        let mut inverse = correlation.cholesky()?.l().try_inverse()?;
        for (j, mut column) in inverse.column_iter_mut().enumerate() {
            column /= s[j];
        }
        Some((free, inverse))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whitening_makes_the_covariance_a_unit_matrix() {
        let mut p = LensPrior::exif((4000, 3000), 3000.0);
        p.covariance[(0, 3)] = 0.5 * (p.covariance[(0, 0)] * p.covariance[(3, 3)]).sqrt();
        p.covariance[(3, 0)] = p.covariance[(0, 3)];
        let (free, w) = p.whitening().expect("positive definite");
        assert_eq!(free, [0, 1, 2, 3, 4, 6, 7]);
        let c = DMatrix::from_fn(7, 7, |i, j| p.covariance[(free[i], free[j])]);
        assert!((&w * c * w.transpose() - DMatrix::identity(7, 7)).norm() < 1e-12);
    }
}
