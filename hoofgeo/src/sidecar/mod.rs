//! The files that go with photos: sidecars (`*.hoof.json`), what a visit's sidecars share (`visit.hoof.json`), lens
//! profiles (`*.lens.json`). Read strictly, written readably, described by JSON Schemas.
//!
//! A key that is absent and a key that is `null` say the same: not given. So a new sidecar can hold empty slots.
//! Everything wrong is an [`Error`](crate::Error) with line, column and JSON path of the very key or value, and says
//! what to do; `did you mean` names the nearest known key.

mod check;
mod de;
mod draft;
mod fault;
mod json;
mod lens;
mod limits;
mod model;
mod outline;
mod raw;
mod read;
#[cfg(feature = "schema")]
pub mod schema;
mod start;
pub(crate) mod strict;
#[cfg(test)]
mod tests;
mod text;
mod time;
mod tree;

pub use lens::{CameraId, Distortion, DistortionModel, Found, Frame, LensProfile};
pub use model::{
    Carried, Gauge, Graduation, HeelGauge, PhotoRef, Placement, PlaneSpec, RuleClass, Scale, ScaleKind, Sidecar,
    Snapped, Subject, Tolerance, Visit,
};
pub use raw::{Draft, LandmarkSlots, LineSlots, Planes, SharedScale, SharedSubject};
pub use start::{Hints, template};

/// Whether a sidecar would take a line of these points.
#[cfg(feature = "pictures")]
pub(crate) fn is_sound_line(points: &[[f64; 2]], closed: bool) -> bool {
    outline::check(points, closed).is_ok()
}
