//! Are a photo from before a trim and one from after it comparable at all?

use crate::review::Estimate;
use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// Two photos whose toe minus heel angles differ by more than chance explains this seldom are not comparable.
pub const LEAST_PROBABILITY: f64 = 0.05;

/// The toe minus heel angle before a trim against that after it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Comparable {
    /// After minus before, degrees.
    pub change: Estimate,
    /// Probability that two photos of a foot whose toe minus heel angle has not changed differ by as much or more.
    pub probability: f64,
    /// Whether nothing speaks against comparing them.
    pub holds: bool,
}

impl Comparable {
    /// In plain words.
    pub const fn words(&self) -> &'static str {
        if self.holds {
            "Toe minus heel angle agrees before and after: nothing speaks against comparing the two photos."
        } else {
            "Toe minus heel angle changed, which no flat trim does. Either the wall was dressed at toe or heel, or the two photos are \
             not comparable: the camera stood differently, or landmarks lie elsewhere. Compare other values of these photos with care."
        }
    }
}

/// Holds a foot's toe minus heel angle (`heel_toe_angle_difference`) before a trim against that after it.
///
/// A flat trim turns both angles alike, so their difference stays as it was; it does not depend on the ground either. Where it moved
/// by more than its uncertainty, the photos contradict each other, unless the wall itself was dressed. The two are taken as
/// independent, which is on the safe side: what they share cancels in part.
///
/// ```
/// use hoofgeo::{project::comparable, review::Estimate};
/// let before = Estimate::new(11.2, 1.0, None);
/// assert!(comparable(before, Estimate::new(10.1, 1.0, None)).holds);
/// assert!(!comparable(before, Estimate::new(6.2, 1.0, None)).holds);
/// ```
pub fn comparable(before: Estimate, after: Estimate) -> Comparable {
    let change = after.minus(&before);
    let z = (change.value / change.u).abs();
    let probability = if change.value == 0.0 {
        1.0
    } else if z.is_finite() {
        let above = match change.dof.and_then(|d| StudentsT::new(0.0, 1.0, d).ok()) {
            Some(t) => t.sf(z),
            None => Normal::standard().sf(z),
        };
        2.0 * above
    } else {
        0.0
    };
    Comparable { change, probability, holds: probability >= LEAST_PROBABILITY }
}
