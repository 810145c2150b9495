//! `hoofgeo check`

use super::measure::passed_over;
use crate::Outcome;
use crate::args::CheckArgs;
use crate::output::{damaged_text, passed_over_text, print_line, refusal_text, say};
use crate::terminal::name as visible;
use hoofgeo::Result;
use hoofgeo::visit::{CheckOptions, CheckReport, check_folder};

pub(crate) fn run(args: &CheckArgs) -> Result<Outcome> {
    let mut printed = Ok(());
    let (mut doubtful, mut bare) = (0, 0);
    let options = CheckOptions { pixels: !args.no_pixels, visit: args.visit.options()? };
    let summary = check_folder(&args.folder, &options, &mut |report| match report {
        CheckReport::Refused(error) => anstream::eprintln!("{}", refusal_text(error)),
        CheckReport::Good { name, doubts, .. } if args.quiet && !doubts.is_empty() => {
            doubtful += 1;
            say(format_args!("doubt   {}{}", visible(name), lines("look at this first", doubts)));
        }
        CheckReport::NoPixels { why, .. } => anstream::eprintln!("{}", damaged_text(why)),
        CheckReport::PassedOver(error) => anstream::eprintln!("{}", passed_over_text(error)),
        CheckReport::Bare(photo) if args.quiet => {
            bare += 1;
            anstream::eprintln!("{}", refusal_text(&photo.refusal));
        }
        CheckReport::Good { .. } | CheckReport::Seen { .. } | CheckReport::LeftAside(_)
            if args.quiet || printed.is_err() => {}
        CheckReport::Good { name, empty, doubts, remarks } => {
            doubtful += usize::from(!doubts.is_empty());
            let word = if doubts.is_empty() { "good" } else { "doubt" };
            let mut text = format!("{word:<8}{}{}", visible(name), lines("look at this first", doubts));
            if !empty.is_empty() {
                let names: Vec<_> = empty.iter().map(|e| e.rsplit('.').next().unwrap_or(e)).collect();
                text += &format!("\n        still empty: {}", names.join(", "));
            }
            printed = print_line(text + &lines("note", &remarks));
        }
        CheckReport::Seen { name, remarks } => {
            printed = print_line(format!("photo   {}", visible(name)) + &lines("note", remarks))
        }
        CheckReport::Bare(photo) => {
            bare += 1;
            if bare == 1 {
                printed = print_line("without a sidecar, the most urgent first:");
            }
            let word = photo.urgency.words();
            let colon = if photo.remarks.is_empty() { "" } else { ": " };
            let line = format!("{word:<7} {}{colon}{}", visible(&photo.name), photo.remarks.join("; "));
            printed = std::mem::replace(&mut printed, Ok(())).and_then(|()| print_line(line));
        }
        CheckReport::LeftAside(files) => {
            let few = files.names.iter().take(3).map(visible).collect::<Vec<_>>().join(", ");
            let more = if files.names.len() > 3 { ", ..." } else { "" };
            printed = print_line(format_args!("aside   {} {}: {few}{more}", files.names.len(), files.what));
        }
        _ => {}
    })?;
    printed?;
    if !args.quiet {
        let doubtful = if doubtful > 0 { format!(" ({doubtful} of them doubtful)") } else { String::new() };
        let damaged = match summary.without_picture {
            0 => String::new(),
            n => format!(", {n} of them damaged"),
        };
        let without = match bare {
            0 => String::new(),
            n => format!(", {n} without a sidecar: mark them with `hoofgeo place {}`", visible(args.folder.display())),
        };
        print_line(format_args!(
            "{} would be measured{doubtful}{damaged}, {} refused{}{without}",
            summary.measured,
            summary.refused - bare,
            passed_over(summary)
        ))?;
    }
    Ok(if summary.is_whole() { Outcome::Done } else { Outcome::SomeRefused })
}

fn lines(word: &str, remarks: &[String]) -> String {
    remarks.iter().map(|remark| format!("\n        {word}: {}", visible(remark))).collect()
}
