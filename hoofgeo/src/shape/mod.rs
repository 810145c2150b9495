//! Shapes of feet: where the landmarks lie among each other, apart from place, turn and size.
//!
//! [`superimpose`] lays the landmarks of many photos upon each other (generalised Procrustes analysis) and gives their mean shape;
//! [`Variation`] says how they vary around it, and how much of that is measurement alone. [`tps`] reads and writes the open TPS format
//! of landmark coordinates, which general programs of geometric morphometrics read and digitising programs write.
//!
//! # Source
//! Gower 1975, Psychometrika 40:33-51; Rohlf and Slice 1990, Systematic Zoology 39:40-59; Dryden and Mardia, Statistical Shape Analysis,
//! 1998; tangent space: Rohlf 1999, Journal of Classification 16:197-223 (all from memory; checked against general-purpose packages,
//! `tests/shapes.rs`).

#[cfg(feature = "files")]
mod export;
#[cfg(feature = "files")]
mod folder;
#[cfg(feature = "files")]
mod import;
#[cfg(feature = "files")]
mod output;
mod procrustes;
pub mod tps;
mod variation;

#[cfg(feature = "files")]
pub use export::{TpsExport, export_tps};
#[cfg(feature = "files")]
pub use folder::{ShapeOptions, ShapePhoto, ShapeStudy, shape_folder};
#[cfg(feature = "files")]
pub use import::{ImportNames, Imported, TpsName, import_tps};
#[cfg(feature = "files")]
pub use output::write_study;
#[cfg(feature = "files")]
pub(crate) use output::{MEAN_TABLE, SHAPES_TABLE};
pub use procrustes::{Aligned, Superposition, superimpose};
pub use variation::{Component, Variation};
