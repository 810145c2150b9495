//! A page on this machine on which the landmarks of a visit are placed.
//!
//! [`Server`] serves it to the browser of this machine and to nobody else: it listens on the loopback address alone, answers only
//! requests that name that address and come from its own page, and only with a session, which the page is given for the key that
//! its address carries. The page shows and
//! sends; reading, checking, measuring and writing are the library's own. Every change is saved at once; a sidecar that another
//! program has changed meanwhile is never written over.
//!
//! # Example: serve a folder until told to stop
//! ```no_run
//! use hoofgeo::{place::{PlaceOptions, Server}, visit::Stop};
//! use std::{path::Path, sync::Arc};
//! let stop = Arc::new(Stop::new());
//! let server = Server::bind(Path::new("visit"), PlaceOptions::default(), None, Arc::clone(&stop))?;
//! println!("open {}", server.address());
//! server.run();
//! # Ok::<(), hoofgeo::Error>(())
//! ```

mod api;
mod assets;
mod beside;
mod catalogue;
mod connections;
mod desk;
mod files;
mod guard;
mod guide;
mod http;
mod live;
mod opening;
mod reports;
mod ruler;
mod save;
mod sheet;
mod suggest;
mod tiles;

pub use desk::PlaceOptions;
pub use guide::landmark_guide;

use crate::error::{Error, ErrorKind, Result};
use crate::photo::Sha256Hex;
use crate::visit::Stop;
use api::Service;
use connections::Connections;
use desk::Desk;
use guard::Guard;
use http::Response;
use opening::Opening;
use std::net::{Ipv4Addr, SocketAddr, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

/// How often it is looked whether to stop.
const TICK: Duration = Duration::from_millis(50);

/// The page's server.
#[derive(Debug)]
pub struct Server {
    listener: TcpListener,
    address: SocketAddr,
    service: Arc<Service>,
    opening: Mutex<Option<Opening>>,
}

impl Server {
    /// Makes ready to serve a folder. Without a `port`, one that belongs to the folder is taken, so that what a browser has kept for
    /// the page is found again; a free one where that is in use.
    ///
    /// # Errors
    /// `Usage` where the folder does not exist or holds no photo, `Io` where it or the port cannot be used.
    pub fn bind(folder: &Path, options: PlaceOptions, port: Option<u16>, stop: Arc<Stop>) -> Result<Self> {
        let desk = Desk::open(folder, options)?;
        let listen = |port| TcpListener::bind((Ipv4Addr::LOCALHOST, port));
        let listener = match port {
            Some(port) => listen(port),
            None => listen(own_port(desk.working_folder())).or_else(|_| listen(0)),
        };
        let failed = |e: std::io::Error| {
            Error::new(ErrorKind::Io, format!("cannot listen on 127.0.0.1, port {}: {e}", port.unwrap_or(0)))
                .help("another program may use this port: name another one, or none")
        };
        let listener = listener.map_err(failed)?;
        let address = listener.local_addr().map_err(failed)?;
        let guard = Guard::new(address.port())?;
        Ok(Self { listener, address, service: Arc::new(Service::new(desk, guard, stop)), opening: Mutex::default() })
    }

    /// What to open in a browser, for the eyes of who has started it. The key stands behind the `#`, which no browser sends
    /// anywhere; the page exchanges it for a session and takes it out of the address bar.
    pub fn address(&self) -> String {
        format!("http://{}/#{}", self.address, self.service.guard.key())
    }

    /// A page for the browser's opener, whose arguments everyone on the machine can read: a file for its owner alone that leads to
    /// the page, once. It is removed when it has been used, after a minute, or when the server ends.
    ///
    /// # Errors
    /// `Io` where it cannot be written, or the operating system gives no random numbers.
    pub fn opening_page(&self) -> Result<PathBuf> {
        let ticket = self.service.guard.ticket()?;
        let opening = Opening::write(&format!("http://{}/#{ticket}", self.address), ticket)?;
        let path = opening.path().to_path_buf();
        *self.opening.lock().unwrap_or_else(PoisonError::into_inner) = Some(opening);
        Ok(path)
    }

    /// Removes the opening page once it has served.
    fn close_opening(&self) {
        let mut opening = self.opening.lock().unwrap_or_else(PoisonError::into_inner);
        if opening.as_ref().is_some_and(|o| o.is_over() || !self.service.guard.is_open(o.ticket())) {
            *opening = None;
        }
    }

    /// How many photos are on the page.
    pub fn photos(&self) -> usize {
        self.service.desk.photos.len()
    }

    /// Serves until the stop flag is raised. What is being saved then is saved to its end.
    pub fn run(&self) {
        let connections = Arc::new(Connections::default());
        let stop = &self.service.stop;
        std::thread::scope(|scope| {
            scope.spawn(|| {
                while !stop.is_raised() {
                    std::thread::sleep(TICK);
                    self.close_opening();
                }
                // Wakes the listener up.
                let _ = TcpStream::connect_timeout(&self.address, Duration::from_secs(1));
            });
            for stream in self.listener.incoming() {
                if stop.is_raised() {
                    break;
                }
                let Ok(stream) = stream else {
                    std::thread::sleep(TICK);
                    continue;
                };
                let connection = match connections.enter(stream) {
                    Ok(connection) => connection,
                    Err(stream) => {
                        // Fits into what the system takes without the peer: nothing is waited for here.
                        let _ = http::write(&stream, &Response::refusal(503, "too many requests at a time"), false);
                        continue;
                    }
                };
                let service = Arc::clone(&self.service);
                // Not joined: an idle connection would hold up the end. Where no thread can be had the connection is dropped.
                let _ = std::thread::Builder::new().spawn(move || {
                    let answer = |request: &http::Request| connection.busy(|| service.answer(request));
                    http::serve(connection.stream(), &answer, &|| !service.stop.is_raised());
                });
            }
        });
        *self.opening.lock().unwrap_or_else(PoisonError::into_inner) = None;
        self.service.desk.rest();
    }
}

/// Reads a request; 0 where it can be answered, else the status of its refusal. For the fuzz harness.
pub(crate) fn read_request(bytes: &[u8]) -> u16 {
    http::read_from(bytes)
}

/// A port among those that nothing is registered for (RFC 6335), by the folder's path.
fn own_port(folder: &Path) -> u16 {
    let path = folder.canonicalize().unwrap_or_else(|_| folder.to_path_buf());
    let hash = Sha256Hex::of(path.to_string_lossy().as_bytes()).to_string();
    49152 + u16::from_str_radix(&hash[..4], 16).unwrap_or(0) % 16384
}
