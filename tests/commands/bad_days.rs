//! What a hostile folder and a bad day do: links, pipes, names that are no text, damaged photos and profiles.

use super::two_good;
use crate::visits::{Folder, Run, headers, replaced, sidecar};
use std::path::Path;
use std::time::Duration;

/// A phone's profile (invented), with this focal length, px.
fn profile(focal_px: u32) -> String {
    let row = |i: usize, v: &str| {
        let cells: Vec<&str> = (0..8).map(|j| if i == j { v } else { "0" }).collect();
        format!("[{}]", cells.join(", "))
    };
    let rows: Vec<String> =
        ["4", "1", "1", "1e-6", "0", "0", "0", "0"].iter().enumerate().map(|(i, v)| row(i, v)).collect();
    format!(
        r#"{{ "format": "hoofgeo-lens/1", "camera": {{ "make": "Generic", "model": "Phone" }},
  "frame": {{ "width_px": 800, "height_px": 600 }}, "focal_px": {focal_px}, "principal_point_px": [400, 300],
  "distortion": {{ "model": "brown_conrady", "k1": -0.02, "k2": 0, "k3": 0, "p1": 0, "p2": 0 }},
  "order": ["focal_px", "cx", "cy", "k1", "k2", "k3", "p1", "p2"], "covariance": [{}] }}"#,
        rows.join(", ")
    )
}

fn with_lens(name: &str, lens: &str) -> String {
    replaced(&sidecar(name), &[("\"MK\",", &format!("\"MK\", \"lens\": \"{lens}\","))])
}

/// What a run says of each photo's camera: its name, the profile, focal length and its uncertainty.
fn cameras(folder: &Folder, out: &str) -> Vec<(String, String, f64, f64)> {
    let results = folder.json(&format!("{out}/measurements.json"));
    let camera = |p: &serde_json::Value| {
        let c = &p["scene"]["camera"];
        let text = |v: &serde_json::Value| v.as_str().unwrap_or("none").to_owned();
        let f = &c["focal_px"];
        (text(&p["photo"]), text(&c["lens_profile"]), f["value"].as_f64().unwrap(), f["u"].as_f64().unwrap())
    };
    results["photos"].as_array().unwrap().iter().map(camera).collect()
}

const MEASURE: &str = "measure visit --no-lens-database --no-pictures";

#[cfg(unix)]
#[test]
fn links_in_place_of_the_outputs_own_folders_are_not_followed() {
    use std::os::unix::fs::symlink;
    let folder = two_good();
    let at = |name: &str| folder.root().join(name);
    let theirs = at("theirs");
    let put = |dir: &Path| {
        std::fs::create_dir_all(dir).unwrap();
        for name in ["1.journal", "lock", "diary.txt", ".hoofgeo-aB3xYz.tmp"] {
            std::fs::write(dir.join(name), "precious").unwrap();
        }
    };
    let whole = |dir: &Path| {
        for name in ["1.journal", "lock", "diary.txt", ".hoofgeo-aB3xYz.tmp"] {
            assert_eq!(std::fs::read(dir.join(name)).unwrap(), b"precious", "{name}");
        }
    };
    put(&theirs);
    std::fs::create_dir(at("out")).unwrap();
    symlink(&theirs, at("out/.hoofgeo-unfinished")).unwrap();
    let run = folder.run(&format!("{MEASURE} --out out")).ends(2);
    assert!(run.err().contains("it is a link, and links are not followed here"), "{}", run.err());
    whole(&theirs);
    std::fs::remove_file(at("out/.hoofgeo-unfinished")).unwrap();
    // In place of its lock.
    std::fs::create_dir(at("out/.hoofgeo-unfinished")).unwrap();
    symlink(theirs.join("diary.txt"), at("out/.hoofgeo-unfinished/lock")).unwrap();
    folder.run(&format!("{MEASURE} --out out")).ends(2);
    whole(&theirs);
    std::fs::remove_file(at("out/.hoofgeo-unfinished/lock")).unwrap();
    // What is in a real one that this program does not write stays, and so does what a link in it stands for.
    std::fs::write(at("out/.hoofgeo-unfinished/notes.txt"), "mine").unwrap();
    symlink(theirs.join("1.journal"), at("out/.hoofgeo-unfinished/3.journal")).unwrap();
    folder.run(&format!("{MEASURE} --out out")).ends(0);
    assert_eq!(folder.read("out/.hoofgeo-unfinished/notes.txt"), "mine");
    whole(&theirs);
    // In place of the pictures.
    symlink(&theirs, at("out/pictures")).unwrap();
    let run = folder.run("measure visit --no-lens-database --out out").ends(1);
    assert!(run.out().contains("2 photos measured, 2 of them without a picture"), "{}", run.out());
    whole(&theirs);
    assert_eq!(theirs.read_dir().unwrap().count(), 4);
}

#[test]
fn two_profiles_of_one_name_stay_apart() {
    let folder = Folder::new();
    for (name, lens, focal) in [("a.jpg", "../A/cam.lens.json", 600), ("b.jpg", "../B/cam.lens.json", 640)] {
        folder.write(name, headers::photo());
        folder.write(&format!("{name}.hoof.json"), with_lens(name, lens));
        folder.write(&format!("../{}", &lens[3..]), profile(focal));
    }
    folder.run(&format!("{MEASURE} --out before")).ends(0);
    folder.run("read visit --out copy").ends(0);
    folder.run("measure copy --no-lens-database --no-pictures --out after").ends(0);
    let focals = |out| cameras(&folder, out).into_iter().map(|(n, _, f, u)| (n, f.round(), u)).collect::<Vec<_>>();
    assert_eq!(focals("before"), focals("after"));
    assert_eq!(focals("after").iter().map(|(_, f, _)| *f).collect::<Vec<_>>(), [600.0, 640.0]);
}

#[test]
fn a_profile_that_was_chosen_by_itself_goes_along() {
    let folder = two_good();
    folder.good("sub/LF.jpg");
    folder.write("phone.lens.json", profile(600));
    folder.run(&format!("{MEASURE} --out before")).ends(0);
    folder.run("read visit --out copy").ends(0);
    assert_eq!(folder.json("copy/sub/LF.jpg.hoof.json")["lens"], "../phone.lens.json");
    assert_eq!(folder.json("copy/IMG_2.jpg.hoof.json")["lens"], "phone.lens.json");
    folder.run("measure copy --no-lens-database --no-pictures --out after").ends(0);
    assert_eq!(cameras(&folder, "before"), cameras(&folder, "after"));
    assert!(cameras(&folder, "after").iter().all(|(.., u)| *u < 3.0));
}

/// Photos whose names are made one by turning them into text.
#[cfg(target_os = "linux")]
#[test]
fn names_that_are_no_text_are_told_apart() {
    use std::os::unix::ffi::OsStrExt;
    let folder = Folder::new();
    let at = |name: &[u8]| folder.path("").join(std::ffi::OsStr::from_bytes(name));
    for (name, shown, x) in
        [(&b"caf\xe8.jpg"[..], "caf\u{fffd}E8.jpg", "240"), (&b"caf\xe9.jpg"[..], "caf\u{fffd}E9.jpg", "250")]
    {
        std::fs::write(at(name), headers::photo()).unwrap();
        let text = replaced(&sidecar(shown), &[("[240, 480]", &format!("[{x}, 480]"))]);
        std::fs::write(at(&[name, b".hoof.json"].concat()), text).unwrap();
    }
    let run = folder.run("measure visit --no-lens-database --out out").ends(0);
    assert_eq!(run.err(), "");
    let names: Vec<String> = cameras(&folder, "out").into_iter().map(|(name, ..)| name).collect();
    assert_eq!(names, ["caf\u{fffd}E8.jpg", "caf\u{fffd}E9.jpg"]);
    for name in &names {
        assert!(folder.root().join("out/pictures").join(name).is_file(), "{name}");
    }
    // A second run takes both over.
    let again = folder.run("measure visit --no-lens-database --out out").ends(0);
    assert!(again.out().contains("2 photos measured, unchanged since the last run"), "{}", again.out());
    // `start` writes what `measure` reads, and `read` keeps their names.
    std::fs::write(at(b"\xff.jpg"), headers::photo()).unwrap();
    folder.run("start visit").ends(0);
    assert_eq!(
        std::fs::read_to_string(at(b"\xff.jpg.hoof.json")).unwrap().matches("\"file\": \"\u{fffd}FF.jpg\"").count(),
        1
    );
    std::fs::remove_file(at(b"\xff.jpg.hoof.json")).unwrap();
    std::fs::remove_file(at(b"\xff.jpg")).unwrap();
    folder.run("read visit --out copy").ends(0);
    folder.run("measure copy --no-lens-database --no-pictures --out after").ends(0);
    assert_eq!(cameras(&folder, "after").len(), 2);
}

#[test]
fn half_a_photo_is_told() {
    let folder = two_good();
    let whole = headers::photo();
    folder.write("IMG_2.jpg", &whole[..whole.len() / 2]);
    let run = folder.run("measure visit --no-lens-database --out out").ends(1);
    assert!(run.out().contains("2 photos measured, 1 of them without a picture"), "{}", run.out());
    assert!(run.err().contains("no picture visit/IMG_2.jpg: the photo is cut off"), "{}", run.err());
    // Again: it is no better.
    folder.run("measure visit --no-lens-database --out out").ends(1);
    let check = folder.run("check visit").ends(1);
    assert!(check.err().contains("damaged visit/IMG_2.jpg: the photo is cut off"), "{}", check.err());
    assert!(!check.out().contains("good    IMG_2.jpg"), "{}", check.out());
    assert!(check.out().contains("2 would be measured, 1 of them damaged, 0 refused"), "{}", check.out());
}

#[test]
fn pictures_that_cannot_be_written_are_told() {
    let folder = two_good();
    std::fs::create_dir(folder.root().join("out")).unwrap();
    std::fs::write(folder.root().join("out/pictures"), "not a folder").unwrap();
    let run = folder.run("measure visit --no-lens-database --out out").ends(1);
    assert!(run.out().contains("2 photos measured, 2 of them without a picture"), "{}", run.out());
    assert!(run.err().contains("there is a file of this name"), "{}", run.err());
    assert_eq!(folder.read("out/pictures"), "not a folder");
}

/// Not for a user who may write everywhere.
#[cfg(unix)]
#[test]
fn pictures_that_may_not_be_written_are_told() {
    use std::os::unix::fs::PermissionsExt;
    let folder = two_good();
    let pictures = folder.root().join("out/pictures");
    std::fs::create_dir_all(&pictures).unwrap();
    let mode = |mode| std::fs::set_permissions(&pictures, std::fs::Permissions::from_mode(mode)).unwrap();
    mode(0o555);
    if std::fs::write(pictures.join("probe"), "").is_ok() {
        std::fs::remove_file(pictures.join("probe")).unwrap();
        return;
    }
    let run = folder.run("measure visit --no-lens-database --out out").ends(1);
    mode(0o755);
    assert!(run.out().contains("2 photos measured, 2 of them without a picture"), "{}", run.out());
}

#[test]
fn a_broken_profile_in_the_folder_is_told_by_name() {
    let folder = two_good();
    folder.write("empty.lens.json", "");
    folder.write("sub.lens.json/x", "");
    let run = folder.run(&format!("{MEASURE} --out out")).ends(0);
    for name in ["visit/empty.lens.json", "visit/sub.lens.json"] {
        assert_eq!(run.err().matches(&format!("note {name}")).count(), 1, "{}", run.err());
    }
    assert!(run.out().contains("2 photos measured, 2 lens profiles passed over"), "{}", run.out());
    let note = &folder.json("out/measurements.json")["photos"][0]["scene"]["camera"]["lens_note"];
    assert!(note.as_str().unwrap().contains("empty.lens.json"), "{note}");
    // Of photos that were measured before too.
    let again = folder.run(&format!("{MEASURE} --out out")).ends(0);
    assert!(again.err().contains("note visit/empty.lens.json"), "{}", again.err());
    for words in ["check visit", "read visit --out copy", "review visit"] {
        let run = folder.run(words).ends(0);
        assert!(run.err().contains("visit/empty.lens.json"), "{words}: {}", run.err());
    }
}

#[test]
fn a_damaged_manifest_is_not_copied_on() {
    let folder = two_good();
    folder.run(&format!("{MEASURE} --out out")).ends(0);
    let whole = folder.read("out/manifest.jsonl");
    let key = "\"photo_sha256\":\"";
    let at = whole.find(key).unwrap() + key.len();
    for (from, to) in [(at, at + 1), (whole.find("\"sidecar_sha256\":\"").unwrap() + 18, 0)] {
        let mut damaged = whole.clone();
        let other = if &whole[from..=from] == "0" { "1" } else { "0" };
        damaged.replace_range(from..=from, other);
        assert!(damaged != whole && to <= damaged.len());
        std::fs::write(folder.root().join("out/manifest.jsonl"), damaged).unwrap();
        folder.run(&format!("{MEASURE} --out out")).ends(0);
        assert_eq!(folder.read("out/manifest.jsonl"), whole);
    }
}

/// Runs a command that has to come to its end by itself.
fn in_time(folder: &Folder, words: &str) -> Run {
    let run = Run(folder.command(words).timeout(Duration::from_secs(60)).output().unwrap());
    assert!(run.code().is_some(), "`{words}` does not end");
    run
}

#[cfg(unix)]
#[test]
fn a_pipe_or_a_device_in_place_of_a_file_hangs_nothing() {
    let pipe = |path: &Path| assert!(std::process::Command::new("mkfifo").arg(path).status().unwrap().success());
    let commands = [
        "measure visit --no-pictures --out out",
        "check visit",
        "read visit --out copy",
        "rectify visit --out flat",
        "review visit",
        "report visit --out pages",
        "project visit",
        "observers visit --out spread",
    ];
    for name in ["visit.hoof.json", "phone.lens.json", "IMG_2.jpg.hoof.json", "IMG_10.jpg"] {
        let folder = two_good();
        let _ = std::fs::remove_file(folder.path(name));
        pipe(&folder.path(name));
        for words in commands {
            let run = in_time(&folder, words);
            // The others say it in words of their own, or have another reason to end first.
            let says = ["measure", "check", "read", "rectify"].iter().any(|w| words.starts_with(w));
            let told = run.err().contains("a pipe") || run.err().contains("not a regular file");
            assert!(told || !says, "{name}, {words}: {}", run.err());
        }
    }
    let folder = two_good();
    folder.write("IMG_2.jpg.hoof.json", with_lens("IMG_2.jpg", "/dev/zero"));
    pipe(&folder.root().join("pipe"));
    let run = in_time(&folder, "measure visit --no-pictures --out out");
    assert!(run.err().contains("it is a device, not a regular file"), "{}", run.err());
    for words in
        ["review visit --rules pipe", "measure visit --placement pipe --out out", "lens import pipe --out x.lens.json"]
    {
        let run = in_time(&folder, words).ends(2);
        assert!(run.err().contains("it is a pipe, not a regular file"), "{words}: {}", run.err());
    }
    // Where results of an earlier run, or a run's journal, should stand.
    std::fs::create_dir_all(folder.root().join("out/.hoofgeo-unfinished")).unwrap();
    let _ = std::fs::remove_file(folder.root().join("out/manifest.jsonl"));
    pipe(&folder.root().join("out/manifest.jsonl"));
    pipe(&folder.root().join("out/.hoofgeo-unfinished/1.journal"));
    in_time(&folder, "measure visit --no-pictures --out out").ends(1);
    pipe(&folder.root().join("out/.hoofgeo-unfinished/lock"));
    in_time(&folder, "measure visit --no-pictures --out out").ends(2);
}

#[test]
fn a_file_without_end_is_not_read_to_it() {
    let folder = two_good();
    let sparse = |name: &str, bytes: u64| std::fs::File::create(folder.path(name)).unwrap().set_len(bytes).unwrap();
    sparse("IMG_2.jpg.hoof.json", 40 << 30);
    let run = in_time(&folder, &format!("{MEASURE} --out out")).ends(1);
    let wanted = "visit/IMG_2.jpg.hoof.json: is larger than 4 MiB, the most that a sidecar may have";
    assert!(run.err().contains(wanted), "{}", run.err());
}

/// What a program that was killed has left in a folder goes when the next one writes there; what looks like it and is another's stays.
#[test]
fn leftovers_are_swept_at_the_next_start() {
    let folder = Folder::new();
    folder.write("LF.jpg", headers::photo());
    for name in [".hoofgeo-aB3xYz.tmp", ".tmpAbCdEf"] {
        folder.write(name, "half");
        let before = std::time::SystemTime::now() - Duration::from_secs(60);
        std::fs::File::options().write(true).open(folder.path(name)).unwrap().set_modified(before).unwrap();
    }
    folder.run("start visit").ends(0);
    assert!(!folder.path(".hoofgeo-aB3xYz.tmp").exists() && folder.path(".tmpAbCdEf").exists());
}
