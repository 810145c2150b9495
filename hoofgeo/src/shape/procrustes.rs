//! Generalised Procrustes analysis in the plane.

use crate::error::{Error, ErrorKind, Result};
use nalgebra::{Complex, Matrix2, Point2};

/// The mean has come to rest where it moves by less than this, in units of its size.
const AT_REST: f64 = 1e-12;

/// More rounds are never needed where shapes are alike at all.
const MOST_ROUNDS: usize = 1000;

/// A shape laid upon the mean.
#[derive(Debug, Clone, PartialEq)]
pub struct Aligned {
    /// Its points: centred, of unit centroid size, turned.
    pub points: Vec<Point2<f64>>,
    /// Its centroid size before: the root of the summed squared distances from the centroid, in the unit of the points.
    pub centroid_size: f64,
    /// Its centroid before.
    pub centroid: Point2<f64>,
    /// Whether it was mirrored.
    pub mirrored: bool,
    /// What its centred points were multiplied with: turn, mirror and size in one.
    pub matrix: Matrix2<f64>,
    /// Partial Procrustes distance to the mean: the root of the summed squared distances of its points from those of the mean.
    pub distance: f64,
}

/// Shapes laid upon each other.
#[derive(Debug, Clone, PartialEq)]
pub struct Superposition {
    /// The mean shape: centred, of unit centroid size.
    pub mean: Vec<Point2<f64>>,
    /// Each shape, in the order given.
    pub aligned: Vec<Aligned>,
    /// Rounds until the mean came to rest.
    pub rounds: usize,
}

/// Lays shapes upon each other: each is centred, brought to unit centroid size and turned so that the summed squared distances from the
/// common mean are least, round by round until the mean rests (partial Procrustes superposition of unit sizes). The mean lies as the first
/// shape does, its first principal axis as it comes.
///
/// With `mirror`, a shape that fits better mirrored is mirrored: left and right feet, and feet seen from either side, become one set.
///
/// # Errors
/// `Usage` where there are fewer than two shapes or three points, the shapes differ in their number of points, or all points of one fall
/// together.
///
/// # Example: three triangles of one shape
/// ```
/// use hoofgeo::{nalgebra::Point2, shape::superimpose};
/// let small = vec![Point2::new(0.0, 0.0), Point2::new(4.0, 0.0), Point2::new(0.0, 3.0)];
/// let large = small.iter().map(|p| Point2::new(7.0 - 2.0 * p.y, 2.0 * p.x)).collect();
/// let mirrored = small.iter().map(|p| Point2::new(-p.x, p.y)).collect();
/// let found = superimpose(&[small, large, mirrored], true)?;
/// assert!(found.aligned.iter().all(|a| a.distance < 1e-9));
/// assert!((found.aligned[1].centroid_size / found.aligned[0].centroid_size - 2.0).abs() < 1e-12);
/// assert_eq!(found.aligned.iter().map(|a| a.mirrored).collect::<Vec<_>>(), [false, false, true]);
/// # Ok::<(), hoofgeo::Error>(())
/// ```
pub fn superimpose(shapes: &[Vec<Point2<f64>>], mirror: bool) -> Result<Superposition> {
    let fault = |what: &str| Error::new(ErrorKind::Usage, what.to_owned());
    let Some(points) = shapes.first().map(Vec::len).filter(|_| shapes.len() > 1) else {
        return Err(fault("a mean shape needs two shapes or more"));
    };
    if points < 3 {
        return Err(fault("a shape needs three landmarks or more"));
    }
    if shapes.iter().any(|s| s.len() != points) {
        return Err(fault("shapes have different numbers of landmarks"));
    }
    let unit = shapes.iter().map(|s| Unit::of(s)).collect::<Option<Vec<_>>>();
    let unit = unit.ok_or_else(|| fault("all landmarks of a shape fall together"))?;
    let mut mean = unit[0].points.clone();
    let mut rounds = 0;
    let turned = loop {
        rounds += 1;
        let turned: Vec<_> = unit.iter().map(|u| u.onto(&mean, mirror)).collect();
        let mut sum = vec![Complex::new(0.0, 0.0); points];
        for t in &turned {
            sum.iter_mut().zip(&t.points).for_each(|(s, p)| *s += p);
        }
        let size = norm(&sum);
        if size.partial_cmp(&0.0) != Some(std::cmp::Ordering::Greater) {
            return Err(fault("the shapes have no mean: they cancel each other"));
        }
        sum.iter_mut().for_each(|s| *s /= size);
        let moved = norm(&sum.iter().zip(&mean).map(|(a, b)| a - b).collect::<Vec<_>>());
        mean = sum;
        if moved < AT_REST || rounds == MOST_ROUNDS {
            break unit.iter().map(|u| u.onto(&mean, mirror)).collect::<Vec<_>>();
        }
    };
    let aligned = unit.iter().zip(turned).map(|(u, t)| t.into_aligned(u, &mean)).collect();
    Ok(Superposition { mean: mean.iter().map(point).collect(), aligned, rounds })
}

fn point(z: &Complex<f64>) -> Point2<f64> {
    Point2::new(z.re, z.im)
}

fn norm(points: &[Complex<f64>]) -> f64 {
    points.iter().map(Complex::norm_sqr).sum::<f64>().sqrt()
}

/// A shape centred and of unit centroid size; in the plane a turn is a product of complex numbers.
struct Unit {
    points: Vec<Complex<f64>>,
    size: f64,
    centroid: Complex<f64>,
}

struct Turned {
    points: Vec<Complex<f64>>,
    by: Complex<f64>,
    mirrored: bool,
}

impl Unit {
    fn of(shape: &[Point2<f64>]) -> Option<Self> {
        let all: Vec<_> = shape.iter().map(|p| Complex::new(p.x, p.y)).collect();
        let centroid = all.iter().sum::<Complex<f64>>() / all.len() as f64;
        let mut points: Vec<_> = all.iter().map(|z| z - centroid).collect();
        let size = norm(&points);
        points.iter_mut().for_each(|z| *z /= size);
        (size > 0.0 && size.is_finite()).then_some(Self { points, size, centroid })
    }

    /// Turned so that the summed squared distances from the mean are least: by the angle of Σ z̄ m.
    fn onto(&self, mean: &[Complex<f64>], mirror: bool) -> Turned {
        let fit = |mirrored: bool| -> Complex<f64> {
            self.points.iter().zip(mean).map(|(z, m)| if mirrored { z * m } else { z.conj() * m }).sum()
        };
        let (plain, other) = (fit(false), fit(true));
        let mirrored = mirror && other.norm() > plain.norm();
        let by = if mirrored { other } else { plain };
        let by = if by.norm() > 0.0 { by / by.norm() } else { Complex::new(1.0, 0.0) };
        let turn = |z: &Complex<f64>| if mirrored { z.conj() * by } else { z * by };
        Turned { points: self.points.iter().map(turn).collect(), by, mirrored }
    }
}

impl Turned {
    fn into_aligned(self, unit: &Unit, mean: &[Complex<f64>]) -> Aligned {
        let (c, s) = (self.by.re, self.by.im);
        let turn = Matrix2::new(c, -s, s, c);
        let flip = if self.mirrored { Matrix2::new(1.0, 0.0, 0.0, -1.0) } else { Matrix2::identity() };
        let off: Vec<_> = self.points.iter().zip(mean).map(|(z, m)| z - m).collect();
        Aligned {
            points: self.points.iter().map(point).collect(),
            centroid_size: unit.size,
            centroid: point(&unit.centroid),
            mirrored: self.mirrored,
            matrix: turn * flip / unit.size,
            distance: norm(&off),
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// Place, turn, size and mirror of single shapes change nothing but what says so.
        #[test]
        fn a_shape_is_what_is_left(
            noise in prop::collection::vec(-0.2f64..0.2, 40),
            turn in prop::collection::vec(0.0f64..std::f64::consts::TAU, 4), size in prop::collection::vec(0.2f64..5.0, 4), flip in any::<[bool; 4]>()
        ) {
            let base = [(0.0, 0.0), (4.0, 0.2), (5.0, 2.0), (1.0, 3.0), (-0.5, 1.2)];
            let shape = |k: usize, moved: bool| -> Vec<Point2<f64>> {
                let (s, c) = turn[k].sin_cos();
                base.iter().enumerate().map(|(i, (x, y))| {
                    let (x, y) = (x + noise[10 * k + 2 * i], y + noise[10 * k + 2 * i + 1]);
                    if !moved { return Point2::new(x, y) }
                    let x = if flip[k] { -x } else { x };
                    Point2::new(size[k] * (c * x - s * y) + 3.0, size[k] * (s * x + c * y) - 8.0)
                }).collect()
            };
            let plain = superimpose(&(0..4).map(|k| shape(k, false)).collect::<Vec<_>>(), true).unwrap();
            let moved = superimpose(&(0..4).map(|k| shape(k, true)).collect::<Vec<_>>(), true).unwrap();
            for k in 0..4 {
                let (a, b) = (&plain.aligned[k], &moved.aligned[k]);
                prop_assert!((a.distance - b.distance).abs() < 1e-9);
                prop_assert!((a.centroid_size * size[k] - b.centroid_size).abs() < 1e-9);
                let again = shape(k, true).iter().map(|p| Point2::from(b.matrix * (p - b.centroid))).collect::<Vec<_>>();
                prop_assert!(again.iter().zip(&b.points).all(|(p, q)| (p - q).norm() < 1e-12));
                prop_assert_eq!(b.mirrored, flip[k] != flip[0]);
            }
        }
    }

    #[test]
    fn what_is_no_set_of_shapes_is_refused() {
        let shape = |n: usize| (0..n).map(|i| Point2::new(i as f64, (i * i) as f64)).collect::<Vec<_>>();
        for shapes in [
            vec![shape(4)],
            vec![shape(2), shape(2)],
            vec![shape(4), shape(3)],
            vec![shape(3), vec![Point2::origin(); 3]],
        ] {
            assert!(superimpose(&shapes, false).is_err());
        }
    }
}
