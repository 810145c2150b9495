//! Annotated pictures: the photo with what was measured on it, and a strip below it with the values.
//!
//! Everything is drawn where the lens shows it: a straight line of the measured plane is a curve in a distorted photo. Keys
//! (a, b, c …) tie the lines to the table in the strip. Sizes follow the picture's width, so that photos of all sizes look
//! alike; a picture is made to be read on a phone and printed on half a page.
//!
//! | to read | file |
//! |---|---|
//! | which lines belong to which measurement | `figures.rs` |
//! | colours and line widths | `style.rs` |
//! | places in space to pixels, uncertainty regions | `space.rs` |
//! | how labels find room | `labels.rs` |
//!
//! Text is set in DejaVu Sans Condensed, which is bundled; its licence is in `licences/DejaVu.txt`.

mod canvas;
mod figures;
mod font;
mod labels;
mod marks;
mod panel;
mod sketch;
mod space;
mod style;
#[cfg(test)]
mod tests;

use crate::evaluate::Value;
use crate::measured::Measured;
use crate::photo::{PhotoFacts, decode_upright_bytes, facts_from_bytes};
use crate::sidecar::Sidecar;
use crate::{Error, ErrorKind, Result};
use canvas::Canvas;
use image::RgbImage;
use jpeg_encoder::{ColorType, Encoder, SamplingFactor};
use labels::{Label, Occupied};
use panel::Panel;
use sketch::Sketch;
use space::Space;
use std::path::Path;

/// How to make a picture.
#[derive(Debug, Clone, PartialEq)]
pub struct PictureOptions {
    /// Most values that the strip shows; the most telling ones are kept.
    pub values: usize,
    /// When the photo was taken, where its sidecar does not say; [`annotate_file`] takes it from the photo's header.
    pub taken: Option<String>,
    /// JPEG quality, 1 to 100.
    pub quality: u8,
}

impl Default for PictureOptions {
    fn default() -> Self {
        Self { values: 16, taken: None, quality: 88 }
    }
}

/// Draws what was measured on an upright photo and adds the strip below it: the picture has the photo's width and is higher.
///
/// The photo's pixels are drawn on in place, nothing is copied.
///
/// # Errors
/// `Photo` where the photo is not of the size that its sidecar says, or too large to draw on.
pub fn annotate(photo: RgbImage, sidecar: &Sidecar, measured: &Measured, options: &PictureOptions) -> Result<RgbImage> {
    let (width, height) = photo.dimensions();
    if (width, height) != measured.scene.frame_px {
        let (w, h) = measured.scene.frame_px;
        return Err(Error::new(ErrorKind::Photo, format!("the photo is {width} x {height} px, it was measured at {w} x {h}"))
            .help("place the landmarks again on the photo as it is now"));
    }
    let too_large = || {
        Error::new(ErrorKind::Photo, format!("a photo of {width} x {height} px is too large for a picture"))
            .help("measure a smaller copy of the photo, or go without pictures")
    };
    let u = f64::from(width) / 390.0;
    let frame = (f64::from(width), f64::from(height));
    let shown = shown(measured, options.values);
    let space = Space::new(&measured.scene, &measured.located);
    let mut sketch = Sketch::new(&space, sidecar.view, &measured.values, u);
    sketch.base();
    // Keys go down the table; room on the photo goes to the most telling value first.
    let mut keyed: Vec<(&Value, Option<char>, usize, Vec<_>)> = Vec::new();
    let mut keys = 'a'..='z';
    for value in shown {
        let (figure, rank) = figures::figure(value.measurement);
        let mut anchors = sketch.figure(figure, value);
        anchors.retain(|p| p.x > 0.0 && p.y > 0.0 && p.x < frame.0 && p.y < frame.1);
        let key = if anchors.is_empty() { None } else { keys.next() };
        keyed.push((value, key, rank, anchors));
    }
    let panel_of = |bar| {
        let rows: Vec<_> = keyed.iter().map(|(v, k, ..)| (*v, *k)).collect();
        Panel::new(sidecar, measured, &rows, options.taken.as_deref(), bar)
    };
    // The strip's height does not depend on the bar's presence by more than what fits its last line.
    let mut occupied = Occupied::new(frame.0, frame.1, u);
    let spread: Vec<_> = space.located.points.iter().map(|p| p.pixel).collect();
    occupied.foot(&spread);
    for d in &sketch.drawn {
        occupied.line(&d.points, labels::LINE);
    }
    let bar_room = panel_of(Some(50.0));
    let strip = (bar_room.height() * u).ceil() as u32;
    let total = height.checked_add(strip).filter(|t| *t <= u32::from(u16::MAX) && width <= u32::from(u16::MAX)).ok_or_else(too_large)?;
    let mut canvas = Canvas::new(width as usize, total as usize);
    for d in &sketch.drawn {
        canvas.stroke(&d.points, d.closed, &d.stroke.pen(u));
    }
    marks::graduations(&mut canvas, &mut occupied, &space, sidecar, frame, u);
    marks::landmarks(&mut canvas, &mut occupied, &space, sidecar.view, u);
    let bar = marks::scale_bar(&mut canvas, &mut occupied, &space, frame, u);
    keyed.sort_by_key(|(_, _, rank, _)| *rank);
    let labels: Vec<Label> = keyed
        .iter()
        .filter_map(|(value, key, _, anchors)| Some(Label { key: (*key)?, value: panel::short(value), anchors: anchors.clone() }))
        .collect();
    labels::place(&mut canvas, &mut occupied, &labels, frame, u);
    let _ = bar;
    bar_room.draw(&mut canvas, frame.1, u);
    let mut pixels = photo.into_raw();
    pixels.reserve_exact(width as usize * strip as usize * 3);
    for _ in 0..width as usize * strip as usize {
        pixels.extend_from_slice(&style::PAPER);
    }
    canvas.paint(&mut pixels)?;
    RgbImage::from_raw(width, total, pixels).ok_or_else(too_large)
}

/// The values to show, in the order of tables.
fn shown(measured: &Measured, most: usize) -> Vec<&Value> {
    let mut ranks: Vec<usize> = measured.values.iter().map(|v| figures::figure(v.measurement).1).collect();
    ranks.sort_unstable();
    let limit = ranks.get(most).copied().unwrap_or(usize::MAX);
    measured.values.iter().filter(|v| figures::figure(v.measurement).1 < limit).collect()
}

/// Reads a photo, draws on it and gives the picture as JPEG.
///
/// # Errors
/// As [`annotate`]; `Io` and `Photo` where the photo cannot be read.
pub fn annotate_file(photo: impl AsRef<Path>, sidecar: &Sidecar, measured: &Measured, options: &PictureOptions) -> Result<Vec<u8>> {
    let path = photo.as_ref();
    let bytes = std::fs::read(path).map_err(|e| Error::io(path, "cannot read the file", &e))?;
    facts_from_bytes(&bytes)
        .and_then(|facts| annotate_bytes(&bytes, &facts, sidecar, measured, options))
        .map_err(|e| e.in_file(path))
}

/// The same from a photo's bytes at hand and their facts.
///
/// # Errors
/// As [`annotate_file`], without the name of a file.
pub fn annotate_bytes(
    bytes: &[u8],
    facts: &PhotoFacts,
    sidecar: &Sidecar,
    measured: &Measured,
    options: &PictureOptions,
) -> Result<Vec<u8>> {
    let photo = decode_upright_bytes(bytes, facts)?;
    let taken = options.taken.clone().or_else(|| facts.taken.clone());
    let picture = annotate(photo, sidecar, measured, &PictureOptions { taken, ..options.clone() })?;
    encode_jpeg(&picture, options.quality)
}

/// A picture as JPEG, colour at half resolution.
///
/// # Errors
/// `Photo` where it is wider or higher than a JPEG can be.
pub fn encode_jpeg(picture: &RgbImage, quality: u8) -> Result<Vec<u8>> {
    let (w, h) = picture.dimensions();
    let failed = |e: String| Error::new(ErrorKind::Photo, format!("the picture cannot be encoded: {e}"));
    let side = |n: u32| u16::try_from(n).map_err(|_| failed(format!("a JPEG cannot be {n} px wide or high")));
    let mut out = Vec::with_capacity(picture.as_raw().len() / 8);
    let mut encoder = Encoder::new(&mut out, quality.clamp(1, 100));
    encoder.set_sampling_factor(SamplingFactor::F_2_2);
    encoder.encode(picture.as_raw(), side(w)?, side(h)?, ColorType::Rgb).map_err(|e| failed(e.to_string()))?;
    Ok(out)
}
