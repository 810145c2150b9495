//! Examples for whoever builds on this library; each is compiled and run by the tests.
//!
//! One photo with its files, and its heel angle with the budget: [`Session`](crate::visit::Session) and the README.
//!
//! # A photo without a sidecar
#![cfg_attr(feature = "files", doc = "```no_run")]
#![cfg_attr(not(feature = "files"), doc = "```ignore")]
//! use hoofgeo::{measured::{MeasureOptions, measure}, sidecar::Sidecar, visit::Session};
//!
//! // Size and lens from the photo's header, and from lens profiles beside it; landmarks from your own program.
//! let (facts, lens) = Session::usual()?.look("LF-side.jpg")?;
//! let sidecar = Sidecar::parse(&format!(r#"{{ "format": "hoofgeo-sidecar/1",
//!   "photo": {{ "file": "LF-side.jpg", "width_px": {}, "height_px": {} }}, "subject": {{ "foot": "LF" }}, "view": "lateral",
//!   "scale": {{ "kind": "straight_ruler", "points": [ {{ "mm": 0, "at": [1000, 2500] }}, {{ "mm": 200, "at": [3000, 2500] }} ] }},
//!   "landmarks": {{ "toe_coronet": {{ "at": [1723, 1730] }}, "toe_ground": {{ "at": [1200, 2400] }} }}
//! }}"#, facts.width_px, facts.height_px), None)?;
//! for value in &measure(&sidecar, &lens.prior, &MeasureOptions::default())?.values {
//!     println!("{:<28}{value}", value.measurement.name);
//! }
//! # Ok::<(), hoofgeo::Error>(())
//! ```
//!
//! # A measurement of your own
//! A measurement is a declaration and one function that is generic over the scalar: on plain numbers it gives the value, on dual numbers
//! the sensitivities, so that value, uncertainty, budget and Monte Carlo distribution come without further work.
//!
//! ```
//! use hoofgeo::evaluate::{evaluate, monte_carlo};
//! use hoofgeo::measure::{Measurement, Need, Plausible, Quantity, geometry::distance};
//! use hoofgeo::numeric::Real;
//! use hoofgeo::placed::{Outcome, Placed};
//! use hoofgeo::{Landmark, View, formula, measured::{MeasureOptions, locate}, scene::LensPrior, sidecar::Sidecar};
//!
//! static CORONARY_BAND_LENGTH: Measurement = Measurement {
//!     id: "coronary_band_length",
//!     name: "Coronary band length",
//!     view: View::Lateral,
//!     quantity: Quantity::Length,
//!     definition: "Straight distance between the coronary band's ends at the toe and at the heel.",
//!     needs: &[Need::Point(Landmark::ToeCoronet), Need::Point(Landmark::HeelCoronet)],
//!     source: "an example",
//!     references: &[],
//!     plausible: Plausible::estimated([15.0, 260.0], [40.0, 190.0]),
//!     formula: formula!(coronary_band_length),
//! };
//!
//! fn coronary_band_length<T: Real>(p: &Placed<'_, T>) -> Outcome<T> {
//!     distance(p.at(Landmark::ToeCoronet)?, p.at(Landmark::HeelCoronet)?)
//! }
//!
//! let sidecar = Sidecar::parse(r#"{
//!   "format": "hoofgeo-sidecar/1",
//!   "photo": { "file": "side.jpg", "width_px": 4000, "height_px": 3000 },
//!   "subject": { "foot": "LF" }, "view": "lateral", "side": "lateral",
//!   "scale": { "kind": "straight_ruler", "points": [
//!     { "mm": 0, "at": [1000, 2500] }, { "mm": 100, "at": [2000, 2500] }, { "mm": 200, "at": [3000, 2500] } ] },
//!   "planes": { "near_heel": { "behind_scale_mm": 0 } },
//!   "landmarks": { "toe_coronet": { "at": [1723, 1730] }, "heel_coronet": { "at": [2659, 2150] } }
//! }"#, None)?;
//! let (scene, located) = locate(&sidecar, &LensPrior::exif((4000, 3000), 3000.0), &MeasureOptions::default())?;
//!
//! let mut values = vec![evaluate(&CORONARY_BAND_LENGTH, &located, &scene)?];
//! // Ten pixels to the millimetre: the square root of 93.6² + 42.0² mm².
//! assert!((values[0].value - 102.59).abs() < 0.01);
//! let (largest, share) = values[0].budget.largest().unwrap();
//! println!("u = {:.1} mm, {:.0} % of its square from {}", values[0].u, 100.0 * share, largest.id());
//!
//! // The same by drawing scenes and points.
//! monte_carlo(&mut values, &located, &scene, 10_000, 1)?;
//! let drawn = values[0].monte_carlo.as_ref().unwrap();
//! assert!((drawn.u / values[0].u - 1.0).abs() < 0.1);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # A scale of your own
//! Any points of a plane whose places are known do for a scale: a scene is estimated from pairs of places in millimetres and pixels.
//!
//! ```
//! use hoofgeo::nalgebra::Point2;
//! use hoofgeo::scale::{Graduation, Tolerance};
//! use hoofgeo::scene::{LensPrior, Scene, SceneInput};
//! use hoofgeo::{evaluate::evaluate, located::Located, measure::DORSAL_WALL_ANGLE, sidecar::Sidecar};
//!
//! // Five painted dots on a plate, measured with callipers, and where they are seen.
//! let dots = [(0.0, 0.0), (80.0, 0.0), (160.0, 0.0), (0.0, 60.0), (160.0, 60.0)];
//! let seen = dots.map(|(x, y)| (1000.0 + 10.0 * x, 2500.0 - 10.0 * y));
//! let point = |(x, y)| Point2::new(x, y);
//! let graduations: Vec<_> =
//!     dots.iter().zip(seen).map(|(mm, px)| Graduation::marked(point(*mm), point(px))).collect();
//! let scene = Scene::estimate(&SceneInput {
//!     graduations: &graduations,
//!     frame_px: (4000, 3000),
//!     u_px: 0.5,
//!     tilt_u_deg: None,
//!     tolerance: Tolerance::URel(2e-4),
//!     lens: LensPrior::exif((4000, 3000), 3000.0),
//! })?;
//! let magnification = scene.magnification();
//! assert!((magnification.value - 10.0).abs() < 3.0 * magnification.u);
//!
//! // The landmarks come from a sidecar without a scale, or from one filled in by your own program.
//! let sidecar = Sidecar::parse(r#"{
//!   "format": "hoofgeo-sidecar/1",
//!   "photo": { "file": "side.jpg", "width_px": 4000, "height_px": 3000 },
//!   "subject": { "foot": "LF" }, "view": "lateral", "side": "lateral",
//!   "planes": { "near_heel": { "behind_scale_mm": 0 } },
//!   "landmarks": { "toe_coronet": { "at": [1723, 1730] }, "toe_ground": { "at": [1200, 2400] },
//!                  "heel_ground": { "at": [2400, 2400] } }
//! }"#, None)?;
//! let angle = evaluate(&DORSAL_WALL_ANGLE, &Located::new(&scene, &sidecar)?, &scene)?;
//! assert!((angle.value - 52.0).abs() < 0.2);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! A sidecar can hold such points too, as a scale of kind `board` whose points have two coordinates.
//!
//! # The geometry alone
//! With `default-features = false` no image crate, no file is touched: sidecars, scenes, formulas and uncertainties remain. The example
//! `geometry` is checked so by `.ci/run`:
//! `cargo run -p hoofgeo --no-default-features --example geometry`.

/// The README's example is compiled.
#[cfg(all(doctest, feature = "files"))]
#[doc = include_str!("../../README.md")]
struct Readme;
