//! The connections that are open, so that those that only wait never keep out one that asks.

use std::net::{Shutdown, TcpStream};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Instant;

/// Connections at a time. A browser opens six a page.
const MOST: usize = 64;

/// Those that are open.
#[derive(Debug, Default)]
pub(super) struct Connections {
    open: Mutex<Vec<Known>>,
}

#[derive(Debug)]
struct Known {
    stream: Arc<TcpStream>,
    /// Since when the peer has been waited for; none while a request of its is being answered.
    waits: Option<Instant>,
}

impl Connections {
    /// Takes a connection in. Where there are too many, the one whose peer has been waited for longest is ended for it; none where
    /// all are being answered.
    pub(super) fn enter(self: &Arc<Self>, stream: TcpStream) -> Result<Connection, TcpStream> {
        let mut open = self.open.lock().unwrap_or_else(PoisonError::into_inner);
        if open.len() >= MOST {
            let waiting = open.iter().enumerate().filter_map(|(i, known)| Some((known.waits?, i)));
            let Some((_, longest)) = waiting.min() else { return Err(stream) };
            let _ = open.swap_remove(longest).stream.shutdown(Shutdown::Both);
        }
        let stream = Arc::new(stream);
        open.push(Known { stream: Arc::clone(&stream), waits: Some(Instant::now()) });
        Ok(Connection { stream, all: Arc::clone(self) })
    }
}

/// One of them, until it is dropped.
#[derive(Debug)]
pub(super) struct Connection {
    stream: Arc<TcpStream>,
    all: Arc<Connections>,
}

impl Connection {
    pub(super) fn stream(&self) -> &TcpStream {
        &self.stream
    }

    /// Does something during which the connection is not ended for another one.
    pub(super) fn busy<T>(&self, work: impl FnOnce() -> T) -> T {
        self.set(None);
        let done = work();
        self.set(Some(Instant::now()));
        done
    }

    fn set(&self, waits: Option<Instant>) {
        let mut open = self.all.open.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = open.iter_mut().find(|k| Arc::ptr_eq(&k.stream, &self.stream)) {
            known.waits = waits;
        }
    }
}

impl Drop for Connection {
    fn drop(&mut self) {
        let mut open = self.all.open.lock().unwrap_or_else(PoisonError::into_inner);
        open.retain(|k| !Arc::ptr_eq(&k.stream, &self.stream));
    }
}
