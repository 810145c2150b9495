//! Measurements on solar photos.

pub(super) mod areas;
pub(super) mod frog;
pub(super) mod heels;
pub(super) mod size;
pub(super) mod toe;

use super::Need;
use crate::landmark::Landmark;

/// The frog's axis, which lengths run along.
const FROG_APEX: Need = Need::Point(Landmark::FrogApex);
/// The other end of the frog's axis.
const SULCUS: Need = Need::Point(Landmark::CentralSulcus);
