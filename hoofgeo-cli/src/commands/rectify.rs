//! `hoofgeo rectify`

use super::measure::{passed_over, stop_on_interrupt};
use crate::Outcome;
use crate::args::RectifyArgs;
use crate::output::{passed_over_text, print_line, refusal_text, say};
use crate::terminal::name as visible;
use hoofgeo::Result;
use hoofgeo::rectify::{Kernel, Rectified, RectifyOptions};
use hoofgeo::visit::{RectifyProgress, rectify_folder};

pub(crate) fn run(args: &RectifyArgs) -> Result<Outcome> {
    let stop = stop_on_interrupt()?;
    let options = RectifyOptions {
        px_per_mm: args.px_per_mm,
        kernel: if args.cubic { Kernel::Bicubic } else { Kernel::Bilinear },
        ..RectifyOptions::default()
    };
    let mut printed = Ok(());
    let visit = args.visit.options()?;
    let end = rectify_folder(&args.folder, &args.out, &options, &visit, &stop, &mut |progress| match progress {
        RectifyProgress::Refused(error) => anstream::eprintln!("{}", refusal_text(error)),
        RectifyProgress::PassedOver(error) => anstream::eprintln!("{}", passed_over_text(error)),
        RectifyProgress::Written { .. } if args.quiet || printed.is_err() => {}
        RectifyProgress::Written { picture, rectified, .. } => printed = print_line(text(picture, rectified)),
        _ => {}
    });
    let summary = match end {
        Err(_) if stop.is_raised() => {
            say(format_args!("stopped; the pictures written so far are whole"));
            return Ok(Outcome::Stopped);
        }
        end => end?,
    };
    printed?;
    if !args.quiet {
        print_line(format_args!(
            "{} rectified, {} refused{}: see {}\n± is the expanded uncertainty at 95 % of what is read off a picture, in the measured plane; \
             placing the ends comes on top.",
            summary.measured,
            summary.refused,
            passed_over(summary),
            visible(args.out.display())
        ))?;
    }
    Ok(if summary.is_whole() { Outcome::Done } else { Outcome::SomeRefused })
}

fn text(picture: &str, rectified: &Rectified) -> String {
    let (sheet, reading) = (&rectified.sheet, rectified.reading);
    format!(
        "written {}: {} px/mm, {} x {} px, lengths ± {:.1} % along x, ± {:.1} % along y, angles ± {:.1}°",
        visible(picture),
        sheet.px_per_mm,
        sheet.size.0,
        sheet.size.1,
        100.0 * reading.along,
        100.0 * reading.across,
        reading.angle_deg
    )
}
