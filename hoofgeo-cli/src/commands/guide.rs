//! `hoofgeo guide`

use crate::Outcome;
use crate::args::GuideArgs;
use crate::output::{print, print_line};
use crate::terminal::name as visible;
use hoofgeo::Result;
use hoofgeo::place::landmark_guide;
use hoofgeo::visit::write_whole;

pub(crate) fn run(args: &GuideArgs) -> Result<Outcome> {
    let page = landmark_guide();
    match &args.out {
        Some(file) => {
            write_whole(file, page.as_bytes())?;
            print_line(format_args!(
                "written: {}; open it in a browser, print it from there",
                visible(file.display())
            ))?;
        }
        None => print(page)?,
    }
    Ok(Outcome::Done)
}
