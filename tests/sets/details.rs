//! Tables beyond the values: points in the measured plane, covariances, draws.

use super::{records, set};
use std::collections::BTreeMap;

const ALL: &str =
    "measure visit --no-pictures --no-lens-database --write csv,jsonl,landmarks,covariance,draws --draws 12";

fn number(row: &BTreeMap<String, String>, name: &str) -> f64 {
    row[name].parse().unwrap_or_else(|_| panic!("{name}: {row:?}"))
}

/// The tables say what the entries say, and what the values' own table says.
#[test]
fn points_covariances_and_draws_fit_the_values() {
    let folder = set(6);
    folder.run(&format!("{ALL} --out out")).ends(1);
    let tidy = records(&folder.read("out/measurements.csv"));
    let covariance = records(&folder.read("out/measurements-covariance.csv"));
    let own: Vec<_> =
        covariance.iter().filter(|r| r["pair"] == "values" && r["quantity_1"] == r["quantity_2"]).collect();
    assert_eq!(own.len(), tidy.len());
    for (row, value) in own.iter().zip(&tidy) {
        assert_eq!(
            (&row["photo"], &row["quantity_1"], &row["unit_1"]),
            (&value["photo"], &value["measurement"], &value["unit"])
        );
        assert!((number(row, "covariance").sqrt() / number(value, "u") - 1.0).abs() < 1e-9, "{row:?}");
        assert_eq!(row["correlation"], "1");
    }
    assert!(covariance.iter().all(|r| number(r, "correlation").abs() <= 1.0 + 1e-9));
    // Each point's own covariance is in both tables.
    let points = records(&folder.read("out/measurements-landmarks.csv"));
    let first = &points[0];
    let x = format!("{}.x", first["name"]);
    let of = |a: &str, b: &str| {
        let found = covariance.iter().find(|r| r["quantity_1"] == a && r["quantity_2"] == b);
        number(found.unwrap(), "covariance")
    };
    assert!((of(&x, &x).sqrt() / number(first, "u_x_mm") - 1.0).abs() < 1e-9);
    assert!((of(&format!("{}.y", first["name"]), &x) - number(first, "cov_xy_mm2")).abs() < 1e-9);
    // A length out of the table of points is the length that was measured.
    let photo = &tidy[0]["photo"];
    let place = |name: &str| {
        let p = points.iter().find(|p| &p["photo"] == photo && p["name"] == name).unwrap();
        [number(p, "x_mm"), number(p, "y_mm")]
    };
    let (a, b) = (place("toe_coronet"), place("toe_ground"));
    let value =
        |id: &str| number(tidy.iter().find(|t| &t["photo"] == photo && t["measurement"] == id).unwrap(), "value");
    assert!(((a[0] - b[0]).hypot(a[1] - b[1]) - value("dorsal_wall_length")).abs() < 1e-9);
    // Twelve draws of each value, around it.
    let draws = records(&folder.read("out/measurements-draws.csv"));
    assert_eq!(draws.len(), 12 * tidy.len());
    for value in &tidy {
        let own: Vec<f64> = draws
            .iter()
            .filter(|d| d["photo"] == value["photo"] && d["measurement"] == value["measurement"])
            .map(|d| (number(d, "value") - number(value, "value")) / number(value, "u"))
            .collect();
        assert_eq!(own.len(), 12);
        assert!(own.iter().all(|z| z.abs() < 6.0), "{} {own:?}", value["measurement"]);
    }
    // Draws of two photos have nothing in common.
    let of = |photo: &str| -> Vec<&String> {
        draws.iter().filter(|d| d["photo"] == photo && d["measurement"] == "heel_angle").map(|d| &d["value"]).collect()
    };
    let photos: Vec<&String> = own.iter().map(|r| &r["photo"]).collect();
    assert_ne!(of(photos[0]), of(photos.last().unwrap()));
    let lines = folder.read("out/measurements.jsonl");
    let line = lines.lines().find(|l| !l.contains("\"refused\":")).unwrap();
    let line: serde_json::Value = serde_json::from_str(line).unwrap();
    assert_eq!(line["draws"].as_array().unwrap().len(), line["measurements"].as_array().unwrap().len());
    assert_eq!(line["covariances"]["values"]["of"][0], line["measurements"][0]["measurement"]);
    assert_eq!(line["points"][0]["name"].as_str(), Some(first["name"].as_str()));
}

/// Whatever the part, and however a run came to its end, the tables are the same.
#[test]
fn parts_and_later_runs_give_the_same_tables() {
    const TABLES: [&str; 3] = ["measurements-landmarks.csv", "measurements-covariance.csv", "measurements-draws.csv"];
    let folder = set(12);
    folder.run(&format!("{ALL} --out whole")).ends(1);
    for part in 1..=3 {
        let run = folder.run(&format!("{ALL} --part {part}/3 --out parts"));
        assert!(matches!(run.code(), Some(0 | 1)), "{}", run.err());
    }
    folder.run("join parts --write landmarks,covariance,draws --out joined").ends(1);
    for table in TABLES {
        assert_eq!(folder.read(&format!("whole/{table}")), folder.read(&format!("joined/{table}")), "{table}");
    }
    // Taken over, not measured again; tables alone are the same.
    let again = folder.run(&format!("{ALL} --out whole")).ends(1);
    assert!(again.out().contains("12 photos measured, unchanged since the last run"), "{}", again.out());
    folder
        .run("measure visit --no-pictures --no-lens-database --write landmarks,covariance,draws --draws 12 --out alone")
        .ends(1);
    for table in TABLES {
        assert_eq!(folder.read(&format!("whole/{table}")), folder.read(&format!("alone/{table}")), "{table}");
    }
    // Another seed, other draws; the rest stays.
    folder.run(&format!("{ALL} --seed 2 --out seeded")).ends(1);
    assert_ne!(folder.read("whole/measurements-draws.csv"), folder.read("seeded/measurements-draws.csv"));
    assert_eq!(folder.read("whole/measurements.csv"), folder.read("seeded/measurements.csv"));
}

#[test]
fn draws_are_asked_for_in_words_that_fit() {
    let folder = set(1);
    for (words, why) in [
        ("--write draws", "needs to know how many"),
        ("--draws 20", "--draws must be 1000 or more"),
        ("--write draws --draws 20000", "more than 10000 draws"),
    ] {
        let run = folder.run(&format!("measure visit --no-pictures {words} --out out")).ends(2);
        assert!(run.err().contains(why), "{}", run.err());
    }
    folder.run("measure visit --no-pictures --no-lens-database --write json --part 1/1 --out part").ends(1);
    let run = folder.run("join part --write draws --out joined").ends(2);
    assert!(run.err().contains("the parts hold no draws"), "{}", run.err());
}
