//! `hoofgeo report`

use crate::Outcome;
use crate::args::ReportArgs;

pub(crate) fn run(_args: &ReportArgs) -> hoofgeo::Result<Outcome> {
    Err(hoofgeo::Error::new(hoofgeo::ErrorKind::Usage, "not built yet"))
}
