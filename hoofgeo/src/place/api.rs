//! What the page may ask for. Photos are named by their number in the visit, never by a path.

use super::assets;
use super::beside::Beside;
use super::catalogue::catalogue;
use super::desk::{Desk, Opened, Saved};
use super::files::Reading;
use super::guard::Guard;
use super::guide::landmark_guide;
use super::http::{Request, Response};
use super::live::{error_json, values};
use super::reports::Reports;
use super::ruler::Rulers;
use super::sheet::{Sheet, describe};
use super::suggest::Suggester;
use super::tiles::{Cache, TILE};
use crate::error::{Error, ErrorKind, Result};
use crate::file::{FileKind, read_file};
use crate::photo::Sha256Hex;
use crate::sidecar::Draft;
use crate::visit::{Outputs, Progress, Stop, VisitOptions, measure_folder};
use serde_json::{Value as Json, json};
use std::collections::HashMap;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};

/// Everything that requests share.
#[derive(Debug)]
pub(super) struct Service {
    pub(super) desk: Desk,
    pub(super) guard: Guard,
    pub(super) stop: Arc<Stop>,
    tiles: Cache,
    rulers: Rulers,
    sheet: Sheet,
    suggester: Suggester,
    beside: Beside,
    reports: Reports,
    /// Annotated pictures of the last measuring, by photo.
    pictures: Mutex<HashMap<usize, PathBuf>>,
}

impl Service {
    pub(super) fn new(desk: Desk, guard: Guard, stop: Arc<Stop>) -> Self {
        Self {
            desk,
            guard,
            stop,
            tiles: Cache::default(),
            rulers: Rulers::default(),
            sheet: Sheet::default(),
            suggester: Suggester::default(),
            beside: Beside::default(),
            reports: Reports::default(),
            pictures: Mutex::default(),
        }
    }

    /// The answer to a request.
    pub(super) fn answer(&self, request: &Request) -> Response {
        self.checked(request).unwrap_or_else(|refused| refused)
    }

    fn checked(&self, request: &Request) -> Result<Response, Response> {
        self.guard.admits(request)?;
        let parts: Vec<&str> = request.path.trim_start_matches('/').split('/').collect();
        let get = match request.method.as_str() {
            "GET" => true,
            "POST" => false,
            _ => return Err(Response::refusal(405, "only GET and POST")),
        };
        if let (true, ["report", key, page]) = (get, &parts[..]) {
            return number(page).and_then(|page| self.reports.page(key, page)).ok_or_else(not_found);
        }
        if let (true, ["guide"]) = (get, &parts[..]) {
            return Ok(Response::report(landmark_guide().into_bytes()));
        }
        // The page itself is the same for everyone and says nothing of the visit.
        let Some((&"api", parts)) = parts.split_first() else {
            let asset = assets::find(&request.path).filter(|_| get);
            return asset.map(|(kind, body)| Response::new(200, kind, body)).ok_or_else(not_found);
        };
        if let (false, ["session"]) = (get, parts) {
            return self.guard.session(request).map(|s| Response::json(200, &json!({ "session": s })));
        }
        self.guard.knows_key(request)?;
        match (get, parts) {
            (true, ["visit"]) => Ok(Response::json(200, &self.visit())),
            (false, ["finish"]) => self.finish(request),
            (false, ["sheet"]) => self.describe(request),
            (get, ["photo", id, rest @ ..]) => {
                let known = self.desk.photos.len();
                let id = number(id).filter(|id| *id < known).ok_or_else(not_found)?;
                self.photo(get, id, rest, request)
            }
            _ => Err(not_found()),
        }
    }

    fn photo(&self, get: bool, id: usize, rest: &[&str], request: &Request) -> Result<Response, Response> {
        let desk = &self.desk;
        match (get, rest) {
            (true, []) => {
                desk.open_photo(id).map(|o| Response::json(200, &self.opened(id, &o))).map_err(|e| failed(&e))
            }
            (true, ["version"]) => {
                desk.version(id).map(|v| Response::json(200, &json!({ "version": v }))).map_err(|e| failed(&e))
            }
            (true, ["tile", level, column, row]) => {
                let numbers = number(level).zip(number(column)).zip(number(row)).ok_or_else(not_found)?;
                let ((level, column), row) = numbers;
                let tiles = self.tiles.of(id, &desk.photos[id].entry.photo).map_err(|e| failed(&e))?;
                let side = |n: usize| u32::try_from(n).map_err(|_| not_found());
                let tile = tiles.tile(level, side(column)?, side(row)?).ok_or_else(not_found)?;
                Ok(Response::new(200, "image/jpeg", tile))
            }
            (true, ["small"]) => {
                let picture = self.sheet.picture(desk, &self.tiles, id).map_err(|e| failed(&e))?;
                Ok(Response::new(200, "image/jpeg", picture.as_slice()))
            }
            (true, ["look"]) => {
                self.sheet.look(desk, &self.tiles, id).map(|seen| Response::json(200, &seen)).map_err(|e| failed(&e))
            }
            (true, ["picture"]) => {
                let pictures = self.pictures.lock().unwrap_or_else(PoisonError::into_inner);
                let path = pictures.get(&id).ok_or_else(not_found)?;
                let jpeg = read_file(path, FileKind::Written);
                jpeg.map(|jpeg| Response::new(200, "image/jpeg", jpeg)).map_err(|_| not_found())
            }
            (false, []) => {
                let (draft, body) = draft_of(request)?;
                let base = body["base"].as_str().unwrap_or_default();
                let reading = body["reading"].as_str().and_then(Reading::find);
                match desk.save(id, base, &draft, reading).map_err(|e| failed(&e))? {
                    Saved::Written { version, unsettled } => Ok(Response::json(
                        200,
                        &json!({ "version": version, "unsettled": unsettled.as_ref().map(error_json), "summary": self.summary(id) }),
                    )),
                    Saved::Conflict { aside } => Err(Response::json(409, &json!({ "conflict": true, "aside": aside }))),
                }
            }
            (false, ["values"]) => {
                let (draft, body) = draft_of(request)?;
                Ok(Response::json(200, &self.values(id, &draft, body["read"] == true)))
            }
            (false, ["ruler"]) => {
                Ok(Response::json(200, &self.rulers.look(desk, &self.tiles, id, &draft_of(request)?.0)))
            }
            (false, ["suggest"]) => {
                let draft = draft_of(request)?.0;
                Ok(Response::json(
                    200,
                    &self.suggester.offer((desk, &self.beside), &self.rulers, &self.tiles, (id, &draft)),
                ))
            }
            (false, ["set_up"]) => {
                let mut draft = draft_of(request)?.0;
                let from = desk.set_up(id, &mut draft);
                Ok(Response::json(200, &json!({ "draft": draft, "from": from })))
            }
            (false, ["aside"]) => {
                let name = desk.set_aside(id, &draft_of(request)?.0).map_err(|e| failed(&e))?;
                Ok(Response::json(200, &json!({ "file": name })))
            }
            _ => Err(not_found()),
        }
    }

    /// What photos show, said on the contact sheet: their new summaries, and what could not be taken.
    fn describe(&self, request: &Request) -> Result<Response, Response> {
        let body: Json = serde_json::from_slice(&request.body).unwrap_or_default();
        let done = describe(&self.desk, &body).map_err(|e| failed(&e))?;
        let photos: Vec<Json> = done.iter().map(|(id, _)| self.summary(*id)).collect();
        let refused: Vec<Json> =
            done.iter().filter_map(|(id, why)| Some(json!({ "id": id, "why": why.as_ref()? }))).collect();
        Ok(Response::json(200, &json!({ "photos": photos, "refused": refused })))
    }

    fn visit(&self) -> Json {
        let desk = &self.desk;
        let folder = std::path::absolute(&desk.folder).unwrap_or_else(|_| desk.folder.clone());
        let photos: Vec<Json> = (0..desk.photos.len()).map(|id| self.summary(id)).collect();
        json!({
            "program": env!("CARGO_PKG_VERSION"),
            "folder": folder.file_name().map(|n| n.to_string_lossy()),
            // Names the visit in the browser's own storage.
            "id": &Sha256Hex::of(desk.working_folder().to_string_lossy().as_bytes()).to_string()[..16],
            "observer": desk.options.observer,
            "repeat": desk.options.repeat,
            "results": desk.results_folder().to_string_lossy(),
            "tile": TILE,
            "catalogue": catalogue(),
            "photos": photos,
        })
    }

    /// A photo in the list.
    fn summary(&self, id: usize) -> Json {
        let name = &self.desk.photos[id].entry.name;
        let opened = match self.desk.open_photo(id) {
            Ok(opened) => opened,
            Err(e) => return json!({ "id": id, "name": name, "state": "refused", "why": error_json(&e) }),
        };
        let d = &opened.draft;
        let placed = d.landmarks.0.iter().filter(|(_, p)| p.is_some()).count();
        let open: Vec<&str> = d.landmarks.0.iter().filter(|(_, p)| p.is_none()).map(|(n, _)| *n).collect();
        let marks = d.scale.as_ref().and_then(|s| s.points.as_ref()).map_or(0, Vec::len);
        let whole = opened.unsettled.is_none() && d.view.is_some() && marks > 1 && placed > 0 && open.is_empty();
        let state = match (whole, placed + marks) {
            (true, _) => "done",
            (false, 0) => "new",
            (false, _) => "begun",
        };
        let foot = d.subject.as_ref().and_then(|s| s.foot);
        let shared = self.desk.shared(id).ok().flatten();
        let animal = d.subject.as_ref().and_then(|s| s.animal.clone());
        let animal = animal.or_else(|| shared.and_then(|v| v.subject.as_ref()?.animal.clone()));
        json!({
            "animal": animal, "taken": opened.facts.taken,
            "id": id, "name": name, "state": state, "placed": placed, "open": open.len(), "marks": marks,
            "unsettled": opened.unsettled.is_some(),
            "foot": foot, "view": d.view, "side": d.side, "stage": d.stage, "closed": opened.closed,
            "nameless": placed + marks > 0 && opened.closed.is_none() && self.desk.is_nameless(id, d),
        })
    }

    fn opened(&self, id: usize, opened: &Opened) -> Json {
        let visit = self.desk.shared(id).ok().flatten();
        let Opened { facts, draft, version, copied_from, left_over, closed, unsettled, reading } = opened;
        json!({
            "id": id,
            "name": self.desk.photos[id].entry.name,
            "width": facts.width_px,
            "height": facts.height_px,
            "remarks": facts.remarks.iter().map(ToString::to_string).collect::<Vec<_>>(),
            "draft": draft,
            "shared": visit.as_deref(),
            "version": version,
            "copied_from": copied_from,
            "left_over": left_over,
            "closed": closed,
            "unsettled": unsettled.as_ref().map(error_json),
            "reading": reading.map(Reading::name),
            "values": self.values(id, draft, false),
        })
    }

    /// The values of a draft, with what is read of its ruler: of two marks where `between`, and always where it is stated to be metric.
    fn values(&self, id: usize, draft: &Draft, between: bool) -> Json {
        values((&self.desk, &self.beside), id, draft, |sidecar| {
            let marked = sidecar.scale.as_ref().is_some_and(|s| !s.points.is_empty());
            let read = || self.rulers.graduations(&self.desk.photos[id], &self.tiles, id, sidecar);
            (between || !marked).then(read).flatten()
        })
    }

    /// Measures the visit as it stands on disk; an animal's name goes to the sidecars that have none first.
    fn finish(&self, request: &Request) -> Result<Response, Response> {
        let desk = &self.desk;
        let body: Json = serde_json::from_slice(&request.body).unwrap_or_default();
        if let Some(animal) = body["animal"].as_str().map(str::trim).filter(|name| !name.is_empty()) {
            desk.name_animal(animal).map_err(|e| failed(&e))?;
        }
        let folder = desk.results_folder();
        let outputs = Outputs::in_folder(&folder).anew(true);
        // Pictures and report show every placement: not to somebody who places once more without having seen the first.
        let unseen = desk.options.repeat;
        // As `measure` and `report` do, between two marks too.
        let options = VisitOptions { pictures: true, ..VisitOptions::usual() };
        let (mut rows, mut refused, mut found) = (Vec::new(), Vec::new(), HashMap::new());
        let end =
            measure_folder(desk.working_folder(), &outputs, &options, &self.stop, &mut |progress| match progress {
                Progress::Measured(report) => {
                    let id = desk.photos.iter().position(|p| p.entry.name == report.name);
                    let picture = report.picture.as_ref().and_then(|p| p.as_ref().ok()).filter(|_| !unseen);
                    if let (Some(id), Some(picture)) = (id, picture) {
                        found.insert(id, folder.join(picture));
                    }
                    rows.push(json!({
                        "id": id, "name": report.name, "values": report.measured.values.len(),
                        "picture": picture.is_some(),
                        "read": report.ruler.as_ref().and_then(|r| r.as_ref().ok()).map(|r| r.graduations.len()),
                    }));
                }
                // Everything is measured anew: the page tells what was read of the rulers.
                Progress::Unchanged(_) => {}
                Progress::Refused(e) | Progress::NoPicture(e) | Progress::PassedOver(e) => refused.push(error_json(e)),
            });
        match end {
            Err(e) => Err(failed(&e)),
            Ok(summary) => {
                *self.pictures.lock().unwrap_or_else(PoisonError::into_inner) = found;
                Ok(Response::json(
                    200,
                    &json!({
                        "folder": folder.to_string_lossy(), "measured": summary.measured, "photos": rows, "refused": refused,
                        "report": (!unseen).then(|| self.reports.make(desk)),
                    }),
                ))
            }
        }
    }
}

/// A number as the page writes it.
fn number(text: &str) -> Option<usize> {
    let plain = !text.is_empty() && text.len() < 8 && text.bytes().all(|b| b.is_ascii_digit());
    if plain { text.parse().ok() } else { None }
}

fn not_found() -> Response {
    Response::refusal(404, "there is nothing of this name")
}

fn failed(error: &Error) -> Response {
    let status = if error.kind() == ErrorKind::Io { 500 } else { 422 };
    Response::json(status, &json!({ "error": error_json(error) }))
}

/// The draft in a request's body, read as strictly as a sidecar's file.
fn draft_of(request: &Request) -> Result<(Draft, Json), Response> {
    let refused = |e: &Error| Response::json(422, &json!({ "error": error_json(e) }));
    let bad = |_| refused(&Error::new(ErrorKind::Format, "the request is not JSON"));
    let body: Json = serde_json::from_slice(&request.body).map_err(bad)?;
    let draft = Draft::parse(&body["draft"].to_string()).map_err(|e| refused(&e))?;
    Ok((draft, body))
}
