//! Marking a photo with the mouse, and with the keyboard alone.

use super::chromium::Tab;
use hoofgeo::View;
use hoofgeo::landmark::{Landmark, Line};
use hoofgeo::sidecar::Sidecar;
use hoofgeo::suggest::Shape;
use serde_json::Value;

/// Opens a photo of the visit.
pub(crate) fn open(tab: &Tab<'_>, name: &str) {
    let name = Value::from(name);
    tab.eval(&format!("hoofgeo.page.open(hoofgeo.store.visit.photos.find((p) => p.name === {name}).id)"));
    tab.until(&format!("hoofgeo.store.photo.name === {name} && hoofgeo.page.whole"));
}

/// Waits until everything is written and the values are of what is shown.
pub(crate) fn saved(tab: &Tab<'_>) {
    tab.until(
        "hoofgeo.store.saving === 'saved' && !hoofgeo.store.ruler.busy && ['Saved', 'Kept'].includes(document.getElementById('saved').textContent)",
    );
}

/// Where a point of the photo lies on the screen.
pub(crate) fn on_screen(tab: &Tab<'_>, [x, y]: [f64; 2]) -> [f64; 2] {
    let at = tab.eval(&format!(
        "(() => {{ const box = document.getElementById('photo').getBoundingClientRect(); \
         const [x, y] = hoofgeo.page.view.toScreen([{x}, {y}]); return [x + box.left, y + box.top]; }})()"
    ));
    [at[0].as_f64().unwrap(), at[1].as_f64().unwrap()]
}

/// Clicks a button by its text.
#[track_caller]
pub(crate) fn press(tab: &Tab<'_>, text: &str) {
    let at = tab.eval(&format!(
        "(() => {{ const b = [...document.querySelectorAll('button')].find((b) => b.textContent === {} && !b.disabled); \
         b?.scrollIntoView({{ block: 'nearest' }}); const r = b?.getBoundingClientRect(); \
         return r && [r.x + r.width / 2, r.y + r.height / 2]; }})()",
        Value::from(text)
    ));
    assert!(at.is_array(), "no button {text}: {}", tab.eval("document.getElementById('panel').innerText"));
    tab.click([at[0].as_f64().unwrap(), at[1].as_f64().unwrap()]);
}

/// What is asked for.
pub(crate) fn active(tab: &Tab<'_>) -> String {
    tab.eval("hoofgeo.store.active?.name ?? ''").as_str().unwrap().to_owned()
}

/// A view's landmarks in the order in which they are asked for.
fn asked(view: View) -> Vec<Landmark> {
    let first = Shape::tells_most(view);
    first.iter().copied().chain(Landmark::of(view).filter(|l| !first.contains(l))).collect()
}

/// The labels of a target's graduation, as the page's fields show them.
fn labels(mm: [f64; 2], is_number: bool) -> Vec<f64> {
    if is_number { vec![mm[0]] } else { mm.to_vec() }
}

/// Where a point lies on the screen, zoomed in until no mark of its kind lies so near that a click would mean that one.
pub(crate) fn approach(tab: &Tab<'_>, to: [f64; 2]) -> [f64; 2] {
    press(tab, "Fit");
    tab.until("hoofgeo.page.view.scale <= hoofgeo.page.view.least * 1.001");
    for _ in 0..8 {
        let at = on_screen(tab, to);
        let nearest = tab.eval(&format!(
            "(() => {{ const {{ draft, active }} = hoofgeo.store; const own = active.kind === 'line' ? draft.lines[active.name] ?? [] \
             : Object.values(draft.landmarks).filter(Boolean).map((l) => l.at); return Math.min(...own.map((p) => \
             Math.hypot(p[0] - {}, p[1] - {}) * hoofgeo.page.view.scale)); }})()",
            to[0], to[1]
        ));
        if nearest.as_f64().is_none_or(|d| d > 8.0) {
            return at;
        }
        let wheel = serde_json::json!({ "type": "mouseWheel", "x": at[0], "y": at[1], "deltaX": 0, "deltaY": -240 });
        let before = tab.eval("hoofgeo.page.view.scale");
        tab.call("Input.dispatchMouseEvent", wheel);
        tab.until(&format!("hoofgeo.page.view.scale > {before}"));
    }
    on_screen(tab, to)
}

/// Marks everything of a photo with the mouse as the target has it; lines too, where wanted.
pub(crate) fn by_mouse(tab: &Tab<'_>, target: &Sidecar, lines: &[Line]) {
    let scale = target.scale.as_ref().unwrap();
    choose_kind(tab, scale.kind.name());
    for (i, g) in scale.points.iter().enumerate() {
        tab.click(on_screen(tab, g.at));
        tab.until(&format!("document.activeElement?.id === 'mm-{i}-0'"));
        for (k, mm) in labels(g.mm, g.is_number).into_iter().enumerate() {
            tab.eval(&format!("document.getElementById('mm-{i}-{k}').focus()"));
            if tab.eval("Number(document.activeElement.value)") != mm {
                tab.text(&mm.to_string());
            }
        }
        tab.key("Enter", 0);
    }
    press(tab, "Go on");
    for landmark in asked(target.view) {
        assert_eq!(active(tab), landmark.name());
        match target.landmarks.get(&landmark) {
            Some(p) => {
                let at = approach(tab, p.at[0]);
                tab.hover(at);
                tab.click(at);
            }
            None => press(tab, "Cannot be seen"),
        }
    }
    press(tab, "Fit");
    for line in Line::of(target.view) {
        assert_eq!(active(tab), line.name());
        match target.lines.get(&line).filter(|_| lines.contains(&line)) {
            Some(points) => {
                for (i, p) in points.iter().enumerate() {
                    let at = approach(tab, *p);
                    tab.click(at);
                    let marked = tab.eval(&format!("hoofgeo.store.draft.lines.{line}.length"));
                    let here =
                        tab.eval(&format!("document.elementFromPoint({}, {})?.outerHTML.slice(0, 300)", at[0], at[1]));
                    assert_eq!(marked, i + 1, "{line} at {p:?}, on the screen {at:?}: {here}");
                }
                press(tab, "Line is done");
            }
            None => press(tab, "Cannot be seen"),
        }
    }
    assert_eq!(active(tab), "");
    saved(tab);
}

/// The kind of scale, in its list.
pub(crate) fn choose_kind(tab: &Tab<'_>, kind: &str) {
    tab.until("document.getElementById('scale-kind')");
    tab.eval(&format!(
        "(() => {{ const s = document.getElementById('scale-kind'); if (s.value !== '{kind}') \
         {{ s.value = '{kind}'; s.dispatchEvent(new Event('change')); }} }})()"
    ));
}

/// Moves cross or mark to a point of the photo with the arrow keys, to a tenth of a pixel.
fn arrows(tab: &Tab<'_>, to: [f64; 2]) {
    let now = tab.eval(
        "(() => { const { selected, draft } = hoofgeo.store; return selected ? draft.landmarks?.[selected.name]?.at ?? null : hoofgeo.page.cursor; })()",
    );
    for (k, keys) in [["ArrowRight", "ArrowLeft"], ["ArrowDown", "ArrowUp"]].into_iter().enumerate() {
        let tenths = ((to[k] - now[k].as_f64().unwrap()) * 10.0).round() as i64;
        let key = keys[usize::from(tenths < 0)];
        let mut left = tenths.abs();
        for (step, modifiers) in [(1000, 2), (100, 8), (10, 0), (1, 1)] {
            for _ in 0..left / step {
                tab.key(key, modifiers);
            }
            left %= step;
        }
    }
}

/// Chooses the kind of scale by its first letter in the list, where another is taken over from the photo before; from the photo and
/// back to it.
fn kind_by_keyboard(tab: &Tab<'_>, kind: &str) {
    if tab.eval("document.getElementById('scale-kind').value") == kind {
        return;
    }
    tab.key("F6", 0);
    tab.until("document.activeElement.id === 'scale-kind'");
    let title = tab.eval(&format!("hoofgeo.store.visit.catalogue.kinds.find((k) => k.name === '{kind}').title"));
    tab.key(&title.as_str().unwrap()[..1], 0);
    tab.until(&format!("hoofgeo.store.draft.scale.kind === '{kind}'"));
    tab.key("F6", 0);
}

/// Marks everything of a photo with the keyboard alone, the focus being on the photo; lines are said not to be seen.
pub(crate) fn by_keyboard(tab: &Tab<'_>, target: &Sidecar, nudge: bool) {
    kind_by_keyboard(tab, target.scale.as_ref().unwrap().kind.name());
    for (i, g) in target.scale.as_ref().unwrap().points.iter().enumerate() {
        assert_eq!(tab.eval("document.activeElement.id"), "photo");
        arrows(tab, g.at);
        tab.key("Enter", 0);
        for (k, mm) in labels(g.mm, g.is_number).into_iter().enumerate() {
            assert_eq!(tab.eval("document.activeElement.id"), format!("mm-{i}-{k}"));
            // The field is chosen whole, so typing replaces it.
            tab.text(&mm.to_string());
            tab.key("Enter", 0);
        }
    }
    tab.key("n", 0);
    for landmark in asked(target.view) {
        assert_eq!(active(tab), landmark.name());
        match target.landmarks.get(&landmark) {
            Some(p) => {
                let off = if nudge { 3.0 } else { 0.0 };
                arrows(tab, [p.at[0][0] - off, p.at[0][1]]);
                tab.key("Enter", 0);
                for _ in 0..off as usize {
                    tab.key("ArrowRight", 0);
                }
                tab.key("Enter", 0);
            }
            None => tab.key("u", 0),
        }
    }
    for line in Line::of(target.view) {
        assert_eq!(active(tab), line.name());
        tab.key("u", 0);
    }
    saved(tab);
}
