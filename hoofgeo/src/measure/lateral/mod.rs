//! Measurements on lateral photos.

pub(super) mod balance;
pub(super) mod heel;
pub(super) mod rings;
pub(super) mod toe;
pub(super) mod tubules;

use super::Need;
use crate::landmark::{Landmark, Line};

/// The dorsal wall: its line, or its two landmarks.
const DORSAL_WALL: Need = Need::Either(&[
    &[Need::Line(Line::DorsalWall, 3)],
    &[Need::Point(Landmark::ToeGround), Need::Point(Landmark::ToeCoronet)],
    &[Need::Line(Line::DorsalWall, 2)],
]);

/// The heel wall: its line, or its two landmarks.
const HEEL_WALL: Need = Need::Either(&[
    &[Need::Line(Line::HeelWall, 3)],
    &[Need::Point(Landmark::HeelGround), Need::Point(Landmark::HeelCoronet)],
    &[Need::Line(Line::HeelWall, 2)],
]);

/// The ground: its line, its two points, or the bearing line.
const GROUND: Need = Need::Either(&[
    &[Need::Line(Line::Ground, 3)],
    &[Need::Point(Landmark::GroundFront), Need::Point(Landmark::GroundBack)],
    &[Need::Line(Line::Ground, 2)],
    &[Need::Point(Landmark::ToeGround), Need::Point(Landmark::HeelGround)],
]);
