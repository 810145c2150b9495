//! `hoofgeo schema`

use crate::Outcome;
use crate::args::{Format, SchemaArgs};
use crate::output::print_line;
use hoofgeo::Result;
use hoofgeo::sidecar::schema;

pub(crate) fn run(args: &SchemaArgs) -> Result<Outcome> {
    let schema = match args.format {
        Format::Sidecar => schema::sidecar(),
        Format::Visit => schema::visit(),
        Format::Lens => schema::lens(),
        Format::Rules => hoofgeo::review::rules_schema(),
        Format::Review => hoofgeo::review::review_schema(),
        Format::Projection => hoofgeo::project::projection_schema(),
    };
    print_line(format_args!("{schema:#}"))?;
    Ok(Outcome::Done)
}
