//! The ruler read from the picture: seen over the photo first, used or declined, and measured with as `measure` does.

use super::chromium::{Chromium, Tab};
use super::hands::{on_screen, open, press, saved};
use super::looking::looked_at;
use super::marking::{measured, shown};
use super::program::{Folder, Program, large};
use hoofgeo::sidecar::{Draft, Graduation};
use hoofgeo::visit::RulerReading;

const PHOTO: &str = "LF-lateral-before.jpg";
const SIDECAR: &str = "LF-lateral-before.jpg.hoof.json";

/// The graduations of a photo on disk.
fn on_disk(folder: &Folder) -> Vec<Graduation> {
    folder.draft(PHOTO).scale.unwrap().points.unwrap_or_default()
}

/// Clicks a graduation and types its label.
fn graduate(tab: &Tab<'_>, g: &Graduation, index: usize) {
    tab.click(on_screen(tab, g.at));
    tab.until(&format!("document.activeElement?.id === 'mm-{index}-0'"));
    tab.text(&g.mm[0].to_string());
    tab.key("Enter", 0);
}

#[test]
fn between_two_marks_it_is_read_once_the_user_says_so() {
    let Some(browser) = Chromium::start() else { return };
    let (folder, whole) = large(PHOTO);
    let marks = whole.scale.as_ref().unwrap().points.clone().unwrap();
    let (first, last) = (&marks[0], marks.last().unwrap());
    // Everything but the ruler is marked.
    let mut draft = whole.clone();
    let scale = draft.scale.as_mut().unwrap();
    (scale.points, scale.metric) = (Some(Vec::new()), Some(true));
    std::fs::write(folder.path(SIDECAR), draft.to_json()).unwrap();
    let program = Program::start(folder.root(), &[]);
    let tab = browser.open(&program.address, (1440, 900));
    tab.eval("hoofgeo.page.choose({ kind: 'scale', name: 'scale' })");
    graduate(&tab, first, 0);
    graduate(&tab, last, 1);
    tab.until("hoofgeo.store.ruler.reading");
    saved(&tab);
    // Offered, drawn, and not used: what `measure` would read between stands in no sidecar.
    assert!(tab.eval("hoofgeo.store.ruler.reading.lines.length").as_u64().unwrap() > 80);
    let metric = || folder.draft(PHOTO).scale.unwrap().metric;
    assert!(on_disk(&folder).is_empty());
    assert_eq!(metric(), Some(false));
    assert!(folder.names().contains(&format!(".{PHOTO}.place.json")));
    let by_marks = shown(&tab);
    looked_at(&tab, "ruler-offered");
    tab.go(&program.address);
    tab.until("hoofgeo.store.ruler.reading");
    tab.eval("hoofgeo.page.choose({ kind: 'scale', name: 'scale' })");
    press(&tab, "Use them");
    saved(&tab);
    assert_eq!((on_disk(&folder).len(), metric()), (2, Some(true)));
    assert_eq!(folder.names(), [PHOTO, SIDECAR]);
    let values = measured(&folder, PHOTO, RulerReading::AsStated);
    assert_ne!(values, by_marks);
    assert_ne!(values, measured(&folder, PHOTO, RulerReading::Never));
    let same = format!("hoofgeo.store.values.scene?.read === {}", tab.eval("hoofgeo.store.ruler.reading.lines.length"));
    tab.until(&same);
    assert_eq!(shown(&tab), values);
    // A new page shows the same.
    tab.go(&program.address);
    tab.until(&same);
    assert_eq!(shown(&tab), values);
    // By the marks alone after all: that takes a third.
    tab.eval("hoofgeo.page.choose({ kind: 'scale', name: 'scale' })");
    looked_at(&tab, "ruler-used");
    press(&tab, "By my marks alone");
    saved(&tab);
    assert_eq!(on_disk(&folder), []);
    tab.go(&program.address);
    assert_eq!(tab.eval("hoofgeo.store.ruler.answer"), "declined");
    assert_eq!(tab.eval("hoofgeo.store.active.name"), "scale");
    graduate(&tab, &marks[1], 2);
    saved(&tab);
    assert_eq!(on_disk(&folder).len(), 3);
    let values = measured(&folder, PHOTO, RulerReading::AsStated);
    tab.until(&format!("document.querySelectorAll('.value').length === {}", values.len()));
    assert_eq!(shown(&tab), values);
    assert_eq!(folder.names(), [PHOTO, SIDECAR]);
    assert_eq!(browser.errors(), Vec::<String>::new());
}

#[test]
fn without_a_mark_it_is_looked_for_and_told_by_two() {
    let Some(browser) = Chromium::start() else { return };
    let (folder, whole) = large(PHOTO);
    let mut draft: Draft = whole;
    draft.scale.as_mut().unwrap().points = Some(Vec::new());
    std::fs::write(folder.path(SIDECAR), draft.to_json()).unwrap();
    let program = Program::start(folder.root(), &[]);
    let tab = browser.open(&program.address, (1440, 900));
    open(&tab, PHOTO);
    let before = std::fs::read_to_string(folder.path(SIDECAR)).unwrap();
    tab.eval("hoofgeo.page.choose({ kind: 'scale', name: 'scale' })");
    // It is looked for as soon as it is asked for.
    tab.until("hoofgeo.store.ruler.reading || hoofgeo.store.ruler.refused");
    assert!(tab.eval("hoofgeo.store.ruler.refused").is_null());
    // Nothing is taken before it is accepted.
    assert_eq!(std::fs::read_to_string(folder.path(SIDECAR)).unwrap(), before);
    press(&tab, "Use them");
    tab.until("hoofgeo.store.values.scene?.read > 80");
    saved(&tab);
    assert_eq!(on_disk(&folder).len(), 2);
    let values = measured(&folder, PHOTO, RulerReading::AsStated);
    // Those from before the acceptance, read without a mark, give way to them.
    (0..100).find(|_| {
        std::thread::sleep(std::time::Duration::from_millis(50));
        shown(&tab) == values
    });
    assert_eq!(shown(&tab), values);
    assert_eq!(browser.errors(), Vec::<String>::new());
}
