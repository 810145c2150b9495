//! Brown-Conrady lens distortion on normalised image coordinates.

use crate::numeric::{Real, constant, value};
use nalgebra::{Matrix2, Point2, Vector2};

/// Radial (k1, k2, k3) and tangential (p1, p2) distortion, as OpenCV documents it:
///
/// x′ = x (1 + k1 r² + k2 r⁴ + k3 r⁶) + 2 p1 x y + p2 (r² + 2x²), and
/// y′ = y (1 + k1 r² + k2 r⁴ + k3 r⁶) + p1 (r² + 2y²) + 2 p2 x y.
///
/// # Source
/// D. C. Brown, *Decentering distortion of lenses*, Photogrammetric Engineering 32 (1966) 444-462; the form and the
/// order of signs: OpenCV documentation, "Camera Calibration and 3D Reconstruction".
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[allow(missing_docs, reason = "the coefficients are defined above")]
pub struct Distortion<T> {
    pub k1: T,
    pub k2: T,
    pub k3: T,
    pub p1: T,
    pub p2: T,
}

/// Most Newton steps; from the distorted point as start the worst photographic lens tried took 7.
const MAX_STEPS: usize = 30;

impl<T: Real> Distortion<T> {
    /// A lens that does not distort.
    pub fn none() -> Self {
        let o = T::zero();
        Self { k1: o, k2: o, k3: o, p1: o, p2: o }
    }

    /// Distorts a point of normalised image coordinates.
    #[inline]
    pub fn apply(&self, p: Point2<T>) -> Point2<T> {
        let two = constant::<T>(2.0);
        let (x, y) = (p.x, p.y);
        let r2 = x * x + y * y;
        let radial = T::one() + r2 * (self.k1 + r2 * (self.k2 + r2 * self.k3));
        Point2::new(
            x * radial + two * self.p1 * x * y + self.p2 * (r2 + two * x * x),
            y * radial + self.p1 * (r2 + two * y * y) + two * self.p2 * x * y,
        )
    }

    /// One Newton step towards the point whose distortion is `distorted`, from `near` on plain numbers.
    ///
    /// The step's matrix is plain too: at the solution its error multiplies a residual of zero, so value and first
    /// derivatives are exact.
    #[inline]
    pub fn newton_step(&self, distorted: Point2<T>, near: Point2<f64>) -> Point2<T> {
        let start = Point2::new(constant::<T>(near.x), constant::<T>(near.y));
        let miss = distorted - self.apply(start);
        let plain = Distortion {
            k1: value(self.k1),
            k2: value(self.k2),
            k3: value(self.k3),
            p1: value(self.p1),
            p2: value(self.p2),
        };
        let inverse = plain.derivative(near).try_inverse().unwrap_or_else(Matrix2::identity);
        Point2::new(
            start.x + constant::<T>(inverse[(0, 0)]) * miss.x + constant::<T>(inverse[(0, 1)]) * miss.y,
            start.y + constant::<T>(inverse[(1, 0)]) * miss.x + constant::<T>(inverse[(1, 1)]) * miss.y,
        )
    }
}

impl Distortion<f64> {
    /// Derivative of [`Distortion::apply`].
    pub fn derivative(&self, p: Point2<f64>) -> Matrix2<f64> {
        let (x, y) = (p.x, p.y);
        let r2 = x * x + y * y;
        let radial = 1.0 + r2 * (self.k1 + r2 * (self.k2 + r2 * self.k3));
        // d(radial)/d(r²), times 2 for the chain rule through r² = x² + y².
        let slope = 2.0 * (self.k1 + r2 * (2.0 * self.k2 + 3.0 * r2 * self.k3));
        let cross = x * y * slope + 2.0 * self.p1 * x + 2.0 * self.p2 * y;
        Matrix2::new(
            radial + x * x * slope + 2.0 * self.p1 * y + 6.0 * self.p2 * x,
            cross,
            cross,
            radial + y * y * slope + 6.0 * self.p1 * y + 2.0 * self.p2 * x,
        )
    }

    /// The undistorted point whose distortion is `distorted`.
    ///
    /// Newton's method, run to convergence (OpenCV's default stops after five fixed-point steps). `None` where it does
    /// not converge or ends beyond the radius at which the mapping folds back on itself.
    pub fn remove(&self, distorted: Point2<f64>) -> Option<Point2<f64>> {
        let mut p = distorted;
        let mut miss = distorted - self.apply(p);
        for _ in 0..MAX_STEPS {
            if miss.norm() <= 4.0 * f64::EPSILON * (1.0 + p.coords.norm()) {
                break;
            }
            let step: Vector2<f64> = self.derivative(p).try_inverse()? * miss;
            // Halve steps that do not bring the point nearer: far out, a full step can jump over the fold.
            let mut share = 1.0;
            let (next, next_miss) = loop {
                let q = p + step * share;
                let m = distorted - self.apply(q);
                if m.norm() < miss.norm() || share < 1e-6 {
                    break (q, m);
                }
                share *= 0.5;
            };
            if next_miss.norm() >= miss.norm() {
                break;
            }
            (p, miss) = (next, next_miss);
        }
        let exact = miss.norm() < 1e-13 * (1.0 + p.coords.norm());
        (exact && self.is_one_to_one_at(p)).then_some(p)
    }

    /// Whether the mapping keeps its orientation at `p` and on the way out from the centre.
    pub(crate) fn is_one_to_one_at(&self, p: Point2<f64>) -> bool {
        // The radial part folds where d(r·radial)/dr = 0; the tangential part is too small to fold on its own, its
        // effect is in the determinant at the point itself.
        let r2_end = p.coords.norm_squared();
        let in_order = (1..=8).all(|i| self.keeps_order_at(r2_end * f64::from(i) / 8.0));
        in_order && self.derivative(p).determinant() > 0.0
    }

    /// Whether at the radius whose square this is a point farther out stays farther out.
    pub(super) fn keeps_order_at(&self, r2: f64) -> bool {
        1.0 + r2 * (3.0 * self.k1 + r2 * (5.0 * self.k2 + r2 * 7.0 * self.k3)) > 0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const WIDE: Distortion<f64> = Distortion { k1: -0.28, k2: 0.1, k3: -0.01, p1: 0.001, p2: -0.0005 };

    proptest! {
        #[test]
        fn removing_undoes_applying(x in -0.9..0.9f64, y in -0.7..0.7f64) {
            let p = Point2::new(x, y);
            let back = WIDE.remove(WIDE.apply(p));
            prop_assert!(back.is_some_and(|q| (q - p).norm() < 1e-12), "{back:?}");
        }

        #[test]
        fn derivative_matches_differences(x in -0.9..0.9f64, y in -0.7..0.7f64) {
            let h = 1e-6;
            let d = WIDE.derivative(Point2::new(x, y));
            let dx = (WIDE.apply(Point2::new(x + h, y)) - WIDE.apply(Point2::new(x - h, y))) / (2.0 * h);
            let dy = (WIDE.apply(Point2::new(x, y + h)) - WIDE.apply(Point2::new(x, y - h))) / (2.0 * h);
            prop_assert!((d.column(0) - dx).norm() < 1e-8 && (d.column(1) - dy).norm() < 1e-8);
        }
    }

    #[test]
    fn a_point_beyond_the_fold_is_refused() {
        // r(1 - 0.5 r²) has its greatest value 0.544 at r = 0.816: nothing maps to 0.6.
        let barrel = Distortion { k1: -0.5, ..Distortion::none() };
        assert_eq!(barrel.remove(Point2::new(0.6, 0.0)), None);
        assert!(barrel.remove(Point2::new(0.5, 0.0)).is_some());
    }

    #[test]
    fn the_newton_step_carries_the_derivative_of_k1() {
        use num_dual::Dual64;
        let c = |x: f64| Dual64::from_re(x);
        let d = Point2::new(0.4, 0.3);
        let plain = Distortion { k1: -0.1, ..Distortion::none() };
        let near = plain.remove(d).expect("invertible");
        let dual = Distortion { k1: c(-0.1).derivative(), ..Distortion::none() };
        let got = dual.newton_step(Point2::new(c(d.x), c(d.y)), near).x.eps;
        let at = |k1: f64| Distortion { k1, ..Distortion::none() }.remove(d).expect("invertible").x;
        let h = 1e-6;
        assert!((got - (at(-0.1 + h) - at(-0.1 - h)) / (2.0 * h)).abs() < 1e-8);
    }
}
