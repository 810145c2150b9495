//! Calibrations that OpenCV wrote (`fixtures/opencv/SOURCE.md`), read into lens profiles.
#![allow(missing_docs, clippy::unwrap_used, reason = "tests")]

mod common;

use common::{case, fixture, near, number, numbers, rows};
use hoofgeo::ErrorKind;
use hoofgeo::calibrate::{ImportOptions, WhichCamera, import_opencv};
use std::path::Path;

fn file(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap().join("fixtures/opencv/storage").join(name);
    std::fs::read_to_string(path).unwrap()
}

fn options(frame: Option<(u32, u32)>) -> ImportOptions {
    ImportOptions { frame_px: frame, ..ImportOptions::default() }
}

/// The three spellings hold the same numbers, and those are the published ones.
#[test]
fn three_spellings_of_one_calibration() {
    let published = &case("opencv/calibration.json", "published left_intrinsics.yml")["published"];
    let k = rows(&published["camera_matrix"]);
    let d = numbers(&published["dist"]);
    for spelling in ["yml", "xml", "json"] {
        let text = file(&format!("left_intrinsics.{spelling}"));
        let profile = import_opencv(&text, &ImportOptions::default()).unwrap();
        assert_eq!((profile.frame.width_px, profile.frame.height_px), (640, 480));
        // The file gives back every digit.
        assert_eq!(profile.focal_px, k[0][0]);
        assert_eq!(profile.principal_point_px, [k[0][2] + 0.5, k[1][2] + 0.5]);
        let l = profile.distortion;
        assert_eq!([l.k1, l.k2, l.p1, l.p2, l.k3], d[..]);
        let found = profile.found.as_ref().unwrap();
        assert_eq!((found.photos, found.rms_px), (13, number(&published["avg_reprojection_error"])));
        assert_eq!(hoofgeo::sidecar::LensProfile::parse(&profile.to_json()).unwrap(), profile);
        // The same file with other line ends.
        assert_eq!(import_opencv(&text.replace('\n', "\r\n"), &ImportOptions::default()).unwrap(), profile);
    }
}

#[test]
fn both_cameras_of_a_stereo_pair() {
    for (which, side) in [(WhichCamera::First, "left"), (WhichCamera::Second, "right")] {
        let expected = &case("opencv/calibration.json", &format!("{side} subpix 5coef"))["expected"];
        let options = ImportOptions { which, ..options(Some((640, 480))) };
        let profile = import_opencv(&file("stereo.yml"), &options).unwrap();
        let k = rows(&expected["K"]);
        near(profile.focal_px, (k[0][0] + k[1][1]) / 2.0, 1e-12 * k[0][0]);
        assert_eq!(profile.distortion.k3, numbers(&expected["dist"])[4]);
        assert_eq!(profile.found, None);
    }
    let e = import_opencv(&file("stereo.yml"), &ImportOptions::default()).unwrap_err();
    assert!(e.to_string().contains("how large"), "{e}");
}

/// The uncertainties assumed for a file cover, with k = 2, what six other calibrations of the same photographs give: focal length,
/// principal point, and the distortion's radial part anywhere in the frame.
#[test]
fn assumed_uncertainties_cover_other_calibrations() {
    let profile = import_opencv(&file("left_intrinsics.yml"), &ImportOptions::default()).unwrap();
    let u: Vec<f64> = (0..8).map(|i| profile.covariance[i][i].sqrt()).collect();
    let mut compared = 0;
    for c in fixture("opencv/calibration.json") {
        let id = c["id"].as_str().unwrap();
        if !id.starts_with("left") || id.ends_with("no_distortion") {
            continue;
        }
        let (k, d) = (rows(&c["expected"]["K"]), numbers(&c["expected"]["dist"]));
        near(profile.focal_px, (k[0][0] + k[1][1]) / 2.0, 2.0 * u[0]);
        near(profile.principal_point_px[0], k[0][2] + 0.5, 2.0 * u[1]);
        near(profile.principal_point_px[1], k[1][2] + 0.5, 2.0 * u[2]);
        let l = profile.distortion;
        let off = [l.k1 - d[0], l.k2 - d[1], l.k3 - d[4]];
        // The frame's corner is at 0.75 focal lengths.
        for r2 in (1..=15).map(|i| (f64::from(i) * 0.05f64).powi(2)) {
            let powers = [r2, r2 * r2, r2 * r2 * r2];
            let (mut sum, mut square) = (0.0, 0.0);
            for i in 0..3 {
                sum += off[i] * powers[i];
                square += (u[3 + i] * powers[i]).powi(2);
            }
            assert!(sum.abs() <= 2.0 * square.sqrt(), "{id} at {}: {sum} {}", r2.sqrt(), square.sqrt());
        }
        compared += 1;
    }
    assert_eq!(compared, 6);
}

#[test]
fn what_the_camera_cannot_be_is_refused() {
    let good = file("left_intrinsics.yml");
    let cases = [
        ("535.91573396163199, 235.57", "545.91573396163199, 235.57", ErrorKind::Usage, "not square"),
        ("image_width: 640", "fisheye_model: 1\nimage_width: 640", ErrorKind::Usage, "fisheye"),
        ("image_width: 640", "distortion_model: equidistant\nimage_width: 640", ErrorKind::Usage, "fisheye"),
        ("image_width: 640", "width: 640", ErrorKind::Usage, "how large"),
        ("camera_matrix:", "camera_matrices:", ErrorKind::Format, "no camera matrix"),
        ("rows: 3", "rows: 4", ErrorKind::Format, "4 x 3 numbers"),
        ("342.28", ".Nan, 342.28", ErrorKind::Format, "`.Nan` is not a number"),
        ("0., 0., 1. ]", "0., 0., 2. ]", ErrorKind::Format, "no camera matrix ["),
        ("0.23839153080878486 ]", "0.23839153080878486", ErrorKind::Format, "distortion_coefficients"),
        ("-0.26637260909660682", "-26637.", ErrorKind::Format, "too much"),
    ];
    for (from, to, kind, says) in cases {
        assert!(good.contains(from), "{from}");
        let e = import_opencv(&good.replacen(from, to, 1), &ImportOptions::default()).unwrap_err();
        assert!(e.kind() == kind && e.to_string().contains(says), "{to}: {e}");
    }
    let e = import_opencv(&good, &options(Some((1280, 960)))).unwrap_err();
    assert!(e.to_string().contains("640 x 480 px, not 1280 x 960"), "{e}");
    // Eight coefficients, the last of which counts.
    let rational = good.replacen("rows: 5", "rows: 8", 1).replacen("0.23839153080878486 ]", "0.2, 0., 0., 0.1 ]", 1);
    let e = import_opencv(&rational, &ImportOptions::default()).unwrap_err();
    assert!(e.to_string().contains("rational"), "{e}");
    let plain = rational.replacen("0.1 ]", "0. ]", 1);
    assert_eq!(import_opencv(&plain, &ImportOptions::default()).unwrap().distortion.k3, 0.2);
}

/// Every truncated and every damaged file is an error or a profile, never a crash.
#[test]
fn damaged_files_do_no_harm() {
    let mut read = 0;
    for name in ["left_intrinsics.yml", "left_intrinsics.xml", "left_intrinsics.json"] {
        let text = file(name);
        for end in 0..text.len() {
            read += usize::from(import_opencv(&text[..end], &ImportOptions::default()).is_ok());
            let mut bytes = text.clone().into_bytes();
            bytes[end] = b"]:<{\" \n-"[end % 8];
            read += usize::from(import_opencv(&String::from_utf8(bytes).unwrap(), &ImportOptions::default()).is_ok());
        }
    }
    // Some damage lies in entries that are passed over, or changes a digit: the test does reach the end of the reader.
    assert!(read > 300, "{read}");
    for text in ["", "\0:", "{", "<", "[1]", "a: b", " a: b", "<x/>", "{\"camera_matrix\": 3}"] {
        assert!(import_opencv(text, &ImportOptions::default()).is_err(), "{text}");
    }
}

/// Older OpenCV writes `0.` into JSON, which is none.
#[test]
fn json_with_numbers_that_end_in_a_point() {
    let text = file("left_intrinsics.json").replace("0.0, 0.0, 1.0 ]", "0., 0., 1. ]");
    assert!(text.contains("0., 0., 1. ]"));
    assert!(import_opencv(&text, &ImportOptions::default()).is_ok());
}
