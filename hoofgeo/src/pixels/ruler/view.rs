//! A photo seen so that its lines are dark, whichever way they are printed.

use crate::pixels::Grey;
use nalgebra::Point2;

/// A photo, or its negative where the ruler's lines are lighter than their ground.
#[derive(Debug, Clone, Copy)]
pub(super) struct View<'a> {
    grey: &'a Grey,
    sign: f64,
}

impl<'a> View<'a> {
    /// The photo as it is: lines are dark.
    pub(super) const fn dark(grey: &'a Grey) -> Self {
        Self { grey, sign: 1.0 }
    }

    /// The other way round.
    pub(super) const fn negative(self) -> Self {
        Self { sign: -self.sign, ..self }
    }

    /// Width and height, px.
    pub(super) fn frame(&self) -> (u32, u32) {
        (self.grey.width(), self.grey.height())
    }

    /// Brightness between pixels, see [`Grey::sample`].
    pub(super) fn sample(&self, place: Point2<f64>) -> Option<f64> {
        self.grey.sample(place).map(|v| self.sign * v)
    }

    /// Brightness between four pixels, quicker: enough where lines are several pixels apart. `None` outside the photo.
    pub(super) fn rough(&self, place: Point2<f64>) -> Option<f64> {
        let (u, v) = (place.x - 0.5, place.y - 0.5);
        let (w, h) = (self.grey.width() as usize, self.grey.height() as usize);
        if u < 0.0 || v < 0.0 || u >= (w - 1) as f64 || v >= (h - 1) as f64 {
            return self.sample(place);
        }
        let (i, j) = (u as usize, v as usize);
        let (a, b) = ((u - i as f64) as f32, (v - j as f64) as f32);
        let values = self.grey.values();
        let (p, q) = (&values[j * w + i..][..2], &values[(j + 1) * w + i..][..2]);
        let (top, bottom) = (p[0] + a * (p[1] - p[0]), q[0] + a * (q[1] - q[0]));
        Some(self.sign * f64::from(top + b * (bottom - top)))
    }
}
