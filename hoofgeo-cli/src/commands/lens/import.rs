//! `hoofgeo lens import`

use crate::Outcome;
use crate::args::ImportArgs;
use crate::output::print_line;
use hoofgeo::Result;
use hoofgeo::calibrate::{ImportOptions, WhichCamera, import_opencv};
use hoofgeo::file::{FileKind, read_text};
use hoofgeo::sidecar::CameraId;
use hoofgeo::visit::write_whole;

pub(crate) fn run(args: &ImportArgs) -> Result<Outcome> {
    let text = read_text(&args.file, FileKind::Calibration)?;
    let camera = args.camera.clone();
    let options = ImportOptions {
        camera: CameraId { make: camera.make, model: camera.model, lens: camera.lens, ..CameraId::default() },
        frame_px: args.frame,
        which: if args.second { WhichCamera::Second } else { WhichCamera::First },
    };
    let profile = import_opencv(&text, &options).map_err(|e| e.in_file(&args.file))?;
    write_whole(&args.out, profile.to_json().as_bytes())?;
    print_line(format_args!(
        "written {}: focal length {:.1} px for photos of {} x {} px; its uncertainties are assumed, the file states none",
        args.out.display(),
        profile.focal_px,
        profile.frame.width_px,
        profile.frame.height_px
    ))?;
    Ok(Outcome::Done)
}
