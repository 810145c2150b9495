//! `hoofgeo check`

use crate::Outcome;
use crate::args::CheckArgs;
use crate::output::{print_line, refusal_text};
use hoofgeo::Result;
use hoofgeo::visit::{CheckReport, check_folder};

pub(crate) fn run(args: &CheckArgs) -> Result<Outcome> {
    let mut printed = Ok(());
    let summary = check_folder(&args.folder, &args.lens_database.choice(), &mut |report| match report {
        CheckReport::Refused(error) => anstream::eprintln!("{}", refusal_text(error)),
        CheckReport::Good { .. } if args.quiet || printed.is_err() => {}
        CheckReport::Good { name, empty, remarks } => {
            let mut text = format!("good    {name}");
            for remark in remarks {
                text += &format!("\n        note: {remark}");
            }
            if !empty.is_empty() {
                let names: Vec<_> = empty.iter().map(|e| e.rsplit('.').next().unwrap_or(e)).collect();
                text += &format!("\n        still empty: {}", names.join(", "));
            }
            printed = print_line(text);
        }
    })?;
    printed?;
    if !args.quiet {
        print_line(format_args!("{} would be measured, {} refused", summary.measured, summary.refused))?;
    }
    Ok(if summary.refused == 0 { Outcome::Done } else { Outcome::SomeRefused })
}
