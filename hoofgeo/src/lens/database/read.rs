//! Reading the database's XML files.

use super::{Calibrated, CameraEntry, Database, LensEntry, Radial, Setting};
use crate::error::{Error, ErrorKind, Place, Result};
use crate::file::{FileKind, read_text};
use roxmltree::{Document, Node, ParsingOptions};
use std::path::{Path, PathBuf};

/// Where the database's packages install it, the first that exists.
const SYSTEM_FOLDERS: [&str; 4] = [
    "/usr/local/share/lensfun/version_1",
    "/usr/share/lensfun/version_1",
    "/opt/homebrew/share/lensfun/version_1",
    "/usr/share/lensfun",
];

/// The proportions of a calibration that does not state them.
const USUAL_ASPECT: f64 = 1.5;

impl Database {
    /// The folder where the system's package has installed the database, if it has.
    pub fn system_folder() -> Option<PathBuf> {
        SYSTEM_FOLDERS.into_iter().map(PathBuf::from).find(|f| xml_files(f).is_ok_and(|files| !files.is_empty()))
    }

    /// The system's database; `None` where none is installed.
    ///
    /// # Errors
    /// As [`Database::read`].
    pub fn system() -> Result<Option<Self>> {
        Self::system_folder().map(|folder| Self::read(&folder)).transpose()
    }

    /// Reads the database's files in a folder.
    ///
    /// # Errors
    /// `Io` where the folder or a file cannot be read or holds no XML file, `Format` with line and column where one is no lens
    /// database.
    pub fn read(folder: &Path) -> Result<Self> {
        let files =
            xml_files(folder).map_err(|e| Error::io(folder, "the lens database cannot be read", &e).help(NAME_ONE))?;
        if files.is_empty() {
            let what = "holds no file of a lens database (*.xml)";
            return Err(Error::new(ErrorKind::Io, what).in_file(folder).help(NAME_ONE));
        }
        let mut database = Self { folder: folder.to_path_buf(), ..Self::default() };
        let stamp = read_text(&folder.join("timestamp.txt"), FileKind::LensDatabase);
        database.timestamp = stamp.ok().and_then(|text| text.trim().parse().ok());
        for file in files {
            let text = read_text(&file, FileKind::LensDatabase)?;
            database.add(&text).map_err(|e| e.in_file(&file))?;
        }
        Ok(database)
    }

    /// Its files, by name.
    #[cfg(feature = "files")]
    pub(crate) fn files(&self) -> std::io::Result<Vec<PathBuf>> {
        xml_files(&self.folder)
    }

    /// Adds the cameras, lenses and mounts of one file's text.
    ///
    /// Elements that have nothing to do with distortion are passed over.
    ///
    /// # Errors
    /// `Format` with line and column where the text is no XML, no lens database, or an entry is incomplete.
    pub fn add(&mut self, text: &str) -> Result<()> {
        // Older copies name their document type; the parser limits what entities can do.
        let options = ParsingOptions { allow_dtd: true, ..ParsingOptions::default() };
        let document = Document::parse_with_options(text, options).map_err(|e| {
            let at = e.pos();
            fault(format!("is no XML: {e}")).at(Place {
                line: at.row as usize,
                column: at.col as usize,
                path: String::new(),
            })
        })?;
        let root = document.root_element();
        if !root.has_tag_name("lensdatabase") {
            return Err(wrong(root, format!("<{}> is not the root of a lens database", root.tag_name().name())));
        }
        for node in root.children().filter(Node::is_element) {
            match node.tag_name().name() {
                "mount" => self.add_mount(node)?,
                "camera" => self.cameras.push(camera(node)?),
                "lens" => self.lenses.push(lens(node)?),
                _ => {}
            }
        }
        Ok(())
    }

    fn add_mount(&mut self, node: Node<'_, '_>) -> Result<()> {
        let name = required(node, "name")?;
        self.mounts.entry(name).or_default().extend(texts(node, "compat"));
        Ok(())
    }
}

const NAME_ONE: &str =
    "name a folder such as version_1 of the Lensfun database (Debian's package liblensfun-data-v1 installs it)";

fn xml_files(folder: &Path) -> std::io::Result<Vec<PathBuf>> {
    let mut files = Vec::new();
    for entry in std::fs::read_dir(folder)? {
        let path = entry?.path();
        if path.extension().is_some_and(|e| e.eq_ignore_ascii_case("xml")) && path.is_file() {
            files.push(path);
        }
    }
    files.sort();
    Ok(files)
}

fn camera(node: Node<'_, '_>) -> Result<CameraEntry> {
    Ok(CameraEntry {
        maker: required(node, "maker")?,
        model: required(node, "model")?,
        variant: texts(node, "variant").next(),
        mount: required(node, "mount")?,
        crop: crop(node)?,
    })
}

fn lens(node: Node<'_, '_>) -> Result<LensEntry> {
    let aspect = texts(node, "aspect-ratio").next();
    let aspect = match &aspect {
        Some(text) => proportions(text).ok_or_else(|| wrong(node, format!("`{text}` is no aspect ratio")))?,
        None => USUAL_ASPECT,
    };
    let mut entry = LensEntry {
        maker: required(node, "maker")?,
        model: required(node, "model")?,
        mounts: texts(node, "mount").collect(),
        calibrated: Calibrated { crop: crop(node)?, aspect },
        projection: texts(node, "type").next().unwrap_or_else(|| "rectilinear".to_owned()),
        off_centre: child(node, "center").is_some_and(|c| ["x", "y"].iter().any(|k| number(c, k) != Ok(Some(0.0)))),
        distortion: Vec::new(),
        unknown_models: Vec::new(),
    };
    let calibrations = node.children().filter(|n| n.has_tag_name("calibration"));
    for d in calibrations.flat_map(|c| c.children()).filter(|n| n.has_tag_name("distortion")) {
        let term = |key: &str| number(d, key).map(|v| v.unwrap_or(0.0));
        let model = match d.attribute("model") {
            Some("poly3") => Radial::Poly3 { k1: term("k1")? },
            Some("poly5") => Radial::Poly5 { k1: term("k1")?, k2: term("k2")? },
            Some("ptlens") => Radial::PtLens { a: term("a")?, b: term("b")?, c: term("c")? },
            Some("none") | None => continue,
            Some(other) => {
                entry.unknown_models.push(other.to_owned());
                continue;
            }
        };
        let focal_mm =
            number(d, "focal")?.filter(|f| *f > 0.0).ok_or_else(|| wrong(d, "has no focal length".to_owned()))?;
        entry.distortion.push(Setting { focal_mm, model });
    }
    entry.distortion.sort_by(|a, b| a.focal_mm.total_cmp(&b.focal_mm));
    // Of two settings at one focal length the one written first counts; the sort keeps their order.
    entry.distortion.dedup_by_key(|s| s.focal_mm);
    Ok(entry)
}

fn crop(node: Node<'_, '_>) -> Result<f64> {
    let text = required(node, "cropfactor")?;
    text.parse()
        .ok()
        .filter(|c| (0.05..100.0).contains(c))
        .ok_or_else(|| wrong(node, format!("`{text}` is no crop factor")))
}

/// `4:3` or `1.33`, as the longer side by the shorter.
fn proportions(text: &str) -> Option<f64> {
    let ratio: f64 = match text.split_once(':') {
        Some((w, h)) => w.trim().parse::<f64>().ok()? / h.trim().parse::<f64>().ok()?,
        None => text.parse().ok()?,
    };
    let ratio = ratio.max(1.0 / ratio);
    (1.0..10.0).contains(&ratio).then_some(ratio)
}

fn number(node: Node<'_, '_>, key: &str) -> Result<Option<f64>> {
    let Some(text) = node.attribute(key) else { return Ok(None) };
    match text.trim().parse::<f64>() {
        Ok(v) if v.is_finite() => Ok(Some(v)),
        _ => Err(wrong(node, format!("{key}: `{text}` is not a number"))),
    }
}

fn child<'a, 'i>(node: Node<'a, 'i>, name: &str) -> Option<Node<'a, 'i>> {
    node.children().find(|n| n.has_tag_name(name))
}

/// The texts of the children of this name, those in a named language (translations for people) behind the others.
fn texts(node: Node<'_, '_>, name: &str) -> impl Iterator<Item = String> {
    let mut found: Vec<(bool, String)> = node
        .children()
        .filter(|n| n.has_tag_name(name))
        .filter_map(|n| Some((n.has_attribute("lang"), n.text()?.trim().to_owned())))
        .collect();
    found.sort_by_key(|(translated, _)| *translated);
    found.into_iter().map(|(_, text)| text).filter(|t| !t.is_empty())
}

fn required(node: Node<'_, '_>, name: &str) -> Result<String> {
    texts(node, name).next().ok_or_else(|| wrong(node, format!("<{}> has no <{name}>", node.tag_name().name())))
}

fn fault(what: String) -> Error {
    Error::new(ErrorKind::Format, what)
        .help("install the lens database's package again, name another folder, or measure without it")
}

fn wrong(node: Node<'_, '_>, what: String) -> Error {
    let at = node.document().text_pos_at(node.range().start);
    fault(what).at(Place { line: at.row as usize, column: at.col as usize, path: String::new() })
}
