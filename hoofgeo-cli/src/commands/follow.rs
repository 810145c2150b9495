//! `hoofgeo follow`

use crate::Outcome;
use crate::args::FollowArgs;
use crate::case_text::case_text;
use crate::output::{print, refusal_text};
use hoofgeo::follow::{Case, FollowOptions, Limit, Shot, follow, read_folders, write_results};
use hoofgeo::{Error, ErrorKind, Result, measure};

pub(crate) fn run(args: &FollowArgs) -> Result<Outcome> {
    let limits = args.limit.iter().map(limit).collect::<Result<_>>()?;
    let options = args.visit.options()?;
    let mut refused = 0;
    let skip: Vec<_> = args.out.iter().cloned().collect();
    let shots = read_folders(&args.folders, &skip, &options, &Shot::of, &mut |why| {
        refused += 1;
        anstream::eprintln!("{}", refusal_text(why));
    })?;
    let mut cases = follow(&shots, &FollowOptions { one_scale: !args.rulers_differ, limits });
    only(&mut cases, args.animal.as_deref())?;
    if let Some(out) = &args.out {
        write_results(&cases, out)?;
    }
    if !args.quiet {
        cases.iter().try_for_each(|case| print(case_text(case)))?;
    }
    Ok(if refused == 0 { Outcome::Done } else { Outcome::SomeRefused })
}

fn limit((id, value): &(String, f64)) -> Result<Limit> {
    let measurement = measure::find(id).ok_or_else(|| {
        Error::new(ErrorKind::Usage, format!("there is no measurement `{id}`")).help("`hoofgeo explain` lists them all")
    })?;
    Ok(Limit { measurement, value: *value, source: "your own limit".to_owned() })
}

/// Keeps one animal, or all; an animal that has no photos is a mistake.
pub(crate) fn only(cases: &mut Vec<Case>, animal: Option<&str>) -> Result<()> {
    let names: Vec<String> = cases.iter().map(|c| c.animal.clone()).collect();
    if names.is_empty() {
        return Err(Error::new(ErrorKind::Usage, "no photo could be measured").help("the refusals say why"));
    }
    if let Some(wanted) = animal {
        cases.retain(|c| c.animal.to_lowercase() == wanted.trim().to_lowercase());
        if cases.is_empty() {
            return Err(Error::new(ErrorKind::Usage, format!("no photo is of an animal named `{wanted}`"))
                .help(format!("here are {}", names.join(", "))));
        }
    }
    Ok(())
}
