//! Which person's spread of placing a photo is measured with: `NAME.placement.json`, as `hoofgeo observers` writes it.

use crate::error::{Error, ErrorKind, Result};
use crate::photo::Sha256Hex;
use crate::placement::PlacementTable;
use serde::{Deserialize, Serialize};
use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

/// What the name of a table of placements ends in.
pub const PLACEMENT_SUFFIX: &str = ".placement.json";

/// The table of anybody has this name, or any before the ending.
const POOLED: &str = "placement.json";

/// Where the uncertainty of placing landmarks comes from.
#[derive(Debug, Clone, Default)]
#[non_exhaustive]
pub enum PlacementChoice {
    /// From the declared spread of the landmarks, or [`MeasureOptions::placement`](crate::measured::MeasureOptions::placement).
    #[default]
    None,
    /// From the table of the sidecar's observer, else one of anybody, where there is one: see [`PlacementFolders`].
    Search(PlacementFolders),
    /// From one table for all photos.
    File(PlacementUsed),
}

/// The table that a photo is measured with.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub struct PlacementUsed {
    /// The table.
    pub table: Arc<PlacementTable>,
    /// Its file: as it was named, or relative to the photo's folder where it was found above that.
    pub file: String,
    /// Fingerprint of the file.
    pub sha256: Sha256Hex,
}

/// What results say of the table that a photo was measured with.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize, Serialize)]
#[non_exhaustive]
pub struct PlacementNote {
    /// The table's file.
    pub table: String,
    /// Whose spread it is; of anybody without a name.
    pub observer: Option<String>,
}

/// A table that lies in a folder, or why it cannot be read.
#[derive(Debug, Clone)]
struct Found {
    path: PathBuf,
    sha256: Sha256Hex,
    table: Result<Arc<PlacementTable>>,
}

/// Tables looked for in a photo's folder, each folder above it, and last the user's configuration folder: `$XDG_CONFIG_HOME/hoofgeo`
/// (else `~/.config/hoofgeo`), `~/Library/Application Support/hoofgeo` on macOS, `%APPDATA%\\hoofgeo` on Windows.
///
/// The nearest table of the sidecar's observer counts; where there is none anywhere, the nearest of anybody.
#[derive(Debug, Clone, Default)]
pub struct PlacementFolders {
    known: Arc<Mutex<HashMap<PathBuf, Arc<Vec<Found>>>>>,
}

/// As many folders are kept at a time.
const MOST_KNOWN: usize = 4096;

impl PlacementChoice {
    /// One table for all photos.
    ///
    /// # Errors
    /// Where the file cannot be read or is no such table.
    pub fn file(path: &Path) -> Result<Self> {
        let found = Found::read(path)?;
        let table = found.table.map_err(|e| e.in_file(path))?;
        Ok(Self::File(PlacementUsed { table, file: path.display().to_string(), sha256: found.sha256 }))
    }

    /// A search; what was found is kept for all photos of the run.
    pub fn search() -> Self {
        Self::Search(PlacementFolders::default())
    }

    /// The table for a photo in a folder.
    ///
    /// # Errors
    /// `Usage` where two tables of the observer lie in one folder; `Format` where the one that has the observer's name is no such table.
    pub fn choose(&self, folder: &Path, observer: Option<&str>) -> Result<Option<PlacementUsed>> {
        match self {
            Self::None => Ok(None),
            Self::File(used) => Ok(Some(used.clone())),
            Self::Search(folders) => folders.choose(folder, observer),
        }
    }

    /// What all photos of a run depend on.
    pub(super) fn key(&self) -> serde_json::Value {
        match self {
            Self::None => serde_json::Value::Null,
            Self::Search(_) => "searched".into(),
            Self::File(used) => used.sha256.to_string().into(),
        }
    }
}

impl PlacementUsed {
    /// What results say of it.
    pub fn note(&self) -> PlacementNote {
        PlacementNote { table: self.file.clone(), observer: self.table.observer.clone() }
    }
}

impl Found {
    fn read(path: &Path) -> Result<Self> {
        let bytes = std::fs::read(path).map_err(|e| Error::io(path, "the table of placements cannot be read", &e))?;
        let text = std::str::from_utf8(&bytes).map_err(|_| Error::new(ErrorKind::Format, "is not UTF-8 text"));
        let table = text.and_then(PlacementTable::parse).map(Arc::new);
        Ok(Self { path: path.to_path_buf(), sha256: Sha256Hex::of(&bytes), table })
    }

    /// The name before the ending.
    fn stem(&self) -> String {
        let name = self.path.file_name().unwrap_or_default().to_string_lossy();
        name.strip_suffix(PLACEMENT_SUFFIX).unwrap_or_default().to_lowercase()
    }
}

impl PlacementFolders {
    fn choose(&self, folder: &Path, observer: Option<&str>) -> Result<Option<PlacementUsed>> {
        let absolute = std::path::absolute(folder).unwrap_or_else(|_| folder.to_path_buf());
        let above: Vec<&Path> = absolute.ancestors().collect();
        let own_folder = configuration_folder();
        let used = |found: &Found, table: &Arc<PlacementTable>, up: Option<usize>| {
            let name = found.path.file_name().unwrap_or_default().to_string_lossy();
            let file = up.map_or_else(|| found.path.display().to_string(), |up| format!("{}{name}", "../".repeat(up)));
            PlacementUsed { table: Arc::clone(table), file, sha256: found.sha256 }
        };
        let places =
            above.iter().enumerate().map(|(up, f)| (Some(up), *f)).chain(own_folder.as_deref().map(|f| (None, f)));
        let mut of_anybody = None;
        for (up, place) in places {
            let tables = self.in_folder(place);
            if let Some(observer) = observer {
                let mut own =
                    tables.iter().filter_map(|f| Some((f, f.table.as_ref().ok()?))).filter(|(_, t)| t.is_of(observer));
                if let Some((found, table)) = own.next() {
                    if let Some((second, _)) = own.next() {
                        let what =
                            format!("a second table of placements by {observer}, beside {}", found.path.display());
                        return Err(Error::new(ErrorKind::Usage, what)
                            .in_file(&second.path)
                            .help("remove one of them, or say which: `--placement FILE`"));
                    }
                    return Ok(Some(used(found, table, up)));
                }
                let broken = tables.iter().find(|f| f.table.is_err() && f.stem() == observer.trim().to_lowercase());
                if let Some(Found { path, table: Err(why), .. }) = broken {
                    return Err(why.clone().in_file(path));
                }
            }
            if of_anybody.is_none() {
                let pooled = |f: &Found| f.table.as_ref().is_ok_and(|t| t.observer.is_none());
                of_anybody = tables.iter().find(|f| pooled(f)).and_then(|f| Some(used(f, f.table.as_ref().ok()?, up)));
            }
        }
        Ok(of_anybody)
    }

    /// The tables of a folder, by name; none where it cannot be read.
    fn in_folder(&self, folder: &Path) -> Arc<Vec<Found>> {
        let lock = || self.known.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        if let Some(known) = lock().get(folder) {
            return Arc::clone(known);
        }
        let is_table = |name: &str| name == POOLED || name.ends_with(PLACEMENT_SUFFIX);
        let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
        let mut paths: Vec<PathBuf> = entries
            .filter(|e| is_table(&e.file_name().to_string_lossy()))
            .map(|e| e.path())
            .filter(|p| p.is_file())
            .collect();
        paths.sort();
        let found = Arc::new(paths.iter().filter_map(|p| Found::read(p).ok()).collect::<Vec<_>>());
        let mut known = lock();
        if known.len() >= MOST_KNOWN {
            known.clear();
        }
        known.insert(folder.to_path_buf(), Arc::clone(&found));
        found
    }
}

/// The user's folder of this program's files, by the convention of the platform.
fn configuration_folder() -> Option<PathBuf> {
    let variable = |name: &str| std::env::var_os(name).filter(|v| !v.is_empty()).map(PathBuf::from);
    let base = if cfg!(windows) {
        variable("APPDATA")
    } else if cfg!(target_os = "macos") {
        variable("HOME").map(|home| home.join("Library/Application Support"))
    } else {
        // A relative path is to be ignored (XDG Base Directory Specification).
        variable("XDG_CONFIG_HOME").filter(|p| p.is_absolute()).or_else(|| Some(variable("HOME")?.join(".config")))
    };
    base.map(|base| base.join("hoofgeo"))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_table_of_the_observer_counts_then_the_nearest_of_anybody() {
        let dir = tempfile::tempdir().unwrap();
        let visit = dir.path().join("yard/visit");
        std::fs::create_dir_all(&visit).unwrap();
        let write = |name: &str, table: PlacementTable| std::fs::write(dir.path().join(name), table.to_json()).unwrap();
        let of = |observer: &str| PlacementTable::new(2, 9).of_observer(observer);
        let chosen = |observer: Option<&str>| {
            // As a run does: what was found is kept, so each question has a search of its own.
            PlacementChoice::search()
                .choose(&visit, observer)
                .map(|used| used.map(|u| (u.file.clone(), u.note().observer)))
        };
        assert_eq!(chosen(Some("MK")).unwrap(), None);
        write("placement.json", PlacementTable::new(2, 9));
        let anybody = Some(("../../placement.json".to_owned(), None));
        assert_eq!(chosen(Some("MK")).unwrap(), anybody);
        assert_eq!(chosen(None).unwrap(), anybody);
        write("yard/visit/team.placement.json", PlacementTable::new(3, 9));
        write("far.placement.json", of("MK"));
        let own = |file: &str| Some((file.to_owned(), Some("MK".to_owned())));
        assert_eq!(chosen(Some(" mk")).unwrap(), own("../../far.placement.json"));
        assert_eq!(chosen(Some("JB")).unwrap(), Some(("team.placement.json".to_owned(), None)));
        write("yard/MK.placement.json", of("MK"));
        assert_eq!(chosen(Some("MK")).unwrap(), own("../MK.placement.json"));
        write("yard/again.placement.json", of("MK"));
        assert!(chosen(Some("MK")).unwrap_err().what().contains("a second table"), "{:?}", chosen(Some("MK")));
        // A broken one is told of to the observer whose name it has, and passed over for others.
        std::fs::write(visit.join("JB.placement.json"), "{}").unwrap();
        assert!(chosen(Some("JB")).unwrap_err().what().contains("is not a table of placements"));
        assert_eq!(chosen(Some("EF")).unwrap(), Some(("team.placement.json".to_owned(), None)));
    }
}
