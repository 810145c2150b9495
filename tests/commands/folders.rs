//! What is found in a folder, and what is written into it.

use super::two_good;
use crate::visits::{Folder, LANDMARKS, SCALE, headers, replaced, sidecar};
use serde_json::Value;

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
    // The picture written over is drawn again, the other stands.
    let out = again.out().replace(", 1 of them unchanged since the last run", "");
    assert_eq!((first.out(), json), (out.as_str(), folder.read("visit/results/measurements.json")));
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
        write graduations of the ruler, four or more and far apart, into the sidecar's scale.points: { \"mm\": 50, \"at\": \
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

    // Graduations that were marked in a larger photo.
    folder.write(
        "other/visit.hoof.json",
        format!(r#"{{ "scale": {} }}"#, replaced(SCALE, &[("[600, 500]", "[2400, 500]")])),
    );
    folder.write("other/LF.jpg", headers::photo());
    folder.write("other/LF.jpg.hoof.json", bare("LF.jpg"));

    let run = folder.run("measure visit --out out").ends(1);
    let other = "refused visit/other/LF.jpg.hoof.json: what the visit shares does not fit: scale.points[4].at: [2400, 500] lies \
        outside the photo, which is 800 x 600 px\n        \
        pixels are counted from the top left corner of the upright photo, x first\n";
    let text = |photo: &str| {
        format!(
            "refused visit/broken/visit.hoof.json:3:3: anmal: unknown key `anmal`\n        known here: `format`, `subject`, \
            `taken`, `observer`, `lens`, `scale`, `planes`, `surface`, `notes`, `interval_weeks`, `ground`, `diet`, `turnout`, \
            `lameness` or `vet`; broken/{photo} is measured with this file\n"
        )
    };
    assert_eq!(run.err(), text("LF.jpg") + &text("RF.jpg") + other);
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
    // A photo without a sidecar is another matter there: what its pixels show.
    let without = "refused visit/LF.jpg: has no sidecar\n        `hoofgeo start FOLDER` writes one with empty slots\n";
    let check = folder.run("check visit").ends(1);
    assert_eq!(check.err(), expected.replace(without, ""));
    assert!(check.out().contains("good    LF.jpg: "), "{}", check.out());
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
