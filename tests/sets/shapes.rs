//! Mean shapes, and landmarks to and from TPS files.

use super::{records, set};
use crate::visits::Folder;
use hoofgeo::nalgebra::Point2;
use hoofgeo::shape::{Variation, superimpose, tps};
use serde_json::Value;
use std::path::PathBuf;

fn fixture(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../fixtures/morphometrics").join(name)
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
}

fn points(value: &Value) -> Vec<Point2<f64>> {
    value.as_array().unwrap().iter().map(numbers).map(|p| Point2::new(p[0], p[1])).collect()
}

#[track_caller]
fn near(a: f64, b: f64, within: f64, what: &str) {
    assert!((a - b).abs() <= within * b.abs().max(1e-3), "{what}: {a} {b}");
}

/// Two general packages lay the same shapes upon each other (`fixtures/morphometrics/SOURCE.md`).
#[test]
fn shapes_lie_as_general_packages_lay_them() {
    let reference: Value = serde_json::from_slice(&std::fs::read(fixture("reference.json")).unwrap()).unwrap();
    for case in reference["cases"].as_array().unwrap() {
        let shapes: Vec<_> = case["shapes"].as_array().unwrap().iter().map(points).collect();
        let mirror = case["mirror"] == true;
        let found = superimpose(&shapes, mirror).unwrap();
        let r = &case["r"];
        let (distances, sizes, angles) = (numbers(&case["distances"]), numbers(&r["sizes"]), numbers(&r["riemannian"]));
        for (i, a) in found.aligned.iter().enumerate() {
            // The mean of morphops has come to rest within some 1e-6 of a distance; R's within 1e-8.
            near(a.distance, distances[i], 2e-5, "distance");
            near(a.centroid_size, sizes[i], 1e-12, "size");
            near(a.distance, 2.0 * (angles[i] / 2.0).sin(), 1e-7, "distance by R");
            assert_eq!(a.mirrored, mirror && i % 3 == 1);
        }
        for (i, row) in case["mean_distances"].as_array().unwrap().iter().enumerate() {
            for (j, d) in numbers(row).into_iter().enumerate() {
                near((found.mean[i] - found.mean[j]).norm(), d, 1e-5, "mean");
            }
        }
        let variation = Variation::of(&found);
        let expected = numbers(&case["variances"]);
        assert_eq!(variation.components.len(), expected.len());
        for (c, v) in variation.components.iter().zip(&expected) {
            near(c.variance, *v, 1e-5, "variance of a component");
        }
        near(variation.variance, expected.iter().sum(), 1e-5, "variance");
        // Two shapes alone: each lies a quarter of the angle from their mean; scipy gives the sine of the whole, squared.
        let two = superimpose(&[shapes[0].clone(), shapes[2].clone()], true).unwrap();
        let angle = 4.0 * (two.aligned[0].distance / 2.0).asin();
        near(angle.sin().powi(2), case["scipy_disparity_0_2"].as_f64().unwrap(), 1e-9, "disparity");
    }
}

/// A set's mean shape: sizes follow from the table of points, and repeated measurement of one foot varies by nothing.
#[test]
fn a_set_has_a_mean_shape() {
    let folder = set(12);
    let run = folder.run("shape mean visit --out shapes").ends(1);
    assert!(run.out().contains("12 photos, 4 landmarks"), "{}", run.out());
    assert!(run.out().contains("stated uncertainties would bring"), "{}", run.out());
    let shapes = records(&folder.read("shapes/shapes.csv"));
    folder.run("measure visit --no-pictures --no-lens-database --write landmarks --out out").ends(1);
    let places = records(&folder.read("out/measurements-landmarks.csv"));
    assert_eq!(shapes.len(), 12);
    for row in &shapes {
        let own: Vec<Point2<f64>> = places
            .iter()
            .filter(|p| p["photo"] == row["photo"])
            .map(|p| Point2::new(p["x_mm"].parse().unwrap(), p["y_mm"].parse().unwrap()))
            .collect();
        let centre = own.iter().map(|p| p.coords).sum::<hoofgeo::nalgebra::Vector2<f64>>() / own.len() as f64;
        let size = own.iter().map(|p| (p.coords - centre).norm_squared()).sum::<f64>().sqrt();
        near(row["centroid_size_mm"].parse().unwrap(), size, 1e-9, "size");
        let u: f64 = row["centroid_size_u_mm"].parse().unwrap();
        assert!(u > 0.0 && u < size, "{row:?}");
    }
    let all = folder.json("shapes/shapes.json");
    // One foot with a toe that is moved by up to 5 px: far less than a landmark's placement makes.
    let (all_of, measured) = (all["variance"].as_f64().unwrap(), all["variance_of_measurement"].as_f64().unwrap());
    assert!(measured > all_of && all_of > 0.0, "{measured} {all_of}");
    // Four landmarks have four dimensions of shape; one point moves along one of them.
    assert!((1..=4).contains(&all["components"].as_array().unwrap().len()));
    let aligned = tps::read(&folder.read("shapes/aligned.tps")).unwrap();
    assert_eq!(aligned.len(), 12);
    let alone = folder.run("shape mean visit --landmarks toe_coronet,breakover --out other").ends(2);
    assert!(alone.err().contains("have 2 landmarks in common"), "{}", alone.err());
}

/// A general package's file becomes sidecars, and those the same file.
#[test]
fn tps_files_become_sidecars() {
    let folder = Folder::new();
    for name in ["LF-side.jpg", "RF-side.jpg"] {
        folder.write(name, crate::visits::headers::photo());
    }
    std::fs::copy(fixture("digitised.tps"), folder.root().join("digitised.tps")).unwrap();
    let names = "--landmarks toe_coronet,toe_ground,0mm,100mm --lines dorsal_wall --observer MK";
    let run = folder.run(&format!("shape import digitised.tps visit {names}")).ends(0);
    assert!(run.out().starts_with("2 sidecars written, 0 left as they were, 0 refused"), "{}", run.out());
    let sidecar = folder.json("visit/LF-side.jpg.hoof.json");
    // y from the lower edge of a photo of 600 px.
    assert_eq!(sidecar["landmarks"]["toe_coronet"]["at"], serde_json::json!([171.5, 370.25]));
    assert_eq!(sidecar["scale"]["points"][1], serde_json::json!({ "mm": 100, "at": [360.5, 519] }));
    assert_eq!(sidecar["lines"]["dorsal_wall"][3], serde_json::json!([90.25, 519.5]));
    assert_eq!((&sidecar["subject"]["foot"], &sidecar["observer"]), (&Value::from("LF"), &Value::from("MK")));
    assert_eq!(sidecar["notes"], "TPS file: SCALE=0.25");
    // Never over one that exists; what does not fit is told with the specimen.
    let before = folder.files();
    let again = folder.run(&format!("shape import digitised.tps visit {names}")).ends(0);
    assert!(again.out().starts_with("0 sidecars written, 2 left"), "{}", again.out());
    std::fs::remove_file(folder.path("RF-side.jpg.hoof.json")).unwrap();
    let few = folder.run("shape import digitised.tps visit --landmarks toe_coronet,-").ends(1);
    assert!(few.err().contains("has 4 landmarks, and 2 are named"), "{}", few.err());
    assert!(few.err().contains("specimen 2 (8)"), "{}", few.err());
    folder.run(&format!("shape import digitised.tps visit {names}")).ends(0);
    assert_eq!(folder.files(), before);
    let high = folder.read("digitised.tps").replace("229.75", "700");
    std::fs::write(folder.root().join("high.tps"), high).unwrap();
    std::fs::remove_file(folder.path("LF-side.jpg.hoof.json")).unwrap();
    let outside = folder.run(&format!("shape import high.tps visit {names}")).ends(1);
    assert!(outside.err().contains("y from its lower edge"), "{}", outside.err());
    for (bad, why) in [("LM=1\n1 2\nIMAGE=..\n", "names no photo"), ("no", "line 1")] {
        std::fs::write(folder.root().join("bad.tps"), bad).unwrap();
        let run = folder.run("shape import bad.tps visit --landmarks toe_coronet");
        assert!(run.err().contains(why) && run.code() != Some(0), "{}", run.err());
    }
}

/// What is exported holds the measured plane's millimetres, and a general package reads it so.
#[test]
fn landmarks_leave_as_tps_files() {
    let folder = set(3);
    let with_wall = crate::visits::sidecar("IMG_0.jpg")
        .replace("\"lines\": {}", "\"lines\": { \"dorsal_wall\": [[344.6, 346], [290, 415], [240, 480]] }");
    folder.write("yard 0/horse-0/IMG_0.jpg.hoof.json", with_wall);
    let run = folder.run("shape export visit --lines dorsal_wall --out one.tps").ends(1);
    assert!(run.out().contains("landmarks in order: toe_coronet,toe_ground,heel_coronet,heel_ground"), "{}", run.out());
    assert!(run.out().contains("lines in order, closed ones as outlines: dorsal_wall"), "{}", run.out());
    assert_eq!(run.out().matches("without dorsal_wall").count(), 2);
    folder.run("shape export visit --out all.tps --quiet").ends(1);
    let all = tps::read(&folder.read("all.tps")).unwrap();
    assert_eq!(all.len(), 3);
    folder.run("measure visit --no-pictures --no-lens-database --write csv --out out").ends(1);
    let tidy = records(&folder.read("out/measurements.csv"));
    for specimen in &all {
        let [a, b] = [0, 1].map(|i| Point2::from(specimen.landmarks[i].unwrap()));
        let own = |t: &&std::collections::BTreeMap<String, String>| {
            Some(&t["photo"]) == specimen.id.as_ref() && t["measurement"] == "dorsal_wall_length"
        };
        near((a - b).norm(), tidy.iter().find(own).unwrap()["value"].parse().unwrap(), 1e-9, "length");
    }
    let Some(python) = std::env::var_os("HOOFGEO_PYTHON") else {
        return println!("skipped: HOOFGEO_PYTHON names no Python with ktch");
    };
    let read =
        std::process::Command::new(python).arg(fixture("read_tps.py")).arg(folder.root().join("one.tps")).output();
    let read = read.unwrap();
    if String::from_utf8_lossy(&read.stderr).contains("ModuleNotFoundError") {
        return println!("skipped: ktch is not in HOOFGEO_PYTHON");
    }
    let found: Value = serde_json::from_slice(&read.stdout).unwrap();
    let own = &tps::read(&folder.read("one.tps")).unwrap()[0];
    let expected: Vec<[f64; 2]> = own.landmarks.iter().map(|p| p.unwrap()).collect();
    assert_eq!(found[0]["landmarks"], serde_json::json!(expected));
    assert_eq!(found[0]["curves"], serde_json::json!(own.curves));
    assert_eq!((found[0]["id"].as_str(), found[0]["scale"].as_f64()), (own.id.as_deref(), Some(1.0)));
}
