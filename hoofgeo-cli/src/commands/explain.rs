//! `hoofgeo explain`

use crate::Outcome;
use crate::args::ExplainArgs;
use hoofgeo::Result;
use hoofgeo::explain::{explain, list};

pub(crate) fn run(args: &ExplainArgs) -> Result<Outcome> {
    let text = match &args.name {
        Some(name) => explain(name)?,
        None => list(),
    };
    anstream::print!("{text}");
    Ok(Outcome::Done)
}
