//! Which knowledge of the lens a photo is measured with.

use super::lens_entry::{FromDatabase, from_database};
use super::name::shown;
use crate::error::{Error, ErrorKind, Result};
use crate::file::{FileKind, read_file};
use crate::lens::database::Database;
use crate::photo::{Orientation, PhotoFacts, Remark, Sha256Hex, fingerprint};
use crate::scene::LensPrior;
use crate::sidecar::{LensProfile, Sidecar};
use std::collections::{HashMap, HashSet};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

/// What the name of a lens profile ends in.
pub const PROFILE_SUFFIX: &str = ".lens.json";

/// The largest difference between a profile's focal length and the photo's by EXIF, as a share: three times its 3 %.
const FOCAL_AGREES: f64 = 0.09;

/// Which lens database knows the lenses that no profile is there for.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
#[non_exhaustive]
pub enum LensDatabase {
    /// None.
    #[default]
    None,
    /// The one that the system's package has installed, where there is one.
    System,
    /// The one in this folder.
    Folder(PathBuf),
}

/// What is known of lenses beside the photos themselves, shared between threads: profiles read so far, and the lens database.
#[derive(Debug, Default)]
pub struct Lenses {
    profiles: Mutex<HashMap<PathBuf, Known>>,
    folders: Mutex<HashMap<PathBuf, Result<Vec<PathBuf>>>>,
    database: Option<Database>,
    force: bool,
    passed_over: Mutex<PassedOver>,
}

/// Profiles that no photo could choose, because they cannot be read.
#[derive(Debug, Default)]
struct PassedOver {
    known: HashSet<PathBuf>,
    untold: Vec<Error>,
}

/// A profile's file: its fingerprint, where it can be read, and what it says.
type Known = (Result<Sha256Hex>, Result<Arc<LensProfile>>);

/// As many profiles and folders are kept at a time: a set may have a hundred thousand folders.
const MOST_KNOWN: usize = 4096;

/// Keeps what was found out, and forgets everything else where that has become too much.
fn keep<T>(known: &mut HashMap<PathBuf, T>, path: &Path, found: T) {
    if known.len() >= MOST_KNOWN {
        known.clear();
    }
    known.insert(path.to_path_buf(), found);
}

/// The lens knowledge chosen for a photo.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub struct LensUsed {
    /// What is known before the graduations are looked at.
    pub prior: LensPrior,
    /// The profile's file as the sidecar names it, or relative to the sidecar's folder where the photo itself chose it.
    pub profile: Option<String>,
    /// What else there is to say of the choice: the database's entry, or why its entry was not used.
    pub note: Option<String>,
    /// By what the photo's header contradicts the profile, where the profile is used all the same.
    pub forced: Option<String>,
    /// The profile's file.
    #[cfg_attr(
        not(feature = "pictures"),
        expect(dead_code, reason = "new sidecars are written where pixels are read")
    )]
    pub(crate) file: Option<PathBuf>,
    /// The database's entry as a profile, where it is used.
    #[cfg_attr(
        not(feature = "pictures"),
        expect(dead_code, reason = "new sidecars are written where pixels are read")
    )]
    pub(crate) entry: Option<Box<LensProfile>>,
    /// Profiles in the photo's folder, or one above, that could not be chosen because they cannot be read.
    pub(super) passed_over: Vec<String>,
}

impl LensUsed {
    fn of(prior: LensPrior) -> Self {
        Self { prior, profile: None, note: None, forced: None, file: None, entry: None, passed_over: Vec::new() }
    }

    /// What there is to say of the choice, with the profiles that were passed over.
    pub(super) fn remark(&self) -> Option<String> {
        let passed_over = self.passed_over.iter().map(|name| format!("passed over, for it cannot be read: {name}"));
        let all: Vec<String> = self.note.iter().cloned().chain(passed_over).collect();
        (!all.is_empty()).then(|| all.join("; "))
    }
}

impl Lenses {
    /// Uses a profile also where the photo's header names another camera, lens or zoom; [`LensUsed::forced`] says so.
    #[must_use]
    pub fn forced(mut self, force: bool) -> Self {
        self.force = force;
        self
    }

    /// With a lens database, read here once for the whole run.
    ///
    /// # Errors
    /// Where the database cannot be read.
    pub fn with(database: &LensDatabase) -> Result<Self> {
        let leave_out = |e: Error| {
            let help = e.help_text().unwrap_or("repair it, or measure without the lens database").to_owned();
            e.help(help)
        };
        let database = match database {
            LensDatabase::None => None,
            LensDatabase::System => Database::system().map_err(leave_out)?,
            LensDatabase::Folder(folder) => Some(Database::read(folder).map_err(leave_out)?),
        };
        Ok(Self { database, ..Self::default() })
    }

    /// The first of these that there is: the profile that the sidecar names; a profile (`*.lens.json`) in the photo's folder, or one
    /// of the `folders_up` folders above it, that matches the photo; the lens database's entry; the photo's EXIF focal length;
    /// nothing.
    ///
    /// A profile matches by itself where it names the photo's camera (make and model), does not differ in what both say of the
    /// lens, and fits the photo's proportions and EXIF focal length. The nearest folder with one counts.
    ///
    /// An entry of the database is used by itself for single-lens reflex cameras alone. Phones, compact and mirrorless cameras
    /// correct their pictures before they store them, so the entry, made for uncorrected pictures, would bend them the other
    /// way: for them it is only told ([`LensUsed::note`]).
    ///
    /// # Errors
    /// Where the profile named cannot be read, is of another camera or does not fit the photo's proportions, or two in a folder
    /// match equally well. One in a folder that is broken and not named is passed over, and [`Lenses::passed_over`] tells of it.
    pub fn choose(&self, sidecar: &Sidecar, facts: &PhotoFacts, folder: &Path, folders_up: usize) -> Result<LensUsed> {
        let frame = (sidecar.photo.width_px, sidecar.photo.height_px);
        self.choose_for(sidecar.lens.as_ref(), frame, facts, folder, folders_up)
    }

    /// The same for an upright photo of this size, and the profile that is named for it.
    pub(crate) fn choose_for(
        &self,
        named: Option<&String>,
        frame: (u32, u32),
        facts: &PhotoFacts,
        folder: &Path,
        folders_up: usize,
    ) -> Result<LensUsed> {
        if let Some(name) = named {
            let path = folder.join(name);
            let profile = self.read(&path).map_err(|e| told_of(e, &path, folder, folders_up))?;
            let forced = match same_camera(&profile, facts, name) {
                Err(e) if self.force => Some(e.what().to_owned()),
                same => same.map(|()| None)?,
            };
            let prior = turned_prior(&profile, facts, frame)?;
            return Ok(LensUsed { profile: Some(name.clone()), forced, file: Some(path), ..LensUsed::of(prior) });
        }
        let mut passed_over = Vec::new();
        if let Some((prior, name, file)) = self.in_folders(facts, frame, folder, folders_up, &mut passed_over)? {
            let note = "chosen because it names the photo's camera and lies in its folder or one above".to_owned();
            let (profile, note, file) = (Some(name), Some(note), Some(file));
            return Ok(LensUsed { profile, note, file, passed_over, ..LensUsed::of(prior) });
        }
        let FromDatabase { used, note } = match &self.database {
            Some(database) => from_database(database, facts, frame),
            None => FromDatabase::default(),
        };
        let (prior, entry) = match (used, facts.prior_focal_px()) {
            (Some((prior, entry)), _) => (prior, entry),
            (None, Some(focal_px)) => match may_be_cropped(facts) {
                Some((factor, off_centre)) => (LensPrior::exif_cropped(frame, focal_px, factor, off_centre), None),
                None => (LensPrior::exif(frame, focal_px), None),
            },
            (None, None) => (LensPrior::unknown(frame), None),
        };
        Ok(LensUsed { note, entry, passed_over, ..LensUsed::of(prior) })
    }

    /// The profiles that were found since this was last asked, and passed over because they cannot be read; each is told once.
    pub fn passed_over(&self) -> Vec<Error> {
        std::mem::take(&mut self.passed_over.lock().unwrap_or_else(std::sync::PoisonError::into_inner).untold)
    }

    fn pass_over(&self, path: &Path, why: &Error) {
        let mut passed = self.passed_over.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        if passed.known.len() >= MOST_KNOWN {
            passed.known.clear();
        }
        if passed.known.insert(path.to_path_buf()) {
            let told =
                Error::new(why.kind(), format!("this lens profile is passed over: {}", why.what())).in_file(path);
            let told = match why.place() {
                Some(place) => told.at(place.clone()),
                None => told,
            };
            passed.untold.push(told.help("repair or remove it; photos beside it and below are measured without it"));
        }
    }

    /// The profile in the photo's folder, or the nearest above, that matches the photo.
    fn in_folders(
        &self,
        facts: &PhotoFacts,
        frame: (u32, u32),
        folder: &Path,
        folders_up: usize,
        passed_over: &mut Vec<String>,
    ) -> Result<Option<(LensPrior, String, PathBuf)>> {
        let mut up = String::new();
        for folder in folder.ancestors().take(folders_up + 1) {
            let mut best: Vec<(u8, LensPrior, String, PathBuf)> = Vec::new();
            for path in self.profiles_of(folder)? {
                let name = format!("{up}{}", shown(path.file_name().unwrap_or_default()));
                // One that is broken, and that nobody named, stops nobody.
                let profile = match self.read(&path) {
                    Ok(profile) => profile,
                    Err(why) => {
                        self.pass_over(&path, &why);
                        passed_over.push(name);
                        continue;
                    }
                };
                if let Some((score, prior)) = matching(&profile, facts, frame) {
                    best.push((score, prior, name, path));
                }
            }
            best.sort_by_key(|(score, ..)| std::cmp::Reverse(*score));
            if let [(first, _, one, _), (second, _, other, _), ..] = &best[..]
                && first == second
            {
                let what = format!("two lens profiles match this photo equally well: {one} and {other}");
                return Err(Error::new(ErrorKind::Usage, what)
                    .help("name the right one as `lens` in the sidecar or visit.hoof.json, or remove the other"));
            }
            if let Some((_, prior, name, path)) = best.into_iter().next() {
                return Ok(Some((prior, name, path)));
            }
            up += "../";
        }
        Ok(None)
    }

    /// The profiles in a folder, by name.
    fn profiles_of(&self, folder: &Path) -> Result<Vec<PathBuf>> {
        let mut known = self.folders.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        if let Some(found) = known.get(folder) {
            return found.clone();
        }
        // A photo named without a folder stands in the current one.
        let place = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
        let found = std::fs::read_dir(place)
            .and_then(|entries| {
                let mut paths = Vec::new();
                for entry in entries {
                    let name = entry?.file_name();
                    let text = name.to_string_lossy();
                    if text.ends_with(PROFILE_SUFFIX) && !text.starts_with('.') {
                        paths.push(folder.join(&name));
                    }
                }
                paths.sort();
                Ok(paths)
            })
            .map_err(|e| Error::io(place, "cannot be read", &e));
        keep(&mut known, folder, found.clone());
        found
    }

    fn read(&self, path: &Path) -> Result<Arc<LensProfile>> {
        self.known(path).1
    }

    fn known(&self, path: &Path) -> Known {
        let mut known = self.profiles.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        if let Some(found) = known.get(path) {
            return found.clone();
        }
        let bytes = read_file(path, FileKind::LensProfile).map_err(|e| {
            e.help(
                "`lens` is a path from the folder of the sidecar or visit.hoof.json that names it; leave it out to measure \
                 without a profile",
            )
        });
        let parse = |bytes: &Vec<u8>| LensProfile::parse_bytes(bytes).map(Arc::new).map_err(|e| e.in_file(path));
        let found = (bytes.as_ref().map(|b| Sha256Hex::of(b)).map_err(Clone::clone), bytes.and_then(|b| parse(&b)));
        keep(&mut known, path, found.clone());
        found
    }

    /// The fingerprint of a profile's file.
    pub(super) fn fingerprint_of(&self, path: &Path) -> Result<Sha256Hex> {
        self.known(path).0
    }

    /// The profiles that a photo in this folder may choose from, by their path from it, with their fingerprints.
    pub(super) fn in_reach(&self, folder: &Path, folders_up: usize) -> Vec<(String, Sha256Hex)> {
        let mut found = Vec::new();
        let mut up = String::new();
        for folder in folder.ancestors().take(folders_up + 1) {
            for path in self.profiles_of(folder).unwrap_or_default() {
                let name = shown(path.file_name().unwrap_or_default());
                // What cannot be read is passed over in choosing, until it can.
                if let Err(why) = self.read(&path) {
                    self.pass_over(&path, &why);
                }
                let unread = |e: Error| Sha256Hex::of(e.what().as_bytes());
                found.push((format!("{up}{name}"), self.fingerprint_of(&path).unwrap_or_else(unread)));
            }
            up += "../";
        }
        found
    }

    /// The fingerprint of the lens database's files; none where there is no database.
    pub(super) fn database_fingerprint(&self) -> Result<Option<Sha256Hex>> {
        let Some(database) = &self.database else { return Ok(None) };
        let mut all = String::new();
        for file in database.files().map_err(|e| Error::io(&database.folder, "cannot be read", &e))? {
            all += &fingerprint(&file)?.to_string();
        }
        Ok(Some(Sha256Hex::of(all.as_bytes())))
    }
}

/// By how much a photo may have been cropped without its header telling, and whether from anywhere in the frame; `None` where it is
/// what the camera wrote.
fn may_be_cropped(facts: &PhotoFacts) -> Option<(f64, bool)> {
    let of = |r: &Remark| match r {
        Remark::Resized { recorded, actual } => {
            let factor = f64::from(recorded.0) / f64::from(actual.0).max(1.0);
            // A picture that was enlarged since may have been cropped by any factor.
            Some((if factor < 1.0 { f64::INFINITY } else { factor }, true))
        }
        Remark::DigitalZoom { ratio } => Some((*ratio, false)),
        _ => None,
    };
    facts.remarks.iter().filter_map(of).reduce(|a, b| (a.0 * b.0, a.1 || b.1))
}

/// How well a profile matches a photo that does not name it, and its prior; `None` where it does not, or does not say enough.
fn matching(profile: &LensProfile, facts: &PhotoFacts, frame: (u32, u32)) -> Option<(u8, LensPrior)> {
    let same = |a: &Option<String>, b: &Option<String>| match (a, b) {
        (Some(a), Some(b)) => Some(a.trim().eq_ignore_ascii_case(b.trim())),
        _ => None,
    };
    let camera = &profile.camera;
    let named = same(&camera.make, &facts.make).is_some() && same(&camera.model, &facts.model).is_some();
    // A profile of one of a phone's lenses does not match a photo that does not say which it was taken with.
    if !named || same_camera(profile, facts, "").is_err() || (camera.lens.is_some() && facts.lens_model.is_none()) {
        return None;
    }
    let lens = same(&camera.lens, &facts.lens_model);
    let prior = turned_prior(profile, facts, frame).ok()?;
    let focal = facts.prior_focal_px().map(|px| (prior.focal_px() / px).ln().abs() < FOCAL_AGREES);
    match (lens, focal) {
        (_, Some(false)) | (None, None) => None,
        (lens, focal) => Some((u8::from(lens.is_some()) + u8::from(focal.is_some()), prior)),
    }
}

/// Focal lengths of one zoom may differ by this share; chosen, as in calibrating.
const ONE_ZOOM: f64 = 0.01;

/// Refuses a profile whose camera contradicts the photo's header. What either does not say is no contradiction.
fn same_camera(profile: &LensProfile, facts: &PhotoFacts, name: &str) -> Result<()> {
    let pairs = [
        ("make", &profile.camera.make, &facts.make),
        ("model", &profile.camera.model, &facts.model),
        ("lens", &profile.camera.lens, &facts.lens_model),
    ];
    for (what, ours, theirs) in pairs {
        if let (Some(a), Some(b)) = (ours, theirs)
            && !a.trim().eq_ignore_ascii_case(b.trim())
        {
            let mut help = "name the profile of the photo's own camera, or leave `lens` out".to_owned();
            if what == "lens" {
                // A profile may call its lens by a name of its own.
                help += &format!("; if it is the same lens, write \"{b}\" into the profile's camera.lens");
            }
            let text = format!("its lens profile {name} is of the camera {what} `{a}`, the photo is of `{b}`");
            return Err(Error::new(ErrorKind::Usage, text).help(help));
        }
    }
    if let (Some(ours), Some(theirs)) = (profile.camera.focal_mm, facts.focal_mm)
        && (theirs / ours - 1.0).abs() > ONE_ZOOM
    {
        let text = format!("its lens profile {name} is of the focal length {ours} mm, the photo of {theirs} mm");
        return Err(Error::new(ErrorKind::Usage, text).help(
            "calibrate at the zoom that you photograph with, name the profile of this zoom, or leave `lens` out",
        ));
    }
    Ok(())
}

/// The profile as a prior for the upright photo. A profile whose frame fits the photo as stored, but not as it stands upright, was
/// made with the camera held the other way: it is turned with the photo.
fn turned_prior(profile: &LensProfile, facts: &PhotoFacts, frame: (u32, u32)) -> Result<LensPrior> {
    let upright = profile.prior(frame);
    let stored = (facts.stored_width_px, facts.stored_height_px);
    match (upright, facts.orientation) {
        (Ok(prior), o) if o.swaps_axes() || o == Orientation::Upright => Ok(prior),
        (upright, o) => match profile.prior(stored) {
            Ok(prior) => Ok(turned(prior, o, stored)),
            Err(_) => upright,
        },
    }
}

/// What is told of a profile that cannot be used. A sidecar may have come from anybody and name any file of this machine: of what
/// stands in one outside the visit nothing is repeated.
fn told_of(error: Error, path: &Path, folder: &Path, folders_up: usize) -> Error {
    let root = folder.ancestors().nth(folders_up).filter(|root| !root.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let inside = || Some(path.canonicalize().ok()?.starts_with(root.canonicalize().ok()?));
    if error.kind() != ErrorKind::Format || inside() == Some(true) {
        return error;
    }
    Error::new(ErrorKind::Format, "is no lens profile, and lies outside the visit's folder")
        .in_file(path)
        .help("copy the profile into the visit's folder and name it there; then it is told what is wrong with it")
}

/// A prior of the stored frame turned to the upright one: the principal point moves, and the tangential terms (p2, p1) turn like
/// a vector of the image.
fn turned(mut prior: LensPrior, orientation: Orientation, stored: (u32, u32)) -> LensPrior {
    let at = |p: [f64; 2]| orientation.apply(p, stored);
    let origin = at([0.0, 0.0]);
    // The orientation's matrix of 0 and ±1.
    let (x, y) = (at([1.0, 0.0]), at([0.0, 1.0]));
    let m = [[x[0] - origin[0], y[0] - origin[0]], [x[1] - origin[1], y[1] - origin[1]]];
    let mut map = nalgebra::SMatrix::<f64, 8, 8>::identity();
    for r in 0..2 {
        for c in 0..2 {
            map[(1 + r, 1 + c)] = m[r][c];
            // (p2, p1) stand at places 7 and 6.
            map[(7 - r, 7 - c)] = m[r][c];
        }
    }
    let centre = at([prior.mean[1], prior.mean[2]]);
    prior.mean = map * prior.mean;
    (prior.mean[1], prior.mean[2]) = (centre[0], centre[1]);
    prior.covariance = map * prior.covariance * map.transpose();
    prior
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lens::{Camera, Distortion};
    use nalgebra::{Point2, SMatrix};

    /// A pixel seen through the stored frame's lens, then turned, is the pixel seen through the turned lens.
    #[test]
    fn turning_the_lens_is_turning_the_photo() {
        let stored = (400, 300);
        let camera = |m: &nalgebra::SVector<f64, 8>| Camera {
            focal: m[0].exp(),
            principal: Point2::new(m[1], m[2]),
            distortion: Distortion { k1: m[3], k2: m[4], k3: m[5], p1: m[6], p2: m[7] },
        };
        let mean = [350.0, 205.0, 143.0, -0.2, 0.05, 0.0, 0.003, -0.002];
        let prior = LensPrior::profile(mean, &SMatrix::identity());
        for o in Orientation::ALL {
            let turned = turned(prior.clone(), o, stored);
            for (x, y) in [(0.3, 0.1), (-0.2, 0.35), (0.0, -0.4)] {
                let before = camera(&prior.mean).pixel(Point2::new(x, y));
                let ray = o.apply([x, y], (0, 0));
                let after = camera(&turned.mean).pixel(Point2::from(ray));
                assert!((Point2::from(o.apply([before.x, before.y], stored)) - after).norm() < 1e-9, "{o}");
            }
        }
    }

    /// A resized picture may be a crop of up to twofold; a digital zoom may be in the focal length or not; what the camera wrote is neither.
    #[test]
    fn what_may_be_cropped_allows_for_it() {
        let mut facts =
            crate::photo::facts_from_bytes(include_bytes!("../../../fixtures/exif/turned.heic")).expect("a photo");
        let mut with = |remarks| {
            facts.remarks = remarks;
            may_be_cropped(&facts)
        };
        let resized = |recorded, actual| Remark::Resized { recorded, actual };
        assert_eq!(with(vec![]), None);
        assert_eq!(with(vec![resized((4000, 3000), (2000, 1500))]), Some((2.0, true)));
        assert_eq!(with(vec![Remark::DigitalZoom { ratio: 1.5 }]), Some((1.5, false)));
        assert_eq!(with(vec![resized((2000, 1500), (4000, 3000))]), Some((f64::INFINITY, true)));
        for factor in [1.01, 1.3, 2.0, f64::INFINITY] {
            let prior = LensPrior::exif_cropped((4000, 3000), 3000.0, factor, true);
            let u = prior.covariance[(0, 0)].sqrt();
            // The focal length of the whole frame, and that of the smallest crop.
            let off = [3000.0, 3000.0 * factor.min(2.0)].map(|f: f64| (f.ln() - prior.mean[0]).abs() / u);
            assert!(off[0] < 0.7 && off[1] < 2.1, "{factor}: {off:?}");
        }
    }
}
