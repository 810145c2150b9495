//! From photos of a board to a camera: reading, sorting out, finding corners, calibrating.

use super::corners::{NotFound, search};
use super::photos::{MORE_ANGLES, SAME_SETTINGS, refuse, too_few};
use super::{BoardPhoto, Calibration, Chessboard, FEWEST_PHOTOS, Options, calibrate};
use crate::error::{Error, ErrorKind, Result};
use crate::file::{FileKind, read_file};
use crate::photo::{PhotoFacts, Remark, Sha256Hex, decode_upright_bytes, facts_from_bytes};
use crate::sidecar::{CameraId, LensProfile};
use nalgebra::Point2;
use rayon::prelude::*;
use std::path::{Path, PathBuf};

/// Focal lengths of one zoom may differ by this share: a lens's drive does not stop at the same place twice. Chosen.
const ONE_ZOOM: f64 = 0.01;

/// A camera calibrated from photos.
#[derive(Debug, Clone)]
pub struct PhotoCalibration {
    /// What was found, for the frame as the camera stores it.
    pub calibration: Calibration,
    /// The camera, lens and focal length that the photos' headers name.
    pub camera: CameraId,
    /// When the last photo was taken (EXIF); none where no header says it.
    pub taken: Option<String>,
    /// The board.
    pub board: Chessboard,
    /// The photos in which the board was found, with its corners in the stored frame; named by their paths.
    pub photos: Vec<BoardPhoto>,
    /// Why photos were left out, each naming its file; in the order of the photos.
    pub left_out: Vec<Error>,
}

/// Calibrates a camera from photos of a printed chessboard. Photos are read and searched in parallel; `each` is told, on any
/// thread, which one is done.
///
/// A photo that cannot be used is left out and named: it cannot be read, was cropped, is stored mirrored, is a copy of another,
/// was taken with another camera, lens, zoom or at another size than the others, is blurred, does not show the whole board, or
/// does not fit the others ([`super::Reason`]).
///
/// Corners are taken back to the frame as the camera stores it, so that photos may be taken with the camera held any way round; a
/// profile made of it serves photos held any way round too.
///
/// **Mirrored photos** (as front cameras write them) are told by their header, and by the board where
/// [`Chessboard::shows_mirroring`] holds (9 x 7 inner corners, say) and the other photos are not mirrored. The usual board of
/// 9 x 6 inner corners is its own mirror image. Where every photo is mirrored alike, nothing shows, and only the principal
/// point and the tangential terms come out mirrored; focal length and radial distortion are the same.
///
/// # Errors
/// As [`calibrate`]; and [`ErrorKind::Scene`] with a list where too few photos are left, where the photos are of several cameras or
/// zooms, or where most show a board of another size.
///
/// # Example: a profile from a folder of photos
/// ```no_run
/// use hoofgeo::calibrate::{Chessboard, Options, calibrate_photos};
/// let photos: Vec<_> = std::fs::read_dir("board").expect("a folder").map(|f| f.expect("readable").path()).collect();
/// let board = Chessboard { columns: 9, rows: 6, square_mm: 25.0 };
/// let found = calibrate_photos(&photos, &board, &Options::default(), &|_| {})?;
/// for why in &found.left_out {
///     println!("left out: {why}");
/// }
/// hoofgeo::visit::write_whole("phone.lens.json".as_ref(), found.profile()?.to_json().as_bytes())?;
/// # Ok::<(), hoofgeo::Error>(())
/// ```
pub fn calibrate_photos(
    paths: &[PathBuf],
    board: &Chessboard,
    options: &Options,
    each: &(dyn Fn(&Path) + Sync),
) -> Result<PhotoCalibration> {
    board.check()?;
    if paths.len() < FEWEST_PHOTOS {
        return Err(too_few(paths.len()));
    }
    let mut files: Vec<Photo<'_>> = paths.par_iter().map(|p| Photo::open(p)).collect();
    mark_copies(&mut files);
    let camera = mark_others(&mut files)?;
    files.par_iter_mut().for_each(|photo| {
        photo.find(board);
        each(photo.path);
    });
    another_board(&files, board)?;
    let photos: Vec<BoardPhoto> = files.iter().filter_map(|f| f.board.clone()).collect();
    if photos.len() < FEWEST_PHOTOS {
        return Err(left_too_few(&files));
    }
    let calibration = calibrate(&photos, options)?;
    for out in &calibration.left_out {
        if let Some(file) = files.iter_mut().find(|f| f.name() == out.name) {
            file.leave_out(Error::new(ErrorKind::Photo, out.reason.to_string()));
        }
    }
    let used = files.iter().filter(|f| f.wrong.is_none());
    let taken = used.filter_map(|f| f.facts.as_ref()?.taken.clone()).max();
    let left_out = files.into_iter().filter_map(|f| f.wrong).collect();
    Ok(PhotoCalibration { calibration, camera, taken, board: *board, photos, left_out })
}

/// A file on its way.
struct Photo<'a> {
    path: &'a Path,
    facts: Option<PhotoFacts>,
    sha256: Option<Sha256Hex>,
    board: Option<BoardPhoto>,
    not_found: Option<NotFound>,
    wrong: Option<Error>,
}

impl<'a> Photo<'a> {
    /// Reads the header and the fingerprint.
    fn open(path: &'a Path) -> Self {
        let mut photo = Self { path, facts: None, sha256: None, board: None, not_found: None, wrong: None };
        match crate::photo::read_facts_and_fingerprint(path).and_then(|(facts, sha)| Ok((whole(facts)?, sha))) {
            Ok((facts, sha256)) => (photo.facts, photo.sha256) = (Some(facts), Some(sha256)),
            Err(e) => photo.leave_out(e),
        }
        photo
    }

    fn name(&self) -> String {
        self.path.display().to_string()
    }

    fn leave_out(&mut self, why: Error) {
        self.wrong = Some(why.in_file(self.path));
    }

    /// Decodes and looks for the board.
    fn find(&mut self, board: &Chessboard) {
        if self.wrong.is_some() {
            return;
        }
        match self.points(board) {
            Ok(Ok(found)) => self.board = Some(found),
            Ok(Err(why)) => {
                self.not_found = Some(why);
                self.leave_out(why.error(board));
            }
            Err(e) => self.leave_out(e),
        }
    }

    fn points(&self, board: &Chessboard) -> Result<std::result::Result<BoardPhoto, NotFound>> {
        let bytes = read_file(self.path, FileKind::Photo)?;
        let facts = facts_from_bytes(&bytes)?;
        let upright = image::imageops::grayscale(&decode_upright_bytes(&bytes, &facts)?);
        let stored = (facts.stored_width_px, facts.stored_height_px);
        Ok(search(upright.dimensions(), upright.as_raw(), board)?.map(|mut points| {
            for p in &mut points {
                p.pixel = Point2::from(facts.orientation.invert([p.pixel.x, p.pixel.y], stored));
            }
            BoardPhoto { name: self.name(), frame_px: stored, points }
        }))
    }
}

/// Refuses what is not the camera's whole frame, seen the right way round.
fn whole(facts: PhotoFacts) -> Result<PhotoFacts> {
    if let Some(Remark::Cropped { recorded, actual }) =
        facts.remarks.iter().find(|r| matches!(r, Remark::Cropped { .. }))
    {
        let what = format!(
            "was cropped: the camera recorded {} x {} px, the file has {} x {} px",
            recorded.0, recorded.1, actual.0, actual.1
        );
        return Err(Error::new(ErrorKind::Photo, what).help("use the photo as the camera stored it"));
    }
    if facts.orientation.mirrors() {
        let what = "is stored mirrored, as its header says";
        return Err(Error::new(ErrorKind::Photo, what).help("use photos of the main camera, not mirrored"));
    }
    Ok(facts)
}

/// A photo given twice counts once: copies would make the result look more certain than it is.
fn mark_copies(files: &mut [Photo<'_>]) {
    for i in 1..files.len() {
        let (before, rest) = files.split_at_mut(i);
        let copy = before.iter().find(|b| b.sha256.is_some() && b.sha256 == rest[0].sha256);
        if let Some(first) = copy {
            rest[0].leave_out(Error::new(ErrorKind::Photo, format!("is a copy of {}", first.name())));
        }
    }
}

/// What most say; `None` where nobody says anything.
fn most<T: PartialEq + Clone>(said: impl Iterator<Item = T>) -> Option<T> {
    let mut counts: Vec<(T, usize)> = Vec::new();
    for value in said {
        match counts.iter_mut().find(|(v, _)| *v == value) {
            Some((_, n)) => *n += 1,
            None => counts.push((value, 1)),
        }
    }
    // The first of equals, so that the order of the photos decides and not chance.
    counts.into_iter().reduce(|a, b| if b.1 > a.1 { b } else { a }).map(|(v, _)| v)
}

/// Leaves out the few photos of another camera, lens, zoom or size than most; what a header does not say is no contradiction.
fn mark_others(files: &mut [Photo<'_>]) -> Result<CameraId> {
    let facts = || files.iter().filter(|f| f.wrong.is_none()).filter_map(|f| f.facts.as_ref());
    let text = |of: fn(&PhotoFacts) -> &Option<String>| most(facts().filter_map(|f| of(f).clone()));
    let (make, model, lens) = (text(|f| &f.make), text(|f| &f.model), text(|f| &f.lens_model));
    let focal_mm = most(facts().filter_map(|f| f.focal_mm));
    let zoom = most(facts().filter_map(|f| f.digital_zoom));
    let frame = most(facts().map(|f| (f.stored_width_px, f.stored_height_px)));
    let other = |f: &PhotoFacts| -> Option<String> {
        let words = [("make", &make, &f.make), ("model", &model, &f.model), ("lens", &lens, &f.lens_model)];
        for (what, most, own) in words {
            if let (Some(most), Some(own)) = (most, own)
                && most != own
            {
                return Some(format!("is of another {what}, `{own}`; the others are of `{most}`"));
            }
        }
        let numbers = [("focal length", " mm", focal_mm, f.focal_mm), ("digital zoom", "", zoom, f.digital_zoom)];
        for (what, unit, most, own) in numbers {
            if let (Some(most), Some(own)) = (most, own)
                && (own / most - 1.0).abs() > ONE_ZOOM
            {
                return Some(format!("was taken at another zoom: {what} {own}{unit}, the others {most}{unit}"));
            }
        }
        let (w, h) = (f.stored_width_px, f.stored_height_px);
        frame
            .filter(|&most| most != (w, h))
            .map(|most| format!("is stored with {w} x {h} px, the others with {} x {} px", most.0, most.1))
    };
    let whys: Vec<Option<String>> =
        files.iter().map(|f| f.facts.as_ref().filter(|_| f.wrong.is_none()).and_then(other)).collect();
    let (others, usable) = (whys.iter().flatten().count(), files.iter().filter(|f| f.wrong.is_none()).count());
    if 4 * others > usable {
        let list = whys.iter().zip(files.iter()).filter_map(|(w, f)| Some(format!("{}: {}", f.name(), w.as_ref()?)));
        let list: Vec<String> = list.collect();
        let what = format!(
            "the photos are not of one camera, lens and zoom: {others} of {usable} differ from the rest\n  {}",
            few(&list, "\n  ")
        );
        return Err(refuse(what, SAME_SETTINGS));
    }
    for (file, why) in files.iter_mut().zip(whys) {
        if let Some(why) = why {
            file.leave_out(Error::new(ErrorKind::Photo, why).help(SAME_SETTINGS));
        }
    }
    Ok(CameraId { make, model, lens, focal_mm })
}

/// Where most photos show one whole board of another size, that size is meant.
fn another_board(files: &[Photo<'_>], board: &Chessboard) -> Result<()> {
    let sizes = files.iter().filter_map(|f| match f.not_found {
        Some(NotFound::Another { columns, rows }) => Some((columns, rows)),
        _ => None,
    });
    let sizes: Vec<_> = sizes.collect();
    let Some((columns, rows)) = most(sizes.iter().copied()) else { return Ok(()) };
    let same = sizes.iter().filter(|&&s| s == (columns, rows)).count();
    if 2 * same <= files.len() {
        return Ok(());
    }
    let what = format!(
        "{same} of {} photos show a board of {columns}x{rows} inner corners, not {}x{}",
        files.len(),
        board.columns,
        board.rows
    );
    let help = format!("give the size as {columns}x{rows}: inner corners are counted, one less than squares");
    Err(Error::new(ErrorKind::Scene, what).help(help))
}

fn left_too_few(files: &[Photo<'_>]) -> Error {
    let list: Vec<String> =
        files.iter().filter_map(|f| f.wrong.as_ref().map(|e| format!("{}: {}", f.name(), e.what()))).collect();
    let what = format!(
        "{} of {} photos of the board cannot be used, which leaves too few\n  {}",
        list.len(),
        files.len(),
        few(&list, "\n  ")
    );
    refuse(what, MORE_ANGLES)
}

/// A list that stays readable: the first of many, and how many more.
fn few(list: &[String], between: &str) -> String {
    const MOST: usize = 8;
    let shown = list.iter().take(MOST).map(String::as_str).collect::<Vec<_>>().join(between);
    if list.len() > MOST { format!("{shown}{between}and {} more", list.len() - MOST) } else { shown }
}

/// Names of the frame's nine parts, row by row.
const PARTS: [&str; 9] = [
    "top left corner",
    "upper edge",
    "top right corner",
    "left edge",
    "middle",
    "right edge",
    "bottom left corner",
    "lower edge",
    "bottom right corner",
];

/// The outer parts are this share of the frame wide and high.
const EDGE: f64 = 0.2;

impl PhotoCalibration {
    /// The lens profile. Where a header names another camera than is meant, change [`PhotoCalibration::camera`] before.
    ///
    /// # Errors
    /// As [`Calibration::profile`].
    pub fn profile(&self) -> Result<LensProfile> {
        self.calibration.profile(self.camera.clone(), self.taken.clone(), Some(self.board.to_string()))
    }

    /// Which parts of the frame (the corners and edges, a fifth of it wide, and the middle), as the camera stores it, hold no
    /// corner in any photo used. The lens is extrapolated there.
    pub fn uncovered(&self) -> Vec<&'static str> {
        let (w, h) = self.calibration.frame_px;
        let part = |x: f64, side: u32| {
            let share = x / f64::from(side);
            usize::from(share >= EDGE) + usize::from(share > 1.0 - EDGE)
        };
        let mut seen = [false; 9];
        let used = self.photos.iter().filter(|p| self.calibration.photos.iter().any(|u| u.name == p.name));
        for p in used.flat_map(|p| &p.points) {
            seen[3 * part(p.pixel.y, h) + part(p.pixel.x, w)] = true;
        }
        PARTS.into_iter().zip(seen).filter(|(_, seen)| !seen).map(|(name, _)| name).collect()
    }

    /// The strongest tilt of the board against the frame among the photos used, degrees.
    pub fn strongest_tilt_deg(&self) -> f64 {
        let tilts = self.calibration.photos.iter().map(|p| p.pose.rotation[(2, 2)].abs().min(1.0).acos().to_degrees());
        tilts.fold(0.0, f64::max)
    }

    /// What would make the calibration better, in words; empty where nothing is amiss.
    pub fn advice(&self) -> Vec<String> {
        let mut advice = Vec::new();
        let uncovered = self.uncovered();
        if !uncovered.is_empty() {
            advice.push(format!(
                "no corner of the board was seen in the frame's {}: the lens is not known there; add photos with the board \
                 there, and keep the foot and the ruler away from it until then",
                uncovered.join(", ")
            ));
        }
        let used = self.calibration.photos.len();
        if used < 10 {
            advice.push(format!("{used} photos were used: ten to twenty make the stated uncertainty reliable"));
        }
        let tilt = self.strongest_tilt_deg();
        if tilt < 20.0 {
            advice.push(format!(
                "the board is tilted by {tilt:.0} degrees at most: tilt it 20 to 45 degrees to all four sides for a better \
                 focal length"
            ));
        }
        advice
    }
}
