//! The whole way of a visit of sixteen bare photos, HEIC among them, from the folder to the report: every press and click counted (zooming is not).

use super::chromium::{Chromium, Tab};
use super::hands::{approach, choose_kind, on_screen, press, saved};
use super::program::{Folder, Program};
use hoofgeo::landmark::{Landmark, Line, Spread};
use hoofgeo::sidecar::{Draft, Sidecar};
use hoofgeo_cli::demo::{DARK, cases, place_like_a_person, write};
use std::collections::BTreeMap;

/// What a person would mark on each photo, by its name.
type Targets = BTreeMap<String, Sidecar>;

/// Sixteen photos of one horse as a phone leaves them: names that tell nothing, the last two as HEIC.
fn folder() -> (Folder, Targets) {
    let (made, bare) = (tempfile::tempdir().unwrap(), Folder::empty());
    let mut targets = Targets::new();
    for (i, case) in cases().into_iter().filter(|c| c.spec.animal == DARK).enumerate() {
        let photo = case.render();
        let path = write(made.path(), &case, &photo, &place_like_a_person(&photo, case.shot.view, case.seed)).unwrap();
        let sidecar = made.path().join(format!("{}.hoof.json", case.file_name));
        let target = Draft::parse_bytes(&std::fs::read(sidecar).unwrap()).unwrap().sidecar(None).unwrap();
        let name = if i < 14 { format!("IMG_{}.JPG", 2041 + i) } else { format!("IMG_{}.HEIC", 2041 + i) };
        if i < 14 {
            std::fs::copy(path, bare.path(&name)).unwrap();
        } else {
            let (width, height) = photo.pixels.dimensions();
            let options = heifer::EncodeOptions { quality: 90, ..heifer::EncodeOptions::default() };
            let heic = heifer::encode_rgb8(width, height, photo.pixels.as_raw(), &options).unwrap();
            std::fs::write(bare.path(&name), heic).unwrap();
        }
        targets.insert(name, target);
    }
    (bare, targets)
}

/// Counts what a person does.
#[derive(Default)]
struct Counted {
    sheet: usize,
    ruler: usize,
    marks: usize,
    accepted: usize,
    moved: usize,
    lines: usize,
    on: usize,
}

impl Counted {
    fn all(&self) -> usize {
        self.sheet + self.ruler + self.marks + self.accepted + self.moved + self.lines + self.on
    }
}

fn is_there(tab: &Tab<'_>, text: &str) -> bool {
    tab.eval(&format!("[...document.querySelectorAll('button')].some((b) => b.textContent === '{text}' && !b.disabled && b.getClientRects().length)")) == true
}

fn drag(tab: &Tab<'_>, from: [f64; 2], to: [f64; 2]) {
    tab.mouse("mousePressed", from);
    for i in 1..=5 {
        let part = f64::from(i) / 5.0;
        tab.mouse("mouseMoved", [from[0] + (to[0] - from[0]) * part, from[1] + (to[1] - from[1]) * part]);
    }
    tab.mouse("mouseReleased", to);
}

/// Accepts what is offered, if anything is.
fn accept(tab: &Tab<'_>, n: &mut Counted) {
    tab.until("hoofgeo.store.offering === false");
    let offered = tab.eval("document.querySelector('#now .offer button.main')?.textContent ?? ''");
    if let Some(text) = offered.as_str().filter(|t| t.starts_with("Accept all")) {
        press(tab, text);
        n.accepted += 1;
        tab.until("hoofgeo.store.offering === false");
    }
}

/// Marks one photo: the ruler as it is read, the four landmarks that are asked for first, what is offered, what is wrong with that.
fn mark(tab: &Tab<'_>, target: &Sidecar, n: &mut Counted) {
    tab.until("!hoofgeo.store.ruler.busy && (hoofgeo.store.ruler.looked || hoofgeo.store.ruler.of)");
    if is_there(tab, "Use them") {
        press(tab, "Use them");
        n.ruler += 1;
    } else {
        let scale = target.scale.as_ref().unwrap();
        if tab.eval("document.getElementById('scale-kind').value") != scale.kind.name() {
            choose_kind(tab, scale.kind.name());
            n.ruler += 1;
        }
        for (i, g) in scale.points.iter().enumerate() {
            tab.click(on_screen(tab, g.at));
            n.ruler += 1;
            let labels = if g.is_number { &g.mm[..1] } else { &g.mm[..] };
            for (k, mm) in labels.iter().enumerate() {
                tab.until(&format!("document.activeElement?.id === 'mm-{i}-{k}'"));
                tab.text(&mm.to_string());
                tab.key("Enter", 0);
                n.ruler += 1;
            }
        }
        press(tab, "Go on");
        n.ruler += 1;
    }
    let first = hoofgeo::suggest::Shape::tells_most(target.view);
    for landmark in first {
        assert_eq!(tab.eval("hoofgeo.store.active.name"), landmark.name());
        tab.click(approach(tab, target.landmarks[landmark].at[0]));
        n.marks += 1;
    }
    accept(tab, n);
    // What is asked for still: clicked where it is seen. Each click may bring further offers.
    loop {
        let asked = tab.eval("hoofgeo.store.active?.kind === 'landmark' ? hoofgeo.store.active.name : null");
        let Some(landmark) = asked.as_str().and_then(|name| Landmark::find(target.view, name)) else { break };
        match target.landmarks.get(&landmark) {
            Some(placed) => {
                tab.click(approach(tab, placed.at[0]));
                n.marks += 1;
            }
            None => {
                press(tab, "Cannot be seen");
                n.on += 1;
            }
        }
        accept(tab, n);
    }
    press(tab, "Fit");
    // What is visibly off is put right.
    let px = tab.eval("parseFloat(hoofgeo.store.values.scene?.px_per_mm ?? '10')").as_f64().unwrap();
    for (landmark, placed) in target.landmarks.iter().filter(|(l, _)| !first.contains(l)) {
        let at = tab.eval(&format!("hoofgeo.store.draft.landmarks.{landmark}?.at ?? null"));
        if !at.is_array() {
            continue;
        }
        let at = [at[0].as_f64().unwrap(), at[1].as_f64().unwrap()];
        let wide = match landmark.info().spread {
            Spread::Round(u) => u,
            Spread::Oval { along, across, .. } => along.max(across),
        };
        if (at[0] - placed.at[0][0]).hypot(at[1] - placed.at[0][1]) > 2.5 * wide.max(1.0) * px {
            drag(tab, on_screen(tab, at), on_screen(tab, placed.at[0]));
            n.moved += 1;
        }
    }
    // Outlines that no edge was followed of are clicked, eight points each.
    for line in Line::of(target.view).filter(|l| l.info().closed) {
        let Some(points) = target.lines.get(&line) else { continue };
        if tab.eval(&format!("hoofgeo.store.draft.lines.{line} === null")) == true {
            tab.eval(&format!("hoofgeo.page.choose({{ kind: 'line', name: '{line}' }})"));
            n.lines += 1;
            for k in 0..8 {
                tab.click(on_screen(tab, points[k * points.len() / 8]));
                n.lines += 1;
            }
            press(tab, "Line is done");
            n.lines += 1;
        }
    }
    if is_there(tab, "None of the rest can be seen") {
        press(tab, "None of the rest can be seen");
        n.on += 1;
    }
    saved(tab);
}

/// What the same visit takes where nothing is offered: four facts, two graduations with their labels, every landmark, outlines of eight
/// clicks, the other lines of two or three, each ended or said not to be seen.
fn without_offers(targets: &Targets) -> usize {
    let one = |target: &Sidecar| {
        let landmarks = Landmark::of(target.view).count();
        let lines: usize = Line::of(target.view)
            .map(|l| target.lines.get(&l).map_or(1, |p| 1 + if l.info().closed { 8 } else { p.len().min(3) }))
            .sum();
        4 + 5 + landmarks + lines + 1
    };
    targets.values().map(one).sum::<usize>() + 3
}

#[test]
#[ignore = "takes some minutes"]
#[allow(clippy::print_stdout, reason = "its figure is what it is for")]
fn sixteen_bare_photos_to_the_report() {
    let Some(browser) = Chromium::start() else { return };
    let (folder, targets) = folder();
    let program = Program::start(folder.root(), &[]);
    let tab = browser.open(&program.address, (1440, 900));
    let mut n = Counted::default();
    tab.until("hoofgeo.contact?.sheet.open && document.querySelectorAll('.tile img[src]').length > 3");
    tab.until("hoofgeo.contact.thumbs.seen(0)");
    tab.picture("way-1-sheet");
    // Named once; the order that stands there is the one they were taken in.
    tab.eval("document.getElementById('animal-0').focus()");
    tab.text("Marlow");
    tab.key("Enter", 0);
    tab.until("hoofgeo.store.visit.photos.every((p) => p.animal === 'Marlow')");
    press(&tab, "Fill in");
    tab.until("hoofgeo.store.visit.photos.every((p) => p.foot && p.view && p.stage)");
    tab.picture("way-2-sorted");
    tab.eval("hoofgeo.contact.choose(0)");
    press(&tab, "Mark this photo");
    n.sheet += 5;
    for (i, (name, target)) in targets.iter().enumerate() {
        tab.until(&format!(
            "hoofgeo.store.photo.name === '{name}' && hoofgeo.page.whole && !hoofgeo.contact.sheet.open"
        ));
        let told = tab.eval("[hoofgeo.store.draft.subject.foot, hoofgeo.store.draft.view]");
        assert_eq!(told, serde_json::json!([target.subject.foot.name(), target.view.name()]), "{name}");
        mark(&tab, target, &mut n);
        if i < 2 {
            tab.picture(&format!("way-3-marked-{i}"));
        }
        if i + 1 < targets.len() {
            press(&tab, "Next photo");
            n.on += 1;
        }
    }
    press(&tab, "Measure the visit");
    tab.until("document.getElementById('dialog').open");
    press(&tab, "Measure");
    n.on += 2;
    tab.until("document.getElementById('dialog-title').textContent === 'Measured'");
    tab.until("document.querySelectorAll('#dialog a.report').length === 2");
    tab.picture("way-4-measured");
    let before = without_offers(&targets);
    println!(
        "{} actions: sheet {}, ruler {}, marks {}, accepted {}, put right {}, outlines {}, going on {}; without offers {before}",
        n.all(),
        n.sheet,
        n.ruler,
        n.marks,
        n.accepted,
        n.moved,
        n.lines,
        n.on
    );
    assert!(n.all() < before, "{} actions, without offers {before}", n.all());
    assert_eq!(browser.errors(), Vec::<String>::new());
}
