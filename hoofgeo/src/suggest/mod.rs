//! Where the landmarks of a foot will lie that are not placed yet, from those that are: an offer to look at, never a placement.
//!
//! A foot's landmarks are taken as jointly normal in millimetres ([`Shape`]), in a frame of the foot's own that its photo turns, moves
//! and enlarges. To begin with, mean and covariance are those of published proportions (`proportions.rs`); what was placed on earlier
//! photos moves them, most of all on photos of the same foot. Given some landmarks, the others are normal too, and their mean is what is
//! offered, with its standard uncertainty; where that is large nothing is offered. What lies on an edge of the picture is moved to it,
//! and lines are read from the pixels, as [`read_photo`](crate::pixels::read_photo) does.
//!
//! An accepted offer is marked as one in its sidecar ([`Suggestion::Accepted`](crate::Suggestion)), and counts as less certain than a
//! placement: [`ACCEPTED_WIDENS`](crate::located::ACCEPTED_WIDENS).
//!
//! # Example
//! ```
//! use hoofgeo::{Landmark, View, suggest::Shape};
//! let shape = Shape::prior(View::Lateral);
//! let placed = [(Landmark::ToeCoronet, [940.0, 1105.0]), (Landmark::ToeGround, [600.0, 1540.0]),
//!               (Landmark::HeelCoronet, [1590.0, 1390.0]), (Landmark::HeelGround, [1425.0, 1540.0])];
//! let bulb = shape.predict(&placed, None).into_iter().find(|p| p.landmark == Landmark::HeelBulb).unwrap();
//! assert!(bulb.at[0] > 1590.0 && bulb.u_mm < 10.0);
//! ```

mod align;
mod learn;
#[cfg(feature = "pictures")]
mod photo;
mod proportions;
mod shape;

pub use learn::Example;
#[cfg(feature = "pictures")]
pub use photo::{SuggestedLandmark, SuggestedLine, Suggestions, suggest};
pub use shape::{Predicted, Shape};
