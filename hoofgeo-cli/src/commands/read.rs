//! `hoofgeo read`

use crate::Outcome;
use crate::args::{ReadArgs, RingArgs, RingName};
use crate::output::{print_line, refusal_text};
use hoofgeo::follow::laid_down;
use hoofgeo::pixels::ReadOptions;
use hoofgeo::visit::{ReadReport, RingDepth, read_folder};
use hoofgeo::{Line, Result};
use jiff::civil::Date;

/// A ring this near to the distance that was named is the one that is meant, mm.
const NEAR_MM: f64 = 4.0;

pub(crate) fn run(args: &ReadArgs) -> Result<Outcome> {
    let mut printed = Ok(());
    let options = ReadOptions { replace: args.replace, snap: args.snap, outlines: args.trace };
    let summary =
        read_folder(&args.folder, &args.out, args.pictures.as_deref(), options, &mut |report| match report {
            ReadReport::Read { name, reading, rings, day } if !args.quiet => {
                let lines = reading.found.iter().map(|(line, found)| format!("{line} {found}"));
                let landmarks = reading.moved.iter().map(|(landmark, moved)| format!("{landmark} {moved}"));
                for said in lines.chain(landmarks).chain(dates(&args.rings, rings, day)) {
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
    let mut asked: Vec<&RingDepth> = Vec::new();
    for line in [Line::RingsToe, Line::RingsHeel] {
        let of: Vec<&RingDepth> = rings.iter().filter(|r| r.line == line).collect();
        for name in &args.ring {
            let off = |mm: f64, r: &RingDepth| (r.below.value - mm).abs();
            asked.extend(match name {
                RingName::Number(n) => of.iter().find(|r| r.number == *n).copied(),
                RingName::Below(mm) => of
                    .iter()
                    .min_by(|a, b| off(*mm, a).total_cmp(&off(*mm, b)))
                    .filter(|r| off(*mm, r) < r.below.expanded().max(NEAR_MM))
                    .copied(),
            });
        }
        if args.ring.is_empty() {
            asked.extend(of.iter().filter(|r| r.event == Some(true)));
        }
    }
    let mut seen = Vec::new();
    // A ring may be named twice, by its number and by its distance.
    asked.retain(|r| {
        !seen.contains(&(r.line, r.number)) && {
            seen.push((r.line, r.number));
            true
        }
    });
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
