//! From a text to a checked sidecar, visit or lens profile; what a visit shares is merged in here.

use super::check;
use super::de::read;
use super::fault::{Fault, list};
use super::model::{Gauge, PhotoRef, Scale, Sidecar, Subject, Visit};
use super::raw::{Draft, LandmarkSlots, LineSlots, SharedScale, SharedSubject};
use super::text::{self, Document, decode};
use super::tree::Kind;
use crate::{Error, Foot, Landmark, Line, Result, View};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::path::Path;

impl Sidecar {
    /// The name and version that a sidecar's `format` must give.
    pub const FORMAT: &str = "hoofgeo-sidecar/1";

    /// A sidecar with nothing placed yet.
    pub fn new(photo: PhotoRef, foot: Foot, view: View) -> Self {
        Self {
            photo,
            subject: Subject { animal: String::new(), foot, kind: None },
            view,
            side: None,
            stage: None,
            surface: None,
            taken: None,
            observer: None,
            lens: None,
            scale: None,
            planes: BTreeMap::new(),
            landmarks: BTreeMap::new(),
            lines: BTreeMap::new(),
            gauge: Gauge::default(),
            notes: None,
            empty: Vec::new(),
        }
    }

    /// Reads a sidecar; what it does not say itself comes from the visit.
    ///
    /// A key's value is taken whole from one of the two, but `subject` and `planes` are looked up key by key. Of a
    /// visit's scale the sidecar's takes what it lacks itself, unless the two differ in `kind` or both have points.
    ///
    /// # Errors
    /// [`crate::ErrorKind::Format`], with line, column and JSON path, for everything that does not follow the format.
    pub fn parse(text: &str, visit: Option<&Visit>) -> Result<Self> {
        text::parse(text, |document| Self::from_document(document, visit))
    }

    /// Reads a sidecar from a file's bytes, which must be UTF-8.
    ///
    /// # Errors
    /// As [`Sidecar::parse`]; other encodings are named.
    pub fn parse_bytes(bytes: &[u8], visit: Option<&Visit>) -> Result<Self> {
        Self::parse(decode(bytes)?, visit)
    }

    /// Reads a sidecar's file alone, without what a visit file beside it shares (`visit::Entry::at` finds that).
    ///
    /// # Errors
    /// As [`Sidecar::parse_bytes`], and `Io` where the file cannot be read; all name the file.
    pub fn read(path: impl AsRef<Path>) -> Result<Self> {
        let path = path.as_ref();
        let bytes = std::fs::read(path).map_err(|e| Error::io(path, "cannot be read", &e))?;
        Self::parse_bytes(&bytes, None).map_err(|e| e.in_file(path))
    }

    /// Checks a sidecar that was built or changed by a program as strictly as one that was read.
    ///
    /// # Errors
    /// As [`Sidecar::parse`], without line and column.
    pub fn check(&self) -> Result<()> {
        check::sidecar(self).map_err(|fault| fault.into_error(None))
    }

    /// JSON paths of the slots that the file has but that hold nothing yet.
    pub fn empty_slots(&self) -> &[String] {
        &self.empty
    }

    pub(super) fn from_document(document: &Document<'_>, visit: Option<&Visit>) -> Result<Self, Fault> {
        let file: Draft = typed(document, Self::FORMAT, true)?;
        let merged = Self::merge(file, visit)?;
        check::sidecar(&merged).map_err(|fault| match visit {
            // A scale that came whole from the visit has no place in this text.
            Some(_) if fault.is_in("scale") && !has_points(document) => fault.in_visit(),
            _ => fault,
        })?;
        Ok(merged)
    }

    pub(super) fn merge(file: Draft, visit: Option<&Visit>) -> Result<Self, Fault> {
        let none = Visit::default();
        let shared = visit.unwrap_or(&none);
        let mut empty = Vec::new();
        let view = file
            .view
            .ok_or_else(|| Fault::new("`view` is still empty: write \"lateral\" or \"solar\"").within("view"))?;
        let subject = subject(file.subject, shared.subject.as_ref())?;
        let scale = scale(file.scale, shared.scale.as_ref())?;
        if scale.as_ref().is_some_and(|s| s.points.is_empty()) {
            empty.push("scale.points".to_owned());
        }
        let mut planes = shared.planes.0.clone();
        planes.extend(file.planes.0);
        Ok(Self {
            photo: file.photo,
            subject,
            view,
            side: file.side,
            stage: file.stage,
            surface: file.surface.or(shared.surface),
            taken: file.taken.or_else(|| shared.taken.clone()),
            observer: file.observer.or_else(|| shared.observer.clone()),
            lens: file.lens.or_else(|| shared.lens.clone()),
            scale,
            planes,
            landmarks: placed(file.landmarks, view, &mut empty)?,
            lines: drawn(file.lines, view, &mut empty)?,
            gauge: file.gauge.unwrap_or_default(),
            notes: file.notes.or_else(|| shared.notes.clone()),
            empty,
        })
    }
}

impl Visit {
    /// The name and version that a visit's `format`, where given, must be.
    pub const FORMAT: &str = "hoofgeo-visit/1";

    /// Reads a visit's shared keys.
    ///
    /// # Errors
    /// As [`Sidecar::parse`].
    pub fn parse(text: &str) -> Result<Self> {
        text::parse(text, |document| {
            let visit: Self = typed(document, Self::FORMAT, false)?;
            check::visit(&visit)?;
            Ok(visit)
        })
    }

    /// Reads a visit from a file's bytes, which must be UTF-8.
    ///
    /// # Errors
    /// As [`Sidecar::parse_bytes`].
    pub fn parse_bytes(bytes: &[u8]) -> Result<Self> {
        Self::parse(decode(bytes)?)
    }
}

/// A document of a format: first its name and version, because every other fault may follow from a wrong one.
pub(super) fn typed<'t, T: Deserialize<'t>>(
    document: &'t Document<'_>,
    format: &str,
    required: bool,
) -> Result<T, Fault> {
    let root = document.root();
    if matches!(root.kind, Kind::Object(_)) {
        match root.get("format").map(|f| &f.value.kind) {
            Some(Kind::Text(text)) if text == format => {}
            Some(Kind::Text(text)) => return Err(wrong_format(text, format).within("format")),
            None | Some(Kind::Null) if !required => {}
            None => {
                let write = format!("write \"format\": \"{format}\"");
                return Err(Fault::new("the key `format` is missing").help(write));
            }
            Some(_) => return Err(Fault::new(format!("must be \"{format}\"")).within("format")),
        }
    }
    read(document)
}

fn wrong_format(given: &str, format: &str) -> Fault {
    let given_name = given.split('/').next().unwrap_or_default();
    let name = format.split('/').next().unwrap_or_default();
    let fault = Fault::new(format!("must be \"{format}\", not \"{}\"", super::fault::short(given)));
    if given_name == name && given.len() > name.len() {
        fault.help(format!("this program reads version {}", &format[name.len() + 1..]))
    } else if [Sidecar::FORMAT, Visit::FORMAT, super::LensProfile::FORMAT].contains(&given) {
        fault.help("this is a file of another kind under this name")
    } else {
        fault
    }
}

fn has_points(document: &Document<'_>) -> bool {
    let points = document.root().get("scale").and_then(|scale| scale.value.get("points"));
    points.is_some_and(|f| matches!(&f.value.kind, Kind::List(list) if !list.is_empty()))
}

fn subject(own: Option<SharedSubject>, shared: Option<&SharedSubject>) -> Result<Subject, Fault> {
    let own = own.unwrap_or_default();
    check::text("animal", own.animal.as_ref()).map_err(|e| e.within("subject"))?;
    let animal = own.animal.or_else(|| shared.and_then(|s| s.animal.clone())).unwrap_or_default();
    let foot = own.foot.or_else(|| shared.and_then(|s| s.foot)).ok_or_else(|| {
        let names: Vec<_> = Foot::ALL.iter().map(|f| f.name()).collect();
        let write = list(&names).replace('`', "\"");
        Fault::new(format!("`foot` is still empty: write {write}")).within("foot").within("subject")
    })?;
    let kind = own.kind.or_else(|| shared.and_then(|s| s.kind));
    Ok(Subject { animal, foot, kind })
}

fn scale(own: Option<SharedScale>, shared: Option<&SharedScale>) -> Result<Option<Scale>, Fault> {
    let has_points = |s: &SharedScale| s.points.as_ref().is_some_and(|p| !p.is_empty());
    let whole = match (own, shared) {
        (None, None) => return Ok(None),
        (None, Some(shared)) => shared.clone(),
        (Some(own), None) => own,
        (Some(own), Some(shared)) => {
            let other = matches!((own.kind, shared.kind), (Some(a), Some(b)) if a != b);
            if other || (has_points(&own) && has_points(shared)) {
                own
            } else {
                let points = if has_points(&own) { own.points } else { shared.points.clone() };
                SharedScale {
                    kind: own.kind.or(shared.kind),
                    tolerance: own.tolerance.or(shared.tolerance),
                    u_px: own.u_px.or(shared.u_px),
                    tilt_u_deg: own.tilt_u_deg.or(shared.tilt_u_deg),
                    metric: own.metric.or(shared.metric),
                    points,
                }
            }
        }
    };
    let SharedScale { kind, tolerance, u_px, tilt_u_deg, metric, points } = whole;
    let kind = kind.ok_or_else(|| {
        Fault::new("`kind` is missing: write \"straight_ruler\", \"square_ruler\", \"card\" or \"board\"")
            .within("scale")
    })?;
    Ok(Some(Scale { kind, tolerance, u_px, tilt_u_deg, metric, points: points.unwrap_or_default() }))
}

/// The landmarks that are placed. Empty slots of the other view are passed over: `start` writes both views' slots
/// where the photo's name does not tell the view.
fn placed(
    slots: LandmarkSlots,
    view: View,
    empty: &mut Vec<String>,
) -> Result<BTreeMap<Landmark, super::Placement>, Fault> {
    let mut placed = BTreeMap::new();
    for (name, slot) in slots.0 {
        match (Landmark::find(view, name), slot) {
            (Some(landmark), Some(placement)) => {
                placed.insert(landmark, placement);
            }
            (Some(_), None) => empty.push(format!("landmarks.{name}")),
            (None, Some(_)) => return Err(other_view("landmark", name, view).within("landmarks")),
            (None, None) => {}
        }
    }
    Ok(placed)
}

/// The lines that are drawn.
fn drawn(slots: LineSlots, view: View, empty: &mut Vec<String>) -> Result<BTreeMap<Line, Vec<[f64; 2]>>, Fault> {
    let mut drawn = BTreeMap::new();
    for (name, slot) in slots.0 {
        let slot = slot.filter(|points| !points.is_empty());
        match (Line::find(view, name), slot) {
            (Some(line), Some(points)) => {
                drawn.insert(line, points);
            }
            (Some(_), None) => empty.push(format!("lines.{name}")),
            (None, Some(_)) => return Err(other_view("line", name, view).within("lines")),
            (None, None) => {}
        }
    }
    Ok(drawn)
}

fn other_view(what: &str, name: &str, view: View) -> Fault {
    let other = match view {
        View::Lateral => View::Solar,
        View::Solar => View::Lateral,
    };
    Fault::new(format!("`{name}` is a {other} {what}, this photo is {view}")).within(name).on_key()
}
