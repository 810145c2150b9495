//! `hoofgeo read`

use crate::Outcome;
use crate::args::ReadArgs;
use crate::output::{print_line, refusal_text};
use hoofgeo::pixels::{Found, ReadOptions};
use hoofgeo::visit::{ReadReport, read_folder};
use hoofgeo::{Line, Result};

pub(crate) fn run(args: &ReadArgs) -> Result<Outcome> {
    let mut printed = Ok(());
    let options = ReadOptions { replace: args.replace };
    let summary = read_folder(&args.folder, &args.out, options, &mut |report| match report {
        ReadReport::Read { name, reading } if !args.quiet => {
            for (line, found) in &reading.found {
                if printed.is_ok() {
                    printed = print_line(format_args!("{name}: {}", text(*line, found)));
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

fn text(line: Line, found: &Found) -> String {
    match found {
        Found::Tubules(t) => {
            format!("{line} found, its direction ± {:.1}°, in {} cells", 2.0 * t.u.to_degrees(), t.cells)
        }
        Found::Outline(points) => format!("{line} found at {} places along it", points.len()),
        Found::Kept => format!("{line} kept as it was drawn"),
        Found::NotSeen(why) => format!("{line} not found: {why}"),
        Found::Needs(what) => format!("{line} not looked for: place {what}"),
    }
}
