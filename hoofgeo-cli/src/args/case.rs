//! A case: followed, reviewed, projected, reported.

use super::VisitArgs;
use clap::Args;
use std::path::PathBuf;

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
    /// How photos are measured.
    #[command(flatten)]
    pub visit: VisitArgs,
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
    /// How photos are measured.
    #[command(flatten)]
    pub visit: VisitArgs,
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
    /// How photos are measured.
    #[command(flatten)]
    pub visit: VisitArgs,
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
    /// How photos are measured.
    #[command(flatten)]
    pub visit: VisitArgs,
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
