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
    /// Follow a case over its visits: what has really changed, how fast, what a trim changed
    Follow(FollowArgs),
    /// Write a visit's report for the files and a shorter one for the owner, as pages that need no network
    Report(ReportArgs),
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

/// `follow`
#[derive(Debug, Args)]
#[command(after_help = "Photos are matched by animal, foot, view, side and stage; photos of one day are one visit.\n\
                        Exit code: 0 all measured, 1 some photos refused, 2 could not run.")]
pub struct FollowArgs {
    /// Folders of the visits, or one folder that holds them all
    #[arg(required = true, value_name = "FOLDER")]
    pub folders: Vec<PathBuf>,
    /// Folder for follow.csv and follow.json
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Only this animal
    #[arg(long, value_name = "NAME")]
    pub animal: Option<String>,
    /// Say when a measurement would cross a value, such as heel_angle=45; may be given several times
    #[arg(long, value_name = "ID=VALUE", value_parser = limit)]
    pub limit: Vec<(String, f64)>,
    /// The rulers of the visits are not one and the same
    #[arg(long)]
    pub rulers_differ: bool,
    /// Print nothing but refusals
    #[arg(long, short)]
    pub quiet: bool,
}

/// A measurement and a value.
fn limit(text: &str) -> Result<(String, f64), String> {
    let (id, value) = text.split_once('=').ok_or("must be a measurement and a value, such as heel_angle=45")?;
    let value: f64 = value.trim().parse().map_err(|_| format!("`{value}` is no number"))?;
    if !value.is_finite() {
        return Err("must be a finite number".to_owned());
    }
    Ok((id.trim().to_owned(), value))
}

/// `report`
#[derive(Debug, Args)]
#[command(after_help = "Exit code: 0 all measured, 1 some photos refused, 2 could not run.")]
pub struct ReportArgs {
    /// Folders of the visits, or one folder that holds them all
    #[arg(required_unless_present = "write_templates", value_name = "FOLDER")]
    pub folders: Vec<PathBuf>,
    /// Folder for the pages
    #[arg(long, value_name = "DIR", required_unless_present = "write_templates")]
    pub out: Option<PathBuf>,
    /// Only this animal
    #[arg(long, value_name = "NAME")]
    pub animal: Option<String>,
    /// A page for each visit, not for the last one alone
    #[arg(long)]
    pub every_visit: bool,
    /// Only the owner's sheet
    #[arg(long)]
    pub owner: bool,
    /// Folder with templates of your own in the place of those of the same name
    #[arg(long, value_name = "DIR")]
    pub templates: Option<PathBuf>,
    /// Write the templates into a folder, to start your own from, and do nothing else
    #[arg(long, value_name = "DIR")]
    pub write_templates: Option<PathBuf>,
    /// The rulers of the visits are not one and the same
    #[arg(long)]
    pub rulers_differ: bool,
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
    /// Write the case of a recovering foot instead: six visits of one horse in half a year
    #[arg(long)]
    pub case: bool,
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
