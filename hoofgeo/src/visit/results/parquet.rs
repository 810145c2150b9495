//! Tables as Apache Parquet, typed columns, for analytics engines (feature `parquet`).
//!
//! # Source
//! Apache Parquet format specification, logical types `STRING` and `TIMESTAMP`.

use super::ResultFile;
use super::columns::{BEHIND_IN_PARQUET, Cell, Column, ColumnKind};
use super::record::PhotoRecord;
use super::row_tables::RowTable;
use super::writers::Growing;
use crate::error::{Error, ErrorKind, Result};
use parquet::basic::Compression;
use parquet::data_type::{ByteArray, ByteArrayType, DoubleType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::parser::parse_message_type;
use std::sync::Arc;

/// Rows in a row group: some megabytes of memory.
const GROUP: usize = 1 << 15;

/// A table's columns in Parquet.
pub(super) fn parquet_columns(table: &RowTable) -> impl Iterator<Item = Column> + use<> {
    table.columns.iter().copied().chain(BEHIND_IN_PARQUET)
}

/// A file of a table that grows by row groups.
pub(super) struct ParquetWriter {
    table: &'static RowTable,
    file: SerializedFileWriter<Growing>,
    columns: Vec<Gathered>,
    rows: usize,
}

/// What a row group's column will hold; where a cell is empty, there is a zero among the levels and nothing among the values.
struct Gathered {
    column: Column,
    values: Values,
    levels: Vec<i16>,
}

enum Values {
    Text(Vec<ByteArray>),
    Number(Vec<f64>),
    Time(Vec<i64>),
}

fn schema_line(column: &Column) -> String {
    let (physical, logical) = match column.kind {
        ColumnKind::Text | ColumnKind::FreeText => ("BYTE_ARRAY", " (STRING)"),
        ColumnKind::Number => ("DOUBLE", ""),
        ColumnKind::LocalTime => ("INT64", " (TIMESTAMP(MICROS,false))"),
        ColumnKind::Moment => ("INT64", " (TIMESTAMP(MICROS,true))"),
    };
    format!("OPTIONAL {physical} {}{logical};", column.name)
}

impl ParquetWriter {
    pub(super) fn new(table: &'static RowTable, to: Growing) -> Result<Self> {
        let lines: Vec<String> = parquet_columns(table).map(|c| schema_line(&c)).collect();
        let schema = parse_message_type(&format!(
            "message {} {{ {} }}",
            table.file.parts().0.replace('-', "_"),
            lines.join(" ")
        ))
        .map_err(|e| fault(&e))?;
        let properties = WriterProperties::builder().set_compression(Compression::SNAPPY).build();
        let file = SerializedFileWriter::new(to, Arc::new(schema), Arc::new(properties)).map_err(|e| fault(&e))?;
        Ok(Self { table, file, columns: parquet_columns(table).map(Gathered::new).collect(), rows: 0 })
    }

    pub(super) fn typed(&self) -> ResultFile {
        self.table.typed
    }

    pub(super) fn add(&mut self, photo: &PhotoRecord) -> Result<()> {
        self.table.rows(photo, |row| {
            for gathered in &mut self.columns {
                gathered.push(gathered.column.cell(photo, &row));
            }
            self.rows += 1;
        });
        if self.rows >= GROUP { self.flush().map_err(|e| fault(&e)) } else { Ok(()) }
    }

    fn flush(&mut self) -> Result<(), ParquetError> {
        if self.rows == 0 {
            return Ok(());
        }
        let mut group = self.file.next_row_group()?;
        for column in &mut self.columns {
            column.write(&mut group)?;
        }
        group.close()?;
        self.rows = 0;
        Ok(())
    }

    /// Writes what is left and the file's end.
    pub(super) fn close(mut self) -> Result<Growing> {
        self.flush().and_then(|()| self.file.into_inner()).map_err(|e| fault(&e))
    }
}

impl Gathered {
    fn new(column: Column) -> Self {
        let values = match column.kind {
            ColumnKind::Text | ColumnKind::FreeText => Values::Text(Vec::new()),
            ColumnKind::Number => Values::Number(Vec::new()),
            ColumnKind::LocalTime | ColumnKind::Moment => Values::Time(Vec::new()),
        };
        Self { column, values, levels: Vec::new() }
    }

    fn push(&mut self, cell: Cell<'_>) {
        let there = match (&mut self.values, cell) {
            (Values::Text(all), Cell::Text(text)) if !text.is_empty() => {
                all.push(ByteArray::from(text.into_owned().into_bytes()));
                true
            }
            (Values::Number(all), Cell::Number(x)) => {
                all.push(x);
                true
            }
            (Values::Time(all), Cell::Time(t)) => {
                all.push(t);
                true
            }
            _ => false,
        };
        self.levels.push(i16::from(there));
    }

    fn write(&mut self, group: &mut SerializedRowGroupWriter<'_, Growing>) -> Result<(), ParquetError> {
        let Some(mut column) = group.next_column()? else {
            return Err(ParquetError::General("a column too many".to_owned()));
        };
        let levels = Some(&self.levels[..]);
        match &mut self.values {
            Values::Text(all) => {
                column.typed::<ByteArrayType>().write_batch(all, levels, None)?;
                all.clear();
            }
            Values::Number(all) => {
                column.typed::<DoubleType>().write_batch(all, levels, None)?;
                all.clear();
            }
            Values::Time(all) => {
                column.typed::<Int64Type>().write_batch(all, levels, None)?;
                all.clear();
            }
        }
        self.levels.clear();
        column.close()
    }
}

fn fault(e: &ParquetError) -> Error {
    Error::new(ErrorKind::Io, format!("a Parquet file cannot be written: {e}"))
}
