//! The command line's words. Parsing does no I/O.

use clap::{Args, Parser, Subcommand, ValueEnum};
use std::path::PathBuf;

/// Measures horse hooves from photographs: millimetres and degrees, corrected for lens and camera angle, each with its
/// uncertainty.
///
/// A photo shows neither the bone nor the cause: a number is no diagnosis. Lame, laminitic or growing animals and corrective
/// trims belong to a vet and a qualified farrier; local law comes first.
#[derive(Debug, Parser)]
#[command(name = "hoofgeo", version, propagate_version = true, max_term_width = 100)]
pub struct Arguments {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Measure a folder of photos with sidecars
    Measure(MeasureArgs),
    /// Say what would be refused and what is still missing, without measuring
    Check(CheckArgs),
    /// Write a sidecar with empty slots beside each photo that has none
    Start(StartArgs),
    /// Read horn tubules and the dorsal wall from the photos' pixels into a new folder of sidecars to measure
    Read(ReadArgs),
    /// Explain a measurement, landmark or line: definition, needs, source, published values
    Explain(ExplainArgs),
    /// Print the JSON Schema of a file format
    Schema(SchemaArgs),
    /// Write a visit of two invented horses, rendered photos with known truth, and measure it
    Demo(DemoArgs),
}

/// `measure`
#[derive(Debug, Args)]
#[command(after_help = "Exit code: 0 all measured, 1 some photos refused, 2 could not run.")]
pub struct MeasureArgs {
    /// Folder of the photos; sub-folders are walked too
    pub folder: PathBuf,
    /// Folder for measurements.csv, measurements.json and pictures/
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
    /// Also draw so many random scenes per photo and check the linear uncertainties against them
    #[arg(long, value_name = "N", default_value_t = 0, value_parser = draws)]
    pub draws: usize,
    /// Seed of the draws; the same seed gives the same results on any number of threads
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    /// Draw no annotated pictures; the photos' pixels stay unread
    #[arg(long)]
    pub no_pictures: bool,
    /// Threads to use [default: one per core]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Print nothing but refusals
    #[arg(long, short)]
    pub quiet: bool,
}

/// Fewer draws tell nothing of a 95 % interval's ends; more fill the memory and change no printed digit.
fn draws(text: &str) -> Result<usize, String> {
    match text.parse() {
        Ok(n) if n == 0 || (1000..=1_000_000).contains(&n) => Ok(n),
        _ => Err("must be 1000 to 1000000, or 0 for none".to_owned()),
    }
}

/// `check`
#[derive(Debug, Args)]
#[command(after_help = "Exit code: 0 all would be measured, 1 some would be refused, 2 could not run.")]
pub struct CheckArgs {
    /// Folder of the photos; sub-folders are walked too
    pub folder: PathBuf,
    /// Print nothing but refusals
    #[arg(long, short)]
    pub quiet: bool,
}

/// `start`
#[derive(Debug, Args)]
#[command(after_help = "Hints are taken from file names: LF RF LH RH, lateral or solar, medial, before or after.")]
pub struct StartArgs {
    /// Folder of the photos; sub-folders are walked too
    pub folder: PathBuf,
    /// Print nothing but refusals
    #[arg(long, short)]
    pub quiet: bool,
}

/// `read`
#[derive(Debug, Args)]
#[command(after_help = "Exit code: 0 all read, 1 some photos refused, 2 could not run.")]
pub struct ReadArgs {
    /// Folder of the photos with their sidecars; nothing in it is changed
    pub folder: PathBuf,
    /// New folder for copies of the photos and the new sidecars; measure that one
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
    /// Also replace lines that somebody drew
    #[arg(long)]
    pub replace: bool,
    /// Print nothing but refusals
    #[arg(long, short)]
    pub quiet: bool,
}

/// `explain`
#[derive(Debug, Args)]
pub struct ExplainArgs {
    /// A measurement, landmark or line, such as heel_angle; without it all are listed
    pub name: Option<String>,
}

/// `schema`
#[derive(Debug, Args)]
pub struct SchemaArgs {
    /// Which format
    #[arg(value_enum, default_value_t = Format::Sidecar)]
    pub format: Format,
}

/// `demo`
#[derive(Debug, Args)]
pub struct DemoArgs {
    /// A new folder
    pub folder: PathBuf,
    /// Longer side of the photos in pixels; smaller ones are made faster
    #[arg(long, value_name = "PX", default_value_t = 1600, value_parser = clap::value_parser!(u32).range(300..=8064))]
    pub width: u32,
    /// Print nothing but refusals
    #[arg(long, short)]
    pub quiet: bool,
}

/// A file format.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// A photo's sidecar, NAME.hoof.json
    Sidecar,
    /// What a visit's sidecars share, visit.hoof.json
    Visit,
    /// A lens profile, NAME.lens.json
    Lens,
}
