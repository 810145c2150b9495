//! The one way from a photo's files to its values: whatever measures, reads, draws or compares photos goes through a session.
//!
//! | step | file |
//! |---|---|
//! | find the photos of a folder, with the visit file that they share | `folder.rs` |
//! | read header, sidecar and fingerprints, and hold them against each other | `photo.rs` |
//! | choose the lens | `lens.rs` |
//! | choose whose spread of placing counts | `placements.rs` |
//! | take the graduations marked, or read them from the pixels | `ruler.rs` |
//! | work through many photos in their order | `batches.rs` |

use super::batches::in_order;
use super::folder::{Entry, walk};
use super::lens::{LensUsed, Lenses};
use super::photo::{PhotoReport, ReadEntry, read_entry};
use super::placements::PlacementUsed;
use super::ruler::Graduations;
use super::run::{NAME_A_FOLDER, VisitOptions, must_be_folder};
use crate::error::{Error, ErrorKind, Result};
use crate::measured::{MeasureOptions, Measured, locate, measure};
use crate::photo::{PhotoFacts, read_facts};
use crate::scene::SceneFlag;
use crate::sidecar::Sidecar;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// What the photos of a run share: lens profiles and lens database, tables of placements, options. Threads may use one together.
///
/// # Example: one photo with its files
/// ```no_run
/// use hoofgeo::{measure::HEEL_ANGLE, visit::{Entry, Session}};
/// // The sidecar, the folder's visit file, lens profiles and tables of placements are found beside the photo.
/// let report = Session::usual()?.measure(&Entry::at("2026-05-04/LF-side.jpg"))?;
/// if let Some(angle) = report.measured.value(&HEEL_ANGLE) {
///     println!("{}: {angle}", angle.measurement.name);
///     for (source, share) in &angle.budget {
///         println!("  {:>3.0} % {}", 100.0 * share, source.label());
///     }
/// }
/// # Ok::<(), hoofgeo::Error>(())
/// ```
#[derive(Debug)]
pub struct Session {
    options: VisitOptions,
    lenses: Lenses,
}

impl Session {
    /// With the lens database of the options, read here once.
    ///
    /// # Errors
    /// Where the lens database cannot be read.
    pub fn new(options: &VisitOptions) -> Result<Self> {
        let lenses = Lenses::with(&options.lens_database)?.forced(options.force_lens);
        Ok(Self { options: options.clone(), lenses })
    }

    /// As the commands measure unless told otherwise: [`VisitOptions::usual`].
    ///
    /// # Errors
    /// As [`Session::new`].
    pub fn usual() -> Result<Self> {
        Self::new(&VisitOptions::usual())
    }

    /// Reads and measures one photo.
    ///
    /// # Errors
    /// Everything that makes it impossible; the error names the file.
    pub fn measure(&self, entry: &Entry) -> Result<PhotoReport> {
        self.open(entry)?.report().map(|(report, _)| report)
    }

    /// What a photo's header tells, its size among it, and what is known of its lens, for a photo that has no sidecar yet. Profiles are
    /// looked for in its own folder.
    ///
    /// # Errors
    /// `Photo` and `Io` where it cannot be read; as [`Lenses::choose`].
    pub fn look(&self, photo: impl AsRef<Path>) -> Result<(PhotoFacts, LensUsed)> {
        let photo = photo.as_ref();
        let facts = read_facts(photo).map_err(|e| e.in_file(photo))?;
        let frame = (facts.width_px, facts.height_px);
        let lens = self.lenses.choose_for(None, frame, &facts, photo.parent().unwrap_or(photo), 0)?;
        Ok((facts, lens))
    }

    /// The lens profiles that were found since this was last asked, and passed over because they cannot be read; each is told once.
    pub fn passed_over(&self) -> Vec<Error> {
        self.lenses.passed_over()
    }

    /// Reads a photo's files, chooses lens and spread of placing, and reads the ruler from the pixels where the sidecar says enough for
    /// that and the options do not forbid it.
    ///
    /// # Errors
    /// As [`Session::measure`].
    pub(crate) fn open(&self, entry: &Entry) -> Result<Opened> {
        let files = read_entry(entry, &self.lenses)?;
        let placement = self.placement_of(entry, &files.sidecar)?;
        let how = self.how(placement.as_ref());
        let graduations = Graduations::of(&entry.photo, &files.sidecar, self.options.read_ruler);
        Ok(Opened { entry: entry.clone(), files, placement, how, graduations })
    }

    /// How a photo is measured by a table of placements.
    pub(crate) fn how(&self, placement: Option<&PlacementUsed>) -> MeasureOptions {
        let mut how = self.options.measure.clone();
        if let Some(used) = placement {
            how.placement = Some(Arc::clone(&used.table));
        }
        how
    }

    /// The table of placements for a photo.
    pub(crate) fn placement_of(&self, entry: &Entry, sidecar: &Sidecar) -> Result<Option<PlacementUsed>> {
        self.options.placement.choose(entry.photo.parent().unwrap_or(&entry.photo), sidecar.observer.as_deref())
    }

    pub(crate) const fn options(&self) -> &VisitOptions {
        &self.options
    }

    pub(crate) const fn lenses(&self) -> &Lenses {
        &self.lenses
    }

    /// Works on the photos of a folder, `batch` of them at a time, on every core, and tells what was made of each in their order.
    ///
    /// # Errors
    /// Where the folder does not exist or holds no photo, and the first of `each`.
    pub(crate) fn each_in<T: Send>(
        &self,
        folder: &Path,
        skip: &[PathBuf],
        batch: usize,
        work: &(dyn Fn(Entry) -> Result<T> + Sync),
        each: &mut dyn FnMut(Made<'_, Result<T>>) -> Result<()>,
    ) -> Result<()> {
        must_be_folder(folder)?;
        let found_any = self.each(walk(folder, skip), batch, &|entry| entry.and_then(work), each)?;
        if found_any { Ok(()) } else { Err(no_photo_in(folder)) }
    }

    /// The same for items that were found already; whether there were any.
    pub(crate) fn each<I: Send, T: Send>(
        &self,
        items: impl Iterator<Item = I> + Send,
        batch: usize,
        work: &(dyn Fn(I) -> T + Sync),
        each: &mut dyn FnMut(Made<'_, T>) -> Result<()>,
    ) -> Result<bool> {
        let found_any = AtomicBool::new(false);
        let items = items.inspect(|_| found_any.store(true, Ordering::Relaxed));
        in_order(items, batch, work, &mut |made| {
            each(Made::Of(made))?;
            self.lenses.passed_over().iter().try_for_each(|profile| each(Made::PassedOver(profile)))
        })?;
        Ok(found_any.into_inner())
    }
}

/// What comes of working through photos.
pub(crate) enum Made<'a, T> {
    /// What was made of the next one.
    Of(T),
    /// A lens profile that nobody named cannot be read: it was passed over.
    PassedOver(&'a Error),
}

pub(crate) fn no_photo_in(folder: &Path) -> Error {
    Error::new(ErrorKind::Usage, "no photo is in this folder").in_file(folder).help(NAME_A_FOLDER)
}

/// A photo whose files have been read: everything that it is measured with.
pub(crate) struct Opened {
    entry: Entry,
    pub(crate) files: ReadEntry,
    placement: Option<PlacementUsed>,
    how: MeasureOptions,
    graduations: Graduations,
}

impl Opened {
    /// Measures it.
    ///
    /// # Errors
    /// As [`measure`]; the error names the sidecar.
    pub(crate) fn measure(&mut self) -> Result<Measured> {
        let (sidecar, lens, how) = (&self.files.sidecar, &self.files.lens, &self.how);
        let measure = |graduations| measure(sidecar, &lens.prior, &MeasureOptions { graduations, ..how.clone() });
        let mut measured = self.graduations.locate(measure).map_err(|e| e.in_file(self.entry.sidecar()))?;
        if lens.forced.is_some() {
            measured.scene.flags.push(SceneFlag::LensForced);
        }
        Ok(measured)
    }

    /// How it is measured: with the graduations that [`Opened::measure`] would settle on, for whatever else is worked out of it.
    ///
    /// # Errors
    /// As [`Opened::measure`]; a photo on which nothing is placed yet is none.
    pub(crate) fn settle(&mut self) -> Result<MeasureOptions> {
        let (sidecar, lens, how) = (&self.files.sidecar, &self.files.lens, &self.how);
        if sidecar.landmarks.is_empty() && sidecar.lines.is_empty() && sidecar.gauge.is_empty() {
            return Ok(how.clone());
        }
        let settled = |graduations| {
            let how = MeasureOptions { graduations, ..how.clone() };
            locate(sidecar, &lens.prior, &how).map(|_| how)
        };
        self.graduations.locate(settled).map_err(|e| e.in_file(self.entry.sidecar()))
    }

    /// Measures it and hands on everything known of it, with the photo where it was decoded for its ruler.
    ///
    /// # Errors
    /// As [`Opened::measure`].
    pub(crate) fn report(mut self) -> Result<(PhotoReport, Pixels)> {
        let measured = self.measure()?;
        let pixels = self.take_pixels();
        let ruler = self.graduations.take_reading();
        let Self { entry, files, placement, .. } = self;
        let report = PhotoReport {
            name: entry.name,
            path: entry.photo,
            photo_sha256: files.photo_sha256,
            sidecar_sha256: files.sidecar_sha256,
            facts: files.facts,
            sidecar: files.sidecar,
            visit: files.visit,
            lens: files.lens,
            measured,
            placement: placement.map(|used| used.note()),
            ruler,
            picture: None,
        };
        Ok((report, pixels))
    }

    /// The upright photo, where it was decoded for its ruler.
    #[cfg(feature = "pictures")]
    fn take_pixels(&mut self) -> Pixels {
        self.graduations.take_photo()
    }

    #[cfg(not(feature = "pictures"))]
    fn take_pixels(&mut self) -> Pixels {
        None
    }

    /// The upright photo, decoded now where it was not for its ruler.
    ///
    /// # Errors
    /// As [`crate::photo::decode_upright`].
    #[cfg(feature = "pictures")]
    pub(crate) fn pixels(&mut self) -> Result<image::RgbImage> {
        self.take_pixels().map_or_else(|| crate::photo::decode_upright(&self.entry.photo), Ok)
    }
}

/// A decoded photo, where there is one.
#[cfg(feature = "pictures")]
pub(crate) type Pixels = Option<image::RgbImage>;
/// Without pictures nothing is decoded.
#[cfg(not(feature = "pictures"))]
pub(crate) type Pixels = Option<std::convert::Infallible>;
