//! A photo's rows in the tables of text (RFC 4180).

use super::columns::{Column, Origin, TIDY, WIDE_BEFORE, WIDE_BEHIND};
use super::record::PhotoRecord;
use crate::measure::ALL;
use std::borrow::Cow;

/// A record of an RFC 4180 table, CRLF behind it.
pub(super) fn csv_line<'a>(cells: impl IntoIterator<Item = Cow<'a, str>>) -> Vec<u8> {
    let mut csv = writer();
    write(&mut csv, cells);
    finish(csv)
}

/// The photo's rows of the tidy table, one a value.
pub(super) fn tidy(photo: &PhotoRecord) -> Vec<u8> {
    let mut csv = writer();
    for value in &photo.values {
        write(&mut csv, TIDY.iter().map(|column| column.cell(photo, value).into_text(column.kind)));
    }
    finish(csv)
}

/// The photo's row of the wide table.
pub(super) fn wide(photo: &PhotoRecord) -> Vec<u8> {
    let of_photo = |column: &Column| match column.origin {
        Origin::Photo(cell) => cell(photo).into_text(column.kind),
        Origin::Value(_) => Cow::Borrowed(""),
    };
    let mut cells: Vec<Cow<'_, str>> = WIDE_BEFORE.iter().map(of_photo).collect();
    let mut values = photo.values.iter().peekable();
    for measurement in ALL {
        // Values stand in the order of the declarations.
        match values.next_if(|v| v.measurement.id == measurement.id) {
            Some(v) => cells.extend([v.value, v.u].map(|x| Cow::Owned(format!("{x}")))),
            None => cells.extend([Cow::Borrowed(""), Cow::Borrowed("")]),
        }
    }
    cells.push(of_photo(&WIDE_BEHIND));
    csv_line(cells)
}

fn writer() -> csv::Writer<Vec<u8>> {
    csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new())
}

fn write<'a>(csv: &mut csv::Writer<Vec<u8>>, cells: impl IntoIterator<Item = Cow<'a, str>>) {
    let written = csv.write_record(cells.into_iter().collect::<Vec<_>>().iter().map(|c| c.as_bytes()));
    // Writing to memory does not fail, and every row has its columns.
    debug_assert!(written.is_ok());
}

fn finish(csv: csv::Writer<Vec<u8>>) -> Vec<u8> {
    csv.into_inner().unwrap_or_default()
}
