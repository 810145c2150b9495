//! `hoofgeo rectify`.

use super::two_good;
use crate::visits::{Folder, headers, replaced, sidecar};
use serde_json::Value;

/// Values and uncertainties of a result file, by photo and measurement.
fn values(folder: &Folder, path: &str) -> Vec<(String, String, f64, f64)> {
    let json = folder.json(path);
    let photos = json["photos"].as_array().unwrap();
    let of = |p: &Value| {
        let name = p["photo"].as_str().unwrap().to_owned();
        let list = p["measurements"].as_array().unwrap();
        let one = |m: &Value| {
            let number = |key: &str| m[key].as_f64().unwrap();
            (name.clone(), m["measurement"].as_str().unwrap().to_owned(), number("value"), number("u"))
        };
        list.iter().map(one).collect::<Vec<_>>()
    };
    photos.iter().flat_map(of).collect()
}

#[test]
fn rectified_pictures_measure_as_their_photos() {
    let folder = two_good();
    // Seen from another side of the ground, in a folder of its own, without a stated time.
    folder.write("deep/IMG_2.jpg", headers::photo());
    let turned =
        [("{ \"at\": [240, 480] }", "{ \"at\": [238, 470] }"), ("\"taken\": \"2026-05-04T09:30:00+01:00\",", "")];
    folder.write("deep/IMG_2.jpg.hoof.json", replaced(&sidecar("IMG_2.jpg"), &turned));
    let before = folder.files();
    let run = folder.run("rectify visit --out flat").ends(0);
    assert_eq!(run.err(), "");
    assert!(run.out().contains("written deep/IMG_2.jpg: 2 px/mm, "), "{}", run.out());
    assert!(run.out().contains("3 rectified, 0 refused: see flat\n"), "{}", run.out());
    assert_eq!(folder.files(), before, "inputs stay as they are");
    folder.run("measure visit --out a --no-pictures --quiet").ends(0);
    folder.run("measure flat --out b --no-pictures --quiet").ends(0);
    let (photos, pictures) = (values(&folder, "a/measurements.json"), values(&folder, "b/measurements.json"));
    assert_eq!(photos.len(), pictures.len());
    assert!(photos.len() > 20);
    for (a, b) in photos.iter().zip(&pictures) {
        assert_eq!((&a.0, &a.1), (&b.0, &b.1));
        assert!((a.2 - b.2).abs() < 1e-3 * a.3, "{a:?} {b:?}");
        assert!((b.3 / a.3 - 1.0).abs() < 0.01, "{a:?} {b:?}");
    }
    // A second run gives the same bytes, cubic ones others.
    let read = |dir: &str| std::fs::read(folder.root().join(dir).join("IMG_2.jpg")).unwrap();
    folder.run("rectify visit --out again --quiet").ends(0);
    assert_eq!(read("flat"), read("again"));
    let notes = folder.json("flat/IMG_2.jpg.hoof.json")["notes"].as_str().unwrap().to_owned();
    assert!(
        notes.starts_with("Rectified from IMG_2.jpg: 2 px/mm in the measured plane, the ground is horizontal."),
        "{notes}"
    );
    // What was asked for stands in the file's resolution tag: 15 dots per centimetre.
    folder.run("rectify visit --out coarse --px-per-mm 1.5 --cubic").ends(0);
    assert_eq!(read("coarse")[11..18], [1, 2, 2, 0, 15, 0, 15], "JFIF 1.02, dots per cm");
}

#[test]
fn one_bad_photo_does_not_sink_the_rest() {
    let folder = two_good();
    folder.write("IMG_3.jpg", headers::photo());
    folder.write("IMG_4.jpg", "no photo");
    folder.write("IMG_4.jpg.hoof.json", sidecar("IMG_4.jpg"));
    let run = folder.run("rectify visit --out flat").ends(1);
    assert!(run.err().contains("refused visit/IMG_3.jpg: has no sidecar"), "{}", run.err());
    assert!(run.err().contains("refused visit/IMG_4.jpg: "), "{}", run.err());
    assert!(run.out().contains("2 rectified, 2 refused"), "{}", run.out());
    let mut files: Vec<_> =
        folder.root().join("flat").read_dir().unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    files.sort();
    let of = |n: u32| ["", ".hoof.json", ".lens.json"].map(|e| format!("IMG_{n}.jpg{e}"));
    assert_eq!(files, [of(10), of(2)].concat());
    // Finer than the photo, inside the visit, no number: nothing is written.
    let fine = folder.run("rectify visit --out fine --px-per-mm 20").ends(1);
    assert!(
        fine.err().contains("20 px/mm is finer than the photo, which shows the hoof with 2.0 px/mm"),
        "{}",
        fine.err()
    );
    assert_eq!(folder.root().join("fine").read_dir().unwrap().count(), 0);
    for (words, text) in [
        ("rectify visit --out visit/flat", "error visit/flat: lies within the folder of the photos\n"),
        ("rectify visit --out flat --px-per-mm many", "invalid value"),
        ("rectify nowhere --out flat", "error nowhere: does not exist"),
    ] {
        let run = folder.run(words).ends(2);
        assert!(run.err().contains(text), "{words}: {}", run.err());
    }
}
