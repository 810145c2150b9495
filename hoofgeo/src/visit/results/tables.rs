//! A photo's rows in the tables of text (RFC 4180).

use super::columns::{Column, Origin, WIDE_BEFORE, WIDE_BEHIND};
use super::record::PhotoRecord;
use super::row_tables::RowTable;
use crate::measure::ALL;
use std::borrow::Cow;

/// A record of an RFC 4180 table, CRLF behind it.
pub(super) fn csv_line<'a>(cells: impl IntoIterator<Item = Cow<'a, str>>) -> Vec<u8> {
    let mut csv = writer();
    write(&mut csv, cells);
    finish(csv)
}

/// The photo's rows of a table.
pub(super) fn rows(table: &RowTable, photo: &PhotoRecord) -> Vec<u8> {
    let mut csv = writer();
    // Cells of the photo are the same in all of its rows.
    let of_photo: Vec<_> = table
        .columns
        .iter()
        .map(|c| match c.origin {
            Origin::Photo(cell) => Some(cell(photo).into_text(c.kind)),
            _ => None,
        })
        .collect();
    table.rows(photo, |row| {
        write(
            &mut csv,
            table.columns.iter().zip(&of_photo).map(|(column, same)| match same {
                Some(text) => Cow::Borrowed(text.as_ref()),
                None => column.cell(photo, &row).into_text(column.kind),
            }),
        );
    });
    finish(csv)
}

/// The photo's row of the wide table.
pub(super) fn wide(photo: &PhotoRecord) -> Vec<u8> {
    let of_photo = |column: &Column| match column.origin {
        Origin::Photo(cell) => cell(photo).into_text(column.kind),
        _ => Cow::Borrowed(""),
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
    // Writing to memory does not fail, and every row has its columns.
    let mut written = cells.into_iter().try_for_each(|cell| csv.write_field(cell.as_bytes()));
    written = written.and_then(|()| csv.write_record(None::<&[u8]>));
    debug_assert!(written.is_ok());
}

fn finish(csv: csv::Writer<Vec<u8>>) -> Vec<u8> {
    csv.into_inner().unwrap_or_default()
}
