//! Sidecars of several observers from their folders.

use crate::error::{Error, Result};
use crate::measured::{MeasureOptions, Measured, measure};
use crate::photo::Sha256Hex;
use crate::scene::LensPrior;
use crate::sidecar::Sidecar;
use crate::visit::{BATCH, Entry, Made, Session, VisitOptions, must_be_folder, walk};
use std::path::{Path, PathBuf};

/// One observer's sidecar of one photo.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub struct Reading {
    /// Who placed the landmarks: by the sidecar, else the folder's name.
    pub observer: String,
    /// The photo's path in its folder.
    pub name: String,
    /// The folder that the photo lies in.
    pub folder: PathBuf,
    /// Fingerprint of the photo: the same photo in another observer's folder has the same.
    pub photo_sha256: Sha256Hex,
    /// What was placed.
    pub sidecar: Sidecar,
    /// What is known of the lens.
    pub lens: LensPrior,
    /// How the photo is measured: whose spread of placing counts, and the graduations where they were read from the pixels.
    pub how: MeasureOptions,
    /// Why it cannot be measured, where that is so: its landmarks may still be compared.
    pub(super) unmeasured: Option<Error>,
}

/// Reads the sidecars of all folders, photos measured as `options` says; what cannot be read is in the second list.
///
/// # Errors
/// Where a folder does not exist.
pub fn read_folders(folders: &[impl AsRef<Path>], options: &VisitOptions) -> Result<(Vec<Reading>, Vec<Error>)> {
    let session = Session::new(options)?;
    let (mut readings, mut refused) = (Vec::new(), Vec::new());
    for folder in folders {
        let folder = folder.as_ref();
        must_be_folder(folder)?;
        let stands = folder.canonicalize().unwrap_or_else(|_| folder.to_path_buf());
        let own_name = stands.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let work = |entry: Result<Entry>| {
            let entry = entry?;
            let mut opened = session.open(&entry)?;
            let (how, unmeasured) = match opened.settle() {
                Ok(how) => (how, None),
                // What is wrong may be the ruler alone.
                Err(why) => (session.how(None), Some(why)),
            };
            let read = opened.files;
            let observer = read.sidecar.observer.clone().unwrap_or_else(|| own_name.clone());
            let (photo_sha256, sidecar, lens) = (read.photo_sha256, read.sidecar, read.lens.prior);
            let folder = entry.photo.parent().unwrap_or(&entry.photo).to_path_buf();
            Ok(Reading { observer, name: entry.name, folder, photo_sha256, sidecar, lens, how, unmeasured })
        };
        session.each(walk(folder, &[]), BATCH, &work, &mut |made: Made<'_, Result<Reading>>| {
            match made {
                Made::Of(Ok(reading)) => readings.push(reading),
                Made::Of(Err(e)) => refused.push(e),
                Made::PassedOver(profile) => refused.push(profile.clone()),
            }
            Ok(())
        })?;
    }
    Ok((readings, refused))
}

impl Reading {
    /// The most placements of any landmark.
    pub(super) fn repeats(&self) -> usize {
        self.sidecar.landmarks.values().map(|p| p.at.len()).max().unwrap_or(0)
    }

    /// The values as if only the placements number `i` had been made.
    pub(super) fn measured(&self, i: usize) -> Result<Measured> {
        match &self.unmeasured {
            Some(why) => Err(why.clone()),
            None => measure(&self.repeat(i), &self.lens, &self.how),
        }
    }

    /// The sidecar as if only the placements number `i` had been made; lines, which are not repeated, belong to the first.
    pub(super) fn repeat(&self, i: usize) -> Sidecar {
        let mut once = self.sidecar.clone();
        once.landmarks.retain(|_, p| p.at.len() > i);
        for placement in once.landmarks.values_mut() {
            // Observers are compared by where they clicked: an edge that a program found would make them agree.
            placement.at = vec![placement.snapped.take().map_or(placement.at[i], |s| s.from)];
        }
        if i > 0 {
            once.lines.clear();
            once.gauge = crate::sidecar::Gauge::default();
        }
        once
    }
}
