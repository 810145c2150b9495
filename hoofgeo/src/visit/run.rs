//! Measuring and checking a whole folder.

use super::bare::{BarePhoto, LeftAside, in_order_of_urgency, left_aside};
use super::folder::{Entry, relative, walk};
use super::json::refusal_json;
use super::lens::LensDatabase;
use super::photo::PhotoReport;
use super::placements::PlacementChoice;
use super::results::{Inputs, Outputs, PhotoRecord, Rendered, RunKey, Stored, Unfinished, Writers, refusal_line};
use super::ruler::RulerReading;
use super::session::{Made, Session, no_photo_in};
use crate::error::{Error, ErrorKind, Result};
use crate::measured::MeasureOptions;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

/// Photos in work at a time. Large enough to keep every core busy, small enough that memory stays flat.
pub(crate) const BATCH: usize = 128;

/// Photos measured before what the journal has of them is handed to the system.
const FLUSH: usize = 16;

/// Photos in work at a time where their pixels are decoded: each costs up to 150 MB.
pub(crate) const PICTURE_BATCH: usize = 16;

/// A flag by which another thread ends a run early.
#[derive(Debug, Default)]
pub struct Stop(AtomicBool);

impl Stop {
    /// A flag that is not raised.
    pub const fn new() -> Self {
        Self(AtomicBool::new(false))
    }

    /// Ends the run: it returns an error and leaves no result files; the same call made again goes on.
    pub fn raise(&self) {
        self.0.store(true, Ordering::Relaxed);
    }

    /// Whether it was raised.
    pub fn is_raised(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}

/// How to measure a folder.
#[derive(Debug, Clone, Default)]
pub struct VisitOptions {
    /// How to measure each photo.
    pub measure: MeasureOptions,
    /// Whether annotated pictures are drawn (feature `pictures`).
    pub pictures: bool,
    /// Which lens database knows the lenses that no profile is there for.
    pub lens_database: LensDatabase,
    /// Whether a lens profile is used also where the photo's header names another camera, lens or zoom. Such photos carry
    /// [`SceneFlag::LensForced`](crate::scene::SceneFlag::LensForced).
    pub force_lens: bool,
    /// When a straight ruler is read from the pixels.
    pub read_ruler: RulerReading,
    /// Whose spread of placing landmarks counts.
    pub placement: PlacementChoice,
}

impl VisitOptions {
    /// As the command measures unless told otherwise, without pictures: the system's lens database is asked, rulers are read as the
    /// sidecars state, tables of placements are looked for.
    pub fn usual() -> Self {
        Self {
            lens_database: LensDatabase::System,
            read_ruler: RulerReading::AsStated,
            placement: PlacementChoice::search(),
            ..Self::default()
        }
    }
}

/// What a run tells while it goes on, in the order of the photos.
#[derive(Debug)]
#[non_exhaustive]
pub enum Progress<'a> {
    /// A photo was measured.
    Measured(&'a PhotoReport),
    /// An earlier run has measured a photo, and nothing that its values depend on was changed since.
    Unchanged(&'a PhotoRecord),
    /// The photo that comes next was measured, but no picture of it could be made.
    NoPicture(&'a Error),
    /// A photo was refused.
    Refused(&'a Error),
    /// A lens profile that nobody named cannot be read: photos that may have been meant to be measured with it were not.
    PassedOver(&'a Error),
}

/// The end of a run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[non_exhaustive]
pub struct Summary {
    /// Photos measured, those of earlier runs among them.
    pub measured: usize,
    /// Photos refused.
    pub refused: usize,
    /// Photos that an earlier run has measured and that were not changed since.
    pub unchanged: usize,
    /// Photos among those measured whose pixels could not be read, or whose picture not be written.
    pub without_picture: usize,
    /// Lens profiles that nobody named and that cannot be read.
    pub passed_over: usize,
}

impl Summary {
    /// Whether all that was asked for was done. A profile that nobody named is told, and fails nothing.
    pub fn is_whole(&self) -> bool {
        (self.refused, self.without_picture) == (0, 0)
    }

    #[cfg(feature = "pictures")]
    pub(super) fn found_nothing(&self) -> bool {
        self.measured + self.refused == 0
    }
}

/// What became of a photo.
enum Done {
    Measured(Box<PhotoReport>, Box<Rendered>),
    Unchanged(Box<Rendered>),
    /// What the walk came upon; the photo's name, where known; why it was refused.
    Refused(String, Option<String>, Error),
}

/// Measures every photo of a folder and writes the files that [`Outputs`] names: by default `measurements.csv`, `measurements.json` and,
/// where asked for, `pictures/`; always `manifest.jsonl`.
///
/// A run that was stopped goes on where it was when it is called again, and photos that have not changed since an earlier run are taken over
/// from it. The files are the same, byte for byte, as those of a run that measured everything at once.
///
/// # Errors
/// Where the folder does not exist, the lens database cannot be read, the results cannot be written, another run is writing them, or the run
/// was stopped. A photo that cannot be measured is no error of the run: it is reported to `each`, and by [`Summary::refused`].
///
/// # Example: one part of a large set, as JSON Lines
/// ```no_run
/// use hoofgeo::visit::{Outputs, ResultFile, Stop, VisitOptions, measure_folder};
/// let outputs = Outputs::in_folder("results").with_files([ResultFile::JsonLines]).with_part(Some("3/16".parse()?));
/// let summary = measure_folder("photos".as_ref(), &outputs, &VisitOptions::usual(), &Stop::new(), &mut |_| {})?;
/// println!("{} measured, {} of them before", summary.measured, summary.unchanged);
/// # Ok::<(), hoofgeo::Error>(())
/// ```
pub fn measure_folder(
    folder: &Path,
    outputs: &Outputs,
    options: &VisitOptions,
    stop: &Stop,
    each: &mut dyn FnMut(Progress<'_>),
) -> Result<Summary> {
    must_be_folder(folder)?;
    let session = Session::new(options)?;
    let key = RunKey::of(&session, outputs)?;
    let (mut work, mut earlier) = Unfinished::open(outputs, outputs.anew)?;
    let run = Run { session: &session, outputs, key, work: work.folder().to_path_buf() };
    let mut summary = Summary::default();
    let place = |entry: &Result<Entry>| match entry {
        Ok(entry) => entry.place(),
        Err(e) => relative(folder, e.file().unwrap_or(folder)),
    };
    let found_any = AtomicBool::new(false);
    let items = walk(folder, std::slice::from_ref(&outputs.folder)).filter_map(|entry| {
        // A part may hold none of them.
        found_any.store(true, Ordering::Relaxed);
        let place = place(&entry);
        if !outputs.part.is_none_or(|part| part.holds(&place)) {
            return None;
        }
        let earlier = earlier.of(&place);
        Some((place, entry, earlier))
    });
    let batch = if options.pictures { PICTURE_BATCH } else { BATCH };
    let measure = || {
        let mut writers = Writers::create(work.folder(), outputs, &options.measure, &run.key)?;
        let cannot_write = |e: &std::io::Error| Error::io(&outputs.folder, "the results cannot be written", e);
        let mut since_flush = 0;
        let photo = |(place, entry, earlier)| run.photo(place, entry, earlier, stop);
        session.each(items, batch, &photo, &mut |made| {
            if stop.is_raised() {
                return Err(stopped());
            }
            let done = match made {
                Made::Of(done) => done,
                Made::PassedOver(profile) => {
                    summary.passed_over += 1;
                    each(Progress::PassedOver(profile));
                    return Ok(());
                }
            };
            match done {
                Done::Measured(report, rendered) => {
                    work.add(&rendered).map_err(|e| cannot_write(&e))?;
                    writers.photo(&rendered)?;
                    summary.measured += 1;
                    if let Some(Err(why)) = &report.picture {
                        summary.without_picture += 1;
                        each(Progress::NoPicture(why));
                    }
                    each(Progress::Measured(&report));
                }
                Done::Unchanged(rendered) => {
                    writers.photo(&rendered)?;
                    summary.measured += 1;
                    summary.unchanged += 1;
                    each(Progress::Unchanged(&rendered.record));
                }
                Done::Refused(place, photo, error) => {
                    writers.refusal(
                        &refusal_line(&place, photo.as_deref(), &error),
                        &refusal_json(photo.as_deref(), &error),
                    )?;
                    summary.refused += 1;
                    each(Progress::Refused(&error));
                }
            }
            since_flush += 1;
            if since_flush >= FLUSH {
                since_flush = 0;
                work.flush().map_err(|e| cannot_write(&e))?;
            }
            Ok(())
        })?;
        if !found_any.load(Ordering::Relaxed) {
            return Err(no_photo_in(folder));
        }
        writers.finish()
    };
    if let Err(e) = measure() {
        let goes_on = work.interrupted();
        return Err(if stop.is_raised() && goes_on { stopped_in_between() } else { e });
    }
    work.finished()?;
    Ok(summary)
}

/// What all photos of a run have in common.
struct Run<'a> {
    session: &'a Session,
    outputs: &'a Outputs,
    key: RunKey,
    /// The work folder, where pictures grow.
    #[cfg_attr(not(feature = "pictures"), expect(dead_code, reason = "pictures grow there"))]
    work: PathBuf,
}

impl Run<'_> {
    fn photo(&self, place: String, entry: Result<Entry>, earlier: Vec<Stored>, stop: &Stop) -> Done {
        if stop.is_raised() {
            return Done::Refused(place, None, stopped());
        }
        let entry = match entry {
            Ok(entry) => entry,
            Err(e) => return Done::Refused(place, None, e),
        };
        if let Some(rendered) = self.unchanged(&entry, earlier) {
            return Done::Unchanged(Box::new(rendered));
        }
        match self.measured(&entry) {
            Ok((report, rendered)) => Done::Measured(Box::new(report), Box::new(rendered)),
            Err(e) => Done::Refused(place, Some(entry.name), e),
        }
    }

    /// What an earlier run has of the photo, where nothing has changed since.
    fn unchanged(&self, entry: &Entry, earlier: Vec<Stored>) -> Option<Rendered> {
        if earlier.is_empty() || !entry.has_photo || !entry.has_sidecar {
            return None;
        }
        // What cannot be read now is measured, and refused with the reason.
        let inputs = Inputs::read(entry, self.session).ok()?;
        let stored = earlier.into_iter().find(|stored| stored.is_of(&inputs, &self.key, self.outputs))?;
        Rendered::again(stored, self.outputs).ok()
    }

    fn measured(&self, entry: &Entry) -> Result<(PhotoReport, Rendered)> {
        let opened = self.session.open(entry)?;
        let inputs = Inputs::of(entry, self.session, &opened.files)?;
        #[cfg_attr(
            not(feature = "pictures"),
            expect(unused_mut, unused_variables, reason = "the picture is drawn on it")
        )]
        let (mut report, photo) = opened.report()?;
        #[cfg(feature = "pictures")]
        if self.session.options().pictures {
            report.picture = Some(super::picture::write(&report, photo, &self.outputs.folder, &self.work));
        }
        let rendered = Rendered::new(&report, &inputs, &self.key, self.outputs)?;
        Ok((report, rendered))
    }
}

/// What `check` says of one photo.
#[derive(Debug)]
#[non_exhaustive]
pub enum CheckReport<'a> {
    /// It would be measured. Names the landmarks and lines still empty.
    Good {
        /// Its name.
        name: &'a str,
        /// JSON paths of the slots still empty.
        empty: &'a [String],
        /// What cannot be, or is rare: it is to be looked at before its values are used.
        doubts: &'a [String],
        /// What its header makes worth knowing.
        remarks: Vec<String>,
    },
    /// It would be refused.
    Refused(&'a Error),
    /// It would be measured, but its pixels cannot be read: no picture of it can be drawn, no ruler read, and what was marked on it may
    /// have been marked on another file. Comes before [`CheckReport::Good`]'s other words, in its stead.
    NoPixels {
        /// Its name.
        name: &'a str,
        /// Why they cannot be read.
        why: &'a Error,
    },
    /// A lens profile that nobody named cannot be read.
    PassedOver(&'a Error),
    /// A photo without a sidecar: `measure` would refuse it, and its pixels tell whether it will do. These come last, the most urgent
    /// first.
    Bare(&'a BarePhoto),
    /// Files of a phone's folder that are no photos to measure.
    LeftAside(&'a LeftAside),
    /// What its pixels make worth knowing of the photo that was just refused.
    Seen {
        /// Its name.
        name: &'a str,
        /// What its pixels make worth knowing.
        remarks: &'a [String],
    },
}

/// How to check a folder.
#[derive(Debug, Clone, Default)]
pub struct CheckOptions {
    /// Whether the photos are looked at for blur and light (feature `pictures`); a 12-megapixel photo takes a tenth of a second.
    pub pixels: bool,
    /// How the photos would be measured.
    pub visit: VisitOptions,
}

/// What was found out about one photo.
struct Checked {
    name: String,
    /// JSON paths of the slots still empty, or why it would be refused.
    outcome: Result<Vec<String>>,
    doubts: Vec<String>,
    remarks: Vec<String>,
    /// Why its pixels cannot be read, where they were to be.
    no_pixels: Option<Error>,
}

/// What a photo of the folder is.
enum CheckedEntry {
    Marked(Box<Checked>),
    Bare(BarePhoto),
}

/// Checks everything that would be refused, without measuring: formats, photos, lens profiles, scales. Says what headers and geometry make
/// worth knowing, and, where asked for, what the pixels do, of refused photos too: before there is a sidecar is the time to take a photo
/// again.
///
/// # Errors
/// Where the folder does not exist or holds no photo, or the lens database cannot be read.
pub fn check_folder(folder: &Path, options: &CheckOptions, each: &mut dyn FnMut(CheckReport<'_>)) -> Result<Summary> {
    let session = Session::new(&options.visit)?;
    let mut summary = Summary::default();
    let batch = if options.pixels { PICTURE_BATCH } else { BATCH };
    let check = |entry: Entry| {
        Ok(if entry.has_photo && !entry.has_sidecar {
            CheckedEntry::Bare(BarePhoto::of(&entry, options.pixels))
        } else {
            CheckedEntry::Marked(Box::new(check_entry(&entry, &session, options)))
        })
    };
    let mut bare = Vec::new();
    session.each_in(folder, &[], batch, &check, &mut |made| {
        let result = match made {
            Made::PassedOver(profile) => {
                summary.passed_over += 1;
                each(CheckReport::PassedOver(profile));
                return Ok(());
            }
            Made::Of(Ok(CheckedEntry::Bare(photo))) => {
                summary.refused += 1;
                bare.push(photo);
                return Ok(());
            }
            Made::Of(Ok(CheckedEntry::Marked(checked))) => Ok(*checked),
            Made::Of(Err(e)) => Err(e),
        };
        match result {
            Ok(Checked { name, outcome: Ok(_), no_pixels: Some(why), .. }) => {
                summary.measured += 1;
                summary.without_picture += 1;
                each(CheckReport::NoPixels { name: &name, why: &why });
            }
            Ok(Checked { name, outcome: Ok(empty), doubts, remarks, .. }) => {
                summary.measured += 1;
                each(CheckReport::Good { name: &name, empty: &empty, doubts: &doubts, remarks });
            }
            Ok(Checked { name, outcome: Err(error), remarks, .. }) => {
                summary.refused += 1;
                each(CheckReport::Refused(&error));
                if !remarks.is_empty() {
                    each(CheckReport::Seen { name: &name, remarks: &remarks });
                }
            }
            Err(error) => {
                summary.refused += 1;
                each(CheckReport::Refused(&error));
            }
        }
        Ok(())
    })?;
    in_order_of_urgency(&mut bare);
    bare.iter().for_each(|photo| each(CheckReport::Bare(photo)));
    left_aside(folder).iter().for_each(|files| each(CheckReport::LeftAside(files)));
    Ok(summary)
}

fn check_entry(entry: &Entry, session: &Session, options: &CheckOptions) -> Checked {
    let (mut remarks, mut doubts) = (Vec::new(), Vec::new());
    #[cfg_attr(not(feature = "pictures"), expect(unused_mut, reason = "pixels are read with pictures alone"))]
    let mut no_pixels = None;
    let outcome = session.open(entry).and_then(|mut opened| {
        let measured = opened.measure()?;
        let files = &opened.files;
        remarks.extend(files.facts.remarks.iter().map(ToString::to_string));
        remarks.extend(files.lens.note.clone());
        remarks.extend(measured.scene.flags.iter().map(|f| f.meaning().to_owned()));
        doubts.extend(measured.doubts_in_words());
        Ok((opened, measured))
    });
    #[cfg(feature = "pictures")]
    let outcome = match outcome {
        Ok((mut opened, measured)) => {
            match super::quality::remarks(&mut opened, &measured, options) {
                Ok(more) => remarks.extend(more),
                Err(e) => no_pixels = Some(e),
            }
            Ok((opened, measured))
        }
        Err(e) => {
            remarks = super::quality::remarks_of_photo(entry, options);
            Err(e)
        }
    };
    #[cfg(not(feature = "pictures"))]
    let _ = options;
    let outcome = outcome.map(|(opened, _)| opened.files.sidecar.empty_slots().to_vec());
    Checked { name: entry.name.clone(), outcome, doubts, remarks, no_pixels }
}

pub(crate) fn must_be_folder(folder: &Path) -> Result<()> {
    if folder.is_dir() {
        return Ok(());
    }
    let what = if folder.exists() { "is not a folder" } else { "does not exist" };
    Err(Error::new(ErrorKind::Usage, what).in_file(folder).help("name the folder of a visit's photos"))
}

pub(super) const NAME_A_FOLDER: &str = "name a folder of photos (jpg, png, tif, webp, heic) with their sidecars";

pub(super) fn stopped() -> Error {
    Error::new(ErrorKind::Usage, "stopped before the end; no results were written")
}

fn stopped_in_between() -> Error {
    stopped().help("the same command goes on where it stopped")
}
