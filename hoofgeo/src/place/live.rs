//! Values while a landmark moves: the library's own measuring, as `measure` does it, told to the page.

use super::beside::{Beside, verdicts};
use super::desk::Desk;
use crate::advice::Improvements;
use crate::error::{Error, Result};
use crate::evaluate::Value;
use crate::landmark::{Landmark, Line};
use crate::measured::{MeasureOptions, Measured, flag_meaning, measure};
use crate::placed::Undefined;
use crate::plausibility::{Doubt, Finding};
use crate::scale::Graduation;
use crate::sidecar::{Draft, Sidecar};
use crate::uncertainty::print;
use serde_json::{Value as Json, json};

/// A name of a landmark or line in words: `frog_base_medial` is "Frog base, medial".
pub(super) fn title(name: &str) -> String {
    let mut words = name.replace('_', " ");
    for side in ["medial", "lateral", "inner", "outer", "front", "back", "upper", "lower"] {
        if let Some(before) = words.strip_suffix(side).map(str::trim_end).filter(|b| !b.is_empty()) {
            words = format!("{before}, {side}");
            break;
        }
    }
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// An error for the page.
pub(super) fn error_json(error: &Error) -> Json {
    let place = error.place();
    json!({
        "what": error.what(),
        "help": error.help_text(),
        "file": error.file().and_then(|f| f.file_name()).map(|f| f.to_string_lossy()),
        "line": place.map(|p| p.line),
        "column": place.map(|p| p.column),
        "path": place.map(|p| p.path.as_str()).filter(|p| !p.is_empty()),
    })
}

/// The values that a draft gives; by the graduations read from the pixels, where they are known and wished.
pub(super) fn values(
    (desk, beside): (&Desk, &Beside),
    id: usize,
    draft: &Draft,
    read: impl Fn(&Sidecar) -> Option<Vec<Graduation>>,
) -> Json {
    let measured = || -> Result<Json> {
        let (sidecar, lens, how) = desk.settled(id, draft)?;
        let name = &desk.photos[id].entry.name;
        let facts = desk.facts(id)?;
        let told = |measured: &Measured, own, read| {
            let mut told = measured_json(&sidecar, measured, own, read);
            // What reads as a judgement stands on a sidecar that says which foot it is.
            if draft.view.is_some() {
                told["verdicts"] = Json::Object(verdicts(name, &sidecar, measured));
                told["changes"] = Json::Object(beside.changes(desk, name, &sidecar, measured, (&facts, &lens)));
            }
            told
        };
        if let Some(graduations) = read(&sidecar) {
            let n = graduations.len();
            // What a scene contradicts is not measured with, here as there.
            let how = MeasureOptions { graduations: Some(graduations), ..how.clone() };
            if let Ok(measured) = measure(&sidecar, &lens.prior, &how) {
                return Ok(told(&measured, false, n));
            }
        }
        // The page counts graduations as they stand in the draft.
        let marked = draft.scale.as_ref().and_then(|s| s.points.as_ref()).map_or(0, Vec::len);
        let used = sidecar.scale.as_ref().map_or(0, |s| s.points.len());
        let measured = measure(&sidecar, &lens.prior, &how)?;
        Ok(told(&measured, marked == used, 0))
    };
    measured().unwrap_or_else(|e| json!({ "error": error_json(&e), "values": [], "missing": [] }))
}

/// `read` is the number of graduations that were read from the pixels, where they were.
fn measured_json(sidecar: &Sidecar, measured: &Measured, own_graduations: bool, read: usize) -> Json {
    let scene = &measured.scene;
    let improvements = Improvements::new(sidecar, measured);
    let [tilt_x, tilt_y] = scene.tilts_deg();
    let residuals: Vec<[f64; 2]> = scene.fit.residuals_px.iter().map(|r| [r.x, r.y]).collect();
    let text = |known: crate::scene::Known, unit| print(known.value, 2.0 * known.u, unit).to_string();
    json!({
        "values": measured.values.iter().map(|v| value_json(v, measured, &improvements)).collect::<Vec<_>>(),
        "missing": measured.missing.iter().map(|(m, why)| json!({
            "id": m.id, "name": m.name, "why": why_json(*why), "refused": matches!(why, Undefined::Beyond { .. }),
        })).collect::<Vec<_>>(),
        "findings": measured.findings.iter().map(finding_json).collect::<Vec<_>>(),
        "scene": {
            "px_per_mm": text(scene.magnification(), "px/mm"),
            "distance": text(scene.distance_mm(), "mm"),
            "tilts": [text(tilt_x, "deg"), text(tilt_y, "deg")],
            "rms_px": scene.fit.rms_px,
            "read": read,
            "residuals_px": own_graduations.then_some(residuals),
            "flags": scene.flags.iter().map(|f| f.meaning()).collect::<Vec<_>>(),
        },
    })
}

fn why_json(why: Undefined) -> String {
    match why {
        Undefined::NoLandmark(l) => title(l.name()),
        Undefined::NoLine(l, n) => format!("line {}, {n} points", title(l.name()).to_lowercase()),
        other => other.to_string(),
    }
}

/// A finding in the page's words: landmarks as the page calls them.
fn finding_json(finding: &Finding) -> Json {
    let in_words = |text: &str| {
        let mut names: Vec<&str> = Landmark::ALL.iter().map(|l| l.name()).collect();
        // The longest first: some names begin others.
        names.sort_by_key(|n| std::cmp::Reverse(n.len()));
        names.iter().fold(text.to_owned(), |text, name| text.replace(name, &format!("“{}”", title(name))))
    };
    json!({
        "flag": finding.doubt.name(),
        "what": in_words(&finding.what),
        "help": in_words(&finding.help),
        "exchange": (finding.doubt == Doubt::LandmarksSwapped)
            .then(|| finding.landmarks.iter().map(|l| l.name()).collect::<Vec<_>>()),
        "landmarks": finding.landmarks.iter().map(|l| l.name()).collect::<Vec<_>>(),
        "factor": finding.factor,
    })
}

fn value_json(value: &Value, measured: &Measured, improvements: &Improvements<'_>) -> Json {
    let m = value.measurement;
    let uses: Vec<&str> =
        value.used.landmarks().map(Landmark::name).chain(value.used.lines().map(Line::name)).collect();
    let flags: Vec<&str> = measured.flags(value).into_iter().filter_map(flag_meaning).collect();
    let printed = print(value.value, value.expanded(), m.quantity.unit());
    json!({
        "id": m.id,
        "name": m.name,
        "text": printed.to_string(),
        "number": printed.value,
        "expanded": printed.expanded,
        "unit": printed.unit,
        "value": value.value,
        "u": value.u,
        "largest": value.budget.largest().map(|(s, share)| json!({ "source": s.label(), "share": share })),
        "advice": improvements.best(value).map(|a| a.to_string()),
        "doubts": measured.doubts(value).names(),
        "uses": uses,
        "flags": flags,
        "definition": m.definition,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_in_words() {
        for (name, words) in [
            ("toe_ground", "Toe ground"),
            ("frog_base_medial", "Frog base, medial"),
            ("ground_front", "Ground, front"),
            ("breakover", "Breakover"),
            ("frog", "Frog"),
            ("white_line_inner", "White line, inner"),
            ("outer_wall", "Outer wall"),
            ("toe_outer", "Toe, outer"),
        ] {
            assert_eq!(title(name), words);
        }
    }
}
