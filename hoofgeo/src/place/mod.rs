//! A page on this machine on which the landmarks of a visit are placed.
//!
//! [`Server`] serves it to the browser of this machine and to nobody else: it listens on the loopback address alone, answers only
//! requests that name that address and come from its own page, and only with the key that its address carries. The page shows and
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
mod catalogue;
mod desk;
mod files;
mod guard;
mod http;
mod live;
mod reports;
mod ruler;
mod save;
mod tiles;

pub use desk::PlaceOptions;

use crate::error::{Error, ErrorKind, Result};
use crate::photo::Sha256Hex;
use crate::visit::Stop;
use api::Service;
use desk::Desk;
use guard::Guard;
use http::Response;
use std::net::{Ipv4Addr, SocketAddr, TcpListener, TcpStream};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

/// Connections at a time. A browser opens six a page.
const MOST_CONNECTIONS: usize = 64;

/// How often it is looked whether to stop.
const TICK: Duration = Duration::from_millis(50);

/// The page's server.
#[derive(Debug)]
pub struct Server {
    listener: TcpListener,
    address: SocketAddr,
    service: Arc<Service>,
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
        Ok(Self { listener, address, service: Arc::new(Service::new(desk, guard, stop)) })
    }

    /// What to open in a browser. The key stands behind the `#`, which no browser sends anywhere.
    pub fn address(&self) -> String {
        format!("http://{}/#{}", self.address, self.service.guard.key())
    }

    /// How many photos are on the page.
    pub fn photos(&self) -> usize {
        self.service.desk.photos.len()
    }

    /// Serves until the stop flag is raised. What is being saved then is saved to its end.
    pub fn run(&self) {
        let open = Arc::new(AtomicUsize::new(0));
        let stop = &self.service.stop;
        std::thread::scope(|scope| {
            scope.spawn(|| {
                while !stop.is_raised() {
                    std::thread::sleep(TICK);
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
                if open.fetch_add(1, Ordering::SeqCst) >= MOST_CONNECTIONS {
                    let _ = http::write(&stream, &Response::refusal(503, "too many connections"), false);
                    open.fetch_sub(1, Ordering::SeqCst);
                    continue;
                }
                let (service, open) = (Arc::clone(&self.service), Arc::clone(&open));
                // Not joined: an idle connection would hold up the end.
                std::thread::spawn(move || {
                    http::serve(&stream, &|request| service.answer(request), &|| !service.stop.is_raised());
                    open.fetch_sub(1, Ordering::SeqCst);
                });
            }
        });
        self.service.desk.rest();
    }
}

/// A port among those that nothing is registered for (RFC 6335), by the folder's path.
fn own_port(folder: &Path) -> u16 {
    let path = folder.canonicalize().unwrap_or_else(|_| folder.to_path_buf());
    let hash = Sha256Hex::of(path.to_string_lossy().as_bytes()).to_string();
    49152 + u16::from_str_radix(&hash[..4], 16).unwrap_or(0) % 16384
}
