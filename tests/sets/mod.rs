//! Large sets: going on where a run was stopped, parts, tables and their dictionary.
#![allow(clippy::print_stdout, reason = "tests say what they skipped")]

mod changes;
mod details;
#[cfg(target_os = "linux")]
mod full;
#[cfg(unix)]
mod kills;
mod parts;
mod recipes;
mod shapes;
mod tables;

use crate::visits::{Folder, headers, sidecar};

/// Files whose bytes have to be the same, however a run came to its end.
pub(super) const FILES: [&str; 5] =
    ["measurements.csv", "measurements-wide.csv", "measurements.json", "measurements.jsonl", "manifest.jsonl"];

/// Measures without pixels and without a lens database, and writes every file.
pub(super) const MEASURE: &str = "measure visit --no-pictures --no-lens-database --write csv,wide,json,jsonl";

/// A set of good photos in nested folders, with one that is refused, a sidecar without its photo, and a visit file.
pub(super) fn set(photos: usize) -> Folder {
    let folder = Folder::new();
    for i in 0..photos {
        let name = format!("yard {}/horse-{}/IMG_{i}.jpg", i / 50, i / 10 % 5);
        folder.good(&name);
        // Each its own values.
        let file = name.rsplit('/').next().unwrap();
        let moved = sidecar(file).replace("[240, 480]", &format!("[{}, 480]", 240.0 + (i % 97) as f64 / 10.0));
        folder.write(&format!("{name}.hoof.json"), moved);
    }
    folder.write("yard 0/visit.hoof.json", r#"{ "notes": "wet ground" }"#);
    folder.write("yard 0/horse-0/empty.jpg", "");
    folder.write("yard 0/horse-1/gone.jpg.hoof.json", sidecar("gone.jpg"));
    folder.write("yard 0/horse-1/bare.jpg", headers::photo());
    folder
}

/// Records of a table without quoted cells.
pub(super) fn records(text: &str) -> Vec<std::collections::BTreeMap<String, String>> {
    let mut lines = text.lines();
    let head: Vec<&str> = lines.next().unwrap().split(',').collect();
    assert!(!text.contains('"'));
    lines.map(|l| head.iter().map(|h| (*h).to_owned()).zip(l.split(',').map(str::to_owned)).collect()).collect()
}

/// The result files' contents.
#[track_caller]
pub(super) fn results(folder: &Folder, out: &str) -> Vec<String> {
    FILES.iter().map(|file| folder.read(&format!("{out}/{file}"))).collect()
}

/// Two runs' files are the same; the first that is not is named, its contents are too long to print.
#[track_caller]
pub(super) fn assert_same(left: &[String], right: &[String]) {
    for ((file, left), right) in FILES.iter().zip(left).zip(right) {
        let differs = left.lines().zip(right.lines()).position(|(a, b)| a != b);
        assert!(left == right, "{file} differs from line {differs:?}, {} against {} bytes", left.len(), right.len());
    }
}
