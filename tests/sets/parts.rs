//! A set measured in parts.

use super::{MEASURE, assert_same, results, set};
use std::collections::BTreeSet;

#[test]
fn parts_make_the_whole() {
    let folder = set(120);
    folder.run(&format!("{MEASURE} --out whole")).ends(1);
    let whole = results(&folder, "whole");
    // Two parts into one folder, the third elsewhere, in any order.
    for (part, out) in [("3/3", "there"), ("1/3", "here"), ("2/3", "here")] {
        let run = folder.run(&format!("{MEASURE} --part {part} --out {out}"));
        assert!(matches!(run.code(), Some(0 | 1)), "{}", run.err());
    }
    // The walk's last folder first: what parts hold, not the order they are named in, is the order.
    folder.run("join there here --out joined --write csv,wide,json,jsonl").ends(1);
    assert_same(&whole, &results(&folder, "joined"));
    // The joined files go on as those of one run.
    let again = folder.run(&format!("{MEASURE} --out joined")).ends(1);
    assert!(
        again.out().contains("120 photos measured, unchanged since the last run, 3 photos refused"),
        "{}",
        again.out()
    );
    assert_same(&whole, &results(&folder, "joined"));

    // Laid one behind the other by ordinary tools, the parts have the rows of the whole.
    let part = |n: usize, stem: &str, ending: &str| {
        let out = if n == 3 { "there" } else { "here" };
        folder.read(&format!("{out}/{stem}.part-{n}-of-3.{ending}"))
    };
    let rows = |text: &str, head: usize| -> Vec<String> { text.lines().skip(head).map(str::to_owned).collect() };
    for (file, stem, ending, head) in
        [(0, "measurements", "csv", 1), (1, "measurements-wide", "csv", 1), (3, "measurements", "jsonl", 0)]
    {
        let mut laid: Vec<String> = (1..=3).flat_map(|n| rows(&part(n, stem, ending), head)).collect();
        let mut all = rows(&whole[file], head);
        assert_eq!(laid.len(), all.len());
        laid.sort_unstable();
        all.sort_unstable();
        assert!(laid == all, "{stem}.{ending}");
        let heads: BTreeSet<String> = (1..=3).map(|n| part(n, stem, ending).lines().take(head).collect()).collect();
        assert_eq!(heads.len(), 1, "every part has the whole's head");
    }
}

#[test]
fn what_cannot_be_joined_is_said() {
    let folder = set(20);
    for part in ["1/2", "2/2"] {
        let run = folder.run(&format!("{MEASURE} --part {part} --out parts"));
        assert!(matches!(run.code(), Some(0 | 1)), "{}", run.err());
    }
    let fails = |words: &str, text: &str| {
        let run = folder.run(words).ends(2);
        assert!(run.err().contains(text), "{}", run.err());
    };
    fails("join visit --out joined", "no part of a run is in these folders");
    fails("join nowhere --out joined", "error nowhere: cannot be read");
    fails("join parts parts --out joined", "part 1/2 is there twice");
    fails("measure visit --part 3/2 --out parts", "there is no part 3 of 2");
    fails("measure visit --part x --out parts", "write 3/16 for the third of sixteen");
    // A part changed by hand.
    let lines = folder.root().join("parts/measurements.part-2-of-2.jsonl");
    let text = std::fs::read_to_string(&lines).unwrap();
    std::fs::write(&lines, text.replacen("Kestrel", "Sparrow", 1)).unwrap();
    fails("join parts --out joined", "was changed since it was written");
    std::fs::write(&lines, text).unwrap();
    // One of another run, and one that is missing.
    let again = folder.run(&format!("{MEASURE} --draws 1000 --part 2/2 --out parts"));
    assert!(matches!(again.code(), Some(0 | 1)));
    fails("join parts --out joined", "was measured otherwise than");
    std::fs::remove_file(folder.root().join("parts/manifest.part-2-of-2.jsonl")).unwrap();
    fails("join parts --out joined", "of 2 parts these are missing: 2");
    // Tables alone are not enough.
    let run = folder.run("measure visit --no-pictures --write csv --part 1/1 --out tables").ends(1);
    assert!(run.err().contains("refused"));
    fails("join tables --out joined", "has no entries beside it");
    assert!(folder.root().join("joined").read_dir().map_or(0, Iterator::count) == 0, "nothing was left");
}
