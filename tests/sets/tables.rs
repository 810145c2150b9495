//! The tables and their dictionary.

use super::{MEASURE, records, set};
use hoofgeo::measure::ALL;
use hoofgeo::measured::{flag_meaning, flag_names};
use hoofgeo::visit::dictionary;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};

#[test]
fn every_table_says_the_same() {
    let folder = set(20);
    folder.run(&format!("{MEASURE} --out out")).ends(1);
    let whole = folder.json("out/measurements.json");
    let lines: Vec<Value> =
        folder.read("out/measurements.jsonl").lines().map(|l| serde_json::from_str(l).unwrap()).collect();
    assert!(lines.iter().all(|l| l["format"] == "hoofgeo-measurements/2"), "each line names the contract");
    assert_eq!(whole["format"], "hoofgeo-measurements/2");
    let (refused, measured): (Vec<_>, Vec<_>) = lines.into_iter().partition(|l| l["refused"].is_object());
    let without_format = |mut line: Value| {
        line.as_object_mut().unwrap().remove("format");
        line
    };
    assert_eq!(whole["photos"], measured.into_iter().map(without_format).collect::<Value>());
    assert_eq!(refused.len(), 3);
    for line in &refused {
        assert_eq!(line["photo"], line["refused"]["photo"]);
    }
    assert_eq!(whole["refused"], refused.into_iter().map(|mut l| l["refused"].take()).collect::<Value>());
    let tidy = records(&folder.read("out/measurements.csv"));
    let wide = records(&folder.read("out/measurements-wide.csv"));
    assert_eq!(wide.len(), 20);
    for (row, photo) in wide.iter().zip(whole["photos"].as_array().unwrap()) {
        assert_eq!(row["photo"], photo["photo"].as_str().unwrap());
        assert_eq!(row["side"], "lateral");
        let long: BTreeMap<&str, &BTreeMap<String, String>> =
            tidy.iter().filter(|t| t["photo"] == row["photo"]).map(|t| (t["measurement"].as_str(), t)).collect();
        for m in ALL {
            let expected = long.get(m.id).map(|t| (&t["value"], &t["u"]));
            // Photos of one side have the same values; a column of the sole is not there at all.
            assert_eq!(row.get(m.id).zip(row.get(&format!("{}_u", m.id))), expected, "{}", m.id);
        }
        let flags: BTreeSet<&str> =
            long.values().flat_map(|t| t["flag_list"].split(';')).filter(|f| !f.is_empty()).collect();
        assert_eq!(row["flag_list"].split(';').filter(|f| !f.is_empty()).collect::<BTreeSet<_>>(), flags);
    }
}

/// Tables alone are made without the entries' budgets, and are the same.
#[test]
fn tables_alone_are_the_same_tables() {
    let folder = set(20);
    folder.run(&format!("{MEASURE} --out all")).ends(1);
    folder.run("measure visit --no-pictures --no-lens-database --write wide,csv --out out").ends(1);
    for file in ["measurements.csv", "measurements-wide.csv"] {
        assert_eq!(folder.read(&format!("out/{file}")), folder.read(&format!("all/{file}")));
    }
    let names = folder.root().join("out").read_dir().unwrap().count();
    assert_eq!(names, 3, "two tables and the manifest");
}

/// The manifest's hashes are those of the files, found by another program where there is one.
#[test]
fn the_manifest_names_what_went_in_and_what_came_out() {
    let folder = set(20);
    folder.run(&format!("{MEASURE} --out out")).ends(1);
    let manifest: Vec<Value> =
        folder.read("out/manifest.jsonl").lines().map(|l| serde_json::from_str(l).unwrap()).collect();
    let [head, photos @ .., end] = &manifest[..] else { panic!("{manifest:?}") };
    assert_eq!(head["format"], "hoofgeo-measurements/2");
    assert_eq!(head["program"]["version"], env!("CARGO_PKG_VERSION"));
    assert_eq!((end["measured"].as_u64(), end["refused"].as_u64()), (Some(20), Some(3)));
    let mut files: Vec<(String, String)> = end["files"]
        .as_array()
        .unwrap()
        .iter()
        .map(|f| (format!("out/{}", f["file"].as_str().unwrap()), f["sha256"].as_str().unwrap().to_owned()))
        .collect();
    assert_eq!(files.len(), 4);
    let measured: Vec<&Value> = photos.iter().filter(|p| p["refused"].is_null()).collect();
    assert_eq!((measured.len(), photos.len()), (20, 23));
    for photo in &measured {
        let name = photo["photo"].as_str().unwrap();
        files.push((format!("visit/{name}"), photo["photo_sha256"].as_str().unwrap().to_owned()));
        files.push((format!("visit/{name}.hoof.json"), photo["sidecar_sha256"].as_str().unwrap().to_owned()));
        for (path, sha256) in photo["shared"].as_object().unwrap() {
            let parent = name.rsplit_once('/').unwrap().0;
            files.push((format!("visit/{parent}/{path}"), sha256.as_str().unwrap().to_owned()));
        }
    }
    assert!(files.iter().any(|(name, _)| name.ends_with("../visit.hoof.json")));
    let names = files.iter().map(|(name, _)| name);
    let Ok(sums) = std::process::Command::new("sha256sum").current_dir(folder.root()).args(names).output() else {
        return println!("sha256sum is not here: hashes not compared");
    };
    let expected: String = files.iter().map(|(name, sha256)| format!("{sha256}  {name}\n")).collect();
    assert_eq!(String::from_utf8(sums.stdout).unwrap(), expected);
}

#[test]
fn the_dictionary_holds_every_column_and_nothing_else() {
    let folder = set(1);
    let more = "landmarks,covariance,draws --draws 2";
    folder.run(&format!("{MEASURE},{more} --out out")).ends(1);
    let all = dictionary();
    let names = |list: &str| -> Vec<&str> { all.iter().filter(|e| e.list == list).map(|e| e.name.as_str()).collect() };
    for file in [
        "measurements.csv",
        "measurements-wide.csv",
        "measurements-landmarks.csv",
        "measurements-covariance.csv",
        "measurements-draws.csv",
    ] {
        let text = folder.read(&format!("out/{file}"));
        let head: Vec<&str> = text.lines().next().unwrap().split(',').collect();
        // The wide table leaves out what no photo has.
        let there = names(file).into_iter().filter(|n| file != "measurements-wide.csv" || head.contains(n));
        assert_eq!(head, there.collect::<Vec<_>>());
    }
    let lists: BTreeSet<&str> = all.iter().map(|e| e.list).collect();
    for list in lists {
        let spelt: BTreeSet<String> = names(list).iter().map(|n| n.to_lowercase()).collect();
        assert_eq!(spelt.len(), names(list).len(), "two columns of {list} differ by capitals alone");
    }
    assert_eq!(names("follow.csv"), hoofgeo::follow::FOLLOW_COLUMNS);
    assert!(!names("agreement.csv").is_empty() && !names("landmarks.csv").is_empty());
    assert_eq!(names("measurement"), ALL.iter().map(|m| m.id).collect::<Vec<_>>());
    assert_eq!(names("flag_list"), flag_names().collect::<Vec<_>>());
    assert!(flag_names().all(|f| flag_meaning(f).is_some()));
    for entry in &all {
        assert!(!entry.definition.is_empty(), "{entry:?}");
        let number = entry.kind == "number" || entry.list == "measurement";
        assert_eq!(!entry.unit.is_empty(), number, "{entry:?}");
        assert!(entry.list != "measurement" || !entry.source.is_empty(), "{entry:?}");
    }
    // Its three forms say the same.
    let json: Vec<Value> = serde_json::from_str(folder.run("dictionary --as json").ends(0).out()).unwrap();
    assert_eq!(json.len(), all.len());
    let csv = folder.run("dictionary --as csv").ends(0);
    assert_eq!(csv.out().matches("\r\n").count(), all.len() + 1);
    let markdown = folder.run("dictionary").ends(0);
    assert!(all.iter().all(|e| markdown.out().contains(&format!("| {} |", e.name))), "{}", markdown.out());
}

/// The query of the documentation, run over three parts by DuckDB.
#[cfg(feature = "parquet")]
#[test]
fn parquet_parts_answer_the_documented_query() {
    let folder = set(90);
    for part in 1..=3 {
        let run = folder.run(&format!(
            "measure visit --no-pictures --no-lens-database --write csv,parquet --part {part}/3 --out out"
        ));
        assert!(matches!(run.code(), Some(0 | 1)), "{}", run.err());
    }
    let Some(python) = std::env::var_os("HOOFGEO_PYTHON") else {
        return println!("skipped: HOOFGEO_PYTHON names no Python with duckdb");
    };
    let query = include_str!("../../fixtures/sets/spread.sql");
    let script = r#"
import duckdb, json, sys
query, tables = sys.argv[1], {}
tables["parquet"] = duckdb.sql(query).fetchall()
# The same over the parts' CSV: typed by hand, from the text alone.
tables["csv"] = duckdb.sql(query.replace("'measurements.part-*.parquet'", "read_csv('measurements.part-*.csv', types={'taken': 'VARCHAR'})")
    .replace("taken_local", "strptime(left(taken, 19), '%Y-%m-%dT%H:%M:%S')")).fetchall()
columns = duckdb.sql("describe select * from 'measurements.part-*.parquet'").fetchall()
tables["columns"] = [[c[0], c[1]] for c in columns]
tables["moment"] = str(duckdb.sql("select max(epoch(taken_utc)) from 'measurements.part-*.parquet'").fetchall()[0][0])
tables["rows"] = duckdb.sql("select count(*) from 'measurements.part-*.parquet'").fetchall()[0][0]
print(json.dumps(tables, default=str))
"#;
    let run = std::process::Command::new(python)
        .current_dir(folder.root().join("out"))
        .args(["-c", script, query])
        .output()
        .unwrap();
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    let found: Value = serde_json::from_slice(&run.stdout).unwrap();
    assert_eq!(found["parquet"], found["csv"]);
    let rows = found["parquet"].as_array().unwrap();
    assert!(rows.iter().any(|r| r[0] == "dorsal_wall_angle" && r[3] == 90), "{rows:?}");
    let csv_rows: usize =
        (1..=3).map(|n| folder.read(&format!("out/measurements.part-{n}-of-3.csv")).lines().count() - 1).sum();
    assert_eq!(found["rows"], csv_rows);
    // 2026-05-04T09:30:00+01:00
    assert_eq!(found["moment"].as_str().unwrap().parse::<f64>().unwrap(), 1_777_883_400.0);
    let kind = |kind: &str| match kind {
        "text" | "free text" => "VARCHAR",
        "number" => "DOUBLE",
        "local time" => "TIMESTAMP",
        "moment" => "TIMESTAMP WITH TIME ZONE",
        other => panic!("{other}"),
    };
    let columns: Vec<Value> = dictionary()
        .iter()
        .filter(|e| e.list == "measurements.parquet")
        .map(|e| serde_json::json!([e.name, kind(e.kind)]))
        .collect();
    assert_eq!(found["columns"], Value::from(columns));
}
