//! A photo's scene as the way between pixels and the measured plane.

use super::mapping::Mapping;
use crate::PlaneName;
use crate::located::Located;
use crate::scene::Scene;
use crate::scene::params::View3;
use crate::scene::plane::{PLANE, Plane, back_project};
use nalgebra::{Point2, Vector2};

/// Between pixels and places in the measured plane, for what lies on one of a photo's planes, in its most probable scene.
#[derive(Debug, Clone, Copy)]
pub struct PlaneMap {
    view: View3<f64>,
    own: Plane<f64>,
    measured: Plane<f64>,
    /// What `own` is made of: distance behind the scale, mm, and tilts, rad.
    mean: [f64; PLANE],
}

impl PlaneMap {
    /// For what lies on the plane `name`; a plane that the sidecar does not give is the measured one.
    pub fn new(scene: &Scene, located: &Located, name: PlaneName) -> Self {
        let mean = located.planes.iter().find(|p| p.name == name).unwrap_or(&located.planes[0]).mean;
        let measured = Plane::new(&located.planes[0].mean);
        Self { view: scene.view(), own: Plane::new(&mean), measured, mean }
    }

    /// How far a line of the plane, seen from `at` along `along` (length 1), would turn if what it lies on leaned by `lean` rad
    /// along it, rad: the picture shows the line, not how it stands in depth. About 0 where the camera looks square onto the plane.
    pub(super) fn turned_by_lean(&self, at: Point2<f64>, along: Vector2<f64>, lean: f64) -> Option<f64> {
        let [behind, a, b] = self.mean;
        let slope = lean.tan();
        // Tilts about X raise Y, those about Y lower X.
        let own = Plane::new(&[behind, a + (slope * along.y).atan(), b - (slope * along.x).atan()]);
        let leaning = Self { own, ..*self };
        let [from, to] = [at, at + along].map(|p| leaning.place(self.pixel(p)?));
        let seen = to? - from?;
        Some(along.perp(&seen).atan2(along.dot(&seen)))
    }
}

impl Mapping for PlaneMap {
    fn place(&self, pixel: Point2<f64>) -> Option<Point2<f64>> {
        let near = self.view.camera.undistort(pixel)?;
        back_project(&self.view, &self.own, Some(&self.measured), pixel, near)
    }

    /// The planes' most probable tilts are none, so a place's foot on its own plane has the same coordinates.
    fn pixel(&self, place: Point2<f64>) -> Option<Point2<f64>> {
        self.view.pixel(self.own.lift(place))
    }
}
