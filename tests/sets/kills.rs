//! Runs that are killed and started again.

use super::{FILES, MEASURE, assert_same, results, set};
use crate::visits::Folder;
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::process::{Child, Stdio};
use std::time::{Duration, Instant};

/// Small enough for fifty runs, large enough that they are killed in its midst.
const PHOTOS: usize = 120;

/// With pictures a photo takes ten times as long.
const WITH_PICTURES: &str = "measure visit --no-lens-database --write csv,wide,json,jsonl";

fn start(folder: &Folder, measure: &str, out: &str) -> Child {
    std::process::Command::new(env!("CARGO_BIN_EXE_hoofgeo"))
        .current_dir(folder.root())
        .args(measure.split(' '))
        .args(["--out", out, "--quiet"])
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

/// Numbers between 0 and 1 without much order (Weyl's sequence of the golden ratio).
fn shares() -> impl Iterator<Item = f64> {
    (1..).map(|i| (f64::from(i) * 0.618_033_988_749_895).fract())
}

/// Every file of a results' folder, that of an unfinished run too.
fn everything(folder: &Folder, out: &str) -> BTreeMap<PathBuf, Vec<u8>> {
    let root = folder.root().join(out);
    let mut found = BTreeMap::new();
    let mut to_do = vec![root.clone()];
    while let Some(next) = to_do.pop() {
        for entry in next.read_dir().unwrap().map(Result::unwrap) {
            if entry.file_type().unwrap().is_dir() {
                to_do.push(entry.path());
            } else {
                let name = entry.path().strip_prefix(&root).unwrap().to_path_buf();
                found.insert(name, std::fs::read(entry.path()).unwrap());
            }
        }
    }
    found
}

#[test]
fn killed_fifty_times_gives_the_same_bytes() {
    killed(MEASURE, PHOTOS, 50);
}

/// As many times as `HOOFGEO_KILLS` says.
#[test]
fn killed_while_pictures_are_drawn_gives_the_same_bytes() {
    let kills = std::env::var("HOOFGEO_KILLS").map_or(12, |n| n.parse().unwrap());
    killed(WITH_PICTURES, 30, kills);
}

/// Killed at so many moments, each time going on: the files are those of a run that was left alone, pictures too, and nothing else is left.
/// Where one comes to its end before it is killed, another begins anew.
fn killed(measure: &str, photos: usize, all: usize) {
    let folder = set(photos);
    let begun = Instant::now();
    folder.run(&format!("{measure} --out whole")).ends(1);
    let alone = begun.elapsed();
    let whole = results(&folder, "whole");
    let all_whole = everything(&folder, "whole");
    let (mut kills, mut ends, mut went_on) = (0, 0, 0);
    for share in shares() {
        let mut child = start(&folder, measure, "killed");
        // Short against the whole, so that it takes several to the end.
        std::thread::sleep(alone.mul_f64(share));
        match child.try_wait().unwrap() {
            Some(end) => {
                assert_eq!(end.code(), Some(1));
                assert_same(&whole, &results(&folder, "killed"));
                assert!(all_whole == everything(&folder, "killed"), "something else than in one go");
                assert!(!folder.root().join("killed/.hoofgeo-unfinished").exists());
                std::fs::remove_dir_all(folder.root().join("killed")).unwrap();
                ends += 1;
            }
            None => {
                child.kill().unwrap();
                child.wait().unwrap();
                kills += 1;
                let named = |file: &&str| folder.root().join("killed").join(file).exists();
                // Between the first name and the last there is a moment; before it there is none of the files, after it no work folder.
                let named = FILES.iter().filter(|f| named(f)).count();
                let journals = folder.root().join("killed/.hoofgeo-unfinished").read_dir().map_or(0, Iterator::count);
                assert!(named == 0 || named == FILES.len() || journals > 0);
                went_on += usize::from(journals > 2);
            }
        }
        if kills == all {
            break;
        }
    }
    let run = folder.run(&format!("{measure} --out killed")).ends(1);
    assert_same(&whole, &results(&folder, "killed"));
    assert!(all_whole == everything(&folder, "killed"), "something else than in one go");
    assert!(run.out().contains(&format!("{photos} photos measured")), "{}", run.out());
    println!(
        "{all} kills, {went_on} of them with something to go on from, {ends} ends between them, {alone:?} in one go"
    );
    assert!(went_on > all / 10, "hardly any kill came after something was measured");
}

/// Ctrl-C keeps what was measured, and the same command goes on from there.
#[test]
fn an_interrupted_run_goes_on() {
    let folder = set(300);
    folder.run(&format!("{MEASURE} --draws 1000 --out whole")).ends(1);
    let mut child = std::process::Command::new(env!("CARGO_BIN_EXE_hoofgeo"))
        .current_dir(folder.root())
        .args(MEASURE.split(' '))
        .args(["--draws", "1000", "--out", "out"])
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let since = Instant::now();
    let measured = || {
        let journal = folder.root().join("out/.hoofgeo-unfinished/1.journal");
        journal.metadata().is_ok_and(|m| m.len() > 0)
    };
    while !measured() && child.try_wait().unwrap().is_none() {
        assert!(since.elapsed() < Duration::from_secs(60), "it never began");
        std::thread::sleep(Duration::from_millis(1));
    }
    let kill = std::process::Command::new("kill").args(["-s", "INT", &child.id().to_string()]).status();
    assert!(kill.unwrap().success());
    let end = child.wait_with_output().unwrap();
    let err = String::from_utf8_lossy(&end.stderr);
    assert_eq!(end.status.code(), Some(130), "{err}");
    assert!(err.ends_with("stopped; no result file was written; the same command goes on where it stopped\n"), "{err}");
    let run = folder.run(&format!("{MEASURE} --draws 1000 --out out")).ends(1);
    let unchanged: usize = run
        .out()
        .split_once(" of them unchanged since the last run")
        .unwrap()
        .0
        .rsplit(' ')
        .next()
        .unwrap()
        .parse()
        .unwrap();
    assert!((1..300).contains(&unchanged), "{unchanged}");
    assert_same(&results(&folder, "whole"), &results(&folder, "out"));
}
