//! The annotated picture of one photo in the output folder.

use super::output::write_whole;
use super::photo::PhotoReport;
use crate::error::{Error, Result};
use crate::picture::{PictureOptions, annotate_file};
use std::path::Path;

/// Name of the folder of pictures.
const FOLDER: &str = "pictures";

/// Draws and writes the picture; gives its path relative to the output folder.
pub(super) fn write(report: &PhotoReport, out: &Path) -> Result<String> {
    let jpeg = annotate_file(&report.path, &report.sidecar, &report.measured, &PictureOptions::default())?;
    // a.png and a.jpg may lie side by side.
    let is_jpeg = [".jpg", ".jpeg"].iter().any(|e| report.name.to_ascii_lowercase().ends_with(e));
    let name = format!("{FOLDER}/{}{}", report.name, if is_jpeg { "" } else { ".jpg" });
    let path = out.join(&name);
    let folder = path.parent().unwrap_or(out);
    std::fs::create_dir_all(folder).map_err(|e| Error::io(folder, "the folder for pictures cannot be made", &e))?;
    write_whole(&path, &jpeg)?;
    Ok(name)
}
