//! The demo's renderer: photographs of synthetic feet whose every measure is known.

mod backdrop;
mod camera;
mod foot;
mod horses;
mod light;
mod mesh;
mod noise;
mod paint;
mod raster;
mod ruler;
mod scene;
mod shade;
mod shadow;
mod underside;

pub use camera::Camera;
pub use foot::{Foot3d, Trim};
pub use horses::{Case, Coat, FootSpec, Shot, cases, foot, DARK, LIGHT};
pub use ruler::{Finish, Ruler};

/// TEMP
pub fn quick(case: &Case) -> image::RgbImage {
    let s = scene::Scene::new(&case.spec, &case.shot, case.seed);
    paint::paint(&s, &case.spec, &case.shot, case.seed)
}
