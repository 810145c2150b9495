//! Writing results: a tidy CSV and a JSON with everything, streamed, whole or not at all.

use super::json::{photo_json, refusal_json};
use super::photo::PhotoReport;
use crate::error::{Error, Result};
use crate::measured::MeasureOptions;
use std::fs::File;
use std::io::{BufWriter, Read, Seek, Write};
use std::path::{Path, PathBuf};
use tempfile::NamedTempFile;

/// Columns of `measurements.csv`, in order.
pub const CSV_COLUMNS: [&str; 17] = [
    "photo",
    "animal",
    "foot",
    "view",
    "stage",
    "taken",
    "observer",
    "measurement",
    "unit",
    "value",
    "u",
    "k",
    "U",
    "lower",
    "upper",
    "method",
    "flags",
];

/// The file that holds everything of a run.
pub(super) const RESULTS_FILE: &str = "measurements.json";

/// The folder of a run's annotated pictures, beside its results.
pub(super) const PICTURES_FOLDER: &str = "pictures";

/// Makes a file that a temporary file created for its owner alone readable for all, as a file written directly would be.
fn readable(file: &File) -> std::io::Result<()> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        file.set_permissions(std::fs::Permissions::from_mode(0o644))?;
    }
    let _ = file;
    Ok(())
}

/// Writes a file whole or not at all: under a temporary name in its folder first.
///
/// # Errors
/// Where the folder cannot be written to.
pub fn write_whole(path: &Path, bytes: &[u8]) -> Result<()> {
    staged(path, bytes)?.persist(path).map_err(|e| cannot_write(path, &e.error))?;
    Ok(())
}

/// Writes a file whole, and only where there is none: another program may have written one in the meantime.
///
/// # Errors
/// Where there is one, or the folder cannot be written to.
pub(crate) fn write_new(path: &Path, bytes: &[u8]) -> Result<()> {
    staged(path, bytes)?.persist_noclobber(path).map_err(|e| cannot_write(path, &e.error))?;
    Ok(())
}

/// As [`write_whole`], or [`write_new`] where nothing is to be written over; on the disk when it returns, so that a power cut
/// thereafter loses nothing of it. That waits for the disk: not for results, which can be made again.
///
/// # Errors
/// As theirs.
#[cfg(feature = "place")]
pub(crate) fn write_durably(path: &Path, bytes: &[u8], over: bool) -> Result<()> {
    let fail = |e: std::io::Error| cannot_write(path, &e);
    let staged = staged(path, bytes)?;
    staged.as_file().sync_all().map_err(fail)?;
    let named = if over { staged.persist(path) } else { staged.persist_noclobber(path) };
    named.map_err(|e| fail(e.error))?;
    sync_folder(path).map_err(fail)
}

/// Makes sure that a name given or taken in a file's folder is on the disk, where the system lets a folder be synchronised.
#[cfg(feature = "place")]
pub(crate) fn sync_folder(path: &Path) -> std::io::Result<()> {
    #[cfg(unix)]
    File::open(path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new(".")))?.sync_all()?;
    let _ = path;
    Ok(())
}

/// A file's content under a temporary name in its folder, readable for all, still to be given its own name.
pub(super) fn staged(path: &Path, bytes: &[u8]) -> Result<NamedTempFile> {
    let fail = |e: std::io::Error| cannot_write(path, &e);
    let mut file = NamedTempFile::new_in(path.parent().unwrap_or(path)).map_err(fail)?;
    file.write_all(bytes).map_err(fail)?;
    readable(file.as_file()).map_err(fail)?;
    Ok(file)
}

pub(super) fn cannot_write(path: &Path, e: &std::io::Error) -> Error {
    Error::io(path, "cannot be written", e)
}

/// What the result files say of one photo, ready to be appended: made beside the measuring, on every core.
#[derive(Debug)]
pub struct Rendered {
    csv: Vec<u8>,
    json: String,
}

impl Rendered {
    /// Of a measured photo.
    pub fn new(report: &PhotoReport) -> Self {
        let mut csv = csv_writer(Vec::new());
        let rows = csv_rows(&mut csv, report);
        // Writing to memory does not fail, and every row has its columns.
        debug_assert!(rows.is_ok());
        Self { csv: csv.into_inner().unwrap_or_default(), json: photo_json(report).to_string() }
    }
}

/// RFC 4180 ends every record with CRLF.
fn csv_writer<W: Write>(to: W) -> csv::Writer<W> {
    csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(to)
}

fn csv_rows(csv: &mut csv::Writer<Vec<u8>>, report: &PhotoReport) -> csv::Result<()> {
    let s = &report.sidecar;
    let number = |x: f64| format!("{x}");
    for value in &report.measured.values {
        let m = value.measurement;
        csv.write_record([
            report.name.as_str(),
            &s.subject.animal,
            s.subject.foot.name(),
            s.view.name(),
            s.stage.map_or("", |s| s.name()),
            report.taken().unwrap_or(""),
            s.observer.as_deref().unwrap_or(""),
            m.id,
            m.quantity.unit(),
            &number(value.value),
            &number(value.u),
            &number(value.k),
            &number(value.expanded()),
            &number(value.interval[0]),
            &number(value.interval[1]),
            value.method(),
            &report.measured.flags(value).join(";"),
        ])?;
    }
    Ok(())
}

/// The result files of a run, under temporary names until [`Writers::finish`].
pub struct Writers {
    folder: PathBuf,
    csv: BufWriter<NamedTempFile>,
    json: BufWriter<NamedTempFile>,
    /// What was refused comes behind the photos in the JSON, so it waits in a file of its own.
    refused: BufWriter<File>,
    photos: usize,
    refusals: usize,
}

impl Writers {
    /// Opens the result files in a folder, which is made where it does not exist. A wrong path fails here, before any work.
    ///
    /// # Errors
    /// Where the folder cannot be made or written to.
    pub fn create(folder: &Path, options: &MeasureOptions) -> Result<Self> {
        std::fs::create_dir_all(folder).map_err(|e| Error::io(folder, "the output folder cannot be made", &e))?;
        let fail = |e: std::io::Error| Error::io(folder, "the output folder cannot be written to", &e);
        let mut csv = BufWriter::new(NamedTempFile::new_in(folder).map_err(fail)?);
        csv_writer(&mut csv).write_record(CSV_COLUMNS).map_err(|e| fail(e.into()))?;
        let mut json = BufWriter::new(NamedTempFile::new_in(folder).map_err(fail)?);
        let head = serde_json::json!({ "name": env!("CARGO_PKG_NAME"), "version": env!("CARGO_PKG_VERSION") });
        write!(json, "{{\"format\":\"hoofgeo-results/1\",\n\"program\":{head},\n").map_err(fail)?;
        let mut words = serde_json::json!({ "draws": options.draws, "seed": options.seed });
        if let Some(table) = &options.placement {
            words["placement"] = serde_json::json!(**table);
        }
        let options = words;
        write!(json, "\"options\":{options},\n\"photos\":[").map_err(fail)?;
        let refused = BufWriter::new(tempfile::tempfile().map_err(fail)?);
        Ok(Self { folder: folder.to_path_buf(), csv, json, refused, photos: 0, refusals: 0 })
    }

    /// Adds a measured photo.
    ///
    /// # Errors
    /// Where a file cannot be written.
    pub fn photo(&mut self, photo: &Rendered) -> Result<()> {
        self.csv.write_all(&photo.csv).map_err(|e| self.fail(&e))?;
        let comma = if self.photos == 0 { "" } else { "," };
        write!(self.json, "{comma}\n{}", photo.json).map_err(|e| self.fail(&e))?;
        self.photos += 1;
        Ok(())
    }

    /// Adds a refusal; `photo` is the photo's path relative to the folder, where the refusal is one photo's.
    ///
    /// # Errors
    /// Where a file cannot be written.
    pub fn refusal(&mut self, photo: Option<&str>, error: &Error) -> Result<()> {
        let comma = if self.refusals == 0 { "" } else { "," };
        write!(self.refused, "{comma}\n{}", refusal_json(photo, error)).map_err(|e| self.fail(&e))?;
        self.refusals += 1;
        Ok(())
    }

    /// Gives the files their names. Before this nothing of them is to be seen; without it nothing stays.
    ///
    /// # Errors
    /// Where a file cannot be written.
    pub fn finish(mut self) -> Result<()> {
        self.close_json().map_err(|e| self.fail(&e))?;
        let Self { folder, csv, json, .. } = self;
        let csv = csv.into_inner().map_err(|e| Error::io(&folder, "cannot be written", &e.into_error()))?;
        let json = json.into_inner().map_err(|e| Error::io(&folder, "cannot be written", &e.into_error()))?;
        for (file, name) in [(csv, "measurements.csv"), (json, RESULTS_FILE)] {
            let path = folder.join(name);
            readable(file.as_file()).map_err(|e| Error::io(&path, "cannot be written", &e))?;
            file.persist(&path).map_err(|e| Error::io(&path, "cannot be written", &e.error))?;
        }
        Ok(())
    }

    fn close_json(&mut self) -> std::io::Result<()> {
        write!(self.json, "\n],\n\"refused\":[")?;
        self.refused.flush()?;
        let spool = self.refused.get_mut();
        spool.rewind()?;
        let mut chunk = vec![0; 1 << 16];
        loop {
            let n = spool.read(&mut chunk)?;
            if n == 0 {
                break;
            }
            self.json.write_all(&chunk[..n])?;
        }
        let summary = serde_json::json!({ "measured": self.photos, "refused": self.refusals });
        writeln!(self.json, "\n],\n\"summary\":{summary}}}")?;
        self.json.flush()
    }

    fn fail(&self, e: &std::io::Error) -> Error {
        Error::io(&self.folder, "the results cannot be written", e)
    }
}
