//! The way between a photo's pixels and places on a plane, as the analyses of pixels need it.

use nalgebra::{Matrix2, Point2, Vector2};

/// Between pixels of the upright photo and places on a plane, mm, lens and angle corrected.
///
/// [`crate::pixels::PlaneMap`] is the one of a photo's scene; anything else that maps both ways will do.
pub trait Mapping: Sync {
    /// The place that a pixel shows; `None` where its ray misses the plane.
    fn place(&self, pixel: Point2<f64>) -> Option<Point2<f64>>;

    /// The pixel that shows a place.
    fn pixel(&self, place: Point2<f64>) -> Option<Point2<f64>>;

    /// How the place moves with the pixel, mm/px, by central differences over one pixel.
    fn jacobian(&self, pixel: Point2<f64>) -> Option<Matrix2<f64>> {
        let step = |d: Vector2<f64>| Some(self.place(pixel + d)? - self.place(pixel - d)?);
        let (x, y) = (step(Vector2::new(0.5, 0.0))?, step(Vector2::new(0.0, 0.5))?);
        Some(Matrix2::from_columns(&[x, y]))
    }

    /// Pixels to a millimetre about a pixel: the square root of the areas' ratio.
    fn px_per_mm(&self, pixel: Point2<f64>) -> Option<f64> {
        let area = self.jacobian(pixel)?.determinant().abs();
        (area > 0.0).then(|| area.sqrt().recip())
    }
}

/// A photo seen square on, without a lens: `px_per_mm` pixels to a millimetre, the plane's y upwards from the photo's
/// top-left corner.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flat {
    /// Pixels to a millimetre.
    pub px_per_mm: f64,
}

impl Mapping for Flat {
    fn place(&self, pixel: Point2<f64>) -> Option<Point2<f64>> {
        Some(Point2::new(pixel.x / self.px_per_mm, -pixel.y / self.px_per_mm))
    }

    fn pixel(&self, place: Point2<f64>) -> Option<Point2<f64>> {
        Some(Point2::new(place.x * self.px_per_mm, -place.y * self.px_per_mm))
    }
}

/// Whether a point lies inside a closed polygon (even-odd rule).
pub(super) fn contains(polygon: &[Point2<f64>], p: Point2<f64>) -> bool {
    let mut inside = false;
    for (i, b) in polygon.iter().enumerate() {
        let a = polygon[(i + polygon.len() - 1) % polygon.len()];
        if (a.y > p.y) != (b.y > p.y) && p.x < a.x + (p.y - a.y) / (b.y - a.y) * (b.x - a.x) {
            inside = !inside;
        }
    }
    inside
}
