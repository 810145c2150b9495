//! How shapes vary around their mean, and how much of that is measurement.

use super::Superposition;
use nalgebra::{DMatrix, DVector};

/// A direction in which shapes vary.
#[derive(Debug, Clone, PartialEq)]
pub struct Component {
    /// Variance along it, squared Procrustes distance.
    pub variance: f64,
    /// Its share of the whole variance.
    pub share: f64,
    /// Its direction: x and y of each landmark, of unit length.
    pub direction: Vec<f64>,
}

/// Variation of shapes around their mean, in the tangent space there.
#[derive(Debug, Clone, PartialEq)]
pub struct Variation {
    /// Each shape's deviation from the mean, x and y of each landmark, projected onto the tangent space.
    pub deviations: Vec<Vec<f64>>,
    /// The whole variance: the sum over landmarks and axes, n − 1 in the denominator.
    pub variance: f64,
    /// Standard deviation of each landmark along x and y.
    pub sd: Vec<[f64; 2]>,
    /// Principal components, the largest first; those without variance are left out.
    pub components: Vec<Component>,
    /// Each shape's scores along them.
    pub scores: Vec<Vec<f64>>,
}

impl Variation {
    /// Of shapes laid upon each other.
    pub fn of(shapes: &Superposition) -> Self {
        let tangent = Tangent::at(shapes);
        let deviations: Vec<DVector<f64>> = shapes
            .aligned
            .iter()
            .map(|a| {
                tangent.project(
                    DVector::from_iterator(tangent.n, a.points.iter().flat_map(|p| [p.x, p.y])) - &tangent.mean,
                )
            })
            .collect();
        let n = deviations.len() as f64;
        let centre = deviations.iter().sum::<DVector<f64>>() / n;
        let mut covariance = DMatrix::zeros(tangent.n, tangent.n);
        for d in &deviations {
            let off = d - &centre;
            covariance.ger(1.0 / (n - 1.0), &off, &off, 1.0);
        }
        let variance = covariance.trace();
        let sd =
            (0..tangent.n / 2).map(|k| [0, 1].map(|axis| covariance[(2 * k + axis, 2 * k + axis)].sqrt())).collect();
        let eigen = covariance.symmetric_eigen();
        let mut order: Vec<usize> = (0..tangent.n).filter(|&i| eigen.eigenvalues[i] > 1e-12 * variance).collect();
        order.sort_by(|a, b| eigen.eigenvalues[*b].total_cmp(&eigen.eigenvalues[*a]));
        // No more than shapes less one, and than the tangent space has dimensions.
        order.truncate((deviations.len() - 1).min(tangent.n.saturating_sub(4)));
        let components: Vec<Component> = order
            .iter()
            .map(|&i| {
                let direction = eigen.eigenvectors.column(i);
                // The sense is free: the largest number is positive.
                let sense =
                    direction.iter().copied().max_by(|a, b| a.abs().total_cmp(&b.abs())).unwrap_or(1.0).signum();
                Component {
                    variance: eigen.eigenvalues[i],
                    share: eigen.eigenvalues[i] / variance,
                    direction: direction.iter().map(|x| x * sense).collect(),
                }
            })
            .collect();
        let along = |d: &DVector<f64>, c: &Component| d.iter().zip(&c.direction).map(|(a, b)| a * b).sum::<f64>();
        let scores = deviations.iter().map(|d| components.iter().map(|c| along(&(d - &centre), c)).collect()).collect();
        Self {
            deviations: deviations.iter().map(|d| d.iter().copied().collect()).collect(),
            variance,
            sd,
            components,
            scores,
        }
    }
}

/// The tangent space at the mean: shifts, turns and sizes taken away.
pub(super) struct Tangent {
    n: usize,
    mean: DVector<f64>,
    /// The mean turned by 90°: the direction of a turn.
    turn: DVector<f64>,
}

impl Tangent {
    pub(super) fn at(shapes: &Superposition) -> Self {
        let n = 2 * shapes.mean.len();
        let of = |f: fn(&nalgebra::Point2<f64>) -> [f64; 2]| DVector::from_iterator(n, shapes.mean.iter().flat_map(f));
        Self { n, mean: of(|p| [p.x, p.y]), turn: of(|p| [-p.y, p.x]) }
    }

    /// Without its parts along size, turn and shift.
    fn project(&self, mut v: DVector<f64>) -> DVector<f64> {
        for axis in 0..2 {
            let centre = v.iter().skip(axis).step_by(2).sum::<f64>() / (self.n / 2) as f64;
            v.iter_mut().skip(axis).step_by(2).for_each(|x| *x -= centre);
        }
        let size = v.dot(&self.mean);
        v -= &self.mean * size;
        let turn = v.dot(&self.turn);
        v - &self.turn * turn
    }

    /// Variance of each coordinate of a shape's deviation that the covariance of its landmarks brings; both mm, to first order.
    #[cfg(feature = "files")]
    pub(super) fn variances(&self, covariance: &DMatrix<f64>, matrix: &nalgebra::Matrix2<f64>) -> DVector<f64> {
        // Columns of the linear map from landmarks to deviations, applied from both sides.
        let map = DMatrix::from_columns(
            &(0..self.n)
                .map(|j| {
                    let mut unit = DVector::zeros(self.n);
                    let (k, axis) = (j / 2, j % 2);
                    unit[2 * k] = matrix[(0, axis)];
                    unit[2 * k + 1] = matrix[(1, axis)];
                    self.project(unit)
                })
                .collect::<Vec<_>>(),
        );
        (&map * covariance * map.transpose()).diagonal()
    }
}
