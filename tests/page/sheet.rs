//! The contact sheet: bare photos told apart by an order said once, by keys, by the mouse and by a finger.

use super::chromium::{Chromium, Tab};
use super::looking::looked_at;
use super::program::{Folder, Program};
use serde_json::json;

/// A visit's photos under names that tell nothing, in the order in which they were taken.
fn bare() -> Folder {
    let order = ["LF", "RF", "LH", "RH"];
    let of = |stage: &'static str| {
        order.iter().flat_map(move |foot| ["lateral", "solar"].map(|view| format!("{foot}-{view}-{stage}.jpg")))
    };
    let names: Vec<(String, String)> =
        of("before").chain(of("after")).enumerate().map(|(i, n)| (n, format!("IMG_{:04}.jpg", 2041 + i))).collect();
    Folder::new(&names.iter().map(|(of, name)| (of.as_str(), name.as_str())).collect::<Vec<_>>())
}

fn opened(tab: &Tab<'_>) {
    tab.until("hoofgeo.contact?.sheet.open && document.querySelectorAll('.tile img[src]').length > 3");
}

fn middle(tab: &Tab<'_>, selector: &str) -> [f64; 2] {
    let at = tab.eval(&format!(
        "(() => {{ const e = document.querySelector({}); e.scrollIntoView({{ block: 'nearest' }}); const r = e.getBoundingClientRect(); \
         return [r.x + r.width / 2, r.y + r.height / 2]; }})()",
        json!(selector)
    ));
    [at[0].as_f64().unwrap(), at[1].as_f64().unwrap()]
}

/// What the sheet says of the photo in this place.
fn says(tab: &Tab<'_>, i: usize) -> String {
    tab.eval(&format!(
        "(({{ foot, view, stage }}) => `${{foot}} ${{view}} ${{stage}}`)(hoofgeo.store.visit.photos[{i}])"
    ))
    .as_str()
    .unwrap()
    .to_owned()
}

#[test]
fn an_order_said_once_tells_the_photos_apart() {
    if super::program::feet().len() < 4 {
        return;
    }
    let Some(browser) = Chromium::start() else { return };
    let folder = bare();
    let program = Program::start(folder.root(), &[]);
    let tab = browser.open(&program.address, (1440, 900));
    opened(&tab);
    // Remarks of `check` come by themselves.
    tab.until("hoofgeo.contact.thumbs.seen(0)");
    looked_at(&tab, "sheet-bare");
    tab.click(middle(&tab, "#order-fill"));
    tab.until("hoofgeo.store.visit.photos.every((p) => p.foot && p.view && p.stage)");
    assert_eq!(says(&tab, 0), "LF lateral before_trim");
    assert_eq!(says(&tab, 3), "RF solar before_trim");
    assert_eq!(says(&tab, 15), "RH solar after_trim");
    assert!(tab.eval("document.getElementById('board-says').textContent").as_str().unwrap().contains("all of it"));
    looked_at(&tab, "sheet-filled");
    // It is in the sidecars, and can be taken back.
    let draft = folder.draft("IMG_2044.jpg");
    assert_eq!(draft.view, Some(hoofgeo::View::Solar));
    assert!(draft.landmarks.0.iter().any(|(n, _)| *n == "frog_apex"));
    tab.key("z", 2);
    tab.until("hoofgeo.store.visit.photos.every((p) => !p.foot)");
    // A photo too many in the third place: it is passed over, and the order goes on behind it.
    tab.eval("hoofgeo.contact.choose(2)");
    tab.key("x", 0);
    tab.eval("hoofgeo.contact.choose(0)");
    tab.key("f", 0);
    tab.until("hoofgeo.store.visit.photos[15].foot");
    assert_eq!((says(&tab, 1), says(&tab, 3)), ("LF solar before_trim".into(), "RF lateral before_trim".into()));
    assert!(tab.eval("document.getElementById('board-says').textContent").as_str().unwrap().contains("1 missing"));
    looked_at(&tab, "sheet-gap");
    assert_eq!(browser.errors(), Vec::<String>::new());
}

#[test]
fn keys_mouse_and_finger_say_what_a_photo_shows() {
    if super::program::feet().len() < 4 {
        return;
    }
    let Some(browser) = Chromium::start() else { return };
    let folder = bare();
    let program = Program::start(folder.root(), &[]);
    let tab = browser.open(&program.address, (1440, 900));
    opened(&tab);
    // By keys: one each.
    for key in ["3", "o", "a"] {
        tab.key(key, 0);
    }
    tab.until("hoofgeo.store.visit.photos[0].stage === 'after_trim'");
    assert_eq!(says(&tab, 0), "LH solar after_trim");
    // Dragged onto its place with the mouse.
    let to = r#"[data-cell*='"RF"'][data-cell*='lateral'][data-cell*='before']"#;
    let from = middle(&tab, ".tile[data-photo='1']");
    let place = middle(&tab, to);
    tab.mouse("mousePressed", from);
    for i in 1..=10 {
        let part = f64::from(i) / 10.0;
        tab.mouse("mouseMoved", [from[0] + (place[0] - from[0]) * part, from[1] + (place[1] - from[1]) * part]);
    }
    tab.mouse("mouseReleased", place);
    tab.until("hoofgeo.store.visit.photos[1].foot");
    assert_eq!(says(&tab, 1), "RF lateral before_trim");
    // Chosen and put there by presses, as a finger does.
    tab.size(390, 844);
    tab.call("Emulation.setTouchEmulationEnabled", json!({ "enabled": true, "maxTouchPoints": 2 }));
    tab.eval("hoofgeo.contact.choose(4)");
    for button in ["3", "L"] {
        let at = middle(&tab, &format!("#sheet-now [data-key='{button}']"));
        tab.touch("touchStart", &[at]);
        tab.touch("touchEnd", &[]);
    }
    tab.until("hoofgeo.store.visit.photos[4].view");
    assert!(says(&tab, 4).starts_with("LH lateral"));
    tab.call("Emulation.setTouchEmulationEnabled", json!({ "enabled": false }));
    tab.size(1440, 900);
    // The animal, named once for this photo and those after it.
    tab.eval("document.getElementById('animal-0').focus()");
    tab.text("Marlow");
    tab.key("Enter", 0);
    tab.eval("document.activeElement.blur()");
    tab.until("hoofgeo.store.visit.photos.every((p) => p.animal === 'Marlow')");
    // Enter marks the chosen photo; C leads back.
    tab.eval("hoofgeo.contact.choose(1)");
    tab.key("Enter", 0);
    tab.until("!hoofgeo.contact.sheet.open && hoofgeo.store.photo.id === 1 && document.activeElement.id === 'photo'");
    assert_eq!(tab.eval("hoofgeo.store.draft.subject.foot"), "RF");
    tab.key("c", 0);
    tab.until("hoofgeo.contact.sheet.open");
    tab.key("?", 0);
    tab.until("document.getElementById('dialog-title').textContent === 'Keys of the contact sheet'");
    assert_eq!(browser.errors(), Vec::<String>::new());
}
