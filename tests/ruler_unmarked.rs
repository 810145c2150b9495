//! Measuring rendered feet without a click on the ruler, where the visit says that it is metric.
#![allow(missing_docs, clippy::unwrap_used, reason = "tests")]

use hoofgeo::View;
use hoofgeo::visit::{Outputs, Progress, Stop, VisitOptions, measure_folder};
use hoofgeo_cli::demo::{Photo, cases, place_like_a_person, write};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

/// A side view with a straight ruler, none of whose graduations is marked, in a folder; the photo and its sidecar.
fn unmarked(folder: &Path) -> (Photo, PathBuf) {
    let mut case = cases().into_iter().find(|c| c.shot.view == View::Lateral && !c.shot.square).unwrap();
    let [w, h] = case.shot.size;
    case.shot.size = [w, h].map(|side| side * 2000 / w.max(h));
    let photo = case.render();
    let placed = place_like_a_person(&photo, case.shot.view, case.seed);
    let file = write(folder, &case, &photo, &placed).unwrap();
    let sidecar = folder.join(format!("{}.hoof.json", case.file_name));
    assert!(sidecar.is_file(), "{}", file.display());
    change(&sidecar, |s| s["scale"]["points"] = json!([]));
    (photo, sidecar)
}

/// Places, or lists of them, moved towards a point of the photo.
fn smaller(at: &mut Value) {
    match at {
        Value::Array(list) => list.iter_mut().for_each(smaller),
        Value::Number(v) => *at = json!(700.0 + (v.as_f64().unwrap() - 700.0) / 2.54),
        _ => {}
    }
}

fn change(sidecar: &Path, by: impl Fn(&mut Value)) {
    let mut json: Value = serde_json::from_str(&std::fs::read_to_string(sidecar).unwrap()).unwrap();
    by(&mut json);
    std::fs::write(sidecar, json.to_string()).unwrap();
}

#[test]
fn a_metric_ruler_needs_no_mark() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("visit");
    let (photo, sidecar) = unmarked(&folder);
    let options = VisitOptions { pictures: true, ..VisitOptions::usual() };
    let mut refused = Vec::new();
    let mut values = Vec::new();
    let mut measure = |out: &str| {
        let outputs = Outputs::in_folder(dir.path().join(out));
        (refused, values) = (Vec::new(), Vec::new());
        measure_folder(&folder, &outputs, &options, &Stop::new(), &mut |progress| match progress {
            Progress::Measured(report) => {
                let read = report.ruler.as_ref().unwrap().as_ref().unwrap();
                assert!(["lengths", "numbers"].contains(&read.numbered_by) && read.step_mm == 1.0, "{read:?}");
                assert!(read.graduations.len() > 100, "{}", read.graduations.len());
                let picture = report.picture.as_ref().unwrap().as_ref().unwrap();
                assert!(dir.path().join(out).join(picture).is_file());
                values = report.measured.values.iter().map(|v| (v.measurement.id, v.value, v.expanded())).collect();
            }
            Progress::Refused(e) | Progress::NoPicture(e) => refused.push(e.to_string()),
            other => panic!("{other:?}"),
        })
        .unwrap();
        (std::mem::take(&mut refused), std::mem::take(&mut values))
    };
    // Somebody says that its lines are no millimetres.
    change(&sidecar, |s| s["scale"]["metric"] = json!(false));
    let (refused, _) = measure("denied");
    assert!(refused[0].contains("no graduation of the scale is marked yet"), "{refused:?}");
    // Nobody says it: its numbers do, or it is not measured with.
    change(&sidecar, |s| drop(s["scale"].as_object_mut().unwrap().remove("metric")));
    let (refused, values) = measure("unsaid");
    let shown = refused.is_empty() && values.len() > 10;
    assert!(shown || refused[0].contains("no graduation of the scale is marked yet"), "{refused:?}");
    // Said once for all photos of the visit.
    std::fs::write(folder.join("visit.hoof.json"), r#"{ "scale": { "kind": "straight_ruler", "metric": true } }"#)
        .unwrap();
    let (refused, values) = measure("said");
    assert!(refused.is_empty() && values.len() > 10, "{refused:?}");
    let mut inside = 0;
    for (id, value, expanded) in &values {
        let Some(truth) = photo.truth.values.get(*id) else { continue };
        let off = (value - truth).abs() / expanded;
        assert!(off < 2.0, "{id}: {value} ± {expanded}, true {truth}");
        inside += usize::from(off <= 1.0);
    }
    assert!(inside * 10 >= values.len() * 8, "{inside} of {}", values.len());
    // By a rule in tenths of an inch that is called metric, the hoof is 2.54 times too small.
    change(&sidecar, |s| {
        for place in s["landmarks"].as_object_mut().unwrap().values_mut() {
            smaller(&mut place["at"]);
        }
        s["lines"] = json!({});
    });
    let (refused, _) = measure("false");
    assert!(
        refused.len() == 1 && refused[0].contains("none was read from the pixels: by the ruler as it was read"),
        "{refused:?}"
    );
}
