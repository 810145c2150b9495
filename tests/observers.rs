//! `hoofgeo observers`, `measure --placement` and `hoofgeo plan` on sidecars whose scatter is known.
#![allow(clippy::unwrap_used, reason = "tests")]

mod visits;

use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;
use rand_xoshiro::Xoshiro256PlusPlus;
use serde_json::{Value, json};
use visits::{Folder, headers, sidecar};

/// Scatter put in, mm: the scene has two pixels to the millimetre.
const WITHIN: f64 = 0.3;
const BETWEEN: f64 = 0.6;
const PX_PER_MM: f64 = 2.0;
const PHOTOS: usize = 25;

/// Three observers mark the same photos twice each, in folders of their own.
fn marked() -> Folder {
    let folder = Folder::new();
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(5);
    let mut normal = |sd: f64| PX_PER_MM * sd * rng.sample::<f64, _>(StandardNormal);
    for photo in 0..PHOTOS {
        let model: &str = Box::leak(format!("Phone {photo}").into_boxed_str());
        let bytes = headers::with_exif(
            &[(headers::MODEL, headers::Field::Text(model))],
            &[(headers::FOCAL_35MM, headers::Field::Short(26))],
        );
        for observer in ["AB", "CD", "EF"] {
            let name = format!("{observer}/{photo}.jpg");
            let mut s: Value = serde_json::from_str(&sidecar(&format!("{photo}.jpg"))).unwrap();
            s["observer"] = json!(observer);
            s["subject"]["animal"] = json!(format!("Horse {}", photo % 5));
            for placement in s["landmarks"].as_object_mut().unwrap().values_mut() {
                let (x, y) = (placement["at"][0].as_f64().unwrap(), placement["at"][1].as_f64().unwrap());
                let (bx, by) = (normal(BETWEEN), normal(BETWEEN));
                let mut once = || json!([x + bx + normal(WITHIN), y + by + normal(WITHIN)]);
                placement["at"] = json!([once(), once()]);
            }
            if photo == 7 && observer == "CD" {
                // Taken for another point: 9 mm away.
                s["landmarks"]["heel_ground"]["at"][1] = json!([480.0 - 18.0, 480.0]);
            }
            folder.write(&name, &bytes);
            folder.write(&format!("{name}.hoof.json"), s.to_string());
        }
    }
    folder
}

#[test]
fn scatter_put_in_is_found_named_and_used() {
    let folder = marked();
    let before = folder.files();
    let run = folder.run("observers visit/AB visit/CD visit/EF --out out").ends(0);
    assert_eq!(folder.files(), before);
    let found = folder.json("out/observers.json");
    assert_eq!(found["observers"], json!(["AB", "CD", "EF"]));
    assert_eq!(found["photos"], PHOTOS);
    let landmarks = found["landmarks"].as_array().unwrap();
    assert_eq!(landmarks.len(), 4);
    for l in landmarks.iter().filter(|l| l["landmark"] != "heel_ground") {
        for direction in ["along_mm", "across_mm"] {
            let sd = |k: &str| l[direction][k].as_f64().unwrap();
            // 75 and 50 degrees of freedom: 4 standard errors are 33 and 40 %.
            assert!((sd("within_observer") / WITHIN - 1.0).abs() < 0.33, "{l}");
            assert!((sd("between_observers") / BETWEEN - 1.0).abs() < 0.45, "{l}");
        }
    }
    let outliers = found["outlying_placements"].as_array().unwrap();
    assert_eq!(outliers.len(), 1, "{outliers:?}");
    assert_eq!((&outliers[0]["photo"], &outliers[0]["observer"]), (&json!("7.jpg"), &json!("CD")));
    assert!(run.out().contains("far from the others: heel_ground by CD on 7.jpg"), "{}", run.out());

    let m = found["measurements"].as_array().unwrap().iter().find(|m| m["measurement"] == "dorsal_wall_angle").unwrap();
    assert_eq!(m["values"], 6 * PHOTOS);
    assert_eq!(m["limits_of_agreement"].as_array().unwrap().len(), 3);
    assert_eq!(m["within_observers"].as_array().unwrap().len(), 3);
    assert_eq!(m["intraclass_correlation"]["forms"].as_array().unwrap().len(), 6);
    // The wall is some 85 mm long: each end's scatter across it, once within and once between observers.
    let expected = |sd: f64| (sd * 2f64.sqrt() / 84.9).to_degrees();
    let sd = |k: &str| m["spread"][k].as_f64().unwrap();
    assert!((sd("within_observer") / expected(WITHIN) - 1.0).abs() < 0.33, "{}", m["spread"]);
    assert!((sd("between_observers") / expected(BETWEEN) - 1.0).abs() < 0.5, "{}", m["spread"]);
    let plot = folder.read("out/plots/dorsal_wall_angle-1.svg");
    assert_eq!(plot.matches("<circle").count(), PHOTOS);
    assert_eq!(
        folder.read("out/agreement.csv").lines().next().unwrap(),
        "measurement,unit,statistic,of,value,lower,upper"
    );

    // Later measurements take the placement uncertainties over.
    folder.run("measure visit/AB --out plain --no-pictures").ends(0);
    folder.run("measure visit/AB --out known --no-pictures --placement out/placement.json").ends(0);
    let placed = |out: &str| -> f64 {
        let results = folder.json(&format!("{out}/measurements.json"));
        let values = results["photos"][0]["measurements"].as_array().unwrap();
        let value = values.iter().find(|v| v["measurement"] == "dorsal_wall_angle").unwrap();
        value["u"].as_f64().unwrap() * value["budget"]["landmarks"].as_f64().unwrap().sqrt()
    };
    let want = (expected(WITHIN).powi(2) / 2.0 + expected(BETWEEN).powi(2)).sqrt();
    assert!((placed("known") / want - 1.0).abs() < 0.4, "{} for {want}", placed("known"));
    assert!((placed("plain") - placed("known")).abs() > 1e-3);
}

#[test]
fn nothing_repeated_and_bad_tables_are_said_in_words() {
    let folder = Folder::new();
    folder.good("a.jpg");
    let run = folder.run("observers visit --out out").ends(2);
    assert!(run.err().contains("no photo was marked twice"), "{}", run.err());
    for (table, says) in [
        (r#"{ "format": "hoofgeo-placement/2" }"#, "is not a table of placements"),
        (
            r#"{ "format": "hoofgeo-placement/1", "observers": 1, "photos": 1, "lateral": { "toe": { "within_along_mm": 1, "within_across_mm": 1, "between_along_mm": 1, "between_across_mm": 1 } }, "solar": {} }"#,
            "`toe` is no landmark",
        ),
        (
            r#"{ "format": "hoofgeo-placement/1", "observers": 1, "photos": 1, "lateral": { "toe_ground": { "within_along_mm": -1, "within_across_mm": 1, "between_along_mm": 1, "between_across_mm": 1 } }, "solar": {} }"#,
            "not between 0 and 100 mm",
        ),
    ] {
        folder.write("table.json", table);
        let run = folder.run("measure visit --out out --placement visit/table.json").ends(2);
        assert!(run.err().contains(says), "{}", run.err());
    }
    // The same photo twice for one observer.
    folder.good("b.jpg");
    let run = folder.run("observers visit --out out").ends(2);
    assert!(run.err().contains("mark the same photo for the observer MK"), "{}", run.err());
}

#[test]
fn a_study_is_planned_and_better_photos_need_fewer_animals() {
    let folder = Folder::new();
    folder.good("a.jpg");
    let run = folder.run("plan visit --measurement heel_angle --difference 2").ends(0);
    let animals = |row: &str| -> u32 {
        let line = run.out().lines().find(|l| l.starts_with(row)).unwrap_or_else(|| panic!("{row} in {}", run.out()));
        line.split_whitespace().last().unwrap().parse().unwrap()
    };
    let now = animals("as it is");
    assert!(animals("with a second placement") < now, "{}", run.out());
    assert!(animals("with an L-shaped ruler") <= now && animals("with a lens profile") <= now, "{}", run.out());
    folder.run("plan visit --measurement heel_angle --difference 2 --groups").ends(2);
    folder.run("plan visit --measurement heel_angle --difference 2 --groups --animals-sd 3 --power 0.9").ends(0);
    let run = folder.run("plan visit --measurement hoof_width --difference 2").ends(2);
    assert!(run.err().contains("has no value on any of these photos"), "{}", run.err());
    let run = folder.run("plan visit --measurement nonsense --difference 2").ends(2);
    assert!(run.err().contains("is no measurement"), "{}", run.err());
}
