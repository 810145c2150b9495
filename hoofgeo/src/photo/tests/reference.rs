//! Header values of real cameras, read by an independent program (exiftool 12.57, compared with Pillow 13). The sample
//! files are other people's and stay out of the repository: their values are written into headers of our own.

use super::super::*;
use super::exif_writer::{ExifTag as T, Ratio};
use super::{facts_of, ratio};
use serde_json::Value;
use std::path::PathBuf;

/// The reference values, where this checkout has them beside it.
fn reference() -> Option<Vec<Value>> {
    let folders = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
    let found =
        folders.ancestors().map(|f| f.join("shared/reference/external/exif_reference.json")).find(|p| p.exists());
    let Some(path) = found else {
        #[allow(clippy::print_stderr, reason = "says that the test was skipped")]
        {
            eprintln!("skipped: no EXIF reference values beside this checkout");
        }
        return None;
    };
    let file: Value = serde_json::from_slice(&std::fs::read(path).unwrap()).unwrap();
    Some(file["cases"].as_array().unwrap().iter().filter(|c| c["expected"].is_object()).cloned().collect())
}

fn tags(expected: &Value) -> Vec<T> {
    let int = |key: &str| expected[key].as_u64();
    let number = |key: &str| expected[key].as_f64().map(ratio);
    let text = |key: &str| expected[key].as_str().map(str::to_owned);
    [
        int("Orientation").map(|v| T::Orientation(v as u16)),
        int("ExifImageWidth").map(|v| T::ExifImageWidth(v as u32)),
        int("ExifImageHeight").map(|v| T::ExifImageHeight(v as u32)),
        int("FocalLengthIn35mmFormat").map(|v| T::FocalLengthIn35mmFormat(v as u16)),
        int("FocalPlaneResolutionUnit").map(|v| T::FocalPlaneResolutionUnit(v as u16)),
        number("FocalLength").map(T::FocalLength),
        number("DigitalZoomRatio").map(T::DigitalZoomRatio),
        expected["FocalPlaneXResolution"]
            .as_f64()
            .map(|v| T::FocalPlaneXResolution(Ratio((v * 1000.0).round() as u32, 1000))),
        text("Make").map(T::Make),
        text("Model").map(T::Model),
        text("LensModel").map(T::LensModel),
        text("DateTimeOriginal").map(T::DateTimeOriginal),
        text("OffsetTimeOriginal").map(T::OffsetTimeOriginal),
    ]
    .into_iter()
    .flatten()
    .collect()
}

fn check(case: &Value, facts: &PhotoFacts) {
    let (id, expected) = (&case["id"], &case["expected"]);
    assert_eq!(Some(facts.stored_width_px.into()), expected["ImageWidth"].as_u64(), "{id}");
    assert_eq!(Some(facts.stored_height_px.into()), expected["ImageHeight"].as_u64(), "{id}");
    assert_eq!(u64::from(facts.orientation.exif()), expected["Orientation"].as_u64().unwrap_or(1), "{id}");
    assert_eq!(facts.make.as_deref(), expected["Make"].as_str().map(str::trim), "{id}");
    assert_eq!(facts.model.as_deref(), expected["Model"].as_str().map(str::trim), "{id}");
    assert_eq!(facts.lens_model.as_deref(), expected["LensModel"].as_str(), "{id}");
    let date = expected["DateTimeOriginal"].as_str().map(|t| t.replacen(':', "-", 2).replace(' ', "T"));
    assert_eq!(facts.taken.as_deref().map(|t| &t[..19]), date.as_deref(), "{id}");
    // The reference prints ten digits.
    let close = |ours: Option<f64>, theirs: Option<f64>| match (ours, theirs) {
        (Some(a), Some(b)) => (a - b).abs() <= 1e-6 * b.abs(),
        (None, None) => true,
        _ => false,
    };
    assert!(close(facts.focal_mm, expected["FocalLength"].as_f64().filter(|&f| f > 0.0)), "{id}");
    assert!(close(facts.focal_35mm, expected["FocalLengthIn35mmFormat"].as_f64().filter(|&f| f > 0.0)), "{id}");
    if let Some(f_px) = case["derived"]["f_px_from_f35_diagonal"].as_f64() {
        assert!(close(facts.prior_focal_px(), Some(f_px)), "{id}");
    }
    for trap in case["traps"].as_array().unwrap().iter().filter_map(Value::as_str) {
        let noticed = facts.remarks.iter().any(|r| match r {
            Remark::DigitalZoom { .. } => trap.contains("digital zoom"),
            Remark::Resized { .. } | Remark::Cropped { .. } => trap.contains("dimensions differ"),
            Remark::ImplausibleFocalPlaneResolution { .. } => trap.contains("sensor width"),
            _ => false,
        });
        assert!(noticed, "{id}: {trap} not among {:?}", facts.remarks);
    }
}

#[test]
fn values_of_real_cameras_are_read_and_their_traps_noticed() {
    let Some(cases) = reference() else { return };
    let mut traps = 0;
    for case in &cases {
        let size = |key: &str| u16::try_from(case["expected"][key].as_u64().unwrap()).unwrap();
        check(case, &facts_of(size("ImageWidth"), size("ImageHeight"), tags(&case["expected"])));
        traps += case["traps"].as_array().unwrap().len();
    }
    assert!(cases.len() >= 30 && traps >= 6, "{} cases, {traps} traps", cases.len());
}

/// The sample files themselves, where the environment variable `HOOFGEO_EXIF_SAMPLES` names a folder that has some of them.
#[test]
fn sample_files_are_read_as_the_reference_says() {
    let (Some(cases), Some(folder)) = (reference(), std::env::var_os("HOOFGEO_EXIF_SAMPLES")) else { return };
    let mut checked = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let Ok((facts, sha)) = read_facts_and_fingerprint(&path) else { continue };
        if let Some(case) = cases.iter().find(|c| c["sha256"].as_str() == Some(&sha.to_string())) {
            check(case, &facts);
            checked += 1;
        }
    }
    assert!(checked > 0, "none of the reference's files in HOOFGEO_EXIF_SAMPLES");
}
