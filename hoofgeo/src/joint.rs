//! How a photo's values and points err together: covariances, and joint draws.
//!
//! A photo's values share its ruler, lens, planes and landmarks: the angles of toe and heel go up and down with one ground line, every
//! length with the ruler. Whoever works out something of several of them (a ratio, a shape, a regression on two) needs their covariance,
//! not their single uncertainties.
//!
//! All is of one photo. What photos share among each other is in [`Shared`](crate::evaluate::Shared).
//!
//! # Source
//! JCGM 102:2011, 6.2 (covariance of several outputs to first order); the terms of second order are those of the module
//! [`second_order`](crate::second_order), extended to pairs of results. Draws: JCGM 101:2008 and JCGM 102:2011, 7.
//!
//! # Example: the uncertainty of a difference
//! ```no_run
//! # use hoofgeo::{joint, measured::{MeasureOptions, measure}, scene::LensPrior, sidecar::Sidecar};
//! let sidecar = Sidecar::read("LF-side.jpg.hoof.json")?;
//! let m = measure(&sidecar, &LensPrior::exif((4032, 3024), 2950.0), &MeasureOptions::default())?;
//! let covariance = joint::covariance(&m.values, &m.located, &m.scene);
//! let variance = covariance[(0, 0)] + covariance[(1, 1)] - 2.0 * covariance[(0, 1)];
//! println!("{} minus {}: u = {}", m.values[0].measurement.id, m.values[1].measurement.id, variance.sqrt());
//! # Ok::<(), hoofgeo::Error>(())
//! ```

use crate::error::Result;
use crate::evaluate::{Gradient, Value, differentiate, sample};
use crate::landmark::{Landmark, Line};
use crate::located::Located;
use crate::placed::Placed;
use crate::scene::params::UNKNOWNS;
use crate::scene::plane::PLANE;
use crate::scene::{Covariance, Scene};
use crate::second_order::Bends;
use nalgebra::{DMatrix, Matrix2, Point2, SVector, Vector2};

/// What a result depends on: everything that two results of a photo can have in common.
struct Response {
    scene: SVector<f64, UNKNOWNS>,
    /// The scene's covariance times it.
    scene_covariance: SVector<f64, UNKNOWNS>,
    planes: Vec<SVector<f64, PLANE>>,
    points: Vec<(usize, Vector2<f64>)>,
    /// To the points of each of [`Located::edges`]; empty where it makes no use of one.
    edges: Vec<Vec<Vector2<f64>>>,
    gauge: f64,
    bends: Option<Bends>,
    /// Its difference under the second pose.
    second: Option<f64>,
}

impl Response {
    fn new(
        points: Vec<(usize, Vector2<f64>)>,
        value: f64,
        f: &dyn Fn(&[Point2<f64>]) -> Option<f64>,
        located: &Located,
        covariance: &Covariance,
    ) -> Self {
        let scene: SVector<f64, UNKNOWNS> =
            points.iter().map(|(i, g)| located.points[*i].by_scene.transpose() * g).sum();
        let plane = |slot: usize| {
            let own = |(i, g): &(usize, Vector2<f64>)| {
                let p = &located.points[*i];
                let own = if p.plane == slot { p.by_own.transpose() * g } else { SVector::zeros() };
                if slot == 0 { p.by_measured.transpose() * g + own } else { own }
            };
            points.iter().map(own).sum()
        };
        let on = |edge: &crate::located::Edge| {
            if !points.iter().any(|(i, _)| edge.points.contains(i)) {
                return Vec::new();
            }
            let mut all = vec![Vector2::zeros(); edge.points.len()];
            for (i, g) in points.iter().filter(|(i, _)| edge.points.contains(i)) {
                all[i - edge.points.start] += g;
            }
            all
        };
        Self {
            scene,
            scene_covariance: covariance * scene,
            planes: (0..located.planes.len()).map(plane).collect(),
            edges: located.edges.iter().map(on).collect(),
            bends: located.second_order.as_ref().and_then(|s| s.bends(f, value)),
            second: located.second.as_ref().and_then(|places| Some(f(places)? - value)),
            points,
            gauge: 0.0,
        }
    }

    /// Of a measurement, in its unit.
    fn of_value(value: &Value, located: &Located, covariance: &Covariance) -> Option<Self> {
        let formula = &value.measurement.formula;
        let factor = value.measurement.quantity.factor();
        let Gradient { value, points, gauge, .. } = differentiate(formula, located).ok()?;
        let read = located.gauge.map(|g| g.0);
        let f = |places: &[Point2<f64>]| (formula.value)(&Placed::new(&located.index, places, read)).ok();
        let mut out = Self::new(points, value, &f, located, covariance);
        out.gauge = gauge;
        Some(out.times(factor))
    }

    /// Of one coordinate of a point.
    fn of_coordinate(point: usize, axis: usize, located: &Located, covariance: &Covariance) -> Self {
        let mut along = Vector2::zeros();
        along[axis] = 1.0;
        let f = |places: &[Point2<f64>]| Some(places.get(point)?[axis]);
        Self::new(vec![(point, along)], located.places[point][axis], &f, located, covariance)
    }

    fn times(mut self, factor: f64) -> Self {
        self.scene *= factor;
        self.scene_covariance *= factor;
        self.planes.iter_mut().for_each(|p| *p *= factor);
        self.points.iter_mut().for_each(|(_, g)| *g *= factor);
        self.edges.iter_mut().flatten().for_each(|g| *g *= factor);
        self.gauge *= factor;
        self.bends = self.bends.map(|b| b.times(factor));
        self.second = self.second.map(|d| d * factor);
        self
    }

    /// The same sum as in [`evaluate`](crate::evaluate::evaluate), of products of two results' parts.
    fn covariance(&self, other: &Self, located: &Located, scene: &Scene) -> f64 {
        let mut sum = self.scene.dot(&other.scene_covariance);
        for ((a, b), plane) in self.planes.iter().zip(&other.planes).zip(&located.planes) {
            sum += (0..PLANE).map(|k| a[k] * b[k] * plane.u[k] * plane.u[k]).sum::<f64>();
        }
        for (i, a) in &self.points {
            for (_, b) in other.points.iter().filter(|(j, _)| i == j) {
                let p = &located.points[*i];
                sum += (p.by_pixel.transpose() * a).dot(&(p.by_pixel.transpose() * b)) * p.u_px * p.u_px;
                if !p.on_edge {
                    sum += (p.anatomy * a).dot(b);
                }
            }
        }
        for ((a, b), edge) in self.edges.iter().zip(&other.edges).zip(&located.edges) {
            sum += edge.covariance(a, b);
        }
        if let Some((_, u)) = located.gauge {
            sum += self.gauge * other.gauge * u * u;
        }
        if let (Some(a), Some(b)) = (&self.bends, &other.bends) {
            sum += a.covariance(b);
        }
        if let (Some(a), Some(b), Some((_, probability))) = (self.second, other.second, scene.second) {
            sum += a * b * probability.max(0.25);
        }
        sum
    }
}

fn matrix(responses: &[Option<Response>], located: &Located, scene: &Scene) -> DMatrix<f64> {
    let n = responses.len();
    let mut out = DMatrix::zeros(n, n);
    for (i, a) in responses.iter().enumerate() {
        for (j, b) in responses.iter().enumerate().take(i + 1) {
            if let (Some(a), Some(b)) = (a, b) {
                out[(i, j)] = a.covariance(b, located, scene);
                out[(j, i)] = out[(i, j)];
            }
        }
    }
    out
}

/// The covariance of a photo's values, in their order and in the products of their units.
///
/// The diagonal holds the squares of the values' `u`. Where Monte Carlo has replaced a value's `u`, its covariances are scaled along and
/// the correlations stay those of the linear result.
pub fn covariance(values: &[Value], located: &Located, scene: &Scene) -> DMatrix<f64> {
    let responses: Vec<_> = values.iter().map(|v| Response::of_value(v, located, &scene.covariance)).collect();
    let mut out = matrix(&responses, located, scene);
    for (i, v) in values.iter().enumerate() {
        let linear = out[(i, i)].sqrt();
        if linear > 0.0 {
            let scale = v.u / linear;
            out.row_mut(i).scale_mut(scale);
            out.column_mut(i).scale_mut(scale);
        }
    }
    out
}

/// What a point is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PointName {
    /// A landmark.
    Landmark(Landmark),
    /// A line's point, counted from 1.
    Line(Line, usize),
}

/// A landmark or a line's point in the measured plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlanePoint {
    /// Which.
    pub name: PointName,
    /// Where it was placed, px of the upright photo.
    pub pixel: Point2<f64>,
    /// Its place, mm: along the scale's graduations from its zero, and square to them; as seen from the camera y is 90° counter-clockwise
    /// from x.
    pub place: Point2<f64>,
    /// The covariance of its place, mm².
    pub covariance: Matrix2<f64>,
}

/// A photo's points, landmarks first, both in the order of the file contract.
pub fn points(located: &Located, scene: &Scene) -> Vec<PlanePoint> {
    let landmarks = landmarks(located).map(|(l, i)| (PointName::Landmark(l), i));
    let lines = Line::ALL.iter().flat_map(|l| {
        let range = located.index.line(*l).unwrap_or_default();
        range.enumerate().map(|(n, i)| (PointName::Line(*l, n + 1), i))
    });
    landmarks
        .chain(lines)
        .map(|(name, i)| {
            let both = [0, 1].map(|axis| Some(Response::of_coordinate(i, axis, located, &scene.covariance)));
            let covariance = matrix(&both, located, scene).fixed_view::<2, 2>(0, 0).into_owned();
            PlanePoint { name, pixel: located.points[i].pixel, place: located.places[i], covariance }
        })
        .collect()
}

/// The landmarks that are placed, with their place among the points.
pub fn landmarks(located: &Located) -> impl Iterator<Item = (Landmark, usize)> + '_ {
    Landmark::ALL.iter().filter_map(|l| Some((*l, located.index.landmark(*l)?)))
}

/// The covariance of the landmarks' places, mm²: x and y of the first, x and y of the second, and so on, in the order of [`landmarks`].
pub fn landmark_covariance(located: &Located, scene: &Scene) -> DMatrix<f64> {
    let coordinates = landmarks(located).flat_map(|(_, i)| [(i, 0), (i, 1)]);
    let responses: Vec<_> =
        coordinates.map(|(i, axis)| Some(Response::of_coordinate(i, axis, located, &scene.covariance))).collect();
    matrix(&responses, located, scene)
}

/// Draws of all of a photo's values together, each value's in one vector, in its unit: for multiple imputation. NaN where a draw has no
/// value.
///
/// The same seed gives the same draws. Seed each photo by another number, or their errors go together.
///
/// # Errors
/// `Usage` where the scene's covariance is not one.
pub fn draws(values: &[Value], located: &Located, scene: &Scene, draws: usize, seed: u64) -> Result<Vec<Vec<f64>>> {
    let formulas: Vec<_> =
        values.iter().map(|v| (v.measurement.formula.value, v.measurement.quantity.factor())).collect();
    sample(located, scene, draws, seed, values.len(), &|placed, _, out| {
        for (o, (formula, factor)) in out.iter_mut().zip(&formulas) {
            if let Ok(v) = formula(placed) {
                *o = v * factor;
            }
        }
    })
}

#[cfg(test)]
mod tests;
