//! Measuring a folder, and checking what would be refused.

use super::VisitArgs;
use clap::{Args, ValueEnum};
use hoofgeo::visit::{Part, ResultFile};
use std::path::PathBuf;

/// `measure`
#[derive(Debug, Args)]
#[command(after_help = "\
A run that was stopped goes on where it was when the same command is given again; after a finished one only photos that have changed are \
measured again. Content decides (SHA-256 of photo, sidecar, visit file, lens profiles), with the options and the program.

Exit code: 0 all measured, 1 some photos refused, 2 could not run.")]
pub struct MeasureArgs {
    /// Folder of the photos; sub-folders are walked too
    pub folder: PathBuf,
    /// Folder for measurements.csv, measurements.json, manifest.jsonl and pictures/
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
    /// Files to write: tables with a row for each value (csv), photo (wide), landmark and line's point in mm (landmarks), pair of values or
    /// of landmarks (covariance), value in each of --draws (draws); everything (json, jsonl)
    #[arg(long, value_name = "LIST", value_enum, value_delimiter = ',', default_values_t = [ResultFormat::Csv, ResultFormat::Json])]
    pub write: Vec<ResultFormat>,
    /// Measure one of several parts, such as 3/16: the same photos on every machine. `hoofgeo join` makes one of all parts
    #[arg(long, value_name = "N/ALL", value_parser = part)]
    pub part: Option<Part>,
    /// Measure everything again, also photos that have not changed since the last run
    #[arg(long)]
    pub anew: bool,
    /// Also draw so many random scenes per photo, 1000 or more, and check the linear uncertainties against them. With `--write draws`, 1 to
    /// 10000: all values of each are written, for multiple imputation
    #[arg(long, value_name = "N", default_value_t = 0, value_parser = draws)]
    pub draws: usize,
    /// Seed of the draws; the same seed gives the same results on any number of threads
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    /// Draw no annotated pictures; pixels are read only where a ruler is
    #[arg(long)]
    pub no_pictures: bool,
    /// Threads to use [default: one per core]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Print nothing but refusals
    #[arg(long, short)]
    pub quiet: bool,
    /// How photos are measured.
    #[command(flatten)]
    pub visit: VisitArgs,
}

/// A file of results.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum ResultFormat {
    /// measurements.csv: a row for each value
    Csv,
    /// measurements-wide.csv: a row for each photo
    Wide,
    /// measurements.json: everything
    Json,
    /// measurements.jsonl: everything, a line for each photo
    Jsonl,
    /// measurements-landmarks.csv: landmarks and lines in the measured plane, mm, with their uncertainty
    Landmarks,
    /// measurements-covariance.csv: how the values of a photo err together, and its landmarks
    Covariance,
    /// measurements-draws.csv: values of --draws random scenes
    Draws,
    /// measurements.parquet: as csv, typed columns; landmarks, covariance and draws, where named too, likewise
    #[cfg(feature = "parquet")]
    Parquet,
}

impl ResultFormat {
    /// The library's files.
    pub fn files(formats: &[Self]) -> Vec<ResultFile> {
        let files = formats.iter().map(|f| f.file());
        #[cfg(feature = "parquet")]
        let files = files.chain(formats.iter().filter(|_| formats.contains(&Self::Parquet)).filter_map(|f| match f {
            Self::Landmarks => Some(ResultFile::LandmarksParquet),
            Self::Covariance => Some(ResultFile::CovarianceParquet),
            Self::Draws => Some(ResultFile::DrawsParquet),
            _ => None,
        }));
        files.collect()
    }

    const fn file(self) -> ResultFile {
        match self {
            Self::Csv => ResultFile::Csv,
            Self::Wide => ResultFile::WideCsv,
            Self::Json => ResultFile::Json,
            Self::Jsonl => ResultFile::JsonLines,
            Self::Landmarks => ResultFile::LandmarksCsv,
            Self::Covariance => ResultFile::CovarianceCsv,
            Self::Draws => ResultFile::DrawsCsv,
            #[cfg(feature = "parquet")]
            Self::Parquet => ResultFile::Parquet,
        }
    }
}

fn part(text: &str) -> Result<Part, String> {
    text.parse().map_err(|e: hoofgeo::Error| format!("{}; {}", e.what(), e.help_text().unwrap_or_default()))
}

/// `join`
#[derive(Debug, Args)]
#[command(after_help = "\
The parts need measurements.json or measurements.jsonl. The files are those that one run over all photos would have written, byte for \
byte; annotated pictures stay where they are.

Exit code: 0 all measured, 1 some photos refused, 2 could not join.")]
pub struct JoinArgs {
    /// Folders that `hoofgeo measure --part` wrote to; several parts may have written to one
    #[arg(required = true, value_name = "FOLDER")]
    pub folders: Vec<PathBuf>,
    /// Folder for the joined files
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
    /// Files to write, as for `measure`
    #[arg(long, value_name = "LIST", value_enum, value_delimiter = ',', default_values_t = [ResultFormat::Csv, ResultFormat::Json])]
    pub write: Vec<ResultFormat>,
    /// Print nothing
    #[arg(long, short)]
    pub quiet: bool,
}

/// More fill the memory and change no printed digit.
fn draws(text: &str) -> Result<usize, String> {
    match text.parse() {
        Ok(n) if n <= 1_000_000 => Ok(n),
        _ => Err("must be 1000 to 1000000, 1 to 10000 with --write draws, or 0 for none".to_owned()),
    }
}

impl MeasureArgs {
    /// Draws to check the linear uncertainties with, and draws to write.
    pub fn drawn(&self) -> hoofgeo::Result<[usize; 2]> {
        let wrong = |what: &str, help: &str| Err(hoofgeo::Error::new(hoofgeo::ErrorKind::Usage, what).help(help));
        // Fewer draws tell nothing of a 95 % interval's ends.
        let check = if self.draws >= 1000 { self.draws } else { 0 };
        match (self.write.contains(&ResultFormat::Draws), self.draws) {
            (true, 0) => wrong("--write draws needs to know how many", "add --draws 20"),
            (true, 10_001..) => {
                wrong("more than 10000 draws of each photo are not written", "say --draws 10000 or fewer")
            }
            (true, n) => Ok([check, n]),
            (false, 1..1000) => {
                wrong("--draws must be 1000 or more", "fewer are only good to be written: add --write draws")
            }
            (false, _) => Ok([check, 0]),
        }
    }
}

/// `check`
#[derive(Debug, Args)]
#[command(
    after_help = "Photos without a sidecar stand last, a line each: `again` take it again, `copy` get the original file, `double` the same photo \
twice, `good`. Files of a phone that are no photos to measure are named as `aside`; nothing is ever changed or deleted.

Exit code: 0 all would be measured, 1 some would be refused or have no sidecar, 2 could not run."
)]
pub struct CheckArgs {
    /// Folder of the photos; sub-folders are walked too
    pub folder: PathBuf,
    /// Say nothing of blur and light: pixels are read only where a ruler is
    #[arg(long)]
    pub no_pixels: bool,
    /// Go on as photos arrive, a line each, until Ctrl-C
    #[arg(long, conflicts_with = "quiet")]
    pub watch: bool,
    /// Print nothing but refusals
    #[arg(long, short)]
    pub quiet: bool,
    /// How photos are measured.
    #[command(flatten)]
    pub visit: VisitArgs,
}
