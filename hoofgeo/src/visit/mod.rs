//! A visit's folder: find its photos and sidecars, check them, measure them, write the results.
//!
//! One bad photo never sinks the rest: it is refused with its reason, and the others are measured. Inputs are never written
//! to. Results are streamed, so memory does not grow with the number of photos, and appear whole or not at all.

mod folder;
mod json;
mod lens;
mod lens_entry;
mod output;
mod photo;
#[cfg(feature = "pictures")]
mod picture;
#[cfg(feature = "pictures")]
mod quality;
#[cfg(feature = "pictures")]
mod read;
#[cfg(feature = "pictures")]
mod rectify;
mod ruler;
mod run;
mod start;

pub use folder::{Entry, SIDECAR_SUFFIX, VISIT_FILE, is_photo_name, walk};
pub(crate) use json::refusal_json;
pub use lens::{LensDatabase, LensUsed, Lenses, PROFILE_SUFFIX};
pub use output::{CSV_COLUMNS, Rendered, Writers, write_whole};
#[cfg(feature = "place")]
pub(crate) use output::{sync_folder, write_durably, write_new};
#[cfg(feature = "place")]
pub(crate) use photo::belongs;
pub(crate) use photo::read_entry;
pub use photo::{PhotoReport, measure_entry};
#[cfg(feature = "pictures")]
pub use read::{ReadReport, RingDepth, read_folder};
#[cfg(feature = "pictures")]
pub use rectify::{RectifyProgress, rectify_folder};
#[cfg(feature = "place")]
pub(crate) use ruler::marks_to_read;
pub use ruler::{RulerRead, RulerReadPoint, RulerReading};
pub(crate) use run::must_be_folder;
pub use run::{
    CheckOptions, CheckReport, Outputs, Progress, Stop, Summary, VisitOptions, check_folder, measure_folder,
};
pub use start::{Started, start_folder};
