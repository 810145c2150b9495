//! `hoofgeo join`

use super::measure::{photos, refused, stop_on_interrupt};
use crate::Outcome;
use crate::args::{JoinArgs, ResultFormat};
use crate::output::print_line;
use hoofgeo::Result;
use hoofgeo::visit::{Outputs, join};

pub(crate) fn run(args: &JoinArgs) -> Result<Outcome> {
    let stop = stop_on_interrupt()?;
    let outputs = Outputs::in_folder(&args.out).with_files(ResultFormat::files(&args.write));
    let summary = match join(&args.folders, &outputs, &stop) {
        Err(_) if stop.is_raised() => return Ok(Outcome::Stopped),
        end => end?,
    };
    if !args.quiet {
        let (all, refused) = (photos(summary.measured), refused(summary));
        print_line(format_args!("{all} joined{refused}: see {}", args.out.display()))?;
    }
    Ok(if summary.refused == 0 { Outcome::Done } else { Outcome::SomeRefused })
}
