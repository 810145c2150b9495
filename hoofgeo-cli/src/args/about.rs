//! What the program says of itself: definitions, formats, a demonstration.

use clap::{Args, ValueEnum};
use std::path::PathBuf;

/// `explain`
#[derive(Debug, Args)]
pub struct ExplainArgs {
    /// A measurement, landmark or line, such as heel_angle; without it all are listed
    pub name: Option<String>,
}

/// `guide`
#[derive(Debug, Args)]
pub struct GuideArgs {
    /// File to write, such as landmarks.html; without it the page goes to standard output
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
}

/// `dictionary`
#[derive(Debug, Args)]
pub struct DictionaryArgs {
    /// Print it as
    #[arg(long = "as", value_name = "FORM", value_enum, default_value_t = DictionaryForm::Markdown)]
    pub form: DictionaryForm,
    /// Results that `--as methods` describes: a folder that `measure` or `join` wrote to
    #[arg(long, value_name = "DIR", required_if_eq("form", "methods"))]
    pub of: Option<PathBuf>,
}

/// How the data dictionary is printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum DictionaryForm {
    /// A table to read
    Markdown,
    /// A table for programs (RFC 4180)
    Csv,
    /// A list of objects
    Json,
    /// Not the dictionary but a paragraph for a paper: how the results of `--of` came about, as their manifest says
    Methods,
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
