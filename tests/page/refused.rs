//! What the server refuses. No browser is needed for these.

use super::program::{Folder, Program};
use serde_json::{Value, json};

const PHOTO: &str = "LF-lateral-before.jpg";

fn one() -> Folder {
    Folder::new(&[(PHOTO, PHOTO)])
}

#[test]
fn only_the_page_itself_with_its_key_is_answered() {
    let folder = one();
    let program = Program::start(folder.root(), &[]);
    let get = |headers: &[(&str, &str)]| program.ask("GET", "/api/visit", headers, "").0;
    assert_eq!(get(&[]), 200);
    let localhost = format!("localhost:{}", program.port);
    assert_eq!(get(&[("Host", &localhost)]), 200);
    // A name that somebody made to point to this machine.
    for host in ["example.com", "127.0.0.1", "127.0.0.1:1", "[::1]", &format!("example.com:{}", program.port), ""] {
        assert_eq!(get(&[("Host", host)]), 421, "{host}");
    }
    assert_eq!(program.ask("GET", "/", &[("Host", "example.com")], "").0, 421);
    let twice =
        format!("GET /api/visit HTTP/1.1\r\nHost: {localhost}\r\nHost: {localhost}\r\nConnection: close\r\n\r\n");
    assert_eq!(program.raw(twice.as_bytes()).0, 421);
    // Another page in the same browser.
    assert_eq!(get(&[("Origin", &format!("http://127.0.0.1:{}", program.port))]), 200);
    for origin in ["null", "http://example.com", "https://127.0.0.1:1", "http://127.0.0.1:1"] {
        assert_eq!(get(&[("Origin", origin)]), 403, "{origin}");
    }
    assert_eq!(get(&[("Sec-Fetch-Site", "cross-site")]), 403);
    assert_eq!(get(&[("Sec-Fetch-Site", "same-origin")]), 200);
    // Somebody who does not know the key.
    let short = program.key[..63].to_owned();
    let long = program.key.clone() + "0";
    let mut wrong = program.key.clone();
    let last = wrong.pop().unwrap();
    wrong.push(if last == '0' { '1' } else { '0' });
    for key in ["", "0", &short, &long, &wrong, &program.key.to_uppercase().replace(|c: char| c.is_ascii_digit(), "f")]
    {
        assert_eq!(get(&[("X-Hoofgeo-Key", key)]), 403, "{key}");
    }
    let tile = "/api/photo/0/tile/0/0/0";
    assert_eq!(program.ask("GET", tile, &[("X-Hoofgeo-Key", "")], "").0, 403);
    assert_eq!(program.ask("GET", tile, &[], "").0, 200);
    assert_eq!(program.ask("PUT", "/api/visit", &[], "").0, 405);
    assert_eq!(program.ask("OPTIONS", "/api/visit", &[("Origin", "http://example.com")], "").0, 403);
    // Two runs have two keys, and the address is of the loopback interface.
    assert!(program.key.len() == 64 && program.key.bytes().all(|b| b.is_ascii_hexdigit()));
    let other = Program::start(folder.root(), &[]);
    assert_ne!(other.key, program.key);
    assert_ne!(other.port, program.port);
}

#[test]
fn every_answer_forbids_what_a_page_does_not_need() {
    let folder = one();
    let program = Program::start(folder.root(), &[]);
    for path in ["/", "/main.js", "/style.css", "/api/visit", "/nothing"] {
        let (_, head, body) = program.ask("GET", path, &[], "");
        let has = |text: &str| assert!(head.contains(text), "{path}: {text}");
        has("Content-Security-Policy: default-src 'none'; script-src 'self'");
        has("frame-ancestors 'none'");
        has("require-trusted-types-for 'script'");
        has("X-Content-Type-Options: nosniff");
        has("Referrer-Policy: no-referrer");
        has("Cross-Origin-Resource-Policy: same-origin");
        has("Cache-Control: no-store");
        assert!(!head.to_lowercase().contains("access-control-allow"));
        // Nothing of the page comes from elsewhere.
        let text = String::from_utf8_lossy(&body).replace("http://www.w3.org/2000/svg", "");
        assert!(!text.contains("http://") && !text.contains("https://"), "{path}");
    }
}

#[test]
fn no_path_leads_out_of_the_visit() {
    let folder = one();
    std::fs::write(folder.path("secret.txt"), "secret").unwrap();
    let program = Program::start(folder.root(), &[]);
    for path in [
        "/../secret.txt",
        "/secret.txt",
        "/%2e%2e/secret.txt",
        "//etc/passwd",
        "/api/photo/../0",
        "/api/photo/1",
        "/api/photo/-1",
        "/api/photo/0x0",
        "/api/photo/00000000000000000000",
        "/api/photo/99999999999999999999999",
        "/api/photo/0/tile/0/0/../../../version",
        "/api/photo/0/tile/9/0/0",
        "/api/photo/0/tile/0/9/0",
        "/api/photo/0/tile/0/0/4294967297",
        "/api/photo/0/picture",
        "/api/photo/LF-lateral-before.jpg",
        "/api/photo/0/%2e%2e",
        "/api/visit?x=/etc/passwd",
        "/api",
        "/index.html",
    ] {
        let (status, _, body) = program.ask("GET", path, &[], "");
        assert_eq!(status, 404, "{path}");
        assert!(!String::from_utf8_lossy(&body).contains("secret"), "{path}");
    }
}

#[test]
fn bodies_and_heads_without_end_are_refused() {
    let folder = one();
    let program = Program::start(folder.root(), &[]);
    let large = "x".repeat((1 << 20) + 1);
    assert_eq!(program.ask("POST", "/api/photo/0", &[], &large).0, 413);
    // A claim alone takes no memory.
    let claim = format!(
        "POST /api/photo/0 HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nX-Hoofgeo-Key: {}\r\nContent-Length: 999999999999\r\n\r\n",
        program.port, program.key
    );
    assert_eq!(program.raw(claim.as_bytes()).0, 413);
    assert_eq!(program.ask("GET", "/", &[("A", &"x".repeat(20_000))], "").0, 431);
    assert_eq!(program.ask("POST", "/api/photo/0", &[("Transfer-Encoding", "chunked")], "").0, 411);
    assert_eq!(program.raw(b"\x16\x03\x01 nonsense\r\n\r\n").0, 400);
    assert_eq!(program.get("/api/visit")["photos"][0]["state"], "new");
}

/// A draft as the page would send it.
fn draft(program: &Program) -> (Value, String) {
    let photo = program.get("/api/photo/0");
    (photo["draft"].clone(), photo["version"].as_str().unwrap().to_owned())
}

#[test]
fn a_draft_that_is_no_sidecar_is_refused_and_nothing_is_written() {
    let folder = one();
    let program = Program::start(folder.root(), &[]);
    let (good, base) = draft(&program);
    let send = |draft: &Value, base: &str| {
        program.ask("POST", "/api/photo/0", &[], &json!({ "draft": draft, "base": base }).to_string())
    };
    let changed = |path: &str, value: Value| {
        let mut draft = good.clone();
        *draft.pointer_mut(path).unwrap() = value;
        draft
    };
    let mut unknown = good.clone();
    unknown["future"] = json!(1);
    for bad in [
        unknown,
        changed("/photo/file", json!("other.jpg")),
        changed("/photo/file", json!("../../etc/passwd")),
        changed("/photo/width_px", json!(10)),
        changed("/landmarks/toe_ground", json!({ "at": [-5, 5] })),
        changed("/landmarks/toe_ground", json!({ "at": [5, 1e300] })),
        changed("/view", json!("dorsal")),
        changed("/format", json!("hoofgeo-sidecar/2")),
        json!("text"),
        json!([]),
        Value::Null,
    ] {
        let (status, _, body) = send(&bad, &base);
        assert_eq!(status, 422, "{bad}: {}", String::from_utf8_lossy(&body));
    }
    assert_eq!(program.ask("POST", "/api/photo/0", &[], "{").0, 422);
    assert_eq!(program.ask("POST", "/api/photo/0", &[], &"[".repeat(100_000)).0, 422);
    assert_eq!(send(&good, "of another time").0, 409);
    assert_eq!(folder.names(), [PHOTO]);
    assert_eq!(send(&good, &base).0, 200);
    assert_eq!(folder.names(), [PHOTO, "LF-lateral-before.jpg.hoof.json"]);
}

#[test]
fn a_sidecar_of_a_later_version_is_shown_as_such_and_left_alone() {
    let folder = one();
    let sidecar = folder.path("LF-lateral-before.jpg.hoof.json");
    let program = Program::start(folder.root(), &[]);
    let (good, _) = draft(&program);
    let later = good.to_string().replace("\"planes\"", "\"future\":1,\"planes\"");
    std::fs::write(&sidecar, &later).unwrap();
    let (status, _, body) = program.ask("GET", "/api/photo/0", &[], "");
    let body: Value = serde_json::from_slice(&body).unwrap();
    assert_eq!(status, 422);
    assert!(body["error"]["what"].as_str().unwrap().contains("future"), "{body}");
    assert_eq!(program.get("/api/visit")["photos"][0]["state"], "refused");
    let version = program.get("/api/photo/0/version")["version"].clone();
    let sent = json!({ "draft": good, "base": version }).to_string();
    assert_eq!(program.ask("POST", "/api/photo/0", &[], &sent).0, 422);
    assert_eq!(std::fs::read_to_string(&sidecar).unwrap(), later);
}

#[test]
fn it_ends_cleanly_when_asked_to_and_says_when_it_cannot_start() {
    let folder = one();
    let mut program = Program::start(folder.root(), &[]);
    assert_eq!(program.interrupt(), Some(0));
    let run = |args: &[&str]| {
        let out = std::process::Command::new(env!("CARGO_BIN_EXE_hoofgeo")).arg("place").args(args).output().unwrap();
        (out.status.code(), String::from_utf8_lossy(&out.stderr).into_owned())
    };
    let (code, text) = run(&["/nowhere/at/all"]);
    assert!(code == Some(2) && text.contains("does not exist"), "{text}");
    let empty = tempfile::tempdir().unwrap();
    let (code, text) = run(&[empty.path().to_str().unwrap()]);
    assert!(code == Some(2) && text.contains("no photo"), "{text}");
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let port = taken.local_addr().unwrap().port().to_string();
    let (code, text) = run(&[folder.root().to_str().unwrap(), "--port", &port]);
    assert!(code == Some(2) && text.contains(&port), "{text}");
}

/// An observer's own folder is a visit of its own; what was placed before is neither seen nor touched.
#[test]
fn another_observer_places_in_a_folder_of_their_own() {
    let folder = one();
    let sidecar = folder.path("LF-lateral-before.jpg.hoof.json");
    let mut first = super::program::target(PHOTO);
    first.observer = Some("MK".to_owned());
    std::fs::write(&sidecar, first.to_json()).unwrap();
    std::fs::write(folder.path("visit.hoof.json"), r#"{ "observer": "MK", "notes": "wet hoof" }"#).unwrap();

    // In the visit's own folder another observer may look, not write.
    let program = Program::start(folder.root(), &["--observer", "JR"]);
    let photo = program.get("/api/photo/0");
    assert!(photo["closed"].as_str().unwrap().contains("placed by MK"), "{photo}");
    let sent = json!({ "draft": photo["draft"], "base": photo["version"] }).to_string();
    assert_eq!(program.ask("POST", "/api/photo/0", &[], &sent).0, 422);
    drop(program);

    let own = tempfile::tempdir().unwrap();
    let out = own.path().join("jr");
    let program = Program::start(folder.root(), &["--observer", "JR", "--out", out.to_str().unwrap()]);
    let photo = program.get("/api/photo/0");
    let mut draft = photo["draft"].clone();
    assert!(draft["landmarks"].as_object().unwrap().values().all(Value::is_null), "{draft}");
    assert!(draft["scale"]["points"].as_array().unwrap().is_empty());
    assert_eq!((&draft["subject"]["foot"], &draft["view"]), (&json!("LF"), &json!("lateral")));
    let seen = first.landmarks.values().next().unwrap().at[0][0].to_string();
    assert!(!photo.to_string().contains(&seen), "the first placement is in what the page is sent");
    draft["landmarks"]["toe_ground"] = json!({ "at": [100.0, 200.0] });
    let sent = json!({ "draft": draft, "base": photo["version"] }).to_string();
    assert_eq!(program.ask("POST", "/api/photo/0", &[], &sent).0, 200);
    let name = |n: &str| std::fs::read(out.join(n)).unwrap();
    assert_eq!(name(PHOTO), std::fs::read(folder.path(PHOTO)).unwrap());
    let theirs = hoofgeo::sidecar::Sidecar::parse_bytes(&name("LF-lateral-before.jpg.hoof.json"), None).unwrap();
    assert_eq!((theirs.observer.as_deref(), theirs.landmarks.len()), (Some("JR"), 1));
    let shared = hoofgeo::sidecar::Visit::parse_bytes(&name("visit.hoof.json")).unwrap();
    assert_eq!((shared.observer.as_deref(), shared.notes.as_deref()), (Some("JR"), Some("wet hoof")));
    assert_eq!(std::fs::read_to_string(&sidecar).unwrap(), first.to_json());
    assert_eq!(folder.names().len(), 3);
}

/// A new photo is set up as the one before it in its folder.
#[test]
fn scale_lens_and_planes_are_those_of_the_photo_before() {
    let folder =
        Folder::new(&[(PHOTO, "a-LF-side.jpg"), ("LF-solar-before.jpg", "b-LF-sole.jpg"), (PHOTO, "c-RF-side.jpg")]);
    let mut first = super::program::target(PHOTO);
    first.photo.file = "a-LF-side.jpg".to_owned();
    std::fs::write(folder.path("a-LF-side.jpg.hoof.json"), first.to_json()).unwrap();
    let program = Program::start(folder.root(), &[]);
    let (sole, side) = (program.get("/api/photo/1"), program.get("/api/photo/2"));
    for photo in [&sole, &side] {
        assert_eq!(photo["copied_from"], "a-LF-side.jpg");
        assert_eq!(photo["draft"]["scale"]["kind"], first.scale.as_ref().unwrap().kind.name());
        assert_eq!(photo["draft"]["scale"]["tolerance"], json!({ "class": "II" }));
        assert_eq!(photo["draft"]["scale"]["points"], json!([]));
        assert_eq!(photo["draft"]["subject"]["animal"], "Marlow");
    }
    // Planes are of a view: the sole keeps its own.
    assert!(sole["draft"]["planes"]["near_heel"].is_null());
    let near_heel = first.planes[&hoofgeo::PlaneName::NearHeel].behind_scale_mm;
    assert_eq!(side["draft"]["planes"]["near_heel"]["behind_scale_mm"].as_f64(), near_heel);
    // Nothing is written for having been looked at.
    assert_eq!(folder.names().len(), 4);
}
