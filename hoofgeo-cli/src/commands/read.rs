//! `hoofgeo read`

use super::measure::passed_over;
use crate::Outcome;
use crate::args::{ReadArgs, RingArgs};
use crate::output::{passed_over_text, print_line, refusal_text};
use crate::terminal::name as visible;
use hoofgeo::Result;
use hoofgeo::follow::laid_down;
use hoofgeo::pixels::ReadOptions;
use hoofgeo::visit::{ReadReport, RingDepth, read_folder, rings_meant};
use jiff::civil::Date;

pub(crate) fn run(args: &ReadArgs) -> Result<Outcome> {
    let mut printed = Ok(());
    let options = ReadOptions { replace: args.replace, snap: args.snap, outlines: args.trace };
    let visit = args.visit.options()?;
    let summary =
        read_folder(&args.folder, &args.out, args.pictures.as_deref(), &visit, options, &mut |report| match report {
            ReadReport::Read { name, reading, rings, day } if !args.quiet => {
                let lines = reading.found.iter().map(|(line, found)| format!("{line} {found}"));
                let landmarks = reading.moved.iter().map(|(landmark, moved)| format!("{landmark} {moved}"));
                for said in lines.chain(landmarks).chain(dates(&args.rings, rings, day)) {
                    if printed.is_ok() {
                        printed = print_line(format_args!("{}: {said}", visible(name)));
                    }
                }
            }
            ReadReport::Refused(error) => anstream::eprintln!("{}", refusal_text(error)),
            ReadReport::PassedOver(error) => anstream::eprintln!("{}", passed_over_text(error)),
            _ => {}
        })?;
    printed?;
    if !args.quiet {
        print_line(format_args!(
            "{} photos read, {} refused{}: look at what was found, then `hoofgeo measure {}`",
            summary.measured,
            summary.refused,
            passed_over(summary),
            visible(args.out.display())
        ))?;
    }
    Ok(if summary.is_whole() { Outcome::Done } else { Outcome::SomeRefused })
}

/// When the rings that were asked for, or else those that stand out, were made.
fn dates(args: &RingArgs, rings: &[RingDepth], day: Option<Date>) -> Vec<String> {
    let Some(rate) = args.growth else { return Vec::new() };
    if rings.is_empty() {
        return Vec::new();
    }
    let Some(day) = day else {
        return vec![
            "when the rings were made cannot be said: write \"taken\": \"2026-05-04\" into the sidecar".to_owned(),
        ];
    };
    let asked = rings_meant(rings, &args.ring);
    if asked.is_empty() {
        let why = if args.ring.is_empty() {
            "no ring stands out from the others: name one with --ring"
        } else {
            "there is no such ring"
        };
        return vec![why.to_owned()];
    }
    asked
        .into_iter()
        .map(|r| {
            let at = format!(
                "{} ring {}, {:.1} mm ± {:.1} mm below the coronet",
                r.line,
                r.number,
                r.below.value,
                r.below.expanded()
            );
            match laid_down(r.below.value, r.below.u, rate, day) {
                Some(when) => format!("{at}, was made {when}"),
                None => format!("{at}, is older than ten years at this rate: check it"),
            }
        })
        .collect()
}
