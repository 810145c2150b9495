//! Words about growth rings.

use clap::Args;
use hoofgeo::follow::GrowthRate;

/// When were rings made?
#[derive(Debug, Args)]
pub struct RingArgs {
    /// How fast this horse's horn grows, mm a month and ± at 95 %, such as "8.5 ± 1 mm": prints when the rings were made that stand out, or
    /// that --ring names
    #[arg(long, value_name = "RATE", value_parser = growth)]
    pub growth: Option<GrowthRate>,
    /// A ring to date: its number from the coronet down, such as 3, or how far below the coronet it lies, such as 24mm
    #[arg(long, value_name = "RING", value_parser = ring, requires = "growth")]
    pub ring: Vec<RingName>,
}

/// A growth ring, as a person names it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum RingName {
    /// By its number from the coronet down; the first is 1.
    Number(usize),
    /// By its distance below the coronet, mm.
    Below(f64),
}

fn growth(text: &str) -> Result<GrowthRate, String> {
    text.parse().map_err(|e: hoofgeo::Error| e.help_text().unwrap_or_else(|| e.what()).to_owned())
}

fn ring(text: &str) -> Result<RingName, String> {
    let wrong =
        || "name a ring by its number from the coronet down, such as 3, or by its distance, such as 24mm".to_owned();
    match text.trim().strip_suffix("mm") {
        Some(mm) => match mm.trim().parse::<f64>() {
            Ok(x) if (0.0..=200.0).contains(&x) => Ok(RingName::Below(x)),
            _ => Err(wrong()),
        },
        None => text.trim().parse().ok().filter(|n| (1..=12).contains(n)).map(RingName::Number).ok_or_else(wrong),
    }
}
