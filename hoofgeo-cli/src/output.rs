//! Text for the terminal: errors, and one table per foot.

use crate::terminal::{FAINT, STRONG, WRONG, name, shown};
use hoofgeo::uncertainty::print as rounded;
use hoofgeo::visit::PhotoRecord;
use hoofgeo::{Error, ErrorKind, Result, Stage};
use std::fmt::{Display, Write};
use std::io::Write as _;

/// Tables of more photos than this are left to the result files.
const MOST_PHOTOS: usize = 200;

/// A refused photo as the terminal shows it: what is wrong, then what to do, indented.
pub fn refusal_text(error: &Error) -> String {
    error_text("refused", error)
}

/// Refusals of one run: what to do about photos without a sidecar is said with the first of them alone.
#[derive(Debug, Default)]
pub struct Told {
    help: Option<String>,
}

impl Told {
    /// Why a photo was refused, and what to do about it where the last refusal did not say so already.
    pub fn text(&mut self, error: &Error) -> String {
        let text = refusal_text(error);
        let help = error.help_text().map(str::to_owned);
        let again = help.is_some() && help == self.help && error.what() == NO_SIDECAR;
        self.help = help;
        match text.split_once('\n') {
            Some((first, _)) if again => first.to_owned(),
            _ => text,
        }
    }
}

/// What the library says of a photo without a sidecar.
const NO_SIDECAR: &str = "has no sidecar";

/// Why a measured photo has no picture, in the same form.
pub fn no_picture_text(error: &Error) -> String {
    error_text("no picture", error)
}

/// Why a photo that would be measured is damaged all the same, in the same form.
pub fn damaged_text(error: &Error) -> String {
    error_text("damaged", error)
}

/// Why a lens profile was passed over, in the same form.
pub fn passed_over_text(error: &Error) -> String {
    error_text("note", error)
}

/// Why a photo was left out of a calibration, in the same form.
pub fn left_out_text(error: &Error) -> String {
    error_text("left out", error)
}

/// Why a command could not run, in the same form.
pub fn failure_text(error: &Error) -> String {
    error_text("error", error)
}

fn error_text(word: &str, error: &Error) -> String {
    let mut text = error.to_string();
    if let Some(file) = error.file().map(|f| f.display().to_string()) {
        text = text.replacen(&file, &name(file.as_str()), 1);
    }
    let (what, help) = text.split_once("\n  ").unwrap_or((&text, ""));
    let mut out = format!("{WRONG}{word}{WRONG:#} {what}");
    if !help.is_empty() {
        let indent = format!("\n{:width$}", "", width = word.len() + 1);
        let _ = write!(out, "{indent}{}", help.replace("\n  ", &indent));
    }
    shown(&out)
}

/// Says something on standard error that is no result.
pub(crate) fn say(text: impl Display) {
    anstream::eprintln!("{}", shown(&text.to_string()));
}

/// Prints results. A reader that has closed its end (`hoofgeo explain | head`) has read enough.
///
/// # Errors
/// `Io` where standard output cannot be written for another reason.
pub fn print(text: impl Display) -> Result<()> {
    let mut out = anstream::stdout().lock();
    match std::io::Write::write_fmt(&mut out, format_args!("{}", shown(&text.to_string()))).and_then(|()| out.flush()) {
        Err(e) if e.kind() != std::io::ErrorKind::BrokenPipe => {
            Err(Error::new(ErrorKind::Io, format!("standard output cannot be written: {e}")))
        }
        _ => Ok(()),
    }
}

/// Prints results and ends the line.
///
/// # Errors
/// As [`print()`].
pub fn print_line(text: impl Display) -> Result<()> {
    print(format_args!("{text}\n"))
}

/// One measured photo, as much of it as the tables show.
struct Column {
    animal: String,
    foot: &'static str,
    view: &'static str,
    heading: String,
    /// Before a trim stands left of after it, the earlier left of the later.
    order: (Option<Stage>, String),
    cells: Vec<(&'static str, String)>,
    footnotes: Vec<&'static str>,
}

/// Collects photos and prints them as one table per foot and view, its photos side by side.
#[derive(Default)]
pub struct Tables {
    columns: Vec<Column>,
    left_out: usize,
}

impl Tables {
    /// Adds a photo.
    pub fn add(&mut self, photo: &PhotoRecord) {
        if self.columns.len() >= MOST_PHOTOS {
            self.left_out += 1;
            return;
        }
        let mut footnotes: Vec<&str> = Vec::new();
        let cells = photo
            .values
            .iter()
            .map(|v| {
                for flag in &v.flags {
                    if let Some(meaning) = hoofgeo::measured::flag_meaning(flag)
                        && !footnotes.contains(&meaning)
                    {
                        footnotes.push(meaning);
                    }
                }
                let text = rounded(v.value, v.expanded, v.measurement.quantity.unit()).to_string();
                (v.measurement.name, text)
            })
            .collect();
        self.columns.push(Column {
            animal: name(&photo.animal),
            foot: photo.foot.name(),
            view: photo.view.name(),
            heading: match photo.stage {
                Some(stage) => stage.name().replace('_', " "),
                None => name(photo.name.rsplit('/').next().unwrap_or(&photo.name)),
            },
            order: (photo.stage, photo.taken.clone().unwrap_or_default()),
            cells,
            footnotes,
        });
    }

    /// The tables as text.
    pub fn text(&self) -> String {
        let mut groups: Vec<(String, Vec<&Column>)> = Vec::new();
        for column in &self.columns {
            let animal = if column.animal.is_empty() { String::new() } else { format!("{} ", column.animal) };
            let title = format!("{animal}{}, {}", column.foot, column.view);
            match groups.iter_mut().find(|(t, c)| *t == title && c.len() < 3) {
                Some((_, columns)) => columns.push(column),
                None => groups.push((title, vec![column])),
            }
        }
        let mut out = String::new();
        for (title, mut columns) in groups {
            columns.sort_by(|a, b| a.order.cmp(&b.order));
            table(&mut out, &title, &columns);
        }
        if self.left_out > 0 {
            let _ = writeln!(out, "{FAINT}{} more photos are in the result files{FAINT:#}", self.left_out);
        }
        out
    }
}

fn table(out: &mut String, title: &str, columns: &[&Column]) {
    const NAME: usize = 32;
    const CELL: usize = 24;
    let _ = write!(out, "{STRONG}{title:<NAME$}{STRONG:#}");
    for c in columns {
        let _ = write!(out, "{FAINT}{:>CELL$}{FAINT:#}", shortened(&c.heading, CELL - 2));
    }
    out.push('\n');
    let mut names: Vec<&str> = Vec::new();
    for c in columns {
        names.extend(c.cells.iter().map(|(n, _)| *n).filter(|n| !names.contains(n)).collect::<Vec<_>>());
    }
    for quantity in names {
        let _ = write!(out, "  {quantity:<width$}", width = NAME - 2);
        for c in columns {
            let cell = c.cells.iter().find(|(n, _)| *n == quantity).map_or("", |(_, t)| t);
            let _ = write!(out, "{cell:>CELL$}");
        }
        out.push('\n');
    }
    let mut footnotes: Vec<&str> = Vec::new();
    for note in columns.iter().flat_map(|c| &c.footnotes) {
        if !footnotes.contains(note) {
            footnotes.push(note);
        }
    }
    for note in footnotes {
        let _ = writeln!(out, "  {FAINT}{note}{FAINT:#}");
    }
    out.push('\n');
}

fn shortened(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let kept: String = text.chars().take(most - 1).collect();
    format!("{kept}…")
}
