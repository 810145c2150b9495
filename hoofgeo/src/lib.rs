//! Measures horse hooves from photographs.
mod error;
mod foot;
pub mod landmark;
pub mod sidecar;

pub use error::{Error, ErrorKind, Place, Result};
pub use foot::{Foot, PlaneName, Side, Stage, View};
pub use landmark::{Landmark, Line};
