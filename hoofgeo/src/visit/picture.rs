//! The annotated picture of one photo in the output folder.

use super::output::write_whole;
use super::photo::PhotoReport;
use super::results::PICTURES_FOLDER;
use crate::error::{Error, Result};
use crate::picture::{PictureOptions, annotate, annotate_bytes, encode_jpeg};
use crate::sidecar::Graduation;
use image::RgbImage;
use std::path::Path;

/// Draws and writes the picture, on the photo's pixels where they are decoded already; gives its path relative to the output folder.
pub(super) fn write(report: &PhotoReport, decoded: Option<RgbImage>, out: &Path) -> Result<String> {
    let photo = &report.path;
    let options = PictureOptions { taken: report.facts.taken.clone(), ..PictureOptions::default() };
    // The graduations that were read are drawn in the place of those that were not marked: every tenth millimetre.
    let mut sidecar = report.sidecar.clone();
    if let (Some(Ok(read)), Some(scale)) = (&report.ruler, &mut sidecar.scale) {
        let tens = read.graduations.iter().filter(|g| (g.mm / 10.0).fract() == 0.0);
        scale.points = tens.map(|g| Graduation::along(g.mm, g.at)).collect();
    }
    let (facts, measured) = (&report.facts, &report.measured);
    let jpeg = match decoded {
        Some(decoded) => {
            annotate(decoded, &sidecar, measured, &options).and_then(|drawn| encode_jpeg(&drawn, options.quality))
        }
        None => {
            let bytes = std::fs::read(photo).map_err(|e| Error::io(photo, "cannot read the file", &e))?;
            annotate_bytes(&bytes, facts, &sidecar, measured, &options)
        }
    };
    let jpeg = jpeg.map_err(|e| e.in_file(photo))?;
    // a.png and a.jpg may lie side by side.
    let is_jpeg = [".jpg", ".jpeg"].iter().any(|e| report.name.to_ascii_lowercase().ends_with(e));
    let name = format!("{PICTURES_FOLDER}/{}{}", report.name, if is_jpeg { "" } else { ".jpg" });
    let path = out.join(&name);
    let folder = path.parent().unwrap_or(out);
    std::fs::create_dir_all(folder).map_err(|e| Error::io(folder, "the folder for pictures cannot be made", &e))?;
    write_whole(&path, &jpeg)?;
    Ok(name)
}
