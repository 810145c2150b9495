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
    };
    print_line(format_args!("{schema:#}"))?;
    Ok(Outcome::Done)
}
