//! Visits marked from beginning to end; the values shown are those of `measure`.

use super::chromium::{Chromium, Tab};
use super::hands::{by_keyboard, by_mouse, open, press, saved};
use super::program::{Folder, Program, feet, target};
use hoofgeo::landmark::Line;
use hoofgeo::measured::MeasureOptions;
use hoofgeo::sidecar::Sidecar;
use hoofgeo::uncertainty::print;
use hoofgeo::visit::{Lenses, measure_entry, walk};
use std::collections::BTreeMap;

/// The values that the page shows, by id.
fn shown(tab: &Tab<'_>) -> BTreeMap<String, String> {
    let values = tab.eval(
        "Object.fromEntries([...document.querySelectorAll('.value')].map((v) => [v.dataset.id, \
         v.querySelector('.number').textContent + v.querySelector('.expanded').textContent]))",
    );
    values.as_object().unwrap().iter().map(|(k, v)| (k.clone(), v.as_str().unwrap().to_owned())).collect()
}

/// What `measure` says of the same photo, from the files on disk.
fn measured(folder: &Folder, name: &str) -> BTreeMap<String, String> {
    let entry = walk(folder.root(), &[]).map(Result::unwrap).find(|e| e.name == name).unwrap();
    let report =
        measure_entry(&entry, &Lenses::default(), &MeasureOptions::default()).unwrap_or_else(|e| panic!("{e}"));
    let text = |v: &hoofgeo::evaluate::Value| print(v.value, v.expanded(), v.measurement.quantity.unit()).to_string();
    report.measured.values.iter().map(|v| (v.measurement.id.to_owned(), text(v))).collect()
}

/// Whether what stands on disk is where the hand aimed: `reach` px of the photo.
fn is_as_aimed(folder: &Folder, name: &str, target: &Sidecar, reach: f64) {
    let draft = folder.draft(name);
    let near = |a: [f64; 2], b: [f64; 2], what: &str| {
        assert!((a[0] - b[0]).hypot(a[1] - b[1]) <= reach, "{name} {what}: {a:?} for {b:?}");
    };
    let points = draft.scale.unwrap().points.unwrap();
    let aimed = &target.scale.as_ref().unwrap().points;
    assert_eq!(points.iter().map(|g| g.mm).collect::<Vec<_>>(), aimed.iter().map(|g| g.mm).collect::<Vec<_>>());
    for (g, t) in points.iter().zip(aimed) {
        near(g.at, t.at, "graduation");
    }
    assert_eq!(draft.landmarks.0.len(), target.landmarks.len());
    for (landmark, aimed) in &target.landmarks {
        let (_, placed) = draft.landmarks.0.iter().find(|(n, _)| *n == landmark.name()).unwrap();
        near(placed.as_ref().unwrap().at[0], aimed.at[0], landmark.name());
    }
    for (line, points) in &draft.lines.0 {
        let aimed = &target.lines[&Line::find(target.view, line).unwrap()];
        assert_eq!(points.as_ref().map(Vec::len), Some(aimed.len()), "{name} {line}: {points:?} for {aimed:?}");
        for (p, t) in points.as_ref().unwrap().iter().zip(aimed) {
            near(*p, *t, line);
        }
    }
}

/// The photos of the visit.
fn visit() -> Vec<String> {
    let of = |foot: &&str| {
        ["lateral-before", "solar-before", "lateral-after", "solar-after"].map(|n| format!("{foot}{n}.jpg"))
    };
    feet().iter().flat_map(of).collect()
}

#[test]
fn a_foot_is_marked_with_the_mouse_and_measured() {
    let Some(browser) = Chromium::start() else { return };
    let visit = visit();
    let folder = Folder::new(&visit.iter().map(|n| (n.as_str(), n.as_str())).collect::<Vec<_>>());
    let program = Program::start(folder.root(), &["--observer", "JR"]);
    let tab = browser.open(&program.address, (1440, 900));
    for name in visit.iter().map(String::as_str) {
        open(&tab, name);
        let target = target(name);
        // A pixel of the screen is this much of the photo; the pointer is where it is to a pixel of the screen.
        let pixel = 1.0 / tab.eval("hoofgeo.page.view.scale").as_f64().unwrap();
        // An outline has some fifty points: one is enough.
        let lines = [Line::DorsalWall, Line::TubulesToe, Line::FrogOutline];
        by_mouse(&tab, &target, if name.contains("before") { &lines } else { &lines[..1] });
        is_as_aimed(&folder, name, &target, pixel + 0.02);
        assert_eq!(folder.draft(name).observer.as_deref(), Some("JR"));
        tab.until("hoofgeo.store.values.values?.length > 5");
        let values = measured(&folder, name);
        assert!(values.len() > 8, "{name}");
        tab.until(&format!("document.querySelectorAll('.value').length === {}", values.len()));
        assert_eq!(shown(&tab), values, "{name}");
    }
    press(&tab, "Measure the visit");
    tab.until("document.getElementById('dialog').open");
    press(&tab, "Measure");
    tab.until("document.getElementById('dialog-title').textContent === 'Measured'");
    tab.until("document.querySelectorAll('.pictures img').length === hoofgeo.store.visit.photos.length");
    for file in ["measurements.csv", "measurements.json"] {
        assert!(folder.path("results").join(file).is_file());
    }
    assert_eq!(browser.errors(), Vec::<String>::new());
}

#[test]
fn a_photo_is_marked_with_the_keyboard_alone() {
    let Some(browser) = Chromium::start() else { return };
    // Names that tell nothing: foot and view are asked for.
    let most = if feet().len() > 1 { usize::MAX } else { 2 };
    let photos: Vec<_> =
        visit().into_iter().take(most).enumerate().map(|(i, of)| (of, format!("IMG_{i:04}.jpg"))).collect();
    let folder = Folder::new(&photos.iter().map(|(of, name)| (of.as_str(), name.as_str())).collect::<Vec<_>>());
    let program = Program::start(folder.root(), &[]);
    let tab = browser.open(&program.address, (1440, 900));
    for (i, (of, name)) in photos.iter().enumerate() {
        let target = target(of);
        let lateral = of.contains("lateral");
        tab.until(&format!("hoofgeo.store.photo.name === '{name}' && hoofgeo.page.whole"));
        if i == 0 {
            tab.key("F6", 0);
            tab.key("F6", 0);
        }
        assert_eq!(tab.eval("document.activeElement.textContent"), "Left fore");
        tab.key("Enter", 0);
        tab.until("document.activeElement.textContent === 'From the side'");
        if !lateral {
            tab.key("Tab", 0);
        }
        tab.key("Enter", 0);
        tab.until("document.activeElement.id === 'photo'");
        if !lateral && target.scale.as_ref().unwrap().kind.is_two_dimensional() {
            // To the list of scales, and by its first letter to the L-shaped one.
            tab.key("F6", 0);
            tab.until("document.activeElement.id === 'scale-kind'");
            tab.key("L", 0);
            tab.until("hoofgeo.store.draft.scale.kind === 'square_ruler'");
            tab.key("F6", 0);
        }
        by_keyboard(&tab, &target, lateral);
        is_as_aimed(&folder, name, &target, 0.08);
        tab.until("hoofgeo.store.values.values?.length > 5");
        let values = measured(&folder, name);
        tab.until(&format!("document.querySelectorAll('.value').length === {}", values.len()));
        assert_eq!(shown(&tab), values, "{name}");
        if let Some((_, next)) = photos.get(i + 1) {
            tab.key("PageDown", 0);
            tab.until(&format!("hoofgeo.store.photo.name === '{next}'"));
            tab.key("F6", 0);
        }
    }
    let last = format!("{}.hoof.json", photos.last().unwrap().1);
    // Undone to the beginning and done again, nothing has changed.
    let before = std::fs::read_to_string(folder.path(&last)).unwrap();
    let steps = tab.eval("hoofgeo.store.past.length").as_u64().unwrap();
    assert!(steps > 20);
    for key in ["z", "y"] {
        for _ in 0..steps {
            tab.key(key, 2);
        }
    }
    saved(&tab);
    assert_eq!(std::fs::read_to_string(folder.path(&last)).unwrap(), before);
    assert_eq!(browser.errors(), Vec::<String>::new());
}

#[test]
fn a_round_without_sight_of_the_first_adds_to_it() {
    let Some(browser) = Chromium::start() else { return };
    let name = "LF-lateral-before.jpg";
    let folder = Folder::new(&[(name, name)]);
    let target = target(name);
    std::fs::write(folder.path("LF-lateral-before.jpg.hoof.json"), target.to_json()).unwrap();
    let program = Program::start(folder.root(), &["--repeat"]);
    let tab = browser.open(&program.address, (1440, 900));
    // Nothing of the first round is to be seen, not even in what the server sends.
    assert_eq!(tab.eval("Object.values(hoofgeo.store.draft.landmarks).filter(Boolean).length"), 0);
    assert_eq!(tab.eval("Object.keys(hoofgeo.store.draft.lines ?? {}).length"), 0);
    let first = target.landmarks[&hoofgeo::Landmark::ToeCoronet].at[0];
    let at = on_screen_moved(&tab, first);
    tab.click(at);
    saved(&tab);
    drop(program);
    let stored = folder.draft(name);
    let placed = stored.landmarks.0.iter().find(|(n, _)| *n == "toe_coronet").unwrap().1.clone().unwrap();
    assert_eq!(placed.at.len(), 2);
    assert_eq!(placed.at[0], first);
    assert_eq!(stored.lines.0.iter().filter(|(_, l)| l.is_some()).count(), target.lines.len());
    // The round goes on after a new start.
    let again = Program::start(folder.root(), &["--repeat"]);
    let photo = again.get("/api/photo/0");
    assert!(photo["draft"]["landmarks"]["toe_coronet"]["at"].is_array());
    assert!(photo["draft"]["landmarks"]["toe_ground"].is_null());
}

fn on_screen_moved(tab: &Tab<'_>, [x, y]: [f64; 2]) -> [f64; 2] {
    super::hands::on_screen(tab, [x + 2.0, y - 1.0])
}
