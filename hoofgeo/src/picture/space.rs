//! From places in space to pixels: straight lines through the lens, and regions of uncertainty.

use crate::located::Located;
use crate::placed::Placed;
use crate::scene::Scene;
use crate::scene::params::View3;
use crate::scene::plane::{PLANE, Plane, back_project};
use crate::{Landmark, Line};
use nalgebra::{Matrix2, Point2, SMatrix, Vector2, Vector3};

/// Radius of the 95 % region of a plane normal distribution, in standard uncertainties: the square root of the χ² quantile
/// with two degrees of freedom, −2 ln 0.05.
const REGION_95: f64 = 2.447_746_830_680_816;

/// Points that a straight line is drawn through, so that it curves as the lens makes it.
const SAMPLES: usize = 40;

/// A place in the scale frame, mm.
pub(super) type Spot = Vector3<f64>;

/// A photo's space.
pub(super) struct Space<'a> {
    pub(super) scene: &'a Scene,
    pub(super) located: &'a Located,
    pub(super) placed: Placed<'a, f64>,
    view: View3<f64>,
    planes: Vec<Plane<f64>>,
    frame: Vector2<f64>,
}

impl<'a> Space<'a> {
    pub(super) fn new(scene: &'a Scene, located: &'a Located) -> Self {
        let (w, h) = scene.frame_px;
        Self {
            scene,
            located,
            placed: located.placed(),
            view: scene.view(),
            planes: located.planes.iter().map(|p| Plane::new(&p.mean)).collect(),
            frame: Vector2::new(f64::from(w), f64::from(h)),
        }
    }

    /// A place on a plane, given in the measured plane's axes: planes are drawn where they are, so that a line along the near
    /// heel lies on the near heel in the photo too.
    pub(super) fn lift(&self, plane: usize, place: Point2<f64>) -> Spot {
        self.planes[plane].lift(place)
    }

    /// The plane of a landmark.
    pub(super) fn plane_of(&self, landmark: Landmark) -> usize {
        self.located.index.landmark(landmark).map_or(0, |i| self.located.points[i].plane)
    }

    /// The plane of a line.
    pub(super) fn plane_of_line(&self, line: Line) -> usize {
        self.located.index.line(line).filter(|r| !r.is_empty()).map_or(0, |r| self.located.points[r.start].plane)
    }

    /// A landmark's place.
    pub(super) fn landmark(&self, landmark: Landmark) -> Option<Spot> {
        let i = self.located.index.landmark(landmark)?;
        Some(self.lift(self.located.points[i].plane, self.located.places[i]))
    }

    /// A line's places.
    pub(super) fn line(&self, line: Line) -> Vec<Spot> {
        let range = self.located.index.line(line).unwrap_or_default();
        range.map(|i| self.lift(self.located.points[i].plane, self.located.places[i])).collect()
    }

    /// The pixel of a place; `None` behind the camera or far outside the frame, where the lens model means nothing.
    pub(super) fn pixel(&self, spot: Spot) -> Option<Point2<f64>> {
        let p = self.view.pixel(spot)?;
        let inside = |v: f64, size: f64| v > -size && v < 2.0 * size;
        (inside(p.x, self.frame.x) && inside(p.y, self.frame.y)).then_some(p)
    }

    /// The place on a plane that a pixel shows, in the measured plane's axes.
    pub(super) fn place_at(&self, pixel: Point2<f64>) -> Option<Point2<f64>> {
        back_project(&self.view, &self.planes[0], None, pixel, self.view.camera.undistort(pixel)?)
    }

    /// Where a graduation's label is in the photo, as fitted.
    pub(super) fn graduation(&self, label: Point2<f64>) -> Option<Point2<f64>> {
        self.view.graduation_pixel(label)
    }

    /// The straight line between two places as the photo shows it. The part before the first sample that has no pixel counts.
    pub(super) fn straight(&self, a: Spot, b: Spot) -> Vec<Point2<f64>> {
        let at = |i: usize| a + (b - a) * (i as f64 / SAMPLES as f64);
        let Some(first) = (0..=SAMPLES).find(|i| self.pixel(at(*i)).is_some()) else { return Vec::new() };
        (first..=SAMPLES).map_while(|i| self.pixel(at(i))).collect()
    }

    /// Straight lines from place to place.
    pub(super) fn chain(&self, spots: &[Spot], closed: bool) -> Vec<Point2<f64>> {
        let mut out: Vec<Point2<f64>> = Vec::new();
        let ends = if closed { spots.first() } else { None };
        let all: Vec<&Spot> = spots.iter().chain(ends).collect();
        for pair in all.windows(2) {
            // A placed row has points close together already.
            out.extend((0..4).filter_map(|i| self.pixel(pair[0] + (pair[1] - pair[0]) * (f64::from(i) / 4.0))));
        }
        out.extend(all.last().and_then(|s| self.pixel(**s)));
        out
    }

    /// The circle's arc around a place of a plane between two directions of that plane.
    pub(super) fn arc(
        &self,
        plane: usize,
        centre: Point2<f64>,
        radius: f64,
        from: Vector2<f64>,
        to: Vector2<f64>,
    ) -> Vec<Point2<f64>> {
        let start = from.y.atan2(from.x);
        let turn = from.perp(&to).atan2(from.dot(&to));
        (0..=SAMPLES)
            .filter_map(|i| {
                let (s, c) = (start + turn * i as f64 / SAMPLES as f64).sin_cos();
                self.pixel(self.lift(plane, centre + Vector2::new(c, s) * radius))
            })
            .collect()
    }

    /// Pixels per mm around a place of a plane.
    fn jacobian(&self, plane: usize, place: Point2<f64>) -> Option<Matrix2<f64>> {
        // A step of 0.1 mm: large against rounding, small against the lens's bending.
        const STEP: f64 = 0.1;
        let d = |v: Vector2<f64>| {
            Some((self.pixel(self.lift(plane, place + v))? - self.pixel(self.lift(plane, place - v))?) / (2.0 * STEP))
        };
        Some(Matrix2::from_columns(&[d(Vector2::new(STEP, 0.0))?, d(Vector2::new(0.0, STEP))?]))
    }

    /// Outline of the 95 % region of a point's place in the photo: placing, anatomy, planes and scene together. Its points are
    /// around the point's pixel; the second value is its longer half axis.
    pub(super) fn region(&self, point: usize) -> Option<(Vec<Point2<f64>>, f64)> {
        let p = &self.located.points[point];
        let square = |plane: usize| {
            SMatrix::<f64, PLANE, PLANE>::from_diagonal(
                &SMatrix::<f64, PLANE, 1>::from(self.located.planes[plane].u).map(|u| u * u),
            )
        };
        let mut c = p.by_scene * self.scene.covariance * p.by_scene.transpose();
        c += p.by_measured * square(0) * p.by_measured.transpose();
        c += p.by_own * square(p.plane) * p.by_own.transpose();
        c += p.by_pixel * p.by_pixel.transpose() * (p.u_px * p.u_px) + p.anatomy;
        let j = self.jacobian(p.plane, self.located.places[point])?;
        let image = j * c * j.transpose();
        let eigen = ((image + image.transpose()) / 2.0).symmetric_eigen();
        let axes = eigen.eigenvalues.map(|v| v.max(0.0).sqrt() * REGION_95);
        let outline = (0..48)
            .map(|i| {
                let (s, c) = (f64::from(i) * std::f64::consts::TAU / 48.0).sin_cos();
                p.pixel + eigen.eigenvectors * Vector2::new(axes.x * c, axes.y * s)
            })
            .collect();
        let longest = axes.max();
        longest.is_finite().then_some((outline, longest))
    }
}
