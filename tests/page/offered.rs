//! What the program offers while a photo is marked: shown dashed, taken by a key, said in the sidecar, never there before.

use super::chromium::Chromium;
use super::hands::{on_screen, open, press, saved};
use super::looking::looked_at;
use super::program::{Program, large};
use hoofgeo::{Landmark, Suggestion};

const PHOTO: &str = "LF-lateral-before.jpg";
const SIDECAR: &str = "LF-lateral-before.jpg.hoof.json";

#[test]
fn the_rest_of_a_foot_is_offered_and_taken_by_one_key() {
    let Some(browser) = Chromium::start() else { return };
    let (folder, whole) = large(PHOTO);
    let mut draft = whole.clone();
    for (_, placed) in &mut draft.landmarks.0 {
        *placed = None;
    }
    for (_, line) in &mut draft.lines.0 {
        *line = None;
    }
    std::fs::write(folder.path(SIDECAR), draft.to_json()).unwrap();
    let program = Program::start(folder.root(), &[]);
    let tab = browser.open(&program.address, (1440, 900));
    open(&tab, PHOTO);
    let truth = |l: Landmark| whole.landmarks.0.iter().find(|(n, _)| *n == l.name()).unwrap().1.clone().unwrap().at[0];
    for landmark in [Landmark::ToeCoronet, Landmark::ToeGround, Landmark::HeelCoronet, Landmark::HeelGround] {
        assert_eq!(tab.eval("hoofgeo.store.active.name"), landmark.name());
        tab.click(on_screen(&tab, truth(landmark)));
    }
    tab.until("hoofgeo.store.offering === false && Object.keys(hoofgeo.store.offers.landmarks).length > 2");
    saved(&tab);
    // Offered is not placed: neither the page's draft nor the sidecar knows of it.
    let placed = |n: usize| folder.draft(PHOTO).landmarks.0.iter().filter(|(_, p)| p.is_some()).count() == n;
    assert!(placed(4));
    looked_at(&tab, "offered");
    let bulb = tab.eval("hoofgeo.store.offers.landmarks.heel_bulb.at");
    let off = |at: &[f64; 2], l: Landmark| (at[0] - truth(l)[0]).hypot(at[1] - truth(l)[1]);
    let px_per_mm = 5.4;
    let bulb = [bulb[0].as_f64().unwrap(), bulb[1].as_f64().unwrap()];
    assert!(off(&bulb, Landmark::HeelBulb) < 20.0 * px_per_mm, "{bulb:?}");
    let lines = tab.eval("Object.keys(hoofgeo.store.offers.lines)");
    assert!(lines.as_array().unwrap().iter().any(|l| l == "tubules_toe"), "{lines}");
    tab.eval("document.getElementById('photo').focus()");
    tab.key("A", 8);
    saved(&tab);
    let kept = folder.draft(PHOTO);
    let accepted: Vec<&str> = kept
        .landmarks
        .0
        .iter()
        .filter(|(_, p)| p.as_ref().is_some_and(|p| p.suggested == Some(Suggestion::Accepted)))
        .map(|(n, _)| *n)
        .collect();
    assert!(accepted.contains(&"heel_bulb") && !accepted.contains(&"toe_coronet"), "{accepted:?}");
    assert!(!accepted.contains(&"sole_plane_heel"), "what cannot be seen is not offered");
    assert!(kept.lines.0.iter().any(|(n, l)| *n == "tubules_toe" && l.is_some()));
    assert!(kept.notes.as_ref().unwrap().contains("tubules_toe"));
    // Moving one makes it a person's own.
    tab.eval("hoofgeo.page.choose({ kind: 'landmark', name: 'heel_bulb' })");
    tab.eval("document.getElementById('photo').focus()");
    tab.key("ArrowLeft", 0);
    saved(&tab);
    let own = folder.draft(PHOTO);
    let bulb = own.landmarks.0.iter().find(|(n, _)| *n == "heel_bulb").unwrap().1.clone().unwrap();
    assert_eq!(bulb.suggested, None);
    // The rest is said not to be seen in one go.
    tab.key("U", 8);
    tab.until("document.getElementById('now-title').textContent === 'Everything is marked'");
    assert_eq!(browser.errors(), Vec::<String>::new());
}

#[test]
fn who_places_once_more_is_offered_nothing() {
    let Some(browser) = Chromium::start() else { return };
    let (folder, whole) = large(PHOTO);
    std::fs::write(folder.path(SIDECAR), whole.to_json()).unwrap();
    let program = Program::start(folder.root(), &["--repeat"]);
    let tab = browser.open(&program.address, (1440, 900));
    open(&tab, PHOTO);
    let body = tab.eval("JSON.stringify({ draft: hoofgeo.store.draft })");
    let (status, _, answer) = program.ask("POST", "/api/photo/0/suggest", &[], body.as_str().unwrap());
    assert_eq!((status, String::from_utf8_lossy(&answer).as_ref()), (200, r#"{"landmarks":{},"lines":{}}"#));
    assert!(tab.eval("hoofgeo.store.visit.repeat") == true);
    press(&tab, "Keys");
    tab.until("document.getElementById('dialog').open");
}

/// The last visit lies in the folder beside: how the values differ from it stands beside them, and what was placed then is learned from.
#[test]
fn the_last_visit_stands_beside_the_values() {
    let Some(browser) = Chromium::start() else { return };
    let (folder, whole) = large(PHOTO);
    let last = folder.beside("2026-03-16");
    std::fs::copy(folder.path(PHOTO), last.join(PHOTO)).unwrap();
    let mut then = whole.clone();
    then.taken = Some("2026-03-16T09:00:00".into());
    std::fs::write(last.join(SIDECAR), then.to_json()).unwrap();
    let mut now = whole.clone();
    now.taken = Some("2026-05-04T09:00:00".into());
    // The heel's coronet lies farther down.
    for (name, placed) in &mut now.landmarks.0 {
        if let Some(p) = placed.as_mut().filter(|_| *name == "heel_coronet") {
            p.at[0][1] += 90.0;
        }
    }
    std::fs::write(folder.path(SIDECAR), now.to_json()).unwrap();
    let program = Program::start(folder.root(), &[]);
    let tab = browser.open(&program.address, (1440, 900));
    open(&tab, PHOTO);
    tab.until("hoofgeo.store.values.changes?.heel_height");
    let of = |id: &str| tab.eval(&format!("hoofgeo.store.values.changes.{id}"));
    assert_eq!(of("heel_height")["since"], "2026-03-16");
    assert_eq!(of("heel_height")["verdict"], "fell", "{}", of("heel_height"));
    assert_eq!(of("dorsal_wall_angle")["verdict"], "not resolved", "{}", of("dorsal_wall_angle"));
    let row = tab.eval("document.querySelector('.value[data-id=heel_height] .change').textContent");
    assert!(row.as_str().unwrap().starts_with("since 2026-03-16: -"), "{row}");
    let limits = tab.eval("hoofgeo.store.values.verdicts.heel_toe_angle_difference?.length ?? 0");
    assert!(limits.as_u64().unwrap() > 0);
    looked_at(&tab, "last-visit");
    assert_eq!(browser.errors(), Vec::<String>::new());
}
