//! Reading the pixels of a folder's photos into new sidecars.

use super::carry::Carrier;
use super::folder::{Entry, SIDECAR_SUFFIX, walk};
use super::name::as_jpeg;
use super::output::{folder_of, make_within, write_whole};
use super::rectify::lies_within;
use super::rings::{RingDepth, ring_depths};
use super::run::{Summary, VisitOptions, must_be_folder};
use super::session::{Session, no_photo_in};
use crate::Line;
use crate::error::{Error, ErrorKind, Result};
use crate::file::{FileKind, read_file};
use crate::picture::{PictureOptions, encode_jpeg, reading_picture};
use crate::pixels::{Found, Grey, ReadOptions, Reading, read_photo};
use jiff::civil::Date;
use std::path::Path;

/// What was read from one photo of a folder, in the order of the photos.
#[derive(Debug)]
#[non_exhaustive]
pub enum ReadReport<'a> {
    /// It was read; its new sidecar and a copy of it stand in the output folder.
    Read {
        /// Its path relative to the folder.
        name: &'a str,
        /// What was found.
        reading: &'a Reading,
        /// The rings of its new sidecar, drawn or found, from the coronet down.
        rings: &'a [RingDepth],
        /// The day on which it was taken, by its sidecar or its header.
        day: Option<Date>,
    },
    /// It was refused.
    Refused(&'a Error),
    /// A lens profile that nobody named cannot be read.
    PassedOver(&'a Error),
}

/// Reads the pixels of every photo of a folder that has a sidecar, and writes a new folder to measure: copies of the photos
/// and lens profiles, with new sidecars in which what the pixels show is filled in. Nothing in the folder itself is changed. Clicks of
/// outlines that were traced are kept beside the new sidecar, in `PHOTO.clicks.json`.
///
/// The new sidecar names the lens profile that the photo was read with, also where the photo has chosen it by itself. A profile of the
/// folder keeps its place in it; one from elsewhere, or made of the system's lens database, goes into `lenses/`, where two of one name stay
/// apart.
///
/// Into the folder `pictures`, where one is named, a picture of each photo is drawn of what was clicked against what was found.
///
/// The photo is measured as `visit` says, its lens and its ruler too; the new sidecar marks no more of the ruler than the old one.
///
/// Memory is that of one photo: photos are read one after another.
///
/// # Errors
/// `Usage` where the folder does not exist or holds no photo, where `out` is that folder, or where `pictures` lies within either; `Io`
/// where a file cannot be written. A photo that cannot be read is no error of the run: it is reported to `each`, and by [`Summary::refused`].
pub fn read_folder(
    folder: &Path,
    out: &Path,
    pictures: Option<&Path>,
    visit: &VisitOptions,
    options: ReadOptions,
    each: &mut dyn FnMut(ReadReport<'_>),
) -> Result<Summary> {
    must_be_folder(folder)?;
    std::fs::create_dir_all(out).map_err(|e| Error::io(out, "cannot be made", &e))?;
    if folder.canonicalize().ok() == out.canonicalize().ok() {
        return Err(Error::new(ErrorKind::Usage, "the output folder is the folder that is read")
            .in_file(out)
            .help("name another one: the sidecars you wrote are never changed"));
    }
    if pictures.is_some_and(|p| lies_within(p, out) || lies_within(p, folder)) {
        return Err(Error::new(ErrorKind::Usage, "the pictures lie within a folder of photos")
            .in_file(pictures.unwrap_or(out))
            .help("name a folder beside it: there they would be taken for photos of the visit"));
    }
    let session = Session::new(visit)?;
    let carrier = Carrier { from: folder, to: out };
    let mut summary = Summary::default();
    for entry in walk(folder, &[out.to_path_buf()]) {
        let done =
            entry.and_then(|entry| read_one(&entry, carrier, pictures, &session, options).map(|done| (entry, done)));
        match done {
            Ok((entry, (reading, rings, day))) => {
                summary.measured += 1;
                each(ReadReport::Read { name: &entry.name, reading: &reading, rings: &rings, day });
            }
            Err(error) => {
                summary.refused += 1;
                each(ReadReport::Refused(&error));
            }
        }
        for profile in session.passed_over() {
            summary.passed_over += 1;
            each(ReadReport::PassedOver(&profile));
        }
    }
    if summary.found_nothing() {
        return Err(no_photo_in(folder));
    }
    Ok(summary)
}

type Done = (Reading, Vec<RingDepth>, Option<Date>);

fn read_one(
    entry: &Entry,
    carrier: Carrier<'_>,
    pictures: Option<&Path>,
    session: &Session,
    options: ReadOptions,
) -> Result<Done> {
    let mut opened = session.open(entry)?;
    let how = opened.settle()?;
    let pixels = opened.pixels()?;
    let read = opened.files;
    let grey = Grey::of(&pixels);
    // A picture needs the colours once more.
    let pixels = pictures.map(|_| pixels);
    let mut reading =
        read_photo(&grey, &read.sidecar, &read.lens.prior, &how, options).map_err(|e| e.in_file(entry.sidecar()))?;
    drop(grey);
    if let Some((pixels, folder)) = pixels.zip(pictures) {
        let look = PictureOptions::default();
        let picture =
            reading_picture(&pixels, &read.sidecar, &reading, look.width).and_then(|p| encode_jpeg(&p, look.quality));
        let path = folder.join(format!("{}{}", entry.name, as_jpeg(&entry.photo)));
        make_within(folder, folder_of(&path), "cannot be made")?;
        write_whole(&path, &picture.map_err(|e| e.in_file(&entry.photo))?)?;
    }
    let rings = ring_depths(&reading, &read.lens.prior, &how).map_err(|e| e.in_file(entry.sidecar()))?;
    let taken = read.sidecar.taken.as_deref().or(read.facts.taken.as_deref());
    let day = taken.and_then(|t| t.get(..10)).and_then(|d| d.parse().ok());
    let photo = carrier.photo(&entry.photo);
    make_within(carrier.to, folder_of(&photo), "cannot be made")?;
    reading.sidecar.lens = carrier.profile(&read.lens, &photo)?;
    write_whole(&photo, &read_file(&entry.photo, FileKind::Photo)?)?;
    let photo_name = photo.into_os_string();
    let mut sidecar = photo_name.clone();
    sidecar.push(SIDECAR_SUFFIX);
    if !reading.clicks.is_empty() {
        let mut clicks = photo_name.clone();
        clicks.push(".clicks.json");
        write_whole(Path::new(&clicks), clicks_json(&entry.name, &reading).as_bytes())?;
    }
    write_whole(Path::new(&sidecar), reading.sidecar.to_json().as_bytes())?;
    Ok((reading, rings, day))
}

/// What was clicked before the outlines were traced.
fn clicks_json(photo: &str, reading: &Reading) -> String {
    let lines: serde_json::Map<String, serde_json::Value> = reading
        .clicks
        .iter()
        .map(|(line, points)| {
            (line.name().to_owned(), serde_json::json!({ "clicked": points, "outcome": outcome(reading, *line) }))
        })
        .collect();
    let file = photo.rsplit('/').next().unwrap_or(photo);
    let whole = serde_json::json!({ "format": "hoofgeo-clicks/1", "photo": file, "lines": lines });
    format!("{whole}\n")
}

fn outcome(reading: &Reading, line: Line) -> serde_json::Value {
    let traced = reading.found.iter().find_map(|(l, f)| match f {
        Found::Traced(t) if *l == line => Some(t),
        _ => None,
    });
    traced.map_or(serde_json::Value::Null, |t| {
        serde_json::json!({
            "points": t.points.len(), "traced_share": t.traced, "u_mm": t.u_mm,
            "farthest_from_clicked_polygon_mm": t.farthest_mm, "limit_mm": t.limit_mm,
        })
    })
}
