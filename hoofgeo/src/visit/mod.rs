//! A visit's folder: find its photos and sidecars, check them, measure them, write the results.
//!
//! One bad photo never sinks the rest: it is refused with its reason, and the others are measured. Inputs are never written
//! to. Results are streamed, so memory does not grow with the number of photos, and appear whole or not at all.
//!
//! # Large sets
//! A run that was stopped, at whatever moment, goes on where it was when the same call is made again, and a finished one measures again
//! only what was changed: [`measure_folder`] compares the SHA-256 of photo, sidecar, visit file and lens profiles, the options and the program
//! with those that the entries of earlier runs were made of, and takes over what is the same. [`Outputs::anew`] measures everything again.
//! While a run goes on, its hidden folder `.hoofgeo-unfinished` stands in the output folder; a finished run leaves none.
//!
//! [`Part`] divides a set among machines, [`join`] makes one of the parts' results; [`ResultFile`] says what is written, [`dictionary`] what
//! stands in it.

mod bare;
mod batches;
#[cfg(feature = "pictures")]
mod carry;
mod folder;
mod json;
mod lens;
mod lens_entry;
mod name;
mod order;
mod output;
mod photo;
#[cfg(feature = "pictures")]
mod picture;
mod placements;
#[cfg(feature = "pictures")]
mod quality;
#[cfg(feature = "pictures")]
mod read;
#[cfg(feature = "pictures")]
mod rectify;
mod results;
#[cfg(feature = "pictures")]
mod rings;
mod ruler;
mod run;
mod session;
mod start;

pub use bare::{BarePhoto, LeftAside, Urgency};
#[cfg(feature = "place")]
pub(crate) use carry::Carrier;
#[cfg(feature = "place")]
pub(crate) use folder::without_suffix;
pub use folder::{Entry, SIDECAR_SUFFIX, VISIT_FILE, is_photo_name, walk};
pub(crate) use json::refusal_json;
pub use lens::{LensDatabase, LensUsed, Lenses, PROFILE_SUFFIX};
#[cfg(feature = "place")]
pub(crate) use name::shown;
pub(crate) use output::write_new;
pub use output::write_whole;
#[cfg(feature = "place")]
pub(crate) use output::{folder_of, make_within, staged, sweep, sync_folder, write_durably};
pub use photo::PhotoReport;
#[cfg(feature = "place")]
pub(crate) use photo::belongs;
pub use placements::{PLACEMENT_SUFFIX, PlacementChoice, PlacementFolders, PlacementNote, PlacementUsed};
#[cfg(feature = "pictures")]
pub use read::{ReadReport, read_folder};
#[cfg(feature = "pictures")]
pub use rectify::{RectifyProgress, rectify_folder};
pub use results::{
    CSV_COLUMNS, ColumnKind, DictionaryEntry, Outputs, Part, PhotoRecord, RecordedCovariance, RecordedCovariances,
    RecordedPoint, RecordedValue, ResultFile, dictionary, dictionary_csv, dictionary_json, dictionary_markdown,
    free_text_cell, free_text_of_cell, join, methods, wide_columns,
};
pub(crate) use results::{OF_ITS_ROW, TableColumn, read_back};
#[cfg(feature = "pictures")]
pub use rings::{RingDepth, RingName, rings_meant};
#[cfg(feature = "place")]
pub(crate) use ruler::ReadFrom;
pub use ruler::{RulerRead, RulerReadPoint, RulerReading};
pub(crate) use run::{BATCH, PICTURE_BATCH, must_be_folder};
pub use run::{CheckOptions, CheckReport, Progress, Stop, Summary, VisitOptions, check_folder, measure_folder};
pub(crate) use session::Made;
pub use session::Session;
pub use start::{Started, start_folder};
