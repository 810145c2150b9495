//! Where a number stops being one that can be meant. Shared by the checks and the JSON Schemas. All chosen, wide.

/// Pixels of a photo's side: above any camera and any stitched panorama.
pub(super) const FRAME_PX: u32 = 100_000;
/// Millimetres of anything on or around a hoof: 10 m.
pub(super) const MM: f64 = 10_000.0;
/// Degrees of a tilt's uncertainty.
pub(super) const TILT_DEG: f64 = 90.0;
/// Pixels of a placement's or graduation's uncertainty.
pub(super) const U_PX: f64 = 1000.0;
/// Relative uncertainty of a scale's lengths: 10 %.
pub(super) const U_REL: f64 = 0.1;
/// Millimetres read off a gauge on the foot.
pub(super) const GAUGE_MM: f64 = 200.0;
/// Width and height of an ID-1 card, mm (ISO/IEC 7810).
pub(super) const CARD_MM: [f64; 2] = [85.60, 53.98];
/// Pixels of a focal length.
pub(super) const FOCAL_PX: f64 = 1e6;
/// Millimetres of a focal length.
pub(super) const FOCAL_MM: f64 = 10_000.0;
/// A distortion coefficient.
pub(super) const DISTORTION: f64 = 1000.0;
/// Weeks between two visits: a year.
pub(super) const INTERVAL_WEEKS: f64 = 52.0;
