//! A photo's brightness as real numbers, with values between pixels.

use super::gradient::kernels;
use image::{ImageBuffer, Luma, RgbImage};
use imageproc::filter::separable_filter_equal;
use nalgebra::Point2;

/// A photo's brightness, 0 (black) to 255 (white), as the file codes it (gamma not undone).
#[derive(Debug, Clone, PartialEq)]
pub struct Grey(ImageBuffer<Luma<f32>, Vec<f32>>);

impl Grey {
    /// The luma of an upright photo (ITU-R BT.601, as JPEG files use it).
    pub fn of(photo: &RgbImage) -> Self {
        let luma = |p: &[u8]| 0.299 * f32::from(p[0]) + 0.587 * f32::from(p[1]) + 0.114 * f32::from(p[2]);
        let values = photo.as_raw().chunks_exact(3).map(luma).collect();
        Self::from_values(photo.width(), photo.height(), values).expect("one value for each pixel")
    }

    /// Brightness given row by row; `None` where their number is not width times height.
    pub fn from_values(width: u32, height: u32, values: Vec<f32>) -> Option<Self> {
        let whole = values.len() as u64 == u64::from(width) * u64::from(height);
        if whole { ImageBuffer::from_raw(width, height, values).map(Self) } else { None }
    }

    /// Width, px.
    pub fn width(&self) -> u32 {
        self.0.width()
    }

    /// Height, px.
    pub fn height(&self) -> u32 {
        self.0.height()
    }

    /// The picture as `image` takes it.
    pub fn as_image(&self) -> &ImageBuffer<Luma<f32>, Vec<f32>> {
        &self.0
    }

    /// The values row by row.
    pub fn values(&self) -> &[f32] {
        self.0.as_raw()
    }

    /// The value of a pixel by column and row; outside the photo that of the nearest pixel.
    pub fn at(&self, column: i64, row: i64) -> f64 {
        let x = column.clamp(0, i64::from(self.width()) - 1) as usize;
        let y = row.clamp(0, i64::from(self.height()) - 1) as usize;
        f64::from(self.values()[y * self.width() as usize + x])
    }

    /// The brightness at a place, by cubic convolution with a = -1/2; `None` outside the photo.
    ///
    /// R. G. Keys, "Cubic convolution interpolation for digital image processing", IEEE Trans. ASSP 29 (1981) 1153-1160.
    pub fn sample(&self, place: Point2<f64>) -> Option<f64> {
        let inside =
            (0.0..=f64::from(self.width())).contains(&place.x) && (0.0..=f64::from(self.height())).contains(&place.y);
        if !inside {
            return None;
        }
        let (u, v) = (place.x - 0.5, place.y - 0.5);
        let (column, row) = (u.floor(), v.floor());
        let (wx, wy) = (keys(u - column), keys(v - row));
        let (column, row) = (column as i64, row as i64);
        let (width, height) = (i64::from(self.width()), i64::from(self.height()));
        if column >= 1 && row >= 1 && column + 2 < width && row + 2 < height {
            // All sixteen neighbours are inside: no clamping.
            let stride = self.width() as usize;
            let first = (row - 1) as usize * stride + (column - 1) as usize;
            let line = |j: usize| -> f64 {
                let values = &self.values()[first + j * stride..][..4];
                values.iter().zip(&wx).map(|(v, w)| f64::from(*v) * w).sum()
            };
            return Some((0..4).map(|j| wy[j] * line(j)).sum());
        }
        let line =
            |j: usize| -> f64 { (0..4).map(|i| wx[i] * self.at(column - 1 + i as i64, row - 1 + j as i64)).sum() };
        Some((0..4).map(|j| wy[j] * line(j)).sum())
    }

    /// The brightness smoothed by a Gaussian of standard deviation `sigma` px, which reaches out to four of them; past the border the
    /// outermost pixels go on.
    pub fn smoothed(&self, sigma: f32) -> Self {
        if self.values().is_empty() {
            return self.clone();
        }
        // The library's own Gaussian is cut off at two standard deviations.
        let bell: Vec<f32> = kernels(f64::from(sigma)).0.into_iter().map(|w| w as f32).collect();
        Self(separable_filter_equal(self.as_image(), &bell))
    }
}

/// The weights of four neighbours at the distance `t` past the second.
pub(crate) fn keys(t: f64) -> [f64; 4] {
    let (t2, t3) = (t * t, t * t * t);
    [0.5 * (-t3 + 2.0 * t2 - t), 0.5 * (3.0 * t3 - 5.0 * t2 + 2.0), 0.5 * (-3.0 * t3 + 4.0 * t2 + t), 0.5 * (t3 - t2)]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn from(f: impl Fn(f64, f64) -> f64) -> Grey {
        let values = (0..20).flat_map(|y| (0..30).map(move |x| (f64::from(x) + 0.5, f64::from(y) + 0.5)));
        Grey::from_values(30, 20, values.map(|(x, y)| f(x, y) as f32).collect()).expect("600 values")
    }

    #[test]
    fn cubic_convolution_reproduces_second_degree_polynomials() {
        let f = |x: f64, y: f64| 3.0 + 2.0 * x - y + 0.25 * x * x - 0.125 * x * y;
        let grey = from(f);
        for (x, y) in [(5.0, 5.0), (7.3, 11.8), (14.999, 3.001)] {
            let got = grey.sample(Point2::new(x, y)).expect("inside");
            assert!((got - f(x, y)).abs() < 1e-4, "at {x}, {y}: {got} for {}", f(x, y));
        }
    }

    #[test]
    fn smoothing_keeps_an_even_picture_and_is_a_whole_gaussian() {
        for sigma in [0.5, 1.8, 3.0, 9.0] {
            // As bright at the border as in the middle, whatever of the bell lies outside.
            let even = from(|_, _| 120.0).smoothed(sigma);
            assert!(even.values().iter().all(|v| (v - 120.0).abs() < 1e-3), "{sigma}");
        }
        // A single bright pixel is spread with the variance asked for: cut off at two standard deviations it would lack a quarter.
        for sigma in [0.8f32, 1.5, 3.0, 6.0] {
            let mut values = vec![0f32; 101 * 101];
            values[50 * 101 + 50] = 1e4;
            let spread = Grey::from_values(101, 101, values).expect("square").smoothed(sigma);
            let (mut sum, mut square) = (0.0, 0.0);
            for (i, v) in spread.values().iter().enumerate() {
                let (x, v) = ((i % 101) as f64 - 50.0, f64::from(*v));
                (sum, square) = (sum + v, square + v * x * x);
            }
            let ratio = (square / sum).sqrt() / f64::from(sigma);
            assert!((ratio - 1.0).abs() < 0.005 && (sum / 1e4 - 1.0).abs() < 1e-4, "{sigma}: {ratio}, {sum}");
        }
    }

    #[test]
    fn a_pixels_centre_has_its_value_and_outside_there_is_none() {
        let grey = from(|x, y| x * 7.0 % 5.0 + y);
        assert_eq!(grey.sample(Point2::new(4.5, 6.5)), Some(grey.at(4, 6)));
        assert_eq!(grey.sample(Point2::new(-0.1, 3.0)), None);
        assert_eq!(grey.sample(Point2::new(3.0, 20.1)), None);
    }
}
