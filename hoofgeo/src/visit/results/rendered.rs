//! What the result files say of one photo, ready to be appended: made beside the measuring, on every core.

use super::inputs::{Inputs, RunKey};
use super::manifest::PhotoLine;
use super::record::PhotoRecord;
use super::row_tables::ROW_TABLES;
use super::{Outputs, ResultFile, Stored, details, tables};
use crate::error::{Error, ErrorKind, Result};
use crate::photo::{Sha256Hex, fingerprint};
use crate::visit::json::photo_json;
use crate::visit::photo::PhotoReport;

/// A photo's part of every file.
#[derive(Debug)]
pub(crate) struct Rendered {
    /// Its line of the manifest.
    pub(super) line: String,
    pub(super) entry: String,
    /// Its rows in each of the row tables that are written, in the order of `ROW_TABLES`.
    pub(super) rows: Vec<Vec<u8>>,
    pub(super) wide: Vec<u8>,
    pub(crate) record: PhotoRecord,
}

impl Rendered {
    /// Of a photo measured now.
    pub(crate) fn new(report: &PhotoReport, inputs: &Inputs, run: &RunKey, outputs: &Outputs) -> Result<Self> {
        let record = PhotoRecord::of(report).with(outputs.details(), report)?;
        let entry = if outputs.whole_entries() {
            let mut entry = photo_json(report);
            details::add_to(&mut entry, &record);
            entry.to_string()
        } else {
            serde_json::to_string(&record).map_err(|e| own_fault(&e))?
        };
        let picture = record.picture.clone();
        let line = PhotoLine {
            photo: record.name.clone(),
            photo_sha256: inputs.photo_sha256,
            sidecar_sha256: inputs.sidecar_sha256,
            shared: inputs.shared.clone(),
            inputs_sha256: inputs.key(run, &record.name),
            values: record.values.len(),
            entry_sha256: Sha256Hex::of(entry.as_bytes()),
            picture_sha256: picture.as_ref().map(|p| fingerprint(outputs.folder.join(p))).transpose()?,
            picture,
        };
        Ok(Self::with(&line, entry, record, outputs))
    }

    /// Of a photo that an earlier run has measured.
    ///
    /// # Errors
    /// `Format` where its entry cannot be read.
    pub(crate) fn again(stored: Stored, outputs: &Outputs) -> Result<Self> {
        let record: PhotoRecord = serde_json::from_str(&stored.entry).map_err(|e| own_fault(&e))?;
        if !stored.line.is_of(&record) {
            let what = format!("the manifest's line of {} does not fit its entry", stored.line.photo);
            return Err(Error::new(ErrorKind::Format, what)
                .help("it was changed since it was written: measure the photo again"));
        }
        Ok(Self::with(&stored.line, stored.entry, record, outputs))
    }

    fn with(line: &PhotoLine, entry: String, record: PhotoRecord, outputs: &Outputs) -> Self {
        let written = ROW_TABLES.iter().filter(|table| outputs.writes(table.file));
        Self {
            rows: written.map(|table| tables::rows(table, &record)).collect(),
            wide: if outputs.writes(ResultFile::WideCsv) { tables::wide(&record) } else { Vec::new() },
            line: serde_json::json!(line).to_string(),
            entry,
            record,
        }
    }
}

fn own_fault(e: &serde_json::Error) -> Error {
    Error::new(ErrorKind::Format, format!("its entry in the results cannot be read back: {e}"))
        .help("measure everything anew; if that does not help, report it as a fault of the program")
}
