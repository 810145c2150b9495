//! Rectified pictures: a photo as a camera square to the measured plane would have taken it, without lens distortion, with an exact
//! number of pixels to the millimetre, for measuring with any tool.
//!
//! | to read | file |
//! |---|---|
//! | where the picture lies in the measured plane, how large and how fine it is | `sheet.rs` |
//! | pixels at new places | `resample.rs` |
//! | its sidecar and its lens profile | `carry.rs` |
//! | how far a length read off it can be trusted | `reading.rs` |
//!
//! # What is carried over, and what is not
//! The picture is exactly that of a camera at the photo's place, turned square to the measured plane. Its sidecar holds the same
//! scale, planes, landmarks, lines and gauge readings at their places in the picture, and its lens profile that camera with the
//! photo's own uncertainty of lens, so that measuring the picture gives the photo's values and uncertainties again.
//!
//! Not carried over exactly, because the formats have no room for it:
//! - Distortion that the photo's lens may have has its centre where the photo's lens had it; the profile puts it where the new
//!   camera's axis is, and fits the uncertainty over the picture by least squares.
//! - A click's uncertainty is one number, though a tilted photo is finer in one direction: the root of the area's ratio is taken.
//! - The points of lines count as clicked to the usual 1.5 px of whatever picture they are on. Since the picture is no finer than the
//!   photo, unless asked for, they never count for more than on the photo.
//! - The graduations stand where the photo's scene has them, so their residuals are gone: whether the scale was marked well has to be
//!   checked on the photo.

mod carry;
mod reading;
mod resample;
mod sheet;
#[cfg(test)]
mod tests;

pub use reading::Reading;
pub use resample::{Kernel, resample};
pub use sheet::{Level, Sheet};

use crate::error::{Error, ErrorKind, Result};
use crate::located::Located;
use crate::measured::{MeasureOptions, scene};
use crate::scene::LensPrior;
use crate::sidecar::{LensProfile, Sidecar};
use image::RgbImage;
use jpeg_encoder::{ColorType, Encoder, PixelDensity, PixelDensityUnit, SamplingFactor};
use nalgebra::Point2;

/// How to rectify.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RectifyOptions {
    /// Pixels per mm, a multiple of 0.1; by default the finest of 0.5, 1, 2, 4, 5, 8, 10, 16, 20, 25, 40 and 50 that is not finer than
    /// the photo.
    pub px_per_mm: Option<f64>,
    /// How values between pixels are made.
    pub kernel: Kernel,
    /// JPEG quality, 1 to 100.
    pub quality: u8,
}

impl Default for RectifyOptions {
    fn default() -> Self {
        Self { px_per_mm: None, kernel: Kernel::Bilinear, quality: 92 }
    }
}

/// What becomes of a photo, before its pixels are read.
#[derive(Debug, Clone)]
pub struct Rectified {
    /// Where the picture lies in the measured plane.
    pub sheet: Sheet,
    /// The picture's sidecar.
    pub sidecar: Sidecar,
    /// The picture's lens profile; the sidecar names it as [`lens_name`] does.
    pub lens: LensProfile,
    /// How far what is read off the picture can be trusted.
    pub reading: Reading,
}

/// What lies outside the photo.
const PAPER: [u8; 3] = [255; 3];

/// Works out the picture that a photo gives: its frame, sidecar and lens profile. `file` is the picture's file name.
///
/// Hoof and scale with a margin are shown, as far as the photo shows them. The ground is horizontal in a lateral picture, the frog's axis
/// vertical with the toe on top in a solar one; where they are not marked, the scale is horizontal or vertical, whichever is nearer.
/// Nothing is mirrored.
///
/// # Errors
/// As [`measure`](crate::measured::measure) for the scale and the landmarks; `Scene` where the measured plane is seen nearly edge on;
/// `Usage` where the resolution asked for is finer than the photo or makes too large a picture.
///
/// # Example: a photo at 5 px/mm
/// ```
/// use hoofgeo::measured::MeasureOptions;
/// use hoofgeo::{rectify::{rectify, draw, RectifyOptions}, scene::LensPrior, sidecar::Sidecar};
/// let sidecar = Sidecar::parse(r#"{
///   "format": "hoofgeo-sidecar/1",
///   "photo": { "file": "side.jpg", "width_px": 4000, "height_px": 3000 },
///   "subject": { "foot": "LF" }, "view": "lateral", "side": "lateral",
///   "scale": { "kind": "straight_ruler", "points": [
///     { "mm": 0, "at": [1000, 2500] }, { "mm": 100, "at": [2000, 2510] }, { "mm": 200, "at": [3000, 2520] } ] },
///   "planes": { "near_heel": { "behind_scale_mm": 0 } },
///   "landmarks": { "toe_coronet": { "at": [1723, 1730] }, "toe_ground": { "at": [1200, 2400] },
///                  "heel_coronet": { "at": [2659, 2150] }, "heel_ground": { "at": [2400, 2412] } }
/// }"#, None)?;
/// let lens = LensPrior::exif((4000, 3000), 3000.0);
/// let options = RectifyOptions { px_per_mm: Some(5.0), ..RectifyOptions::default() };
/// let rectified = rectify(&sidecar, &lens, &MeasureOptions::default(), &options, "side-flat.jpg")?;
/// let at = |name| rectified.sidecar.landmarks.iter().find(|(l, _)| l.name() == name).map(|(_, p)| p.at[0]);
/// // The ground is horizontal: toe and heel stand on one line of pixels.
/// let (Some(toe), Some(heel)) = (at("toe_ground"), at("heel_ground")) else { panic!() };
/// assert!((toe[1] - heel[1]).abs() < 1e-6 && ((heel[0] - toe[0]) / 5.0 - 120.0).abs() < 0.1);
/// let picture = draw(&image::RgbImage::new(4000, 3000), &rectified, &options)?;
/// assert_eq!(picture.width(), rectified.sidecar.photo.width_px);
/// # Ok::<(), hoofgeo::Error>(())
/// ```
pub fn rectify(
    sidecar: &Sidecar,
    lens: &LensPrior,
    how: &MeasureOptions,
    options: &RectifyOptions,
    file: &str,
) -> Result<Rectified> {
    let scene = scene(sidecar, lens, how)?;
    // The picture's sidecar marks what the photo was measured with.
    let sidecar = &*carry::with_graduations(sidecar, how);
    let located = Located::new(&scene, sidecar)?;
    let placed = sidecar.landmarks.values().flat_map(|p| &p.at).chain(sidecar.lines.values().flatten());
    let mut marked: Vec<_> = placed.map(|p| Point2::from(*p)).collect();
    if marked.is_empty() {
        // Nothing says where the hoof is: all of the photo.
        let (w, h) = (f64::from(scene.frame_px.0), f64::from(scene.frame_px.1));
        marked.extend([(0.0, 0.0), (w, 0.0), (w, h), (0.0, h)].map(|(x, y)| Point2::new(x, y)));
    }
    marked.extend(sidecar.scale.iter().flat_map(|s| &s.points).map(|g| Point2::from(g.at)));
    let sheet = Sheet::new(&scene, &located, sidecar.view, &marked, options)?;
    let reading = Reading::new(&scene, &located, &sheet)?;
    let lens = carry::profile(&scene, lens, &sheet);
    let sidecar = carry::sidecar(sidecar, &scene, &located, &sheet, file, &reading)?;
    Ok(Rectified { sheet, sidecar, lens, reading })
}

/// The name of a picture's lens profile.
pub fn lens_name(picture: &str) -> String {
    format!("{picture}.lens.json")
}

/// Draws the picture from the upright photo.
///
/// Where the photo is much finer than the picture, it is made smaller first, each pixel from all that it covers, so that nothing is
/// left out.
///
/// # Errors
/// `Photo` where the photo is not of the size that its sidecar says.
pub fn draw(photo: &RgbImage, rectified: &Rectified, options: &RectifyOptions) -> Result<RgbImage> {
    let sheet = &rectified.sheet;
    // Sampling skips pixels from here on.
    const SKIPS: f64 = 1.5;
    let shrink = sheet.photo_px_per_mm / sheet.px_per_mm;
    if shrink <= SKIPS {
        return Ok(resample(photo, sheet.size, options.kernel, PAPER, &|p| sheet.source(p)));
    }
    let (width, height) = photo.dimensions();
    let [w, h] = [width, height].map(|side| ((f64::from(side) / shrink).round() as u32).max(1));
    let smaller = crate::picture::resized(photo, (w, h))?;
    let Some(smaller) = RgbImage::from_raw(w, h, smaller) else {
        return Err(Error::new(ErrorKind::Photo, "the photo cannot be made smaller"));
    };
    let (sx, sy) = (f64::from(w) / f64::from(width), f64::from(h) / f64::from(height));
    let map = |p| sheet.source(p).map(|q| Point2::new(q.x * sx, q.y * sy));
    Ok(resample(&smaller, sheet.size, options.kernel, PAPER, &map))
}

/// A picture as JPEG that says its exact resolution, in dots per centimetre (JFIF 1.02), colour at full resolution.
///
/// # Errors
/// `Photo` where it is wider or higher than a JPEG can be, or its resolution is no whole number of dots per centimetre.
pub fn encode(picture: &RgbImage, px_per_mm: f64, quality: u8) -> Result<Vec<u8>> {
    let failed = |e: String| Error::new(ErrorKind::Photo, format!("the picture cannot be encoded: {e}"));
    let (w, h) = picture.dimensions();
    let side = |n: u32| u16::try_from(n).map_err(|_| failed(format!("a JPEG cannot be {n} px wide or high")));
    let dots = px_per_mm * 10.0;
    if !((dots - dots.round()).abs() < 1e-6 && (1.0..=f64::from(u16::MAX)).contains(&dots)) {
        return Err(failed(format!("{dots} dots/cm is not a whole number")));
    }
    let dots = dots.round() as u16;
    let mut out = Vec::with_capacity(picture.as_raw().len() / 4);
    let mut encoder = Encoder::new(&mut out, quality.clamp(1, 100));
    encoder.set_sampling_factor(SamplingFactor::F_1_1);
    encoder.set_density(PixelDensity { density: (dots, dots), unit: PixelDensityUnit::Centimeters });
    encoder.encode(picture.as_raw(), side(w)?, side(h)?, ColorType::Rgb).map_err(|e| failed(e.to_string()))?;
    Ok(out)
}
