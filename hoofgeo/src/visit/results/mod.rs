//! What a run writes: tables, entries, the manifest, and the work folder that an unfinished run goes on from.
//!
//! A photo's *entry* is its line of `measurements.json`. Every table is made of entries, so that a photo measured by an earlier
//! run, whose entry is read back, gives the same rows as one measured now.

mod columns;
mod details;
mod dictionary;
mod free_text;
mod inputs;
mod join;
mod manifest;
mod methods;
#[cfg(feature = "parquet")]
mod parquet;
mod record;
mod rendered;
mod row_tables;
mod stored;
mod tables;
mod unfinished;
mod wide;
mod writers;

pub use columns::{CSV_COLUMNS, ColumnKind, wide_columns};
pub(crate) use columns::{OF_ITS_ROW, TableColumn};
use details::Details;
pub use details::{RecordedCovariance, RecordedCovariances, RecordedPoint};
pub use dictionary::{DictionaryEntry, dictionary, dictionary_csv, dictionary_json, dictionary_markdown};
pub use free_text::{free_text_cell, free_text_of_cell};
pub(super) use inputs::{Inputs, RunKey};
pub use join::join;
pub(super) use manifest::refusal_line;
pub use methods::methods;
pub use record::{PhotoRecord, RecordedValue};
pub(super) use rendered::Rendered;
pub(super) use stored::Stored;
pub(super) use unfinished::Unfinished;
pub(super) use writers::Writers;

use crate::error::{Error, ErrorKind, Result};
use crate::photo::Sha256Hex;
use std::fmt;
use std::path::PathBuf;
use std::str::FromStr;

/// The contract that a run's files keep: names and meaning of columns and keys. Results of another are measured again.
pub(super) const FORMAT: &str = "hoofgeo-measurements/2";

/// The file that holds everything of a run.
pub(super) const RESULTS_FILE: &str = "measurements.json";

/// The file that says what went into a run and what came out.
pub(super) const MANIFEST_FILE: &str = "manifest.jsonl";

/// The folder of a run's annotated pictures, beside its results.
pub(super) const PICTURES_FOLDER: &str = "pictures";

/// The hidden folder, within that of the results, of a run that has not ended.
const UNFINISHED_FOLDER: &str = ".hoofgeo-unfinished";

/// A file that a run can write.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[non_exhaustive]
pub enum ResultFile {
    /// `measurements.csv`: one row a value.
    Csv,
    /// `measurements-wide.csv`: one row a photo, value and standard uncertainty of each measurement that any of them has side by side.
    WideCsv,
    /// `measurements.json`: everything.
    Json,
    /// `measurements.jsonl`: the photos of `measurements.json`, each on a line of its own, those refused among them.
    JsonLines,
    /// `measurements-landmarks.csv`: landmarks and points of lines in the measured plane, mm, one row a point.
    LandmarksCsv,
    /// `measurements-covariance.csv`: covariances of each photo's values and of its landmarks' places, one row a pair.
    CovarianceCsv,
    /// `measurements-draws.csv`: joint draws of each photo's values, one row a value; as many as [`Outputs::draws`] says.
    DrawsCsv,
    /// `measurements.parquet`: one row a value, typed columns.
    #[cfg(feature = "parquet")]
    Parquet,
    /// `measurements-landmarks.parquet`.
    #[cfg(feature = "parquet")]
    LandmarksParquet,
    /// `measurements-covariance.parquet`.
    #[cfg(feature = "parquet")]
    CovarianceParquet,
    /// `measurements-draws.parquet`.
    #[cfg(feature = "parquet")]
    DrawsParquet,
}

impl ResultFile {
    /// Every file.
    pub const ALL: &[Self] = &[
        Self::Csv,
        Self::WideCsv,
        Self::Json,
        Self::JsonLines,
        Self::LandmarksCsv,
        Self::CovarianceCsv,
        Self::DrawsCsv,
        #[cfg(feature = "parquet")]
        Self::Parquet,
        #[cfg(feature = "parquet")]
        Self::LandmarksParquet,
        #[cfg(feature = "parquet")]
        Self::CovarianceParquet,
        #[cfg(feature = "parquet")]
        Self::DrawsParquet,
    ];

    /// Name without ending, and ending.
    const fn parts(self) -> (&'static str, &'static str) {
        match self {
            Self::Csv => ("measurements", "csv"),
            Self::WideCsv => ("measurements-wide", "csv"),
            Self::Json => ("measurements", "json"),
            Self::JsonLines => ("measurements", "jsonl"),
            Self::LandmarksCsv => ("measurements-landmarks", "csv"),
            Self::CovarianceCsv => ("measurements-covariance", "csv"),
            Self::DrawsCsv => ("measurements-draws", "csv"),
            #[cfg(feature = "parquet")]
            Self::Parquet => ("measurements", "parquet"),
            #[cfg(feature = "parquet")]
            Self::LandmarksParquet => ("measurements-landmarks", "parquet"),
            #[cfg(feature = "parquet")]
            Self::CovarianceParquet => ("measurements-covariance", "parquet"),
            #[cfg(feature = "parquet")]
            Self::DrawsParquet => ("measurements-draws", "parquet"),
        }
    }
}

/// One of several parts that a set of photos is measured in.
///
/// A photo's part follows from its path within the folder alone: neither other photos nor the order count, and parts are about equally
/// large. Each part's files carry its number; [`join`] makes of them what one run would have written.
///
/// # Example
/// ```
/// let part: hoofgeo::visit::Part = "3/16".parse()?;
/// assert_eq!(part.to_string(), "3/16");
/// # Ok::<(), hoofgeo::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Part {
    number: u32,
    of: u32,
}

/// The most parts there can be.
const MOST_PARTS: u32 = 100_000;

impl Part {
    /// Part `number`, counted from 1, of `of`.
    ///
    /// # Errors
    /// `Usage` where there is no such part.
    pub fn new(number: u32, of: u32) -> Result<Self> {
        if (1..=of).contains(&number) && of <= MOST_PARTS {
            return Ok(Self { number, of });
        }
        Err(Error::new(ErrorKind::Usage, format!("there is no part {number} of {of}"))
            .help("write 3/16 for the third of sixteen"))
    }

    /// Its number, counted from 1.
    pub const fn number(self) -> u32 {
        self.number
    }

    /// How many parts there are.
    pub const fn of(self) -> u32 {
        self.of
    }

    /// Whether the photo at this path within the folder belongs to it.
    pub fn holds(self, place: &str) -> bool {
        let hash = Sha256Hex::of(place.as_bytes());
        let first = hash.bytes().iter().take(8).fold(0u64, |n, byte| n << 8 | u64::from(*byte));
        first % u64::from(self.of) == u64::from(self.number - 1)
    }

    /// What its files' names have before their ending; they sort by number.
    fn label(self) -> String {
        let width = self.of.to_string().len();
        format!(".part-{:0width$}-of-{}", self.number, self.of)
    }
}

impl fmt::Display for Part {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.number, self.of)
    }
}

impl FromStr for Part {
    type Err = Error;

    fn from_str(text: &str) -> Result<Self> {
        let numbers = text.split_once('/').and_then(|(a, b)| Some((a.trim().parse().ok()?, b.trim().parse().ok()?)));
        let wrong =
            || Error::new(ErrorKind::Usage, format!("`{text}` is no part")).help("write 3/16 for the third of sixteen");
        numbers.ok_or_else(wrong).and_then(|(number, of)| Self::new(number, of))
    }
}

/// Where the results of a folder are written, and which.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub struct Outputs {
    /// The folder of the results.
    pub folder: PathBuf,
    /// The files to write beside the manifest.
    pub files: Vec<ResultFile>,
    /// The part of the photos that is measured; all without one.
    pub part: Option<Part>,
    /// Whether everything is measured again, also what an earlier run has measured and has not changed since.
    pub anew: bool,
    /// Joint draws of each photo's values that the entries hold, seeded by the measuring's seed and the photo's path; none by default.
    pub draws: usize,
    /// The draws' seed.
    pub seed: u64,
}

impl Outputs {
    /// `measurements.csv` and `measurements.json` of all photos.
    pub fn in_folder(folder: impl Into<PathBuf>) -> Self {
        let files = vec![ResultFile::Csv, ResultFile::Json];
        Self { folder: folder.into(), files, part: None, anew: false, draws: 0, seed: 0 }
    }

    /// With these files instead.
    #[must_use]
    pub fn with_files(mut self, files: impl IntoIterator<Item = ResultFile>) -> Self {
        self.files = files.into_iter().collect();
        self.files.sort_unstable();
        self.files.dedup();
        self
    }

    /// Of one part of the photos.
    #[must_use]
    pub fn with_part(mut self, part: Option<Part>) -> Self {
        self.part = part;
        self
    }

    /// With so many joint draws of each photo's values, for [`ResultFile::DrawsCsv`] and the JSON files: the same seed gives the same draws,
    /// whatever part a photo is measured in; draws of different photos are independent.
    #[must_use]
    pub fn with_draws(mut self, draws: usize, seed: u64) -> Self {
        (self.draws, self.seed) = (draws, seed);
        self
    }

    /// Whether everything is measured again.
    #[must_use]
    pub fn anew(mut self, anew: bool) -> Self {
        self.anew = anew;
        self
    }

    /// A file's name.
    pub fn name_of(&self, file: ResultFile) -> String {
        let (stem, ending) = file.parts();
        self.labelled(stem, ending)
    }

    /// The manifest's name.
    pub fn manifest_name(&self) -> String {
        let (stem, ending) = MANIFEST_FILE.split_once('.').unwrap_or_default();
        self.labelled(stem, ending)
    }

    fn labelled(&self, stem: &str, ending: &str) -> String {
        format!("{stem}{}.{ending}", self.part.map(Part::label).unwrap_or_default())
    }

    fn unfinished_folder(&self) -> PathBuf {
        self.folder.join(format!("{UNFINISHED_FOLDER}{}", self.part.map(Part::label).unwrap_or_default()))
    }

    fn writes(&self, file: ResultFile) -> bool {
        self.files.contains(&file)
    }

    /// Whether entries are written whole: tables alone do with a part of them.
    pub(super) fn whole_entries(&self) -> bool {
        self.writes(ResultFile::Json) || self.writes(ResultFile::JsonLines)
    }

    fn writes_draws(&self) -> bool {
        self.files.iter().any(|f| f.parts().0 == ResultFile::DrawsCsv.parts().0)
    }

    /// What entries hold beyond values: whole ones everything but draws, which are made where they are asked for.
    fn details(&self) -> Details {
        let whole = self.whole_entries();
        let wants = |stem: &str| self.files.iter().any(|f| f.parts().0 == stem);
        Details {
            points: whole || wants(ResultFile::LandmarksCsv.parts().0),
            covariances: whole || wants(ResultFile::CovarianceCsv.parts().0),
            draws: self.draws,
            seed: self.seed,
        }
    }
}

/// Reads lines as a journal and a manifest have them, and renders what they hold; how many could be used. For the fuzz harness.
pub(crate) fn read_back(text: &str) -> usize {
    let outputs = Outputs::in_folder("results");
    let use_of = |line: &str| {
        let head = manifest::parse::<manifest::Head>(line).is_ok();
        let photo = match line.split_once('\t') {
            // What the checksums of a journal would keep out is read here all the same.
            Some((line, entry)) => manifest::parse(line).ok().map(|line| Stored { line, entry: entry.to_owned() }),
            None => None,
        };
        let any = manifest::parse::<manifest::Line>(line).is_ok();
        usize::from(head)
            + usize::from(any)
            + photo.map_or(0, |p| usize::from(Rendered::again(p, &outputs).is_ok()) + 1)
    };
    unfinished::records(text) + text.lines().map(use_of).sum::<usize>()
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    #[test]
    fn every_photo_is_in_one_part_and_parts_are_alike() {
        let parts: Vec<Part> = (1..=16).map(|n| Part::new(n, 16).unwrap()).collect();
        let mut sizes = [0; 16];
        for i in 0..16_000 {
            let name = format!("herd {}/{i}.jpg", i / 100);
            let holding: Vec<_> = parts.iter().enumerate().filter(|(_, p)| p.holds(&name)).map(|(k, _)| k).collect();
            assert_eq!(holding.len(), 1);
            sizes[holding[0]] += 1;
        }
        // 1000 each with a standard deviation of 31.
        assert!(sizes.iter().all(|n| (850..1150).contains(n)), "{sizes:?}");
    }

    #[test]
    fn parts_are_named_so_that_they_sort() {
        let outputs = |part: &str| Outputs::in_folder("out").with_part(Some(part.parse().unwrap()));
        assert_eq!(outputs("3/16").name_of(ResultFile::WideCsv), "measurements-wide.part-03-of-16.csv");
        assert_eq!(outputs("3/4").manifest_name(), "manifest.part-3-of-4.jsonl");
        for bad in ["0/4", "5/4", "1/0", "x", "1/2/3", "-1/3"] {
            assert!(bad.parse::<Part>().is_err(), "{bad}");
        }
    }
}
