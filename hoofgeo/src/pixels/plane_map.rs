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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lens::{Camera, Distortion};
    use crate::scene::params::{Pose, rotation};
    use nalgebra::Vector3;

    fn from_aside(deg: f64) -> PlaneMap {
        let camera = Camera { focal: 1e6, principal: Point2::new(1500.0, 1000.0), distortion: Distortion::none() };
        let pose = Pose { rotation: rotation(0.0, deg.to_radians(), 0.0), translation: Vector3::new(0.0, 0.0, 1e5) };
        let flat = Plane::new(&[0.0; PLANE]);
        PlaneMap { view: View3 { camera, pose, stretch: 1.0 }, own: flat, measured: flat, mean: [0.0; PLANE] }
    }

    /// From far away, α to the side, an upright line that leans back by λ is seen as one that is turned by atan(tan λ tan α).
    #[test]
    fn a_leaning_line_is_turned_where_the_camera_stands_aside() {
        let lean = 8f64.to_radians();
        for deg in [0.0, 5.0, -10.0, 20.0] {
            let turned =
                from_aside(deg).turned_by_lean(Point2::new(3.0, -2.0), Vector2::y(), lean).expect("in the photo");
            let expected = (lean.tan() * deg.to_radians().tan()).atan();
            assert!((turned.abs() - expected.abs()).abs() < 2e-4, "{deg}: {turned}, {expected}");
        }
        let along = from_aside(10.0).turned_by_lean(Point2::origin(), Vector2::x(), lean).expect("in the photo");
        assert!(along.abs() < 1e-4, "a level line keeps its direction: {along}");
    }
}
