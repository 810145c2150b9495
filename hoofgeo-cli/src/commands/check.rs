//! `hoofgeo check`

use crate::Outcome;
use crate::args::CheckArgs;
use crate::output::{print_line, refusal_text};
use hoofgeo::Result;
use hoofgeo::visit::{CheckOptions, CheckReport, check_folder};

pub(crate) fn run(args: &CheckArgs) -> Result<Outcome> {
    let mut printed = Ok(());
    let mut bare = 0;
    let options = CheckOptions { pixels: !args.no_pixels, lens_database: args.lens_database.choice() };
    let summary = check_folder(&args.folder, &options, &mut |report| match report {
        CheckReport::Refused(error) => anstream::eprintln!("{}", refusal_text(error)),
        CheckReport::Bare(photo) if args.quiet => anstream::eprintln!("{}", refusal_text(&photo.refusal)),
        _ if args.quiet || printed.is_err() => {}
        CheckReport::Good { name, empty, remarks } => {
            let mut text = format!("good    {name}");
            if !empty.is_empty() {
                let names: Vec<_> = empty.iter().map(|e| e.rsplit('.').next().unwrap_or(e)).collect();
                text += &format!("\n        still empty: {}", names.join(", "));
            }
            printed = print_line(text + &notes(&remarks));
        }
        CheckReport::Seen { name, remarks } => printed = print_line(format!("photo   {name}") + &notes(remarks)),
        CheckReport::Bare(photo) => {
            bare += 1;
            if bare == 1 {
                printed = print_line("without a sidecar, the most urgent first:");
            }
            let word = photo.urgency.words();
            let colon = if photo.remarks.is_empty() { "" } else { ": " };
            let line = format!("{word:<7} {}{colon}{}", photo.name, photo.remarks.join("; "));
            printed = std::mem::replace(&mut printed, Ok(())).and_then(|()| print_line(line));
        }
        CheckReport::LeftAside(files) => {
            let few = files.names.iter().take(3).cloned().collect::<Vec<_>>().join(", ");
            let more = if files.names.len() > 3 { ", ..." } else { "" };
            printed = print_line(format_args!("aside   {} {}: {few}{more}", files.names.len(), files.what));
        }
        _ => {}
    })?;
    printed?;
    if !args.quiet {
        let without = match bare {
            0 => String::new(),
            n => format!(", {n} without a sidecar: mark them with `hoofgeo place {}`", args.folder.display()),
        };
        print_line(format_args!(
            "{} would be measured, {} refused{without}",
            summary.measured,
            summary.refused - bare
        ))?;
    }
    Ok(if summary.refused == 0 { Outcome::Done } else { Outcome::SomeRefused })
}

fn notes(remarks: &[String]) -> String {
    remarks.iter().map(|remark| format!("\n        note: {remark}")).collect()
}
