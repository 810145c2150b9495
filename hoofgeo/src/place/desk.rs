//! The visit on the desk: its photos, what is placed on each, and saving it without losing or overwriting anything.

use super::files::{
    Counts, Files, Note, Reading, Stored, Wrote, counts, round_is_done, unseen, with_earlier, without_earlier,
};
use super::save::hold;
use crate::View;
use crate::error::{Error, ErrorKind, Result};
use crate::file::{FileKind, read_file};
use crate::measured::MeasureOptions;
use crate::photo::{PhotoFacts, read_facts};
use crate::sidecar::{Draft, SharedScale, SharedSubject, Sidecar, Visit};
use crate::suggest::Example;
use crate::visit::{
    Carrier, Entry, LensUsed, ReadFrom, Session, VISIT_FILE, belongs, folder_of, make_within, shown, sweep, walk,
};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};

/// Whose placements are made, and how.
#[derive(Debug, Clone, Default)]
pub struct PlaceOptions {
    /// Who places; written into every sidecar that is saved.
    pub observer: Option<String>,
    /// Whether landmarks that are placed already are placed once more, the earlier placements unseen.
    pub repeat: bool,
    /// A folder of this observer's own: sidecars are written there, each beside a link to (or a copy of) its photo, and the ones in
    /// the visit's folder stay as they are and unseen.
    pub out: Option<PathBuf>,
    /// Where the results of a finished visit go; `results` in the visit's folder where not said.
    pub results: Option<PathBuf>,
}

/// Where results go unless told otherwise, in the folder of the sidecars.
const RESULTS: &str = "results";

/// A folder of photos on which landmarks are placed.
#[derive(Debug)]
pub(super) struct Desk {
    pub(super) folder: PathBuf,
    pub(super) options: PlaceOptions,
    pub(super) photos: Vec<Photo>,
    pub(super) session: Session,
}

/// One photo of the visit.
#[derive(Debug)]
pub(super) struct Photo {
    pub(super) entry: Entry,
    files: Files,
    /// Held while its files are read and written.
    busy: Mutex<()>,
    facts: OnceLock<Result<PhotoFacts>>,
    /// The earlier rounds of a repeat, once known.
    earlier: Mutex<Option<Counts>>,
}

/// A photo as the page works on it.
#[derive(Debug)]
pub(super) struct Opened {
    pub(super) facts: PhotoFacts,
    pub(super) draft: Draft,
    pub(super) version: String,
    /// The photo whose scale, lens and planes a new draft was given.
    pub(super) copied_from: Option<String>,
    /// A draft of this program that the sidecar could not take, from before another program changed that.
    pub(super) left_over: Option<Draft>,
    /// Why nothing may be placed here.
    pub(super) closed: Option<String>,
    /// Why not all of it can stand in the sidecar yet.
    pub(super) unsettled: Option<Error>,
    /// What was answered about reading the ruler between two marks, where that keeps them out of the sidecar.
    pub(super) reading: Option<Reading>,
}

/// What became of a draft that was to be saved.
#[derive(Debug)]
pub(super) enum Saved {
    /// It is written.
    Written {
        version: String,
        /// Why not all of it stands in the sidecar.
        unsettled: Option<Error>,
    },
    /// The files are not those that it was made from.
    Conflict {
        /// An earlier version of another program that was put beside the sidecar, for it has written once more at the same moment.
        aside: Option<String>,
    },
}

impl Photo {
    fn visit(&self) -> Result<Option<Arc<Visit>>> {
        self.entry.visit.clone().transpose()
    }

    fn facts(&self) -> Result<PhotoFacts> {
        self.facts.get_or_init(|| read_facts(&self.entry.photo)).clone()
    }

    /// Whether another photo was taken with this one's camera and lens, as far as their headers say.
    fn same_lens(&self, theirs: &PhotoFacts) -> bool {
        let of = |f: &PhotoFacts| (f.make.clone(), f.model.clone(), f.lens_model.clone(), f.focal_mm.map(f64::to_bits));
        self.facts().is_ok_and(|own| of(&own) == of(theirs))
    }

    fn hold(&self) -> MutexGuard<'_, ()> {
        self.busy.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A draft where there is no sidecar yet.
    fn start(&self, facts: &PhotoFacts) -> Draft {
        let name = shown(self.entry.photo.file_name().unwrap_or_default());
        Draft::start(&name, facts.width_px, facts.height_px, facts.taken.as_deref())
    }

    /// Placements of earlier rounds: those of the round that was begun, else all there are.
    fn earlier(&self, stored: &Stored, whole: &Draft) -> Counts {
        let mut known = self.earlier.lock().unwrap_or_else(PoisonError::into_inner);
        let counts = known.get_or_insert_with(|| {
            let note = stored.note();
            let begun = note.earlier.filter(|earlier| !round_is_done(whole, earlier, &note.unseen));
            begun.unwrap_or_else(|| counts(whole))
        });
        counts.clone()
    }
}

impl Desk {
    pub(super) fn open(folder: &Path, options: PlaceOptions) -> Result<Self> {
        if !folder.is_dir() {
            let what = if folder.exists() { "is not a folder" } else { "does not exist" };
            return Err(Error::new(ErrorKind::Usage, what).in_file(folder).help("name the folder of a visit's photos"));
        }
        if options.out.is_some() && options.observer.is_none() {
            return Err(Error::new(ErrorKind::Usage, "a folder of one's own needs the observer's name")
                .help("add --observer NAME"));
        }
        if let Some(results) = options.results.is_none().then(|| folder.join(RESULTS)).filter(|r| r.is_symlink()) {
            return Err(Error::new(ErrorKind::Usage, "is a link, and results are not written where a link leads")
                .in_file(results)
                .help("remove the link, or name the folder of the results with --results"));
        }
        let skip: Vec<PathBuf> = options.out.iter().chain(&options.results).cloned().collect();
        let mut photos = Vec::new();
        for entry in walk(folder, &skip) {
            let entry = entry?;
            if !entry.has_photo {
                continue;
            }
            let at = match &options.out {
                Some(out) => out.join(entry.photo.strip_prefix(folder).unwrap_or(&entry.photo)),
                None => entry.photo.clone(),
            };
            photos.push(Photo {
                entry,
                files: Files::of(&at),
                busy: Mutex::default(),
                facts: OnceLock::new(),
                earlier: Mutex::default(),
            });
        }
        if photos.is_empty() {
            return Err(Error::new(ErrorKind::Usage, "no photo is in this folder")
                .in_file(folder)
                .help("name a folder of photos (jpg, png, tif, webp)"));
        }
        let desk = Self { folder: folder.to_path_buf(), options, photos, session: Session::usual()? };
        // What an earlier run that was killed has left.
        let mut swept: Option<&Path> = None;
        for folder in desk.photos.iter().map(|p| folder_of(&p.files.sidecar)) {
            if swept.replace(folder) != Some(folder) {
                sweep(folder);
            }
        }
        Ok(desk)
    }

    /// The folder whose sidecars are written.
    pub(super) fn working_folder(&self) -> &Path {
        self.options.out.as_deref().unwrap_or(&self.folder)
    }

    /// Waits until nothing is being written any more.
    pub(super) fn rest(&self) {
        for photo in &self.photos {
            drop(photo.hold());
        }
    }

    pub(super) fn results_folder(&self) -> PathBuf {
        self.options.results.clone().unwrap_or_else(|| self.working_folder().join(RESULTS))
    }

    /// A photo to work on.
    ///
    /// # Errors
    /// Where the photo or its sidecar cannot be read, or do not belong together: nothing is placed then, and nothing written over.
    pub(super) fn open_photo(&self, id: usize) -> Result<Opened> {
        let photo = &self.photos[id];
        let _hold = photo.hold();
        let facts = photo.facts()?;
        let visit = photo.visit()?;
        let stored = photo.files.read()?;
        let mut copied_from = None;
        let whole = match stored.draft().map_err(|e| e.in_file(&photo.files.sidecar))? {
            // What the photo shows was said, and nothing marked yet.
            Some(mut draft) if is_blank(&draft) => {
                copied_from = self.set_up(id, &mut draft);
                draft
            }
            Some(draft) => draft,
            None => {
                let mut draft = self.first(photo, &facts)?;
                copied_from = self.set_up(id, &mut draft);
                draft
            }
        };
        belongs(&whole.photo, &facts, &photo.entry)?;
        let closed = self.of_another(&whole, visit.as_deref());
        let note = stored.note();
        let (mut draft, mut left_over, mut unsettled, mut reading) = (whole, None, None, None);
        if let Some(mine) = note.draft {
            if stored.belong() {
                unsettled = settled(&mine, note.reading, visit.as_deref()).ok().and_then(|(_, why)| why);
                (draft, reading) = (mine, note.reading);
            } else {
                left_over = Some(mine);
            }
        }
        if self.options.repeat {
            let earlier = photo.earlier(&stored, &draft);
            // An earlier round is not to be seen in what another program's change has left over either.
            left_over = left_over.map(|mine| without_earlier(&mine, &earlier, &note.unseen));
            let begun = note.earlier.as_ref() == Some(&earlier);
            draft = without_earlier(&draft, &earlier, &if begun { note.unseen } else { Default::default() });
        }
        Ok(Opened { facts, draft, version: stored.version(), copied_from, left_over, closed, unsettled, reading })
    }

    /// The state of a photo's files.
    pub(super) fn version(&self, id: usize) -> Result<String> {
        let photo = &self.photos[id];
        let _hold = photo.hold();
        Ok(photo.files.read()?.version())
    }

    /// Saves a draft made from the files' state `base`. `reading` says why two marks of a ruler are kept out of the sidecar, where they
    /// are to be.
    ///
    /// # Errors
    /// Where the draft is of another photo, cannot be a sidecar whatever is left out, or cannot be written.
    pub(super) fn save(&self, id: usize, base: &str, seen: &Draft, reading: Option<Reading>) -> Result<Saved> {
        let photo = &self.photos[id];
        let _hold = photo.hold();
        let visit = photo.visit()?;
        let facts = photo.facts()?;
        belongs(&seen.photo, &facts, &photo.entry)?;
        self.make_place(photo)?;
        let _alone = hold(folder_of(&photo.files.sidecar))?;
        let stored = photo.files.read()?;
        if stored.version() != base {
            return Ok(Saved::Conflict { aside: None });
        }
        let before = stored.draft().map_err(|e| e.in_file(&photo.files.sidecar))?;
        if let Some(why) = before.as_ref().and_then(|b| self.of_another(b, visit.as_deref())) {
            return Err(Error::new(ErrorKind::Usage, why));
        }
        let mut whole = seen.clone();
        if let Some(observer) = &self.options.observer {
            whole.observer = Some(observer.clone());
        }
        let mut note = Note::default();
        if self.options.repeat {
            let first = stored.note().draft.filter(|_| stored.belong()).or(before);
            let first = first.unwrap_or_else(|| photo.start(&facts));
            let earlier = photo.earlier(&stored, &first);
            whole = with_earlier(&whole, &first, &earlier);
            note.unseen = unseen(seen, &earlier);
            note.earlier = Some(earlier);
        }
        if self.options.out.is_some() && whole.lens.is_none() && visit.as_ref().is_none_or(|v| v.lens.is_none()) {
            whole.lens = self.carried(photo, &facts)?;
        }
        let (settled, unsettled) = settled(&whole, reading, visit.as_deref())?;
        if unsettled.is_some() {
            (note.draft, note.reading) = (Some(whole), reading);
        }
        Ok(match photo.files.write(&stored, &settled, note)? {
            Wrote::All(after) => Saved::Written { version: after.version(), unsettled },
            Wrote::Conflict { aside } => Saved::Conflict { aside },
        })
    }

    /// Whether neither a draft nor its visit names the animal.
    pub(super) fn is_nameless(&self, id: usize, draft: &Draft) -> bool {
        let named = |s: &Option<SharedSubject>| s.as_ref().is_some_and(|s| s.animal.is_some());
        let visit = self.shared(id).ok().flatten();
        !named(&draft.subject) && !visit.is_some_and(|v| named(&v.subject))
    }

    /// Names the animal in every sidecar that something is marked in and that names none.
    ///
    /// # Errors
    /// Where one cannot be written.
    pub(super) fn name_animal(&self, name: &str) -> Result<()> {
        for id in 0..self.photos.len() {
            // What cannot be opened, or is another's, stays as it is.
            let Ok(opened) = self.open_photo(id) else { continue };
            let mut draft = opened.draft;
            let marked = draft.scale.as_ref().is_some_and(|s| s.points.as_ref().is_some_and(|p| !p.is_empty()));
            let begun = marked || draft.landmarks.0.iter().any(|(_, p)| p.is_some());
            if begun && opened.closed.is_none() && self.is_nameless(id, &draft) {
                draft.subject.get_or_insert_default().animal = Some(name.to_owned());
                self.save(id, &opened.version, &draft, opened.reading)?;
            }
        }
        Ok(())
    }

    /// Puts a draft aside that met a conflict.
    pub(super) fn set_aside(&self, id: usize, draft: &Draft) -> Result<String> {
        let photo = &self.photos[id];
        let _hold = photo.hold();
        self.make_place(photo)?;
        photo.files.set_aside(draft)
    }

    /// The checked sidecar that a draft is, as much of it as can be, what is known of the photo's lens, and how it is measured.
    pub(super) fn settled(&self, id: usize, draft: &Draft) -> Result<(Sidecar, LensUsed, MeasureOptions)> {
        let photo = &self.photos[id];
        let (facts, visit) = (photo.facts()?, photo.visit()?);
        belongs(&draft.photo, &facts, &photo.entry)?;
        let sidecar = draft.settled(visit.as_deref())?.0.provisional(visit.as_deref())?;
        let folder = photo.entry.photo.parent().unwrap_or(&self.folder);
        let lens = self.session.lenses().choose(&sidecar, &facts, folder, photo.entry.folders_down())?;
        // Tables of placements lie where the sidecar is written.
        let placement =
            self.session.options().placement.choose(folder_of(&photo.files.sidecar), sidecar.observer.as_deref())?;
        Ok((sidecar, lens, self.session.how(placement.as_ref())))
    }

    /// What a photo's header says.
    pub(super) fn facts(&self, id: usize) -> Result<PhotoFacts> {
        self.photos[id].facts()
    }

    /// What a photo's sidecar teaches of the shape of feet.
    pub(super) fn example(&self, id: usize) -> Option<(View, Example)> {
        let photo = &self.photos[id];
        let draft = photo.files.read().ok()?.draft().ok()??;
        let sidecar = draft.sidecar(photo.visit().ok()?.as_deref()).ok()?;
        Some((sidecar.view, Example::of(&sidecar)?))
    }

    /// What the visit says for a draft that does not say it itself.
    pub(super) fn shared(&self, id: usize) -> Result<Option<Arc<Visit>>> {
        self.photos[id].visit()
    }

    /// Gives a draft the scale's kind and tolerance, the lens and the planes of the last photo before it in its folder that says
    /// something of them; the name of that photo.
    pub(super) fn set_up(&self, id: usize, draft: &mut Draft) -> Option<String> {
        let folder = self.photos[id].entry.photo.parent();
        let earlier = self.photos[..id].iter().rev().filter(|p| p.entry.photo.parent() == folder);
        for photo in earlier {
            let Some(from) = photo.files.read().ok().and_then(|s| s.draft().ok()?) else { continue };
            let same_view = draft.view.is_none() || from.view.is_none() || draft.view == from.view;
            let marked = from.scale.as_ref().is_some_and(|s| s.points.as_ref().is_some_and(|p| !p.is_empty()));
            if !marked {
                continue;
            }
            if let Some(scale) = &from.scale {
                let points = draft.scale.take().and_then(|s| s.points);
                draft.scale = Some(SharedScale { points, ..scale.clone() });
            }
            // A lens that the earlier photo has chosen by itself need not be this one's.
            let fits = |_: &String| photo.facts().is_ok_and(|theirs| self.photos[id].same_lens(&theirs));
            draft.lens = from.lens.filter(fits).or(draft.lens.take());
            if same_view && draft.view.is_some() {
                draft.planes = from.planes;
            }
            if let Some(animal) = from.subject.and_then(|s| s.animal) {
                draft.subject.get_or_insert_default().animal.get_or_insert(animal);
            }
            return Some(photo.entry.name.clone());
        }
        None
    }

    /// The first draft of a photo. For an observer with a folder of their own it says what the visit's sidecar says of the photo, but
    /// nothing of where anything was marked.
    fn first(&self, photo: &Photo, facts: &PhotoFacts) -> Result<Draft> {
        let start = photo.start(facts);
        if self.options.out.is_none() || !photo.entry.has_sidecar {
            return Ok(start);
        }
        let path = photo.entry.sidecar();
        let bytes = read_file(&path, FileKind::Sidecar)?;
        let mut theirs = Draft::parse_bytes(&bytes).map_err(|e| e.in_file(&path))?;
        let blank = match theirs.view {
            // A template of this view: its slots.
            Some(view) => Draft::start(&format!("{view}.jpg"), facts.width_px, facts.height_px, None),
            None => start,
        };
        theirs.landmarks = blank.landmarks;
        theirs.lines = blank.lines;
        theirs.observer = None;
        let beside = photo.entry.photo.parent().unwrap_or(&self.folder);
        theirs.lens = theirs.lens.map(|lens| absolute(beside, lens));
        if let Some(scale) = &mut theirs.scale {
            scale.points = Some(Vec::new());
        }
        Ok(theirs)
    }

    /// In a folder of the observer's own: the profile that the photo would choose by itself in the visit's folder, carried to where the
    /// sidecar can name it. `None` where it would choose none.
    fn carried(&self, photo: &Photo, facts: &PhotoFacts) -> Result<Option<String>> {
        let Some(out) = &self.options.out else { return Ok(None) };
        let folder = folder_of(&photo.entry.photo);
        let frame = (facts.width_px, facts.height_px);
        let lens = self.session.lenses().choose_for(None, frame, facts, folder, photo.entry.folders_down())?;
        Carrier { from: &self.folder, to: out }.profile(&lens, &photo.files.sidecar)
    }

    /// Why a draft is another observer's, where it is.
    fn of_another(&self, draft: &Draft, visit: Option<&Visit>) -> Option<String> {
        let me = self.options.observer.as_ref()?;
        let placed = draft.landmarks.0.iter().any(|(_, p)| p.is_some());
        let who = draft.observer.as_ref().or_else(|| visit.and_then(|v| v.observer.as_ref())).filter(|_| placed)?;
        (who != me).then(|| {
            format!("placed by {who}; you are {me}. Start with --out DIR to place landmarks of your own beside these")
        })
    }

    /// In a folder of the observer's own: the photo beside where its sidecar goes, and what the visit shares.
    fn make_place(&self, photo: &Photo) -> Result<()> {
        let Some(out) = &self.options.out else { return Ok(()) };
        let at = photo.files.sidecar.with_file_name(photo.entry.photo.file_name().unwrap_or_default());
        let folder = at.parent().unwrap_or(out);
        make_within(out, folder, "cannot be made")?;
        if at.symlink_metadata().is_err() {
            let linked = std::fs::hard_link(&photo.entry.photo, &at);
            linked
                .or_else(|_| std::fs::copy(&photo.entry.photo, &at).map(|_| ()))
                .map_err(|e| Error::io(&at, "the photo cannot be put here", &e))?;
        }
        let file = folder.join(VISIT_FILE);
        if let (Some(visit), false) = (photo.visit()?, file.exists()) {
            let mut shared = Visit::clone(&visit);
            shared.observer.clone_from(&self.options.observer);
            if let Some(scale) = &mut shared.scale {
                scale.points = None;
            }
            // A profile's path is relative to the folder of the photo.
            let beside = photo.entry.photo.parent().unwrap_or(&self.folder);
            shared.lens = shared.lens.map(|lens| absolute(beside, lens));
            crate::visit::write_new(&file, shared.to_json().as_bytes())?;
        }
        Ok(())
    }
}

/// As much of a draft as can stand in its sidecar, and why the rest cannot. Two marks of a ruler that is not to be read between them, or
/// of which that is not answered yet, are kept back: `measure` would read it.
fn settled(draft: &Draft, reading: Option<Reading>, visit: Option<&Visit>) -> Result<(Draft, Option<Error>)> {
    let (mut kept, why) = draft.settled(visit)?;
    let Some(reading) = reading else { return Ok((kept, why)) };
    let sidecar = kept.provisional(visit)?;
    if ReadFrom::marks(&sidecar).is_none() {
        return Ok((kept, why));
    }
    if let Some(scale) = &mut kept.scale {
        scale.points = Some(Vec::new());
        // Said to be metric, or left open, it would be read without any mark.
        scale.metric = Some(false);
    }
    let what = match reading {
        Reading::Open => "whether the ruler is to be read between its two marks is not answered yet",
        Reading::Declined => "the ruler is not to be read between its two marks: a third graduation is needed",
    };
    Ok((kept, Some(Error::new(ErrorKind::Scale, what))))
}

/// Whether a draft says no more of its scale, lens and planes than a new one of its view, and holds no mark.
fn is_blank(draft: &Draft) -> bool {
    let Some(view) = draft.view else { return false };
    let blank = Draft::start(&format!("{view}.jpg"), draft.photo.width_px, draft.photo.height_px, None);
    let unmarked = draft.landmarks.0.iter().all(|(_, p)| p.is_none()) && draft.lines.0.iter().all(|(_, p)| p.is_none());
    unmarked && draft.lens.is_none() && draft.scale == blank.scale && draft.planes == blank.planes
}

/// A lens profile's path as a sidecar in any folder may write it.
fn absolute(folder: &Path, lens: String) -> String {
    std::path::absolute(folder.join(&lens)).map_or(lens, |path| path.to_string_lossy().into_owned())
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests;
