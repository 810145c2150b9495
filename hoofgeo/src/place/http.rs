//! As much of HTTP/1.1 (RFC 9112) as a page on this machine needs, and no more: small requests with a stated length, over
//! connections that stay open.
//!
//! Everything a peer can make large is capped before memory is taken for it: a request's head, its body, the time it takes, the
//! number of connections. (`tiny_http` 0.12 reserves memory for whatever length a peer claims, when it drops the request.)

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

/// Longest request line with headers, bytes.
const MOST_HEAD: u64 = 16 << 10;

/// Longest body, bytes. The largest sidecar of all landmarks and lines is a tenth of it.
pub(super) const MOST_BODY: usize = 1 << 20;

/// How long a connection may stay open between two requests.
const IDLE: Duration = Duration::from_secs(30);

/// How long a request may take from its first byte to its last, and an answer: they come from this machine.
const PATIENCE: Duration = Duration::from_secs(10);

/// A request, read whole.
#[derive(Debug)]
pub(super) struct Request {
    pub(super) method: String,
    /// The path with its query, as sent.
    pub(super) path: String,
    headers: Vec<(String, String)>,
    pub(super) body: Vec<u8>,
}

impl Request {
    /// A header's value. Of a repeated header there is none: which one counts is a matter of opinion.
    pub(super) fn header(&self, name: &str) -> Option<&str> {
        let mut found = self.headers.iter().filter(|(n, _)| n.eq_ignore_ascii_case(name));
        match (found.next(), found.next()) {
            (Some((_, value)), None) => Some(value),
            _ => None,
        }
    }

    /// How often a header was sent.
    pub(super) fn count(&self, name: &str) -> usize {
        self.headers.iter().filter(|(n, _)| n.eq_ignore_ascii_case(name)).count()
    }
}

/// An answer.
#[derive(Debug)]
pub(super) struct Response {
    pub(super) status: u16,
    pub(super) kind: &'static str,
    pub(super) body: Vec<u8>,
    policy: &'static str,
}

impl Response {
    pub(super) fn new(status: u16, kind: &'static str, body: impl Into<Vec<u8>>) -> Self {
        Self { status, kind, body: body.into(), policy: PAGE_POLICY }
    }

    /// A report: a page that carries everything with it.
    pub(super) fn report(html: Vec<u8>) -> Self {
        Self { policy: REPORT_POLICY, ..Self::new(200, "text/html; charset=utf-8", html) }
    }

    pub(super) fn json(status: u16, value: &serde_json::Value) -> Self {
        Self::new(status, "application/json", value.to_string())
    }

    /// A refusal in words.
    pub(super) fn refusal(status: u16, what: &str) -> Self {
        Self::json(status, &serde_json::json!({ "error": { "what": what } }))
    }
}

/// The page may load what comes from this server and nothing else, run no script but its own files, be framed by nobody.
const PAGE_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; \
     img-src 'self' blob:; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; \
     require-trusted-types-for 'script'; trusted-types 'none'\r\n\
     Cross-Origin-Opener-Policy: same-origin";

/// A report shows what it carries, loads nothing and runs nothing, in an origin of its own. (An opener policy and a sandbox exclude
/// each other; its link gives it no opener.)
const REPORT_POLICY: &str = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; base-uri 'none'; \
     form-action 'none'; frame-ancestors 'none'; sandbox";

/// Sent with every answer. Nothing is kept by the browser.
const HEADERS: &str = "X-Content-Type-Options: nosniff\r\n\
     X-Frame-Options: DENY\r\n\
     Referrer-Policy: no-referrer\r\n\
     Permissions-Policy: camera=(), microphone=(), geolocation=()\r\n\
     Cross-Origin-Resource-Policy: same-origin\r\n\
     Cache-Control: no-store\r\n";

fn reason(status: u16) -> &'static str {
    match status {
        200 => "OK",
        400 => "Bad Request",
        403 => "Forbidden",
        404 => "Not Found",
        405 => "Method Not Allowed",
        409 => "Conflict",
        411 => "Length Required",
        413 => "Content Too Large",
        421 => "Misdirected Request",
        422 => "Unprocessable Content",
        431 => "Request Header Fields Too Large",
        503 => "Service Unavailable",
        _ => "Internal Server Error",
    }
}

/// Reads from a peer until a moment, however it deals its bytes out.
struct Timely<'a> {
    stream: &'a TcpStream,
    until: Instant,
}

impl Read for Timely<'_> {
    fn read(&mut self, bytes: &mut [u8]) -> std::io::Result<usize> {
        let left = self.until.saturating_duration_since(Instant::now());
        if left.is_zero() {
            return Err(std::io::ErrorKind::TimedOut.into());
        }
        self.stream.set_read_timeout(Some(left))?;
        let mut stream = self.stream;
        stream.read(bytes)
    }
}

/// Answers the requests of one connection until it ends or `answer` is not to be asked any more.
pub(super) fn serve(stream: &TcpStream, answer: &dyn Fn(&Request) -> Response, open: &dyn Fn() -> bool) {
    if stream.set_nodelay(true).is_err() {
        return;
    }
    let mut reader = BufReader::new(Timely { stream, until: Instant::now() });
    while open() {
        reader.get_mut().until = Instant::now() + IDLE;
        if !reader.fill_buf().is_ok_and(|bytes| !bytes.is_empty()) {
            return;
        }
        reader.get_mut().until = Instant::now() + PATIENCE;
        let (response, more) = match read(&mut reader) {
            Ok(Some(request)) => {
                let more = !request.header("Connection").is_some_and(|c| c.eq_ignore_ascii_case("close"));
                (answer(&request), more)
            }
            Ok(None) => return,
            // What follows a request that was not understood is no request.
            Err(refused) => (refused, false),
        };
        if write(stream, &response, more).is_err() || !more {
            // The rest of a refused body is taken in for a moment: closing on it would reset the connection under the answer.
            let _ = stream.shutdown(std::net::Shutdown::Write);
            reader.get_mut().until = Instant::now() + Duration::from_millis(200);
            let _ = std::io::copy(&mut reader.take(8 << 20), &mut std::io::sink());
            return;
        }
    }
}

pub(super) fn write(stream: &TcpStream, response: &Response, more: bool) -> std::io::Result<()> {
    let Response { status, kind, body, policy } = response;
    let mut out = Vec::with_capacity(body.len() + 1024);
    let connection = if more { "keep-alive" } else { "close" };
    write!(out, "HTTP/1.1 {status} {}\r\nConnection: {connection}\r\n{HEADERS}", reason(*status))?;
    write!(out, "Content-Security-Policy: {policy}\r\n")?;
    write!(out, "Content-Type: {kind}\r\nContent-Length: {}\r\n\r\n", body.len())?;
    out.extend_from_slice(body);
    write_until(stream, &out, Instant::now() + PATIENCE)
}

/// Writes everything, or fails at that moment.
fn write_until(mut stream: &TcpStream, mut bytes: &[u8], until: Instant) -> std::io::Result<()> {
    while !bytes.is_empty() {
        let left = until.saturating_duration_since(Instant::now());
        if left.is_zero() {
            return Err(std::io::ErrorKind::TimedOut.into());
        }
        stream.set_write_timeout(Some(left))?;
        match stream.write(bytes) {
            Ok(0) => return Err(std::io::ErrorKind::WriteZero.into()),
            Ok(n) => bytes = &bytes[n..],
            Err(e) if e.kind() == std::io::ErrorKind::Interrupted => {}
            Err(e) => return Err(e),
        }
    }
    Ok(())
}

/// Reads a request from bytes; 0 where there is one or the peer is gone, else the status of its refusal.
pub(super) fn read_from(bytes: &[u8]) -> u16 {
    read(&mut BufReader::new(bytes)).map_or_else(|refused| refused.status, |_| 0)
}

/// Reads a request; none where the peer is gone.
fn read<R: Read>(reader: &mut BufReader<R>) -> Result<Option<Request>, Response> {
    let bad = |what| Response::refusal(400, what);
    let mut head = reader.by_ref().take(MOST_HEAD);
    let mut lines = Vec::new();
    loop {
        let mut line = Vec::new();
        match head.read_until(b'\n', &mut line) {
            Ok(0) if head.limit() == 0 => return Err(Response::refusal(431, "the request's head is too long")),
            Ok(0) | Err(_) => return Ok(None),
            Ok(_) => {}
        }
        if line.pop() != Some(b'\n') {
            let too_long = head.limit() == 0;
            return if too_long { Err(Response::refusal(431, "the request's head is too long")) } else { Ok(None) };
        }
        if line.last() == Some(&b'\r') {
            line.pop();
        }
        if line.is_empty() {
            break;
        }
        // Visible ASCII and spaces: nothing else occurs in what a browser sends here.
        if !line.iter().all(|b| (b' '..=b'~').contains(b) || *b == b'\t') {
            return Err(bad("the request's head is not plain text"));
        }
        lines.push(String::from_utf8(line).map_err(|_| bad("the request's head is not plain text"))?);
    }
    let mut lines = lines.into_iter();
    let Some(first) = lines.next() else { return Err(bad("the request is empty")) };
    let parts: Vec<&str> = first.split(' ').collect();
    let [method, path, "HTTP/1.1"] = parts[..] else { return Err(bad("this is no HTTP/1.1 request")) };
    let headers: Vec<(String, String)> = lines
        .map(|line| match line.split_once(':') {
            Some((name, value)) if !name.is_empty() && !name.contains([' ', '\t']) => {
                Ok((name.to_owned(), value.trim().to_owned()))
            }
            _ => Err(bad("a header is malformed")),
        })
        .collect::<Result<_, _>>()?;
    let mut request = Request { method: method.to_owned(), path: path.to_owned(), headers, body: Vec::new() };
    if request.count("Transfer-Encoding") > 0 {
        return Err(Response::refusal(411, "state the body's length"));
    }
    let length = match request.count("Content-Length") {
        0 => 0,
        // Digits alone (RFC 9110, 8.6): a reader of numbers would take a sign too.
        1 => match request
            .header("Content-Length")
            .filter(|v| v.bytes().all(|b| b.is_ascii_digit()))
            .map(str::parse::<u64>)
        {
            Some(Ok(length)) => length,
            _ => return Err(bad("the body's length is no number")),
        },
        _ => return Err(bad("the body has two lengths")),
    };
    if length > MOST_BODY as u64 {
        return Err(Response::refusal(413, "the body is too large"));
    }
    let mut body = vec![0; length as usize];
    if reader.read_exact(&mut body).is_err() {
        return Ok(None);
    }
    request.body = body;
    Ok(Some(request))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    fn read_text(text: &str) -> Result<Option<Request>, u16> {
        read(&mut BufReader::new(text.as_bytes())).map_err(|r| r.status)
    }

    #[test]
    fn a_request_is_read_with_its_body() {
        let r = read_text("POST /a?b HTTP/1.1\r\nHost: x\r\nContent-Length: 3\r\n\r\nabcd").unwrap().unwrap();
        assert_eq!((r.method.as_str(), r.path.as_str(), r.body.as_slice()), ("POST", "/a?b", b"abc".as_slice()));
        assert_eq!(r.header("host"), Some("x"));
    }

    #[test]
    fn what_is_too_large_or_ambiguous_is_refused() {
        let long = "x".repeat(MOST_HEAD as usize);
        for (text, status) in [
            (format!("GET /{long} HTTP/1.1\r\n\r\n"), 431),
            (format!("GET / HTTP/1.1\r\nA: {long}\r\n\r\n"), 431),
            (format!("POST / HTTP/1.1\r\nContent-Length: {}\r\n\r\n", MOST_BODY + 1), 413),
            ("POST / HTTP/1.1\r\nContent-Length: 999999999999999999\r\n\r\n".to_owned(), 413),
            ("POST / HTTP/1.1\r\nContent-Length: -1\r\n\r\n".to_owned(), 400),
            ("POST / HTTP/1.1\r\nContent-Length: +2\r\n\r\nab".to_owned(), 400),
            ("POST / HTTP/1.1\r\nContent-Length:\r\n\r\n".to_owned(), 400),
            ("POST / HTTP/1.1\r\nContent-Length: 1\r\nContent-Length: 2\r\n\r\nab".to_owned(), 400),
            ("POST / HTTP/1.1\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n".to_owned(), 411),
            ("GET / HTTP/1.0\r\n\r\n".to_owned(), 400),
            ("GET /\u{1}".to_owned() + " HTTP/1.1\r\n\r\n", 400),
            ("GET / HTTP/1.1\r\nA : b\r\n\r\n".to_owned(), 400),
        ] {
            assert_eq!(read_text(&text).unwrap_err(), status, "{}", &text[..40.min(text.len())]);
        }
        assert!(read_text("GET / HTTP/1.1\r\nHost").unwrap().is_none());
    }
}
