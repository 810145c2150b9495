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
//! | the ruler that was read from the pixels | `ruler.rs` |
//! | what else was read from them, clicked against found | `reading.rs` |
//!
//! Text is set in DejaVu Sans Condensed, which is bundled; its licence is in `licences/DejaVu.txt`.

mod canvas;
mod figures;
mod font;
mod labels;
mod marks;
mod panel;
mod projection;
mod reading;
mod ruler;
mod sketch;
mod space;
mod style;
#[cfg(test)]
mod tests;

use crate::evaluate::Value;
use crate::file::{FileKind, read_file};
use crate::measured::Measured;
use crate::photo::{PhotoFacts, decode_upright_bytes, read_facts};
use crate::sidecar::Sidecar;
use crate::{Error, ErrorKind, Result, View};
use canvas::{Canvas, Layer};
use fast_image_resize::images::{TypedImage, TypedImageRef};
use fast_image_resize::pixels::U8x3;
use fast_image_resize::{FilterType, ResizeAlg, ResizeOptions, Resizer};
use figures::Says;
use image::RgbImage;
use jpeg_encoder::{ColorType, Encoder, SamplingFactor};
pub(crate) use labels::hull;
use labels::{Label, Occupied};
use nalgebra::Point2;
use panel::Panel;
use sketch::Sketch;
use space::Space;
use std::path::Path;

pub use projection::project_bytes;
pub use reading::reading_picture;
pub use ruler::ruler_picture;

/// How to make a picture.
#[derive(Debug, Clone, PartialEq)]
pub struct PictureOptions {
    /// Most values that the strip shows; the most telling ones are kept.
    pub values: usize,
    /// When the photo was taken, where its sidecar does not say; [`annotate_file`] takes it from the photo's header.
    pub taken: Option<String>,
    /// JPEG quality, 1 to 100.
    pub quality: u8,
    /// Most pixels across: a wider photo is drawn on as a smaller copy of itself.
    pub width: u32,
}

impl Default for PictureOptions {
    fn default() -> Self {
        // 2480 px: the width of an A4 page at 300 dots per inch.
        Self { values: 16, taken: None, quality: 88, width: 2480 }
    }
}

/// Draws what was measured on an upright photo and adds the strip below it: the picture has the photo's width, or
/// [`PictureOptions::width`] where the photo is wider, and is higher.
///
/// The same input gives the same picture, byte for byte.
///
/// # Errors
/// `Photo` where the photo is not of the size that its sidecar says, or too large to draw on.
pub fn annotate(photo: RgbImage, sidecar: &Sidecar, measured: &Measured, options: &PictureOptions) -> Result<RgbImage> {
    fits(photo.dimensions(), measured)?;
    layers(sidecar, measured, options)?.onto(photo)
}

/// Whether a photo is the one that was measured.
fn fits((width, height): (u32, u32), measured: &Measured) -> Result<()> {
    let (w, h) = measured.scene.frame_px;
    if (width, height) == (w, h) {
        return Ok(());
    }
    let text = format!("the photo is {width} x {height} px, it was measured at {w} x {h}");
    Err(Error::new(ErrorKind::Photo, text).help("place the landmarks again on the photo as it is now"))
}

/// What comes over the photo, and the strip below it. Neither needs the photo's pixels.
struct Layers {
    on_photo: Layer,
    strip: Layer,
    /// Size of the photo in the picture.
    size: (u32, u32),
    strip_height: u32,
}

fn too_large((width, height): (u32, u32)) -> Error {
    Error::new(ErrorKind::Photo, format!("a photo of {width} x {height} px is too large for a picture"))
        .help("measure a smaller copy of the photo, or go without pictures")
}

fn layers(sidecar: &Sidecar, measured: &Measured, options: &PictureOptions) -> Result<Layers> {
    let frame = measured.scene.frame_px;
    let (width, height) = frame;
    let u = unit(width);
    let limit = u32::from(u16::MAX);
    if width > limit || height > limit {
        return Err(too_large(frame));
    }
    let scale = (f64::from(options.width.max(1)) / f64::from(width)).min(1.0);
    let size = [width, height].map(|side| ((f64::from(side) * scale).round() as u32).max(1));
    let mut canvas = Canvas::new(size[0] as usize, size[1] as usize, scale);
    let panel = draw(&mut canvas, sidecar, measured, options);
    let strip_height = (panel.height() * u * scale).ceil() as u32;
    if size[1] + strip_height > limit {
        return Err(too_large(frame));
    }
    let mut below = Canvas::new(size[0] as usize, strip_height as usize, scale);
    panel.draw(&mut below, u);
    let (on_photo, strip) = rayon::join(|| canvas.render(), || below.render());
    Ok(Layers { on_photo: on_photo?, strip: strip?, size: size.into(), strip_height })
}

impl Layers {
    fn onto(&self, photo: RgbImage) -> Result<RgbImage> {
        let (width, height) = self.size;
        let mut pixels = if photo.dimensions() == self.size { photo.into_raw() } else { resized(&photo, self.size)? };
        let own = pixels.len();
        let paper = width as usize * self.strip_height as usize;
        pixels.reserve_exact(paper * 3);
        pixels.extend(std::iter::repeat_n(style::PAPER, paper).flatten());
        let (above, below) = pixels.split_at_mut(own);
        self.on_photo.over(above);
        self.strip.over(below);
        RgbImage::from_raw(width, height + self.strip_height, pixels).ok_or_else(|| too_large((width, height)))
    }
}

/// A photo's pixels at another size.
pub(crate) fn resized(photo: &RgbImage, (width, height): (u32, u32)) -> Result<Vec<u8>> {
    let (from_width, from_height) = photo.dimensions();
    let failed = |e: String| Error::new(ErrorKind::Photo, format!("the photo cannot be made smaller: {e}"));
    // Typed, so that the compiler makes code for this kind of pixel alone: for all of them it is a third of the crate.
    let from = TypedImageRef::<U8x3>::from_buffer(from_width, from_height, photo.as_raw())
        .map_err(|e| failed(e.to_string()))?;
    let mut pixels = vec![0; width as usize * height as usize * 3];
    let mut to = TypedImage::<U8x3>::from_buffer(width, height, &mut pixels).map_err(|e| failed(e.to_string()))?;
    let options = ResizeOptions::new().resize_alg(ResizeAlg::Convolution(FilterType::Bilinear));
    Resizer::new().resize_typed(&from, &mut to, &options).map_err(|e| failed(e.to_string()))?;
    Ok(pixels)
}

/// Pixels per unit of the style.
fn unit(width: u32) -> f64 {
    f64::from(width) / panel::WIDTH
}

/// A value to be shown.
struct Shown<'a> {
    value: &'a Value,
    key: Option<char>,
    rank: usize,
    says: Says,
    /// Pixels that its label may point to.
    anchors: Vec<Point2<f64>>,
}

/// Draws on the photo; gives what belongs below it.
fn draw(canvas: &mut Canvas, sidecar: &Sidecar, measured: &Measured, options: &PictureOptions) -> Panel {
    let (width, height) = measured.scene.frame_px;
    let (frame, u) = ((f64::from(width), f64::from(height)), unit(width));
    let space = Space::new(&measured.scene, &measured.located);
    let mut sketch = Sketch::new(&space, sidecar.view, &measured.values, u);
    sketch.base();
    let mut keys = 'a'..='z';
    let mut shown: Vec<Shown<'_>> = Vec::new();
    for value in most_telling(measured, options.values) {
        let (figure, says, rank) = figures::figure(value.measurement);
        let mut anchors = sketch.figure(figure, value);
        anchors.retain(|p| p.x > 0.0 && p.y > 0.0 && p.x < frame.0 && p.y < frame.1);
        let key = if anchors.is_empty() { None } else { keys.next() };
        shown.push(Shown { value, key, rank, says, anchors });
    }
    let mut occupied = Occupied::new(frame.0, frame.1, u);
    let pixels: Vec<_> = space.located.points.iter().map(|p| p.pixel).collect();
    occupied.foot(&pixels);
    for d in &sketch.drawn {
        canvas.stroke(&d.points, d.closed, &d.stroke.pen(u));
        occupied.line(&d.points, labels::LINE);
    }
    marks::graduations(canvas, &mut occupied, &space, sidecar, frame, u);
    marks::landmarks(canvas, &mut occupied, &space, sidecar.view, u);
    if sidecar.view == View::Solar {
        marks::sides(canvas, &mut occupied, &space, frame, u);
    }
    let bar = marks::scale_bar(canvas, &mut occupied, &space, frame, u).is_some();
    let rows: Vec<_> = shown.iter().map(|s| (s.value, s.key)).collect();
    let panel = Panel::new(sidecar, measured, &rows, options.taken.as_deref(), bar);
    // Keys go down the table; room on the photo goes to the most telling value first.
    shown.sort_by_key(|s| s.rank);
    let labels: Vec<Label> = shown
        .into_iter()
        .filter_map(|s| {
            let value = (s.says == Says::Value).then(|| panel::short(s.value));
            Some(Label { key: s.key?, value, anchors: s.anchors })
        })
        .collect();
    let found = labels::arrange(&mut occupied, &labels, frame, u);
    labels::draw(canvas, &found, u);
    panel
}

/// The values to show, in the order of tables.
fn most_telling(measured: &Measured, most: usize) -> Vec<&Value> {
    let mut places: Vec<usize> = (0..measured.values.len()).collect();
    places.sort_by_key(|i| figures::figure(measured.values[*i].measurement).2);
    places.truncate(most);
    places.sort_unstable();
    places.into_iter().map(|i| &measured.values[i]).collect()
}

/// Reads a photo, draws on it and gives the picture as JPEG.
///
/// # Errors
/// As [`annotate`]; `Io` and `Photo` where the photo cannot be read.
///
/// # Example: the picture of one photo
/// ```no_run
/// use hoofgeo::{measured::{measure, MeasureOptions}, photo, picture, scene::LensPrior, sidecar::Sidecar};
/// let sidecar = Sidecar::parse(&std::fs::read_to_string("side.jpg.hoof.json").unwrap_or_default(), None)?;
/// let facts = photo::read_facts("side.jpg")?;
/// let frame = (facts.width_px, facts.height_px);
/// let lens = facts.prior_focal_px().map_or(LensPrior::unknown(frame), |f| LensPrior::exif(frame, f));
/// let measured = measure(&sidecar, &lens, &MeasureOptions::default())?;
/// let jpeg = picture::annotate_file("side.jpg", &sidecar, &measured, &picture::PictureOptions::default())?;
/// # Ok::<(), hoofgeo::Error>(())
/// ```
pub fn annotate_file(
    photo: impl AsRef<Path>,
    sidecar: &Sidecar,
    measured: &Measured,
    options: &PictureOptions,
) -> Result<Vec<u8>> {
    let path = photo.as_ref();
    let facts = read_facts(path)?;
    let bytes = read_file(path, FileKind::Photo)?;
    annotate_bytes(&bytes, &facts, sidecar, measured, options).map_err(|e| e.in_file(path))
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
    fits((facts.width_px, facts.height_px), measured)?;
    let taken = options.taken.clone().or_else(|| facts.taken.clone());
    let options = PictureOptions { taken, ..options.clone() };
    let (photo, layers) = rayon::join(|| decode_upright_bytes(bytes, facts), || layers(sidecar, measured, &options));
    let photo = photo?;
    fits(photo.dimensions(), measured)?;
    let picture = layers?.onto(photo)?;
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
