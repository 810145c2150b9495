//! The wide table: a column more for each measurement that any photo has a value of, so that no column is empty.

use super::columns::{WIDE_BEFORE, wide_columns};
use super::record::PhotoRecord;
use super::writers::Growing;
use crate::measure::ALL;
use std::fs::File;
use std::io::{self, BufReader, BufWriter, Seek, Write};

/// Which columns are needed is known behind the last photo: until then the rows, with all columns, wait in a file of their own.
pub(super) struct WideTable {
    to: Growing,
    rows: BufWriter<File>,
    has_values: Vec<bool>,
}

impl WideTable {
    pub(super) fn new(to: Growing) -> io::Result<Self> {
        let rows = BufWriter::with_capacity(1 << 16, tempfile::tempfile()?);
        Ok(Self { to, rows, has_values: vec![false; ALL.len()] })
    }

    /// Adds a photo's row, as `tables::wide` writes it.
    pub(super) fn add(&mut self, row: &[u8], photo: &PhotoRecord) -> io::Result<()> {
        for (measurement, has) in ALL.iter().zip(&mut self.has_values) {
            *has |= photo.values.iter().any(|v| v.measurement.id == measurement.id);
        }
        self.rows.write_all(row)
    }

    /// Writes head and rows without the columns of measurements that have no value.
    pub(super) fn close(self) -> io::Result<Growing> {
        let mut keep = vec![true; WIDE_BEFORE.len()];
        keep.extend(self.has_values.iter().flat_map(|has| [*has, *has]));
        keep.push(true);
        let mut rows = self.rows.into_inner().map_err(io::IntoInnerError::into_error)?;
        rows.rewind()?;
        let mut from = csv::ReaderBuilder::new().has_headers(false).from_reader(BufReader::new(rows));
        let mut to = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(self.to);
        to.write_record(kept(wide_columns().iter().map(String::as_bytes), &keep)).map_err(io::Error::other)?;
        let mut row = csv::ByteRecord::new();
        while from.read_byte_record(&mut row).map_err(io::Error::other)? {
            to.write_record(kept(row.iter(), &keep)).map_err(io::Error::other)?;
        }
        to.into_inner().map_err(|e| io::Error::other(e.to_string()))
    }
}

fn kept<'a>(cells: impl Iterator<Item = &'a [u8]>, keep: &[bool]) -> impl Iterator<Item = &'a [u8]> {
    cells.zip(keep).filter_map(|(cell, keep)| keep.then_some(cell))
}
