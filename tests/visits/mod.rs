//! Folders of photos with sidecars for the tests of the command line: a small lateral scene of our own (invented), photos
//! whose headers are written by hand, and the command itself.
#![allow(dead_code, reason = "every test crate uses a part of it")]

pub(crate) mod headers;

use assert_cmd::Command;
use serde_json::Value;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Output;

/// Size of the photos, px.
pub(crate) const FRAME: (u16, u16) = (800, 600);

/// A straight ruler seen square, two pixels to the millimetre.
pub(crate) const SCALE: &str = r#"{
    "kind": "straight_ruler",
    "tolerance": { "class": "II" },
    "points": [
      { "mm": 0, "at": [200, 500] },
      { "mm": 50, "at": [300, 500] },
      { "mm": 100, "at": [400, 500] },
      { "mm": 150, "at": [500, 500] },
      { "mm": 200, "at": [600, 500] }
    ]
  }"#;

/// The landmarks of the scene: a dorsal wall and a heel above a bearing line of 120 mm.
pub(crate) const LANDMARKS: &str = r#"{
    "toe_coronet": { "at": [344.6, 346] },
    "toe_ground": { "at": [240, 480] },
    "heel_coronet": { "at": [531.8, 430] },
    "heel_ground": { "at": [480, 480] }
  }"#;

/// A good sidecar for a photo of this name.
pub(crate) fn sidecar(name: &str) -> String {
    format!(
        r#"{{
  "format": "hoofgeo-sidecar/1",
  "photo": {{ "file": "{name}", "width_px": 800, "height_px": 600 }},
  "subject": {{ "animal": "Kestrel", "foot": "LF" }},
  "view": "lateral",
  "side": "lateral",
  "stage": "before_trim",
  "taken": "2026-05-04T09:30:00+01:00",
  "observer": "MK",
  "scale": {SCALE},
  "landmarks": {LANDMARKS},
  "lines": {{}}
}}
"#
    )
}

/// A temporary folder that holds a visit, in `visit`.
pub(crate) struct Folder(tempfile::TempDir);

impl Folder {
    pub(crate) fn new() -> Self {
        let dir = tempfile::tempdir().unwrap();
        std::fs::create_dir(dir.path().join("visit")).unwrap();
        Self(dir)
    }

    /// The folder in which commands run; the visit is its `visit`.
    pub(crate) fn root(&self) -> &Path {
        self.0.path()
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.root().join("visit").join(name)
    }

    /// Writes a file of the visit; folders on the way are made.
    pub(crate) fn write(&self, name: &str, content: impl AsRef<[u8]>) {
        let path = self.path(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, content).unwrap();
    }

    /// Writes a good photo with a good sidecar.
    pub(crate) fn good(&self, name: &str) {
        self.write(name, headers::photo());
        self.write(&format!("{name}.hoof.json"), sidecar(name.rsplit('/').next().unwrap()));
    }

    /// Runs the command with these words, separated by blanks.
    pub(crate) fn run(&self, words: &str) -> Run {
        Run(self.command(words).output().unwrap())
    }

    pub(crate) fn command(&self, words: &str) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_hoofgeo"));
        command.current_dir(self.root()).args(words.split_whitespace());
        // No table of placements of whoever runs the tests.
        command.env("XDG_CONFIG_HOME", self.root().join("config"));
        command
    }

    pub(crate) fn read(&self, path: &str) -> String {
        std::fs::read_to_string(self.root().join(path)).unwrap_or_else(|e| panic!("{path}: {e}"))
    }

    pub(crate) fn json(&self, path: &str) -> Value {
        serde_json::from_str(&self.read(path)).unwrap_or_else(|e| panic!("{path}: {e}"))
    }

    /// Every file of the visit with its content.
    pub(crate) fn files(&self) -> BTreeMap<PathBuf, Vec<u8>> {
        let mut found = BTreeMap::new();
        collect(&self.root().join("visit"), &mut found);
        found
    }
}

fn collect(folder: &Path, found: &mut BTreeMap<PathBuf, Vec<u8>>) {
    for entry in std::fs::read_dir(folder).unwrap().map(Result::unwrap) {
        if entry.file_type().unwrap().is_dir() {
            found.insert(entry.path(), Vec::new());
            collect(&entry.path(), found);
        } else {
            found.insert(entry.path(), std::fs::read(entry.path()).unwrap_or_default());
        }
    }
}

/// What a command did.
pub(crate) struct Run(pub(crate) Output);

impl Run {
    pub(crate) fn code(&self) -> Option<i32> {
        self.0.status.code()
    }

    pub(crate) fn out(&self) -> &str {
        std::str::from_utf8(&self.0.stdout).unwrap()
    }

    pub(crate) fn err(&self) -> &str {
        std::str::from_utf8(&self.0.stderr).unwrap()
    }

    /// Asserts the exit code and hands back the run.
    #[track_caller]
    pub(crate) fn ends(self, code: i32) -> Self {
        assert_eq!(self.code(), Some(code), "stdout:\n{}\nstderr:\n{}", self.out(), self.err());
        self
    }
}

/// Replaces texts; each must occur exactly once.
#[track_caller]
pub(crate) fn replaced(text: &str, changes: &[(&str, &str)]) -> String {
    changes.iter().fold(text.to_owned(), |text, (from, to)| {
        assert_eq!(text.matches(from).count(), 1, "{from:?} in\n{text}");
        text.replacen(from, to, 1)
    })
}
