//! Measures horse hooves from photographs: millimetres and degrees, corrected for lens and camera angle, each with an honest
//! uncertainty.
//!
//! A photo shows the foot from the side or from the sole, with a ruler in the frame. A sidecar file beside it says which ruler
//! graduations and which anatomical landmarks lie at which pixels. From both, hoofgeo estimates where camera and ruler were,
//! brings the landmarks to the plane that is measured, and works out angles, lengths, ratios and areas with their uncertainty and
//! its sources.
//!
//! # One photo
//! ```
//! use hoofgeo::{measured::{measure, MeasureOptions}, scene::LensPrior, sidecar::Sidecar, uncertainty::print};
//!
//! let sidecar = Sidecar::parse(r#"{
//!   "format": "hoofgeo-sidecar/1",
//!   "photo": { "file": "side.jpg", "width_px": 4000, "height_px": 3000 },
//!   "subject": { "animal": "Kestrel", "foot": "LF" },
//!   "view": "lateral", "side": "lateral",
//!   "scale": { "kind": "straight_ruler", "tolerance": { "class": "II" }, "points": [
//!     { "mm": 0, "at": [1000, 2500] }, { "mm": 100, "at": [2000, 2500] }, { "mm": 200, "at": [3000, 2500] } ] },
//!   "landmarks": {
//!     "toe_coronet":  { "at": [1723, 1730] }, "toe_ground":  { "at": [1200, 2400] },
//!     "heel_coronet": { "at": [2659, 2150] }, "heel_ground": { "at": [2400, 2400] } }
//! }"#, None)?;
//!
//! // A phone whose EXIF states a focal length of 3000 px.
//! let lens = LensPrior::exif((4000, 3000), 3000.0);
//! let measured = measure(&sidecar, &lens, &MeasureOptions::default())?;
//! for v in &measured.values {
//!     println!("{:<28}{}", v.measurement.name, print(v.value, v.expanded(), v.measurement.quantity.unit()));
//! }
//! assert_eq!(measured.values[0].measurement.id, "dorsal_wall_angle");
//! # Ok::<(), hoofgeo::Error>(())
//! ```
//!
//! # Where to look
//! | Task | Place |
//! | --- | --- |
//! | examples for whoever builds on this library | `embedding` |
//! | measure a photo with its sidecar, visit file and lens | `visit::Session` (feature `files`) |
//! | measure a folder, write CSV, JSON, pictures | [`visit`] (feature `files`) |
//! | measure one sidecar | [`measured::measure`] |
//! | what is measured, and how | [`measure::ALL`], one declaration each, such as [`measure::HEEL_ANGLE`] |
//! | a measurement of your own | [`measure::Measurement`] with [`formula!`], evaluated by [`evaluate::evaluate`] |
//! | landmarks and lines | [`landmark`] |
//! | how values and landmarks of a photo err together; joint draws of them | [`joint`] |
//! | mean shape and variation of many feet, TPS files | [`shape`] |
//! | sidecars, visit files, lens profiles, their schemas | [`sidecar`] |
//! | a case over months: changes, rates, growth, what a trim changed | [`follow`](mod@follow) |
//! | reports of a visit as pages | [`report`] (feature `report`) |
//! | judge values against stated limits: run under or low | [`review`] |
//! | project a trim or weeks of growth; are before and after comparable | [`project`] |
//! | camera, lens and scale pose from graduations | [`scene::Scene`] |
//! | lens distortion and its removal | [`lens`] |
//! | the lens of a camera from the public lens database | [`lens::database`] |
//! | is a photo corrected already? | `lens::judge` (feature `pictures`), [`lens::PlumbLine`] |
//! | calibrate a camera from photos of a board | [`calibrate`](mod@calibrate) |
//! | homography, planar pose | [`scene::pose`] |
//! | propagation, budgets, Monte Carlo, printing | [`uncertainty`] |
//! | brightness between pixels, what is found in it | [`pixels`] (feature `pictures`) |
//! | a photo resampled to the measured plane, exact px/mm | [`mod@rectify`] (feature `pictures`) |
//! | a page on which landmarks are placed | [`place`] (feature `place`) |
//! | observers, repeatability, study planning | [`observers`] (feature `files`), [`agreement`] |
//! | photo headers, upright pixels | [`photo`] (features `files`, `pictures`) |
//!
//! # Conventions
//! Pixels are of the *upright* photo, EXIF orientation applied; (0, 0) is the top-left corner of its top-left pixel, whose centre
//! is (0.5, 0.5). Lengths are in mm. Angles are in degrees in files and results, in radians inside formulas. The scale frame has
//! its origin at the scale's zero, X along its graduations, Y in its plane, Z towards the camera.
//!
//! # Features
//! | Feature | Adds | By default |
//! | --- | --- | --- |
//! | `files` | photo headers, folders, result files | on |
//! | `pictures` | pixels: rulers and lines read from them, annotated and rectified pictures | on |
//! | `report` | a visit's page and the owner's sheet | on |
//! | `schema` | JSON Schemas of the file formats | on |
//! | `place` | the page on which landmarks are placed | off |
//! | `corners` | corners of a chessboard in photos, to calibrate a camera | off |
//! | `parquet` | measurements as Apache Parquet | off |
//! | `libheif` | HEIC photos by that system library instead of in Rust | off |
//!
//! With none of them the geometry builds alone, without any image crate.
//!
//! # What it does not do
//! It diagnoses nothing: a photo shows neither the bone nor the cause. Lame, laminitic or growing animals and
//! corrective trims belong to a vet and a qualified farrier; local law comes first.
pub mod advice;
pub mod agreement;
pub mod calibrate;
#[cfg(any(doc, doctest))]
pub mod embedding;
mod error;
pub mod evaluate;
pub mod explain;
pub mod file;
pub mod follow;
mod foot;
#[doc(hidden)]
#[cfg(feature = "files")]
pub mod fuzzing;
pub mod joint;
pub mod landmark;
pub mod lens;
pub mod located;
pub mod measure;
pub mod measured;
pub mod numeric;
#[cfg(feature = "files")]
pub mod observers;
#[cfg(feature = "files")]
pub mod photo;
#[cfg(feature = "pictures")]
pub mod picture;
#[cfg(feature = "pictures")]
pub mod pixels;
#[cfg(feature = "place")]
pub mod place;
pub mod placed;
pub mod placement;
pub mod plausibility;
pub mod project;
#[cfg(feature = "pictures")]
pub mod rectify;
#[cfg(feature = "report")]
pub mod report;
pub mod review;
pub mod scale;
pub mod scene;
pub mod second_order;
pub mod shape;
pub mod sidecar;
pub mod study;
pub mod suggest;
pub mod uncertainty;
#[cfg(feature = "files")]
pub mod visit;

#[cfg(feature = "pictures")]
pub use image;
pub use nalgebra;

pub use error::{Error, ErrorKind, Place, Result};
pub use foot::{Foot, PlaneName, Side, Stage, SubjectKind, Suggestion, Surface, View};
pub use landmark::{Landmark, Line};
