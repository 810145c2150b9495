//! Words in, exit codes and text out.

use super::contract::{LENS, SIDECAR};
use super::two_good;
use crate::visits::{Folder, replaced};
use hoofgeo::landmark::{Landmark, Line};
use hoofgeo::measure;
use serde_json::Value;
use std::process::Stdio;

const COMMANDS: [&str; 20] = [
    "measure",
    "join",
    "dictionary",
    "check",
    "rectify",
    "start",
    "ruler",
    "read",
    "place",
    "review",
    "project",
    "follow",
    "report",
    "observers",
    "plan",
    "explain",
    "guide",
    "schema",
    "lens",
    "demo",
];

#[test]
fn help_and_version() {
    let folder = Folder::new();
    let all = folder.run("--help").ends(0);
    for command in COMMANDS {
        assert!(all.out().contains(command));
        let help = folder.run(&format!("{command} --help")).ends(0);
        assert!(help.out().contains("Usage: hoofgeo") && help.err().is_empty(), "{}", help.out());
    }
    assert!(all.out().contains("vet") && all.out().contains("local law comes first"));
    assert_eq!(folder.run("--version").ends(0).out().trim(), format!("hoofgeo {}", env!("CARGO_PKG_VERSION")));
}

#[test]
fn what_cannot_run_ends_with_2() {
    let folder = two_good();
    folder.write("file.txt", "");
    std::fs::create_dir(folder.path("nothing-here")).unwrap();
    let cases = [
        ("", "Usage: hoofgeo"),
        ("mesure visit", "measure"),
        ("measure visit", "--out"),
        (
            "measure visit --out out --draws many",
            "must be 1000 to 1000000, 1 to 10000 with --write draws, or 0 for none",
        ),
        ("measure visit --out out --draws 10", "--draws must be 1000 or more"),
        ("measure visit --out out --threads 0", "1..=1024"),
        ("measure nowhere --out out", "error nowhere: does not exist\n      name the folder of a visit's photos\n"),
        ("check nowhere", "error nowhere: does not exist\n      name the folder of a visit's photos\n"),
        ("start nowhere", "error nowhere: does not exist\n      name the folder of a visit's photos\n"),
        ("check visit/file.txt", "error visit/file.txt: is not a folder\n"),
        (
            "measure visit/nothing-here --out out",
            "error visit/nothing-here: no photo is in this folder\n      name a folder",
        ),
        ("check visit/nothing-here", "error visit/nothing-here: no photo is in this folder\n      name a folder"),
        ("measure visit --out visit/file.txt", "error visit/file.txt: the output folder cannot be made"),
        ("explain heel_angel", "did you mean `heel_angle`?"),
        ("explain banana-split", "error no measurement, landmark or line is called `banana-split`\n"),
        ("schema results", "sidecar"),
    ];
    for (words, text) in cases {
        let run = folder.run(words).ends(2);
        assert!(run.err().contains(text), "{words}:\n{}", run.err());
        assert_eq!(run.out(), "", "{words}");
    }
    assert!(
        !folder.root().join("out/measurements.csv").exists() && !folder.root().join("out/measurements.json").exists()
    );
    let left = folder.root().join("out").read_dir().map_or(0, Iterator::count);
    assert_eq!(left, 0, "files left behind");
}

#[test]
fn results_go_to_stdout_and_talk_to_stderr() {
    let folder = two_good();
    let good = folder.run("measure visit --out out").ends(0);
    assert_eq!(good.err(), "");
    assert!(good.out().contains("Kestrel LF, lateral") && good.out().contains("2 photos measured: see out\n"));
    assert!(good.out().contains("no diagnosis"));
    folder.write("IMG_3.jpg", "no photo");
    let mixed = folder.run("measure visit --out out").ends(1);
    assert_eq!(
        mixed.err(),
        "refused visit/IMG_3.jpg: has no sidecar\n        `hoofgeo start FOLDER` writes one with empty slots\n"
    );
    assert!(
        mixed.out().contains("2 photos measured, unchanged since the last run, 1 photo refused: see out\n"),
        "{}",
        mixed.out()
    );
    for words in ["measure visit --out out --quiet", "measure visit --out out -q", "check visit --quiet"] {
        let quiet = folder.run(words).ends(1);
        assert_eq!((quiet.out(), quiet.err()), ("", mixed.err()), "{words}");
    }
    for words in
        ["measure visit --out out", "check visit", "start visit", "explain", "explain heel_angle", "check nowhere"]
    {
        let run = folder.run(words);
        assert!(!run.out().contains('\x1b') && !run.err().contains('\x1b'), "{words} writes ANSI codes to a pipe");
    }
}

/// A reader that has read enough (`hoofgeo explain | head -1`) is no error and no panic.
#[test]
fn a_closed_pipe_is_no_error() {
    let folder = two_good();
    for words in ["explain", "schema", "check visit", "measure visit --out out"] {
        let mut child = std::process::Command::new(env!("CARGO_BIN_EXE_hoofgeo"))
            .current_dir(folder.root())
            .args(words.split_whitespace())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        drop(child.stdout.take());
        let end = child.wait_with_output().unwrap();
        assert_eq!((end.status.code(), String::from_utf8_lossy(&end.stderr).as_ref()), (Some(0), ""), "{words}");
    }
}

#[test]
fn schemas_are_json_schema_and_accept_what_measures() {
    let folder = Folder::new();
    for format in ["", "sidecar", "visit", "lens"] {
        let text = folder.run(&format!("schema {format}")).ends(0);
        let schema: Value = serde_json::from_str(text.out()).unwrap();
        assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema");
        jsonschema::meta::validate(&schema).unwrap();
        let validator = jsonschema::validator_for(&schema).unwrap();
        let (good, (right, wrong)) = match format {
            "visit" => {
                (r#"{ "subject": { "animal": "Sorrel" }, "observer": "TA" }"#.to_owned(), ("observer", "observr"))
            }
            "lens" => {
                let zeros = serde_json::to_string(&[[0; 8]; 8]).unwrap();
                (replaced(LENS, &[("[[]]", &zeros)]), ("\"focal_px\": 2950.4", "\"focal_px\": 0"))
            }
            _ => (SIDECAR.to_owned(), ("\"LF\"", "\"XF\"")),
        };
        let bad = replaced(&good, &[(right, wrong)]);
        assert!(validator.is_valid(&serde_json::from_str(&good).unwrap()), "{format}");
        assert!(!validator.is_valid(&serde_json::from_str(&bad).unwrap()), "{format}");
    }
}

#[test]
fn explain_knows_every_name() {
    let folder = Folder::new();
    let list = folder.run("explain").ends(0);
    let names = measure::ALL.iter().map(|m| m.id);
    let names = names.chain(Landmark::ALL.iter().map(|l| l.name())).chain(Line::ALL.iter().map(|l| l.name()));
    for name in names {
        let text = folder.run(&format!("explain {name}")).ends(0);
        assert!(text.out().len() > 60 && text.err().is_empty(), "{name}: {}", text.out());
        assert!(list.out().contains(&format!("  {name}")), "{name} is not listed");
    }
}
