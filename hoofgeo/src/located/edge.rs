//! Lines drawn along an edge: their points do not err independently.
//!
//! What the eye takes for the edge lies off it as a whole, and wanders slowly along it. More points on a short wall show the same
//! wandering more often; they do not average it away. Clicks, which are made anew for each point, stay independent and are no part of
//! this.
//!
//! The wandering's correlation falls as exp(−d/ℓ) with the distance d along the line, ℓ = 10 mm (estimate, no source). Of all kernels
//! with that length this one remembers its last point alone (Uhlenbeck & Ornstein 1930, Phys. Rev. 36:823, from memory), so variances
//! and draws take one pass over the points, however many there are.

use nalgebra::{Point2, Vector2};
use std::ops::Range;

/// Length over which the error of a drawn edge hangs together, mm (estimate, no source).
pub const CORRELATION_MM: f64 = 10.0;

/// A drawn edge: an open line, or a closed outline whose points move out or in.
#[derive(Debug, Clone)]
pub struct Edge {
    /// Its points.
    pub points: Range<usize>,
    /// Direction outwards at each point of a closed outline; empty for an open line, whose points err alike on both axes.
    pub normals: Vec<Vector2<f64>>,
    /// Standard uncertainty of the whole edge, mm: per axis for an open line, outwards for a closed one.
    pub u_mm: f64,
    /// Standard uncertainty of what wanders along it, mm.
    pub wander_mm: f64,
    /// Correlation of each point's wandering with that of the point before it; 0 for the first.
    pub kept: Vec<f64>,
}

impl Edge {
    /// From the places of its points, mm.
    pub(super) fn new(points: Range<usize>, places: &[Point2<f64>], closed: bool, [u_mm, wander_mm]: [f64; 2]) -> Self {
        let kept = std::iter::once(0.0)
            .chain(places.windows(2).map(|p| (-(p[1] - p[0]).norm() / CORRELATION_MM).exp()))
            .take(points.len())
            .collect();
        let normals = if closed { outward_normals(places) } else { Vec::new() };
        Self { points, normals, u_mm, wander_mm, kept }
    }

    /// Variance that the edge brings to a result of which `gradient` gives the sensitivity to each point of it, in order.
    pub(crate) fn variance(&self, gradient: &[Vector2<f64>]) -> f64 {
        self.covariance(gradient, gradient)
    }

    /// Covariance that the edge brings to two results.
    pub(crate) fn covariance(&self, one: &[Vector2<f64>], other: &[Vector2<f64>]) -> f64 {
        let both = one.iter().zip(other);
        if self.normals.is_empty() {
            return [0, 1].into_iter().map(|axis| self.along(both.clone().map(|(a, b)| (a[axis], b[axis])))).sum();
        }
        self.along(both.zip(&self.normals).map(|((a, b), n)| (a.dot(n), b.dot(n))))
    }

    /// For sensitivities s and t: u² Σ s Σ t + w² Σᵢⱼ sᵢ tⱼ kᵢⱼ, the correlations kᵢⱼ being products of [`Edge::kept`] from point to point.
    fn along(&self, sensitivities: impl Iterator<Item = (f64, f64)>) -> f64 {
        let (mut sum, mut before, mut wander) = ((0.0, 0.0), (0.0, 0.0), 0.0);
        for ((s, t), kept) in sensitivities.zip(&self.kept) {
            sum = (sum.0 + s, sum.1 + t);
            before = (before.0 * kept, before.1 * kept);
            wander += s * t + s * before.1 + t * before.0;
            before = (before.0 + s, before.1 + t);
        }
        (self.u_mm * sum.0) * (self.u_mm * sum.1) + self.wander_mm.powi(2) * wander
    }

    /// Moves the edge's points by what `normal`, standard normal numbers, draws.
    pub(crate) fn draw(&self, places: &mut [Point2<f64>], mut normal: impl FnMut() -> f64) {
        let axes = if self.normals.is_empty() { 2 } else { 1 };
        for axis in 0..axes {
            let whole = self.u_mm * normal();
            let mut wander = 0.0;
            for (i, (place, kept)) in places[self.points.clone()].iter_mut().zip(&self.kept).enumerate() {
                wander = kept * wander + (1.0 - kept * kept).max(0.0).sqrt() * normal();
                let by = whole + self.wander_mm * wander;
                match self.normals.get(i) {
                    Some(n) => *place += n * by,
                    None => place[axis] += by,
                }
            }
        }
    }
}

fn outward_normals(outline: &[Point2<f64>]) -> Vec<Vector2<f64>> {
    let n = outline.len();
    let doubled: f64 = (0..n).map(|i| outline[i].coords.perp(&outline[(i + 1) % n].coords)).sum();
    (0..n)
        .map(|i| {
            let along = outline[(i + 1) % n] - outline[(i + n - 1) % n];
            let normal = Vector2::new(along.y, -along.x).try_normalize(1e-9).unwrap_or_else(Vector2::zeros);
            normal * doubled.signum()
        })
        .collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use nalgebra::DMatrix;
    use rand::{RngExt, SeedableRng};
    use rand_distr::StandardNormal;

    fn wall(n: usize) -> Vec<Point2<f64>> {
        // Unevenly spaced, bent.
        (0..n).map(|i| i as f64 / (n - 1) as f64).map(|s| Point2::new(50.0 * s * s, 70.0 * s)).collect()
    }

    /// The one pass gives what the whole covariance matrix gives.
    #[test]
    fn one_pass_is_the_whole_matrix() {
        let places = wall(9);
        let edge = Edge::new(0..9, &places, false, [0.25, 0.5]);
        let distance =
            |i: usize, j: usize| -> f64 { (i.min(j)..i.max(j)).map(|k| (places[k + 1] - places[k]).norm()).sum() };
        let whole = DMatrix::from_fn(9, 9, |i, j| 0.0625 + 0.25 * (-distance(i, j) / CORRELATION_MM).exp());
        let gradient: Vec<_> = (0..9).map(|i| Vector2::new((i as f64).sin(), 0.3 - 0.1 * i as f64)).collect();
        let by = |axis: usize| {
            let g = nalgebra::DVector::from_fn(9, |i, _| gradient[i][axis]);
            (g.transpose() * &whole * g)[(0, 0)]
        };
        assert!((edge.variance(&gradient) - by(0) - by(1)).abs() < 1e-12);
        let other: Vec<_> = (0..9).map(|i| Vector2::new(0.2 * i as f64, (2.0 * i as f64).cos())).collect();
        let both = |axis: usize| {
            let of = |g: &[Vector2<f64>]| nalgebra::DVector::from_fn(9, |i, _| g[i][axis]);
            (of(&gradient).transpose() * &whole * of(&other))[(0, 0)]
        };
        assert!((edge.covariance(&gradient, &other) - both(0) - both(1)).abs() < 1e-12);
    }

    /// Draws scatter as the variance says, on an open line and on an outline.
    #[test]
    fn draws_scatter_as_stated() {
        let round: Vec<_> = (0..24)
            .map(|i| f64::from(i) * std::f64::consts::TAU / 24.0)
            .map(|t| Point2::new(60.0 * t.cos(), 60.0 * t.sin()))
            .collect();
        let mut rng = rand_xoshiro::Xoshiro256PlusPlus::seed_from_u64(5);
        for (places, closed) in [(wall(12), false), (round, true)] {
            let n = places.len();
            let edge = Edge::new(0..n, &places, closed, [0.3, 0.6]);
            let gradient: Vec<_> = (0..n).map(|i| Vector2::new(1.0, (0.4 * i as f64).cos())).collect();
            let mut square = 0.0;
            for _ in 0..20_000 {
                let mut moved = places.clone();
                edge.draw(&mut moved, || rng.sample(StandardNormal));
                let f: f64 = (0..n).map(|i| gradient[i].dot(&(moved[i] - places[i]))).sum();
                square += f * f;
            }
            let ratio = square / 20_000.0 / edge.variance(&gradient);
            // Standard deviation of a variance from 20 000 draws: 1 %.
            assert!((ratio - 1.0).abs() < 0.04, "closed {closed}: {ratio}");
        }
    }

    /// Four times as many points on one wall bring a mean hardly any further.
    #[test]
    fn more_points_do_not_average_it_away() {
        let mean = |n: usize| {
            let edge = Edge::new(0..n, &wall(n), false, [0.0, 0.5]);
            edge.variance(&vec![Vector2::new(1.0 / n as f64, 0.0); n]).sqrt()
        };
        assert!(mean(120) > 0.9 * mean(30), "{} {}", mean(120), mean(30));
    }
}
