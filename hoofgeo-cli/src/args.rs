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
    /// Read the ruler of one photo from its pixels: every graduation, px/mm, how certain
    Ruler(RulerArgs),
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
    /// Do not read a straight ruler from the pixels where none or two of its graduations are marked
    #[arg(long)]
    pub no_ruler_reading: bool,
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

/// `ruler`
#[derive(Debug, Args)]
#[command(
    after_help = "Exit code: 0 read, 2 not read: nothing certain was found. Marks: --marks 0@812,2410 150@1944,2392"
)]
pub struct RulerArgs {
    /// The photo
    pub photo: PathBuf,
    /// Two graduations near which their lines lie, each its mm and its pixel in the upright photo
    #[arg(long, value_name = "MM@X,Y", num_args = 2, value_parser = mark)]
    pub marks: Vec<(f64, f64, f64)>,
    /// Picture of what was found (.png, .jpg), or its graduations for a sidecar's `scale` (.json)
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
}

fn mark(text: &str) -> Result<(f64, f64, f64), String> {
    let wrong = || "write a mark as its mm, @, and its pixel: 150@1944,2392".to_owned();
    let (mm, at) = text.split_once('@').ok_or_else(wrong)?;
    let (x, y) = at.split_once(',').ok_or_else(wrong)?;
    let number = |t: &str| t.trim().parse::<f64>().ok().filter(|v| v.is_finite()).ok_or_else(wrong);
    Ok((number(mm)?, number(x)?, number(y)?))
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
