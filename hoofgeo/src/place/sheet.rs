//! The contact sheet: the visit's photos as small pictures, what `check` says of them, and what each shows said in one go.
//!
//! The preview that the camera put into the file is shown first, where there is one. Then each photo is decoded for its remarks and a better
//! picture, one photo at a time, and its pixels are let go.

use super::desk::{Desk, Saved};
use super::live::error_json;
use super::tiles::Cache;
use crate::error::{Error, ErrorKind, Result};
use crate::file::{FileKind, read_file};
use crate::photo::{PhotoFacts, Sha256Hex, decode_upright_bytes, embedded_preview, facts_from_bytes};
use crate::picture::{encode_jpeg, resized};
use crate::sidecar::{Draft, SharedSubject};
use crate::visit::BarePhoto;
use crate::{Foot, Side, Stage, View};
use image::RgbImage;
use serde::Deserialize;
use serde_json::{Value as Json, json};
use std::collections::HashMap;
use std::path::Path;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Longer side of a picture on the sheet, px: sharp at the size it is shown on a screen of twice the usual density.
const SIDE: u32 = 480;
const QUALITY: u8 = 82;

/// Pictures kept, bytes: some 1500 of them.
const MOST_BYTES: usize = 48 << 20;

/// Pictures and remarks that were made.
#[derive(Debug, Default)]
pub(super) struct Sheet(Mutex<Kept>);

#[derive(Debug, Default)]
struct Kept {
    pictures: HashMap<usize, Arc<Vec<u8>>>,
    bytes: usize,
    remarks: HashMap<usize, Json>,
}

impl Sheet {
    fn kept(&self) -> MutexGuard<'_, Kept> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A small picture of a photo: the one made of its pixels, else the camera's preview, else one made now.
    pub(super) fn picture(&self, desk: &Desk, tiles: &Cache, id: usize) -> Result<Arc<Vec<u8>>> {
        if let Some(picture) = self.kept().pictures.get(&id) {
            return Ok(Arc::clone(picture));
        }
        let path = &desk.photos[id].entry.photo;
        let quick = || -> Result<Option<RgbImage>> {
            let bytes = read_file(path, FileKind::Photo)?;
            Ok(embedded_preview(&bytes, &facts_from_bytes(&bytes)?))
        };
        if let Some(preview) = quick().map_err(|e| e.in_file(path))? {
            return Ok(Arc::new(small(&preview)?));
        }
        let _one_at_a_time = tiles.turn();
        let decoded = Decoded::of(path)?;
        Ok(self.keep(id, small(&decoded.pixels)?))
    }

    /// What `check` says of a photo; its picture is made of the same pixels.
    pub(super) fn look(&self, desk: &Desk, tiles: &Cache, id: usize) -> Result<Json> {
        if let Some(remarks) = self.kept().remarks.get(&id) {
            return Ok(remarks.clone());
        }
        let entry = &desk.photos[id].entry;
        let _one_at_a_time = tiles.turn();
        let Decoded { facts, pixels, sha256 } = Decoded::of(&entry.photo)?;
        self.keep(id, small(&pixels)?);
        let seen = BarePhoto::of_decoded(entry, &facts, &pixels);
        let remarks = json!({ "urgency": seen.urgency.words(), "remarks": seen.remarks, "sha256": sha256.to_string() });
        self.kept().remarks.insert(id, remarks.clone());
        Ok(remarks)
    }

    fn keep(&self, id: usize, picture: Vec<u8>) -> Arc<Vec<u8>> {
        let picture = Arc::new(picture);
        let mut kept = self.kept();
        kept.bytes += picture.len();
        let before = kept.pictures.insert(id, Arc::clone(&picture));
        kept.bytes -= before.map_or(0, |p| p.len());
        // Which goes does not matter: it is made again when it is looked at.
        while kept.bytes > MOST_BYTES {
            let Some(other) = kept.pictures.keys().find(|k| **k != id).copied() else { break };
            kept.bytes -= kept.pictures.remove(&other).map_or(0, |p| p.len());
        }
        picture
    }
}

/// A photo's pixels and what is known of its file.
struct Decoded {
    facts: PhotoFacts,
    pixels: RgbImage,
    sha256: Sha256Hex,
}

impl Decoded {
    fn of(photo: &Path) -> Result<Self> {
        let decoded = || -> Result<Self> {
            let bytes = read_file(photo, FileKind::Photo)?;
            let facts = facts_from_bytes(&bytes)?;
            let pixels = decode_upright_bytes(&bytes, &facts)?;
            Ok(Self { facts, pixels, sha256: Sha256Hex::of(&bytes) })
        };
        decoded().map_err(|e| e.in_file(photo))
    }
}

/// As JPEG, no larger than a picture on the sheet.
fn small(photo: &RgbImage) -> Result<Vec<u8>> {
    let (width, height) = photo.dimensions();
    let longer = width.max(height);
    if longer <= SIDE {
        return encode_jpeg(photo, QUALITY);
    }
    let side = |n: u32| (n * SIDE / longer).max(1);
    let pixels = resized(photo, (side(width), side(height)))?;
    let picture = RgbImage::from_raw(side(width), side(height), pixels)
        .ok_or_else(|| Error::new(ErrorKind::Photo, "the photo cannot be made smaller"))?;
    encode_jpeg(&picture, QUALITY)
}

/// What one photo shows, as the sheet has it. What is not named stays as it is; null takes it away.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Shows {
    id: usize,
    #[serde(default, deserialize_with = "said")]
    foot: Option<Option<Foot>>,
    #[serde(default, deserialize_with = "said")]
    view: Option<Option<View>>,
    #[serde(default, deserialize_with = "said")]
    side: Option<Option<Side>>,
    #[serde(default, deserialize_with = "said")]
    stage: Option<Option<Stage>>,
    #[serde(default, deserialize_with = "said")]
    animal: Option<Option<String>>,
}

/// Tells a null from silence.
fn said<'de, T: Deserialize<'de>, D: serde::Deserializer<'de>>(d: D) -> Result<Option<Option<T>>, D::Error> {
    Option::deserialize(d).map(Some)
}

/// Says of photos what they show, each saved in its own sidecar; what became of each.
///
/// # Errors
/// Where the request cannot be understood. What a single photo's sidecar cannot take stands beside that photo.
pub(super) fn describe(desk: &Desk, body: &Json) -> Result<Vec<(usize, Option<Json>)>> {
    let bad = |e: serde_json::Error| Error::new(ErrorKind::Format, format!("the request cannot be understood: {e}"));
    let photos: Vec<Shows> = serde_json::from_value(body["photos"].clone()).map_err(bad)?;
    let known = |shows: &Shows| shows.id < desk.photos.len();
    Ok(photos
        .iter()
        .filter(|shows| known(shows))
        .map(|shows| (shows.id, describe_one(desk, shows).err().map(|e| error_json(&e))))
        .collect())
}

fn describe_one(desk: &Desk, shows: &Shows) -> Result<()> {
    let opened = desk.open_photo(shows.id)?;
    if let Some(why) = opened.closed {
        return Err(Error::new(ErrorKind::Usage, why));
    }
    let mut draft = opened.draft.clone();
    shows.apply(&mut draft, (opened.facts.width_px, opened.facts.height_px))?;
    if draft == opened.draft {
        return Ok(());
    }
    match desk.save(shows.id, &opened.version, &draft, opened.reading)? {
        Saved::Written { .. } => Ok(()),
        Saved::Conflict { .. } => {
            Err(Error::new(ErrorKind::Io, "another program has changed the sidecar meanwhile").help("say it once more"))
        }
    }
}

impl Shows {
    fn apply(&self, draft: &mut Draft, frame: (u32, u32)) -> Result<()> {
        let subject = draft.subject.get_or_insert_with(SharedSubject::default);
        if let Some(foot) = self.foot {
            subject.foot = foot;
        }
        if let Some(animal) = &self.animal {
            subject.animal = animal.as_deref().map(str::trim).filter(|a| !a.is_empty()).map(str::to_owned);
        }
        if let Some(stage) = self.stage {
            draft.stage = stage;
        }
        if let Some(view) = self.view.filter(|view| *view != draft.view) {
            seen_from(draft, view, frame)?;
        }
        if let Some(side) = self.side {
            draft.side = side;
        }
        if draft.view == Some(View::Solar) {
            draft.side = None;
        }
        Ok(())
    }
}

/// Gives a draft another view: the slots and planes of a new one of that view, where nothing is marked yet.
fn seen_from(draft: &mut Draft, view: Option<View>, (width, height): (u32, u32)) -> Result<()> {
    let marked = draft.landmarks.0.iter().any(|(_, p)| p.is_some()) || draft.lines.0.iter().any(|(_, p)| p.is_some());
    if marked {
        let what = "landmarks are marked on it already, of the view that it says";
        return Err(Error::new(ErrorKind::Usage, what).help("remove them first"));
    }
    let name = view.map_or_else(|| "photo.jpg".to_owned(), |view| format!("{view}.jpg"));
    let blank = Draft::start(&name, width, height, None);
    (draft.view, draft.landmarks, draft.lines, draft.planes) = (view, blank.landmarks, blank.lines, blank.planes);
    Ok(())
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::sidecar::Placement;

    fn shows(text: &str) -> Shows {
        serde_json::from_str(text).unwrap()
    }

    #[test]
    fn what_a_photo_shows_fills_its_draft() {
        let mut draft = Draft::start("IMG_2041.HEIC", 400, 300, None);
        let side = shows(r#"{ "id": 0, "foot": "RH", "view": "lateral", "stage": "before_trim", "animal": " Fen " }"#);
        side.apply(&mut draft, (400, 300)).unwrap();
        let named = Draft::start("RH-lateral-before.jpg", 400, 300, None);
        assert_eq!((draft.view, draft.stage, &draft.planes), (named.view, named.stage, &named.planes));
        assert_eq!((&draft.landmarks, &draft.lines), (&named.landmarks, &named.lines));
        assert_eq!(draft.subject.as_ref().unwrap().animal.as_deref(), Some("Fen"));
        // What is not named stays; null takes away.
        shows(r#"{ "id": 0, "stage": null }"#).apply(&mut draft, (400, 300)).unwrap();
        assert_eq!((draft.stage, draft.subject.as_ref().unwrap().foot), (None, Some(Foot::RightHind)));
        shows(r#"{ "id": 0, "side": "medial" }"#).apply(&mut draft, (400, 300)).unwrap();
        shows(r#"{ "id": 0, "view": "solar" }"#).apply(&mut draft, (400, 300)).unwrap();
        assert_eq!((draft.view, draft.side), (Some(View::Solar), None));
        // Marks keep the view that they are of.
        draft.landmarks.0[0].1 = Some(Placement::once([1.0, 2.0]));
        let why = side.apply(&mut draft, (400, 300)).unwrap_err();
        assert!(why.what().contains("marked"), "{why}");
    }
}
