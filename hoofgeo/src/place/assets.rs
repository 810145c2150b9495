//! The page's files, part of the program.

/// A file's type and content by the path it is asked for with.
pub(super) fn find(path: &str) -> Option<(&'static str, &'static str)> {
    ALL.iter().find(|(name, ..)| *name == path).map(|(_, kind, body)| (*kind, *body))
}

macro_rules! scripts {
    ($($name:literal),+) => { [$((concat!("/", $name), "text/javascript; charset=utf-8", include_str!(concat!("page/", $name)))),+] };
}

const ALL: &[(&str, &str, &str)] = {
    const SCRIPTS: [(&str, &str, &str); 19] = scripts!(
        "api.js",
        "dom.js",
        "draft.js",
        "store.js",
        "view.js",
        "tiles.js",
        "marks.js",
        "pointer.js",
        "magnifier.js",
        "keyboard.js",
        "panel.js",
        "ruler.js",
        "facts.js",
        "order.js",
        "offers.js",
        "thumbs.js",
        "sheet.js",
        "values.js",
        "main.js"
    );
    const OTHERS: [(&str, &str, &str); 3] = [
        ("/", "text/html; charset=utf-8", include_str!("page/index.html")),
        ("/icon.svg", "image/svg+xml", include_str!("page/icon.svg")),
        ("/style.css", "text/css; charset=utf-8", include_str!("page/style.css")),
    ];
    const BOTH: [(&str, &str, &str); SCRIPTS.len() + OTHERS.len()] = {
        let mut all = [("", "", ""); SCRIPTS.len() + OTHERS.len()];
        let mut i = 0;
        while i < all.len() {
            all[i] = if i < SCRIPTS.len() { SCRIPTS[i] } else { OTHERS[i - SCRIPTS.len()] };
            i += 1;
        }
        all
    };
    &BOTH
};
