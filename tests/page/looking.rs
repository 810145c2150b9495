//! The page at the sizes of phone, tablet and desk, light and dark: nothing cut off, everything reachable, fit for a finger; judged by
//! axe-core too, where it is at hand.

use super::chromium::{Chromium, Tab};
use super::hands::{on_screen, saved};
use super::program::{Folder, Program, target};
use hoofgeo::Landmark;
use serde_json::json;

const PHOTO: &str = "LF-lateral-before.jpg";
const SIZES: [(u32, u32); 3] = [(1440, 900), (820, 1180), (390, 844)];

/// A state of the page at every size, light and dark: nothing cut off, fit for a finger, and nothing found by axe-core, where it is at
/// hand.
#[allow(clippy::print_stderr, reason = "a part that is skipped has to say so")]
pub(crate) fn looked_at(tab: &Tab<'_>, state: &str) {
    let axe = std::env::var_os("HOOFGEO_AXE").map(|path| std::fs::read_to_string(path).unwrap());
    match &axe {
        Some(axe) => drop(tab.eval(&format!("{axe}; null"))),
        None => eprintln!("skipped: the check by axe-core (name its axe.min.js in HOOFGEO_AXE)"),
    }
    for (width, height) in SIZES {
        tab.size(width, height);
        // What is asked for or used is looked at where it stands.
        tab.eval("document.querySelector('.offer, .gauge, .doubts')?.scrollIntoView({ block: 'nearest' })");
        for scheme in ["light", "dark"] {
            tab.call(
                "Emulation.setEmulatedMedia",
                json!({ "features": [{ "name": "prefers-color-scheme", "value": scheme }] }),
            );
            let place = format!("{state}, {width} x {height}, {scheme}");
            assert_eq!(tab.eval("document.documentElement.scrollWidth <= innerWidth"), true, "{place}");
            let wide = tab.eval(
                "(() => { const p = document.getElementById('panel'); const right = p.getBoundingClientRect().left + p.clientLeft + p.clientWidth; \
                 return p.scrollWidth <= p.clientWidth ? [] : [...p.querySelectorAll('*')].filter((e) => \
                 e.getBoundingClientRect().right > right).map((e) => e.outerHTML.slice(0, 200)); })()",
            );
            assert_eq!(wide, json!([]), "{place}");
            assert_eq!(tab.eval("document.getElementById('stage').clientHeight > innerHeight * 0.3"), true, "{place}");
            let cut = tab.eval(
                "[...document.querySelectorAll('#visit button, #sheet button')].filter((e) => e.getClientRects().length && \
                 (e.scrollHeight > e.clientHeight + 1 || e.scrollWidth > e.clientWidth + 1) && !e.matches('.tile')).map((e) => e.outerHTML)",
            );
            assert_eq!(cut, json!([]), "{place}: texts of buttons are cut off");
            // Every control has a name, and is as large as a fingertip asks for (WCAG 2.2, 2.5.8: 24 px; here 36).
            let small = tab.eval(
                "[...document.querySelectorAll('button, input, select, summary, a')].filter((e) => e.getClientRects().length \
                 && (e.getBoundingClientRect().height < 36 || e.getBoundingClientRect().width < 36) && !e.closest('figure')).map((e) => e.outerHTML)",
            );
            assert_eq!(small, json!([]), "{place}");
            if axe.is_some() {
                let found = tab.eval(
                    "axe.run(document, { resultTypes: ['violations'] }).then((r) => r.violations.map((v) => [v.id, v.help, \
                     v.nodes.map((n) => n.html + ' ' + n.failureSummary)]))",
                );
                assert_eq!(found, json!([]), "{place}");
            }
            if scheme == "light" || width == SIZES[0].0 {
                tab.until("hoofgeo.page.whole");
                tab.picture(&format!("{state}-{width}-{scheme}"));
            }
        }
    }
    tab.size(SIZES[0].0, SIZES[0].1);
    tab.call("Emulation.setEmulatedMedia", json!({ "features": [] }));
}

#[test]
fn the_page_fits_every_screen_and_everyone() {
    let Some(browser) = Chromium::start() else { return };
    let folder = Folder::new(&[(PHOTO, PHOTO), ("LF-solar-before.jpg", "LF-solar-before.jpg")]);
    std::fs::write(folder.path("LF-lateral-before.jpg.hoof.json"), target(PHOTO).to_json()).unwrap();
    let program = Program::start(folder.root(), &[]);
    let tab = browser.open(&program.address, (1440, 900));
    for photo in [0, 1] {
        tab.eval(&format!("hoofgeo.page.open({photo})"));
        tab.until(&format!("hoofgeo.store.photo.id === {photo} && hoofgeo.page.whole"));
        looked_at(&tab, &format!("photo-{photo}"));
    }
    assert_eq!(browser.errors(), Vec::<String>::new());
}

#[test]
fn a_finger_places_and_moves_under_the_magnifier() {
    let Some(browser) = Chromium::start() else { return };
    let folder = Folder::new(&[(PHOTO, PHOTO)]);
    let program = Program::start(folder.root(), &[]);
    let tab = browser.open(&program.address, (390, 844));
    tab.call("Emulation.setTouchEmulationEnabled", json!({ "enabled": true, "maxTouchPoints": 2 }));
    tab.eval("hoofgeo.page.choose({ kind: 'landmark', name: 'toe_coronet' })");
    let aim = target(PHOTO).landmarks[&Landmark::ToeCoronet].at[0];
    let at = on_screen(&tab, aim);
    // A tap.
    tab.touch("touchStart", &[at]);
    tab.touch("touchEnd", &[]);
    tab.until("hoofgeo.store.draft.landmarks.toe_coronet");
    let coronet = || {
        let at = tab.eval("hoofgeo.store.draft.landmarks.toe_coronet.at");
        [at[0].as_f64().unwrap(), at[1].as_f64().unwrap()]
    };
    let tapped = coronet();
    // Grasped beside it, it moves as the finger does and does not jump under it.
    let beside = [at[0] + 12.0, at[1] + 8.0];
    tab.touch("touchStart", &[beside]);
    for i in 1..=10 {
        tab.touch("touchMove", &[[beside[0] + 3.0 * f64::from(i), beside[1]]]);
    }
    assert_eq!(tab.eval("document.getElementById('loupe').hidden"), false);
    let clear = tab.eval(
        "(() => { const r = document.getElementById('loupe').getBoundingClientRect(); return [r.left, r.top, r.right, r.bottom]; })()",
    );
    let [left, top, right, bottom] = [0, 1, 2, 3].map(|i| clear[i].as_f64().unwrap());
    let finger = [beside[0] + 30.0, beside[1]];
    assert!(
        finger[0] < left || finger[0] > right || finger[1] < top || finger[1] > bottom,
        "the magnifier lies under the finger: {clear} {finger:?}"
    );
    tab.touch("touchEnd", &[]);
    saved(&tab);
    let scale = tab.eval("hoofgeo.page.view.scale").as_f64().unwrap();
    let moved = coronet();
    assert!((moved[0] - tapped[0] - 30.0 / scale).abs() < 1.0 / scale && (moved[1] - tapped[1]).abs() < 1.0 / scale);
    // Two fingers zoom; nothing is placed by them.
    let before = tab.eval("JSON.stringify(hoofgeo.store.draft)");
    tab.touch("touchStart", &[[150.0, 250.0]]);
    tab.touch("touchStart", &[[150.0, 250.0], [220.0, 250.0]]);
    for i in 1..=10 {
        tab.touch("touchMove", &[[150.0 - 5.0 * f64::from(i), 250.0], [220.0 + 5.0 * f64::from(i), 250.0]]);
    }
    tab.touch("touchEnd", &[]);
    assert!(tab.eval("hoofgeo.page.view.scale").as_f64().unwrap() > 1.8 * scale);
    assert_eq!(tab.eval("JSON.stringify(hoofgeo.store.draft)"), before);
    assert_eq!(browser.errors(), Vec::<String>::new());
}
