//! `hoofgeo check`

use crate::Outcome;
use crate::args::CheckArgs;
use crate::output::error_text;
use hoofgeo::Result;
use hoofgeo::visit::{CheckReport, check_folder};

pub(crate) fn run(args: &CheckArgs) -> Result<Outcome> {
    let summary = check_folder(&args.folder, &mut |report| match report {
        CheckReport::Refused(error) => anstream::eprintln!("{}", error_text(error)),
        CheckReport::Good { .. } if args.quiet => {}
        CheckReport::Good { name, empty, remarks } => {
            anstream::println!("good    {name}");
            for remark in remarks {
                anstream::println!("        note: {remark}");
            }
            if !empty.is_empty() {
                let names: Vec<_> = empty.iter().map(|e| e.rsplit('.').next().unwrap_or(e)).collect();
                anstream::println!("        still empty: {}", names.join(", "));
            }
        }
    })?;
    if !args.quiet {
        anstream::println!("{} would be measured, {} refused", summary.measured, summary.refused);
    }
    Ok(if summary.refused == 0 { Outcome::Done } else { Outcome::SomeRefused })
}
