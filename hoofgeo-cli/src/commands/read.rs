//! `hoofgeo read`

use crate::Outcome;
use crate::args::ReadArgs;
use crate::output::{print_line, refusal_text};
use hoofgeo::Result;
use hoofgeo::pixels::ReadOptions;
use hoofgeo::visit::{ReadReport, read_folder};

pub(crate) fn run(args: &ReadArgs) -> Result<Outcome> {
    let mut printed = Ok(());
    let options = ReadOptions { replace: args.replace, snap: args.snap };
    let summary =
        read_folder(&args.folder, &args.out, args.pictures.as_deref(), options, &mut |report| match report {
            ReadReport::Read { name, reading } if !args.quiet => {
                let lines = reading.found.iter().map(|(line, found)| format!("{line} {found}"));
                let landmarks = reading.moved.iter().map(|(landmark, moved)| format!("{landmark} {moved}"));
                for said in lines.chain(landmarks) {
                    if printed.is_ok() {
                        printed = print_line(format_args!("{name}: {said}"));
                    }
                }
            }
            ReadReport::Read { .. } => {}
            ReadReport::Refused(error) => anstream::eprintln!("{}", refusal_text(error)),
        })?;
    printed?;
    if !args.quiet {
        print_line(format_args!(
            "{} photos read, {} refused: look at what was found, then `hoofgeo measure {}`",
            summary.measured,
            summary.refused,
            args.out.display()
        ))?;
    }
    Ok(if summary.refused == 0 { Outcome::Done } else { Outcome::SomeRefused })
}
