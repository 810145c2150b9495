//! The command line's words. Parsing does no I/O.

mod lens;
mod rings;

use clap::{Args, Parser, Subcommand, ValueEnum};
pub use lens::{
    BoardArgs, BoardSize, CalibrateArgs, CameraArgs, ImportArgs, LensCommand, LensDatabaseArgs, LensFindArgs,
    LensJudgeArgs, PaperName,
};
pub use rings::{RingArgs, RingName};
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
    /// Say what would be refused, what is still missing and which photos to take again, without measuring
    Check(CheckArgs),
    /// Resample photos to the measured plane: lens and angle removed, exact px/mm, for measuring with any tool
    Rectify(RectifyArgs),
    /// Write a sidecar with empty slots beside each photo that has none
    Start(StartArgs),
    /// Read the ruler of one photo from its pixels: every graduation, px/mm, how certain
    Ruler(RulerArgs),
    /// Follow a case over its visits: what has really changed, how fast, what a trim changed
    Follow(FollowArgs),
    /// Write a visit's report for the files and a shorter one for the owner, as pages that need no network
    Report(ReportArgs),
    /// Place landmarks on photos, on a page in this machine's browser
    Place(PlaceArgs),
    /// Compare observers and repeated placements: repeatability, agreement, variance components
    Observers(ObserversArgs),
    /// Plan a study: animals needed to find a difference, and what better photos would gain
    Plan(PlanArgs),
    /// Read horn tubules, growth rings and the dorsal wall from the photos' pixels into a new folder of sidecars to measure
    Read(ReadArgs),
    /// Explain a measurement, landmark or line: definition, needs, source, published values
    Explain(ExplainArgs),
    /// Hold a visit's values against stated limits: run under or low, toe, base, symmetry
    Review(ReviewArgs),
    /// Project a trim or weeks of growth from a measured foot: geometry, not a cutting instruction
    Project(ProjectArgs),
    /// Print the JSON Schema of a file format
    Schema(SchemaArgs),
    /// Know the lens: calibrate a camera from photos of a printed board
    #[command(subcommand)]
    Lens(LensCommand),
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
    /// Placement uncertainties from `hoofgeo observers`, in place of the landmarks' own
    #[arg(long, value_name = "FILE")]
    pub placement: Option<PathBuf>,
    /// Seed of the draws; the same seed gives the same results on any number of threads
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    /// Use a lens profile also where the photo's header names another camera, lens or zoom; the results say so
    #[arg(long)]
    pub force_lens: bool,
    /// The lens database.
    #[command(flatten)]
    pub lens_database: LensDatabaseArgs,
    /// Draw no annotated pictures; the photos' pixels stay unread
    #[arg(long)]
    pub no_pictures: bool,
    /// Do not read a straight ruler from the pixels where two of its graduations are marked
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
    /// Leave the photos' pixels unread: say nothing of blur and light
    #[arg(long)]
    pub no_pixels: bool,
    /// The lens database.
    #[command(flatten)]
    pub lens_database: LensDatabaseArgs,
    /// Print nothing but refusals
    #[arg(long, short)]
    pub quiet: bool,
}

/// `rectify`
#[derive(Debug, Args)]
#[command(after_help = "\
Each photo with a sidecar gives three files in DIR: the picture, whose resolution tag (dots per cm) is exact; its sidecar, with scale, \
landmarks and lines at their new places; and its lens profile, with what is not known of the lens. `hoofgeo measure DIR` gives the \
photos' values again. Lengths are true in the measured plane alone: what lies before it is shown too large.

The ground is horizontal in a side view, the frog's axis vertical with the toe on top in a view of the sole. Nothing is mirrored.

Exit code: 0 all written, 1 some photos refused, 2 could not run.")]
pub struct RectifyArgs {
    /// Folder of the photos with sidecars; sub-folders are walked too
    pub folder: PathBuf,
    /// Folder for the pictures, outside of FOLDER
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
    /// Pixels per mm, a multiple of 0.1 [default: the finest of 0.5 1 2 4 5 8 10 16 20 25 40 50 that is not finer than the photo]
    #[arg(long, value_name = "N")]
    pub px_per_mm: Option<f64>,
    /// Bicubic instead of bilinear: sharper, slower
    #[arg(long)]
    pub cubic: bool,
    /// The lens database.
    #[command(flatten)]
    pub lens_database: LensDatabaseArgs,
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

/// `place`
#[derive(Debug, Args)]
#[command(after_help = "The page is served to this machine alone. Sidecars are saved as you go; Ctrl-C ends.")]
pub struct PlaceArgs {
    /// Folder of the photos; sub-folders are walked too
    pub folder: PathBuf,
    /// Port to listen on [default: one that belongs to the folder, or a free one]
    #[arg(long, value_name = "N")]
    pub port: Option<u16>,
    /// Who places; written into each sidecar
    #[arg(long, value_name = "NAME")]
    pub observer: Option<String>,
    /// Place landmarks once more, the earlier placements unseen; each sidecar keeps all placements
    #[arg(long)]
    pub repeat: bool,
    /// Folder for this observer's own sidecars, with links to the photos; those in FOLDER stay as they are and unseen
    #[arg(long, value_name = "DIR", requires = "observer")]
    pub out: Option<PathBuf>,
    /// Folder for the results of a finished visit [default: results in the folder]
    #[arg(long, value_name = "DIR")]
    pub results: Option<PathBuf>,
    /// Do not ask the desktop to open the browser
    #[arg(long)]
    pub no_open: bool,
}

/// `observers`
#[derive(Debug, Args)]
#[command(
    after_help = "Photos are matched by content, so each observer may have a folder of copies. A sidecar's `observer` names \
                        its observer, else the folder does. Exit code: 0 all compared, 1 some refused, 2 could not run."
)]
pub struct ObserversArgs {
    /// Folders of photos with sidecars, of one or several observers
    #[arg(required = true)]
    pub folders: Vec<PathBuf>,
    /// Folder for observers.json, landmarks.csv, agreement.csv, placement.json and plots/
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
    /// Print nothing but refusals
    #[arg(long, short)]
    pub quiet: bool,
}

/// `plan`
#[derive(Debug, Args)]
pub struct PlanArgs {
    /// Folder of photos as they will be taken, with sidecars: their uncertainties are the study's
    pub folder: PathBuf,
    /// The measurement, such as heel_angle
    #[arg(long, value_name = "ID")]
    pub measurement: String,
    /// The difference to find, in the measurement's unit
    #[arg(long, value_name = "SIZE")]
    pub difference: f64,
    /// Probability of finding it
    #[arg(long, value_name = "P", default_value_t = 0.8)]
    pub power: f64,
    /// Compare two groups of animals; without it each animal is compared with itself
    #[arg(long)]
    pub groups: bool,
    /// Standard deviation between animals (of their true changes where each is compared with itself)
    #[arg(long, value_name = "SD", default_value_t = 0.0, required_if_eq("groups", "true"))]
    pub animals_sd: f64,
    /// Photos of each foot each time
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=1000))]
    pub photos: u32,
    /// Placements of the landmarks on each photo
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=1000))]
    pub placements: u32,
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
    /// Trace drawn outlines (outer_wall, white_line, frog): four clicks or more become points on the edge that they run along; the clicks
    /// are kept in PHOTO.clicks.json
    #[arg(long)]
    pub trace: bool,
    /// Which rings to date.
    #[command(flatten)]
    pub rings: RingArgs,
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

/// `review`
#[derive(Debug, Args)]
#[command(
    after_help = "Exit code: 0 all reviewed, 1 some photos refused, 2 could not run.\nTo change limits: hoofgeo review --write-rules my.json, edit, hoofgeo review FOLDER --rules my.json"
)]
pub struct ReviewArgs {
    /// Folder of the photos; sub-folders are walked too
    #[arg(required_unless_present = "write_rules")]
    pub folder: Option<PathBuf>,
    /// Rules to hold the values against [default: those of the program]
    #[arg(long, value_name = "FILE")]
    pub rules: Option<PathBuf>,
    /// Folder for review.json
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Write the program's rules to a new file, to be changed, and do nothing else
    #[arg(long, value_name = "FILE", conflicts_with_all = ["folder", "rules", "out"])]
    pub write_rules: Option<PathBuf>,
    /// Print nothing but refusals
    #[arg(long, short)]
    pub quiet: bool,
}

/// `project`
#[derive(Debug, Args)]
#[command(after_help = "Exit code: 0 all projected, 1 some photos refused, 2 could not run.")]
#[command(group = clap::ArgGroup::new("what").required(true).multiple(true).args(["heels_to_sole_plane", "lower_heels", "toe", "lower_toe", "weeks"]))]
pub struct ProjectArgs {
    /// Folder of the photos, or one sidecar (NAME.hoof.json)
    pub path: PathBuf,
    /// Lower the heels to the hard sole plane, as far as the gauge or landmark says
    #[arg(long, conflicts_with = "lower_heels")]
    pub heels_to_sole_plane: bool,
    /// Lower the heels by so much, square to the ground
    #[arg(long, value_name = "MM", value_parser = millimetres)]
    pub lower_heels: Option<f64>,
    /// Dress the toe back by so much along the ground
    #[arg(long, value_name = "MM", value_parser = millimetres)]
    pub toe: Option<f64>,
    /// Lower the toe from below by so much, square to the ground
    #[arg(long, value_name = "MM", value_parser = millimetres)]
    pub lower_toe: Option<f64>,
    /// Let the foot grow for so many weeks, after the trim if one is given
    #[arg(long, value_name = "N", value_parser = weeks)]
    pub weeks: Option<f64>,
    /// Growth of the toe along its wall, net of wear, mm a month [default: 7.6]
    #[arg(long, value_name = "MM", requires = "weeks", value_parser = millimetres)]
    pub growth: Option<f64>,
    /// Growth of the heel along its wall, net of wear, mm a month [default: as the toe]
    #[arg(long, value_name = "MM", requires = "weeks", value_parser = millimetres)]
    pub heel_growth: Option<f64>,
    /// Folder for projection.json and pictures/
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Draw no pictures
    #[arg(long)]
    pub no_pictures: bool,
    /// Print nothing but refusals
    #[arg(long, short)]
    pub quiet: bool,
}

/// More than this is no trim.
fn millimetres(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(x) if (0.0..=50.0).contains(&x) => Ok(x),
        _ => Err("must be 0 to 50 mm".to_owned()),
    }
}

/// The hoof is renewed within a year or so.
fn weeks(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(x) if (0.0..=52.0).contains(&x) => Ok(x),
        _ => Err("must be 0 to 52 weeks".to_owned()),
    }
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
    /// Rules that values are held against, for `review --rules`
    Rules,
    /// What `review --out` writes, review.json
    Review,
    /// What `project --out` writes, projection.json
    Projection,
}
