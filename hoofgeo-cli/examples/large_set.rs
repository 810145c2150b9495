//! Large sets for the figures in VALIDATION.md: makes one of tiny photos with sidecars in nested folders, or measures one and says how
//! fast, and with how much memory.
//!
//! ```sh
//! cargo run --release -p hoofgeo-cli --example large_set -- make set 100000
//! cargo run --release -p hoofgeo-cli --example large_set -- time set out csv,json
//! ```
//! A second `time` into the same folder shows what it costs to find that nothing has changed.
#![allow(clippy::print_stdout, clippy::unwrap_used, reason = "an example for figures")]

use hoofgeo::visit::{Outputs, ResultFile, Stop, VisitOptions, measure_folder};
use std::path::Path;
use std::time::Instant;

/// A lateral photo as a practitioner fills it in: a straight ruler with seven graduations, eleven landmarks.
const SIDECAR: &str = include_str!("../../fixtures/bench/lateral.json");

/// So many photos share one file by links; file systems allow some ten thousand.
const LINKS: usize = 10_000;

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    match words.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        ["make", folder, photos] => make(Path::new(folder), photos.parse().unwrap()),
        ["time", folder, out, files] => time(Path::new(folder), Path::new(out), files),
        _ => panic!("make FOLDER PHOTOS, or time FOLDER OUT FILES"),
    }
}

/// Ten photos a foot's folder, ten folders an animal, a hundred animals a yard.
fn make(folder: &Path, photos: usize) {
    let photo = photo();
    let mut source = folder.join("unused");
    for i in 0..photos {
        let parent = folder.join(format!("yard {}/horse {}/foot {}", i / 10_000, i / 100 % 100, i / 10 % 10));
        if i % 10 == 0 {
            std::fs::create_dir_all(&parent).unwrap();
        }
        let name = format!("IMG_{i}.jpg");
        let path = parent.join(&name);
        if i % LINKS == 0 {
            std::fs::write(&path, [&photo[..], i.to_string().as_bytes()].concat()).unwrap();
            source.clone_from(&path);
        } else {
            std::fs::hard_link(&source, &path).unwrap();
        }
        // Each foot a little other than the last.
        let moved = format!("{:.1}", 1588.3 + (i % 1009) as f64 / 1000.0);
        let text = SIDECAR.replace("near-fore-side.jpg", &name).replace("1588.3", &moved);
        std::fs::write(parent.join(format!("{name}.hoof.json")), text).unwrap();
    }
    println!("{photos} photos of {} bytes with sidecars of {} bytes", photo.len(), SIDECAR.len());
}

/// A photo of 12 megapixels, all grey and small: only its header counts.
fn photo() -> Vec<u8> {
    let (width, height) = (4032u16, 3024u16);
    let mut jpeg = Vec::new();
    let pixels = vec![128; usize::from(width) * usize::from(height)];
    jpeg_encoder::Encoder::new(&mut jpeg, 5).encode(&pixels, width, height, jpeg_encoder::ColorType::Luma).unwrap();
    jpeg
}

fn time(folder: &Path, out: &Path, files: &str) {
    let files = files.split(',').map(|name| match name {
        "csv" => ResultFile::Csv,
        "wide" => ResultFile::WideCsv,
        "json" => ResultFile::Json,
        "jsonl" => ResultFile::JsonLines,
        #[cfg(feature = "parquet")]
        "parquet" => ResultFile::Parquet,
        other => panic!("no file is called {other}"),
    });
    let begun = Instant::now();
    let outputs = Outputs::in_folder(out).with_files(files);
    let summary = measure_folder(folder, &outputs, &VisitOptions::default(), &Stop::new(), &mut |_| {}).unwrap();
    let seconds = begun.elapsed().as_secs_f64();
    println!(
        "{} photos ({} unchanged, {} refused) in {seconds:.1} s: {:.0} a second, {} at most",
        summary.measured,
        summary.unchanged,
        summary.refused,
        summary.measured as f64 / seconds,
        peak_memory(),
    );
}

/// The most memory that the program has had, as Linux knows it.
fn peak_memory() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"));
    line.map_or_else(|| "memory not known".to_owned(), |l| l.trim().to_owned())
}
