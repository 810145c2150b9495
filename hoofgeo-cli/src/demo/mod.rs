//! The demo's renderer: photographs of synthetic feet whose every measure is known.
//!
//! A foot is a parametric solid ([`Foot3d`]), of two invented horses and before or after a trim ([`FootSpec`]); a [`Shot`]
//! says how it is photographed. [`render`] gives a [`Photo`]: the picture, the exact camera, every landmark, line and
//! graduation in millimetres and pixels, and the true value of every measurement.
//!
//! # Example: one of the demo's photos, as a person would mark it
//! ```no_run
//! use hoofgeo_cli::demo;
//! let case = &demo::cases()[0];
//! let photo = case.render();
//! let placed = demo::place_like_a_person(&photo, case.shot.view, case.seed);
//! demo::write(std::path::Path::new("demo"), case, &photo, &placed)?;
//! # Ok::<(), hoofgeo::Error>(())
//! ```

mod backdrop;
mod camera;
mod files;
mod foot;
mod horses;
mod light;
mod mesh;
mod noise;
mod paint;
mod photo;
mod place;
mod raster;
mod recovery;
mod ruler;
mod scene;
mod shade;
mod shadow;
mod truth;
mod underside;

pub use camera::Camera;
pub use files::{jpeg, sidecar, truth_json, write};
pub use foot::{Foot3d, Trim};
pub use horses::{Case, Coat, DARK, FootSpec, Heel, LIGHT, Shot, cases, foot, foot_with_heel};
pub use photo::{ExifFacts, Graduation, Photo, Stance, quick_scene, render, render_from};
pub use place::{CLICK_PX, GRADUATION_PX, Placed, place_like_a_person};
pub use recovery::{RECOVERING, Visit, visits};
pub use ruler::{Finish, Ruler};
pub use truth::Truth;
