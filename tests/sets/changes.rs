//! What is measured again by a second run, and what is not.

use super::{MEASURE, assert_same, results, set};
use crate::visits::{Folder, headers, sidecar};

const PHOTOS: usize = 60;

/// Measures into `out`, says how many photos were unchanged, and holds the files to those of a run from scratch.
#[track_caller]
fn unchanged(folder: &Folder, options: &str) -> usize {
    let run = folder.run(&format!("{MEASURE} {options} --out out")).ends(1);
    let fresh = tempfile::tempdir_in(folder.root()).unwrap();
    let name = fresh.path().file_name().unwrap().to_str().unwrap();
    folder.run(&format!("{MEASURE} {options} --out {name}")).ends(1);
    assert_same(&results(folder, name), &results(folder, "out"));
    let closing = run.out().lines().find(|l| l.contains(" photos measured")).unwrap();
    match closing.split_once(", unchanged") {
        Some((all, _)) => all.split(' ').next().unwrap().parse().unwrap(),
        None => {
            closing.split_once(" of them unchanged").map_or(0, |(n, _)| n.rsplit(' ').next().unwrap().parse().unwrap())
        }
    }
}

#[test]
fn content_decides_what_is_measured_again() {
    let folder = set(PHOTOS);
    assert_eq!(unchanged(&folder, ""), 0);
    assert_eq!(unchanged(&folder, ""), PHOTOS);
    assert_eq!(unchanged(&folder, "--anew"), 0);
    assert_eq!(unchanged(&folder, "--threads 1"), PHOTOS, "threads change nothing");

    // Written once more, the same: a new time stamp is no change.
    let name = "yard 0/horse-2/IMG_23.jpg";
    let photo = std::fs::read(folder.path(name)).unwrap();
    folder.write(name, &photo);
    assert_eq!(unchanged(&folder, ""), PHOTOS);
    // A byte behind the picture, with the old time stamp: a change.
    let time = folder.path(name).metadata().unwrap().modified().unwrap();
    folder.write(name, [photo, vec![0]].concat());
    let file = std::fs::File::options().write(true).open(folder.path(name)).unwrap();
    file.set_modified(time).unwrap();
    assert_eq!(unchanged(&folder, ""), PHOTOS - 1);
    // A sidecar.
    let text = folder.read(&format!("visit/{name}.hoof.json"));
    folder.write(&format!("{name}.hoof.json"), text.replace("\"MK\"", "\"TA\""));
    assert_eq!(unchanged(&folder, ""), PHOTOS - 1);
    // What a visit shares: fifty photos lie below it.
    folder.write("yard 0/visit.hoof.json", r#"{ "notes": "dry ground" }"#);
    assert_eq!(unchanged(&folder, ""), PHOTOS - 50);
    // A lens profile in reach of ten, though none of them is taken with its camera.
    let zeros = serde_json::to_string(&[[0; 8]; 8]).unwrap();
    let profile = format!(
        r#"{{ "format": "hoofgeo-lens/1", "camera": {{ "make": "Other", "model": "Camera" }},
        "frame": {{ "width_px": 800, "height_px": 600 }}, "focal_px": 601, "principal_point_px": [400, 300],
        "distortion": {{ "model": "brown_conrady", "k1": 0, "k2": 0, "k3": 0, "p1": 0, "p2": 0 }},
        "order": ["focal_px", "cx", "cy", "k1", "k2", "k3", "p1", "p2"], "covariance": {zeros} }}"#
    );
    folder.write("yard 1/other.lens.json", profile);
    assert_eq!(unchanged(&folder, ""), PHOTOS - 10);

    // Photos that come, go and are renamed.
    folder.good("aaa/first.jpg");
    folder.good("zzz/last.jpg");
    assert_eq!(unchanged(&folder, ""), PHOTOS);
    std::fs::remove_dir_all(folder.path("aaa")).unwrap();
    std::fs::rename(folder.path("zzz"), folder.path("yyy")).unwrap();
    assert_eq!(unchanged(&folder, ""), PHOTOS, "a photo of another name is another photo");

    // Options that values depend on.
    let all = PHOTOS + 1;
    assert_eq!(unchanged(&folder, "--draws 1000"), 0);
    assert_eq!(unchanged(&folder, "--draws 1000"), all);
    assert_eq!(unchanged(&folder, "--draws 1000 --seed 2"), 0);
    assert_eq!(unchanged(&folder, "--force-lens"), 0);
}

/// Entries that were changed by hand are not taken over, wherever that happened.
#[test]
fn results_changed_by_hand_are_measured_again() {
    let folder = set(20);
    unchanged(&folder, "");
    for file in ["measurements.jsonl", "manifest.jsonl"] {
        let text = folder.read(&format!("out/{file}"));
        let changed = text.replacen("IMG_7.jpg\"", "IMG_7.jpg \"", 1);
        assert_ne!(text, changed);
        std::fs::write(folder.root().join("out").join(file), changed).unwrap();
        assert_eq!(unchanged(&folder, ""), 19, "{file}");
    }
    // Without the lines, those of the JSON are there; without both, nothing is.
    std::fs::remove_file(folder.root().join("out/measurements.jsonl")).unwrap();
    assert_eq!(unchanged(&folder, ""), 0, "the manifest names a file that is not there");
    std::fs::remove_file(folder.root().join("out/manifest.jsonl")).unwrap();
    assert_eq!(unchanged(&folder, ""), 0);
}

/// Pictures belong to what is taken over: one that is gone or was changed is drawn again.
#[test]
fn pictures_are_looked_at() {
    let folder = Folder::new();
    for name in ["LF.jpg", "RF.jpg"] {
        let grey = image_of(800, 600);
        folder.write(name, grey);
        folder.write(&format!("{name}.hoof.json"), sidecar(name));
    }
    let closing = |words: &str| {
        let run = folder.run(&format!("measure visit --no-lens-database --out out {words}")).ends(0);
        run.out().lines().find(|l| l.contains(" photos measured")).unwrap().to_owned()
    };
    assert!(closing("").starts_with("2 photos measured: "));
    assert!(closing("").starts_with("2 photos measured, unchanged since the last run: "));
    let picture = folder.root().join("out/pictures/LF.jpg");
    let drawn = std::fs::read(&picture).unwrap();
    std::fs::remove_file(&picture).unwrap();
    assert!(closing("").starts_with("2 photos measured, 1 of them unchanged since the last run: "));
    assert_eq!(std::fs::read(&picture).unwrap(), drawn);
    std::fs::write(&picture, "scribble").unwrap();
    assert!(closing("").starts_with("2 photos measured, 1 of them unchanged since the last run: "));
    assert_eq!(std::fs::read(&picture).unwrap(), drawn);
}

fn image_of(width: u32, height: u32) -> Vec<u8> {
    let mut jpeg = std::io::Cursor::new(Vec::new());
    image::GrayImage::from_pixel(width, height, image::Luma([128]))
        .write_to(&mut jpeg, image::ImageFormat::Jpeg)
        .unwrap();
    jpeg.into_inner()
}

/// A run over a visit leaves its results and nothing hidden.
#[test]
fn a_small_visit_is_not_littered() {
    let folder = Folder::new();
    folder.write("LF.jpg", headers::photo());
    folder.write("LF.jpg.hoof.json", sidecar("LF.jpg"));
    folder.run("measure visit --no-pictures --out out").ends(0);
    let mut names: Vec<_> =
        folder.root().join("out").read_dir().unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    assert_eq!(names, ["manifest.jsonl", "measurements.csv", "measurements.json"]);
    assert_eq!(std::fs::read_dir(folder.root().join("visit")).unwrap().count(), 2);
}

/// Results of another contract are not taken over, whatever else is the same.
#[test]
fn results_of_version_1_are_measured_again() {
    let folder = set(10);
    let closing = || {
        let run = folder.run(&format!("{MEASURE} --out out")).ends(1);
        run.out().lines().find(|l| l.contains(" photos measured")).unwrap().to_owned()
    };
    closing();
    assert!(closing().contains("unchanged since the last run"), "{}", closing());
    let whole = results(&folder, "out");
    let manifest = folder.read("out/manifest.jsonl").replacen("hoofgeo-measurements/2", "hoofgeo-manifest/1", 1);
    std::fs::write(folder.root().join("out/manifest.jsonl"), manifest).unwrap();
    assert!(!closing().contains("unchanged"), "measured again");
    assert_same(&results(&folder, "out"), &whole);
}
