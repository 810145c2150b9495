//! `hoofgeo lens` from outside: boards rendered through a known camera, good sets and bad ones.
#![allow(missing_docs, clippy::unwrap_used, reason = "tests")]

mod boards;
mod visits;

use boards::{CAMERA, FRAME, Pose, Squares, blurred, good_poses, jpeg, mirrored, rays, render};
use std::sync::OnceLock;
use visits::headers::{Field, LENS_MODEL, MAKE, MODEL, ORIENTATION, block, with_app1};
use visits::{Folder, Run};

const USUAL: Squares = Squares(10, 7);
/// EXIF FocalLength is a fraction, which the headers here do not write; FocalLengthIn35mmFilm is not compared.
const PHONE: [(u16, Field); 2] = [(MAKE, Field::Text("Generic")), (MODEL, Field::Text("Phone"))];

/// The usual board in the good poses, rendered once.
fn good() -> &'static [Vec<u8>] {
    static GOOD: OnceLock<Vec<Vec<u8>>> = OnceLock::new();
    GOOD.get_or_init(|| {
        let rays = rays(&CAMERA);
        good_poses().iter().map(|p| render(&rays, p, USUAL)).collect()
    })
}

fn exif(pixels: &[u8], lens: &'static str) -> Vec<u8> {
    with_app1(&jpeg(pixels), &block(&PHONE, &[(LENS_MODEL, Field::Text(lens))]))
}

/// A folder with these photos as `visit/b00.jpg` and so on.
fn folder(photos: impl IntoIterator<Item = Vec<u8>>) -> Folder {
    let folder = Folder::new();
    for (i, bytes) in photos.into_iter().enumerate() {
        folder.write(&format!("b{i:02}.jpg"), bytes);
    }
    folder
}

fn good_folder(photos: usize) -> Folder {
    folder(good().iter().take(photos).map(|p| exif(p, "main")))
}

/// Calibrates from all photos of the folder, with more words.
fn calibrate(folder: &Folder, words: &str) -> Run {
    let mut names: Vec<_> =
        std::fs::read_dir(folder.root().join("visit")).unwrap().map(|f| f.unwrap().file_name()).collect();
    names.sort();
    let names: Vec<String> = names.iter().map(|n| format!("visit/{}", n.to_string_lossy())).collect();
    folder.run(&format!("lens calibrate {} --out phone.lens.json {words}", names.join(" ")))
}

/// No profile was written, and the message says this.
#[track_caller]
fn refused(folder: &Folder, run: Run, texts: &[&str]) {
    let run = run.ends(2);
    for text in texts {
        assert!(run.err().contains(text), "{text:?} in\n{}", run.err());
    }
    assert!(run.out().is_empty() && !folder.root().join("phone.lens.json").exists());
}

#[test]
fn a_rendered_camera_comes_back() {
    let folder = good_folder(12);
    let before = folder.files();
    let run = calibrate(&folder, "").ends(0);
    assert_eq!(folder.files(), before);
    let profile = folder.json("phone.lens.json");
    let d = &profile["distortion"];
    let found = [
        &profile["focal_px"],
        &profile["principal_point_px"][0],
        &profile["principal_point_px"][1],
        &d["k1"],
        &d["k2"],
        &d["k3"],
        &d["p1"],
        &d["p2"],
    ];
    let truth = [690.0, 406.0, 295.0, -0.12, 0.03, 0.0, 0.0005, -0.0004];
    for (i, (found, truth)) in found.iter().zip(truth).enumerate() {
        let u = profile["covariance"][i][i].as_f64().unwrap().sqrt();
        let off = (found.as_f64().unwrap() - truth) / u;
        assert!(off.abs() < 3.0, "parameter {i}: {found}, true {truth}, u {u}");
    }
    assert!(profile["covariance"][0][0].as_f64().unwrap().sqrt() < 1.5);
    assert_eq!(profile["camera"]["make"], "Generic");
    assert_eq!(profile["camera"]["lens"], "main");
    assert_eq!(profile["found"]["photos"], 12);
    assert_eq!(profile["found"]["board"], "9x6 inner corners, 25 mm");
    for text in
        ["Generic, Phone, main", "frame 800 x 600 px", "visit/b07.jpg", "u jackknife", "k1", "written phone.lens.json"]
    {
        assert!(run.out().contains(text), "{text:?} in\n{}", run.out());
    }
}

/// A phone held upright stores the same frame and turns it by its header: the profile is of the stored frame.
#[test]
fn a_turned_camera_is_the_same_camera() {
    let turned = |i: usize| if i % 3 == 1 { 6 } else { 1 };
    let folder = folder(good().iter().enumerate().map(|(i, p)| {
        let first = [PHONE[0], PHONE[1], (ORIENTATION, Field::Short(turned(i)))];
        with_app1(&jpeg(p), &block(&first, &[]))
    }));
    calibrate(&folder, "--lens main").ends(0);
    let profile = folder.json("phone.lens.json");
    assert_eq!(profile["frame"]["width_px"], FRAME.0);
    assert_eq!(profile["camera"]["lens"], "main");
    let u = profile["covariance"][1][1].as_f64().unwrap().sqrt();
    assert!((profile["principal_point_px"][0].as_f64().unwrap() - 406.0).abs() < 3.0 * u);
}

/// One photo of each kind among eleven good ones is named with its reason, and the rest makes a profile.
#[test]
fn single_bad_photos_are_left_out_and_named() {
    let good = good();
    let mut photos: Vec<Vec<u8>> = good.iter().map(|p| exif(p, "main")).collect();
    photos[1] = exif(&blurred(&good[1], 14), "main");
    photos[4] = exif(&good[4], "ultra wide");
    photos[9] = photos[8].clone();
    let folder = folder(photos);
    folder.write("b12.jpg", &visits::headers::photo()[..40]);
    let run = calibrate(&folder, "").ends(1);
    for text in [
        "left out visit/b01.jpg: no chessboard found: the photo is blurred",
        "left out visit/b04.jpg: is of another lens, `ultra wide`; the others are of `main`",
        "left out visit/b09.jpg: is a copy of visit/b08.jpg",
        "left out visit/b12.jpg: ",
    ] {
        assert!(run.err().contains(text), "{text:?} in\n{}", run.err());
    }
    assert_eq!(folder.json("phone.lens.json")["found"]["photos"], 9);
    assert!(run.out().contains("advice: 9 photos were used"), "{}", run.out());
}

#[test]
fn too_few_photos() {
    let folder = good_folder(3);
    refused(
        &folder,
        calibrate(&folder, ""),
        &["needs 4 photos of the board or more, here are 3", "photograph the board 10 to 20 times"],
    );
}

#[test]
fn one_angle() {
    let rays = rays(&CAMERA);
    let poses =
        (0..6).map(|k| Pose { turn_deg: [2.0, 1.0, 7.0 * f64::from(k)], middle: [f64::from(k) - 3.0, 2.0, 350.0] });
    let folder = folder(poses.map(|p| exif(&render(&rays, &p, USUAL), "main")));
    refused(&folder, calibrate(&folder, ""), &["from one angle"]);
}

#[test]
fn wrong_size() {
    let folder = good_folder(6);
    refused(
        &folder,
        calibrate(&folder, "--squares 8x6"),
        &["6 of 6 photos show a board of 9x6 inner corners, not 8x6", "give the size as 9x6"],
    );
    // The board laid across is the same board.
    calibrate(&folder, "--squares 6x9").ends(0);
}

#[test]
fn blurred_photos() {
    let folder = folder(good().iter().take(6).map(|p| exif(&blurred(p, 14), "main")));
    refused(
        &folder,
        calibrate(&folder, ""),
        &["6 of 6 photos of the board cannot be used", "visit/b02.jpg: no chessboard found: the photo is blurred"],
    );
}

#[test]
fn mixed_lenses() {
    let lens = |i: usize| if i.is_multiple_of(2) { "main" } else { "tele" };
    let folder = folder(good().iter().take(8).enumerate().map(|(i, p)| exif(p, lens(i))));
    refused(
        &folder,
        calibrate(&folder, ""),
        &[
            "the photos are not of one camera, lens and zoom: 4 of 8 differ",
            "visit/b01.jpg: is of another lens, `tele`",
        ],
    );
}

/// A board of 8 x 10 squares is not its own mirror image; the usual one is, but a header may tell.
#[test]
fn mirrored_photos() {
    let rays = rays(&CAMERA);
    let even = Squares(10, 8);
    let mut photos: Vec<Vec<u8>> = good_poses()
        .iter()
        .take(9)
        .map(|p| {
            let further = Pose { middle: [p.middle[0], p.middle[1], p.middle[2] + 40.0], ..*p };
            render(&rays, &further, even)
        })
        .collect();
    photos[3] = mirrored(&photos[3]);
    let one = folder(photos.iter().map(|p| exif(p, "main")));
    let run = calibrate(&one, "--squares 9x7").ends(1);
    assert!(
        run.err().contains("left out visit/b03.jpg: it shows the board mirrored, unlike the others"),
        "{}",
        run.err()
    );

    let said = folder(good().iter().take(6).map(|p| {
        let first = [PHONE[0], PHONE[1], (ORIENTATION, Field::Short(2))];
        with_app1(&jpeg(p), &block(&first, &[]))
    }));
    refused(&said, calibrate(&said, ""), &["is stored mirrored, as its header says"]);
}

#[test]
fn a_board_to_print() {
    let folder = Folder::new();
    let run = folder.run("lens board --out board.pdf").ends(0);
    assert!(run.out().contains("100 %") && run.out().contains("250 mm long, the board 250 x 175 mm"), "{}", run.out());
    assert!(std::fs::read(folder.root().join("board.pdf")).unwrap().starts_with(b"%PDF-1.4"));
    folder.run("lens board --paper letter --squares 7x5 --square-mm 30 --out board.svg").ends(0);
    assert!(folder.read("board.svg").contains("width=\"279.4mm\" height=\"215.9mm\""));
    let run = folder.run("lens board --square-mm 40 --out large.pdf").ends(2);
    assert!(run.err().contains("400.0 x 280.0 mm and does not fit A4"), "{}", run.err());
    let run = folder.run("lens board --out board.png").ends(2);
    assert!(run.err().contains("NAME.pdf or NAME.svg"), "{}", run.err());
    let run = folder.run("lens board --squares nine --out board.svg").ends(2);
    assert!(run.err().contains("such as 9x6"), "{}", run.err());
}

#[test]
fn a_calibration_of_another_program() {
    let folder = Folder::new();
    let file = "%YAML:1.0\n---\ncamera_matrix: !!opencv-matrix\n   rows: 3\n   cols: 3\n   dt: d\n   data: [ 535.9, 0., 342.3, 0., 535.9, 235.6, 0., 0., 1. ]\n\
                distortion_coefficients: !!opencv-matrix\n   rows: 4\n   cols: 1\n   dt: d\n   data: [ -0.26, 0.04, 0.001, 0. ]\n";
    std::fs::write(folder.root().join("camera.yml"), file).unwrap();
    let run = folder.run("lens import camera.yml --out phone.lens.json").ends(2);
    assert!(run.err().contains("camera.yml"), "{}", run.err());
    folder.run("lens import camera.yml --frame 640x480 --model Phone --out phone.lens.json").ends(0);
    let profile = folder.json("phone.lens.json");
    assert_eq!((&profile["focal_px"], &profile["camera"]["model"]), (&535.9.into(), &"Phone".into()));
}

/// A profile of another phone is refused, unless it is asked for; then every value carries the flag.
#[test]
fn a_profile_of_another_camera_needs_force() {
    let folder = Folder::new();
    folder.good("a.jpg");
    let sidecar = folder.read("visit/a.jpg.hoof.json");
    folder
        .write("a.jpg.hoof.json", visits::replaced(&sidecar, &[("\"MK\",", "\"MK\", \"lens\": \"other.lens.json\",")]));
    let variance: Vec<String> = (0..8)
        .map(|i| {
            let row: Vec<&str> = (0..8).map(|j| if i == j && i < 3 { "4" } else { "0" }).collect();
            format!("[{}]", row.join(","))
        })
        .collect();
    folder.write(
        "other.lens.json",
        format!(
            r#"{{"format":"hoofgeo-lens/1","camera":{{"make":"Example Optics","focal_mm":4.2}},"frame":{{"width_px":800,"height_px":600}},
            "focal_px":601,"principal_point_px":[400,300],"distortion":{{"model":"brown_conrady","k1":0,"k2":0,"k3":0,"p1":0,"p2":0}},
            "order":["focal_px","cx","cy","k1","k2","k3","p1","p2"],"covariance":[{}]}}"#,
            variance.join(",")
        ),
    );
    let run = folder.run("measure visit --out out --no-pictures").ends(1);
    assert!(run.err().contains("is of the camera make `Example Optics`, the photo is of `Generic`"), "{}", run.err());
    folder.run("measure visit --out out --no-pictures --force-lens").ends(0);
    let photo = &folder.json("out/measurements.json")["photos"][0];
    assert!(photo["scene"]["camera"]["lens_forced"].as_str().unwrap().contains("Example Optics"));
    assert!(photo["scene"]["flags"].to_string().contains("lens_forced"), "{}", photo["scene"]["flags"]);
    let csv = folder.read("out/measurements.csv");
    assert!(csv.lines().skip(1).all(|l| l.contains("lens_forced")), "{csv}");
}
