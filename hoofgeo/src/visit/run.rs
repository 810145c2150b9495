//! Measuring and checking a whole folder.

use super::folder::{Entry, walk};
use super::lens::{LensDatabase, Lenses};
use super::output::{Rendered, Writers};
use super::photo::{PhotoReport, ReadEntry, measure_with_graduations, read_entry};
use super::ruler::{Graduations, RulerReading};
use crate::error::{Error, ErrorKind, Result};
use crate::measured::{MeasureOptions, locate_with};
use crate::scale::Graduation;
use rayon::prelude::*;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

/// Photos in work at a time. Large enough to keep every core busy, small enough that memory stays flat.
const BATCH: usize = 512;

/// Photos in work at a time where their pixels are decoded: each costs up to 150 MB.
pub(super) const PICTURE_BATCH: usize = 16;

/// A flag by which another thread ends a run early.
#[derive(Debug, Default)]
pub struct Stop(AtomicBool);

impl Stop {
    /// A flag that is not raised.
    pub const fn new() -> Self {
        Self(AtomicBool::new(false))
    }

    /// Ends the run: it returns an error and leaves no result files.
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
}

impl VisitOptions {
    /// As the command measures unless told otherwise, without pictures: the system's lens database is asked, rulers are read as the
    /// sidecars state.
    pub fn usual() -> Self {
        Self { lens_database: LensDatabase::System, read_ruler: RulerReading::AsStated, ..Self::default() }
    }
}

/// Where the results of a folder are written.
#[derive(Debug, Clone)]
pub struct Outputs {
    /// The folder of the results.
    pub folder: PathBuf,
}

/// What a run tells while it goes on, in the order of the photos.
#[derive(Debug)]
pub enum Progress<'a> {
    /// A photo was measured.
    Measured(&'a PhotoReport),
    /// The photo that comes next was measured, but no picture of it could be made.
    NoPicture(&'a Error),
    /// A photo was refused.
    Refused(&'a Error),
}

/// The end of a run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Summary {
    /// Photos measured.
    pub measured: usize,
    /// Photos refused.
    pub refused: usize,
}

/// A photo measured, with what is written of it; or its name, where known, and why it was refused.
type Done = Result<(PhotoReport, Rendered), (Option<String>, Error)>;

/// Measures every photo of a folder and writes `measurements.csv`, `measurements.json` and, where asked for, `pictures/`.
///
/// # Errors
/// Where the folder does not exist, the lens database cannot be read, the results cannot be written, or the run was stopped. A photo that cannot be measured is no
/// error of the run: it is reported to `each`, and by [`Summary::refused`].
pub fn measure_folder(
    folder: &Path,
    outputs: &Outputs,
    options: &VisitOptions,
    stop: &Stop,
    each: &mut dyn FnMut(Progress<'_>),
) -> Result<Summary> {
    must_be_folder(folder)?;
    let lenses = Lenses::with(&options.lens_database)?.forced(options.force_lens);
    let mut writers = Writers::create(&outputs.folder, &options.measure)?;
    let mut summary = Summary::default();
    let mut entries = walk(folder, std::slice::from_ref(&outputs.folder));
    let batch = if options.pictures || options.read_ruler != RulerReading::Never { PICTURE_BATCH } else { BATCH };
    loop {
        let work: Vec<Result<Entry>> = entries.by_ref().take(batch).collect();
        if work.is_empty() {
            break;
        }
        let done: Vec<Done> = work
            .into_par_iter()
            .map(|entry| {
                if stop.is_raised() {
                    return Err((None, stopped()));
                }
                let entry = entry.map_err(|e| (None, e))?;
                let measured = measure_with_graduations(&entry, &lenses, options);
                #[cfg_attr(
                    not(feature = "pictures"),
                    expect(unused_mut, unused_variables, reason = "the picture is drawn on it")
                )]
                let (mut report, mut graduations) = measured.map_err(|e| (Some(entry.name), e))?;
                #[cfg(feature = "pictures")]
                if options.pictures {
                    report.picture = Some(super::picture::write(&report, graduations.take_photo(), &outputs.folder));
                }
                let rendered = Rendered::new(&report);
                Ok((report, rendered))
            })
            .collect();
        if stop.is_raised() {
            return Err(stopped());
        }
        for result in done {
            match result {
                Ok((report, rendered)) => {
                    writers.photo(&rendered)?;
                    summary.measured += 1;
                    if let Some(Err(why)) = &report.picture {
                        each(Progress::NoPicture(why));
                    }
                    each(Progress::Measured(&report));
                }
                Err((photo, error)) => {
                    writers.refusal(photo.as_deref(), &error)?;
                    summary.refused += 1;
                    each(Progress::Refused(&error));
                }
            }
        }
    }
    if summary == Summary::default() {
        return Err(Error::new(ErrorKind::Usage, "no photo is in this folder").in_file(folder).help(NAME_A_FOLDER));
    }
    writers.finish()?;
    Ok(summary)
}

/// What `check` says of one photo.
#[derive(Debug)]
pub enum CheckReport<'a> {
    /// It would be measured. Names the landmarks and lines still empty.
    Good {
        /// Its name.
        name: &'a str,
        /// JSON paths of the slots still empty.
        empty: &'a [String],
        /// What its header makes worth knowing.
        remarks: Vec<String>,
    },
    /// It would be refused.
    Refused(&'a Error),
    /// What its pixels make worth knowing of the photo that was just refused, such as one without a sidecar.
    Seen {
        /// Its name.
        name: &'a str,
        /// What its pixels make worth knowing.
        remarks: &'a [String],
    },
}

/// How to check a folder.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct CheckOptions {
    /// Whether the photos' pixels are decoded, for blur and light (feature `pictures`); a 12-megapixel photo takes a tenth of a second.
    pub pixels: bool,
    /// Which lens database is asked.
    pub lens_database: LensDatabase,
}

/// What was found out about one photo.
struct Checked {
    name: String,
    outcome: Result<ReadEntry>,
    remarks: Vec<String>,
}

/// Checks everything that would be refused, without measuring: formats, photos, lens profiles, scales. Says what headers and geometry make
/// worth knowing, and, where asked for, what the pixels do, of refused photos too: before there is a sidecar is the time to take a photo
/// again.
///
/// # Errors
/// Where the folder does not exist or holds no photo, or the lens database cannot be read.
pub fn check_folder(folder: &Path, options: &CheckOptions, each: &mut dyn FnMut(CheckReport<'_>)) -> Result<Summary> {
    must_be_folder(folder)?;
    let lenses = Lenses::with(&options.lens_database)?;
    let mut summary = Summary::default();
    let mut entries = walk(folder, &[]);
    let batch = if options.pixels { PICTURE_BATCH } else { BATCH };
    loop {
        let work: Vec<Result<Entry>> = entries.by_ref().take(batch).collect();
        if work.is_empty() {
            break;
        }
        let done: Vec<Result<Checked>> =
            work.into_par_iter().map(|entry| Ok(check_entry(&entry?, &lenses, options))).collect();
        for result in done {
            match result {
                Ok(Checked { name, outcome: Ok(read), remarks }) => {
                    summary.measured += 1;
                    each(CheckReport::Good { name: &name, empty: read.sidecar.empty_slots(), remarks });
                }
                Ok(Checked { name, outcome: Err(error), remarks }) => {
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
        }
    }
    if summary == Summary::default() {
        return Err(Error::new(ErrorKind::Usage, "no photo is in this folder").in_file(folder).help(NAME_A_FOLDER));
    }
    Ok(summary)
}

fn check_entry(entry: &Entry, lenses: &Lenses, options: &CheckOptions) -> Checked {
    let read = read_entry(entry, lenses);
    let mut remarks = Vec::new();
    let outcome = read.and_then(|read| {
        let locate = |g: &[Graduation]| locate_with(&read.sidecar, &read.lens.prior, g);
        // The pixels are read only where the marks do not do.
        let marked = Graduations::of(entry, &read, RulerReading::Never).locate(locate);
        let reading = if options.pixels { RulerReading::AsStated } else { RulerReading::Never };
        let read_off = |e| Graduations::of(entry, &read, reading).if_read(locate).unwrap_or(Err(e));
        let located = marked.or_else(read_off).map_err(|e: Error| e.in_file(entry.sidecar()));
        remarks.extend(read.facts.remarks.iter().map(ToString::to_string));
        remarks.extend(read.lens.note.clone());
        if let Ok((scene, _)) = &located {
            remarks.extend(scene.flags.iter().map(|f| f.meaning().to_owned()));
        }
        located.map(|(scene, located)| (read, scene, located))
    });
    #[cfg(feature = "pictures")]
    {
        use super::quality::{remarks as seen, remarks_of_photo as photo_seen};
        match &outcome {
            Ok((read, scene, located)) => remarks.extend(seen(entry, read, scene, located, options)),
            Err(_) => {
                remarks.clear();
                remarks.extend(photo_seen(entry, options));
            }
        }
    }
    #[cfg(not(feature = "pictures"))]
    let _ = options;
    Checked { name: entry.name.clone(), outcome: outcome.map(|(read, _, _)| read), remarks }
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
