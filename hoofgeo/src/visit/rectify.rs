//! Rectified pictures of a folder.

use super::carry::Carrier;
use super::folder::Entry;
use super::name::as_jpeg;
use super::output::{cannot_write, folder_of, make_within, staged};
use super::run::{PICTURE_BATCH, Stop, Summary, VisitOptions, must_be_folder, stopped};
use super::session::{Made, Session};
use crate::error::{Error, ErrorKind, Result};
use crate::rectify::{Rectified, RectifyOptions, draw, encode, lens_name, rectify};
use std::path::Path;

/// What happened to one photo, in the order of the photos.
#[derive(Debug)]
#[non_exhaustive]
pub enum RectifyProgress<'a> {
    /// Its picture, sidecar and lens profile were written.
    Written {
        /// Path of the photo relative to the folder.
        photo: &'a str,
        /// Path of the picture relative to the output folder.
        picture: &'a str,
        /// What was made of it.
        rectified: &'a Rectified,
    },
    /// It was refused.
    Refused(&'a Error),
    /// A lens profile that nobody named cannot be read.
    PassedOver(&'a Error),
}

/// Rectifies every photo of a folder that has a sidecar: writes a picture under the same name (with `.jpg` behind it where the photo is no
/// JPEG), its sidecar and its lens profile into the output folder, each file whole or not at all. The photo is measured as `visit` says.
///
/// # Errors
/// Where the folder does not exist or holds no photo, the output folder lies within it or cannot be made, or the run was stopped. A photo
/// that cannot be rectified is no error of the run: it is reported to `each`.
pub fn rectify_folder(
    folder: &Path,
    out: &Path,
    options: &RectifyOptions,
    visit: &VisitOptions,
    stop: &Stop,
    each: &mut dyn FnMut(RectifyProgress<'_>),
) -> Result<Summary> {
    must_be_folder(folder)?;
    if lies_within(out, folder) {
        return Err(Error::new(ErrorKind::Usage, "lies within the folder of the photos").in_file(out).help(
            "name a folder beside it: rectified pictures have sidecars and would be taken for further photos of the visit",
        ));
    }
    std::fs::create_dir_all(out).map_err(|e| Error::io(out, "the output folder cannot be made", &e))?;
    let session = Session::new(visit)?;
    let mut summary = Summary::default();
    let work = |entry: Entry| {
        if stop.is_raised() {
            return Err(stopped());
        }
        let (picture, rectified) = write(&entry, &session, options, [folder, out])?;
        Ok((entry.name, picture, rectified))
    };
    session.each_in(folder, &[], PICTURE_BATCH, &work, &mut |made| {
        if stop.is_raised() {
            return Err(stopped());
        }
        match made {
            Made::Of(Ok((photo, picture, rectified))) => {
                summary.measured += 1;
                each(RectifyProgress::Written { photo: &photo, picture: &picture, rectified: &rectified });
            }
            Made::Of(Err(error)) => {
                summary.refused += 1;
                each(RectifyProgress::Refused(&error));
            }
            Made::PassedOver(profile) => {
                summary.passed_over += 1;
                each(RectifyProgress::PassedOver(profile));
            }
        }
        Ok(())
    })?;
    Ok(summary)
}

/// Whether a folder, which may not exist yet, lies in another or is it.
pub(super) fn lies_within(out: &Path, folder: &Path) -> bool {
    // The part of the path that exists; of a relative path at least the current folder does.
    let exists =
        out.ancestors().map(|a| if a.as_os_str().is_empty() { Path::new(".") } else { a }).find(|a| a.exists());
    let whole = exists.and_then(|a| a.canonicalize().ok()).zip(folder.canonicalize().ok());
    whole.is_some_and(|(out, folder)| out.starts_with(folder))
}

/// Writes one photo's picture and what goes with it.
fn write(
    entry: &Entry,
    session: &Session,
    options: &RectifyOptions,
    [root, out]: [&Path; 2],
) -> Result<(String, Rectified)> {
    let mut opened = session.open(entry)?;
    let how = opened.settle()?;
    let read = &mut opened.files;
    // The picture has no EXIF that would say it.
    if read.sidecar.taken.is_none() {
        read.sidecar.taken.clone_from(&read.facts.taken);
    }
    let behind = as_jpeg(&entry.photo);
    let name = format!("{}{behind}", entry.name);
    let file = name.rsplit('/').next().unwrap_or(&name);
    let rectified =
        rectify(&read.sidecar, &read.lens.prior, &how, options, file).map_err(|e| e.in_file(entry.sidecar()))?;
    let photo = opened.pixels()?;
    let picture = draw(&photo, &rectified, options).map_err(|e| e.in_file(&entry.photo))?;
    drop(photo);
    let jpeg = encode(&picture, rectified.sheet.px_per_mm, options.quality).map_err(|e| e.in_file(&entry.photo))?;
    // The photo's own name, whatever it is: the picture's sidecar is found by it.
    let mut path = Carrier { from: root, to: out }.photo(&entry.photo);
    path.as_mut_os_string().push(&behind);
    let folder = folder_of(&path);
    make_within(out, folder, "the folder for pictures cannot be made")?;
    let mut sidecar = path.clone();
    sidecar.as_mut_os_string().push(super::SIDECAR_SUFFIX);
    let files = [
        (folder.join(lens_name(file)), rectified.lens.to_json().into_bytes()),
        (path, jpeg),
        (sidecar, rectified.sidecar.to_json().into_bytes()),
    ];
    // All three are on the disk before the first gets its name; the sidecar, which makes a photo of the picture, comes last.
    let ready = files.iter().map(|(path, bytes)| staged(path, bytes)).collect::<Result<Vec<_>>>()?;
    for (file, (path, _)) in ready.into_iter().zip(&files) {
        file.persist(path).map_err(|e| cannot_write(path, &e.error))?;
    }
    Ok((name, rectified))
}
