//! Sidecars from TPS files that a general digitising program has written.

use super::tps::{self, Specimen};
use crate::error::{Error, ErrorKind, Result};
use crate::file::{FileKind, read_text};
use crate::foot::View;
use crate::landmark::{Landmark, Line};
use crate::photo::read_facts;
use crate::sidecar::{Draft, Graduation, Placement};
use crate::visit::{SIDECAR_SUFFIX, must_be_folder, write_new};
use std::path::{Path, PathBuf};
use std::str::FromStr;

/// What a landmark of a TPS file is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum TpsName {
    /// A landmark.
    Landmark(Landmark),
    /// A graduation of the ruler, mm.
    Graduation(f64),
    /// Of no concern.
    Skip,
}

/// `toe_ground`; `50mm` for the ruler's graduation of 50 mm; `-` for a point of no concern.
impl FromStr for TpsName {
    type Err = Error;

    fn from_str(text: &str) -> Result<Self> {
        let text = text.trim();
        if text == "-" {
            return Ok(Self::Skip);
        }
        let graduation = text.strip_suffix("mm").and_then(|n| n.trim().parse::<f64>().ok()).filter(|n| n.is_finite());
        if let Some(mm) = graduation {
            return Ok(Self::Graduation(mm));
        }
        Landmark::ALL.iter().find(|l| l.name() == text).map(|l| Self::Landmark(*l)).ok_or_else(|| {
            Error::new(ErrorKind::Usage, format!("`{text}` is no landmark"))
                .help("write a landmark's name, 50mm for a graduation of the ruler, or - for a point of no concern")
        })
    }
}

/// What the points and curves of a TPS file are.
#[derive(Debug, Clone, PartialEq)]
pub struct ImportNames {
    /// The view of all its photos.
    pub view: View,
    /// Its landmarks, in order.
    pub landmarks: Vec<TpsName>,
    /// Its curves, then its outlines, in order.
    pub lines: Vec<Line>,
    /// Who placed them.
    pub observer: Option<String>,
}

/// What became of one specimen.
#[derive(Debug)]
#[non_exhaustive]
pub enum Imported {
    /// A sidecar was written.
    Written(PathBuf),
    /// There was one already; it was left alone.
    Kept(PathBuf),
    /// None could be written.
    Refused(Error),
}

/// Writes a sidecar beside each photo that a TPS file's `IMAGE=` names, its landmarks in the file's order as `names` says. Never over one
/// that exists.
///
/// Coordinates are pixels of the upright photo, y from its lower edge, as digitising programs count them: a point at y lies `height − y`
/// below the upper edge. Negative coordinates and `NA` are landmarks that are not there; they stay empty. `SCALE=` is one number for the
/// whole photo and knows no camera: it goes into the sidecar's notes, and the ruler is marked in the sidecar itself unless the file has
/// graduations among its points ([`TpsName::Graduation`]).
///
/// # Errors
/// `Io` and `Format` where the file cannot be read, `Usage` where the folder does not exist. A specimen without a sidecar is reported to
/// `each`.
pub fn import_tps(file: &Path, photos: &Path, names: &ImportNames, each: &mut dyn FnMut(Imported)) -> Result<()> {
    let specimens = tps::read(&read_text(file, FileKind::Landmarks)?).map_err(|e| e.in_file(file))?;
    must_be_folder(photos)?;
    for (i, specimen) in specimens.iter().enumerate() {
        each(one(specimen, photos, names).unwrap_or_else(|e| {
            let which = specimen.id.clone().or_else(|| specimen.image.clone());
            let which =
                which.map_or_else(|| format!("specimen {}", i + 1), |name| format!("specimen {} ({name})", i + 1));
            let stands = if e.file().is_none() { e.in_file(file) } else { e };
            let help = stands.help_text().map_or_else(|| format!("it is {which}"), |h| format!("{h}; it is {which}"));
            Imported::Refused(stands.help(help))
        }));
    }
    Ok(())
}

fn one(specimen: &Specimen, photos: &Path, names: &ImportNames) -> Result<Imported> {
    let fault = |what: String| Error::new(ErrorKind::Format, what);
    // Programs of other systems write their own paths: the name alone counts, in the folder given.
    let image = specimen.image.as_deref().unwrap_or_default();
    let name = image.rsplit(['/', '\\']).next().unwrap_or_default();
    if matches!(name, "" | "." | "..") {
        return Err(fault("names no photo".to_owned()).help("IMAGE= must say the photo's file name"));
    }
    let photo = photos.join(name);
    let sidecar = photos.join(format!("{name}{SIDECAR_SUFFIX}"));
    if sidecar.exists() {
        return Ok(Imported::Kept(sidecar));
    }
    let given = specimen.landmarks.len();
    if given != names.landmarks.len() {
        return Err(fault(format!("has {given} landmarks, and {} are named", names.landmarks.len()))
            .help("name each in its order; - for one of no concern"));
    }
    let drawn: Vec<_> = specimen.curves.iter().chain(&specimen.outlines).collect();
    if !drawn.is_empty() && drawn.len() != names.lines.len() {
        return Err(fault(format!(
            "has {} curves and outlines, and {} lines are named",
            drawn.len(),
            names.lines.len()
        ))
        .help("name each in its order: --lines dorsal_wall,ground"));
    }
    let facts = read_facts(&photo).map_err(|e| e.in_file(&photo))?;
    let (width, height) = (facts.width_px, facts.height_px);
    let down = |[x, y]: [f64; 2]| [x, f64::from(height) - y];
    let mut draft = Draft::start(name, width, height, facts.taken.as_deref());
    draft.view = Some(names.view);
    draft.observer.clone_from(&names.observer);
    let mut graduations = Vec::new();
    for (at, name) in specimen.landmarks.iter().zip(&names.landmarks) {
        let Some(at) = at.map(down) else { continue };
        match name {
            TpsName::Skip => {}
            TpsName::Graduation(mm) => graduations.push(Graduation::along(*mm, at)),
            TpsName::Landmark(l) => put(&mut draft.landmarks.0, l.name(), Placement::once(at)),
        }
    }
    for (curve, line) in drawn.into_iter().zip(&names.lines) {
        put(&mut draft.lines.0, line.name(), curve.iter().copied().map(down).collect());
    }
    if !graduations.is_empty() {
        draft.scale.get_or_insert_with(Default::default).points = Some(graduations);
    }
    if let Some(scale) = specimen.scale {
        draft.notes = Some(format!("TPS file: SCALE={scale}"));
    }
    // What cannot be is refused here, with the point's name.
    draft.provisional(None).map_err(|e| match e.what().contains("outside the photo") {
        true => e.help("coordinates are pixels of the upright photo, y from its lower edge: was it digitised at another size, or lying?"),
        false => e,
    })?;
    write_new(&sidecar, draft.to_json().as_bytes())?;
    Ok(Imported::Written(sidecar))
}

/// Fills a slot.
fn put<V>(slots: &mut Vec<(&'static str, Option<V>)>, name: &'static str, value: V) {
    match slots.iter_mut().find(|(n, _)| *n == name) {
        Some((_, slot)) => *slot = Some(value),
        None => slots.push((name, Some(value))),
    }
}
