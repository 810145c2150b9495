//! `hoofgeo ruler`

use crate::Outcome;
use crate::args::RulerArgs;
use crate::output::print;
use hoofgeo::photo::decode_upright;
use hoofgeo::picture::{encode_jpeg, ruler_picture};
use hoofgeo::pixels::Grey;
use hoofgeo::pixels::ruler::{Mark, Numbering, Reading, find, read_marked};
use hoofgeo::visit::write_whole;
use hoofgeo::{Error, ErrorKind, Result};
use image::{ImageFormat, RgbImage};
use nalgebra::Point2;
use std::fmt::Write as _;
use std::io::Cursor;
use std::path::Path;

/// Width of the picture, px: an A4 page at 300 dots per inch.
const PICTURE_WIDTH: u32 = 2480;

pub(crate) fn run(args: &RulerArgs) -> Result<Outcome> {
    let photo = decode_upright(&args.photo)?;
    let grey = Grey::of(&photo);
    let reading = match args.marks[..] {
        [a, b] => read_marked(&grey, [a, b].map(|(mm, x, y)| Mark { mm, at: Point2::new(x, y) })),
        _ => find(&grey),
    };
    let reading = reading.map_err(|e| e.in_file(&args.photo))?;
    if let Some(out) = &args.out {
        write(out, photo, &reading)?;
    }
    print(text(&reading))?;
    Ok(Outcome::Done)
}

fn write(out: &Path, photo: RgbImage, reading: &Reading) -> Result<()> {
    let ending = out.extension().unwrap_or_default().to_string_lossy().to_lowercase();
    let bytes = match ending.as_str() {
        "json" if reading.numbering == Numbering::Lengths => {
            return Err(Error::new(ErrorKind::Usage, "graduations for a sidecar need two marks").in_file(out).help(
                "say which lines are which with --marks: a rule in tenths of an inch can look like one in millimetres",
            ));
        }
        "json" => serde_json::to_vec_pretty(&reading.scale_json()).unwrap_or_default(),
        "jpg" | "jpeg" => encode_jpeg(&ruler_picture(photo, reading, PICTURE_WIDTH)?, 90)?,
        "png" => {
            let picture = ruler_picture(photo, reading, PICTURE_WIDTH)?;
            let mut bytes = Cursor::new(Vec::new());
            picture
                .write_to(&mut bytes, ImageFormat::Png)
                .map_err(|e| Error::new(ErrorKind::Photo, format!("the picture cannot be encoded: {e}")))?;
            bytes.into_inner()
        }
        _ => {
            return Err(Error::new(ErrorKind::Usage, "is neither a picture nor JSON by its ending")
                .in_file(out)
                .help("name it .png or .jpg for a picture, .json for graduations to put into a sidecar"));
        }
    };
    write_whole(out, &bytes)
}

fn text(r: &Reading) -> String {
    let e = &r.evidence;
    let (first, last) = (&r.graduations[0], &r.graduations[r.graduations.len() - 1]);
    let [start, end] = r.px_per_mm();
    let mut u: Vec<f64> = r.graduations.iter().map(|g| g.u_px).collect();
    u.sort_by(f64::total_cmp);
    let mut text = String::new();
    let mut row = |name: &str, value: String| {
        let _ = writeln!(text, "{name:<22}{value}");
    };
    row("graduations", format!("{}, every {} mm, {:.0} % of the ruler's", e.lines, r.step_mm, 100.0 * e.found));
    row("from", format!("{} mm at {:.1}, {:.1} px", first.mm, first.at.x, first.at.y));
    row("to", format!("{} mm at {:.1}, {:.1} px", last.mm, last.at.x, last.at.y));
    row("scale at both ends", format!("{start:.3} and {end:.3} px/mm"));
    row("residual", format!("{:.3} px RMS, standard uncertainty of a line {:.3} px", e.rms_px, u[u.len() / 2]));
    match r.numbering {
        Numbering::Marks => row("numbered", "by the two marks".to_owned()),
        Numbering::Lengths => {
            row("numbered", "by the lengths of the lines; 0 is one of the long ones, not the ruler's own".to_owned());
            let likelier = (e.margin / std::f64::consts::LN_10).min(99.0);
            row(
                "certain",
                format!(
                    "10^{likelier:.0} times likelier than any other division but tenths of an inch; {:.0} % of the lengths agree",
                    100.0 * e.agree
                ),
            );
            row("to be checked", "by the numbers on the rule: one in tenths of an inch can look the same".to_owned());
        }
    }
    text
}
