//! A folder of rendered photos, and `hoofgeo place` running on it.

use hoofgeo::sidecar::{Draft, Sidecar};
use hoofgeo_cli::demo::{cases, place_like_a_person, write};
use serde_json::Value;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::OnceLock;

/// Longer side of the photos, px.
const WIDTH: f64 = 560.0;

/// The feet whose photos are marked: all four of a visit, or one where `HOOFGEO_ONE_FOOT` is set, for a quick look.
pub(crate) fn feet() -> &'static [&'static str] {
    if std::env::var_os("HOOFGEO_ONE_FOOT").is_some() { &["LF-"] } else { &["LF-", "RF-", "LH-", "RH-"] }
}

/// The photos of one foot, or of a visit, as a person would have marked them, rendered once for all tests.
fn rendered() -> &'static Path {
    static FOLDER: OnceLock<tempfile::TempDir> = OnceLock::new();
    let folder = FOLDER.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        for mut case in cases()
            .into_iter()
            .filter(|c| c.file_name.starts_with("marlow/") && feet().iter().any(|f| c.file_name.contains(f)))
        {
            let shrink = WIDTH / f64::from(case.shot.size[0].max(case.shot.size[1]));
            case.shot.size = case.shot.size.map(|side| (f64::from(side) * shrink).round() as u32);
            let photo = case.render();
            write(folder.path(), &case, &photo, &place_like_a_person(&photo, case.shot.view, case.seed)).unwrap();
        }
        folder
    });
    folder.path()
}

/// A visit's folder, its photos without their sidecars. No other folder lies beside it: nothing is learned from what another test left.
pub(crate) struct Folder {
    dir: tempfile::TempDir,
    visit: PathBuf,
}

/// What a person would mark on one photo.
pub(crate) fn target(name: &str) -> Sidecar {
    let path = rendered().join("marlow").join(format!("{name}.hoof.json"));
    let mut draft = Draft::parse_bytes(&std::fs::read(path).unwrap()).unwrap();
    // On so small a photo some fifty points along an outline lie nearer to each other than a hand can put them.
    for (name, points) in &mut draft.lines.0 {
        if let Some(points) = points.as_mut().filter(|_| ["frog", "outer_wall", "white_line"].contains(name)) {
            *points = points.iter().step_by(3).copied().collect();
        }
    }
    draft.sidecar(None).unwrap_or_else(|e| panic!("{name}: {e}"))
}

/// A folder of one rendered photo at the size a camera gives it, on which the ruler's lines can be told apart; and what a person would
/// mark on it.
pub(crate) fn large(name: &str) -> (Folder, Draft) {
    let dir = tempfile::tempdir().unwrap();
    let case = cases().into_iter().find(|c| c.file_name == format!("marlow/{name}")).unwrap();
    let photo = case.render();
    write(dir.path(), &case, &photo, &place_like_a_person(&photo, case.shot.view, case.seed)).unwrap();
    let (at, sidecar) = (dir.path().join("marlow"), format!("{name}.hoof.json"));
    let draft = Draft::parse_bytes(&std::fs::read(at.join(&sidecar)).unwrap()).unwrap();
    let folder = Folder::empty();
    std::fs::copy(at.join(name), folder.path(name)).unwrap();
    (folder, draft)
}

impl Folder {
    /// A folder of these of the rendered photos, under names of one's own.
    pub(crate) fn new(photos: &[(&str, &str)]) -> Self {
        let folder = Self::empty();
        for (photo, name) in photos {
            std::fs::copy(rendered().join("marlow").join(photo), folder.path(name)).unwrap();
        }
        folder
    }

    pub(crate) fn empty() -> Self {
        let dir = tempfile::tempdir().unwrap();
        let visit = dir.path().join("visit");
        std::fs::create_dir(&visit).unwrap();
        Self { dir, visit }
    }

    /// Another folder beside the visit's.
    pub(crate) fn beside(&self, name: &str) -> PathBuf {
        let beside = self.dir.path().join(name);
        std::fs::create_dir(&beside).unwrap();
        beside
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.visit.join(name)
    }

    pub(crate) fn root(&self) -> &Path {
        &self.visit
    }

    /// A photo's sidecar as it stands on disk.
    pub(crate) fn draft(&self, photo: &str) -> Draft {
        let path = self.path(&format!("{photo}.hoof.json"));
        let bytes = std::fs::read(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
        Draft::parse_bytes(&bytes).unwrap_or_else(|e| panic!("{e}"))
    }

    pub(crate) fn names(&self) -> Vec<String> {
        let mut names: Vec<String> = std::fs::read_dir(self.root())
            .unwrap()
            .map(|e| e.unwrap().file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }
}

/// `hoofgeo place`, running. Ended with the test.
pub(crate) struct Program {
    child: Child,
    pub(crate) address: String,
    pub(crate) port: u16,
    pub(crate) key: String,
}

impl Program {
    pub(crate) fn start(folder: &Path, more: &[&str]) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_hoofgeo"))
            .arg("place")
            .arg(folder)
            .arg("--no-open")
            .args(more)
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let lines = BufReader::new(child.stdout.take().unwrap()).lines().map_while(Result::ok);
        let mut lines = lines.filter(|l| l.trim().starts_with("http://"));
        let address = lines.next().expect("it prints its address").trim().to_owned();
        // Its last words are read by nobody, but must not block it.
        std::thread::spawn(move || lines.for_each(drop));
        let (host, key) = address.strip_prefix("http://127.0.0.1:").and_then(|a| a.split_once("/#")).unwrap();
        Self { port: host.parse().unwrap(), key: key.to_owned(), child, address }
    }

    /// Ends it as a crash would.
    pub(crate) fn kill(&mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    /// Asks it to end, as Ctrl-C does; its exit code.
    pub(crate) fn interrupt(&mut self) -> Option<i32> {
        let asked = Command::new("kill").args(["-s", "INT", &self.child.id().to_string()]).status();
        assert!(asked.unwrap().success());
        self.child.wait().unwrap().code()
    }

    /// An answer to a request sent as it stands: status, head, body.
    pub(crate) fn raw(&self, request: &[u8]) -> (u16, String, Vec<u8>) {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        stream.set_read_timeout(Some(std::time::Duration::from_secs(20))).unwrap();
        // It may refuse and close before everything is sent.
        let _ = stream.write_all(request);
        let mut answer = Vec::new();
        let _ = stream.read_to_end(&mut answer);
        let end = answer.windows(4).position(|w| w == b"\r\n\r\n").unwrap_or_else(|| panic!("no answer: {answer:?}"));
        let head = String::from_utf8_lossy(&answer[..end]).into_owned();
        let status = head.split(' ').nth(1).and_then(|s| s.parse().ok()).unwrap();
        (status, head, answer[end + 4..].to_vec())
    }

    /// A request as the page sends it, some headers replaced.
    pub(crate) fn ask(&self, method: &str, path: &str, headers: &[(&str, &str)], body: &str) -> (u16, String, Vec<u8>) {
        let own = [("Host", format!("127.0.0.1:{}", self.port)), ("X-Hoofgeo-Key", self.key.clone())];
        let mut text = format!("{method} {path} HTTP/1.1\r\nConnection: close\r\nContent-Length: {}\r\n", body.len());
        for (name, value) in &own {
            if !headers.iter().any(|(n, _)| n == name) {
                text += &format!("{name}: {value}\r\n");
            }
        }
        for (name, value) in headers.iter().filter(|(_, v)| !v.is_empty()) {
            text += &format!("{name}: {value}\r\n");
        }
        self.raw((text + "\r\n" + body).as_bytes())
    }

    pub(crate) fn get(&self, path: &str) -> Value {
        let (status, _, body) = self.ask("GET", path, &[], "");
        assert_eq!(status, 200, "{path}");
        serde_json::from_slice(&body).unwrap()
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
