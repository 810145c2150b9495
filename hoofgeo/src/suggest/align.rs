//! Between a photo's pixels and a foot's own frame: turned, moved and enlarged, by generalised least squares.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn, Matrix2, Point2, SMatrix, SVector, Vector2};

/// How well a landmark is placed, mm: what a shape's points are seen with.
const PLACED_MM: f64 = 1.5;

/// A similarity from pixels to the foot's frame, mm.
#[derive(Debug, Clone, Copy)]
pub(super) struct Similarity {
    /// Whether the photo shows the frame mirrored.
    pub(super) mirrored: bool,
    /// α, β and the shift: x = α u - β v + tx, y = β u + α v + ty of the pixel (±u, -v).
    pub(super) by: [f64; 4],
}

/// A pixel with y upwards, mirrored where the foot is.
fn raw(mirrored: bool, at: [f64; 2]) -> Vector2<f64> {
    Vector2::new(if mirrored { -at[0] } else { at[0] }, -at[1])
}

impl Similarity {
    fn rows(mirrored: bool, at: [f64; 2]) -> SMatrix<f64, 2, 4> {
        let p = raw(mirrored, at);
        SMatrix::from_row_slice(&[p.x, -p.y, 1.0, 0.0, p.y, p.x, 0.0, 1.0])
    }

    /// The photo's pixel of a place.
    pub(super) fn pixel(&self, place: Point2<f64>) -> Option<[f64; 2]> {
        let [a, b, tx, ty] = self.by;
        let back = Matrix2::new(a, -b, b, a).try_inverse()?;
        let p = back * (place.coords - Vector2::new(tx, ty));
        Some([if self.mirrored { -p.x } else { p.x }, -p.y])
    }

    /// How far the foot is turned in the photo, radians.
    pub(super) fn turn(&self) -> f64 {
        self.by[1].atan2(self.by[0])
    }
}

/// What some points of a shape, seen in a photo, say of it.
#[derive(Debug)]
pub(super) struct Aligned {
    pub(super) similarity: Similarity,
    covariance: SMatrix<f64, 4, 4>,
    /// Which points were seen.
    seen: Vec<usize>,
    design: DMatrix<f64>,
    inner: Cholesky<f64, Dyn>,
    residual: DVector<f64>,
    /// Sum of the squares of whitened residuals: small where the points look like a foot.
    pub(super) misfit: f64,
}

impl Aligned {
    /// Fits the points `seen` (number, pixel) to a shape. None where they say nothing: fewer than two, or all in one place.
    pub(super) fn new(
        mean: &DVector<f64>,
        covariance: &DMatrix<f64>,
        seen: &[(usize, [f64; 2])],
        mirrored: bool,
    ) -> Option<Self> {
        if seen.len() < 2 {
            return None;
        }
        let coordinates: Vec<usize> = seen.iter().flat_map(|(i, _)| [2 * i, 2 * i + 1]).collect();
        let mut inner = covariance.select_rows(&coordinates).select_columns(&coordinates);
        for k in 0..inner.nrows() {
            inner[(k, k)] += PLACED_MM * PLACED_MM;
        }
        let inner = Cholesky::new(inner)?;
        let mut design = DMatrix::zeros(2 * seen.len(), 4);
        for (k, (_, at)) in seen.iter().enumerate() {
            design.fixed_view_mut::<2, 4>(2 * k, 0).copy_from(&Similarity::rows(mirrored, *at));
        }
        let target = mean.select_rows(&coordinates);
        let weighted = inner.solve(&design);
        let normal = design.transpose() * &weighted;
        // Pixels are large beside turns: scaled, so that nothing is lost in the inverse.
        let scale = DVector::from_iterator(4, (0..4).map(|i| 1.0 / normal[(i, i)].sqrt()));
        let scaled = DMatrix::from_fn(4, 4, |r, c| normal[(r, c)] * scale[r] * scale[c]);
        let inverse = scaled.try_inverse()?;
        let covariance4 = SMatrix::<f64, 4, 4>::from_fn(|r, c| inverse[(r, c)] * scale[r] * scale[c]);
        let right = weighted.transpose() * &target;
        let by: SVector<f64, 4> = covariance4 * SVector::<f64, 4>::from_iterator(right.iter().copied());
        let residual = &design * DVector::from_column_slice(by.as_slice()) - target;
        let misfit = residual.dot(&inner.solve(&residual));
        let similarity = Similarity { mirrored, by: by.into() };
        let sound = by.iter().all(|v| v.is_finite()) && by[0].hypot(by[1]) > 1e-9;
        sound.then_some(Self {
            similarity,
            covariance: covariance4,
            seen: coordinates,
            design,
            inner,
            residual,
            misfit,
        })
    }

    /// All points given those seen: their mean and covariance in the foot's frame, mm.
    pub(super) fn posterior(&self, mean: &DVector<f64>, covariance: &DMatrix<f64>) -> (DVector<f64>, DMatrix<f64>) {
        let cross = covariance.select_columns(&self.seen);
        let gain = self.inner.solve(&cross.transpose()).transpose();
        let best = mean + &gain * &self.residual;
        let rest = covariance - &gain * cross.transpose();
        // How far the foot is turned, moved and enlarged is known no better than this; in pixels that shifts what was not seen.
        let mut free = &gain * &self.design;
        for i in 0..mean.len() / 2 {
            let Some(pixel) = self.similarity.pixel(Point2::new(best[2 * i], best[2 * i + 1])) else { continue };
            let rows = Similarity::rows(self.similarity.mirrored, pixel);
            for r in 0..2 {
                for c in 0..4 {
                    free[(2 * i + r, c)] -= rows[(r, c)];
                }
            }
        }
        let by = DMatrix::from_column_slice(4, 4, self.covariance.as_slice());
        let all = rest + &free * by * free.transpose();
        (best, all)
    }
}
