//! Words about growth rings.

use clap::Args;
use hoofgeo::follow::GrowthRate;
use hoofgeo::visit::RingName;
use std::str::FromStr;

/// When were rings made?
#[derive(Debug, Args)]
pub struct RingArgs {
    /// How fast this horse's horn grows, mm a month and ± at 95 %, such as "8.5 ± 1 mm": prints when the rings were made that stand out, or
    /// that --ring names
    #[arg(long, value_name = "RATE", value_parser = parsed::<GrowthRate>)]
    pub growth: Option<GrowthRate>,
    /// A ring to date: its number from the coronet down, such as 3, or how far below the coronet it lies, such as 24mm
    #[arg(long, value_name = "RING", value_parser = parsed::<RingName>, requires = "growth")]
    pub ring: Vec<RingName>,
}

/// What is read from words, or how to write it.
fn parsed<T: FromStr<Err = hoofgeo::Error>>(text: &str) -> Result<T, String> {
    text.parse().map_err(|e: hoofgeo::Error| e.help_text().unwrap_or_else(|| e.what()).to_owned())
}
