//! Visits marked from beginning to end; the values shown are those of `measure`.

use super::chromium::{Chromium, Tab};
use super::hands::{by_keyboard, by_mouse, open, press, saved};
use super::looking::looked_at;
use super::program::{Folder, Program, feet, target};
use hoofgeo::landmark::Line;
use hoofgeo::sidecar::Sidecar;
use hoofgeo::uncertainty::print;
use hoofgeo::visit::{RulerReading, Session, VisitOptions, walk};
use std::collections::BTreeMap;

/// The values that the page shows, by id.
pub(crate) fn shown(tab: &Tab<'_>) -> BTreeMap<String, String> {
    let values = tab.eval(
        "Object.fromEntries([...document.querySelectorAll('.value')].map((v) => [v.dataset.id, \
         v.querySelector('.number').textContent + v.querySelector('.expanded').textContent]))",
    );
    values.as_object().unwrap().iter().map(|(k, v)| (k.clone(), v.as_str().unwrap().to_owned())).collect()
}

/// What `measure` says of the same photo, from the files on disk.
pub(crate) fn measured(folder: &Folder, name: &str, read_ruler: RulerReading) -> BTreeMap<String, String> {
    let entry = walk(folder.root(), &[]).map(Result::unwrap).find(|e| e.name == name).unwrap();
    let options = VisitOptions { read_ruler, ..VisitOptions::default() };
    let report = Session::new(&options).and_then(|session| session.measure(&entry)).unwrap_or_else(|e| panic!("{e}"));
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
fn a_visit_is_marked_with_the_mouse_and_measured() {
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
        let values = measured(&folder, name, RulerReading::AsStated);
        assert!(values.len() > 8, "{name}");
        tab.until(&format!("document.querySelectorAll('.value').length === {}", values.len()));
        assert_eq!(shown(&tab), values, "{name}");
    }
    press(&tab, "Measure the visit");
    tab.until("document.getElementById('dialog').open");
    looked_at(&tab, "finish");
    tab.eval("document.getElementById('finish-animal').focus()");
    tab.text("Marlow");
    press(&tab, "Measure");
    tab.until("document.getElementById('dialog-title').textContent === 'Measured'");
    tab.until("document.querySelectorAll('.pictures img').length === hoofgeo.store.visit.photos.length");
    looked_at(&tab, "measured");
    for file in ["measurements.csv", "measurements.json"] {
        assert!(folder.path("results").join(file).is_file());
    }
    // The reports, in windows of their own.
    let links = tab.eval("[...document.querySelectorAll('#dialog a.report')].map((a) => a.getAttribute('href'))");
    let links: Vec<&str> = links.as_array().unwrap().iter().map(|l| l.as_str().unwrap()).collect();
    assert_eq!(links.len(), 2, "{}", tab.eval("document.getElementById('dialog').innerText"));
    for (link, title) in links.iter().zip(["hoof report", ""]) {
        // No key of the session is in the address, and it opens by itself.
        assert!(!link.contains(&program.key));
        let (status, head, _) = program.ask("GET", link, &[("X-Hoofgeo-Key", "")], "");
        assert_eq!(status, 200);
        assert!(
            head.contains("Content-Security-Policy: default-src 'none'; img-src data:;") && head.contains("sandbox")
        );
        let page = browser.page(&format!("http://127.0.0.1:{}{link}", program.port), (1000, 800));
        page.until("document.querySelector('h1')?.textContent.includes('Marlow') && document.images.length");
        assert!(page.eval("document.title").as_str().unwrap().contains(title));
        assert!(page.eval("[...document.images].every((i) => i.complete && i.naturalWidth)") == true);
        let wrong = format!("{}{}{}", &link[..12], if &link[12..13] == "0" { "1" } else { "0" }, &link[13..]);
        assert!(program.ask("GET", &wrong, &[("X-Hoofgeo-Key", "")], "").0 == 404);
        assert_eq!(program.ask("GET", link, &[("Origin", "http://example.com")], "").0, 403);
        assert_eq!(program.ask("GET", link, &[("Sec-Fetch-Site", "cross-site")], "").0, 403);
    }
    assert_eq!(program.ask("GET", &format!("{}9", links[0]), &[], "").0, 404);
    assert_eq!(browser.errors(), Vec::<String>::new());
}

#[test]
fn a_visit_is_marked_with_the_keyboard_alone() {
    let Some(browser) = Chromium::start() else { return };
    // Names that tell nothing: foot and view are asked for.
    let photos: Vec<_> = visit().into_iter().enumerate().map(|(i, of)| (of, format!("IMG_{i:04}.jpg"))).collect();
    let folder = Folder::new(&photos.iter().map(|(of, name)| (of.as_str(), name.as_str())).collect::<Vec<_>>());
    let program = Program::start(folder.root(), &[]);
    let tab = browser.open(&program.address, (1440, 900));
    for (i, (of, name)) in photos.iter().enumerate() {
        let target = target(of);
        let lateral = of.contains("lateral");
        tab.until(&format!("hoofgeo.store.photo.name === '{name}' && hoofgeo.page.whole"));
        if i == 0 {
            // Nothing is known of the photos: it begins with the contact sheet.
            tab.until("hoofgeo.contact?.sheet.open && document.activeElement.matches('.tile')");
            tab.key("c", 0);
            tab.until("document.activeElement.id === 'photo'");
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
        by_keyboard(&tab, &target, lateral);
        is_as_aimed(&folder, name, &target, 0.08);
        tab.until("hoofgeo.store.values.values?.length > 5");
        let values = measured(&folder, name, RulerReading::AsStated);
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
    // The round goes on after a new start, and what cannot be seen this time is not asked for again.
    let again = Program::start(folder.root(), &["--repeat"]);
    let tab = browser.open(&again.address, (1440, 900));
    tab.eval("hoofgeo.page.choose({ kind: 'landmark', name: 'heel_ground' })");
    press(&tab, "Cannot be seen");
    saved(&tab);
    drop(again);
    let again = Program::start(folder.root(), &["--repeat"]);
    let landmarks = again.get("/api/photo/0")["draft"]["landmarks"].clone();
    assert!(landmarks["toe_coronet"]["at"].is_array());
    assert!(landmarks.as_object().unwrap().contains_key("toe_ground") && landmarks["toe_ground"].is_null());
    assert!(!landmarks.as_object().unwrap().contains_key("heel_ground"));
    assert_eq!(folder.draft(name).landmarks.0.len(), target.landmarks.len());
    // Measured meanwhile, no picture and no report shows the first round.
    let (status, _, body) = again.ask("POST", "/api/finish", &[], "{}");
    let done: serde_json::Value = serde_json::from_slice(&body).unwrap();
    assert_eq!(status, 200, "{done}");
    assert!(done["measured"] == 1 && done["report"].is_null() && done["photos"][0]["picture"] == false, "{done}");
    assert_eq!(again.ask("GET", "/api/photo/0/picture", &[], "").0, 404);
}

/// Two observers, each in a folder of their own and one of them twice: `hoofgeo observers` tells them apart.
#[test]
fn what_several_observers_placed_is_compared() {
    let Some(browser) = Chromium::start() else { return };
    let name = "LF-lateral-before.jpg";
    let folder = Folder::new(&[(name, name)]);
    let aim = target(name);
    std::fs::write(folder.path("LF-lateral-before.jpg.hoof.json"), aim.to_json()).unwrap();
    let own = tempfile::tempdir().unwrap();
    let place = |who: &str, more: &[&str], off: f64| {
        let out = own.path().join(who);
        let program =
            Program::start(folder.root(), &[&["--observer", who, "--out", out.to_str().unwrap()], more].concat());
        let tab = browser.open(&program.address, (1440, 900));
        // Neither the visit's own placements nor an earlier round are to be seen.
        assert_eq!(
            tab.eval("Object.values(hoofgeo.store.draft.landmarks).filter(Boolean).length"),
            0,
            "{who} {more:?}"
        );
        if more.is_empty() {
            for (i, g) in aim.scale.as_ref().unwrap().points.iter().enumerate() {
                tab.click(super::hands::on_screen(&tab, g.at));
                tab.until(&format!("document.activeElement?.id === 'mm-{i}-0'"));
                tab.text(&g.mm[0].to_string());
                tab.key("Enter", 0);
            }
        }
        for landmark in ["toe_coronet", "toe_ground", "heel_coronet", "heel_ground"] {
            tab.eval(&format!("hoofgeo.page.choose({{ kind: 'landmark', name: '{landmark}' }})"));
            let landmark = hoofgeo::Landmark::find(hoofgeo::View::Lateral, landmark).unwrap();
            let [x, y] = aim.landmarks[&landmark].at[0];
            tab.click(super::hands::on_screen(&tab, [x + off, y - off]));
        }
        saved(&tab);
    };
    place("AB", &[], 1.0);
    place("AB", &["--repeat"], -2.0);
    place("CD", &[], 3.0);
    let out = own.path().join("compared");
    let done = std::process::Command::new(env!("CARGO_BIN_EXE_hoofgeo"))
        .arg("observers")
        .args(["AB", "CD"].map(|who| own.path().join(who)))
        .arg("--out")
        .arg(&out)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&done.stdout).into_owned();
    assert!(done.status.success(), "{said} {}", String::from_utf8_lossy(&done.stderr));
    assert!(said.contains("observers: AB, CD"), "{said}");
    assert!(said.lines().any(|l| l.starts_with("toe_ground") && !l.contains(" - ")), "{said}");
    // The windows of the runs that have ended go on asking: that their key is refused is as it should be.
    browser.errors();
}

fn on_screen_moved(tab: &Tab<'_>, [x, y]: [f64; 2]) -> [f64; 2] {
    super::hands::on_screen(tab, [x + 2.0, y - 1.0])
}
