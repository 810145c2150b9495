//! A visit's folder: find its photos and sidecars, check them, measure them, write the results.
//!
//! One bad photo never sinks the rest: it is refused with its reason, and the others are measured. Inputs are never written
//! to. Results are streamed, so memory does not grow with the number of photos, and appear whole or not at all.

mod folder;
mod json;
mod lens;
mod output;
mod photo;
#[cfg(feature = "pictures")]
mod picture;
mod run;
mod start;

pub use folder::{Entry, SIDECAR_SUFFIX, VISIT_FILE, is_photo_name, walk};
pub(crate) use json::refusal_json;
pub use lens::{LensUsed, Lenses};
pub use output::{CSV_COLUMNS, Rendered, Writers, write_whole};
pub(crate) use photo::read_entry;
pub use photo::{PhotoReport, measure_entry};
pub(crate) use run::must_be_folder;
pub use run::{CheckReport, Outputs, Progress, Stop, Summary, VisitOptions, check_folder, measure_folder};
pub use start::{Started, start_folder};
