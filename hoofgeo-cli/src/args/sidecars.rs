//! Sidecars: written with empty slots, filled in on a page.

use clap::Args;
use std::path::PathBuf;

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
