//! What reads or resamples the photos' pixels.

use super::{RingArgs, VisitArgs};
use clap::Args;
use std::path::PathBuf;

/// `rectify`
#[derive(Debug, Args)]
#[command(after_help = "\
Each photo with a sidecar gives three files in DIR: the picture, whose resolution tag (dots per cm) is exact; its sidecar, with scale, \
landmarks and lines at their new places; and its lens profile, with what is not known of the lens. `hoofgeo measure DIR` gives the \
photos' values again. Lengths are true in the measured plane alone: what lies before it is shown too large.

The ground is horizontal in a side view, the frog's axis vertical with the toe on top in a view of the sole. Nothing is mirrored.

Exit code: 0 all written, 1 some photos refused, 2 could not run.")]
pub struct RectifyArgs {
    /// Folder of the photos with sidecars; sub-folders are walked too
    pub folder: PathBuf,
    /// Folder for the pictures, outside of FOLDER
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
    /// Pixels per mm, a multiple of 0.1 [default: the finest of 0.5 1 2 4 5 8 10 16 20 25 40 50 that is not finer than the photo]
    #[arg(long, value_name = "N")]
    pub px_per_mm: Option<f64>,
    /// Bicubic instead of bilinear: sharper, slower
    #[arg(long)]
    pub cubic: bool,
    /// Print nothing but refusals
    #[arg(long, short)]
    pub quiet: bool,
    /// How photos are measured.
    #[command(flatten)]
    pub visit: VisitArgs,
}

/// `ruler`
#[derive(Debug, Args)]
#[command(
    after_help = "Without marks, the numbers printed on the ruler tell millimetres from tenths of an inch. Where they cannot be read,\n\
                  say --metric, or mark two.\n\
                  Marks: --marks 0@812,2410 150@1944,2392. Exit code: 0 read, 2 not read: nothing certain was found."
)]
pub struct RulerArgs {
    /// The photo
    pub photo: PathBuf,
    /// Two graduations near which their lines lie, each its mm and its pixel in the upright photo
    #[arg(long, value_name = "MM@X,Y", num_args = 2, value_parser = mark)]
    pub marks: Vec<(f64, f64, f64)>,
    /// The ruler is divided into millimetres or halves of them: read its scale without marks, whatever its numbers show
    #[arg(long, conflicts_with = "marks")]
    pub metric: bool,
    /// Picture of what was found (.png, .jpg), or its graduations for a sidecar's `scale` (.json)
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
}

fn mark(text: &str) -> Result<(f64, f64, f64), String> {
    let wrong = || "write a mark as its mm, @, and its pixel: 150@1944,2392".to_owned();
    let (mm, at) = text.split_once('@').ok_or_else(wrong)?;
    let (x, y) = at.split_once(',').ok_or_else(wrong)?;
    let number = |t: &str| t.trim().parse::<f64>().ok().filter(|v| v.is_finite()).ok_or_else(wrong);
    Ok((number(mm)?, number(x)?, number(y)?))
}

/// `read`
#[derive(Debug, Args)]
#[command(after_help = "Exit code: 0 all read, 1 some photos refused, 2 could not run.")]
pub struct ReadArgs {
    /// Folder of the photos with their sidecars; nothing in it is changed
    pub folder: PathBuf,
    /// New folder for copies of the photos and the new sidecars; measure that one
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
    /// Also replace lines that somebody drew; tubules are then looked for in a band of 8 mm to either side of the line drawn, so that
    /// drawing tubules_toe, tubules_quarter or tubules_heel says where to look
    #[arg(long)]
    pub replace: bool,
    /// Move landmarks that lie on an edge (toe_ground, heel_ground, ground_front, ground_back, toe_outer, widest_*, white_line_*) square to
    /// that edge, by 2.5 mm at most, where one edge stands out; the new sidecars keep where they were clicked
    #[arg(long)]
    pub snap: bool,
    /// Folder for a picture of each photo: what was clicked against what was found, moved landmarks enlarged
    #[arg(long, value_name = "DIR")]
    pub pictures: Option<PathBuf>,
    /// Trace drawn outlines (outer_wall, white_line, frog): four clicks or more become points on the edge that they run along; the clicks
    /// are kept in PHOTO.clicks.json
    #[arg(long)]
    pub trace: bool,
    /// Which rings to date.
    #[command(flatten)]
    pub rings: RingArgs,
    /// Print nothing but refusals
    #[arg(long, short)]
    pub quiet: bool,
    /// How photos are measured.
    #[command(flatten)]
    pub visit: VisitArgs,
}
