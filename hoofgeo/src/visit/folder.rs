//! Walking a folder: photos with their sidecars, in natural order, one at a time.

use super::name::{shown, without};
use super::order::natural;
use super::results::{MANIFEST_FILE, PICTURES_FOLDER, RESULTS_FILE};
use crate::error::{Error, Result};
use crate::file::{FileKind, read_if_there};
use crate::photo::Sha256Hex;
use crate::sidecar::Visit;
use std::collections::HashMap;
use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// What a sidecar's name has after its photo's.
pub const SIDECAR_SUFFIX: &str = ".hoof.json";

/// A sidecar's name without [`SIDECAR_SUFFIX`]: its photo's.
#[cfg(feature = "place")]
pub(crate) fn without_suffix(sidecar: &OsStr) -> Option<&OsStr> {
    without(sidecar, SIDECAR_SUFFIX)
}

/// The file that gives what the sidecars of a folder share.
pub const VISIT_FILE: &str = "visit.hoof.json";

const PHOTO_EXTENSIONS: [&str; 9] = ["jpg", "jpeg", "png", "tif", "tiff", "webp", "heic", "heif", "hif"];

/// Whether a file name is a photo's by its ending.
pub fn is_photo_name(name: &str) -> bool {
    name.rsplit_once('.').is_some_and(|(stem, ending)| {
        !stem.is_empty() && PHOTO_EXTENSIONS.iter().any(|e| e.eq_ignore_ascii_case(ending))
    })
}

/// A photo of a folder, or a sidecar whose photo is missing.
#[derive(Debug, Clone)]
pub struct Entry {
    /// Path of the photo.
    pub photo: PathBuf,
    /// The same relative to the folder, with forward slashes on every system. A byte that is no UTF-8 stands as `�` and its two
    /// hexadecimal digits, so that no two photos have one name.
    pub name: String,
    /// Whether the photo exists.
    pub has_photo: bool,
    /// Whether its sidecar exists.
    pub has_sidecar: bool,
    /// What the sidecars of its folder share; the error where that file is bad.
    pub visit: Option<Result<Arc<Visit>>>,
    /// Path of that file from the photo's folder, and its fingerprint.
    pub(super) visit_file: Option<(String, Sha256Hex)>,
}

impl Entry {
    /// One photo by its path, with its sidecar and the visit file of its folder, where there are such.
    pub fn at(photo: impl Into<PathBuf>) -> Self {
        let photo = photo.into();
        let folder = match photo.parent() {
            Some(parent) if !parent.as_os_str().is_empty() => parent,
            _ => Path::new("."),
        };
        let shared = Visits::default().of(folder, folder);
        let mut entry = Self {
            name: shown(photo.file_name().unwrap_or_default()).into_owned(),
            has_photo: true,
            has_sidecar: true,
            visit: shared.as_ref().map(|s| s.visit.clone()),
            visit_file: shared.map(|s| (s.path, s.sha256)),
            photo,
        };
        entry.has_sidecar = entry.sidecar_stands();
        entry
    }

    /// Whether something has the sidecar's name; a pipe is said to be none when it is read.
    fn sidecar_stands(&self) -> bool {
        self.sidecar().metadata().is_ok_and(|m| !m.is_dir())
    }

    /// How many folders below the one walked the photo lies.
    pub fn folders_down(&self) -> usize {
        self.name.matches('/').count()
    }

    /// Path of the sidecar, whether it exists or not.
    pub fn sidecar(&self) -> PathBuf {
        let mut name = self.photo.as_os_str().to_owned();
        name.push(SIDECAR_SUFFIX);
        PathBuf::from(name)
    }
}

/// Walks a folder and its sub-folders in natural order (`IMG_2` before `IMG_10`); hidden files and the folders in `skip` are
/// left out, and so are the pictures of an earlier run's results. A visit file holds for its own folder and those below that have none.
///
/// Memory is that of the names in the folders on the way down, not of the whole.
///
/// # Errors
/// An item is an error where a folder cannot be read; the walk goes on.
pub fn walk(folder: &Path, skip: &[PathBuf]) -> impl Iterator<Item = Result<Entry>> + Send + use<> {
    Walk {
        root: folder.to_path_buf(),
        skip: skip.iter().filter_map(|p| p.canonicalize().ok()).collect(),
        visits: Visits::default(),
        way_down: Vec::new(),
        begun: false,
    }
}

impl Entry {
    /// Path of what the walk came upon, relative to the folder: the photo, or the sidecar that has none. It fixes the order.
    pub(crate) fn place(&self) -> String {
        if self.has_photo { self.name.clone() } else { format!("{}{SIDECAR_SUFFIX}", self.name) }
    }
}

struct Walk {
    root: PathBuf,
    skip: Vec<PathBuf>,
    visits: Visits,
    way_down: Vec<Level>,
    begun: bool,
}

/// A folder on the way down, with what is still to be looked at in it, the next one last.
struct Level {
    folder: PathBuf,
    rest: Vec<(Box<OsStr>, bool)>,
}

impl Iterator for Walk {
    type Item = Result<Entry>;

    fn next(&mut self) -> Option<Self::Item> {
        if !std::mem::replace(&mut self.begun, true)
            && let Err(e) = self.enter(self.root.clone())
        {
            return Some(Err(e));
        }
        loop {
            let level = self.way_down.last_mut()?;
            let Some((name, is_folder)) = level.rest.pop() else {
                self.way_down.pop();
                continue;
            };
            let path = level.folder.join(&*name);
            if !is_folder {
                match entry(&self.root, &path, &mut self.visits) {
                    None => continue,
                    found => return found.map(Ok),
                }
            }
            if path.canonicalize().is_ok_and(|p| self.skip.contains(&p)) || is_results(&path) {
                continue;
            }
            if let Err(e) = self.enter(path) {
                return Some(Err(e));
            }
        }
    }
}

impl Walk {
    fn enter(&mut self, folder: PathBuf) -> Result<()> {
        let fail = |e| Error::io(&folder, "cannot be read", &e);
        let mut names = Vec::new();
        for found in std::fs::read_dir(&folder).map_err(fail)? {
            let found = found.map_err(fail)?;
            let name = found.file_name().into_boxed_os_str();
            if !name.to_string_lossy().starts_with('.') {
                names.push((name, found.file_type().map_err(fail)?.is_dir()));
            }
        }
        names.sort_unstable_by(|(a, _), (b, _)| natural(&shown(b), &shown(a)));
        self.way_down.push(Level { folder, rest: names });
        Ok(())
    }
}

/// Whether a folder holds the annotated pictures of an earlier run: it stands beside its results, and nobody has put a sidecar
/// into it.
fn is_results(folder: &Path) -> bool {
    let no_sidecar = || {
        std::fs::read_dir(folder).is_ok_and(|mut entries| {
            entries.all(|e| e.is_ok_and(|e| !e.file_name().to_string_lossy().ends_with(SIDECAR_SUFFIX)))
        })
    };
    folder.file_name().is_some_and(|n| n == PICTURES_FOLDER) && beside_results(folder) && no_sidecar()
}

/// Whether a run's results lie in the folder that holds this one; the results of a part alone, or without a JSON, count too.
fn beside_results(folder: &Path) -> bool {
    let result = |name: &OsStr| {
        let name = name.to_string_lossy();
        name == MANIFEST_FILE
            || name == RESULTS_FILE
            || (name.starts_with("manifest.part-") && name.ends_with(".jsonl"))
    };
    let beside = folder.parent().map(std::fs::read_dir);
    beside.is_some_and(|entries| entries.is_ok_and(|mut e| e.any(|e| e.is_ok_and(|e| result(&e.file_name())))))
}

fn entry(root: &Path, path: &Path, visits: &mut Visits) -> Option<Entry> {
    let name = path.file_name().unwrap_or_default();
    let without_suffix = without(name, SIDECAR_SUFFIX);
    let photo = match without_suffix {
        // The sidecar is reported with its photo, or in its stead where the photo is missing.
        Some(_) if name == VISIT_FILE => return None,
        Some(photo) => {
            let stands = path.with_file_name(photo);
            // A link that leads nowhere is a photo that cannot be opened, not a missing one.
            if is_photo_name(&shown(photo)) && stands.symlink_metadata().is_ok_and(|m| !m.is_dir()) {
                return None;
            }
            stands
        }
        None if is_photo_name(&shown(name)) => path.to_path_buf(),
        None => return None,
    };
    let has_photo = without_suffix.is_none();
    let shared = visits.of(root, photo.parent().unwrap_or(root));
    let mut entry = Entry {
        name: relative(root, &photo),
        has_photo,
        has_sidecar: true,
        visit: shared.as_ref().map(|s| s.visit.clone()),
        visit_file: shared.map(|s| (s.path, s.sha256)),
        photo,
    };
    entry.has_sidecar = !has_photo || entry.sidecar_stands();
    Some(entry)
}

/// A path as results name it: relative to the folder that is walked, with forward slashes on every system, each part as [`shown`].
pub(super) fn relative(root: &Path, path: &Path) -> String {
    let relative = path.strip_prefix(root).unwrap_or(path);
    let parts: Vec<_> = relative.components().map(|c| shown(c.as_os_str())).collect();
    parts.join("/")
}

/// A visit file as a folder sees it.
#[derive(Clone)]
struct SharedFile {
    visit: Result<Arc<Visit>>,
    /// Its path from that folder.
    path: String,
    sha256: Sha256Hex,
}

/// The visit files of the folders on the way down.
#[derive(Default)]
struct Visits(HashMap<PathBuf, Option<SharedFile>>);

impl Visits {
    fn of(&mut self, root: &Path, folder: &Path) -> Option<SharedFile> {
        if let Some(known) = self.0.get(folder) {
            return known.clone();
        }
        let file = folder.join(VISIT_FILE);
        let here =
            |visit, bytes: &[u8]| Some(SharedFile { visit, path: VISIT_FILE.to_owned(), sha256: Sha256Hex::of(bytes) });
        let found = match read_if_there(&file, FileKind::Visit) {
            Ok(Some(bytes)) => here(Visit::parse_bytes(&bytes).map(Arc::new).map_err(|e| e.in_file(&file)), &bytes),
            Ok(None) => match folder.parent() {
                Some(parent) if folder != root => self.of(root, parent).map(|shared| SharedFile {
                    visit: shared.visit.map(one_folder_down),
                    path: format!("../{}", shared.path),
                    sha256: shared.sha256,
                }),
                _ => None,
            },
            Err(e) => here(Err(e), &[]),
        };
        // Only the way down is needed again: forget the others, a set may have a hundred thousand folders.
        self.0.retain(|known, _| folder.starts_with(known));
        self.0.insert(folder.to_path_buf(), found.clone());
        found
    }
}

/// A visit as a sub-folder sees it: the lens profile's path is relative to the visit file's folder.
fn one_folder_down(visit: Arc<Visit>) -> Arc<Visit> {
    match &visit.lens {
        Some(lens) if Path::new(lens).is_relative() => {
            let mut lower = Visit::clone(&visit);
            lower.lens = Some(format!("../{lens}"));
            Arc::new(lower)
        }
        _ => visit,
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    #[test]
    fn photos_in_natural_order_with_their_visits() {
        let dir = tempfile::tempdir().unwrap();
        let touch = |name: &str, text: &str| {
            let path = dir.path().join(name);
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(path, text).unwrap();
        };
        for name in ["IMG_10.jpg", "IMG_2.JPG", "notes.txt", ".hidden.jpg", "sub/a.png", "out/pictures/x.jpg"] {
            touch(name, "");
        }
        touch("IMG_2.JPG.hoof.json", "{}");
        touch("gone.jpg.hoof.json", "{}");
        touch("visit.hoof.json", r#"{ "observer": "A" }"#);
        touch("sub/visit.hoof.json", r#"{ "observer": "B" }"#);
        let found: Vec<_> = walk(dir.path(), &[dir.path().join("out")]).map(|e| e.unwrap()).collect();
        let names: Vec<_> = found.iter().map(|e| (e.name.as_str(), e.has_photo, e.has_sidecar)).collect();
        assert_eq!(
            names,
            [
                ("gone.jpg", false, true),
                ("IMG_2.JPG", true, true),
                ("IMG_10.jpg", true, false),
                ("sub/a.png", true, false)
            ]
        );
        let observer = |e: &Entry| e.visit.clone().unwrap().unwrap().observer.clone();
        assert_eq!((observer(&found[1]).as_deref(), observer(&found[3]).as_deref()), (Some("A"), Some("B")));
    }
}
