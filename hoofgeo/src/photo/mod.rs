//! Photos: what their headers tell, which file they are, and (feature `pictures`) their upright pixels.
//!
//! Everything outside this module is in pixels of the *upright* photo, as any viewer shows it; here the stored picture is turned.
//! Place, owner and serial numbers in the EXIF are never read.

mod container;
#[cfg(feature = "pictures")]
mod decode;
mod facts;
mod fingerprint;
#[cfg(feature = "pictures")]
mod heic;
mod heif;
#[cfg(feature = "pictures")]
mod jpeg;
#[cfg(feature = "libheif")]
mod libheif;
mod limits;
mod orientation;
#[cfg(feature = "pictures")]
mod png;
mod remark;
mod tags;
#[cfg(test)]
pub(crate) mod tests;
#[cfg(feature = "place")]
mod thumbnail;

#[cfg(feature = "pictures")]
pub use decode::{decode_upright, decode_upright_bytes};
pub use facts::{PhotoFacts, PhotoType, facts_from_bytes, read_facts, read_facts_and_fingerprint};
pub(crate) use fingerprint::HashedWriter;
pub use fingerprint::{Sha256Hex, fingerprint};
pub use limits::{MAX_MEGAPIXELS, MAX_SCANS, MAX_SIDE_PX, max_decode_bytes};
pub use orientation::Orientation;
pub use remark::Remark;
#[cfg(feature = "place")]
pub(crate) use thumbnail::embedded_preview;
