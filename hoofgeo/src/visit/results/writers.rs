//! The result files of a run, under temporary names until they are whole.

use super::inputs::RunKey;
use super::manifest::{End, FileLine, Head};
use super::rendered::Rendered;
use super::row_tables::{ROW_TABLES, RowTable};
use super::tables::csv_line;
use super::wide::WideTable;
use super::{FORMAT, Outputs, ResultFile};
use crate::error::{Error, Result};
use crate::measured::MeasureOptions;
use crate::photo::{HashedWriter, Sha256Hex};
use crate::visit::output::{readable, temporary_in};
use serde_json::{Value as Json, json};
use std::borrow::Cow;
use std::fs::File;
use std::io::{self, BufWriter, Read, Seek, Write};
use std::path::{Path, PathBuf};
use tempfile::NamedTempFile;

/// The lines of `measurements.json` before and behind its photos.
pub(super) const BEFORE_PHOTOS: &str = "\"photos\":[";
pub(super) const BEHIND_PHOTOS: &str = "],";

/// What a refusal's line of `measurements.jsonl` says first behind the contract.
const REFUSED: &str = "\"refused\":";

/// A file that is being written, its fingerprint with it.
pub(super) type Growing = BufWriter<HashedWriter<NamedTempFile>>;

/// The result files of a run, under temporary names until [`Writers::finish`].
pub(crate) struct Writers {
    outputs: Outputs,
    tables: Vec<(&'static RowTable, Growing)>,
    wide: Option<WideTable>,
    json: Option<Growing>,
    lines: Option<Growing>,
    #[cfg(feature = "parquet")]
    typed: Vec<super::parquet::ParquetWriter>,
    manifest: Growing,
    /// What was refused comes behind the photos in the JSON, so it waits in a file of its own.
    refused: BufWriter<File>,
    photos: usize,
    refusals: usize,
}

/// An entry, or a refusal, as a line of `measurements.jsonl`: each names the contract, so that files can be laid behind each other.
fn line_of(entry: &str) -> String {
    format!("{{\"format\":\"{FORMAT}\",{}", entry.strip_prefix('{').unwrap_or(entry))
}

/// The photo's entry that [`line_of`] has made a line of; none where it is a refusal.
pub(super) fn entry_of_line(line: &str) -> Option<String> {
    let rest = line.strip_prefix("{\"format\":\"")?.strip_prefix(FORMAT)?.strip_prefix("\",")?;
    (!rest.starts_with(REFUSED)).then(|| format!("{{{rest}"))
}

/// What the head of `measurements.json` says of the options.
fn measure_json(options: &MeasureOptions) -> Json {
    let mut words = json!({ "draws": options.draws, "seed": options.seed });
    if let Some(table) = &options.placement {
        words["placement"] = json!(**table);
    }
    words
}

impl Writers {
    /// Opens the files in the work folder. A wrong path fails here, before any work.
    pub(crate) fn create(work: &Path, outputs: &Outputs, options: &MeasureOptions, run: &RunKey) -> Result<Self> {
        Self::with_head(work, outputs, &Head::new(run.options.clone(), measure_json(options), outputs))
    }

    /// The same with the head of the manifest of earlier runs.
    pub(super) fn with_head(work: &Path, outputs: &Outputs, head: &Head) -> Result<Self> {
        let fail = |e: io::Error| Error::io(&outputs.folder, "the output folder cannot be written to", &e);
        let open = || temporary_in(work).map(|file| BufWriter::with_capacity(1 << 16, HashedWriter::new(file)));
        let wanted = |file| if outputs.writes(file) { open().map(Some) } else { Ok(None) };
        let mut writers = Self {
            tables: ROW_TABLES
                .iter()
                .filter(|table| outputs.writes(table.file))
                .map(|table| Ok((table, open()?)))
                .collect::<io::Result<_>>()
                .map_err(fail)?,
            wide: wanted(ResultFile::WideCsv).and_then(|to| to.map(WideTable::new).transpose()).map_err(fail)?,
            json: wanted(ResultFile::Json).map_err(fail)?,
            lines: wanted(ResultFile::JsonLines).map_err(fail)?,
            #[cfg(feature = "parquet")]
            typed: ROW_TABLES
                .iter()
                .filter(|table| outputs.writes(table.typed))
                .map(|table| super::parquet::ParquetWriter::new(table, open().map_err(fail)?))
                .collect::<Result<_>>()?,
            manifest: open().map_err(fail)?,
            refused: BufWriter::new(tempfile::tempfile().map_err(fail)?),
            photos: 0,
            refusals: 0,
            outputs: outputs.clone(),
        };
        writers.write_heads(head).map_err(fail)?;
        Ok(writers)
    }

    fn write_heads(&mut self, head: &Head) -> io::Result<()> {
        writeln!(self.manifest, "{}", json!(head))?;
        for (table, to) in &mut self.tables {
            to.write_all(&csv_line(table.columns.iter().map(|c| Cow::Borrowed(c.name))))?;
        }
        if let Some(json) = &mut self.json {
            let program = json!({ "name": head.program["name"], "version": head.program["version"] });
            write!(json, "{{\"format\":\"{FORMAT}\",\n\"program\":{program},\n\"options\":{},\n", head.measure)?;
            if let Some(part) = head.part {
                writeln!(json, "\"part\":{},", json!(part))?;
            }
            write!(json, "{BEFORE_PHOTOS}")?;
        }
        Ok(())
    }

    /// Adds a measured photo.
    pub(crate) fn photo(&mut self, photo: &Rendered) -> Result<()> {
        self.write_photo(photo).map_err(|e| self.fail(&e))?;
        #[cfg(feature = "parquet")]
        for table in &mut self.typed {
            table.add(&photo.record)?;
        }
        self.photos += 1;
        Ok(())
    }

    fn write_photo(&mut self, photo: &Rendered) -> io::Result<()> {
        writeln!(self.manifest, "{}", photo.line)?;
        for ((_, to), rows) in self.tables.iter_mut().zip(&photo.rows) {
            to.write_all(rows)?;
        }
        if let Some(wide) = &mut self.wide {
            wide.add(&photo.wide, &photo.record)?;
        }
        if let Some(json) = &mut self.json {
            let comma = if self.photos == 0 { "" } else { "," };
            write!(json, "{comma}\n{}", photo.entry)?;
        }
        if let Some(lines) = &mut self.lines {
            writeln!(lines, "{}", line_of(&photo.entry))?;
        }
        Ok(())
    }

    /// Adds a refusal: its line of the manifest and what the results say of it.
    pub(crate) fn refusal(&mut self, line: &str, refusal: &Json) -> Result<()> {
        let comma = if self.refusals == 0 { "" } else { "," };
        let mut write = || {
            writeln!(self.manifest, "{line}")?;
            if let Some(lines) = &mut self.lines {
                let refused = format!("{{{REFUSED}{refusal},\"photo\":{}}}", refusal["photo"]);
                writeln!(lines, "{}", line_of(&refused))?;
            }
            write!(self.refused, "{comma}\n{refusal}")
        };
        write().map_err(|e| self.fail(&e))?;
        self.refusals += 1;
        Ok(())
    }

    /// Gives the files their names, the manifest last. Before this nothing of them is to be seen.
    pub(crate) fn finish(mut self) -> Result<()> {
        self.close_json().map_err(|e| self.fail(&e))?;
        let Self { outputs, tables, wide, json, lines, manifest, .. } = self;
        let fail = |e: io::Error| Error::io(&outputs.folder, "the results cannot be written", &e);
        let mut files = Vec::new();
        for (table, file) in tables {
            files.push(Whole::close(file, outputs.name_of(table.file), &outputs.folder)?);
        }
        for (file, kind) in [
            (wide.map(WideTable::close).transpose().map_err(fail)?, ResultFile::WideCsv),
            (json, ResultFile::Json),
            (lines, ResultFile::JsonLines),
        ] {
            if let Some(file) = file {
                files.push(Whole::close(file, outputs.name_of(kind), &outputs.folder)?);
            }
        }
        #[cfg(feature = "parquet")]
        for table in self.typed {
            let name = outputs.name_of(table.typed());
            files.push(Whole::close(table.close()?, name, &outputs.folder)?);
        }
        let mut manifest = manifest;
        let end = End { files: files.iter().map(Whole::line).collect(), measured: self.photos, refused: self.refusals };
        writeln!(manifest, "{}", json!(end)).map_err(|e| Error::io(&outputs.folder, "cannot be written", &e))?;
        files.push(Whole::close(manifest, outputs.manifest_name(), &outputs.folder)?);
        files.into_iter().try_for_each(Whole::persist)
    }

    fn close_json(&mut self) -> io::Result<()> {
        let Some(json) = &mut self.json else { return Ok(()) };
        write!(json, "\n{BEHIND_PHOTOS}\n\"refused\":[")?;
        self.refused.flush()?;
        let spool = self.refused.get_mut();
        spool.rewind()?;
        let mut chunk = vec![0; 1 << 16];
        loop {
            let n = spool.read(&mut chunk)?;
            if n == 0 {
                break;
            }
            json.write_all(&chunk[..n])?;
        }
        let summary = json!({ "measured": self.photos, "refused": self.refusals });
        writeln!(json, "\n],\n\"summary\":{summary}}}")
    }

    fn fail(&self, e: &io::Error) -> Error {
        Error::io(&self.outputs.folder, "the results cannot be written", e)
    }
}

/// A file on the disk that only lacks its name.
struct Whole {
    file: NamedTempFile,
    path: PathBuf,
    bytes: u64,
    sha256: Sha256Hex,
}

impl Whole {
    fn close(file: Growing, name: String, folder: &Path) -> Result<Self> {
        let path = folder.join(name);
        let fail = |e: &io::Error| Error::io(&path, "cannot be written", e);
        let (file, bytes, sha256) = file.into_inner().map_err(|e| fail(e.error()))?.finish();
        readable(file.as_file()).map_err(|e| fail(&e))?;
        Ok(Self { file, bytes, sha256, path })
    }

    fn line(&self) -> FileLine {
        let file = self.path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        FileLine { file, bytes: self.bytes, sha256: self.sha256 }
    }

    fn persist(self) -> Result<()> {
        self.file.persist(&self.path).map_err(|e| Error::io(&self.path, "cannot be written", &e.error))?;
        Ok(())
    }
}
