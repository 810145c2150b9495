//! The files of one photo: its sidecar, and beside it what cannot stand in a sidecar yet.
//!
//! Everything is written at once and whole, and is on the disk before it counts as saved. What a sidecar cannot hold (a single
//! graduation, a line of one point, which placements are of an earlier round) stands in a hidden file beside it, so that no click is
//! lost where the program ends in between, or the power does. How another program's change in that moment is kept: `save.rs`.

use super::save::{Replaced, beside, replace};
use crate::error::{Error, Result};
use crate::file::{FileKind, read_if_there};
use crate::photo::Sha256Hex;
use crate::sidecar::{Draft, Placement};
use crate::visit::{SIDECAR_SUFFIX, sync_folder, write_durably};
use serde_json::{Value as Json, json};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// How many placements of each landmark are of earlier rounds.
pub(super) type Counts = BTreeMap<String, usize>;

/// Where a photo's sidecar stands.
#[derive(Debug, Clone)]
pub(super) struct Files {
    pub(super) sidecar: PathBuf,
    note: PathBuf,
}

/// What the files say now.
#[derive(Debug, Clone, Default)]
pub(super) struct Stored {
    pub(super) sidecar: Option<Vec<u8>>,
    note: Option<Vec<u8>>,
}

/// What the hidden file says.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Note {
    /// Fingerprints of the sidecars that it goes with, the new one and the one before; none stands for no sidecar.
    pub(super) of: Vec<Option<String>>,
    /// The whole draft, where the sidecar could not take all of it.
    pub(super) draft: Option<Draft>,
    /// The earlier rounds.
    pub(super) earlier: Option<Counts>,
    /// Landmarks of the earlier rounds that were said not to be seen in this one.
    pub(super) unseen: BTreeSet<String>,
    /// What was answered about reading the ruler between two marks, while that keeps the marks out of the sidecar.
    pub(super) reading: Option<Reading>,
}

/// Why two marks of a ruler stand in no sidecar yet: `measure` would read the ruler between them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Reading {
    /// Whether it is to be read is not answered yet.
    Open,
    /// It is not to be read.
    Declined,
}

impl Reading {
    /// As page and file name it.
    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Declined => "declined",
        }
    }

    pub(super) fn find(name: &str) -> Option<Self> {
        [Self::Open, Self::Declined].into_iter().find(|r| r.name() == name)
    }
}

const NOTE_FORMAT: &str = "hoofgeo-place/1";

impl Files {
    /// The files of the photo at this path, whether it exists or not.
    pub(super) fn of(photo: &Path) -> Self {
        let beside = |before: &str, after: &str| {
            let mut name = std::ffi::OsString::from(before);
            name.push(photo.file_name().unwrap_or_default());
            name.push(after);
            photo.with_file_name(name)
        };
        Self { sidecar: beside("", SIDECAR_SUFFIX), note: beside(".", ".place.json") }
    }

    pub(super) fn read(&self) -> Result<Stored> {
        let sidecar = read_if_there(&self.sidecar, FileKind::Sidecar)?;
        Ok(Stored { sidecar, note: read_if_there(&self.note, FileKind::Draft)? })
    }

    /// Writes what changed, unless another program has written the sidecar since it was read.
    pub(super) fn write(&self, before: &Stored, sidecar: &Draft, mut note: Note) -> Result<Wrote> {
        let mut text = Some(sidecar.to_json().into_bytes());
        // A file that says the same already is left as a person has laid it out.
        if before
            .sidecar
            .as_ref()
            .is_some_and(|old| Draft::parse_bytes(old).is_ok_and(|old| old.to_json() == sidecar.to_json()))
        {
            text.clone_from(&before.sidecar);
        }
        // The hidden file goes first and belongs to both sidecars, the old one and the new: wherever this is cut off, nothing is lost.
        note.of = vec![fingerprint(text.as_deref()), fingerprint(before.sidecar.as_deref())];
        note.of.dedup();
        let last = (note.draft.is_some() || note.earlier.is_some()).then(|| note.to_json().into_bytes());
        let mut first = last.clone();
        if note.draft.is_none() && before.note().draft.is_some() {
            note.draft = Some(sidecar.clone());
            first = Some(note.to_json().into_bytes());
        }
        if let Some(text) = first.as_ref().filter(|text| before.note.as_ref() != Some(text)) {
            write_durably(&self.note, text, true)?;
        }
        if let (Some(text), true) = (&text, text != before.sidecar)
            && let Replaced::Other { aside } = replace(&self.sidecar, before.sidecar.as_deref(), text)?
        {
            // The hidden file goes with the sidecars from before.
            if first != before.note {
                self.write_note(before.note.as_deref(), first.is_some())?;
            }
            return Ok(Wrote::Conflict { aside });
        }
        if last != first || (last.is_none() && before.note.is_some()) {
            self.write_note(last.as_deref(), first.is_some() || before.note.is_some())?;
        }
        Ok(Wrote::All(Stored { sidecar: text, note: last }))
    }

    /// Writes the hidden file, or removes it where there is to be none.
    fn write_note(&self, note: Option<&[u8]>, is_there: bool) -> Result<()> {
        match note {
            Some(note) => write_durably(&self.note, note, true),
            None if is_there => {
                let gone = std::fs::remove_file(&self.note).and_then(|()| sync_folder(&self.note));
                gone.map_err(|e| Error::io(&self.note, "cannot be removed", &e))
            }
            None => Ok(()),
        }
    }

    /// Puts a draft beside the sidecar, under a name that nothing else reads or writes; gives the name.
    pub(super) fn set_aside(&self, draft: &Draft) -> Result<String> {
        beside(&self.sidecar, "mine", draft.to_json().as_bytes())
    }
}

/// What became of files that were to be written.
#[derive(Debug)]
pub(super) enum Wrote {
    /// They say this now.
    All(Stored),
    /// Another program has written the sidecar meanwhile, and its version stands.
    Conflict {
        /// An earlier version of the other program, beside it.
        aside: Option<String>,
    },
}

impl Stored {
    /// Tells one state of the files from another.
    pub(super) fn version(&self) -> String {
        let mut both = Vec::new();
        for part in [&self.sidecar, &self.note] {
            match part {
                Some(bytes) => both.extend_from_slice(Sha256Hex::of(bytes).to_string().as_bytes()),
                None => both.push(b'-'),
            }
        }
        Sha256Hex::of(&both).to_string()
    }

    /// What the sidecar says.
    pub(super) fn draft(&self) -> Result<Option<Draft>> {
        self.sidecar.as_deref().map(Draft::parse_bytes).transpose()
    }

    /// The hidden file; nothing where it cannot be understood, for nobody but this program writes it.
    pub(super) fn note(&self) -> Note {
        self.note.as_deref().and_then(Note::parse).unwrap_or_default()
    }

    /// Whether the hidden file goes with the sidecar as it is now.
    pub(super) fn belong(&self) -> bool {
        self.note.is_some() && self.note().of.contains(&fingerprint(self.sidecar.as_deref()))
    }
}

impl Note {
    fn to_json(&self) -> String {
        let draft = self.draft.as_ref().map(Draft::to_json);
        let mut note = json!({ "format": NOTE_FORMAT, "of": self.of, "draft": draft, "earlier": self.earlier });
        if !self.unseen.is_empty() {
            note["unseen"] = json!(self.unseen);
        }
        if let Some(reading) = self.reading {
            note["reading"] = json!(reading.name());
        }
        note.to_string()
    }

    fn parse(bytes: &[u8]) -> Option<Self> {
        let json: Json = serde_json::from_slice(bytes).ok()?;
        if json["format"] != NOTE_FORMAT {
            return None;
        }
        let earlier = json["earlier"].as_object().map(|counts| {
            counts.iter().filter_map(|(name, n)| Some((name.clone(), usize::try_from(n.as_u64()?).ok()?))).collect()
        });
        let draft = json["draft"].as_str().and_then(|text| Draft::parse(text).ok());
        let texts =
            |json: &Json| json.as_array().into_iter().flatten().map(|t| t.as_str().map(str::to_owned)).collect();
        let (of, unseen): (Vec<_>, Vec<_>) = (texts(&json["of"]), texts(&json["unseen"]));
        let reading = json["reading"].as_str().and_then(Reading::find);
        Some(Self { of, draft, earlier, unseen: unseen.into_iter().flatten().collect(), reading })
    }
}

/// A file's fingerprint; none where there is no file.
fn fingerprint(bytes: Option<&[u8]>) -> Option<String> {
    bytes.map(|bytes| Sha256Hex::of(bytes).to_string())
}

/// A draft without the placements of earlier rounds and without its lines, which would show where those were. What was said not to be
/// seen in this round has no slot in it.
pub(super) fn without_earlier(draft: &Draft, earlier: &Counts, unseen: &BTreeSet<String>) -> Draft {
    let mut seen = draft.clone();
    for (name, slot) in &mut seen.landmarks.0 {
        let count = earlier.get(*name).copied().unwrap_or(0);
        if let Some(placement) = slot {
            placement.at.drain(..count.min(placement.at.len()));
            if placement.at.is_empty() {
                *slot = None;
            }
        }
    }
    seen.landmarks.0.retain(|(name, slot)| slot.is_some() || !unseen.contains(*name));
    seen.lines.0.clear();
    seen
}

/// Which landmarks of earlier rounds a round has no slot for.
pub(super) fn unseen(seen: &Draft, earlier: &Counts) -> BTreeSet<String> {
    earlier.keys().filter(|name| seen.landmarks.0.iter().all(|(n, _)| n != name)).cloned().collect()
}

/// What is stored when `seen` was made of `stored` without its earlier rounds.
pub(super) fn with_earlier(seen: &Draft, stored: &Draft, earlier: &Counts) -> Draft {
    let mut whole = seen.clone();
    whole.lines = stored.lines.clone();
    for (name, before) in &stored.landmarks.0 {
        let count = earlier.get(*name).copied().unwrap_or(0);
        let Some(before) = before.as_ref().filter(|_| count > 0) else { continue };
        let mut at: Vec<[f64; 2]> = before.at.iter().take(count).copied().collect();
        let slot = whole.landmarks.0.iter_mut().find(|(n, _)| n == name);
        let now = slot.as_ref().and_then(|(_, p)| p.as_ref()).map(|p| p.at.clone()).unwrap_or_default();
        at.extend(now);
        // One of several placements is no edge's and no other photo's any more.
        let alone = at == before.at;
        let snapped = before.snapped.filter(|_| alone);
        let carried = before.carried.clone().filter(|_| alone);
        let suggested = before.suggested.filter(|_| alone);
        let placement = Some(Placement { at, snapped, carried, suggested, ..before.clone() });
        match slot {
            Some((_, slot)) => *slot = placement,
            None => whole.landmarks.0.push((*name, placement)),
        }
    }
    whole
}

/// How many placements each landmark has.
pub(super) fn counts(draft: &Draft) -> Counts {
    let placed = draft.landmarks.0.iter().filter_map(|(name, p)| Some(((*name).to_owned(), p.as_ref()?.at.len())));
    placed.collect()
}

/// Whether every landmark of the earlier rounds was placed once more, or said not to be seen.
pub(super) fn round_is_done(draft: &Draft, earlier: &Counts, unseen: &BTreeSet<String>) -> bool {
    let now = counts(draft);
    let again = |name: &String, n: &usize| unseen.contains(name) || now.get(name).is_some_and(|m| m > n);
    !earlier.is_empty() && earlier.iter().all(|(name, n)| again(name, n))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    fn write(files: &Files, before: &Stored, sidecar: &Draft, note: Note) -> Stored {
        match files.write(before, sidecar, note).unwrap() {
            Wrote::All(stored) => stored,
            Wrote::Conflict { .. } => panic!("nobody else writes here"),
        }
    }

    fn draft() -> Draft {
        let mut draft = Draft::start("LF-side.jpg", 400, 300, None);
        draft.landmarks.0[0].1 =
            Some(Placement { at: vec![[1.0, 2.0], [3.0, 4.0]], u_mm: Some(0.5), ..Placement::default() });
        draft.lines.0[0].1 = Some(vec![[1.0, 1.0], [2.0, 2.0]]);
        draft
    }

    #[test]
    fn a_round_hides_the_earlier_ones_and_adds_to_them() {
        let stored = draft();
        let earlier = counts(&stored);
        let none = BTreeSet::new();
        let mut seen = without_earlier(&stored, &earlier, &none);
        assert!(seen.landmarks.0.iter().all(|(_, p)| p.is_none()) && seen.lines.0.is_empty());
        assert_eq!(with_earlier(&seen, &stored, &earlier), stored);
        assert!(!round_is_done(&stored, &earlier, &none));
        seen.landmarks.0[0].1 = Some(Placement::once([5.0, 6.0]));
        let whole = with_earlier(&seen, &stored, &earlier);
        let placed = whole.landmarks.0[0].1.as_ref().unwrap();
        assert_eq!((placed.at.as_slice(), placed.u_mm), ([[1.0, 2.0], [3.0, 4.0], [5.0, 6.0]].as_slice(), Some(0.5)));
        assert_eq!(whole.lines, stored.lines);
        assert!(round_is_done(&whole, &earlier, &none));
        // What is said not to be seen this time keeps its earlier placements.
        let (name, _) = seen.landmarks.0.remove(0);
        let whole = with_earlier(&seen, &stored, &earlier);
        assert_eq!(counts(&whole), earlier);
        // It is not asked for again in this round.
        let not = unseen(&seen, &earlier);
        assert_eq!(not, BTreeSet::from([name.to_owned()]));
        assert!(round_is_done(&whole, &earlier, &not));
        assert_eq!(without_earlier(&whole, &earlier, &not).landmarks, seen.landmarks);
    }

    #[test]
    fn files_are_written_together_and_only_where_they_change() {
        let dir = tempfile::tempdir().unwrap();
        let files = Files::of(&dir.path().join("LF-side.jpg"));
        let mut draft = draft();
        let first = write(&files, &Stored::default(), &draft, Note::default());
        assert_eq!(files.read().unwrap().version(), first.version());
        // Laid out otherwise, the same content stays as it is.
        let by_hand = String::from_utf8(first.sidecar.clone().unwrap()).unwrap().replace("  ", "");
        std::fs::write(&files.sidecar, &by_hand).unwrap();
        let stored = files.read().unwrap();
        let second = write(&files, &stored, &draft, Note::default());
        assert_eq!(second.sidecar.as_deref(), Some(by_hand.as_bytes()));
        draft.landmarks.0[0].1 = None;
        let note = Note {
            draft: Some(draft.clone()),
            earlier: Some(Counts::from([("toe_ground".into(), 2)])),
            ..Note::default()
        };
        let third = write(&files, &second, &draft, note.clone());
        assert!(third.belong() && third.note().draft == note.draft && third.note().earlier == note.earlier);
        assert_eq!(files.read().unwrap().version(), third.version());
        let fourth = write(&files, &third, &draft, Note::default());
        assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 1);
        assert_eq!(fourth.version(), files.read().unwrap().version());
        // Wherever writing was cut off, by the power or a crash, what was to be written is known: with the old sidecar and the new one.
        let mut moved = draft.clone();
        moved.landmarks.0[0].1 = Some(Placement::once([7.0, 8.0]));
        let unsettled = Note { draft: Some(moved.clone()), ..Note::default() };
        let cut = write(&files, &fourth, &moved, unsettled);
        let [old, new] = [&fourth, &cut].map(|s| s.sidecar.clone().unwrap());
        for sidecar in [&old, &new] {
            std::fs::write(&files.sidecar, sidecar).unwrap();
            let found = files.read().unwrap();
            assert!(found.belong() && found.note().draft.as_ref() == Some(&moved));
        }
        std::fs::write(&files.sidecar, [&new[..], b"\n"].concat()).unwrap();
        assert!(!files.read().unwrap().belong());
        std::fs::write(&files.sidecar, &new).unwrap();
        write(&files, &cut, &moved, Note::default());
        assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 1);
        // Never over a sidecar that came in between.
        let late = files.write(&Stored::default(), &draft, Note::default()).unwrap();
        assert!(matches!(late, Wrote::Conflict { aside: None }));
        let aside = files.set_aside(&draft).unwrap();
        assert_eq!(aside, "LF-side.jpg.mine-1.json");
        assert_eq!(files.set_aside(&draft).unwrap(), "LF-side.jpg.mine-2.json");
    }
}
