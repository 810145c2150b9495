//! `hoofgeo check`

use crate::Outcome;
use crate::args::CheckArgs;
use crate::output::{print_line, refusal_text};
use crate::terminal::name as visible;
use hoofgeo::Result;
use hoofgeo::visit::{CheckOptions, CheckReport, check_folder};

pub(crate) fn run(args: &CheckArgs) -> Result<Outcome> {
    let mut printed = Ok(());
    let options = CheckOptions { pixels: !args.no_pixels, lens_database: args.lens_database.choice() };
    let summary = check_folder(&args.folder, &options, &mut |report| match report {
        CheckReport::Refused(error) => anstream::eprintln!("{}", refusal_text(error)),
        CheckReport::Good { .. } | CheckReport::Seen { .. } if args.quiet || printed.is_err() => {}
        CheckReport::Good { name, empty, remarks } => {
            let mut text = format!("good    {}", visible(name));
            if !empty.is_empty() {
                let names: Vec<_> = empty.iter().map(|e| e.rsplit('.').next().unwrap_or(e)).collect();
                text += &format!("\n        still empty: {}", names.join(", "));
            }
            printed = print_line(text + &notes(&remarks));
        }
        CheckReport::Seen { name, remarks } => {
            printed = print_line(format!("photo   {}", visible(name)) + &notes(remarks))
        }
        _ => {}
    })?;
    printed?;
    if !args.quiet {
        print_line(format_args!("{} would be measured, {} refused", summary.measured, summary.refused))?;
    }
    Ok(if summary.refused == 0 { Outcome::Done } else { Outcome::SomeRefused })
}

fn notes(remarks: &[String]) -> String {
    remarks.iter().map(|remark| format!("\n        note: {}", visible(remark))).collect()
}
