//! Measures horse hooves from photographs.
mod error;
mod foot;
pub mod landmark;
pub mod lens;
pub mod measure;
pub mod numeric;
#[cfg(feature = "files")]
pub mod photo;
pub mod placed;
pub mod scale;
pub mod scene;
pub mod sidecar;
pub mod uncertainty;

pub use error::{Error, ErrorKind, Place, Result};
pub use foot::{Foot, PlaneName, Side, Stage, View};
pub use landmark::{Landmark, Line};
