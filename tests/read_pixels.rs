//! What the pixels of rendered photos show, against what is true of the feet, through the whole way: folder, sidecars, measuring.
#![allow(missing_docs, clippy::print_stderr, clippy::unwrap_used, reason = "tests")]

use hoofgeo::pixels::{Found, Moved, ReadOptions};
use hoofgeo::visit::{Outputs, Progress, ReadReport, Stop, VisitOptions, measure_folder, read_folder};
use hoofgeo::{Line, View};
use hoofgeo_cli::demo::{Truth, cases, place_like_a_person, write};
use nalgebra::Point2;
use std::collections::HashMap;

/// Side views of both horses, at full size, with everything that can be read taken out of what a person placed.
#[test]
fn what_is_read_agrees_with_the_truth_of_rendered_feet() {
    let dir = tempfile::tempdir().unwrap();
    let (photos, read, out) = (dir.path().join("visit"), dir.path().join("read"), dir.path().join("results"));
    let mut truths: HashMap<String, Truth> = HashMap::new();
    for case in cases().into_iter().filter(|c| c.shot.view == View::Lateral).step_by(4) {
        let photo = case.render();
        let mut placed = place_like_a_person(&photo, case.shot.view, case.seed);
        placed
            .lines
            .retain(|name, _| !["tubules", "rings"].iter().any(|n| name.starts_with(n)) && *name != "dorsal_wall");
        write(&photos, &case, &photo, &placed).unwrap();
        truths.insert(case.file_name.clone(), photo.truth);
    }
    let before: Vec<_> = truths.keys().map(|n| std::fs::read(photos.join(format!("{n}.hoof.json"))).unwrap()).collect();
    let (mut tubules, mut walls, mut rings) = (0, 0, 0);
    let summary =
        read_folder(&photos, &read, None, &VisitOptions::usual(), ReadOptions::default(), &mut |report| match report {
            ReadReport::Read { reading, .. } => {
                for (line, found) in &reading.found {
                    match found {
                        Found::Tubules(_) => tubules += 1,
                        Found::Outline(_) => walls += 1,
                        Found::Rings(_) => rings += 1,
                        // A person drew it.
                        Found::Kept if *line == Line::Ground => continue,
                        Found::NotSeen(why) => eprintln!("{line}: {why}"),
                        other => panic!("{line}: {other:?}"),
                    }
                    assert_eq!(reading.sidecar.lines.contains_key(line), found.is_found());
                }
            }
            ReadReport::Refused(e) => panic!("{e}"),
            other => panic!("{other:?}"),
        })
        .unwrap();
    assert_eq!((summary.measured, summary.refused), (truths.len(), 0));
    let after: Vec<_> = truths.keys().map(|n| std::fs::read(photos.join(format!("{n}.hoof.json"))).unwrap()).collect();
    assert_eq!(before, after, "what a person wrote is left as it was");
    assert!(tubules >= 8 && walls >= 2, "{tubules} tubule lines of 12, {walls} walls of 4");
    // One more was found until the step where a rasped part begins, which lies on one of its rings, made that one doubtful.
    assert!(rings >= 3, "{rings} rows of rings of 8");

    let (mut all, mut inside) = (0, 0);
    let options = VisitOptions::default();
    measure_folder(&read, &Outputs::in_folder(out), &options, &Stop::new(), &mut |progress| match progress {
        Progress::Measured(report) => {
            let truth = &truths[&report.name];
            for v in &report.measured.values {
                let id = v.measurement.id;
                let from_pixels = id.starts_with("tubule") || v.used.lines().any(|l| l == Line::DorsalWall);
                let by_line = truth.values_line_fit.get(id).filter(|_| v.method() == "line_fit");
                let Some(t) = by_line.or_else(|| truth.values.get(id)).filter(|_| from_pixels) else { continue };
                all += 1;
                let off = (v.value - t).abs() / v.expanded();
                inside += usize::from(off <= 1.0);
                if off > 1.0 {
                    eprintln!("{} {id}: {:.2} ± {:.2}, true {t:.2}", report.name, v.value, v.expanded());
                }
                assert!(off < 2.0, "{} {id}: {} ± {}, true {t}", report.name, v.value, v.expanded());
            }
        }
        other => panic!("{other:?}"),
    })
    .unwrap();
    assert!(all >= 12 && inside * 10 >= all * 9, "{inside} of {all} values hold the truth");

    // Lines that stand in a sidecar are kept; landmarks are moved to their edges only where that is asked for, and keep their clicks.
    let (again, pictures) = (dir.path().join("again"), dir.path().join("seen"));
    let options = ReadOptions { snap: true, ..ReadOptions::default() };
    let inside =
        read_folder(&read, &again, Some(&again.join("pictures")), &VisitOptions::usual(), options, &mut |_| {})
            .unwrap_err();
    assert!(inside.to_string().contains("lie within a folder of photos"), "{inside}");
    let mut moved = 0;
    read_folder(&read, &again, Some(&pictures), &VisitOptions::usual(), options, &mut |report| {
        let ReadReport::Read { name, reading, .. } = report else { panic!("refused") };
        let kept = reading.found.iter().filter(|(_, f)| *f == Found::Kept).count();
        let seen = reading.sidecar.lines.keys();
        assert_eq!(kept, seen.filter(|l| reading.found.iter().any(|(k, f)| k == *l && !f.is_found())).count());
        let picture = image::open(pictures.join(name)).unwrap();
        assert!(picture.width() <= 2480 && picture.height() > picture.width() * 3 / 4, "the photo and a strip below");
        for (landmark, m) in &reading.moved {
            let placement = &reading.sidecar.landmarks[landmark];
            match m {
                Moved::Snapped(s) => {
                    moved += 1;
                    assert_eq!(Point2::from(placement.snapped.unwrap().from), s.from);
                    assert!(s.moved_mm <= 2.5 + 1e-9);
                }
                _ => assert!(placement.snapped.is_none(), "{landmark}: {m}"),
            }
        }
    })
    .unwrap();
    assert!(moved > 0);
    let third = dir.path().join("third");
    read_folder(&again, &third, None, &VisitOptions::usual(), options, &mut |report| {
        let ReadReport::Read { reading, .. } = report else { panic!("refused") };
        let kept = reading.moved.iter().filter(|(_, m)| *m == Moved::Kept).count();
        assert_eq!(kept, reading.sidecar.landmarks.values().filter(|p| p.snapped.is_some()).count());
        moved -= kept;
    })
    .unwrap();
    assert_eq!(moved, 0, "what was moved once stays where it is");
}
