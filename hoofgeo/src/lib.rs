//! Measures horse hooves from photographs.
mod error;
pub mod evaluate;
mod foot;
pub mod landmark;
pub mod lens;
pub mod located;
pub mod measure;
pub mod measured;
pub mod numeric;
#[cfg(feature = "files")]
pub mod photo;
#[cfg(feature = "pictures")]
pub mod picture;
pub mod placed;
pub mod scale;
pub mod scene;
pub mod sidecar;
pub mod uncertainty;

pub use error::{Error, ErrorKind, Place, Result};
pub use foot::{Foot, PlaneName, Side, Stage, View};
pub use landmark::{Landmark, Line};
