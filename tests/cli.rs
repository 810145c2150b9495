//! The command line from outside: exit codes, what goes to which stream, result files, and that inputs stay as they are.
#![allow(clippy::unwrap_used, reason = "tests")]

mod visits;

use hoofgeo::landmark::{Landmark, Line};
use hoofgeo::{measure, visit};
use serde_json::Value;
use std::process::Stdio;
use std::time::{Duration, Instant};
use visits::headers::{self, Field};
use visits::{Folder, LANDMARKS, SCALE, replaced, sidecar};

const COMMANDS: [&str; 5] = ["measure", "check", "start", "explain", "schema"];

fn two_good() -> Folder {
    let folder = Folder::new();
    folder.good("IMG_10.jpg");
    folder.good("IMG_2.jpg");
    folder
}

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
        ("measure visit --out out --draws many", "must be 1000 to 1000000, or 0 for none"),
        ("measure visit --out out --draws 10", "must be 1000 to 1000000, or 0 for none"),
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
    assert!(mixed.out().contains("2 photos measured, 1 photo refused: see out\n"), "{}", mixed.out());
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
    let header = "photo,animal,foot,view,stage,taken,observer,measurement,unit,value,u,k,U,lower,upper,method,flags";
    assert_eq!(records[0].join(","), header);
    assert_eq!(visit::CSV_COLUMNS.join(","), header);
    let json = folder.json("out/measurements.json");
    let mut rows = records[1..].iter();
    for photo in json["photos"].as_array().unwrap() {
        for m in photo["measurements"].as_array().unwrap() {
            let row = rows.next().unwrap();
            let column = |name: &str| row[records[0].iter().position(|c| c == name).unwrap()].as_str();
            for key in ["photo", "animal", "foot", "view", "stage", "taken", "observer"] {
                assert_eq!(Some(column(key)), photo[key].as_str(), "{key}");
            }
            for key in ["measurement", "unit", "method"] {
                assert_eq!(Some(column(key)), m[key].as_str(), "{key}");
            }
            for key in ["value", "u", "k", "U", "lower", "upper"] {
                let (csv, json): (f64, _) = (column(key).parse().unwrap(), m[key].as_f64().unwrap());
                assert_eq!(csv.to_bits(), json.to_bits(), "{key} loses digits");
            }
            let flags: Vec<_> = m["flags"].as_object().unwrap().keys().map(String::as_str).collect();
            let mut listed: Vec<_> = column("flags").split(';').filter(|f| !f.is_empty()).collect();
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

/// Neither measuring nor checking writes to a visit, and results inside of it are not taken for photos afterwards.
#[test]
fn results_inside_the_visit_are_not_walked() {
    let folder = two_good();
    let before = folder.files();
    let first = folder.run("measure visit --out visit/results").ends(0);
    // As a run with pictures leaves them.
    for name in ["IMG_2.jpg", "IMG_10.png"] {
        folder.write(&format!("results/pictures/{name}"), headers::photo());
    }
    let json = folder.read("visit/results/measurements.json");
    let again = folder.run("measure visit --out visit/results").ends(0);
    assert_eq!((first.out(), json), (again.out(), folder.read("visit/results/measurements.json")));
    for words in ["measure visit --out elsewhere", "check visit", "start visit"] {
        folder.run(words).ends(0);
    }
    std::fs::remove_dir_all(folder.path("results")).unwrap();
    assert_eq!(folder.files(), before);
    // Results among the photos themselves.
    folder.run("measure visit --out visit").ends(0);
    folder.write("pictures/IMG_2.jpg", headers::photo());
    folder.run("measure visit --out visit").ends(0);
    folder.run("check visit").ends(0);
    // A folder of that name in which somebody works is a folder of photos.
    folder.good("pictures/LF.jpg");
    folder.run("check visit").ends(1);
}

#[test]
fn start_writes_new_sidecars_and_never_over_one() {
    let folder = two_good();
    let before = folder.files();
    let nothing = folder.run("start visit").ends(0);
    assert_eq!(nothing.out(), "0 written, 2 left as they were, 0 refused\n");
    assert_eq!(folder.files(), before);
    folder.write("LF-side.jpg", headers::photo());
    folder.write("IMG_4.jpg", headers::photo());
    folder.write("bad.jpg", "");
    let run = folder.run("start visit").ends(1);
    assert_eq!(
        run.err(),
        "refused visit/bad.jpg: the file is empty\n        copy it again from the camera or the backup\n"
    );
    assert!(run.out().contains("written visit/LF-side.jpg.hoof.json\n"), "{}", run.out());
    assert!(before.iter().all(|(path, content)| &std::fs::read(path).unwrap() == content));
    std::fs::remove_file(folder.path("bad.jpg")).unwrap();

    // What is written reads back; check says what is still to be done, and so does measure.
    let check = folder.run("check visit").ends(1);
    let expected = "refused visit/IMG_4.jpg.hoof.json:12:11: view: `view` is still empty: write \"lateral\" or \"solar\"\n\
        refused visit/LF-side.jpg.hoof.json: no graduation of the scale is marked and no landmark is placed yet\n        \
        write graduations of the ruler, three or more and far apart, into the sidecar's scale.points: { \"mm\": 50, \"at\": \
        [x, y] }, the pixel counted from the photo's top left corner; write each landmark's pixel into its slot under the \
        sidecar's landmarks: { \"at\": [x, y] }\n";
    assert_eq!(check.err(), expected);
    assert_eq!(folder.run("measure visit --out out").ends(1).err(), expected);
    // Filled in, it is measured.
    let text = folder.read("visit/LF-side.jpg.hoof.json");
    let points = SCALE.split_once("\"points\": ").unwrap().1.trim_end().strip_suffix('}').unwrap();
    let text = replaced(
        &text,
        &[
            ("\"points\": []", &format!("\"points\": {points}")),
            ("\"toe_ground\": null", "\"toe_ground\": { \"at\": [240, 480] }"),
        ],
    );
    folder.write("LF-side.jpg.hoof.json", text);
    let check = folder.run("check visit").ends(1);
    assert!(check.out().contains("good    LF-side.jpg\n        still empty: toe_coronet, "), "{}", check.out());
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
        if matches!(format, "" | "sidecar") {
            let good: Value = serde_json::from_str(&sidecar("LF.jpg")).unwrap();
            assert!(validator.is_valid(&good));
            let bad = replaced(&sidecar("LF.jpg"), &[("\"observer\"", "\"observr\"")]);
            assert!(!validator.is_valid(&serde_json::from_str(&bad).unwrap()));
        }
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

/// What a visit shares counts for its folder and those below, a sidecar's own value wins, and a broken visit file stops its own
/// folder only.
#[test]
fn what_a_visit_shares() {
    let folder = two_good();
    let bare = |name: &str| {
        replaced(
            &sidecar(name),
            &[
                ("\"animal\": \"Kestrel\", ", ""),
                ("  \"observer\": \"MK\",\n", ""),
                ("  \"taken\": \"2026-05-04T09:30:00+01:00\",\n", ""),
                (&format!("  \"scale\": {SCALE},\n"), ""),
            ],
        )
    };
    folder.write("herd/visit.hoof.json", format!(
        r#"{{ "subject": {{ "animal": "Sorrel" }}, "observer": "TA", "taken": "2026-05-05", "lens": "phone.lens.json", "scale": {SCALE} }}"#
    ));
    let profile = r#"{ "format": "hoofgeo-lens/1", "frame": { "width_px": 800, "height_px": 600 }, "focal_px": 601,
        "principal_point_px": [400, 300], "distortion": { "model": "brown_conrady", "k1": 0, "k2": 0, "k3": 0, "p1": 0, "p2": 0 },
        "order": ["focal_px", "cx", "cy", "k1", "k2", "k3", "p1", "p2"], "covariance": ZEROS }"#;
    let zeros = serde_json::to_string(&[[0; 8]; 8]).unwrap();
    folder.write("herd/phone.lens.json", profile.replace("ZEROS", &zeros));
    for name in ["herd/LF.jpg", "herd/morning/LF.jpg"] {
        folder.write(name, headers::photo());
        folder.write(&format!("{name}.hoof.json"), bare("LF.jpg"));
    }
    folder.good("herd/own.jpg");
    folder.write("broken/visit.hoof.json", "{\n  \"observer\": \"TA\",\n  \"anmal\": \"Sorrel\"\n}");
    folder.good("broken/LF.jpg");
    folder.good("broken/RF.jpg");
    folder.write("broken/below/visit.hoof.json", "{}");
    folder.good("broken/below/LF.jpg");

    let run = folder.run("measure visit --out out").ends(1);
    let text = |photo: &str| {
        format!(
            "refused visit/broken/visit.hoof.json:3:3: anmal: unknown key `anmal`\n        known here: `format`, `subject`, \
            `taken`, `observer`, `lens`, `scale`, `planes` or `notes`; broken/{photo} is measured with this file\n"
        )
    };
    assert_eq!(run.err(), text("LF.jpg") + &text("RF.jpg"));
    assert_eq!(folder.run("check visit").ends(1).err(), run.err());
    let json = folder.json("out/measurements.json");
    let found: Vec<_> = json["photos"]
        .as_array()
        .unwrap()
        .iter()
        .map(|p| {
            let text = |v: &Value| v.as_str().unwrap_or("-").to_owned();
            [
                text(&p["photo"]),
                text(&p["animal"]),
                text(&p["observer"]),
                text(&p["taken"]),
                text(&p["scene"]["camera"]["lens_profile"]),
            ]
            .join(" ")
        })
        .collect();
    let day = "2026-05-04T09:30:00+01:00";
    assert_eq!(
        found,
        [
            format!("broken/below/LF.jpg Kestrel MK {day} -"),
            "herd/LF.jpg Sorrel TA 2026-05-05 phone.lens.json".to_owned(),
            "herd/morning/LF.jpg Sorrel TA 2026-05-05 ../phone.lens.json".to_owned(),
            format!("herd/own.jpg Kestrel MK {day} phone.lens.json"),
            format!("IMG_2.jpg Kestrel MK {day} -"),
            format!("IMG_10.jpg Kestrel MK {day} -"),
        ]
    );
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

/// Orphans, folders with photos' names and sidecars under wrong names are named, not passed over.
#[test]
fn sidecars_without_photos_are_refused_with_the_reason() {
    let folder = two_good();
    folder.write("gone.jpg.hoof.json", sidecar("gone.jpg"));
    folder.write("LF.hoof.json", sidecar("LF.jpg"));
    folder.write("LF.jpg", headers::photo());
    folder.write("notes.txt", "");
    folder.write("notes.txt.hoof.json", sidecar("notes.txt"));
    folder.good("album.jpg/inside.jpg");
    folder.write("album.jpg.hoof.json", sidecar("album.jpg"));
    let run = folder.run("measure visit --out out").ends(1);
    let expected = "refused visit/album.jpg.hoof.json: `album.jpg` is a folder, not a photo\n        \
        a sidecar stands beside its photo and has its name: LF.jpg and LF.jpg.hoof.json\n\
        refused visit/gone.jpg.hoof.json: the photo that this sidecar belongs to is missing\n        \
        put gone.jpg beside it, or remove the sidecar\n\
        refused visit/LF.hoof.json: `LF` is no photo's name\n        rename the sidecar to LF.jpg.hoof.json\n\
        refused visit/LF.jpg: has no sidecar\n        `hoofgeo start FOLDER` writes one with empty slots\n\
        refused visit/notes.txt.hoof.json: `notes.txt` is no photo's name\n        \
        a sidecar has its photo's whole name: LF.jpg and LF.jpg.hoof.json\n";
    assert_eq!(run.err(), expected);
    assert!(run.out().contains("3 photos measured, 5 photos refused"), "{}", run.out());
    assert_eq!(folder.run("check visit").ends(1).err(), expected);
}

/// What cannot be opened is refused; the rest is measured. The superuser may open everything.
#[cfg(unix)]
#[test]
fn unreadable_files_and_links_to_nowhere() {
    use std::os::unix::fs::{PermissionsExt, symlink};
    let folder = two_good();
    folder.write("link.jpg.hoof.json", sidecar("link.jpg"));
    symlink("nowhere.jpg", folder.path("link.jpg")).unwrap();
    let run = folder.run("measure visit --out out").ends(1);
    assert_eq!(
        run.err(),
        "refused visit/link.jpg: cannot open the file: No such file or directory (os error 2)\n        check the name and the folder\n"
    );
    std::fs::remove_file(folder.path("link.jpg")).unwrap();
    symlink("IMG_2.jpg", folder.path("link.jpg")).unwrap();
    folder.run("measure visit --out out").ends(0);
    std::fs::set_permissions(folder.path("IMG_10.jpg"), PermissionsExt::from_mode(0o000)).unwrap();
    if std::fs::read(folder.path("IMG_10.jpg")).is_err() {
        let run = folder.run("measure visit --out out").ends(1);
        assert!(
            run.err().starts_with("refused visit/IMG_10.jpg: cannot open the file: Permission denied"),
            "{}",
            run.err()
        );
    }
}

/// A run ended by a signal in its midst leaves no result file that is not whole; one that could clean up leaves nothing.
#[cfg(unix)]
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
        while folder.root().join(out).read_dir().map_or(0, Iterator::count) < 2 {
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

    let child = started("interrupted");
    let signalled = std::process::Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap();
    assert!(signalled.success());
    let end = child.wait_with_output().unwrap();
    assert_eq!(end.status.code(), Some(130), "{}", String::from_utf8_lossy(&end.stderr));
    assert_eq!(String::from_utf8_lossy(&end.stderr), "stopped; no result file was written\n");
    assert!(end.stdout.is_empty());
    assert_eq!(names("interrupted"), Vec::<String>::new());

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

/// Landmarks given without a scale, or a scale without landmarks, are told apart.
#[test]
fn what_is_missing_is_named() {
    let folder = Folder::new();
    folder.write("a.jpg", headers::photo());
    folder.write("a.jpg.hoof.json", replaced(&sidecar("a.jpg"), &[(SCALE, "null"), (LANDMARKS, "{}")]));
    for words in ["check visit", "measure visit --out out"] {
        let run = folder.run(words).ends(1);
        assert!(
            run.err().contains("no graduation of the scale is marked and no landmark is placed yet"),
            "{}",
            run.err()
        );
    }
}
