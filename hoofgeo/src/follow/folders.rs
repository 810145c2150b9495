//! The photos of a case from their folders.

use super::shot::{LensIdentity, Shot};
use crate::error::{Error, ErrorKind, Result};
use crate::photo::PhotoFacts;
use crate::scene::{LensPrior, LensSource};
use crate::visit::{BATCH, Entry, Made, PhotoReport, Session, VisitOptions, walk};
use std::path::{Path, PathBuf};

/// Measures every photo of some folders and keeps what `keep` makes of it, in the order of the folders and their photos. Sub-folders
/// are walked; those in `skip` are left out. A photo that cannot be measured or kept is told to `refused`, and the others go on.
///
/// # Errors
/// Where a folder does not exist or none holds a photo.
///
/// # Example: the case of every animal of a yard
/// ```no_run
/// use hoofgeo::{follow::{FollowOptions, Shot, follow, read_folders}, visit::VisitOptions};
/// let folders = ["2026-02-09".into(), "2026-03-16".into()];
/// let shots = read_folders(&folders, &[], &VisitOptions::usual(), &Shot::of, &mut |why| eprintln!("{why}"))?;
/// for case in follow(&shots, &FollowOptions::default()) {
///     println!("{}: {} visits", case.animal, case.visits.len());
/// }
/// # Ok::<(), hoofgeo::Error>(())
/// ```
pub fn read_folders<T: Send>(
    folders: &[PathBuf],
    skip: &[PathBuf],
    options: &VisitOptions,
    keep: &(dyn Fn(PhotoReport) -> Result<T> + Sync),
    refused: &mut dyn FnMut(&Error),
) -> Result<Vec<T>> {
    let session = Session::new(options)?;
    let mut kept = Vec::new();
    let mut any = false;
    for folder in folders {
        if !folder.is_dir() {
            return Err(Error::new(ErrorKind::Usage, "is not a folder").in_file(folder).help(NAME_FOLDERS));
        }
        let work = |entry: Result<Entry>| {
            let mut report = session.measure(&entry?)?;
            if folders.len() > 1 {
                report.name = format!("{}/{}", last_name(folder), report.name);
            }
            keep(report)
        };
        any |= session.each(walk(folder, skip), BATCH, &work, &mut |made| {
            match made {
                Made::Of(Ok(t)) => kept.push(t),
                Made::Of(Err(why)) => refused(&why),
                Made::PassedOver(profile) => refused(profile),
            }
            Ok(())
        })?;
    }
    if !any {
        return Err(Error::new(ErrorKind::Usage, "no photo is in these folders").help(NAME_FOLDERS));
    }
    Ok(kept)
}

const NAME_FOLDERS: &str = "name the folders of an animal's visits, or one folder that holds them all";

fn last_name(folder: &Path) -> String {
    let real = folder.canonicalize();
    real.as_deref().unwrap_or(folder).file_name().unwrap_or_default().to_string_lossy().into_owned()
}

/// Which lens took a photo, as far as that can be told: by its profile, or by camera model and EXIF focal length.
pub fn lens_identity(report: &PhotoReport) -> Option<LensIdentity> {
    LensIdentity::of(&report.lens.prior, &report.facts)
}

impl LensIdentity {
    /// The same of what is known of a photo's lens, and its header.
    pub(crate) fn of(prior: &LensPrior, f: &PhotoFacts) -> Option<Self> {
        let prior = prior.clone();
        let camera = match prior.source {
            LensSource::Profile => None,
            // The entry is of the model, so all cameras of the model share it, right or wrong.
            LensSource::Database | LensSource::Exif => {
                let parts = [f.make.as_deref(), f.model.as_deref(), f.lens_model.as_deref()];
                f.model.as_ref()?;
                Some(parts.map(Option::unwrap_or_default).join("/"))
            }
            // Each crop has its own.
            LensSource::ExifCropped | LensSource::Unknown => return None,
        };
        Some(Self { camera, prior })
    }
}

impl Shot {
    /// From a measured photo of a folder.
    ///
    /// # Errors
    /// As [`Shot::new`].
    pub fn of(report: PhotoReport) -> Result<Self> {
        Self::of_report(&report)
    }

    /// The same, the report kept.
    ///
    /// # Errors
    /// As [`Shot::new`].
    pub fn of_report(report: &PhotoReport) -> Result<Self> {
        let shot = Self::new(&report.name, &report.sidecar, &report.measured, report.taken(), lens_identity(report))?;
        let shot = Self { photo_sha256: Some(report.photo_sha256.to_string()), ..shot };
        let visit = report.visit.as_deref();
        let own = report.sidecar.notes.clone().filter(|n| visit.and_then(|v| v.notes.as_ref()) != Some(n));
        let own = own.map(|n| ("photo", format!("{}: {n}", report.name)));
        Ok(shot.with_remarks(visit.map(crate::sidecar::Visit::remarks).unwrap_or_default()).with_remarks(own))
    }
}
