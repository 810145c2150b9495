//! `hoofgeo lens board`

use crate::Outcome;
use crate::args::BoardArgs;
use crate::output::print_line;
use hoofgeo::visit::write_whole;
use hoofgeo::{Error, ErrorKind, Result};

pub(crate) fn run(args: &BoardArgs) -> Result<Outcome> {
    let ending = args.out.extension().map(|e| e.to_string_lossy().to_ascii_lowercase());
    let sheet = args.size.board().sheet(args.paper.into())?;
    let bytes = match ending.as_deref() {
        Some("pdf") => sheet.to_pdf(),
        Some("svg") => sheet.to_svg().into_bytes(),
        _ => {
            let what = "a board is written as NAME.pdf or NAME.svg";
            return Err(Error::new(ErrorKind::Usage, what).in_file(&args.out).help("give --out such a name"));
        }
    };
    write_whole(&args.out, &bytes)?;
    let (w, h) = sheet.board_mm();
    print_line(format_args!(
        "written {}\nprint it at 100 %, without scaling to fit; then measure it: the line must be {} mm long, the board {w} x {h} mm.\n\
         Where it is not, give `hoofgeo lens calibrate` the side of a square as you measured it over many squares. Glue it to \
         something flat, such as glass.",
        args.out.display(),
        sheet.check_mm(),
    ))?;
    Ok(Outcome::Done)
}
