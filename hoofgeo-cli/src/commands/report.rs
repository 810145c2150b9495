//! `hoofgeo report`

use crate::Outcome;
use crate::args::ReportArgs;
use crate::output::{print_line, refusal_text};
use crate::terminal::name as visible;
use hoofgeo::Result;
use hoofgeo::report::{ReportOptions, Templates, write_reports};

pub(crate) fn run(args: &ReportArgs) -> Result<Outcome> {
    if let Some(folder) = &args.write_templates {
        Templates::write(folder)?;
        if !args.quiet {
            print_line(format_args!("templates written to {}", folder.display()))?;
        }
        return Ok(Outcome::Done);
    }
    let templates = args.templates.as_deref().map(Templates::from_folder).transpose()?.unwrap_or_default();
    let options = ReportOptions {
        animal: args.animal.clone(),
        every_visit: args.every_visit,
        owner_only: args.owner,
        one_scale: !args.rulers_differ,
        templates,
        visit: args.visit.options()?,
        ..ReportOptions::default()
    };
    let mut refused = 0;
    // Without --write-templates the words demand it.
    let out = args.out.clone().unwrap_or_default();
    let pages = write_reports(&args.folders, &out, &options, &mut |why| {
        refused += 1;
        anstream::eprintln!("{}", refusal_text(why));
    })?;
    if !args.quiet {
        for page in pages {
            print_line(visible(page.display()))?;
        }
    }
    Ok(if refused == 0 { Outcome::Done } else { Outcome::SomeRefused })
}
