//! A photo's scene as the way between pixels and the measured plane.

use super::mapping::Mapping;
use crate::PlaneName;
use crate::located::Located;
use crate::scene::Scene;
use crate::scene::params::View3;
use crate::scene::plane::{Plane, back_project};
use nalgebra::Point2;

/// Between pixels and places in the measured plane, for what lies on one of a photo's planes, in its most probable scene.
#[derive(Debug, Clone, Copy)]
pub struct PlaneMap {
    view: View3<f64>,
    own: Plane<f64>,
    measured: Plane<f64>,
}

impl PlaneMap {
    /// For what lies on the plane `name`; a plane that the sidecar does not give is the measured one.
    pub fn new(scene: &Scene, located: &Located, name: PlaneName) -> Self {
        let measured = Plane::new(&located.planes[0].mean);
        let own = located.planes.iter().find(|p| p.name == name).map_or(measured, |p| Plane::new(&p.mean));
        Self { view: scene.view(), own, measured }
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
