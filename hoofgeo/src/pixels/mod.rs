//! What the pixels themselves say: brightness between pixels, and what is found in it.
//!
//! Positions follow the project's convention: (0, 0) is the top-left corner of the top-left pixel, whose centre is (0.5, 0.5).
//!
//! | to find | call |
//! |---|---|
//! | the direction of the horn tubules in a region | [`tubule_direction`] |
//! | an edge to a fraction of a pixel, a chain of them | [`edges_along`], [`chain`] |
//! | the dorsal wall's outline; its line, bow and flare | [`wall_outline`], [`wall_fit`] |
//! | the ground line between two landmarks | [`ground_line`] |
//! | growth rings at toe and heel | [`growth_rings`] |
//! | the whole outline of wall, white line or frog from a few clicks | [`trace_outline`] |
//! | the edge that a clicked landmark lies on | [`snap()`] |
//! | a line through many points of one edge, with an honest uncertainty | [`EdgeFit`] |
//! | what a photo with a sidecar lacks and its pixels show | [`read_photo`] |
//! | the way between pixels and the measured plane | [`PlaneMap`], [`Mapping`] |

mod blur;
mod edge;
mod fit;
mod gradient;
mod grey;
mod ground;
mod mapping;
mod outline;
mod plane_map;
pub mod quality;
mod read;
mod rings;
pub mod ruler;
mod snap;
mod straight;
mod tubules;
mod wall;

pub use blur::{Rectangle, blur_px};
pub use edge::{EdgeOptions, EdgePoint, chain, edges_along};
pub use fit::EdgeFit;
pub use gradient::{noise, orientation, structure_tensor};
pub use grey::Grey;
pub(crate) use grey::keys;
pub use ground::{GroundLine, NoGround, ground_line};
pub use mapping::{Flat, Mapping};
pub use outline::{NotTraced, OutlineEdge, Path, StretchKind, TracedOutline, least_cost_path, trace_outline};
pub use plane_map::PlaneMap;
pub use read::{Found, Moved, Outline, ReadOptions, Reading, read_photo};
pub use rings::{NoRings, Ring, RingRow, WallRings, growth_rings};
pub use snap::{FAR_MM, FAR_PX, FAR_U, NoSnap, SLANT_DEG, Snap, radius_mm, snap};
pub use straight::{LongEdge, StraightOptions, long_edges};
pub use tubules::{NoTubules, TubuleDirection, tubule_direction};
pub use wall::{NoOutline, WallFit, wall_fit, wall_outline};
