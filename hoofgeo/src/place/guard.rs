//! Who may ask: the browser that was given the session's key, on this machine, from the page itself.

use super::http::{Request, Response};
use crate::error::{Error, ErrorKind, Result};
use rand::TryRng;
use rand::rngs::SysRng;
use std::fmt::Write as _;

/// The header in which the page sends the key. No form and no foreign page can send it without asking first, and is refused then.
const KEY_HEADER: &str = "X-Hoofgeo-Key";

/// What a request has to show.
#[derive(Debug)]
pub(super) struct Guard {
    key: String,
    hosts: [String; 2],
}

/// A new key, 256 bits from the operating system.
pub(super) fn new_key() -> Result<String> {
    let mut bytes = [0u8; 32];
    SysRng.try_fill_bytes(&mut bytes).map_err(|e| {
        Error::new(ErrorKind::Io, format!("the operating system gives no random numbers for the key: {e}"))
    })?;
    let mut key = String::with_capacity(64);
    for b in bytes {
        let _ = write!(key, "{b:02x}");
    }
    Ok(key)
}

/// Whether a key is ours. Takes the same time for every wrong one.
pub(super) fn same(given: &str, ours: &str) -> bool {
    let (given, ours) = (given.as_bytes(), ours.as_bytes());
    let differ = given.len() ^ ours.len();
    ours.iter().enumerate().fold(differ, |d, (i, b)| d | usize::from(b ^ given.get(i).unwrap_or(&0))) == 0
}

impl Guard {
    pub(super) fn new(port: u16) -> Result<Self> {
        Ok(Self { key: new_key()?, hosts: [format!("127.0.0.1:{port}"), format!("localhost:{port}")] })
    }

    pub(super) fn key(&self) -> &str {
        &self.key
    }

    /// Whether a request may be answered at all: it must be meant for this server (a name that was made to point here is not), and
    /// come from its own page.
    pub(super) fn admits(&self, request: &Request) -> Result<(), Response> {
        let own = |host: &str| self.hosts.iter().any(|h| h == host);
        if request.count("Host") != 1 || !request.header("Host").is_some_and(own) {
            return Err(Response::refusal(421, "this server answers to 127.0.0.1 alone"));
        }
        let foreign = match (request.count("Origin"), request.header("Origin")) {
            (0, _) => false,
            (_, Some(origin)) => !origin.strip_prefix("http://").is_some_and(own),
            _ => true,
        };
        let site = request.header("Sec-Fetch-Site");
        if foreign || site.is_some_and(|s| s != "same-origin" && s != "none") {
            return Err(Response::refusal(403, "this page is not for other pages"));
        }
        Ok(())
    }

    /// Whether a request knows the key.
    pub(super) fn knows_key(&self, request: &Request) -> Result<(), Response> {
        if same(request.header(KEY_HEADER).unwrap_or_default(), &self.key) {
            return Ok(());
        }
        Err(Response::refusal(403, "this address is of another run: open the one that hoofgeo place has printed"))
    }
}
