//! The recipes of `fixtures/recipes`, run over the parts of one set; all give one answer.

use crate::visits::{Folder, headers, sidecar};
use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::Command;

fn recipe(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../fixtures/recipes").join(name)
}

/// Six feet of three animals, two photos each before a trim and after it; heels that a trim makes higher.
fn study() -> Folder {
    let folder = Folder::new();
    for (i, (animal, foot)) in ["Kestrel", "Marlow", "Bramble"].iter().flat_map(|a| [(a, "LF"), (a, "RF")]).enumerate()
    {
        for (stage, up) in [("before_trim", 0.0), ("after_trim", 4.0)] {
            for photo in 0..2 {
                let name = format!("{animal} {foot} {stage} {photo}.jpg");
                let moved = 430.0 - up - 0.7 * i as f64 - 0.4 * f64::from(photo) + 0.3 * up * (i % 3) as f64;
                let text = sidecar(&name)
                    .replace("Kestrel", animal)
                    .replace("\"LF\"", &format!("\"{foot}\""))
                    .replace("before_trim", stage)
                    .replace("[531.8, 430]", &format!("[531.8, {moved}]"));
                folder.write(&name, headers::photo());
                folder.write(&format!("{name}.hoof.json"), text);
            }
        }
    }
    folder
}

/// The program's folder first on the path, as an installed one would be.
fn command(program: impl AsRef<std::ffi::OsStr>, folder: &Folder) -> Command {
    let own = Path::new(env!("CARGO_BIN_EXE_hoofgeo")).parent().unwrap();
    let path = std::env::var_os("PATH").unwrap_or_default();
    let all = std::iter::once(own.to_path_buf()).chain(std::env::split_paths(&path));
    let mut command = Command::new(program);
    command.current_dir(folder.root()).env("PATH", std::env::join_paths(all).unwrap());
    command.env("XDG_CONFIG_HOME", folder.root().join("config"));
    command
}

/// What a recipe printed; none where its program or package is not here.
fn answer(mut command: Command, name: &str) -> Option<Value> {
    let run = match command.output() {
        Ok(run) => run,
        Err(_) => {
            println!("skipped: {name}, its program is not here");
            return None;
        }
    };
    let err = String::from_utf8_lossy(&run.stderr);
    if err.contains("ModuleNotFoundError") || err.contains("there is no package called") {
        println!("skipped: {name}, its package is not here");
        return None;
    }
    assert!(run.status.success(), "{name}: {err}");
    Some(
        serde_json::from_slice(&run.stdout)
            .unwrap_or_else(|e| panic!("{name}: {e}: {}", String::from_utf8_lossy(&run.stdout))),
    )
}

#[test]
fn recipes_over_parts_give_one_answer() {
    const ID: &str = "heel_angle";
    let folder = study();
    let with_parquet = if cfg!(feature = "parquet") { ",parquet" } else { "" };
    for part in 1..=4 {
        folder
            .run(&format!(
                "measure visit --no-pictures --write csv,jsonl,draws{with_parquet} --draws 50 --part {part}/4 --out out"
            ))
            .ends(0);
    }
    // By hand, of the tables.
    let mut values: std::collections::BTreeMap<(String, String), Vec<f64>> = std::collections::BTreeMap::new();
    for part in 1..=4 {
        for row in super::records(&folder.read(&format!("out/measurements.part-{part}-of-4.csv"))) {
            if row["measurement"] == ID {
                let key = (format!("{} {}", row["animal"], row["foot"]), row["stage"].clone());
                values.entry(key).or_default().push(row["value"].parse().unwrap());
            }
        }
    }
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
    let feet: std::collections::BTreeSet<_> = values.keys().map(|(foot, _)| foot.clone()).collect();
    let change = |foot: &String| {
        let of = |stage: &str| mean(&values[&(foot.clone(), stage.to_owned())]);
        of("after_trim") - of("before_trim")
    };
    let changes: Vec<f64> = feet.iter().map(change).collect();
    assert_eq!(changes.len(), 6);
    let expected = mean(&changes);
    let error = (changes.iter().map(|c| (c - expected).powi(2)).sum::<f64>() / 30.0).sqrt();
    let near = |found: &Value, key: &str, expected: f64, within: f64, name: &str| {
        let found = found[key].as_f64().unwrap_or(f64::NAN);
        assert!((found - expected).abs() <= within * expected.abs(), "{name}: {key} {found}, not {expected}");
    };
    if let Some(python) = std::env::var_os("HOOFGEO_PYTHON") {
        let typed: &[&str] = if cfg!(feature = "parquet") { &["polars_trim.py", "dask_trim.py"] } else { &[] };
        for name in ["pandas_trim.py"].iter().chain(typed) {
            let mut run = command(&python, &folder);
            run.arg(recipe(name)).args(["out", ID]);
            if let Some(found) = answer(run, name) {
                assert_eq!(found["feet"], 6, "{name}");
                near(&found, "change", expected, 1e-9, name);
                near(&found, "standard_error", error, 1e-9, name);
            }
        }
        if cfg!(feature = "parquet") {
            let query = std::fs::read_to_string(recipe("duckdb_trim.sql")).unwrap().replace("MEASUREMENT", ID);
            let mut run = command(&python, &folder);
            run.current_dir(folder.root().join("out")).args([
                "-c",
                "import duckdb, json, sys\nr = duckdb.sql(sys.argv[1]).fetchall()[0]\nprint(json.dumps(dict(zip(['feet', 'change', 'standard_error'], r))))",
                &query,
            ]);
            if let Some(found) = answer(run, "duckdb_trim.sql") {
                near(&found, "change", expected, 1e-9, "duckdb_trim.sql");
                near(&found, "standard_error", error, 1e-9, "duckdb_trim.sql");
            }
        }
        let mut run = command(&python, &folder);
        run.arg(recipe("imputation.py")).args(["out", ID]);
        if let Some(found) = answer(run, "imputation.py") {
            assert_eq!(found["draws"], 50);
            // What the photos are uncertain by widens it, and 50 draws move the mean by a part of that.
            let [total, within] = ["standard_error", "within"].map(|k| found[k].as_f64().unwrap());
            assert!(total > within && (found["change"].as_f64().unwrap() - expected).abs() < total, "{found}");
        }
    } else {
        println!("skipped: HOOFGEO_PYTHON names no Python");
    }
    let mut run = command("Rscript", &folder);
    run.arg(recipe("trim_study.R")).args(["out", ID]);
    if let Some(found) = answer(run, "trim_study.R") {
        assert_eq!(found["feet"], 6);
        // The study is balanced: the model's change is the mean of the feet's.
        near(&found, "change", expected, 1e-6, "trim_study.R");
    }
}

/// The shell recipes, run as a cluster would; where there is no bash or GNU parallel they are skipped.
#[test]
fn parts_are_measured_as_the_shell_recipes_say() {
    let folder = study();
    folder.run("measure visit --no-pictures --write csv,wide,jsonl --out once").ends(0);
    for task in 1..=4 {
        let mut run = command("bash", &folder);
        run.env("SLURM_ARRAY_TASK_ID", task.to_string()).env("SLURM_ARRAY_TASK_COUNT", "4");
        let Ok(run) = run.arg(recipe("slurm.sh")).args(["visit", "array"]).output() else {
            return println!("skipped: bash is not here");
        };
        assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    }
    folder.run("join array --out joined --write csv,wide,jsonl").ends(0);
    let same = |out: &str| {
        for file in ["measurements.csv", "measurements-wide.csv", "measurements.jsonl"] {
            assert!(folder.read(&format!("once/{file}")) == folder.read(&format!("{out}/{file}")), "{out}/{file}");
        }
    };
    same("joined");
    if command("parallel", &folder).arg("--version").output().is_err() {
        return println!("skipped: GNU parallel is not here");
    }
    let run = command("bash", &folder).arg(recipe("parallel.sh")).args(["visit", "parts", "whole"]).output().unwrap();
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    same("whole");
}

/// The paragraph on methods says what the manifest and the entries say.
#[test]
fn methods_say_what_a_run_used() {
    let folder = study();
    folder.write("bare.jpg", headers::photo());
    folder.run("measure visit --no-pictures --write csv,jsonl,draws --draws 1000 --seed 5 --out out").ends(1);
    let text = folder.run("dictionary --as methods --of out").ends(0);
    for part in [
        "24 photographs were measured with hoofgeo",
        "1 were refused",
        "Views: lateral (24)",
        "Landmarks were placed by MK (24)",
        "Scales: straight ruler (24)",
        "1000 Monte Carlo draws (JCGM 101:2008, seed 5)",
        "1000 joint draws",
        "declared one",
    ] {
        assert!(text.out().contains(part), "{part}: {}", text.out());
    }
    folder.run("measure visit --no-pictures --write csv --out tables").ends(1);
    let text = folder.run("dictionary --as methods --of tables").ends(0);
    assert!(text.out().contains("The run wrote tables alone"), "{}", text.out());
    assert!(!text.out().contains("Monte Carlo"), "{}", text.out());
    let run = folder.run("dictionary --as methods --of visit").ends(2);
    assert!(run.err().contains("holds no manifest"), "{}", run.err());
    folder.run("dictionary --as methods").ends(2);
}
