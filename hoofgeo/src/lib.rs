//! Measures horse hooves from photographs.
mod error;
pub mod evaluate;
pub mod explain;
mod foot;
pub mod landmark;
pub mod lens;
pub mod located;
pub mod measure;
pub mod measured;
pub mod numeric;
#[cfg(feature = "files")]
pub mod photo;
pub mod placed;
pub mod scale;
pub mod scene;
pub mod sidecar;
pub mod uncertainty;
#[cfg(feature = "files")]
pub mod visit;

pub use error::{Error, ErrorKind, Place, Result};
pub use foot::{Foot, PlaneName, Side, Stage, View};
pub use landmark::{Landmark, Line};
