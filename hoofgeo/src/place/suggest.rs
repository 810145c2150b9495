//! What is offered while a photo is marked: the library's suggestions, of a shape learned from what was placed on this machine.

use super::beside::Beside;
use super::desk::Desk;
use super::ruler::Rulers;
use super::tiles::Cache;
use crate::View;
use crate::sidecar::{Draft, Sidecar};
use crate::suggest::{Example, Shape, Suggestions, suggest};
use serde_json::{Map, Value as Json, json};
use std::sync::{Mutex, PoisonError};

/// Sidecars of earlier visits that are learned from at most, those of the folders named last.
const MOST_EXAMPLES: usize = 400;

/// The shape that was used last.
#[derive(Debug, Default)]
pub(super) struct Suggester {
    /// Of which photo, and what its visit taught then.
    last: Mutex<Option<(usize, usize, Shape)>>,
}

impl Suggester {
    /// What can be offered for a photo as it is marked. Nothing to observers, and nobody who places once more: how far persons agree is
    /// not to be learned from the program's own say.
    pub(super) fn offer(
        &self,
        (desk, beside): (&Desk, &Beside),
        rulers: &Rulers,
        tiles: &Cache,
        (id, draft): (usize, &Draft),
    ) -> Json {
        if desk.options.repeat || desk.options.out.is_some() {
            return json!({ "landmarks": {}, "lines": {} });
        }
        let Ok((sidecar, lens, _)) = desk.settled(id, draft) else { return json!({ "landmarks": {}, "lines": {} }) };
        let shape = self.shape(desk, beside, id, &sidecar);
        let scaled = sidecar.scale.as_ref().is_some_and(|s| s.points.len() > 1);
        let enough = sidecar.landmarks.len() > 1 || sidecar.lines.values().any(|p| p.len() > 3);
        let grey = if scaled && enough { rulers.grey_of(desk, tiles, id).ok() } else { None };
        offered(&suggest(grey.as_deref(), &sidecar, &lens.prior, &shape))
    }

    fn shape(&self, desk: &Desk, beside: &Beside, id: usize, sidecar: &Sidecar) -> Shape {
        let mut last = self.last.lock().unwrap_or_else(PoisonError::into_inner);
        let own: Vec<(View, Example)> =
            (0..desk.photos.len()).filter(|other| *other != id).filter_map(|other| desk.example(other)).collect();
        let known = own.len();
        if let Some((_, _, shape)) =
            last.as_ref().filter(|(of, n, shape)| (*of, *n) == (id, known) && shape.view() == sidecar.view)
        {
            return shape.clone();
        }
        let earlier = beside.earlier(desk).iter().take(MOST_EXAMPLES).map(|e| &e.sidecar);
        let earlier = earlier.filter(|s| s.view == sidecar.view).filter_map(Example::of);
        let own = own.into_iter().filter(|(view, _)| *view == sidecar.view);
        let examples: Vec<Example> = earlier.chain(own.map(|(_, e)| e)).collect();
        let animal = Some(sidecar.subject.animal.as_str()).filter(|a| !a.is_empty());
        let shape = Shape::prior(sidecar.view).learned(&examples, animal, Some(sidecar.subject.foot));
        *last = Some((id, known, shape.clone()));
        shape
    }
}

fn offered(suggestions: &Suggestions) -> Json {
    let landmarks: Map<String, Json> = suggestions
        .landmarks
        .iter()
        .map(|s| {
            let mut offer = json!({ "at": s.at, "u_mm": s.u_mm });
            if let Some(snapped) = &s.snapped {
                offer["snapped"] = json!(snapped);
            }
            (s.landmark.name().to_owned(), offer)
        })
        .collect();
    let lines: Map<String, Json> = suggestions
        .lines
        .iter()
        .map(|s| (s.line.name().to_owned(), json!({ "points": s.points, "says": s.found.to_string() })))
        .collect();
    json!({ "landmarks": landmarks, "lines": lines })
}
