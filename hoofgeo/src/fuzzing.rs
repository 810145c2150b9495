//! What the fuzz harness (`tests/fuzz`) reads that has no name outside. No part of the library's interface.

/// Reads the lines of a journal or manifest, each with what it says of a photo; how many could be used.
#[cfg(feature = "files")]
pub fn stored(text: &str) -> usize {
    crate::visit::read_back(text)
}

/// Reads a request of the page; how it would be answered: 0 where it may be, else the status.
#[cfg(feature = "place")]
pub fn request(bytes: &[u8]) -> u16 {
    crate::place::read_request(bytes)
}
