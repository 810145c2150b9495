//! Shapes: their mean and variation, landmarks from and to TPS files.

use super::VisitArgs;
use clap::{Args, Subcommand, ValueEnum};
use hoofgeo::shape::TpsName;
use hoofgeo::{Landmark, Line, View};
use std::path::PathBuf;

/// `shape`
#[derive(Debug, Subcommand)]
pub enum ShapeCommand {
    /// Mean shape of many feet and how they vary, by generalised Procrustes analysis
    Mean(ShapeMeanArgs),
    /// Write landmarks and lines, mm in the measured plane, as a TPS file for programs of geometric morphometrics
    Export(ShapeExportArgs),
    /// Make sidecars of a TPS file that a general digitising program has written
    Import(ShapeImportArgs),
}

/// From where the photos look.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum ViewName {
    /// From the side
    Lateral,
    /// From the sole
    Solar,
}

impl From<ViewName> for View {
    fn from(name: ViewName) -> Self {
        match name {
            ViewName::Lateral => Self::Lateral,
            ViewName::Solar => Self::Solar,
        }
    }
}

/// `shape mean`
#[derive(Debug, Args)]
#[command(after_help = "\
Writes shapes.json, shapes.csv (a row a photo: centroid size, distance from the mean, scores), mean-shape.csv (a row a landmark), \
mean-shape.tps and aligned.tps. The landmarks lie in the measured plane, lens and angle corrected.

Exit code: 0 all measured, 1 some photos refused or left out, 2 could not run.")]
pub struct ShapeMeanArgs {
    /// Folder of the photos; sub-folders are walked too
    pub folder: PathBuf,
    /// Photos from this side
    #[arg(long, value_enum, default_value_t = ViewName::Lateral)]
    pub view: ViewName,
    /// Landmarks that make the shape; photos that lack one are left out [default: those that every photo has]
    #[arg(long, value_name = "LIST", value_delimiter = ',', value_parser = landmark)]
    pub landmarks: Vec<Landmark>,
    /// Mirror no shape: left and right feet, and sides, stay apart
    #[arg(long)]
    pub no_mirror: bool,
    /// How photos are measured.
    #[command(flatten)]
    pub visit: VisitArgs,
    /// Folder for the results
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
    /// Print nothing but refusals
    #[arg(long, short)]
    pub quiet: bool,
}

/// `shape export`
#[derive(Debug, Args)]
#[command(after_help = "\
One specimen a photo, ID= its path. Missing landmarks are -1 -1; each specimen is shifted so that all others are positive. SCALE=1: the \
coordinates are millimetres. The order of landmarks and lines is printed.

Exit code: 0 all exported, 1 some photos refused or left out, 2 could not run.")]
pub struct ShapeExportArgs {
    /// Folder of the photos; sub-folders are walked too
    pub folder: PathBuf,
    /// Photos from this side
    #[arg(long, value_enum, default_value_t = ViewName::Lateral)]
    pub view: ViewName,
    /// Landmarks to write [default: those that any photo has]
    #[arg(long, value_name = "LIST", value_delimiter = ',', value_parser = landmark)]
    pub landmarks: Vec<Landmark>,
    /// Lines to write as curves, closed ones as outlines; photos that lack one are left out
    #[arg(long, value_name = "LIST", value_delimiter = ',', value_parser = line)]
    pub lines: Vec<Line>,
    /// The file to write
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// Print nothing but refusals
    #[arg(long, short)]
    pub quiet: bool,
}

/// `shape import`
#[derive(Debug, Args)]
#[command(after_help = "\
A sidecar is written beside each photo that IMAGE= names, never over one that exists. Coordinates are pixels of the upright photo, y from \
its lower edge; negative ones and NA are landmarks that are not there. SCALE= goes into the notes: one number knows no camera. Mark the \
ruler afterwards (`hoofgeo place`), or name the ruler's points among the landmarks: 0mm,100mm,toe_coronet,toe_ground.

Exit code: 0 all written, 1 some refused, 2 could not run.")]
pub struct ShapeImportArgs {
    /// The TPS file
    pub file: PathBuf,
    /// Folder of its photos
    pub photos: PathBuf,
    /// What its landmarks are, in their order: names, 50mm for a graduation of the ruler, - for one of no concern
    #[arg(long, value_name = "LIST", required = true, value_delimiter = ',', allow_hyphen_values = true, value_parser = tps_name)]
    pub landmarks: Vec<TpsName>,
    /// What its curves are, then its outlines, in their order
    #[arg(long, value_name = "LIST", value_delimiter = ',', value_parser = line)]
    pub lines: Vec<Line>,
    /// Where its photos look from
    #[arg(long, value_enum, default_value_t = ViewName::Lateral)]
    pub view: ViewName,
    /// Who placed them; written into each sidecar
    #[arg(long, value_name = "NAME")]
    pub observer: Option<String>,
    /// Print nothing but refusals
    #[arg(long, short)]
    pub quiet: bool,
}

fn landmark(text: &str) -> Result<Landmark, String> {
    let found = Landmark::ALL.iter().find(|l| l.name() == text);
    found.copied().ok_or_else(|| "is no landmark; `hoofgeo explain` lists them".to_owned())
}

fn line(text: &str) -> Result<Line, String> {
    let found = Line::ALL.iter().find(|l| l.name() == text);
    found.copied().ok_or_else(|| "is no line; `hoofgeo explain` lists them".to_owned())
}

fn tps_name(text: &str) -> Result<TpsName, String> {
    text.parse().map_err(|e: hoofgeo::Error| format!("{}; {}", e.what(), e.help_text().unwrap_or_default()))
}
