//! Nothing placed is lost, and nothing of others is written over.

use super::chromium::Chromium;
use super::hands::{on_screen, open, press, saved};
use super::looking::looked_at;
use super::program::{Folder, Program, target};
use hoofgeo::Landmark;
use hoofgeo::sidecar::Draft;

const PHOTO: &str = "LF-lateral-before.jpg";
const SIDECAR: &str = "LF-lateral-before.jpg.hoof.json";

fn placed(folder: &Folder, name: &str) -> Option<[f64; 2]> {
    let draft = folder.draft(PHOTO);
    draft.landmarks.0.iter().find(|(n, _)| *n == name)?.1.as_ref().map(|p| p.at[0])
}

#[test]
fn a_reload_and_a_crash_lose_nothing() {
    let Some(browser) = Chromium::start() else { return };
    let folder = Folder::new(&[(PHOTO, PHOTO)]);
    let mut program = Program::start(folder.root(), &[]);
    let tab = browser.open(&program.address, (1440, 900));
    let aim = target(PHOTO);
    // One graduation is no scale yet: it is kept all the same, beside the sidecar.
    tab.click(on_screen(&tab, aim.scale.as_ref().unwrap().points[0].at));
    tab.until("document.activeElement.id === 'mm-0-0'");
    tab.eval("hoofgeo.page.choose({ kind: 'landmark', name: 'toe_coronet' })");
    let coronet = aim.landmarks[&Landmark::ToeCoronet].at[0];
    tab.click(on_screen(&tab, coronet));
    saved(&tab);
    tab.go(&program.address);
    assert_eq!(tab.eval("hoofgeo.store.draft.scale.points.length"), 1);
    assert!(tab.eval("hoofgeo.store.draft.landmarks.toe_coronet").is_object());
    assert!(placed(&folder, "toe_coronet").is_some());
    assert!(folder.names().contains(&format!(".{PHOTO}.place.json")));

    // The program dies; what is placed then is kept by the browser, and saved by the next run.
    let port = program.port.to_string();
    program.kill();
    tab.eval("hoofgeo.page.choose({ kind: 'landmark', name: 'toe_ground' })");
    tab.click(on_screen(&tab, aim.landmarks[&Landmark::ToeGround].at[0]));
    tab.until("hoofgeo.store.saving === 'unsent'");
    assert!(
        tab.eval("document.getElementById('notice').textContent").as_str().unwrap().contains("kept in this browser")
    );
    assert!(placed(&folder, "toe_ground").is_none());
    let again = Program::start(folder.root(), &["--port", &port]);
    tab.go(&again.address);
    tab.until("hoofgeo.store.draft.landmarks.toe_ground");
    saved(&tab);
    assert!(placed(&folder, "toe_ground").is_some() && placed(&folder, "toe_coronet").is_some());
    // A second graduation makes it a scale, and the file beside the sidecar goes.
    tab.eval("hoofgeo.page.choose({ kind: 'scale', name: 'scale' })");
    tab.click(on_screen(&tab, aim.scale.as_ref().unwrap().points[2].at));
    tab.until("document.activeElement.id === 'mm-1-0'");
    saved(&tab);
    assert_eq!(folder.draft(PHOTO).scale.unwrap().points.unwrap().len(), 2);
    assert_eq!(folder.names(), [PHOTO, SIDECAR]);
}

#[test]
fn what_cannot_be_seen_and_what_a_gauge_read_is_still_known_after_a_reload() {
    let Some(browser) = Chromium::start() else { return };
    let folder = Folder::new(&[(PHOTO, PHOTO)]);
    let program = Program::start(folder.root(), &[]);
    let tab = browser.open(&program.address, (1440, 900));
    tab.eval("hoofgeo.page.choose({ kind: 'landmark', name: 'heel_bulb' })");
    press(&tab, "Cannot be seen");
    tab.eval("hoofgeo.page.choose({ kind: 'line', name: 'rings_toe' })");
    press(&tab, "Cannot be seen");
    // The gauge, typed; its uncertainty is asked for once it says something, and goes with it.
    tab.eval("document.getElementById('facts').open = true");
    let gauge = |part: &str| format!("field-gauge-heel_above_sole_plane_mm-{part}");
    let fill = |part: &str, text: &str| {
        tab.eval(&format!(
            "(() => {{ const f = document.getElementById('{}'); f.focus(); f.select(); }})()",
            gauge(part)
        ));
        if text.is_empty() {
            tab.key("Delete", 0);
        } else {
            tab.text(text);
        }
        tab.eval("document.activeElement.blur()");
    };
    assert_eq!(tab.eval(&format!("document.getElementById('{}').disabled", gauge("u_mm"))), true);
    fill("lateral", "3,5");
    fill("u_mm", "0.5");
    saved(&tab);
    looked_at(&tab, "gauge");
    tab.go(&program.address);
    for (name, kind) in [("heel_bulb", "landmark"), ("rings_toe", "line")] {
        assert_eq!(
            tab.eval(&format!("document.querySelector('[data-step={name}] .state').textContent")),
            "cannot be seen",
            "{kind}"
        );
        assert_ne!(tab.eval("hoofgeo.store.active.name"), name);
    }
    let heel = folder.draft(PHOTO).gauge.unwrap().heel_above_sole_plane_mm.unwrap();
    assert_eq!((heel.medial, heel.lateral, heel.u_mm), (None, Some(3.5), Some(0.5)));
    // Undone, it is asked for again.
    tab.eval("hoofgeo.page.choose({ kind: 'landmark', name: 'heel_bulb' })");
    press(&tab, "It can be seen after all");
    tab.eval("document.getElementById('facts').open = true");
    fill("lateral", "");
    saved(&tab);
    let draft = folder.draft(PHOTO);
    assert!(draft.gauge.is_none());
    assert!(draft.landmarks.0.contains(&("heel_bulb", None)));
    assert!(draft.lines.0.iter().all(|(name, _)| *name != "rings_toe"));
    assert_eq!(browser.errors(), Vec::<String>::new());
}

#[test]
fn a_sidecar_changed_by_another_program_is_not_written_over() {
    let Some(browser) = Chromium::start() else { return };
    let folder = Folder::new(&[(PHOTO, PHOTO)]);
    let program = Program::start(folder.root(), &[]);
    let tab = browser.open(&program.address, (1440, 900));
    let aim = target(PHOTO);
    tab.eval("hoofgeo.page.choose({ kind: 'landmark', name: 'toe_coronet' })");
    tab.click(on_screen(&tab, aim.landmarks[&Landmark::ToeCoronet].at[0]));
    saved(&tab);
    for (round, keep) in [(1, true), (2, false)] {
        let mut theirs = folder.draft(PHOTO);
        theirs.notes = Some(format!("by another program, {round}"));
        std::fs::write(folder.path(SIDECAR), theirs.to_json()).unwrap();
        let written = std::fs::read_to_string(folder.path(SIDECAR)).unwrap();
        tab.eval("hoofgeo.page.choose({ kind: 'landmark', name: 'heel_ground' })");
        tab.click(on_screen(&tab, aim.landmarks[&Landmark::HeelGround].at[0]));
        tab.until("document.getElementById('dialog').open");
        assert_eq!(std::fs::read_to_string(folder.path(SIDECAR)).unwrap(), written);
        press(&tab, if keep { "Keep mine beside it, take theirs" } else { "Take theirs" });
        tab.until(&format!("hoofgeo.store.draft.notes?.endsWith('{round}')"));
        assert!(tab.eval("hoofgeo.store.draft.landmarks.heel_ground").is_null());
        assert_eq!(std::fs::read_to_string(folder.path(SIDECAR)).unwrap(), written);
    }
    let mine = std::fs::read_to_string(folder.path("LF-lateral-before.jpg.mine-1.json")).unwrap();
    assert!(mine.contains("\"heel_ground\": { \"at\":"), "{mine}");
    assert!(!folder.names().iter().any(|n| n.contains("mine-2")));
}

#[test]
fn two_windows_show_the_same() {
    let Some(browser) = Chromium::start() else { return };
    let folder = Folder::new(&[(PHOTO, PHOTO)]);
    let program = Program::start(folder.root(), &[]);
    let (a, b) = (browser.open(&program.address, (1440, 900)), browser.open(&program.address, (820, 1180)));
    let aim = target(PHOTO);
    for (i, landmark) in [Landmark::ToeCoronet, Landmark::ToeGround, Landmark::HeelCoronet].into_iter().enumerate() {
        let (here, there) = if i % 2 == 0 { (&a, &b) } else { (&b, &a) };
        here.call("Page.bringToFront", serde_json::json!({}));
        here.eval(&format!("hoofgeo.page.choose({{ kind: 'landmark', name: '{landmark}' }})"));
        here.click(on_screen(here, aim.landmarks[&landmark].at[0]));
        saved(here);
        there.until(&format!("hoofgeo.store.draft.landmarks.{landmark}"));
    }
    assert!(["toe_coronet", "toe_ground", "heel_coronet"].iter().all(|n| placed(&folder, n).is_some()));
    assert_eq!(a.eval("JSON.stringify(hoofgeo.store.draft)"), b.eval("JSON.stringify(hoofgeo.store.draft)"));
    // A change from outside is followed too, where nothing waits to be saved.
    let mut theirs = folder.draft(PHOTO);
    theirs.notes = Some("from outside".to_owned());
    std::fs::write(folder.path(SIDECAR), theirs.to_json()).unwrap();
    a.until("hoofgeo.store.draft.notes === 'from outside'");
}

#[test]
fn names_and_texts_are_never_read_as_markup() {
    let Some(browser) = Chromium::start() else { return };
    let evil = "<img src=x onerror=alert(1)>&quot;'\u{202e}.jpg";
    let folder = Folder::new(&[(PHOTO, evil), ("LF-solar-before.jpg", "b.jpg")]);
    let script = "</script><script>window.pwned = 1</script>";
    let (width, height) = image::image_dimensions(folder.path("b.jpg")).unwrap();
    let mut draft = Draft::start("LF-sole.jpg", width, height, None);
    draft.photo.file = "b.jpg".to_owned();
    draft.subject.as_mut().unwrap().animal = Some(script.to_owned());
    draft.notes = Some(script.to_owned());
    draft.observer = Some(script.to_owned());
    std::fs::write(folder.path("b.jpg.hoof.json"), draft.to_json()).unwrap();
    let program = Program::start(folder.root(), &["--observer", script]);
    let tab = browser.open(&program.address, (1440, 900));
    open(&tab, "b.jpg");
    let facts = tab.eval("document.getElementById('photo-facts').textContent");
    assert!(facts.as_str().unwrap().contains(script), "{facts} {:?}", browser.errors());
    open(&tab, evil);
    assert_eq!(tab.eval("document.getElementById('photo-name').textContent"), evil);
    assert!(tab.eval("globalThis.pwned ?? null").is_null());
    assert_eq!(tab.eval("document.querySelectorAll('img, body script').length"), 0);
    press(&tab, "Left fore");
    press(&tab, "From the side");
    saved(&tab);
    assert_eq!(folder.draft(evil).photo.file, evil);
    assert_eq!(browser.errors(), Vec::<String>::new());
}
