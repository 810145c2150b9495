//! How photos are measured: the same words for every command that measures.

use clap::Args;
use hoofgeo::Result;
use hoofgeo::visit::{LensDatabase, PlacementChoice, RulerReading, VisitOptions};
use std::path::PathBuf;

/// Which lens, whose spread of placing, and whether the ruler is read.
#[derive(Debug, Clone, Args)]
#[command(next_help_heading = "How photos are measured")]
pub struct VisitArgs {
    /// How well landmarks are placed, by a table of `hoofgeo observers`, or `none` for the declared spread. A landmark whose sidecar
    /// states u_px or u_mm keeps what it states [default: NAME.placement.json of the sidecar's observer, from the photo's folder upward,
    /// then in your configuration folder; else one without a name]
    #[arg(long, value_name = "FILE|none")]
    pub placement: Option<PathBuf>,
    /// Use a lens profile also where the photo's header names another camera, lens or zoom; the results say so
    #[arg(long)]
    pub force_lens: bool,
    /// The lens database.
    #[command(flatten)]
    pub lens_database: LensDatabaseArgs,
    /// Do not read a straight ruler from the pixels: neither where two of its graduations are marked, nor where none is and the sidecar
    /// or the numbers printed on it say that it is metric
    #[arg(long)]
    pub no_ruler_reading: bool,
}

impl VisitArgs {
    /// The library's options.
    ///
    /// # Errors
    /// Where the table of placements cannot be read.
    pub fn options(&self) -> Result<VisitOptions> {
        let placement = match &self.placement {
            None => PlacementChoice::search(),
            Some(none) if none.as_os_str() == "none" => PlacementChoice::None,
            Some(path) => PlacementChoice::file(path)?,
        };
        let read_ruler = if self.no_ruler_reading { RulerReading::Never } else { RulerReading::AsStated };
        let (force_lens, lens_database) = (self.force_lens, self.lens_database.choice());
        Ok(VisitOptions { placement, force_lens, lens_database, read_ruler, ..VisitOptions::usual() })
    }
}

/// Which lens database is asked.
#[derive(Debug, Clone, Args)]
pub struct LensDatabaseArgs {
    /// Folder of the lens database [default: where the system's package installs it]
    #[arg(long, value_name = "DIR")]
    pub lens_database: Option<PathBuf>,
    /// Use no lens database: single-lens reflex photos that the camera was set to correct are measured so
    #[arg(long, conflicts_with = "lens_database")]
    pub no_lens_database: bool,
}

impl LensDatabaseArgs {
    /// The library's choice.
    pub fn choice(&self) -> LensDatabase {
        match &self.lens_database {
            Some(folder) => LensDatabase::Folder(folder.clone()),
            None if self.no_lens_database => LensDatabase::None,
            None => LensDatabase::System,
        }
    }
}
