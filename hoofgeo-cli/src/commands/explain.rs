//! `hoofgeo explain`

use crate::Outcome;
use crate::args::ExplainArgs;
use crate::output::print;
use hoofgeo::Result;
use hoofgeo::explain::{explain, list};

pub(crate) fn run(args: &ExplainArgs) -> Result<Outcome> {
    let text = match &args.name {
        Some(name) => explain(name)?,
        None => list(),
    };
    print(text)?;
    Ok(Outcome::Done)
}
