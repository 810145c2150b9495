//! `hoofgeo start`

use crate::Outcome;
use crate::args::StartArgs;
use crate::output::{print_line, refusal_text};
use crate::terminal::name as visible;
use hoofgeo::Result;
use hoofgeo::visit::{Started, start_folder};

pub(crate) fn run(args: &StartArgs) -> Result<Outcome> {
    let mut printed = Ok(());
    let (mut written, mut kept, mut refused) = (0, 0, 0);
    start_folder(&args.folder, &mut |started| match started {
        Started::Written(path) => {
            written += 1;
            if !args.quiet && printed.is_ok() {
                printed = print_line(format_args!("written {}", visible(path.display())));
            }
        }
        Started::Kept(_) => kept += 1,
        Started::Refused(error) => {
            refused += 1;
            anstream::eprintln!("{}", refusal_text(&error));
        }
        _ => {}
    })?;
    printed?;
    if !args.quiet {
        print_line(format_args!("{written} written, {kept} left as they were, {refused} refused"))?;
        if written > 0 {
            print_line("next: place the ruler's graduations and the landmarks in them, then `hoofgeo check`")?;
        }
    }
    Ok(if refused == 0 { Outcome::Done } else { Outcome::SomeRefused })
}
