//! One visit through everything that measures: each way gives each photo the same numbers, however its ruler is marked.

use crate::page::program::Program;
use hoofgeo::follow::{self, Shot};
use hoofgeo::measured::measure;
use hoofgeo::observers::{self, compare};
use hoofgeo::pixels::ReadOptions;
use hoofgeo::project::{ProjectOptions, project_folder};
use hoofgeo::rectify::RectifyOptions;
use hoofgeo::report::{ReportOptions, write_reports};
use hoofgeo::review::{Rules, review_folder};
use hoofgeo::sidecar::Sidecar;
use hoofgeo::visit::{
    CheckOptions, CheckReport, Outputs, PhotoReport, PlacementChoice, Progress, Session, Stop, VisitOptions,
    check_folder, measure_folder, read_folder, rectify_folder, walk,
};
use hoofgeo_cli::demo::{cases, place_like_a_person, write};
use serde_json::{Value, json};
use std::collections::{BTreeMap, HashMap};
use std::path::Path;

/// Value and standard uncertainty, by photo and measurement.
type Numbers = BTreeMap<(String, String), (f64, f64)>;

/// How much of the ruler a sidecar says.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Ruler {
    Marked,
    TwoMarks,
    MetricUnmarked,
}

/// Both side views and both soles of one foot, before and after a trim.
fn visit(folder: &Path, ruler: Ruler) {
    for mut case in cases().into_iter().filter(|c| c.file_name.starts_with("marlow/LF-")) {
        let [w, h] = case.shot.size;
        case.shot.size = [w, h].map(|side| side * 2000 / w.max(h));
        let photo = case.render();
        write(folder, &case, &photo, &place_like_a_person(&photo, case.shot.view, case.seed)).unwrap();
        change(folder, &case.file_name, |s| {
            let scale = &mut s["scale"];
            if scale["kind"] != "straight_ruler" || ruler == Ruler::Marked {
                return;
            }
            let points = scale["points"].as_array_mut().unwrap();
            *points = vec![points[0].clone(), points[points.len() - 1].clone()];
            if ruler == Ruler::MetricUnmarked {
                points.clear();
                scale["metric"] = json!(true);
            }
        });
    }
}

fn change(folder: &Path, photo: &str, by: impl Fn(&mut Value)) {
    let path = folder.join(format!("{photo}.hoof.json"));
    let mut json = serde_json::from_str(&std::fs::read_to_string(&path).unwrap()).unwrap();
    by(&mut json);
    std::fs::write(path, json.to_string()).unwrap();
}

fn options() -> VisitOptions {
    // No table of whoever runs the tests.
    VisitOptions { placement: PlacementChoice::None, ..VisitOptions::usual() }
}

fn add(numbers: &mut Numbers, report: &PhotoReport) {
    for v in &report.measured.values {
        numbers.insert((report.name.clone(), v.measurement.id.to_owned()), (v.value, v.u));
    }
}

/// What `measure` gives.
fn measured(folder: &Path, pictures: bool) -> Numbers {
    let (out, mut numbers) = (tempfile::tempdir().unwrap(), Numbers::new());
    let options = VisitOptions { pictures, ..options() };
    measure_folder(folder, &Outputs::in_folder(out.path()), &options, &Stop::new(), &mut |progress| match progress {
        Progress::Measured(report) => add(&mut numbers, report),
        other => panic!("{other:?}"),
    })
    .unwrap();
    numbers
}

/// Asserts that these are numbers of the visit, but for the rounding of sums in another order, and at least so many.
#[track_caller]
fn are(found: impl IntoIterator<Item = ((String, String), (f64, f64))>, numbers: &Numbers, least: usize) {
    let mut n = 0;
    for (key, value) in found {
        let wanted = numbers[&key];
        let off = (value.0 - wanted.0).abs().max((value.1 - wanted.1).abs());
        assert!(off <= 1e-9 * wanted.1, "{key:?}: {value:?}, not {wanted:?}");
        n += 1;
    }
    assert!(n >= least, "{n} numbers");
}

#[test]
fn every_way_gives_the_same_numbers() {
    for ruler in [Ruler::Marked, Ruler::TwoMarks, Ruler::MetricUnmarked] {
        let dir = tempfile::tempdir().unwrap();
        let (folder, fails) = (dir.path().join("visit"), &mut |e: &hoofgeo::Error| panic!("{ruler:?}: {e}"));
        visit(&folder, ruler);
        let numbers = measured(&folder, true);
        assert!(numbers.len() > 60, "{ruler:?}: {}", numbers.len());
        assert_eq!(numbers, measured(&folder, false), "{ruler:?}: without pictures");

        // One photo at a time.
        let (session, mut single) = (Session::new(&options()).unwrap(), Numbers::new());
        for entry in walk(&folder, &[]) {
            let report = session.measure(&entry.unwrap()).unwrap();
            assert_eq!(report.ruler.is_some(), report.sidecar.scale.as_ref().unwrap().points.len() < 3);
            add(&mut single, &report);
        }
        assert_eq!(numbers, single, "{ruler:?}");

        let mut good = 0;
        for pixels in [true, false] {
            let check = CheckOptions { pixels, visit: options() };
            check_folder(&folder, &check, &mut |report| match report {
                CheckReport::Good { .. } => good += 1,
                CheckReport::LeftAside(_) => {}
                other => panic!("{ruler:?}: {other:?}"),
            })
            .unwrap();
        }
        assert_eq!(good, 8);

        let review = review_folder(&folder, Rules::default(), &options(), &[], fails).unwrap();
        let feet = review.feet.iter().flat_map(|f| &f.verdicts);
        let judged = feet.filter_map(|v| match (&v.photos[..], v.judged.estimate) {
            ([photo], e) => Some(((photo.clone(), v.rule.measurement.to_owned()), (e.value, e.u))),
            _ => None,
        });
        are(judged.filter(|(key, _)| numbers.contains_key(key)), &numbers, 8);

        let project = ProjectOptions { visit: options(), ..ProjectOptions::default() };
        let projected = project_folder(&folder, &project, fails).unwrap();
        let before = projected.feet.iter().flat_map(|f| f.projection.quantities.iter().map(move |q| (f, &q.before)));
        // The angles; its lengths are those of an undisturbed wall, by definitions of its own.
        let angles = before.filter(|(_, v)| ["heel_angle", "heel_toe_angle_difference"].contains(&v.measurement.id));
        let angles = angles.map(|(f, v)| ((f.photo.clone(), v.measurement.id.to_owned()), (v.value, v.u)));
        are(angles, &numbers, 4);

        let folders = [folder.clone()];
        let shots = follow::read_folders(&folders, &[], &options(), &Shot::of, fails).unwrap();
        let readings = shots.iter().flat_map(|s| s.readings.iter().map(move |r| (s, r)));
        are(readings.map(|(s, r)| ((s.photo.clone(), r.measurement.id.to_owned()), (r.value, r.u))), &numbers, 60);

        let pages = dir.path().join("pages");
        let report = ReportOptions { visit: options(), pictures: false, ..ReportOptions::default() };
        let page = &write_reports(&folders, &pages, &report, fails).unwrap()[0];
        let page = std::fs::read_to_string(page).unwrap();
        for entry in walk(&folder, &[]) {
            let report = session.measure(&entry.unwrap()).unwrap();
            for v in &report.measured.values {
                assert!(page.contains(&v.to_string().replace(' ', "\u{a0}")) || page.contains(&v.to_string()), "{v}");
            }
        }

        // The same photos and marks by somebody else.
        let other = dir.path().join("other");
        copy(&folder, &other);
        names(&other).iter().for_each(|name| change(&other, name, |s| s["observer"] = json!("KL")));
        let (readings, refused) = observers::read_folders(&[&folder, &other], &options()).unwrap();
        assert!(refused.is_empty(), "{ruler:?}: {refused:?}");
        for r in &readings {
            let measured = measure(&r.sidecar, &r.lens, &r.how).unwrap();
            let values = measured.values.iter();
            are(values.map(|v| ((r.name.clone(), v.measurement.id.to_owned()), (v.value, v.u))), &numbers, 10);
        }
        let comparison = compare(&readings).unwrap();
        assert!(comparison.refused.is_empty(), "{ruler:?}: {:?}", comparison.refused);
        let compared: usize = comparison.measurements.iter().map(|m| m.values).sum();
        assert_eq!(compared, 2 * numbers.len(), "{ruler:?}");

        // What is written anew measures as what it was made of.
        let read = dir.path().join("read");
        let done = read_folder(&folder, &read, None, &options(), ReadOptions::default(), &mut |_| {}).unwrap();
        assert_eq!((done.measured, done.refused), (4, 0), "{ruler:?}");
        let drawn: HashMap<String, Sidecar> =
            names(&folder).into_iter().map(|n| (n.clone(), parsed(&folder, &n))).collect();
        let mut same = 0;
        for entry in walk(&read, &[]) {
            let report = session.measure(&entry.unwrap()).unwrap();
            for v in &report.measured.values {
                if v.used.lines().all(|l| drawn[&report.name].lines.contains_key(&l)) {
                    let key = (report.name.clone(), v.measurement.id.to_owned());
                    assert_eq!(numbers.get(&key), Some(&(v.value, v.u)), "{ruler:?} {key:?}");
                    same += 1;
                }
            }
        }
        assert!(same > 50, "{ruler:?}: {same}");

        let flat = dir.path().join("flat");
        let done = rectify_folder(&folder, &flat, &RectifyOptions::default(), &options(), &Stop::new(), &mut |_| {});
        let done = done.unwrap();
        assert_eq!((done.measured, done.refused), (4, 0), "{ruler:?}");
        let pictures = measured(&flat, false);
        assert_eq!(pictures.len(), numbers.len(), "{ruler:?}");
        for (key, (value, u)) in &numbers {
            let (again, u_again) = pictures[key];
            assert!((again - value).abs() < 0.01 * u, "{ruler:?} {key:?}: {value} ± {u}, {again}");
            assert!((u_again / u - 1.0).abs() < 0.03, "{ruler:?} {key:?}: {u} {u_again}");
        }

        let program = Program::start(&folder, &[]);
        let list = program.get("/api/visit")["photos"].as_array().unwrap().clone();
        let mut shown = Numbers::new();
        for photo in list {
            let (id, name) = (&photo["id"], photo["name"].as_str().unwrap().to_owned());
            let opened = program.get(&format!("/api/photo/{id}"));
            let body = json!({ "draft": opened["draft"], "read": true }).to_string();
            if ruler == Ruler::TwoMarks && opened["draft"]["scale"]["kind"] == "straight_ruler" {
                assert_eq!(program.ask("POST", &format!("/api/photo/{id}/ruler"), &[], &body).0, 200);
            }
            let (status, _, answer) = program.ask("POST", &format!("/api/photo/{id}/values"), &[], &body);
            assert_eq!(status, 200);
            let answer: Value = serde_json::from_slice(&answer).unwrap();
            for v in answer["values"].as_array().unwrap() {
                let key = (name.clone(), v["id"].as_str().unwrap().to_owned());
                shown.insert(key, (v["value"].as_f64().unwrap(), v["u"].as_f64().unwrap()));
            }
        }
        assert_eq!(shown, numbers, "{ruler:?}: on the page");
    }
}

fn names(folder: &Path) -> Vec<String> {
    walk(folder, &[]).map(|entry| entry.unwrap().name).collect()
}

fn parsed(folder: &Path, name: &str) -> Sidecar {
    Sidecar::read(folder.join(format!("{name}.hoof.json"))).unwrap()
}

fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap().map(Result::unwrap) {
        let at = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy(&entry.path(), &at);
        } else {
            std::fs::copy(entry.path(), at).unwrap();
        }
    }
}
