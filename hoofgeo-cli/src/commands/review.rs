//! `hoofgeo review`

use crate::Outcome;
use crate::args::ReviewArgs;
use crate::output::{print, print_line, refusal_text};
use hoofgeo::file::{FileKind, read_file};
use hoofgeo::review::{Rules, review_folder};
use hoofgeo::visit::write_whole;
use hoofgeo::{Error, ErrorKind, Result};
use std::path::Path;

pub(crate) fn run(args: &ReviewArgs) -> Result<Outcome> {
    if let Some(path) = &args.write_rules {
        return write_rules(path, args.quiet);
    }
    let Some(folder) = &args.folder else {
        return Err(Error::new(ErrorKind::Usage, "no folder is named").help("name the folder of a visit's photos"));
    };
    let rules = match &args.rules {
        Some(path) => {
            let bytes = read_file(path, FileKind::Rules)?;
            Rules::parse(&bytes).map_err(|e| e.in_file(path))?
        }
        None => Rules::default(),
    };
    let options = args.visit.options()?;
    let skip: Vec<_> = args.out.iter().cloned().collect();
    let review = review_folder(folder, rules, &options, &skip, &mut |e| anstream::eprintln!("{}", refusal_text(e)))?;
    if let Some(out) = &args.out {
        std::fs::create_dir_all(out).map_err(|e| Error::io(out, "the output folder cannot be made", &e))?;
        write_whole(&out.join("review.json"), review.json().as_bytes())?;
    }
    if !args.quiet {
        print(review.text())?;
    }
    Ok(if review.refused.is_empty() { Outcome::Done } else { Outcome::SomeRefused })
}

fn write_rules(path: &Path, quiet: bool) -> Result<Outcome> {
    if path.exists() {
        return Err(Error::new(ErrorKind::Usage, "exists already")
            .in_file(path)
            .help("name a new file: rules are written over nothing"));
    }
    write_whole(path, Rules::own_text().as_bytes())?;
    if !quiet {
        print_line(format_args!(
            "written {}: change it, then `hoofgeo review FOLDER --rules` with it",
            path.display()
        ))?;
    }
    Ok(Outcome::Done)
}
