//! The result files.

use super::two_good;
use crate::visits::headers::{self, Field};
use crate::visits::{Folder, sidecar};
use hoofgeo::visit::CSV_COLUMNS;
use serde_json::Value;

/// Parses CSV exactly as RFC 4180 section 2 defines it: CRLF behind every record, fields bare or in quotes, quotes doubled.
fn rfc_4180(text: &str) -> Vec<Vec<String>> {
    let (mut records, mut record, mut rest) = (Vec::new(), Vec::new(), text);
    while !rest.is_empty() {
        let field = if let Some(quoted) = rest.strip_prefix('"') {
            let (mut field, mut tail) = (String::new(), quoted);
            loop {
                let (before, after) = tail.split_once('"').unwrap();
                field += before;
                match after.strip_prefix('"') {
                    Some(more) => {
                        field.push('"');
                        tail = more;
                    }
                    None => {
                        rest = after;
                        break field;
                    }
                }
            }
        } else {
            let end = rest.find([',', '\r', '\n', '"']).unwrap();
            let (field, after) = rest.split_at(end);
            rest = after;
            field.to_owned()
        };
        record.push(field);
        match rest.strip_prefix(',') {
            Some(after) => rest = after,
            None => {
                rest = rest.strip_prefix("\r\n").unwrap_or_else(|| panic!("no CRLF before {rest:.40}"));
                records.push(std::mem::take(&mut record));
            }
        }
    }
    records
}

#[test]
fn csv_is_rfc_4180_and_says_what_json_says() {
    let folder = two_good();
    let awkward = "Bram, \\\"the\\\" B\u{e9}b\u{e9}\\nof 3";
    folder.write("IMG_2.jpg.hoof.json", sidecar("IMG_2.jpg").replace("Kestrel", awkward));
    folder.run("measure visit --out out").ends(0);
    let records = rfc_4180(&folder.read("out/measurements.csv"));
    let header = "photo,animal,foot,view,side,stage,taken,observer,measurement,unit,value,u,k,expanded,lower,upper,method,flag_list";
    assert_eq!(records[0].join(","), header);
    assert_eq!(CSV_COLUMNS.join(","), header);
    let json = folder.json("out/measurements.json");
    let mut rows = records[1..].iter();
    for photo in json["photos"].as_array().unwrap() {
        for m in photo["measurements"].as_array().unwrap() {
            let row = rows.next().unwrap();
            let column = |name: &str| row[records[0].iter().position(|c| c == name).unwrap()].as_str();
            for key in ["photo", "animal", "foot", "view", "side", "stage", "taken", "observer"] {
                assert_eq!(Some(column(key)), photo[key].as_str(), "{key}");
            }
            for key in ["measurement", "unit", "method"] {
                assert_eq!(Some(column(key)), m[key].as_str(), "{key}");
            }
            for key in ["value", "u", "k", "expanded", "lower", "upper"] {
                let (csv, json): (f64, _) = (column(key).parse().unwrap(), m[key].as_f64().unwrap());
                assert_eq!(csv.to_bits(), json.to_bits(), "{key} loses digits");
            }
            let flags: Vec<_> = m["flags"].as_object().unwrap().keys().map(String::as_str).collect();
            let mut listed: Vec<_> = column("flag_list").split(';').filter(|f| !f.is_empty()).collect();
            listed.sort_unstable();
            assert_eq!(listed, flags);
        }
    }
    assert!(rows.next().is_none());
    assert!(json["photos"][0]["animal"].as_str().unwrap().contains("\"the\""), "the natural order puts IMG_2 first");
}

#[test]
fn same_bytes_for_any_number_of_threads_and_runs() {
    let folder = two_good();
    for i in 0..6 {
        folder.good(&format!("more/{i}.jpg"));
        folder.write(&format!("more/bad-{i}.jpg"), "");
    }
    let results =
        |out: &str| (folder.read(&format!("{out}/measurements.csv")), folder.read(&format!("{out}/measurements.json")));
    let mut all = Vec::new();
    for (out, words) in
        [("a", "--threads 1"), ("b", "--threads 2"), ("c", "--threads 2"), ("d", "--threads 1 --seed 2")]
    {
        let run = folder.run(&format!("measure visit --out {out} --draws 1000 {words}")).ends(1);
        all.push((results(out), run.out().replace(&format!("see {out}"), ""), run.err().to_owned()));
    }
    assert_eq!(all[0], all[1]);
    assert_eq!(all[1], all[2]);
    assert_ne!(all[2].0.1, all[3].0.1, "another seed draws other scenes");
    let json: Value = serde_json::from_str(&all[0].0.1).unwrap();
    let drawn = &json["photos"][0]["measurements"][0]["monte_carlo"];
    assert_eq!((drawn["draws"].as_u64(), &json["options"]["draws"]), (Some(1000), &Value::from(1000)));
}

/// The eight EXIF orientations (Exif 2.32, tag 274) are eight ways to store one upright photo: sidecars are in upright pixels,
/// so all measure the same.
#[test]
fn all_orientations_measure_equal() {
    let folder = Folder::new();
    for orientation in 1..=8u16 {
        let name = format!("{orientation}.jpg");
        let (width, height) = if orientation >= 5 { (600, 800) } else { (800, 600) };
        let exif = headers::block(
            &[(headers::ORIENTATION, Field::Short(orientation))],
            &[(headers::FOCAL_35MM, Field::Short(26))],
        );
        folder.write(&name, headers::with_app1(&headers::plain(width, height), &exif));
        folder.write(&format!("{name}.hoof.json"), sidecar(&name));
    }
    folder.run("measure visit --out out").ends(0);
    let json = folder.json("out/measurements.json");
    let photos = json["photos"].as_array().unwrap();
    assert_eq!(photos.len(), 8);
    for photo in photos {
        assert_eq!(photo["measurements"], photos[0]["measurements"], "{}", photo["photo"]);
        assert!(!photo["measurements"].as_array().unwrap().is_empty());
    }
}
