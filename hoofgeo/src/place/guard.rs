//! Who may ask: the browser that was given a key, on this machine, from the page itself.
//!
//! The key that is printed opens the page as often as one likes while the program runs; a ticket, which the browser's opener is
//! given, opens it once. Either is exchanged for a session by the page, which then forgets it.

use super::http::{Request, Response};
use crate::error::{Error, ErrorKind, Result};
use rand::TryRng;
use rand::rngs::SysRng;
use std::collections::VecDeque;
use std::fmt::Write as _;
use std::sync::{Mutex, PoisonError};

/// The header in which the page sends the key. No form and no foreign page can send it without asking first, and is refused then.
const KEY_HEADER: &str = "X-Hoofgeo-Key";

/// What a request has to show.
#[derive(Debug)]
pub(super) struct Guard {
    key: String,
    hosts: [String; 2],
    /// Each good for one session.
    tickets: Mutex<Vec<String>>,
    sessions: Mutex<VecDeque<String>>,
}

/// As many sessions, and tickets, are known at a time; the oldest are forgotten.
const MOST_SESSIONS: usize = 64;

/// Headers on which it depends who may ask. Of one sent twice it is a matter of opinion which counts.
const ONCE: [&str; 7] =
    [KEY_HEADER, "Origin", "Sec-Fetch-Site", "Sec-Fetch-Mode", "Sec-Fetch-Dest", "Content-Length", "Connection"];

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
        Ok(Self {
            key: new_key()?,
            hosts: [format!("127.0.0.1:{port}"), format!("localhost:{port}")],
            tickets: Mutex::default(),
            sessions: Mutex::default(),
        })
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
        if ONCE.iter().any(|name| request.count(name) > 1) {
            return Err(Response::refusal(400, "a header was sent twice"));
        }
        let foreign = match (request.count("Origin"), request.header("Origin")) {
            (0, _) => false,
            (_, Some(origin)) => !origin.strip_prefix("http://").is_some_and(own),
            _ => true,
        };
        let own_site = request.header("Sec-Fetch-Site").is_none_or(|s| s == "same-origin" || s == "none");
        // The page itself may be gone to from elsewhere: from the file that the browser's opener is given, for one.
        let arrives = request.method == "GET"
            && request.path == "/"
            && request.header("Sec-Fetch-Mode") == Some("navigate")
            && request.header("Sec-Fetch-Dest") == Some("document");
        if foreign || !(own_site || arrives) {
            return Err(Response::refusal(403, "this page is not for other pages"));
        }
        Ok(())
    }

    /// Whether a request knows the key, or has a session.
    pub(super) fn knows_key(&self, request: &Request) -> Result<(), Response> {
        let given = request.header(KEY_HEADER).unwrap_or_default();
        let sessions = self.sessions.lock().unwrap_or_else(PoisonError::into_inner);
        if same(given, &self.key) || sessions.iter().any(|s| same(given, s)) {
            return Ok(());
        }
        Err(unknown())
    }

    /// A ticket: a key that opens the page once.
    pub(super) fn ticket(&self) -> Result<String> {
        let ticket = new_key()?;
        let mut tickets = self.tickets.lock().unwrap_or_else(PoisonError::into_inner);
        if tickets.len() >= MOST_SESSIONS {
            tickets.remove(0);
        }
        tickets.push(ticket.clone());
        Ok(ticket)
    }

    /// Whether this ticket has not been used yet.
    pub(super) fn is_open(&self, ticket: &str) -> bool {
        self.tickets.lock().unwrap_or_else(PoisonError::into_inner).iter().any(|t| t == ticket)
    }

    /// A session in exchange for the key or a ticket, which is used up.
    pub(super) fn session(&self, request: &Request) -> Result<String, Response> {
        let given = request.header(KEY_HEADER).unwrap_or_default();
        let mut tickets = self.tickets.lock().unwrap_or_else(PoisonError::into_inner);
        let before = tickets.len();
        tickets.retain(|t| !same(given, t));
        if tickets.len() == before && !same(given, &self.key) {
            return Err(unknown());
        }
        let session = new_key().map_err(|e| Response::refusal(500, e.what()))?;
        let mut sessions = self.sessions.lock().unwrap_or_else(PoisonError::into_inner);
        if sessions.len() >= MOST_SESSIONS {
            sessions.pop_front();
        }
        sessions.push_back(session.clone());
        Ok(session)
    }
}

fn unknown() -> Response {
    Response::refusal(
        403,
        "this address is of another run or was opened already: open the one that hoofgeo place has printed",
    )
}
