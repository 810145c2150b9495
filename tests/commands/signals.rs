//! Runs that are stopped.

use crate::visits::{Folder, headers, sidecar};
use std::process::{Child, Stdio};
use std::time::{Duration, Instant};

fn send(signal: &str, child: &Child) {
    let kill = std::process::Command::new("kill").args(["-s", signal, &child.id().to_string()]).status();
    assert!(kill.unwrap().success());
}

/// A run ended by a signal in its midst leaves no result file that is not whole; one that could clean up leaves nothing.
#[test]
fn a_killed_run_leaves_nothing_half() {
    let folder = Folder::new();
    let photo = headers::photo();
    for i in 0..600 {
        folder.write(&format!("{i}.jpg"), &photo);
        folder.write(&format!("{i}.jpg.hoof.json"), sidecar(&format!("{i}.jpg")));
    }
    let started = |out: &str| {
        let child = std::process::Command::new(env!("CARGO_BIN_EXE_hoofgeo"))
            .current_dir(folder.root())
            .args(["measure", "visit", "--no-pictures", "--draws", "100000", "--out", out])
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        // It has begun once its files are there; with so many draws it is far from its end.
        let since = Instant::now();
        while folder.root().join(out).join(".hoofgeo-unfinished").read_dir().map_or(0, Iterator::count) < 2 {
            assert!(since.elapsed() < Duration::from_secs(60), "it never began");
            std::thread::sleep(Duration::from_millis(5));
        }
        std::thread::sleep(Duration::from_millis(100));
        child
    };
    let names = |out: &str| -> Vec<String> {
        let entries = folder.root().join(out).read_dir().unwrap();
        entries.map(|e| e.unwrap().file_name().to_string_lossy().into_owned()).collect()
    };

    for signal in ["INT", "TERM"] {
        let child = started(signal);
        send(signal, &child);
        let end = child.wait_with_output().unwrap();
        let (out, err) = (String::from_utf8_lossy(&end.stdout), String::from_utf8_lossy(&end.stderr));
        assert_eq!(
            (end.status.code(), &*out, &*err),
            (Some(130), "", "stopped; no result file was written\n"),
            "{signal}"
        );
        assert_eq!(names(signal), Vec::<String>::new());
    }

    let mut child = started("killed");
    child.kill().unwrap();
    child.wait().unwrap();
    assert!(names("killed").iter().all(|n| n.starts_with('.')), "{:?}", names("killed"));

    // Results of an earlier run stay whole and as they were.
    let earlier = Folder::new();
    earlier.good("LF.jpg");
    earlier.run("measure visit --out out").ends(0);
    let json = earlier.read("out/measurements.json");
    std::fs::rename(earlier.root().join("out"), folder.root().join("earlier")).unwrap();
    let mut child = started("earlier");
    std::thread::sleep(Duration::from_millis(100));
    child.kill().unwrap();
    child.wait().unwrap();
    assert_eq!(folder.read("earlier/measurements.json"), json);
}

/// A photo in work is finished after the first signal; a second one ends the program in its midst, without a word.
#[test]
fn a_second_signal_ends_at_once() {
    let folder = Folder::new();
    folder.good("LF.jpg");
    // The photo may be done between the two signals: then the run says that it was stopped.
    let at_once = (0..10).any(|_| {
        let child = std::process::Command::new(env!("CARGO_BIN_EXE_hoofgeo"))
            .current_dir(folder.root())
            .args(["measure", "visit", "--no-pictures", "--draws", "1000000", "--out", "out"])
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let unfinished = folder.root().join("out/.hoofgeo-unfinished");
        let since = Instant::now();
        while !unfinished.exists() {
            assert!(since.elapsed() < Duration::from_secs(60), "it never began");
            std::thread::sleep(Duration::from_millis(1));
        }
        send("TERM", &child);
        std::thread::sleep(Duration::from_millis(20));
        send("TERM", &child);
        let end = child.wait_with_output().unwrap();
        assert!(!folder.root().join("out/measurements.json").exists());
        end.status.code() == Some(130) && end.stderr.is_empty()
    });
    assert!(at_once);
}
