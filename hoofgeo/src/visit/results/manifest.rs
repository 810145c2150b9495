//! The manifest, JSON Lines: the program and its options; a line for each photo, what went into it and what came out, in the order
//! of the walk; and last the files written.

use super::{FORMAT, Outputs, Part, PhotoRecord};
use crate::error::{Error, ErrorKind, Result};
use crate::photo::Sha256Hex;
use crate::visit::json::refusal_json;
use serde::{Deserialize, Serialize};
use serde_json::{Value as Json, json};
use std::collections::BTreeMap;

/// The first line.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize)]
pub(super) struct Head {
    pub(super) format: String,
    pub(super) program: Json,
    pub(super) options: Json,
    /// What `measurements.json` says of the options.
    pub(super) measure: Json,
    pub(super) part: Option<PartNumber>,
    /// The files of results, by name.
    pub(super) files: Vec<String>,
}

/// A part's number and how many there are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Serialize)]
pub(super) struct PartNumber {
    pub(super) number: u32,
    pub(super) of: u32,
}

impl From<Part> for PartNumber {
    fn from(part: Part) -> Self {
        Self { number: part.number, of: part.of }
    }
}

/// A measured photo's line.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize)]
pub(super) struct PhotoLine {
    pub(super) photo: String,
    pub(super) photo_sha256: Sha256Hex,
    pub(super) sidecar_sha256: Sha256Hex,
    /// Visit file, lens profiles in reach and table of placements, by their path from the photo's folder.
    pub(super) shared: BTreeMap<String, Sha256Hex>,
    /// Of everything that the entry depends on.
    pub(super) inputs_sha256: Sha256Hex,
    pub(super) values: usize,
    pub(super) entry_sha256: Sha256Hex,
    pub(super) picture: Option<String>,
    pub(super) picture_sha256: Option<Sha256Hex>,
}

impl PhotoLine {
    /// Whether it is of the photo whose entry this is.
    pub(super) fn is_of(&self, record: &PhotoRecord) -> bool {
        (&self.photo, self.photo_sha256, self.sidecar_sha256, self.values, &self.picture)
            == (&record.name, record.photo_sha256, record.sidecar_sha256, record.values.len(), &record.picture)
    }
}

/// A refusal's line.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize)]
pub(super) struct RefusalLine {
    /// What the walk came upon.
    pub(super) place: String,
    /// As `measurements.json` says it.
    pub(super) refused: Json,
}

/// Any line behind the first.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(untagged)]
pub(super) enum Line {
    Photo(PhotoLine),
    Refusal(RefusalLine),
    End(End),
}

/// The last line.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize)]
pub(super) struct End {
    pub(super) files: Vec<FileLine>,
    pub(super) measured: usize,
    pub(super) refused: usize,
}

/// A file written.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize)]
pub(super) struct FileLine {
    pub(super) file: String,
    pub(super) bytes: u64,
    pub(super) sha256: Sha256Hex,
}

impl Head {
    pub(super) fn new(options: Json, measure: Json, outputs: &Outputs) -> Self {
        Self {
            format: FORMAT.to_owned(),
            program: json!(super::inputs::Program::THIS),
            options,
            measure,
            part: outputs.part.map(PartNumber::from),
            files: outputs.files.iter().map(|file| outputs.name_of(*file)).collect(),
        }
    }
}

/// The line of a photo, or whatever the walk came upon at `place`, that was refused.
pub(crate) fn refusal_line(place: &str, photo: Option<&str>, error: &Error) -> String {
    let line = RefusalLine { place: place.to_owned(), refused: refusal_json(photo, error) };
    json!(line).to_string()
}

pub(super) fn parse<'a, T: Deserialize<'a>>(text: &'a str) -> Result<T> {
    serde_json::from_str(text).map_err(|e| Error::new(ErrorKind::Format, format!("is no line of a manifest: {e}")))
}
