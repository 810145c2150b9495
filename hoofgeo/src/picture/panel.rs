//! The strip below the photo: whose foot, the values with their keys, the scale, notes and caution.

use super::canvas::{Canvas, Tie, Type};
use super::font::{self, Weight};
use super::labels::disc;
use super::style::{Colour, Pen};
use crate::evaluate::Value;
use crate::measured::{Measured, flag_meaning};
use crate::sidecar::Sidecar;
use crate::uncertainty::{Printed, print};
use crate::{Foot, Side, Stage, View};
use nalgebra::Point2;

/// The picture's width in units.
pub(super) const WIDTH: f64 = 390.0;
const MARGIN: f64 = 11.0;
const TITLE: f64 = 13.5;
const FACTS: f64 = 8.6;
const ROW: f64 = 12.6;
const NAME: f64 = 8.4;
const NOTE: f64 = 6.9;
const LEADING: f64 = 8.8;
/// Space between the two columns of the table.
const GUTTER: f64 = 13.0;
/// Marks that tie a value to its note.
const SIGNS: [&str; 5] = ["*", "†", "‡", "§", "¶"];

/// Said under every picture.
pub(super) const CAUTION: &str = "A photo does not show the bone, and no value here is a diagnosis. A lame, laminitic or growing animal and any \
                       corrective trim belong with a vet and a qualified farrier; local law comes first.";

/// A value's row.
struct Row {
    key: Option<char>,
    name: &'static str,
    printed: Printed,
    signs: String,
}

/// What the strip says, laid out in units.
pub(super) struct Panel {
    title: String,
    facts: String,
    rows: Vec<Row>,
    notes: Vec<String>,
    caution: Vec<String>,
}

/// A value as a label has it: the number, and after it ± expanded uncertainty and unit.
pub(super) fn short(value: &Value) -> (String, String) {
    let p = printed(value);
    let expanded = p.expanded.as_deref().unwrap_or("?");
    if p.unit == "°" {
        (p.value + "°", format!(" ± {expanded}°"))
    } else {
        (p.value, format!(" ± {expanded}{}", p.unit))
    }
}

/// A value rounded for people, with a true minus sign.
fn printed(value: &Value) -> Printed {
    let p = print(value.value, value.expanded(), value.measurement.quantity.unit());
    Printed { value: p.value.replace('-', "−"), ..p }
}

impl Panel {
    /// From the values in the order to be shown, each with its key on the photo.
    pub(super) fn new(
        sidecar: &Sidecar,
        measured: &Measured,
        shown: &[(&Value, Option<char>)],
        taken: Option<&str>,
        bar: bool,
    ) -> Self {
        let scene: Vec<&str> = measured.scene.flags.iter().map(|f| f.name()).collect();
        let mut flags: Vec<&str> = Vec::new();
        let rows = shown
            .iter()
            .map(|(value, key)| {
                let mut signs = String::new();
                for flag in measured.flags(value).into_iter().filter(|f| !scene.contains(f)) {
                    let i = flags.iter().position(|f| *f == flag).unwrap_or_else(|| {
                        flags.push(flag);
                        flags.len() - 1
                    });
                    signs.push_str(SIGNS[i % SIGNS.len()]);
                }
                let m = value.measurement;
                Row { key: *key, name: m.name, printed: printed(value), signs }
            })
            .collect();
        let room = WIDTH - 2.0 * MARGIN;
        let mut notes = vec![scale_note(sidecar, measured, bar)];
        notes.extend(scene.iter().filter_map(|f| flag_meaning(f)).map(sentence));
        let signed =
            |(i, f): (usize, &&str)| flag_meaning(f).map(|m| format!("{} {}", SIGNS[i % SIGNS.len()], sentence(m)));
        notes.extend(flags.iter().enumerate().filter_map(signed));
        let left_out = measured.values.len() - shown.len();
        if left_out > 0 {
            notes.push(format!(
                "{left_out} more {} in the table of results.",
                if left_out == 1 { "value is" } else { "values are" }
            ));
        }
        let wrap = |text: &String| font::wrapped(text, NOTE, Weight::Regular, room);
        Self {
            title: sidecar.subject.animal.clone(),
            facts: font::fitted(&facts(sidecar, taken), FACTS, Weight::Regular, room),
            rows,
            notes: notes.iter().flat_map(wrap).collect(),
            caution: font::wrapped(CAUTION, NOTE, Weight::Bold, room),
        }
    }

    fn rows_high(&self) -> usize {
        self.rows.len().div_ceil(2)
    }

    /// Height in units.
    pub(super) fn height(&self) -> f64 {
        let text = (self.notes.len() + self.caution.len()) as f64 * LEADING;
        let table = if self.rows.is_empty() { 14.0 } else { self.rows_high() as f64 * ROW };
        30.0 + table + 8.0 + text + 9.0
    }

    /// Draws it on a canvas of its own.
    pub(super) fn draw(&self, canvas: &mut Canvas, u: f64) {
        let at = |x: f64, y: f64| Point2::new(x * u, y * u);
        let ty = |size: f64, weight, tie, fill| Type { size: size * u, weight, tie, fill, halo: None };
        let rule = |colour, width: f64| Pen { colour, width: width * u, casing: None, casing_opacity: 1.0, dash: None };
        canvas.stroke(&[at(0.0, 0.4), at(WIDTH, 0.4)], false, &rule(Colour::Ink, 0.8));
        let facts_wide = font::width(&self.facts, Weight::Regular) * FACTS;
        let room = (WIDTH - 2.0 * MARGIN - facts_wide - 8.0).max(60.0);
        let title = font::fitted(&self.title, TITLE, Weight::Bold, room);
        canvas.text(at(MARGIN, 18.5), &title, &ty(TITLE, Weight::Bold, Tie::Start, Colour::Ink));
        let (x, tie) = if title.is_empty() { (MARGIN, Tie::Start) } else { (WIDTH - MARGIN, Tie::End) };
        canvas.text(at(x, 18.5), &self.facts, &ty(FACTS, Weight::Regular, tie, Colour::Slate));
        let mut y = 26.0;
        canvas.stroke(&[at(MARGIN, y), at(WIDTH - MARGIN, y)], false, &rule(Colour::Ink, 0.5));
        y += 2.0;
        if self.rows.is_empty() {
            canvas.text(
                at(MARGIN, y + 9.5),
                "Nothing could be measured with the landmarks placed.",
                &ty(NAME, Weight::Regular, Tie::Start, Colour::Ink),
            );
            y += 14.0;
        }
        let column = (WIDTH - 2.0 * MARGIN - GUTTER) / 2.0;
        for (i, row) in self.rows.iter().enumerate() {
            let (c, r) = (i / self.rows_high(), i % self.rows_high());
            let left = MARGIN + c as f64 * (column + GUTTER);
            let base = y + r as f64 * ROW + 9.4;
            row.draw(canvas, left, column, base, u);
            if r + 1 < self.rows_high() {
                canvas.stroke(&[at(left, base + 3.2), at(left + column, base + 3.2)], false, &rule(Colour::Rule, 0.35));
            }
        }
        y += self.rows_high() as f64 * ROW + 2.0;
        canvas.stroke(&[at(MARGIN, y), at(WIDTH - MARGIN, y)], false, &rule(Colour::Ink, 0.5));
        y += 1.5;
        for (lines, weight, fill) in
            [(&self.notes, Weight::Regular, Colour::Slate), (&self.caution, Weight::Bold, Colour::Ink)]
        {
            for line in lines {
                y += LEADING;
                canvas.text(at(MARGIN, y), line, &ty(NOTE, weight, Tie::Start, fill));
            }
            y += 1.5;
        }
    }
}

impl Row {
    fn draw(&self, canvas: &mut Canvas, left: f64, column: f64, base: f64, u: f64) {
        let at = |x: f64, y: f64| Point2::new(x * u, y * u);
        let ty = |size: f64, weight, tie, fill| Type { size: size * u, weight, tie, fill, halo: None };
        if let Some(key) = self.key {
            disc(canvas, at(left + 5.0, base - 3.1), key, u, false);
        }
        // Numbers end, and units begin, where they do in every row.
        let unit = left + column - 16.5;
        let expanded = format!(" ± {}", self.printed.expanded.as_deref().unwrap_or("?"));
        let value_end = unit - 1.5 - font::width(&expanded, Weight::Regular) * NAME;
        let value_start = value_end - font::width(&self.printed.value, Weight::Bold) * (NAME + 0.6);
        canvas.text(at(value_end, base), &self.printed.value, &ty(NAME + 0.6, Weight::Bold, Tie::End, Colour::Ink));
        canvas.text(at(unit - 1.5, base), &expanded, &ty(NAME, Weight::Regular, Tie::End, Colour::Ink));
        let after = format!("{}{}", self.printed.unit.trim(), self.signs);
        canvas.text(at(unit, base), &after, &ty(NAME, Weight::Regular, Tie::Start, Colour::Ink));
        let name_left = left + 13.0;
        let room = value_start - 3.0 - name_left;
        let wide = font::width(self.name, Weight::Regular);
        // A long name is set a little smaller before it is cut.
        let size = NAME.min(room / wide).max(0.74 * NAME);
        let name = font::fitted(self.name, size, Weight::Regular, room + 0.01);
        canvas.text(at(name_left, base), &name, &ty(size, Weight::Regular, Tie::Start, Colour::Ink));
    }
}

/// Foot, view, side, stage and date.
pub(super) fn facts(sidecar: &Sidecar, taken: Option<&str>) -> String {
    let foot = match sidecar.subject.foot {
        Foot::LeftFore => "left fore",
        Foot::RightFore => "right fore",
        Foot::LeftHind => "left hind",
        Foot::RightHind => "right hind",
    };
    let view = match (sidecar.view, sidecar.side) {
        (View::Solar, _) => "sole",
        (View::Lateral, Some(Side::Medial)) => "medial side",
        (View::Lateral, Some(Side::Lateral)) => "lateral side",
        (View::Lateral, None) => "side",
    };
    let stage = sidecar.stage.map(|s| match s {
        Stage::BeforeTrim => "before trim",
        Stage::AfterTrim => "after trim",
    });
    let day = sidecar.taken.as_deref().or(taken).map(|t| t.split(['T', ' ']).next().unwrap_or(t));
    let foot = format!("{} {foot}", sidecar.subject.foot);
    let all: Vec<&str> = [Some(foot.as_str()), Some(view), stage, day].into_iter().flatten().collect();
    all.join("  ·  ")
}

fn scale_note(sidecar: &Sidecar, measured: &Measured, bar: bool) -> String {
    let m = measured.scene.magnification();
    let n = sidecar.scale.as_ref().map_or(0, |s| s.points.len());
    let scale = print(m.value, 2.0 * m.u, "px/mm");
    let bar = if bar { "; the bar lies in the measured plane" } else { "" };
    format!(
        "Scale: {n} graduations, {scale}, residual {:.2} px{bar}. Values with ± at 95 %; ovals are the landmarks' 95 % regions.",
        measured.scene.fit.rms_px
    )
}

/// A flag's meaning as a sentence.
fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}.", letters.as_str())
}
