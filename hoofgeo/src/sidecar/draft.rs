//! A sidecar that is still being filled in.

use super::json::{Slots, pretty, some};
use super::model::{Sidecar, Visit};
use super::raw::{Draft, SharedSubject};
use super::read::typed;
use super::start::template;
use super::text::{self, decode};
use crate::{Foot, Landmark, Line, Result, View};
use serde::ser::{Serialize, SerializeMap, Serializer};

impl Draft {
    /// A new one, as [`template`] writes it: all slots empty, and what the photo's name tells.
    pub fn start(photo_file_name: &str, width_px: u32, height_px: u32, taken: Option<&str>) -> Self {
        let text = template(photo_file_name, width_px, height_px, taken);
        // A template is of the format by construction; a test reads templates of all kinds of names.
        text::parse(&text, |document| typed(document, Sidecar::FORMAT, true)).unwrap_or_else(|e| unreachable!("{e}"))
    }

    /// Reads a sidecar's text without merging or checking it: keys and types alone.
    ///
    /// # Errors
    /// As [`Sidecar::parse`], for unknown keys and wrong types.
    pub fn parse(text: &str) -> Result<Self> {
        text::parse(text, |document| typed(document, Sidecar::FORMAT, true))
    }

    /// Reads a sidecar from a file's bytes, which must be UTF-8.
    ///
    /// # Errors
    /// As [`Draft::parse`].
    pub fn parse_bytes(bytes: &[u8]) -> Result<Self> {
        Self::parse(decode(bytes)?)
    }

    /// The text of the sidecar, in the order of the contract. Empty slots stay.
    pub fn to_json(&self) -> String {
        pretty(self)
    }

    /// The checked sidecar that it is, together with its visit.
    ///
    /// # Errors
    /// As [`Sidecar::parse`], without line and column.
    pub fn sidecar(&self, visit: Option<&Visit>) -> Result<Sidecar> {
        let merged = Sidecar::merge(self.clone(), visit).map_err(|fault| fault.into_error(None))?;
        merged.check()?;
        Ok(merged)
    }

    /// The sidecar that it will be: where nothing says yet which foot it is, or from where it is seen, a left fore from the side
    /// stands in. No value depends on the foot.
    ///
    /// # Errors
    /// As [`Draft::sidecar`].
    pub fn provisional(&self, visit: Option<&Visit>) -> Result<Sidecar> {
        let mut assumed = self.clone();
        assumed.view.get_or_insert(View::Lateral);
        let known = visit.is_some_and(|v| v.subject.as_ref().is_some_and(|s| s.foot.is_some()));
        if !known {
            assumed.subject.get_or_insert_with(SharedSubject::default).foot.get_or_insert(Foot::LeftFore);
        }
        assumed.sidecar(visit)
    }

    /// As much of it as can stand in a sidecar, and why the rest cannot yet: a scale of which too few graduations are marked, a
    /// line still of one point, an outline that crosses itself.
    ///
    /// # Errors
    /// Where something else is wrong with it.
    pub fn settled(&self, visit: Option<&Visit>) -> Result<(Self, Option<crate::Error>)> {
        let Err(why) = self.provisional(visit) else { return Ok((self.clone(), None)) };
        let mut kept = self.clone();
        let points = kept.scale.as_mut().and_then(|s| s.points.replace(Vec::new()));
        for (_, line) in &mut kept.lines.0 {
            *line = None;
        }
        kept.provisional(visit)?;
        let mut with = kept.clone();
        if let Some(scale) = &mut with.scale {
            scale.points = points;
            if with.provisional(visit).is_ok() {
                kept = with;
            }
        }
        for (i, (_, line)) in self.lines.0.iter().enumerate() {
            let mut with = kept.clone();
            with.lines.0[i].1.clone_from(line);
            if with.provisional(visit).is_ok() {
                kept = with;
            }
        }
        Ok((kept, Some(why)))
    }
}

impl Serialize for Draft {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        let mut map = s.serialize_map(None)?;
        map.serialize_entry("format", Sidecar::FORMAT)?;
        map.serialize_entry("photo", &self.photo)?;
        some(&mut map, "subject", &self.subject)?;
        // Said or not, these are what a reader looks for first.
        map.serialize_entry("view", &self.view)?;
        some(&mut map, "side", &self.side)?;
        some(&mut map, "stage", &self.stage)?;
        some(&mut map, "surface", &self.surface)?;
        some(&mut map, "taken", &self.taken)?;
        some(&mut map, "observer", &self.observer)?;
        some(&mut map, "lens", &self.lens)?;
        some(&mut map, "scale", &self.scale)?;
        if !self.planes.is_empty() {
            map.serialize_entry("planes", &self.planes)?;
        }
        let landmarks = in_order(
            &self.landmarks.0,
            self.view.into_iter().flat_map(Landmark::of).chain(Landmark::ALL.iter().copied()).map(Landmark::name),
        );
        if !landmarks.is_empty() {
            map.serialize_entry("landmarks", &Slots(landmarks))?;
        }
        let lines = in_order(&self.lines.0, Line::ALL.iter().map(|l| l.name()));
        if !lines.is_empty() {
            map.serialize_entry("lines", &Slots(lines))?;
        }
        some(&mut map, "gauge", &self.gauge)?;
        some(&mut map, "notes", &self.notes)?;
        map.end()
    }
}

/// Slots in the order of the contract.
fn in_order<'s, V>(
    slots: &'s [(&'static str, Option<V>)],
    names: impl Iterator<Item = &'static str>,
) -> Vec<(&'static str, Option<&'s V>)> {
    let mut out: Vec<(&str, Option<&V>)> = Vec::with_capacity(slots.len());
    for name in names {
        // A name of both views comes twice.
        let new = out.iter().all(|(n, _)| *n != name);
        if let Some((name, slot)) = slots.iter().find(|(n, _)| *n == name && new) {
            out.push((name, slot.as_ref()));
        }
    }
    out
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::sidecar::{Graduation, Placement};

    #[test]
    fn a_new_draft_of_any_name_is_its_template() {
        for name in ["LF-side.jpg", "rh sole after.jpg", "IMG_1.jpg", "<b>\"&.jpg", "\u{202e}gpj.jpg"] {
            let draft = Draft::start(name, 400, 300, Some("2026-05-04T09:30:00"));
            assert_eq!(draft.photo.file, name);
            assert_eq!(Draft::parse(&draft.to_json()).unwrap(), draft, "{name}");
            assert_eq!(draft.settled(None).unwrap(), (draft.clone(), None), "{name}");
        }
    }

    #[test]
    fn what_cannot_stand_yet_is_kept_back_and_the_rest_stays() {
        let mut draft = Draft::start("LF-side.jpg", 400, 300, None);
        draft.landmarks.0[0].1 = Some(Placement::once([10.0, 20.0]));
        draft.scale.as_mut().unwrap().points = Some(vec![Graduation::along(0.0, [1.0, 2.0])]);
        draft.lines.0[0].1 = Some(vec![[1.0, 1.0]]);
        draft.lines.0[1].1 = Some(vec![[1.0, 1.0], [5.0, 5.0]]);
        let (kept, why) = draft.settled(None).unwrap();
        assert!(why.is_some());
        assert_eq!(kept.landmarks, draft.landmarks);
        assert_eq!(kept.scale.as_ref().unwrap().points, Some(Vec::new()));
        assert_eq!((kept.lines.0[0].1.clone(), kept.lines.0[1].1.clone()), (None, draft.lines.0[1].1.clone()));
        draft.landmarks.0[0].1 = Some(Placement::once([10.0, 2000.0]));
        assert!(draft.settled(None).unwrap_err().what().contains("outside the photo"));
    }

    #[test]
    fn keys_of_a_later_version_are_refused() {
        let text = Draft::start("LF-side.jpg", 400, 300, None).to_json().replace("\"scale\"", "\"scales\"");
        assert!(Draft::parse(&text).unwrap_err().to_string().contains("scales"));
    }
}
