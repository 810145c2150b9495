//! The SHA-256 of a file, so that a result names exactly the photo it came from.

use crate::{Error, Result};
use serde::{Serialize, Serializer};
use sha2::{Digest, Sha256};
use std::fmt;
use std::io::{self, Read};
use std::path::Path;

/// A SHA-256 (FIPS 180-4), shown as 64 lower-case hexadecimal digits.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Sha256Hex([u8; 32]);

impl Sha256Hex {
    /// Of bytes at hand.
    pub fn of(bytes: &[u8]) -> Self {
        Self(Sha256::digest(bytes).into())
    }

    /// The 32 bytes.
    pub const fn bytes(&self) -> &[u8; 32] {
        &self.0
    }
}

impl fmt::Display for Sha256Hex {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|b| write!(f, "{b:02x}"))
    }
}

impl fmt::Debug for Sha256Hex {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl Serialize for Sha256Hex {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// The SHA-256 of a file's content, read piece by piece: any size of file needs the same little memory.
///
/// # Errors
/// [`ErrorKind::Io`](crate::ErrorKind::Io) when the file cannot be read or is a directory.
pub fn fingerprint(path: impl AsRef<Path>) -> Result<Sha256Hex> {
    let path = path.as_ref();
    let mut file = super::open(path)?;
    let mut hasher = Sha256::new();
    let mut piece = vec![0; 64 * 1024];
    loop {
        match file.read(&mut piece) {
            Ok(0) => return Ok(Sha256Hex(hasher.finalize().into())),
            Ok(n) => hasher.update(&piece[..n]),
            Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
            Err(e) => return Err(Error::io(path, "cannot read the file", &e)),
        }
    }
}
