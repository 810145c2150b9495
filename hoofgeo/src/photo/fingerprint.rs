//! The SHA-256 of a file, so that a result names exactly the photo it came from.

use crate::file::{FileKind, open_file};
use crate::{Error, ErrorKind, Result};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use sha2::{Digest, Sha256};
use std::fmt;
use std::io::{self, Read, Write};
use std::path::Path;
use std::str::FromStr;

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

impl FromStr for Sha256Hex {
    type Err = Error;

    fn from_str(text: &str) -> Result<Self> {
        let digits = text.as_bytes();
        let mut bytes = [0; 32];
        let value = |digit: u8| match digit {
            b'0'..=b'9' => Some(digit - b'0'),
            b'a'..=b'f' => Some(digit - b'a' + 10),
            _ => None,
        };
        let whole = digits.len() == 64
            && bytes.iter_mut().zip(digits.chunks(2)).all(|(byte, pair)| {
                let read = value(pair[0]).zip(value(pair[1])).map(|(high, low)| high << 4 | low);
                *byte = read.unwrap_or(0);
                read.is_some()
            });
        whole.then_some(Self(bytes)).ok_or_else(|| {
            Error::new(ErrorKind::Format, "is no SHA-256: 64 hexadecimal digits in small letters").help("copy it whole")
        })
    }
}

impl<'de> Deserialize<'de> for Sha256Hex {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = std::borrow::Cow::<str>::deserialize(deserializer)?;
        text.parse().map_err(|e: Error| serde::de::Error::custom(e.what()))
    }
}

/// Writes on, and keeps count and fingerprint of what was written.
pub(crate) struct HashedWriter<W> {
    to: W,
    hasher: Sha256,
    bytes: u64,
}

impl<W> HashedWriter<W> {
    pub(crate) fn new(to: W) -> Self {
        Self { to, hasher: Sha256::new(), bytes: 0 }
    }

    /// What was written to, how many bytes, and their fingerprint.
    pub(crate) fn finish(self) -> (W, u64, Sha256Hex) {
        (self.to, self.bytes, Sha256Hex(self.hasher.finalize().into()))
    }
}

impl<W: Write> Write for HashedWriter<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let n = self.to.write(bytes)?;
        self.hasher.update(&bytes[..n]);
        self.bytes += n as u64;
        Ok(n)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.to.flush()
    }
}

/// The SHA-256 of a file's content, read piece by piece: any size of file needs the same little memory.
///
/// # Errors
/// [`ErrorKind::Io`](crate::ErrorKind::Io) when the file cannot be read or is a directory.
pub fn fingerprint(path: impl AsRef<Path>) -> Result<Sha256Hex> {
    let path = path.as_ref();
    let mut file = open_file(path, FileKind::Photo)?;
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
