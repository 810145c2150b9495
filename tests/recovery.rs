//! The demonstration's case, followed and reported, against the truth of its rendered feet.
#![allow(missing_docs, clippy::unwrap_used, reason = "tests")]

use hoofgeo::follow::{Case, FollowOptions, GrowthFrom, GrowthPlace, Shot, follow, read_folders};
use hoofgeo::report::{ReportOptions, write_reports};
use hoofgeo::{Foot, Stage, View, visit::write_whole};
use hoofgeo_cli::demo::{Truth, place_like_a_person, visits, write};
use std::collections::HashMap;

/// The left fore from the side, before and after each trim, at two fifths of the usual width.
fn case(folder: &std::path::Path) -> (Case, HashMap<String, Truth>) {
    let mut truths = HashMap::new();
    for visit in visits() {
        for mut photo in visit.photos {
            if photo.spec.foot != Foot::LeftFore || photo.shot.view != View::Lateral {
                continue;
            }
            photo.shot.size = photo.shot.size.map(|side| side * 2 / 5);
            let rendered = photo.render();
            let placed = place_like_a_person(&rendered, View::Lateral, photo.seed);
            write(folder, &photo, &rendered, &placed).unwrap();
            truths.insert(photo.file_name.clone(), rendered.truth);
        }
        let notes = folder.join(visit.day).join(hoofgeo::visit::VISIT_FILE);
        write_whole(&notes, visit.notes.to_string().as_bytes()).unwrap();
    }
    let shots =
        read_folders(&[folder.to_path_buf()], &[], &Default::default(), &Shot::of, &mut |e| panic!("{e}")).unwrap();
    (follow(&shots, &FollowOptions::default()).remove(0), truths)
}

#[test]
fn what_is_said_of_a_recovering_foot_is_true() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("visits");
    let (case, truths) = case(&folder);
    assert_eq!((case.animal.as_str(), case.visits.len()), ("Hazel", 6));
    let truth =
        |day: &str, stage: &str, id: &str| truths[&format!("{day}/LF-lateral-{stage}.jpg")].values.get(id).copied();

    // Differences of two-point values, whose truth has one meaning: 95 % nominal, few and correlated, hence 88 %.
    let (mut inside, mut all) = (0, 0);
    for s in case.series.iter().filter(|s| s.way.method != "line_fit") {
        let stage = if s.key.stage == Some(Stage::BeforeTrim) { "before" } else { "after" };
        for c in s.changes.iter().chain(&s.since_first) {
            let of = |day: String| truth(&day, stage, s.measurement.id);
            let (Some(a), Some(b)) = (of(c.from.to_string()), of(c.to.to_string())) else { continue };
            all += 1;
            inside += usize::from((c.difference - (b - a)).abs() <= c.expanded());
        }
    }
    assert!(all > 60, "{all}");
    assert!(f64::from(inside as u32) / f64::from(all as u32) > 0.88, "{inside} of {all}");

    // Toe and heel grow longer by 7.8 and 5.2 mm in five weeks of usual growth, wear taken off; 9.2 mm by rings; the mean season
    // is 1.032 of the usual. Five weeks are 1.150 months.
    let growth = |place, from| case.growth.iter().find(|g| (g.place, g.from) == (place, from)).unwrap();
    for (g, mm) in [
        (growth(GrowthPlace::Toe, GrowthFrom::Wall), 7.8),
        (growth(GrowthPlace::Heel, GrowthFrom::Wall), 5.2),
        (growth(GrowthPlace::Toe, GrowthFrom::Rings), 9.2),
    ] {
        let truth = mm * 1.032 / 1.150;
        assert!(
            (g.per_month - truth).abs() <= 1.3 * g.k * g.u,
            "{:?} {:?}: {} ± {}",
            g.place,
            g.from,
            g.per_month,
            g.u
        );
    }

    // The heel angle rises by 2° a visit, 1.74° a month.
    let heel = case.series.iter().find(|s| s.measurement.id == "heel_angle" && s.key.stage == Some(Stage::BeforeTrim));
    let trend = heel.unwrap().trend.clone().unwrap();
    assert!((trend.per_month - 1.74).abs() <= 1.3 * trend.k * trend.u_per_month(), "{trend:?}");
    assert!(trend.is_resolved() && trend.per_month > 0.0);

    // And the page says so, with the notes.
    let pages = write_reports(
        &[folder],
        &dir.path().join("pages"),
        &ReportOptions { pictures: false, ..ReportOptions::default() },
        &mut |e| panic!("{e}"),
    )
    .unwrap();
    let html = std::fs::read_to_string(&pages[0]).unwrap();
    for words in [
        "heel angle rises by",
        "hay, some oats",
        "7 September 2026",
        "Left fore",
        "<svg class=\"chart\"",
        "A photo does not show the bone",
    ] {
        assert!(html.contains(words), "{words}");
    }
}
