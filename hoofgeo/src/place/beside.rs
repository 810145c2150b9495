//! What stands beside a value on the page: the limits that `review` holds it against, and how it differs from the last visit, as `follow`
//! reckons it.

use super::desk::Desk;
use crate::Side;
use crate::file::{FileKind, read_file};
use crate::follow::{FollowOptions, LensIdentity, Shot, Verdict, follow};
use crate::measured::Measured;
use crate::photo::PhotoFacts;
use crate::review::{PhotoValues, Rules, Stands, limit, percent, review_feet};
use crate::sidecar::{Draft, Sidecar};
use crate::uncertainty::print;
use crate::visit::{Entry, LensUsed, Session, without_suffix};
use serde_json::{Map, Value as Json, json};
use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

/// Sidecars beside the visit's folder that are read at most, and names in a folder that are looked at.
const MOST_SIDECARS: usize = 2000;
const MOST_NAMES: usize = 5000;

/// Earlier photos of the visit's feet: where they are, and those that were measured.
#[derive(Debug, Default)]
pub(super) struct Beside {
    earlier: OnceLock<Vec<Earlier>>,
    shots: Mutex<HashMap<PathBuf, Option<Arc<Shot>>>>,
}

/// An earlier photo with what its sidecar says.
#[derive(Debug)]
pub(super) struct Earlier {
    entry: Entry,
    pub(super) sidecar: Sidecar,
    day: String,
}

/// What the verdicts of `review` on one photo say, by measurement.
pub(super) fn verdicts(name: &str, sidecar: &Sidecar, measured: &Measured) -> Map<String, Json> {
    let photo = PhotoValues::new(name, sidecar, measured, None);
    let mut by_value: Map<String, Json> = Map::new();
    for verdict in review_feet(&[photo], &Rules::default()).iter().flat_map(|foot| &foot.verdicts) {
        let (rule, judged) = (&verdict.rule, &verdict.judged);
        let stands = match judged.stands {
            Stands::NotResolved => "not resolved".to_owned(),
            stands => stands.name().to_owned(),
        };
        let told = json!({
            "limit": limit(rule.when, rule.limit, &rule.unit),
            "stands": stands,
            "probability": percent(judged.probability_noted(rule.when)),
            "noted": judged.noted,
            "says": rule.says,
            "source": rule.source,
        });
        let list = by_value.entry(rule.measurement.clone()).or_insert_with(|| json!([]));
        if let Some(list) = list.as_array_mut() {
            list.push(told);
        }
    }
    by_value
}

impl Beside {
    /// The sidecars in the folders beside the visit's, the latest folder first.
    pub(super) fn earlier(&self, desk: &Desk) -> &[Earlier] {
        self.earlier.get_or_init(|| earlier(&desk.folder))
    }

    /// How the values differ from those of the last visit at the same foot, by measurement: none where there was no such visit, the day or
    /// the animal is not known, or the person is not to see earlier placements.
    pub(super) fn changes(
        &self,
        desk: &Desk,
        name: &str,
        sidecar: &Sidecar,
        measured: &Measured,
        (facts, lens): (&PhotoFacts, &LensUsed),
    ) -> Map<String, Json> {
        if desk.options.repeat || desk.options.out.is_some() || sidecar.subject.animal.is_empty() {
            return Map::new();
        }
        let taken = sidecar.taken.as_deref().or(facts.taken.as_deref());
        let identity = LensIdentity::of(&lens.prior, facts);
        let Ok(now) = Shot::new(name, sidecar, measured, taken, identity) else { return Map::new() };
        let Some(before) = self.before(desk, sidecar, &now) else { return Map::new() };
        let cases = follow(&[Shot::clone(&before), now], &FollowOptions::default());
        let series = cases.iter().flat_map(|case| &case.series);
        series
            .filter_map(|s| {
                let change = s.latest_change()?;
                let unit = s.measurement.quantity.unit();
                let text = print(change.difference, change.expanded(), unit).to_string();
                let sign = if change.difference > 0.0 { "+" } else { "" };
                let verdict = match change.verdict {
                    Verdict::Rose => "rose",
                    Verdict::Fell => "fell",
                    Verdict::NotResolved => "not resolved",
                };
                let told =
                    json!({ "text": format!("{sign}{text}"), "verdict": verdict, "since": change.from.to_string() });
                Some((s.measurement.id.to_owned(), told))
            })
            .collect()
    }

    /// The last earlier photo of the same foot from the same side, at the same stage, measured once.
    fn before(&self, desk: &Desk, sidecar: &Sidecar, now: &Shot) -> Option<Arc<Shot>> {
        let day = now.day.to_string();
        let same = |e: &&Earlier| {
            let s = &e.sidecar;
            s.subject.animal.trim().to_lowercase() == now.animal.to_lowercase()
                && (s.subject.foot, s.view, s.stage) == (sidecar.subject.foot, sidecar.view, sidecar.stage)
                && s.side.unwrap_or(Side::Lateral) == sidecar.side.unwrap_or(Side::Lateral)
                && e.day < day
        };
        let last = self.earlier(desk).iter().filter(same).max_by(|a, b| a.day.cmp(&b.day))?;
        let mut shots = self.shots.lock().unwrap_or_else(PoisonError::into_inner);
        let shot = shots.entry(last.entry.photo.clone()).or_insert_with(|| measured(&desk.session, &last.entry));
        shot.clone()
    }
}

fn measured(session: &Session, entry: &Entry) -> Option<Arc<Shot>> {
    Shot::of(session.measure(entry).ok()?).ok().map(Arc::new)
}

/// The sidecars that lie directly in the folders beside this one: nothing further down is looked at, for a visit may lie in a folder that
/// holds everything else too.
fn earlier(folder: &Path) -> Vec<Earlier> {
    let folder = std::path::absolute(folder).unwrap_or_else(|_| folder.to_path_buf());
    let Some(parent) = folder.parent() else { return Vec::new() };
    let inside = |folder: &Path| std::fs::read_dir(folder).into_iter().flatten().flatten().take(MOST_NAMES);
    let mut beside: Vec<_> = inside(parent).map(|e| e.path()).filter(|p| p.is_dir() && *p != folder).collect();
    // Folders are named by their day, as a rule.
    beside.sort();
    let photo_of = |e: std::fs::DirEntry| Some(e.path().with_file_name(without_suffix(&e.file_name())?));
    let photos = beside.iter().rev().flat_map(|visit| inside(visit).filter_map(photo_of));
    photos
        .map(Entry::at)
        .filter(|e| e.has_sidecar && e.has_photo)
        .take(MOST_SIDECARS)
        .filter_map(|entry| {
            let bytes = read_file(&entry.sidecar(), FileKind::Sidecar).ok()?;
            let visit = entry.visit.clone().transpose().ok().flatten();
            let sidecar = Draft::parse_bytes(&bytes).ok()?.sidecar(visit.as_deref()).ok()?;
            let taken = sidecar.taken.clone().or_else(|| crate::photo::read_facts(&entry.photo).ok()?.taken)?;
            Some(Earlier { day: taken.get(..10)?.to_owned(), entry, sidecar })
        })
        .collect()
}
