//! What the pixels themselves say: brightness between pixels, and what is found in it.
//!
//! Positions follow the project's convention: (0, 0) is the top-left corner of the top-left pixel, whose centre is (0.5, 0.5).
//!
//! | to find | call |
//! |---|---|
//! | the direction of the horn tubules in a region | [`tubule_direction`] |
//! | an edge to a fraction of a pixel, a chain of them | [`edges_along`], [`chain`] |
//! | the dorsal wall's outline | [`wall_outline`] |
//! | growth rings at toe and heel | [`growth_rings`] |
//! | the whole outline of wall, white line or frog from a few clicks | [`trace_outline`] |
//! | what a photo with a sidecar lacks and its pixels show | [`read_photo`] |
//! | the way between pixels and the measured plane | [`PlaneMap`], [`Mapping`] |

mod blur;
mod edge;
mod gradient;
mod grey;
mod mapping;
mod outline;
mod plane_map;
pub mod quality;
mod read;
mod rings;
pub mod ruler;
mod straight;
mod tubules;
mod wall;

pub use blur::{Rectangle, blur_px};
pub use edge::{EdgeOptions, EdgePoint, chain, edges_along};
pub use gradient::{noise, orientation, structure_tensor};
pub use grey::Grey;
pub(crate) use grey::keys;
pub use mapping::{Flat, Mapping};
pub use outline::{NotTraced, Path, StretchKind, TracedOutline, least_cost_path, trace_outline};
pub use plane_map::PlaneMap;
pub use read::{Found, ReadOptions, Reading, read_photo};
pub use rings::{NoRings, Ring, RingRow, WallRings, growth_rings};
pub use straight::{LongEdge, StraightOptions, long_edges};
pub use tubules::{NoTubules, TubuleDirection, tubule_direction};
pub use wall::{NoOutline, wall_outline};
