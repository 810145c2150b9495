//! What the pixels themselves say: brightness between pixels, and what is found in it.
//!
//! Positions follow the project's convention: (0, 0) is the top-left corner of the top-left pixel, whose centre is (0.5, 0.5).

mod blur;
mod grey;
pub mod quality;
pub mod ruler;
mod straight;

pub use blur::{Rectangle, blur_px};
pub use grey::Grey;
pub(crate) use grey::keys;
pub use straight::{LongEdge, StraightOptions, long_edges};
