//! `review` and `project` from outside.

use super::two_good;
use crate::visits::{Folder, headers, replaced, sidecar};
use serde_json::Value;

/// A photo from the side whose gauge reads spare heel horn.
fn with_gauge(folder: &Folder, name: &str, foot: &str, stage: &str) {
    let gauge = r#""lines": {}, "gauge": { "heel_above_sole_plane_mm": { "lateral": 7 } }"#;
    let changes = [("\"LF\"", foot), ("\"before_trim\"", stage), ("\"lines\": {}", gauge)];
    folder.write(name, headers::photo());
    folder.write(&format!("{name}.hoof.json"), replaced(&sidecar(name), &changes));
}

#[test]
fn a_review_says_what_was_judged_and_what_could_not_be() {
    let folder = Folder::new();
    with_gauge(&folder, "a.jpg", "\"LF\"", "\"before_trim\"");
    with_gauge(&folder, "b.jpg", "\"RF\"", "\"before_trim\"");
    with_gauge(&folder, "c.jpg", "\"LF\"", "\"after_trim\"");
    let before = folder.files();
    let run = folder.run("review visit --out out").ends(0);
    assert_eq!(folder.files(), before, "inputs are never written to");
    let text = run.out();
    for part in [
        "Kestrel, left fore, before trim, 2026-05-04",
        "Does heel horn stand beyond the hard sole plane? Yes.",
        "not there: Toe minus heel tubules",
        "The toe's length cannot be judged from the side alone",
        "limit: Turner 1992",
        "left fore minus right fore",
        "nothing speaks against comparing the two photos",
        "Nothing here is a diagnosis.",
        "local law comes first",
    ] {
        assert!(
            text.replace('\n', " ").replace("  ", "").contains(&part.replace("  ", "")) || text.contains(part),
            "{part}\n{text}"
        );
    }
    assert!(text.lines().all(|l| l.chars().count() <= 110), "a line is too long:\n{text}");
    for word in ["abnormal", "severe", "danger", "WARNING", "alarm"] {
        assert!(!text.contains(word), "{word}");
    }
    let schema: Value = serde_json::from_str(folder.run("schema review").ends(0).out()).unwrap();
    let review = folder.json("out/review.json");
    let validator = jsonschema::validator_for(&schema).unwrap();
    let faults: Vec<String> = validator.iter_errors(&review).map(|e| e.to_string()).collect();
    assert!(faults.is_empty(), "{faults:?}");
    let heel = &review["feet"][0]["heels"][0];
    assert_eq!(heel["questions"][0]["answer"], "yes");
    assert_eq!(review["feet"][0]["toe_seen"], "from_the_side_only");
    for v in review["feet"][0]["verdicts"].as_array().unwrap() {
        assert!(v["rule"]["source"].as_str().is_some_and(|s| !s.is_empty()) && v["rule"]["limit"].is_number());
        assert!((0.0..=1.0).contains(&v["probability_noted"].as_f64().unwrap()));
    }
    assert_eq!(review["trims"][0]["comparable"], true);
    folder.write("d.jpg", "no photo");
    let mixed = folder.run("review visit --quiet").ends(1);
    assert!(mixed.err().contains("refused visit/d.jpg: has no sidecar") && mixed.out().is_empty());
}

#[test]
fn rules_can_be_written_changed_and_used() {
    let folder = two_good();
    folder.run("review --write-rules my.json").ends(0);
    assert!(folder.run("review --write-rules my.json").ends(2).err().contains("exists already"));
    let rules = folder.read("my.json");
    let schema: Value = serde_json::from_str(folder.run("schema rules").ends(0).out()).unwrap();
    assert!(jsonschema::is_valid(&schema, &serde_json::from_str(&rules).unwrap()));
    let own = folder.run("review visit").ends(0);
    assert_eq!(own.out(), folder.run("review visit --rules my.json").ends(0).out());
    // The 5° rule as "more than 20°", and only that: the limit printed is the user's own.
    let changed = rules.replacen("\"when\": \">=\",\n      \"limit\": 5", "\"when\": \">\",\n      \"limit\": 20", 1);
    assert_ne!(changed, rules);
    std::fs::write(folder.root().join("my.json"), changed).unwrap();
    let other = folder.run("review visit --rules my.json").ends(0);
    assert!(other.out().contains("(note if > 20°;") && !own.out().contains("> 20°"), "{}", other.out());
    std::fs::write(folder.root().join("my.json"), rules.replacen("\"limit\"", "\"limt\"", 1)).unwrap();
    let refused = folder.run("review visit --rules my.json").ends(2);
    assert!(refused.err().contains("my.json:") && refused.err().contains("did you mean `limit`?"), "{}", refused.err());
    for (words, says) in [
        ("review", "required"),
        ("review nowhere", "does not exist"),
        ("review visit --rules none.json", "cannot be read"),
    ] {
        assert!(folder.run(words).ends(2).err().contains(says), "{words}");
    }
}

#[test]
fn a_projection_is_a_table_a_file_and_a_picture() {
    let folder = Folder::new();
    with_gauge(&folder, "a.jpg", "\"LF\"", "\"before_trim\"");
    let before = folder.files();
    let run = folder.run("project visit --heels-to-sole-plane --toe 3 --out out --no-pictures").ends(0);
    assert_eq!(folder.files(), before);
    for part in
        ["heels brought to the hard sole plane; toe dressed back by 3 mm", "Base behind", "not a cutting instruction"]
    {
        assert!(run.out().contains(part), "{part}\n{}", run.out());
    }
    let schema: Value = serde_json::from_str(folder.run("schema projection").ends(0).out()).unwrap();
    let projection = folder.json("out/projection.json");
    assert!(jsonschema::is_valid(&schema, &projection));
    let change = |id: &str| {
        let all = projection["feet"][0]["quantities"].as_array().unwrap();
        all.iter().find(|q| q["id"] == id).unwrap()["change"]["value"].as_f64().unwrap()
    };
    assert!(change("heel_bearing_point") > 5.0 && change("dorsal_wall_angle") < 0.0);
    assert!((change("toe_bearing_point") - 3.0).abs() < 1e-9 && change("heel_toe_angle_difference").abs() < 1e-9);
    let one = folder.run("project visit/a.jpg.hoof.json --weeks 6 --growth 8 --heel-growth 4").ends(0);
    assert!(one.out().contains("6 weeks of growth, 8.0 mm a month at the toe and 4.0 mm at the heel"), "{}", one.out());
    for (words, says) in [
        ("project visit", "required"),
        ("project visit --toe 500", "must be 0 to 50 mm"),
        ("project visit --toe NaN", "must be 0 to 50 mm"),
        ("project visit --weeks -3", "unexpected argument"),
        ("project visit --heels-to-sole-plane --lower-heels 3", "cannot be used with"),
        ("project nowhere --toe 3", "does not exist"),
    ] {
        let refused = folder.run(words).ends(2);
        assert!(refused.err().contains(says), "{words}: {}", refused.err());
    }
    // Without gauge or landmark the hard sole plane is not guessed.
    let plain = two_good();
    let run = plain.run("project visit --heels-to-sole-plane").ends(1);
    assert!(run.err().contains("the gauge reading or sole_plane_heel"), "{}", run.err());
}
