//! Research: observers and the size of a study.

use super::VisitArgs;
use clap::Args;
use std::path::PathBuf;

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
    /// Folder for observers.json, landmarks.csv, agreement.csv, placement.json (anybody's spread), each observer's own NAME.placement.json, and plots/
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
    /// Also write values.csv: the values of each placement by each observer
    #[arg(long)]
    pub values: bool,
    /// Print nothing but refusals
    #[arg(long, short)]
    pub quiet: bool,
    /// How photos are measured.
    #[command(flatten)]
    pub visit: VisitArgs,
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
    /// How photos are measured.
    #[command(flatten)]
    pub visit: VisitArgs,
}
