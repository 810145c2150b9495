//! Structure tensors and edges of real photographs against what scikit-image and scipy make of them (`fixtures/edges`). The photographs are
//! not part of the project: those of Debian's `opencv-doc` are read where it is installed, those of scikit-image where
//! `HOOFGEO_PYTHON` names a Python that has it.
#![allow(missing_docs, clippy::unwrap_used, clippy::print_stderr, reason = "tests")]

mod common;

use common::{opencv_photographs, skimage_photographs};
use hoofgeo::photo::decode_upright;
use hoofgeo::pixels::{EdgeOptions, Grey, edges_along, orientation, structure_tensor};
use nalgebra::{Point2, Vector2};
use serde_json::Value as Json;
use std::collections::BTreeMap;
use std::path::PathBuf;

fn references() -> Json {
    serde_json::from_str(include_str!("../fixtures/edges/references.json")).unwrap()
}

fn pair(v: &Json) -> [f64; 2] {
    [0, 1].map(|i| v[i].as_f64().unwrap())
}

/// The photographs that are here, by name, and where they are looked for.
struct Photos {
    opencv: Option<PathBuf>,
    skimage: Option<PathBuf>,
    read: BTreeMap<String, Option<Grey>>,
}

impl Photos {
    fn new() -> Self {
        Self { opencv: opencv_photographs(), skimage: skimage_photographs(), read: BTreeMap::new() }
    }

    fn get(&mut self, row: &Json) -> Option<&Grey> {
        let [name, source] = ["photo", "source"].map(|key| row[key].as_str().unwrap());
        let folder = if source == "skimage" { &self.skimage } else { &self.opencv };
        let read = |name: &String| {
            let path = folder.as_ref()?.join(name);
            if !path.is_file() {
                eprintln!("skipped: {name} of {source} is not here");
                return None;
            }
            Some(Grey::of(&decode_upright(&path).unwrap()))
        };
        self.read.entry(name.to_owned()).or_insert_with_key(read).as_ref()
    }
}

#[test]
fn structure_tensors_of_photographs_are_those_of_a_reference_library() {
    let mut photos = Photos::new();
    let (mut compared, mut worst, mut worst_own) = (0, 0f64, 0f64);
    for row in references()["tensors"].as_array().unwrap() {
        let Some(grey) = photos.get(row) else { continue };
        let side = row["side"].as_u64().unwrap() as u32;
        let [x, y] = pair(&row["corner"]);
        let number = |key: &str| row[key].as_f64().unwrap();
        let centre = Point2::new(x + f64::from(side) / 2.0, y + f64::from(side) / 2.0);
        let tensor = structure_tensor(grey, centre, side, number("sigma")).unwrap();
        let trace = number("xx") + number("yy");
        for (i, j, key) in [(0, 0, "xx"), (0, 1, "xy"), (1, 1, "yy")] {
            // A JPEG decodes to within a level or so; derivatives are sampled alike.
            let off = (tensor[(i, j)] - number(key)).abs() / trace;
            assert!(off < 0.01, "{row}: {key} {}", tensor[(i, j)]);
        }
        let (across, coherence) = orientation(&tensor);
        assert!((coherence - number("coherence")).abs() < 0.01, "{row}: {coherence}");
        // Where hardly any direction stands out, none is compared.
        if number("coherence") > 0.15 {
            let turn = |deg: f64| (across.y.atan2(across.x).to_degrees() - deg + 270.0).rem_euclid(180.0) - 90.0;
            worst = worst.max(turn(number("direction_deg")).abs());
            if number("coherence") > 0.5 {
                worst_own = worst_own.max(turn(number("skimage_direction_deg")).abs());
            }
            compared += 1;
        }
    }
    if compared == 0 {
        return;
    }
    eprintln!("{compared} tensors: direction within {worst:.3}°, {worst_own:.3}° of Sobel derivatives");
    assert!(worst < 0.5, "{worst}");
    // Sobel's derivatives are not the same filter: where one direction stands out, they still agree on it (bound set after the first run).
    assert!(worst_own < 2.0, "{worst_own}");
}

#[test]
fn edges_of_photographs_lie_where_a_reference_library_has_them() {
    let mut photos = Photos::new();
    let mut off: Vec<f64> = Vec::new();
    let mut missed = 0;
    for row in references()["edges"].as_array().unwrap() {
        let Some(grey) = photos.get(row) else { continue };
        let (at, normal) = (Point2::from(pair(&row["at"])), Vector2::from(pair(&row["normal"])));
        let options = EdgeOptions { reach: 3.0, sigma: row["sigma"].as_f64().unwrap(), band: 2.0, noise: 1.0 };
        // Looked for half a pixel off, so that it must be found.
        let found = edges_along(grey, at + normal * 0.5, normal, &options);
        match found.iter().map(|e| (e.at - at).dot(&normal)).min_by(|a, b| a.abs().total_cmp(&b.abs())) {
            Some(d) => off.push(d),
            None => missed += 1,
        }
    }
    if off.is_empty() {
        return;
    }
    let rms = (off.iter().map(|d| d * d).sum::<f64>() / off.len() as f64).sqrt();
    off.sort_by(|a, b| a.abs().total_cmp(&b.abs()));
    eprintln!(
        "{} edges: {rms:.3} px RMS apart, median {:.3} px, {missed} not found",
        off.len(),
        off[off.len() / 2].abs()
    );
    assert!(missed * 20 <= off.len(), "{missed} of {} not found", off.len() + missed);
    assert!(rms < 0.15, "{rms}");
}
