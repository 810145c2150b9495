//! The words of `hoofgeo lens`.

use clap::{Args, Subcommand, ValueEnum};
use hoofgeo::calibrate::{Chessboard, Paper};
use std::path::PathBuf;

/// What to do about a lens.
#[derive(Debug, Subcommand)]
pub enum LensCommand {
    /// Write a chessboard to print, in true size, as PDF or SVG
    Board(BoardArgs),
    /// Calibrate a camera from photos of a printed chessboard and write its lens profile
    Calibrate(CalibrateArgs),
    /// Write a lens profile from a calibration that OpenCV wrote as YAML, XML or JSON
    Import(ImportArgs),
    /// Look a photo's lens up in the public lens database of the Lensfun project
    Find(LensFindArgs),
    /// Tell from a photo's straight edges whether the camera has corrected it already
    Judge(LensJudgeArgs),
}

/// The board, by its inner corners.
#[derive(Debug, Clone, Copy, Args)]
pub struct BoardSize {
    /// Inner corners along and across: 9x6 is a board of 10 x 7 squares
    #[arg(long, value_name = "CxR", default_value = "9x6", value_parser = two_numbers)]
    pub squares: (u32, u32),
    /// Side of a square in mm, as measured on the print
    #[arg(long, value_name = "MM", default_value_t = 25.0)]
    pub square_mm: f64,
}

impl BoardSize {
    /// The library's board.
    pub fn board(self) -> Chessboard {
        Chessboard { columns: self.squares.0, rows: self.squares.1, square_mm: self.square_mm }
    }
}

/// Which camera, where the photos' headers do not say it or say it wrong.
#[derive(Debug, Clone, Args)]
pub struct CameraArgs {
    /// Maker of the camera, as the photos' EXIF names it
    #[arg(long)]
    pub make: Option<String>,
    /// Model of the camera, as the photos' EXIF names it
    #[arg(long)]
    pub model: Option<String>,
    /// Lens, as the photos' EXIF names it
    #[arg(long)]
    pub lens: Option<String>,
}

/// `lens board`
#[derive(Debug, Args)]
pub struct BoardArgs {
    /// Paper to print on
    #[arg(long, value_enum, default_value_t = PaperName::A4)]
    pub paper: PaperName,
    /// The board.
    #[command(flatten)]
    pub size: BoardSize,
    /// File to write, NAME.pdf or NAME.svg
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
}

/// A paper size.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum PaperName {
    /// 210 x 297 mm
    A4,
    /// 8.5 x 11 inches
    Letter,
}

impl From<PaperName> for Paper {
    fn from(name: PaperName) -> Self {
        match name {
            PaperName::A4 => Self::A4,
            PaperName::Letter => Self::Letter,
        }
    }
}

/// `lens calibrate`
#[derive(Debug, Args)]
#[command(
    after_help = "Photograph the board 10 to 20 times with the camera and zoom that the feet are photographed with: tilted 20 to 45 \
                  degrees to all four sides, some with the camera turned by a quarter, the board up to the frame's edges and \
                  corners, sharp and evenly lit, on something flat.\n\n\
                  Exit code: 0 all photos used, 1 some left out, 2 no calibration."
)]
pub struct CalibrateArgs {
    /// Photos of the board, four or more; ten to twenty are good
    #[arg(required = true)]
    pub photos: Vec<PathBuf>,
    /// The board.
    #[command(flatten)]
    pub size: BoardSize,
    /// Lens profile to write, NAME.lens.json
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// The camera.
    #[command(flatten)]
    pub camera: CameraArgs,
    /// Print nothing but what was left out
    #[arg(long, short)]
    pub quiet: bool,
}

/// `lens import`
#[derive(Debug, Args)]
pub struct ImportArgs {
    /// File that OpenCV wrote, .yml, .xml or .json
    pub file: PathBuf,
    /// Width and height of the photos it was calibrated with, where the file does not say
    #[arg(long, value_name = "WxH", value_parser = two_numbers)]
    pub frame: Option<(u32, u32)>,
    /// Take the second camera of a stereo pair
    #[arg(long)]
    pub second: bool,
    /// Lens profile to write, NAME.lens.json
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// The camera.
    #[command(flatten)]
    pub camera: CameraArgs,
}

/// `lens find`
#[derive(Debug, Args)]
#[command(
    after_help = "The database is a package of the system (Debian, Ubuntu: liblensfun-data-v1). It knows many cameras with \
                  exchangeable lenses and few phones.\n\n\
                  Exit code: 0 found, 1 no entry or more than one that could be meant, 2 could not run."
)]
pub struct LensFindArgs {
    /// A photo as the camera stored it
    pub photo: PathBuf,
    /// Folder of the database [default: where the system's package installs it]
    #[arg(long, value_name = "DIR")]
    pub database: Option<PathBuf>,
    /// The lens by its whole name in the database, where the photo's own name does not decide
    #[arg(long, value_name = "NAME")]
    pub lens: Option<String>,
    /// Write the entry as a lens profile, NAME.lens.json
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
}

/// `lens judge`
#[derive(Debug, Args)]
#[command(
    after_help = "Long straight edges near the margins tell most: a ruler, a door frame, floor tiles. Edges along the scale that a \
                  sidecar beside the photo marks are taken for the ruler's and decide.\n\n\
                  Exit code: 0 a verdict, 1 cannot tell, 2 could not run."
)]
pub struct LensJudgeArgs {
    /// A photo as the camera stored it
    pub photo: PathBuf,
}

/// `9x6`, `4032x3024`.
fn two_numbers(text: &str) -> Result<(u32, u32), String> {
    let halves = text.split_once(['x', 'X', '×']);
    let numbers = halves.and_then(|(a, b)| Some((a.trim().parse().ok()?, b.trim().parse().ok()?)));
    numbers.ok_or_else(|| "must be two whole numbers with an x between them, such as 9x6".to_owned())
}
