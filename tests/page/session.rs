//! Who gets in, and how: the key, the ticket of the browser's opener, sessions; and that nobody is kept out.

use super::program::{Folder, Program};
use serde_json::Value;
use std::io::{BufRead, BufReader, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};

const PHOTO: &str = "LF-lateral-before.jpg";

fn one() -> Folder {
    Folder::new(&[(PHOTO, PHOTO)])
}

fn session(program: &Program, key: &str) -> (u16, String) {
    let (status, _, body) = program.ask("POST", "/api/session", &[("X-Hoofgeo-Key", key)], "");
    let body: Value = serde_json::from_slice(&body).unwrap();
    (status, body["session"].as_str().unwrap_or_default().to_owned())
}

#[test]
fn the_key_is_exchanged_for_a_session() {
    let folder = one();
    let program = Program::start(folder.root(), &[]);
    let (status, first) = session(&program, &program.key);
    assert_eq!(status, 200);
    assert!(first.len() == 64 && first != program.key);
    assert_eq!(program.ask("GET", "/api/visit", &[("X-Hoofgeo-Key", &first)], "").0, 200);
    // A session opens no other one, and what is neither is nothing.
    assert_eq!(session(&program, &first).0, 403);
    assert_eq!(session(&program, &"0".repeat(64)).0, 403);
    assert_ne!(session(&program, &program.key).1, first);
}

/// A desktop's opener that notes what it is given.
fn opener(folder: &Path) -> std::path::PathBuf {
    use std::os::unix::fs::PermissionsExt as _;
    let program = folder.join("xdg-open");
    let noted = folder.join("noted");
    std::fs::write(&program, format!("#!/bin/sh\necho \"$@\" > {0}.part\nmv {0}.part {0}\n", noted.display())).unwrap();
    std::fs::set_permissions(&program, std::fs::Permissions::from_mode(0o755)).unwrap();
    noted
}

struct Ended(Child);

impl Drop for Ended {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

#[cfg(target_os = "linux")]
#[test]
fn the_browsers_opener_is_given_no_key() {
    use std::os::unix::fs::PermissionsExt as _;
    let (folder, home) = (one(), tempfile::tempdir().unwrap());
    let noted = opener(home.path());
    let path = format!("{}:{}", home.path().display(), std::env::var("PATH").unwrap());
    let mut child = Command::new(env!("CARGO_BIN_EXE_hoofgeo"))
        .arg("place")
        .arg(folder.root())
        .env("PATH", path)
        .env("HOME", home.path())
        .env("DISPLAY", ":9")
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines().map_while(Result::ok);
    let _child = Ended(child);
    let printed = lines.find(|l| l.trim().starts_with("http://")).unwrap().trim().to_owned();
    let (host, key) = printed.strip_prefix("http://").and_then(|a| a.split_once("/#")).unwrap();
    while !noted.exists() {
        std::thread::sleep(std::time::Duration::from_millis(5));
    }
    let given = std::fs::read_to_string(noted).unwrap();
    assert!(!given.contains(key) && !given.contains('#'), "{given}");
    let page = Path::new(given.trim());
    let mode = |path: &Path| std::fs::metadata(path).unwrap().permissions().mode() & 0o777;
    assert_eq!((mode(page), mode(page.parent().unwrap())), (0o600, 0o700));
    let text = std::fs::read_to_string(page).unwrap();
    assert!(!text.contains(key), "{text}");
    let ticket = text.split_once(&format!("http://{host}/#")).and_then(|(_, rest)| rest.split('"').next()).unwrap();
    let ask = |path: &str, key: &str, method: &str| {
        let mut stream = TcpStream::connect(host).unwrap();
        let head =
            format!("{method} {path} HTTP/1.1\r\nHost: {host}\r\nX-Hoofgeo-Key: {key}\r\nConnection: close\r\n\r\n");
        stream.write_all(head.as_bytes()).unwrap();
        let mut status = String::new();
        BufReader::new(stream).read_line(&mut status).unwrap();
        status.split(' ').nth(1).unwrap().parse::<u16>().unwrap()
    };
    // The ticket is a key to nothing but a session, once; then the file is gone.
    assert_eq!(ask("/api/visit", ticket, "GET"), 403);
    assert_eq!(ask("/api/session", ticket, "POST"), 200);
    assert_eq!(ask("/api/session", ticket, "POST"), 403);
    while page.exists() || page.parent().unwrap().exists() {
        std::thread::sleep(std::time::Duration::from_millis(5));
    }
}

/// The file that the opener is given is another site to the browser: the page may be gone to from there, and nothing else.
#[test]
fn the_page_may_be_arrived_at_from_elsewhere_and_nothing_else_may() {
    let folder = one();
    let program = Program::start(folder.root(), &[]);
    let from = |path: &str, mode: &str, dest: &str| {
        let headers = [("Sec-Fetch-Site", "cross-site"), ("Sec-Fetch-Mode", mode), ("Sec-Fetch-Dest", dest)];
        program.ask("GET", path, &headers, "").0
    };
    assert_eq!(from("/", "navigate", "document"), 200);
    assert_eq!(from("/", "navigate", "iframe"), 403);
    assert_eq!(from("/", "no-cors", "empty"), 403);
    assert_eq!(from("/main.js", "navigate", "document"), 403);
    assert_eq!(from("/api/visit", "navigate", "document"), 403);
}

#[test]
fn what_decides_who_may_ask_is_said_once() {
    let folder = one();
    let program = Program::start(folder.root(), &[]);
    for header in ["Sec-Fetch-Site: same-origin", "Sec-Fetch-Site: cross-site", "Sec-Fetch-Mode: cors"] {
        let other = header.split_once(':').unwrap().0;
        let twice = format!(
            "GET /api/visit HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nX-Hoofgeo-Key: {}\r\n{header}\r\n{other}: same-origin\r\nConnection: close\r\n\r\n",
            program.port, program.key
        );
        assert_eq!(program.raw(twice.as_bytes()).0, 400, "{header}");
    }
    for length in ["+2", "2 ", "0x2", "2,2", ""] {
        let text = format!(
            "POST /api/photo/0 HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nX-Hoofgeo-Key: {}\r\nConnection: close\r\nContent-Length:{length}\r\n\r\n{{}}",
            program.port, program.key
        );
        let status = program.raw(text.as_bytes()).0;
        // A blank behind a number is none of its (RFC 9110, 5.5).
        assert_eq!(status, if length == "2 " { 422 } else { 400 }, "{length:?}");
    }
}

#[test]
fn connections_that_only_drip_keep_nobody_out() {
    let folder = one();
    let program = Program::start(folder.root(), &[]);
    let mut dripping: Vec<TcpStream> =
        (0..80).map(|_| TcpStream::connect(("127.0.0.1", program.port)).unwrap()).collect();
    for stream in &mut dripping {
        let _ = stream.write_all(b"GET / HTTP/1.1\r\nA: ");
    }
    for _ in 0..20 {
        for stream in &mut dripping {
            let _ = stream.write_all(b"b");
        }
        assert_eq!(program.ask("GET", "/api/visit", &[], "").0, 200);
    }
}

/// A sidecar may name any file; what stands in one outside the visit is not told.
#[test]
fn a_lens_outside_the_visit_is_not_quoted() {
    let folder = one();
    let outside = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(outside.path(), "root:x:0:0:secret\n").unwrap();
    std::fs::write(folder.path("own.lens.json"), "root:x:0:0:own\n").unwrap();
    let with_lens = |lens: &str| {
        let mut draft = super::program::target(PHOTO);
        draft.lens = Some(lens.to_owned());
        std::fs::write(folder.path(&format!("{PHOTO}.hoof.json")), draft.to_json()).unwrap();
        let program = Program::start(folder.root(), &[]);
        program.get("/api/photo/0").to_string()
    };
    let told = with_lens(outside.path().to_str().unwrap());
    assert!(!told.contains("root:x") && !told.contains("secret"), "{told}");
    assert!(told.contains("outside the visit"), "{told}");
    // In the visit's own file one is told what is wrong.
    assert!(with_lens("own.lens.json").contains("root"), "what stands in the visit is quoted");
}
