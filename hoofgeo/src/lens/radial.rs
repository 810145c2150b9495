//! The radial distortion models of the lens database, as they are, and as Brown-Conrady terms.

use super::Distortion;
use nalgebra::{DMatrix, DVector, Matrix4, Point2, SMatrix, Vector3};

/// A radial distortion as the lens database writes it: a radius r in the corrected picture is r · g(r) in the photo, where r = 1
/// is half the shorter side of the frame that was calibrated.
///
/// # Source
/// Lensfun's documentation of its database format; checked against values that the database's own library gives
/// (`fixtures/lensfun`).
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum Radial {
    /// g = 1 − k1 + k1 r².
    Poly3 {
        /// The term of r².
        k1: f64,
    },
    /// g = 1 + k1 r² + k2 r⁴.
    Poly5 {
        /// The term of r².
        k1: f64,
        /// The term of r⁴.
        k2: f64,
    },
    /// g = a r³ + b r² + c r + 1 − a − b − c.
    PtLens {
        /// The term of r³.
        a: f64,
        /// The term of r².
        b: f64,
        /// The term of r.
        c: f64,
    },
}

impl Radial {
    /// The name of the model in the database.
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Poly3 { .. } => "poly3",
            Self::Poly5 { .. } => "poly5",
            Self::PtLens { .. } => "ptlens",
        }
    }

    /// The terms in the model's order, zeros behind.
    pub const fn terms(&self) -> [f64; 3] {
        match *self {
            Self::Poly3 { k1 } => [k1, 0.0, 0.0],
            Self::Poly5 { k1, k2 } => [k1, k2, 0.0],
            Self::PtLens { a, b, c } => [a, b, c],
        }
    }

    /// The terms by the names that the database gives them.
    pub fn named_terms(&self) -> impl Iterator<Item = (&'static str, f64)> {
        let names: &[&str] = match self {
            Self::Poly3 { .. } => &["k1"],
            Self::Poly5 { .. } => &["k1", "k2"],
            Self::PtLens { .. } => &["a", "b", "c"],
        };
        names.iter().copied().zip(self.terms())
    }

    /// The same model with other terms.
    #[must_use]
    pub const fn with_terms(&self, [t0, t1, t2]: [f64; 3]) -> Self {
        match self {
            Self::Poly3 { .. } => Self::Poly3 { k1: t0 },
            Self::Poly5 { .. } => Self::Poly5 { k1: t0, k2: t1 },
            Self::PtLens { .. } => Self::PtLens { a: t0, b: t1, c: t2 },
        }
    }

    /// How much farther out than `r` the photo shows a point: g(r).
    pub fn factor(&self, r: f64) -> f64 {
        match *self {
            Self::Poly3 { k1 } => 1.0 - k1 + k1 * r * r,
            Self::Poly5 { k1, k2 } => 1.0 + r * r * (k1 + r * r * k2),
            Self::PtLens { a, b, c } => 1.0 - a - b - c + r * (c + r * (b + r * a)),
        }
    }

    /// Derivative of r · g(r).
    fn slope(&self, r: f64) -> f64 {
        match *self {
            Self::Poly3 { k1 } => 1.0 - k1 + 3.0 * k1 * r * r,
            Self::Poly5 { k1, k2 } => 1.0 + r * r * (3.0 * k1 + 5.0 * r * r * k2),
            Self::PtLens { a, b, c } => 1.0 - a - b - c + r * (2.0 * c + r * (3.0 * b + r * 4.0 * a)),
        }
    }
}

/// A radial model placed in a frame: which pixel of the photo a pixel of the corrected picture comes from, and back.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RadialCorrection {
    /// The model and its terms.
    pub model: Radial,
    /// Its centre, px.
    pub centre: Point2<f64>,
    /// Database radius of one pixel.
    pub radius_per_px: f64,
}

/// A [`RadialCorrection`] as a camera with Brown-Conrady terms.
#[derive(Debug, Clone, PartialEq)]
pub struct BrownConradyFit {
    /// Focal length, px.
    pub focal_px: f64,
    /// Principal point, px.
    pub centre: Point2<f64>,
    /// k1, k2, k3; no tangential terms.
    pub distortion: Distortion<f64>,
    /// Covariance of ln(focal), k1, k2, k3.
    pub covariance: Matrix4<f64>,
    /// By how much the terms miss the model inside the frame, root mean square over its area, px.
    pub residual_rms_px: f64,
    /// The largest such miss, px.
    pub residual_max_px: f64,
}

/// Relative standard uncertainty of a database term: one lens of a series for another, one distance for another (estimate, no
/// source).
const TERM_U: f64 = 0.2;

/// Relative standard uncertainty of a focal length from EXIF, as [`crate::scene::LensPrior::exif`] has it.
const FOCAL_U: f64 = 0.03;

/// Standard uncertainty of every term at the corner at least, as a share of the half diagonal: a term of zero in the database
/// was not found to be zero (estimate, no source).
const LEAST_U: f64 = 2e-4;

/// Radii at which the models are compared.
const RADII: usize = 64;

impl RadialCorrection {
    /// Places a model calibrated on a frame of the given crop factor and proportions (longer by shorter side) in a photo of
    /// another camera.
    ///
    /// Half the shorter side of the calibrated frame is 1; sides count from the first pixel's centre to the last one's. A
    /// smaller sensor (larger crop factor) sees the middle of it; the crop factor compares diagonals, so other proportions
    /// change the shorter side at the same crop factor.
    pub fn new(model: Radial, calibrated: Calibrated, camera_crop: f64, frame_px: (u32, u32)) -> Self {
        let (w, h) = (f64::from(frame_px.0), f64::from(frame_px.1));
        let (long, short) = (w.max(h) - 1.0, (w.min(h) - 1.0).max(1.0));
        let diagonal_by_short = |aspect: f64| aspect.hypot(1.0);
        let radius_per_px = 2.0 / short * (calibrated.crop / camera_crop) * diagonal_by_short(calibrated.aspect)
            / diagonal_by_short(long / short);
        Self { model, centre: Point2::new(w / 2.0, h / 2.0), radius_per_px }
    }

    /// The pixel of the photo that shows what the corrected picture shows at `corrected`.
    pub fn distorted(&self, corrected: Point2<f64>) -> Point2<f64> {
        let out = corrected - self.centre;
        self.centre + out * self.model.factor(out.norm() * self.radius_per_px)
    }

    /// The pixel of the corrected picture for a pixel of the photo; `None` beyond the radius at which the model folds back.
    pub fn corrected(&self, photo: Point2<f64>) -> Option<Point2<f64>> {
        let out = photo - self.centre;
        let target = out.norm() * self.radius_per_px;
        if target == 0.0 {
            return Some(photo);
        }
        let mut r = target;
        for _ in 0..50 {
            let slope = self.model.slope(r);
            if slope <= 0.0 {
                return None;
            }
            let step = (target - r * self.model.factor(r)) / slope;
            r += step;
            if step.abs() <= 4.0 * f64::EPSILON * (1.0 + r) {
                return (r > 0.0 && self.model.slope(r) > 0.0).then(|| self.centre + out * (r / target));
            }
        }
        None
    }

    /// The largest shift between photo and corrected picture along the frame's diagonal, px: at the corner where the model is
    /// monotonous.
    pub fn corner_shift_px(&self) -> f64 {
        (self.distorted(Point2::origin()) - Point2::origin()).norm()
    }

    /// As a camera of this focal length (px) with Brown-Conrady terms, by least squares over the frame's area.
    ///
    /// The focal length is that of the photo's middle. The model's own scale there (1 − a − b − c, 1 − k1) is taken out, and the
    /// covariance has 20 % of each term, the 3 % of an EXIF focal length, and what the fit misses.
    pub fn brown_conrady(&self, focal_px: f64) -> BrownConradyFit {
        let terms = self.model.terms();
        let k = self.radial_terms(&self.model, focal_px);
        // Columns: ln f, then the model's terms.
        let mut sensitivity = SMatrix::<f64, 4, 4>::zeros();
        sensitivity[(0, 0)] = FOCAL_U;
        for i in 0..3 {
            sensitivity[(i + 1, 0)] = 2.0 * (i as f64 + 1.0) * k[i] * FOCAL_U;
            let mut moved = terms;
            let step = TERM_U * terms[i];
            moved[i] += step;
            let change = self.radial_terms(&self.model.with_terms(moved), focal_px) - k;
            for row in 0..3 {
                sensitivity[(row + 1, i + 1)] = change[row];
            }
        }
        let mut covariance = sensitivity * sensitivity.transpose();
        let distortion = Distortion { k1: k[0], k2: k[1], k3: k[2], ..Distortion::none() };
        let (residual_rms_px, residual_max_px) = self.misses(&k, focal_px);
        let corner = self.centre.coords.norm();
        let least = LEAST_U.max(residual_rms_px / corner);
        let n2 = (corner / focal_px).powi(2);
        for i in 0..3 {
            covariance[(i + 1, i + 1)] += (least / n2.powi(i as i32 + 1)).powi(2);
        }
        BrownConradyFit { focal_px, centre: self.centre, distortion, covariance, residual_rms_px, residual_max_px }
    }

    /// Radius of the corner in the corrected picture, in database units; half as far again where the model folds before it.
    fn corner_radius(&self) -> f64 {
        let corner =
            self.corrected(Point2::origin()).map_or(self.centre.coords.norm() * 1.5, |p| (p - self.centre).norm());
        corner * self.radius_per_px
    }

    /// g(r) ≈ c0 + c1 r² + c2 r⁴ + c3 r⁶ over the frame.
    fn even_terms(&self, model: &Radial) -> [f64; 4] {
        let most = self.corner_radius();
        let at = |i: usize| (i as f64 + 0.5) / RADII as f64;
        // A miss of g is a miss of r in px times r, and rings of larger radius have more area.
        let weight = |t: f64| t * t.sqrt();
        let a = DMatrix::from_fn(RADII, 4, |i, j| weight(at(i)) * at(i).powi(2 * j as i32));
        let b = DVector::from_fn(RADII, |i, _| weight(at(i)) * model.factor(at(i) * most));
        let c = a.svd(true, true).solve(&b, 1e-14).unwrap_or_else(|_| DVector::from_vec(vec![1.0, 0.0, 0.0, 0.0]));
        std::array::from_fn(|j| c[j] / most.powi(2 * j as i32))
    }

    fn radial_terms(&self, model: &Radial, focal_px: f64) -> Vector3<f64> {
        let c = self.even_terms(model);
        // One unit of normalised coordinates in database units: the corrected picture's focal length is f / c0.
        let unit = self.radius_per_px * focal_px / c[0];
        Vector3::from_fn(|i, _| c[i + 1] / c[0] * unit.powi(2 * (i as i32 + 1)))
    }

    /// Root mean square over the area and largest miss of the Brown-Conrady terms, px.
    fn misses(&self, k: &Vector3<f64>, focal_px: f64) -> (f64, f64) {
        let unit = self.radius_per_px * focal_px / self.even_terms(&self.model)[0];
        let most = self.corner_radius();
        let (mut squares, mut area, mut largest) = (0.0, 0.0, 0.0_f64);
        for i in 0..RADII {
            let t = (i as f64 + 0.5) / RADII as f64;
            let r = t * most;
            let n2 = (r / unit).powi(2);
            let fitted = focal_px * (r / unit) * (1.0 + n2 * (k[0] + n2 * (k[1] + n2 * k[2])));
            let miss = fitted - r * self.model.factor(r) / self.radius_per_px;
            squares += t * miss * miss;
            area += t;
            largest = largest.max(miss.abs());
        }
        ((squares / area).sqrt(), largest)
    }
}

/// The frame that a model was calibrated on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Calibrated {
    /// Diagonal of 35 mm film by the frame's.
    pub crop: f64,
    /// Longer by shorter side.
    pub aspect: f64,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lens::Camera;
    use proptest::prelude::*;

    const FRAME: (u32, u32) = (4000, 3000);

    fn placed(model: Radial) -> RadialCorrection {
        RadialCorrection::new(model, Calibrated { crop: 1.5, aspect: 4.0 / 3.0 }, 1.5, FRAME)
    }

    proptest! {
        #[test]
        fn correcting_undoes_distorting(
            a in -0.03..0.03f64, b in -0.08..0.08f64, c in -0.08..0.08f64, x in 0.0..4000f64, y in 0.0..3000f64
        ) {
            let lens = placed(Radial::PtLens { a, b, c });
            let p = Point2::new(x, y);
            let back = lens.corrected(lens.distorted(p));
            prop_assert!(back.is_some_and(|q| (q - p).norm() < 1e-8), "{back:?}");
        }

        #[test]
        fn poly3_and_poly5_are_brown_conrady_exactly(k1 in -0.08..0.05f64, k2 in -0.02..0.02f64) {
            for lens in [placed(Radial::Poly3 { k1 }), placed(Radial::Poly5 { k1, k2 })] {
                let fit = lens.brown_conrady(3000.0);
                prop_assert!(fit.residual_max_px < 1e-6, "{fit:?}");
            }
        }
    }

    /// The same pixels through both, up to one scale: a straight line stays straight through either.
    #[test]
    fn a_camera_with_the_fitted_terms_shows_what_the_model_shows() {
        let lens = placed(Radial::PtLens { a: 0.02437, b: -0.06486, c: 0.00154 });
        let fit = lens.brown_conrady(2900.0);
        // The term of r has no even one of its own.
        assert!(fit.residual_max_px < 0.5, "{fit:?}");
        let camera = Camera { focal: fit.focal_px, principal: fit.centre, distortion: fit.distortion };
        let scale = |p: Point2<f64>| {
            let direction = camera.undistort(lens.distorted(p)).expect("inside the frame");
            (p - lens.centre).norm() / direction.coords.norm()
        };
        // What one focal length of the corrected picture leaves over, px, from near the middle to the corner.
        let places = [(2300.0, 1600.0), (3000.0, 1500.0), (2500.0, 2900.0), (3900.0, 1500.0), (300.0, 200.0)];
        let scales = places.map(|(x, y)| scale(Point2::new(x, y)));
        let focal = scales.iter().sum::<f64>() / 5.0;
        for ((x, y), s) in places.into_iter().zip(scales) {
            let off = (s / focal - 1.0) * (Point2::new(x, y) - lens.centre).norm();
            assert!(off.abs() < 1.0, "{off} px at {x}, {y}");
        }
    }

    #[test]
    fn the_covariance_is_positive_definite_and_holds_a_fifth_of_each_term() {
        let fit = placed(Radial::Poly3 { k1: -0.03 }).brown_conrady(3000.0);
        assert!(fit.covariance.cholesky().is_some());
        let relative = fit.covariance[(1, 1)].sqrt() / fit.distortion.k1.abs();
        assert!((0.18..0.24).contains(&relative), "{relative}");
    }

    #[test]
    fn beyond_the_fold_nothing_is_corrected() {
        // r(1.5 − 0.5 r²) has its greatest value 1 at r = 1, the middle of the longer edges.
        let lens = placed(Radial::Poly3 { k1: -0.5 });
        assert_eq!(lens.corrected(Point2::new(0.0, 0.0)), None);
        assert!(lens.corrected(Point2::new(2000.0, 900.0)).is_some());
    }
}
