//! The command line's words, one file a theme. Parsing does no I/O.

mod about;
mod case;
mod groups;
mod lens;
mod measure;
mod pixels;
mod research;
mod rings;
mod shape;
mod sidecars;
mod visit;

pub use about::{DemoArgs, DictionaryArgs, DictionaryForm, ExplainArgs, Format, GuideArgs, SchemaArgs};
pub use case::{FollowArgs, ProjectArgs, ReportArgs, ReviewArgs};
use clap::{Parser, Subcommand};
pub use groups::{command, place_by_default};
pub use lens::{
    BoardArgs, BoardSize, CalibrateArgs, CameraArgs, ImportArgs, LensCommand, LensFindArgs, LensJudgeArgs, PaperName,
};
pub use measure::{CheckArgs, JoinArgs, MeasureArgs, ResultFormat};
pub use pixels::{ReadArgs, RectifyArgs, RulerArgs};
pub use research::{ObserversArgs, PlanArgs};
pub use rings::RingArgs;
pub use shape::{ShapeCommand, ShapeExportArgs, ShapeImportArgs, ShapeMeanArgs, ViewName};
pub use sidecars::{PlaceArgs, StartArgs};
pub use visit::{LensDatabaseArgs, VisitArgs};

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
    /// Make one of the results of all parts of a large set, as a single run would have written them
    Join(JoinArgs),
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
    /// Sort a visit's photos, place landmarks and make the report, on a page in this machine's browser
    Place(PlaceArgs),
    /// Compare observers and repeated placements: repeatability, agreement, variance components
    Observers(ObserversArgs),
    /// Plan a study: animals needed to find a difference, and what better photos would gain
    Plan(PlanArgs),
    /// Read horn tubules, growth rings, dorsal wall, ground line and outlines from the pixels into a new folder of sidecars to measure
    Read(ReadArgs),
    /// Explain a measurement, landmark or line: definition, needs, source, published values
    Explain(ExplainArgs),
    /// Write the guide to the landmarks, to print or for the phone: where each lies, what is taken for it, how well people agree
    Guide(GuideArgs),
    /// Print the data dictionary of the tables: columns, units, definitions, sources
    Dictionary(DictionaryArgs),
    /// Hold a visit's values against stated limits: run under or low, toe, base, symmetry
    Review(ReviewArgs),
    /// Project a trim or weeks of growth from a measured foot: geometry, not a cutting instruction
    Project(ProjectArgs),
    /// Shapes of many feet: mean and variation, landmarks to and from TPS files
    #[command(subcommand)]
    Shape(ShapeCommand),
    /// Print the JSON Schema of a file format
    Schema(SchemaArgs),
    /// Know the lens: calibrate a camera from photos of a printed board
    #[command(subcommand)]
    Lens(LensCommand),
    /// Write a visit of two invented horses, rendered photos with known truth, and measure it
    Demo(DemoArgs),
}
