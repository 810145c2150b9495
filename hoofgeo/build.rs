//! A fingerprint of the library's sources, so that results of an earlier build are never taken for this one's.

use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::{Path, PathBuf};

fn main() {
    println!("cargo::rerun-if-changed=src");
    let mut files = Vec::new();
    collect(Path::new("src"), &mut files);
    files.sort();
    let mut hasher = DefaultHasher::new();
    for file in files {
        // With one separator on every system.
        file.components().for_each(|part| part.as_os_str().hash(&mut hasher));
        std::fs::read(&file).unwrap_or_default().hash(&mut hasher);
    }
    println!("cargo::rustc-env=HOOFGEO_SOURCES={:016x}", hasher.finish());
}

fn collect(folder: &Path, files: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        let path = entry.path();
        if path.is_dir() {
            collect(&path, files);
        } else {
            files.push(path);
        }
    }
}
