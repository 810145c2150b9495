//! Walking a folder: photos with their sidecars, in natural order, one at a time.

use super::output::{PICTURES_FOLDER, RESULTS_FILE};
use crate::error::{Error, ErrorKind, Result};
use crate::sidecar::Visit;
use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use walkdir::{DirEntry, WalkDir};

/// What a sidecar's name has after its photo's.
pub const SIDECAR_SUFFIX: &str = ".hoof.json";

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
    /// The same relative to the folder, with forward slashes on every system.
    pub name: String,
    /// Whether the photo exists.
    pub has_photo: bool,
    /// Whether its sidecar exists.
    pub has_sidecar: bool,
    /// What the sidecars of its folder share; the error where that file is bad.
    pub visit: Option<Result<Arc<Visit>>>,
}

impl Entry {
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
/// # Errors
/// An item is an error where a folder cannot be read; the walk goes on.
pub fn walk(folder: &Path, skip: &[PathBuf]) -> impl Iterator<Item = Result<Entry>> {
    let root = folder.to_path_buf();
    let skip: Vec<PathBuf> = skip.iter().filter_map(|p| p.canonicalize().ok()).collect();
    let mut visits = Visits::default();
    let inner = root.clone();
    WalkDir::new(folder)
        .sort_by(|a, b| {
            natord::compare_ignore_case(&lossy(a), &lossy(b)).then_with(|| a.file_name().cmp(b.file_name()))
        })
        .into_iter()
        .filter_entry(move |e| {
            let hidden = e.depth() > 0 && e.file_name().to_string_lossy().starts_with('.');
            let skipped = e.file_type().is_dir()
                && e.path() != inner
                && (e.path().canonicalize().is_ok_and(|p| skip.contains(&p)) || is_results(e));
            !hidden && !skipped
        })
        .filter_map(move |found| match found {
            Ok(e) if !e.file_type().is_dir() => entry(&root, &e, &mut visits).map(Ok),
            Ok(_) => None,
            Err(e) => {
                let path = e.path().unwrap_or(&root).to_path_buf();
                Some(Err(Error::new(ErrorKind::Io, format!("cannot be read: {e}")).in_file(path)))
            }
        })
}

/// Whether a folder holds the annotated pictures of an earlier run: it stands beside its results, and nobody has put a sidecar
/// into it.
fn is_results(e: &DirEntry) -> bool {
    let no_sidecar = || {
        std::fs::read_dir(e.path()).is_ok_and(|mut entries| {
            entries.all(|e| e.is_ok_and(|e| !e.file_name().to_string_lossy().ends_with(SIDECAR_SUFFIX)))
        })
    };
    e.file_name() == PICTURES_FOLDER && e.path().with_file_name(RESULTS_FILE).is_file() && no_sidecar()
}

fn lossy(e: &DirEntry) -> String {
    e.file_name().to_string_lossy().into_owned()
}

fn entry(root: &Path, e: &DirEntry, visits: &mut Visits) -> Option<Entry> {
    let name = lossy(e);
    let path = e.path();
    let photo = match name.strip_suffix(SIDECAR_SUFFIX) {
        // The sidecar is reported with its photo, or in its stead where the photo is missing.
        Some(_) if name == VISIT_FILE => return None,
        Some(photo) => {
            let stands = path.with_file_name(photo);
            // A link that leads nowhere is a photo that cannot be opened, not a missing one.
            if is_photo_name(photo) && stands.symlink_metadata().is_ok_and(|m| !m.is_dir()) {
                return None;
            }
            stands
        }
        None if is_photo_name(&name) => path.to_path_buf(),
        None => return None,
    };
    let relative = photo.strip_prefix(root).unwrap_or(&photo);
    let parts: Vec<_> = relative.components().map(|c| c.as_os_str().to_string_lossy()).collect();
    let has_photo = name.strip_suffix(SIDECAR_SUFFIX).is_none();
    let mut entry = Entry {
        name: parts.join("/"),
        has_photo,
        has_sidecar: true,
        visit: visits.of(root, photo.parent().unwrap_or(root)),
        photo,
    };
    entry.has_sidecar = !has_photo || entry.sidecar().is_file();
    Some(entry)
}

/// The visit files of the folders on the way down.
#[derive(Default)]
struct Visits(HashMap<PathBuf, Option<Result<Arc<Visit>>>>);

impl Visits {
    fn of(&mut self, root: &Path, folder: &Path) -> Option<Result<Arc<Visit>>> {
        if let Some(known) = self.0.get(folder) {
            return known.clone();
        }
        let file = folder.join(VISIT_FILE);
        let found = match std::fs::read(&file) {
            Ok(bytes) => Some(Visit::parse_bytes(&bytes).map(Arc::new).map_err(|e| e.in_file(&file))),
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => match folder.parent() {
                Some(parent) if folder != root => self.of(root, parent).map(|v| v.map(one_folder_down)),
                _ => None,
            },
            Err(e) => Some(Err(Error::io(&file, "cannot be read", &e))),
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
