//! The annotated picture of one photo in the output folder.

use super::name::as_jpeg;
use super::output::{folder_of, make_within, write_from};
use super::photo::PhotoReport;
use super::results::PICTURES_FOLDER;
use crate::error::Result;
use crate::file::{FileKind, read_file};
use crate::picture::{PictureOptions, annotate, annotate_bytes, encode_jpeg};
use image::RgbImage;
use std::path::Path;

/// Draws and writes the picture, on the photo's pixels where they are decoded already; gives its path relative to the output folder. It grows in the run's work folder.
pub(super) fn write(report: &PhotoReport, decoded: Option<RgbImage>, out: &Path, work: &Path) -> Result<String> {
    let photo = &report.path;
    let options = PictureOptions { taken: report.facts.taken.clone(), ..PictureOptions::default() };
    let sidecar = report.sidecar_as_read();
    let (facts, measured) = (&report.facts, &report.measured);
    let jpeg = match decoded {
        Some(decoded) => {
            annotate(decoded, &sidecar, measured, &options).and_then(|drawn| encode_jpeg(&drawn, options.quality))
        }
        None => {
            let bytes = read_file(photo, FileKind::Photo)?;
            annotate_bytes(&bytes, facts, &sidecar, measured, &options)
        }
    };
    let jpeg = jpeg.map_err(|e| e.in_file(photo))?;
    let name = format!("{PICTURES_FOLDER}/{}{}", report.name, as_jpeg(photo));
    let path = out.join(&name);
    make_within(out, folder_of(&path), "the folder for pictures cannot be made")?;
    write_from(work, &path, &jpeg)?;
    Ok(name)
}
