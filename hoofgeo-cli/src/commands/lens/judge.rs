//! `hoofgeo lens judge`

use crate::Outcome;
use crate::args::LensJudgeArgs;
use crate::output::print_line;
use hoofgeo::Result;
use hoofgeo::file::{FileKind, read_file};
use hoofgeo::lens::{Judgement, Verdict, judge};
use hoofgeo::photo::{decode_upright, read_facts};
use hoofgeo::pixels::Grey;
use hoofgeo::sidecar::Sidecar;
use hoofgeo::visit::SIDECAR_SUFFIX;
use std::fmt::Write;
use std::path::PathBuf;

pub(crate) fn run(args: &LensJudgeArgs) -> Result<Outcome> {
    let facts = read_facts(&args.photo)?;
    let mut beside = args.photo.clone().into_os_string();
    beside.push(SIDECAR_SUFFIX);
    let beside = PathBuf::from(beside);
    let sidecar = match beside.exists() {
        true => {
            let bytes = read_file(&beside, FileKind::Sidecar)?;
            Some(Sidecar::parse_bytes(&bytes, None).map_err(|e| e.in_file(&beside))?)
        }
        false => None,
    };
    let grey = Grey::of(&decode_upright(&args.photo)?);
    let judged = judge(&grey, &facts, sidecar.as_ref());
    print_line(text(&judged))?;
    Ok(if judged.verdict == Verdict::CannotTell { Outcome::SomeRefused } else { Outcome::Done })
}

fn text(judged: &Judgement) -> String {
    let mut text = String::new();
    match &judged.estimate {
        Some(e) => {
            let ruler = judged.edges.iter().zip(&e.used).filter(|(edge, used)| edge.trusted && **used).count();
            let along = if ruler > 0 { format!(", {ruler} of them along the scale") } else { String::new() };
            let _ = writeln!(
                text,
                "edges    {} of {} long edges agree{along}; they carry {:.0} % of the evidence",
                e.edges_used(),
                judged.edges.len(),
                100.0 * e.support
            );
            let share = e.expanded / e.u;
            let focal =
                if judged.focal_is_stated { "" } else { "; the photo states no focal length, 26 mm equivalent taken" };
            let _ = writeln!(
                text,
                "k1       {:.4} ± {:.4} (95 %{focal})",
                e.k1(judged.focal_px),
                share * e.u_k1(judged.focal_px)
            );
            let _ = writeln!(
                text,
                "corner   {:.1} px ± {:.1} px off",
                e.corner_shift_px(),
                e.expanded * e.half_diagonal_px
            );
            let _ = writeln!(
                text,
                "bow      of these edges {:.2} px RMS, {:.2} px once corrected",
                e.bow_before_px, e.bow_after_px
            );
            if e.edges_used() == 1 {
                text += "         one edge alone: if it is bent itself, the lens looks bent\n";
            }
        }
        None => {
            let _ = writeln!(text, "edges    {} long edges, none tells anything of the lens", judged.edges.len());
        }
    }
    let _ = write!(text, "\n{}", judged.verdict.meaning());
    text
}
