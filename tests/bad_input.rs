//! One folder with everything that people and cameras get wrong, beside good photos: each bad photo is refused with words that
//! say what to do, and the good ones are measured as if they were alone.
#![allow(clippy::unwrap_used, reason = "tests")]

mod bad;
mod visits;

use serde_json::Value;
use std::collections::BTreeMap;
use visits::{Folder, Run, headers, sidecar};

/// Photos that have to be measured, whatever lies beside them.
const GOOD: [&str; 4] = ["good-1.jpg", "good-2.jpg", "good-byte-order-mark.jpg", "good-with-damaged-exif.jpg"];

fn write_good(folder: &Folder) {
    for name in GOOD {
        folder.good(name);
    }
    folder.write("good-byte-order-mark.jpg.hoof.json", format!("\u{feff}{}", sidecar("good-byte-order-mark.jpg")));
    let garbage = b"II\x2a\0\x08\0\0\0\xff\xff\xff\xff garbage";
    folder.write("good-with-damaged-exif.jpg", headers::with_app1(&headers::without_exif(), garbage));
}

/// The folder with everything.
fn everything() -> Folder {
    let folder = Folder::new();
    write_good(&folder);
    for case in bad::cases() {
        case.write(&folder);
    }
    bad::lenses::write(&folder);
    folder
}

/// The refusals that a run printed, in order.
fn refusals(run: &Run) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    for line in run.err().lines() {
        match found.last_mut() {
            Some(last) if line.starts_with("        ") => *last += &format!("\n{line}"),
            _ => found.push(line.to_owned()),
        }
    }
    found
}

/// What is refused, as `measurements.json` says, by photo.
fn listed(results: &Value) -> BTreeMap<String, String> {
    let text = |v: &Value| v.as_str().map(str::to_owned);
    let entries = results["refused"].as_array().unwrap().iter().map(|r| {
        let place = r["line"].as_u64().map_or_else(String::new, |line| format!(":{line}:{}", r["column"]));
        let path = text(&r["path"]).map_or_else(String::new, |p| format!("{p}: "));
        let help = text(&r["help"]).map_or_else(String::new, |h| format!("\n        {h}"));
        let [file, what] = ["file", "what"].map(|k| text(&r[k]).unwrap());
        (text(&r["photo"]).unwrap(), format!("refused {file}{place}: {path}{what}{help}"))
    });
    let entries: Vec<_> = entries.collect();
    let number = entries.len();
    let by_photo: BTreeMap<_, _> = entries.into_iter().collect();
    assert_eq!(by_photo.len(), number, "a photo is refused twice");
    by_photo
}

/// The measurements of the good photos.
fn measured(results: &Value) -> BTreeMap<String, Value> {
    let photos = results["photos"].as_array().unwrap();
    photos.iter().map(|p| (p["photo"].as_str().unwrap().to_owned(), p["measurements"].clone())).collect()
}

#[test]
fn every_bad_photo_is_refused_and_every_good_one_measured() {
    let folder = everything();
    let cases = bad::cases();
    assert!(cases.len() >= 60);
    let before = folder.files();
    let run = folder.run("measure visit --out out --no-pictures").ends(1);
    assert_eq!(before, folder.files(), "a measuring command wrote to its inputs");

    let expected: BTreeMap<_, _> = cases.iter().map(|c| (c.name.to_owned(), c.refusal())).collect();
    assert_eq!(expected.len(), cases.len(), "two cases have one name");
    let results = folder.json("out/measurements.json");
    let listed = listed(&results);
    for (name, text) in &listed {
        let expected = expected.get(name).map_or("nothing", String::as_str);
        assert!(text == expected, "{name}\nis refused: {text}\nexpected:   {expected}");
    }
    let missing: Vec<_> = expected.keys().filter(|name| !listed.contains_key(*name)).collect();
    assert!(missing.is_empty(), "not refused: {missing:?}");

    assert!(!run.err().contains("panicked"));
    let mut printed = refusals(&run);
    printed.sort();
    let mut wanted: Vec<_> = expected.into_values().collect();
    wanted.sort();
    assert_eq!(printed, wanted, "the terminal says something else than measurements.json");

    let alone = Folder::new();
    write_good(&alone);
    alone.run("measure visit --out out --no-pictures").ends(0);
    let (together, alone) = (measured(&results), measured(&alone.json("out/measurements.json")));
    assert_eq!(together.keys().map(String::as_str).collect::<Vec<_>>(), GOOD);
    assert_eq!(together, alone);

    let summary = &results["summary"];
    assert_eq!((summary["measured"].as_u64(), summary["refused"].as_u64()), (Some(4), Some(cases.len() as u64)));
}

#[test]
fn check_refuses_what_measure_refuses() {
    let folder = everything();
    let measure = folder.run("measure visit --out out --no-pictures --quiet").ends(1);
    let check = folder.run("check visit").ends(1);
    // A photo without a sidecar is no fault there: a line says what its pixels show.
    let mut refused = refusals(&measure);
    refused.retain(|text| !text.contains(": has no sidecar"));
    assert_eq!(refused.len(), refusals(&measure).len() - 1);
    assert_eq!(refusals(&check), refused);
    assert!(check.out().lines().any(|l| l.starts_with("good    no-sidecar.jpg: ")), "{}", check.out());
    assert_eq!(folder.run("check visit --quiet").ends(1).out(), "");
    let marked = check.out().lines().take_while(|l| !l.starts_with("without a sidecar"));
    let good: Vec<_> = marked.filter_map(|l| l.strip_prefix("good    ")).collect();
    assert_eq!(good, GOOD);
    let remark = "        note: the EXIF is damaged";
    assert!(check.out().lines().any(|l| l.starts_with(remark)), "{}", check.out());
}
