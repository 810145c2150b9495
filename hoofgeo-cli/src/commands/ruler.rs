//! `hoofgeo ruler`

use crate::Outcome;
use crate::args::RulerArgs;
use crate::output::print;
use hoofgeo::photo::decode_upright;
use hoofgeo::picture::{encode_jpeg, ruler_picture};
use hoofgeo::pixels::Grey;
use hoofgeo::pixels::ruler::{Mark, Numbering, ReadGraduation, Reading, find_metric, read_marked};
use hoofgeo::visit::write_whole;
use hoofgeo::{Error, ErrorKind, Result};
use image::{ImageFormat, RgbImage};
use nalgebra::Point2;
use std::fmt::{Display, Write as _};
use std::io::Cursor;
use std::path::Path;

/// Width of the picture, px: an A4 page at 300 dots per inch.
const PICTURE_WIDTH: u32 = 2480;

pub(crate) fn run(args: &RulerArgs) -> Result<Outcome> {
    let photo = decode_upright(&args.photo)?;
    let grey = Grey::of(&photo);
    let reading = match args.marks[..] {
        [a, b] => read_marked(&grey, [a, b].map(|(mm, x, y)| Mark { mm, at: Point2::new(x, y) })),
        _ => find_metric(&grey),
    };
    let reading = reading.map_err(|e| e.in_file(&args.photo))?;
    let has_scale = args.metric || reading.numbering == Numbering::Marks || shows_metric(&reading);
    if let Some(out) = &args.out {
        write(out, photo, &reading, has_scale)?;
    }
    print(if has_scale { text(&reading) } else { text_without_scale(&reading) })?;
    Ok(Outcome::Done)
}

fn write(out: &Path, photo: RgbImage, reading: &Reading, has_scale: bool) -> Result<()> {
    let ending = out.extension().unwrap_or_default().to_string_lossy().to_lowercase();
    let bytes = match ending.as_str() {
        "json" if !has_scale => {
            return Err(Error::new(ErrorKind::Usage, "graduations for a sidecar need a scale").in_file(out).help(
                "say --metric if the numbers on the ruler are centimetres or millimetres, or mark two of its lines with --marks",
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

fn row(text: &mut String, name: &str, value: impl Display) {
    let _ = writeln!(text, "{name:<22}{value}");
}

fn text(r: &Reading) -> String {
    let (e, [first, last]) = (&r.evidence, ends(r));
    let [start, end] = r.px_per_mm();
    let mut text = String::new();
    let seen = format!("{}, every {} mm, {:.0} % of the ruler's", e.lines, r.step_mm, 100.0 * e.found);
    row(&mut text, "graduations", seen);
    row(&mut text, "from", format_args!("{} mm at {:.1}, {:.1} px", first.mm, first.at.x, first.at.y));
    row(&mut text, "to", format_args!("{} mm at {:.1}, {:.1} px", last.mm, last.at.x, last.at.y));
    row(&mut text, "scale at both ends", format_args!("{start:.3} and {end:.3} px/mm"));
    residual(&mut text, r);
    match r.numbering {
        Numbering::Marks => row(&mut text, "numbered", "by the two marks"),
        Numbering::Lengths => {
            row(&mut text, "numbered", "from one of its long lines, which need not be the ruler's own 0");
            metric(&mut text, r);
            certain(&mut text, r);
        }
        Numbering::Numbers => {
            let numbers = r.print.map_or(0, |p| p.numbers);
            row(&mut text, "numbered", format_args!("by {numbers} of the numbers printed on it"));
            metric(&mut text, r);
        }
    }
    if r.print.is_some_and(|p| p.mirrored) {
        row(&mut text, "mirrored", "its numbers are seen from behind: turn the ruler, or the photo, over");
    }
    text
}

/// Whether the numbers printed on the ruler show that it is metric.
fn shows_metric(r: &Reading) -> bool {
    r.print.is_some_and(|p| p.metric)
}

fn metric(text: &mut String, r: &Reading) {
    row(text, "metric", if shows_metric(r) { "as the numbers printed on it show" } else { "because you say so" });
}

/// What is seen of a ruler of which nobody said whether it is metric.
fn text_without_scale(r: &Reading) -> String {
    let (e, [first, last]) = (&r.evidence, ends(r));
    let [start, end] = r.px_per_mm().map(|s| s * r.step_mm);
    let (inch, tens) = if r.step_mm < 1.0 { ("1.27", "twentieth") } else { ("2.54", "tenth") };
    let mut text = String::new();
    row(&mut text, "lines", format_args!("{}, the longest every {tens}, {:.0} % of the row", e.lines, 100.0 * e.found));
    row(&mut text, "from", format_args!("{:.1}, {:.1} px", first.at.x, first.at.y));
    row(&mut text, "to", format_args!("{:.1}, {:.1} px", last.at.x, last.at.y));
    row(&mut text, "distance at both ends", format_args!("{start:.3} and {end:.3} px from line to line"));
    residual(&mut text, r);
    if r.evidence.margin.is_finite() {
        certain(&mut text, r);
    }
    row(
        &mut text,
        "scale",
        format_args!("not known: {} mm a line if the ruler is metric, {inch} mm if it is in inches,", r.step_mm),
    );
    row(&mut text, "", "and the lines of both look alike; read the numbers on the ruler, then say --metric,");
    row(&mut text, "", "or mark two of its lines: --marks MM@X,Y MM@X,Y");
    text
}

fn ends(r: &Reading) -> [&ReadGraduation; 2] {
    [&r.graduations[0], &r.graduations[r.graduations.len() - 1]]
}

fn residual(text: &mut String, r: &Reading) {
    let mut u: Vec<f64> = r.graduations.iter().map(|g| g.u_px).collect();
    u.sort_by(f64::total_cmp);
    let (rms, u) = (r.evidence.rms_px, u[u.len() / 2]);
    row(text, "residual", format_args!("{rms:.3} px RMS, standard uncertainty of a line {u:.3} px"));
}

fn certain(text: &mut String, r: &Reading) {
    let likelier = (r.evidence.margin / std::f64::consts::LN_10).min(99.0);
    let agree = 100.0 * r.evidence.agree;
    let value = format!(
        "{agree:.0} % of the lines are as long as they should be, 10^{likelier:.0} times likelier than in any other order"
    );
    row(text, "certain", value);
}
