//! Judgement: what the values of a visit say, held against stated limits.
//!
//! A number alone does not tell what to do next, and a limit alone does not either: sources disagree, and a norm is an average of
//! other horses. So every verdict is *below*, *above* or *not resolved*, with the probability that the true value lies past the
//! limit (JCGM 106:2012), and beside it stand the limit, its source and who says otherwise. No single value is called abnormal.
//!
//! Two things are told apart, because confusing them harms horses: a heel that has **run under** and a heel that is merely
//! **low**; see [`HeelReview`]. A toe is judged from the sole; where only the side was photographed, the review says that the toe's
//! length cannot be judged.
//!
//! The limits stand in one data file, see [`Rules`]: what nobody published is off unless the user turns it on, and labelled.
//!
//! # Example: one lateral photo
//! ```
//! use hoofgeo::{measured::{measure, MeasureOptions}, review, scene::LensPrior, sidecar::Sidecar};
//! let sidecar = Sidecar::parse(r#"{
//!   "format": "hoofgeo-sidecar/1",
//!   "photo": { "file": "side.jpg", "width_px": 4000, "height_px": 3000 },
//!   "subject": { "foot": "LF" }, "view": "lateral", "side": "lateral",
//!   "scale": { "kind": "straight_ruler", "points": [
//!     { "mm": 0, "at": [1000, 2500] }, { "mm": 100, "at": [2000, 2500] }, { "mm": 200, "at": [3000, 2500] } ] },
//!   "landmarks": { "toe_coronet": { "at": [1723, 1730] }, "toe_ground": { "at": [1200, 2400] },
//!                  "heel_coronet": { "at": [2659, 2150] }, "heel_ground": { "at": [2400, 2400] } },
//!   "gauge": { "heel_above_sole_plane_mm": { "lateral": 7 } }
//! }"#, None)?;
//! let measured = measure(&sidecar, &LensPrior::exif((4000, 3000), 3000.0), &MeasureOptions::default())?;
//! let photo = review::PhotoValues::new("side.jpg", &sidecar, &measured, None);
//! let foot = &review::review_feet(&[photo], &review::Rules::default())[0];
//! assert_eq!(foot.toe, review::ToeSeen::FromTheSideOnly);
//! assert_eq!(foot.heels[0].answer(review::Question::SpareHorn), review::Answer::Yes);
//! # Ok::<(), hoofgeo::Error>(())
//! ```

mod foot;
mod heel;
pub mod quantities;
mod rules;
mod verdict;

pub use foot::{FootReview, NotJudged, PairReview, PhotoValues, ToeSeen, Verdict, review_feet, review_pairs};
pub use heel::{Answer, Evidence, HeelConclusion, HeelReview, MissingEvidence};
pub use rules::{EvidenceRule, NO_SOURCE, Of, Otherwise, Question, Rule, Rules, When, find};
pub use verdict::{Estimate, Judged, Stands, judge};

/// The cautions that go with every judgement and projection.
pub const CAUTIONS: &[&str] = &[
    "A photo does not show the bone. Nothing here is a diagnosis.",
    "Limits are averages and rules of other horses; sound and lame feet overlap. A value past a limit is a question, not a fault.",
    "Lame, laminitic or growing animals and corrective trims belong with a vet and a qualified farrier; local law comes first.",
];
