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
#[cfg(feature = "place")]
mod thumbnail;
#[cfg(test)]
pub(crate) mod tests;

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

use crate::file::{FileKind, Unread};
use crate::{Error, ErrorKind, Result};
use limits::MAX_FILE_BYTES;
use std::fs::File;
use std::io::Read;
use std::path::Path;

/// Opens a regular file for reading.
fn open(path: &Path) -> Result<File> {
    // Asked before opening: opening a pipe would wait for its other end.
    let cannot_open = |e: &std::io::Error| {
        let help = match e.kind() {
            std::io::ErrorKind::NotFound => "check the name and the folder",
            std::io::ErrorKind::PermissionDenied => "ask for the right to read it, or copy it to a folder of your own",
            _ => "check that the disk or card is still connected and sound",
        };
        Error::io(path, "cannot open the file", e).help(help)
    };
    let meta = std::fs::metadata(path).map_err(|e| cannot_open(&e))?;
    if meta.is_dir() {
        return Err(Error::new(ErrorKind::Io, "is a folder, not a photo").in_file(path).help("name a photo inside it"));
    }
    if !meta.is_file() {
        return Err(Error::new(ErrorKind::Io, "is not a regular file").in_file(path).help("name a photo's file"));
    }
    crate::file::open(path).map_err(|e| match e {
        Unread::Io(e) => cannot_open(&e),
        other => other.of(path, FileKind::Photo),
    })
}

/// A whole file in memory.
pub(crate) fn read_whole(path: &Path) -> Result<Vec<u8>> {
    let mut bytes = Vec::new();
    let read = open(path)?.take(MAX_FILE_BYTES + 1).read_to_end(&mut bytes);
    read.map_err(|e| Error::io(path, "cannot read the file", &e))?;
    if bytes.len() as u64 > MAX_FILE_BYTES {
        return Err(too_large(MAX_FILE_BYTES).in_file(path));
    }
    Ok(bytes)
}

fn too_large(most: u64) -> Error {
    Error::new(ErrorKind::Photo, format!("the file is larger than {} MB", most / 1_000_000))
        .help("check that it is a photo; export a very large one as JPEG")
}
