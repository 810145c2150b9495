//! The ruler as `measure` reads it from the pixels: shown over the photo before anything is measured with it.

use super::desk::{Desk, Photo};
use super::live::error_json;
use super::tiles::Cache;
use crate::error::{Error, ErrorKind, Result};
use crate::photo::decode_upright;
use crate::pixels::Grey;
use crate::pixels::ruler::Reading;
use crate::scale::{Graduation, ScaleKind};
use crate::sidecar::{Draft, Sidecar};
use crate::visit::ReadFrom;
use serde_json::{Value as Json, json};
use std::collections::HashMap;
use std::path::Path;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Pixels of a photo that stay decoded between two readings: a ruler's label is often put right, and then it is read once more.
const KEPT_PIXELS: u64 = 25_000_000;

/// Readings of the visit's rulers, and the pixels of the photo read last.
#[derive(Debug, Default)]
pub(super) struct Rulers {
    readings: Mutex<HashMap<usize, Kept>>,
    pixels: Mutex<Option<(usize, Arc<Grey>)>>,
}

/// The last reading of a photo, and what it started from.
#[derive(Debug)]
struct Kept {
    from: ReadFrom,
    read: Result<Arc<Reading>>,
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Rulers {
    /// What was read of a sidecar's ruler, as what a scene is estimated from. Between two marks only where that was asked for before; a
    /// ruler that is stated to be metric is read here, as `measure` does. None where nothing is to be read, or cannot.
    pub(super) fn graduations(
        &self,
        photo: &Photo,
        tiles: &Cache,
        id: usize,
        sidecar: &Sidecar,
    ) -> Option<Vec<Graduation>> {
        let from = ReadFrom::of(sidecar)?;
        let reading = match from {
            ReadFrom::Marks(_) => lock(&self.readings).get(&id).filter(|kept| kept.from == from)?.read.clone(),
            ReadFrom::Unmarked { .. } => self.read(id, &photo.entry.photo, tiles, from),
        };
        reading.ok().filter(|reading| from.accept(reading, sidecar).is_ok()).map(|reading| reading.observations())
    }

    /// Reads the ruler between a draft's two marks; where there are none, looks for it in the whole photo.
    pub(super) fn look(&self, desk: &Desk, tiles: &Cache, id: usize, draft: &Draft) -> Json {
        let photo = &desk.photos[id].entry.photo;
        let read = || {
            let sidecar = desk.settled(id, draft)?.0;
            let unmarked = sidecar.scale.as_ref().is_none_or(|s| s.points.is_empty());
            match ReadFrom::marks(&sidecar) {
                Some(marks) => self.read(id, photo, tiles, ReadFrom::Marks(marks)),
                None if unmarked && is_straight(&sidecar) => {
                    self.read(id, photo, tiles, ReadFrom::Unmarked { metric: true })
                }
                None => Err(Error::new(ErrorKind::Scale, "a straight ruler is read, by two marks or by none")),
            }
        };
        read().map_or_else(|e| json!({ "refused": error_json(&e) }), |reading| reading_json(&reading))
    }

    fn read(&self, id: usize, photo: &Path, tiles: &Cache, from: ReadFrom) -> Result<Arc<Reading>> {
        if let Some(kept) = lock(&self.readings).get(&id).filter(|kept| kept.from == from) {
            return kept.read.clone();
        }
        let read = from.read(&*self.grey(id, photo, tiles)?).map(Arc::new);
        lock(&self.readings).insert(id, Kept { from, read: read.clone() });
        read
    }

    /// A photo's pixels, as its ruler is read from them.
    pub(super) fn grey_of(&self, desk: &Desk, tiles: &Cache, id: usize) -> Result<Arc<Grey>> {
        self.grey(id, &desk.photos[id].entry.photo, tiles)
    }

    fn grey(&self, id: usize, photo: &Path, tiles: &Cache) -> Result<Arc<Grey>> {
        let mut pixels = lock(&self.pixels);
        if let Some((_, grey)) = pixels.as_ref().filter(|(of, _)| *of == id) {
            return Ok(Arc::clone(grey));
        }
        // The last photo's go before these come.
        *pixels = None;
        let _one_at_a_time = tiles.turn();
        let grey = Arc::new(Grey::of(&decode_upright(photo)?));
        if u64::from(grey.width()) * u64::from(grey.height()) <= KEPT_PIXELS {
            *pixels = Some((id, Arc::clone(&grey)));
        }
        Ok(grey)
    }
}

fn is_straight(sidecar: &Sidecar) -> bool {
    sidecar.scale.as_ref().is_none_or(|s| s.kind == ScaleKind::StraightRuler)
}

fn reading_json(reading: &Reading) -> Json {
    let rounded = |v: f64| (v * 1000.0).round() / 1000.0;
    let lines = reading.graduations.iter().map(|g| {
        json!([g.mm, rounded(g.at.x), rounded(g.at.y), rounded(g.direction.x), rounded(g.direction.y), rounded(g.u_px)])
    });
    json!({
        "lines": lines.collect::<Vec<_>>(),
        "step_mm": reading.step_mm,
        "rms_px": reading.evidence.rms_px,
        "found": reading.evidence.found,
        "numbered_by": reading.numbering.name(),
    })
}
