//! The bundled font: DejaVu Sans Condensed, in two weights.

use resvg::usvg::fontdb;
use skrifa::instance::{LocationRef, Size};
use skrifa::{FontRef, MetadataProvider};
use std::sync::{Arc, LazyLock};

/// Name of the family inside the font files.
pub(super) const FAMILY: &str = "DejaVu Sans";

/// A weight of the font.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Weight {
    Regular,
    Bold,
}

impl Weight {
    /// Value of the SVG attribute `font-weight`.
    pub(super) const fn css(self) -> &'static str {
        match self {
            Self::Regular => "400",
            Self::Bold => "700",
        }
    }

    fn data(self) -> &'static [u8] {
        match self {
            Self::Regular => dejavu::sans_condensed::regular(),
            Self::Bold => dejavu::sans_condensed::bold(),
        }
    }
}

static FONTS: LazyLock<Arc<fontdb::Database>> = LazyLock::new(|| {
    let mut db = fontdb::Database::new();
    for weight in [Weight::Regular, Weight::Bold] {
        db.load_font_source(fontdb::Source::Binary(Arc::new(weight.data())));
    }
    Arc::new(db)
});

static FACES: LazyLock<[Option<FontRef<'static>>; 2]> =
    LazyLock::new(|| [Weight::Regular, Weight::Bold].map(|w| FontRef::new(w.data()).ok()));

/// The fonts for the SVG renderer, read once.
pub(super) fn database() -> Arc<fontdb::Database> {
    Arc::clone(&FONTS)
}

/// Width of a text at font size 1, without kerning: a little too wide rather than too narrow.
pub(super) fn width(text: &str, weight: Weight) -> f64 {
    let Some(face) = &FACES[weight as usize] else { return 0.6 * text.chars().count() as f64 };
    // At this size an advance comes in units of the em.
    let (glyphs, metrics) = (face.charmap(), face.glyph_metrics(Size::new(1.0), LocationRef::default()));
    let advance = |c: char| glyphs.map(c).and_then(|g| metrics.advance_width(g)).map_or(0.6, f64::from);
    text.chars().map(advance).sum()
}

/// The longest beginning of a text that fits into `room`, with an ellipsis where something was left out.
pub(super) fn fitted(text: &str, size: f64, weight: Weight, room: f64) -> String {
    if width(text, weight) * size <= room {
        return text.to_owned();
    }
    let mut kept = String::new();
    let mut used = width("…", weight) * size;
    for c in text.chars() {
        used += width(c.encode_utf8(&mut [0; 4]), weight) * size;
        if used > room {
            break;
        }
        kept.push(c);
    }
    format!("{}…", kept.trim_end())
}

/// A text in lines no wider than `room`, broken between words.
pub(super) fn wrapped(text: &str, size: f64, weight: Weight, room: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if (width(line, weight) + width(" ", weight) + width(word, weight)) * size <= room => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(fitted(word, size, weight, room)),
        }
    }
    lines
}
