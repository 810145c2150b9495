//! Whether a photo will do, before anyone drives home: what can be seen of its quality, and what to do about it.
//!
//! Blur and light are judged on the hoof, not on the background: within the outline of the landmarks and lines where a sidecar has them, in
//! the middle of the frame where it has not. Every limit stands in [`LIMITS`].

mod geometry;
mod remark;
#[cfg(test)]
mod tests;

pub(crate) use geometry::longest;
pub use geometry::{cut_off, hoof_pixels, of_scene, resolution};
pub use remark::{
    BLACK, BLUR_MM, BLUR_SHARE, BORDER, DISTANCE, LIMITS, Limit, QualityRemark, RESOLUTION, SPAN, TILT, WHITE,
};

use super::blur::{Rectangle, blur_px};
use crate::located::Located;
use crate::picture::hull;
use crate::scene::Scene;
use crate::sidecar::Sidecar;
use image::RgbImage;
use nalgebra::{Point2, Vector2};
use serde::Serialize;

/// Brightness from which a pixel counts as white, and up to which as black (estimates, no source).
const WHITE_FROM: u8 = 250;
const BLACK_TO: u32 = 8;

/// What a photo's pixels say of its quality.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Pixels {
    /// Standard deviation of the blur of the hoof's edges, px; none where it shows hardly any.
    pub blur_px: Option<f64>,
    /// Share of the hoof that is burnt out to white.
    pub white: f64,
    /// Share of the hoof that is lost in black.
    pub black: f64,
}

/// What is wrong with a photo: with its pixels and, where its sidecar gives a scene, with how it was taken.
///
/// # Example: a photo without a sidecar, all black
/// ```
/// use hoofgeo::pixels::quality::{QualityRemark, inspect};
/// let photo = image::RgbImage::new(800, 600);
/// assert!(matches!(inspect(&photo, None, None)[..], [QualityRemark::Black { share: 1.0 }]));
/// ```
pub fn inspect(photo: &RgbImage, sidecar: Option<&Sidecar>, scene: Option<(&Scene, &Located)>) -> Vec<QualityRemark> {
    let hoof = sidecar.map(hoof_pixels).unwrap_or_default();
    let px_per_mm = scene.and_then(|(_, located)| resolution(located));
    let mut remarks = of_pixels(&look(photo, &hoof), photo.dimensions(), px_per_mm);
    if let Some((sidecar, (scene, located))) = sidecar.zip(scene) {
        remarks.extend(of_scene(sidecar, scene, located));
    }
    remarks.extend(sidecar.and_then(cut_off));
    remarks
}

/// Looks at the pixels of the hoof, whose outline these points span; at the middle of the photo where there are fewer than three.
pub fn look(photo: &RgbImage, hoof: &[Point2<f64>]) -> Pixels {
    let (width, height) = photo.dimensions();
    let (w, h) = (f64::from(width), f64::from(height));
    let middle = [(0.25, 0.25), (0.75, 0.25), (0.75, 0.75), (0.25, 0.75)].map(|(x, y)| Point2::new(x * w, y * h));
    let outline = hull(if hoof.len() < 3 { &middle } else { hoof });
    let (white, black) = extremes(photo, &outline);
    // The hoof's own contour counts: a little around it.
    let (mut least, mut most) = (Vector2::new(w, h), Vector2::zeros());
    for p in &outline {
        (least, most) = (least.inf(&p.coords), most.sup(&p.coords));
    }
    let margin = 0.03 * (most - least).max();
    let from = least.add_scalar(-margin).sup(&Vector2::zeros()).map(|v| v.floor() as u32);
    let to = most.add_scalar(margin).inf(&Vector2::new(w, h)).map(|v| v.ceil() as u32);
    let region = Rectangle {
        x: from.x.min(width),
        y: from.y.min(height),
        width: to.x.min(width).saturating_sub(from.x),
        height: to.y.min(height).saturating_sub(from.y),
    };
    Pixels { blur_px: blur_px(photo, region), white, black }
}

/// What is remarkable about a hoof's pixels.
pub fn of_pixels(pixels: &Pixels, (width, height): (u32, u32), px_per_mm: Option<f64>) -> Vec<QualityRemark> {
    let mut remarks = Vec::new();
    if let Some(px) = pixels.blur_px {
        let mm = px_per_mm.map(|r| px / r);
        let blurred = match mm {
            Some(mm) => mm > BLUR_MM.value,
            None => px > BLUR_SHARE.value * f64::from(width.max(height)),
        };
        // One pixel is the sharpest that a photo can be: where that is too coarse, its resolution is to blame.
        if blurred && px > 1.0 {
            remarks.push(QualityRemark::Blurred { px, mm });
        }
    }
    if pixels.white > WHITE.value {
        remarks.push(QualityRemark::BurntOut { share: pixels.white });
    }
    if pixels.black > BLACK.value {
        remarks.push(QualityRemark::Black { share: pixels.black });
    }
    remarks
}

/// Shares of near-white and near-black pixels within a convex outline.
fn extremes(photo: &RgbImage, outline: &[Point2<f64>]) -> (f64, f64) {
    // Some half a million pixels tell a share to a tenth of a per cent.
    const SAMPLES: f64 = 5e5;
    let (width, height) = (photo.width() as usize, photo.height() as usize);
    let step = ((width * height) as f64 / SAMPLES).sqrt().max(1.0) as usize;
    let (mut white, mut black, mut all) = (0u32, 0u32, 0u32);
    for y in (0..height).step_by(step) {
        let Some((from, to)) = crossing(outline, y as f64 + 0.5) else { continue };
        let (from, to) = (from.max(0.0) as usize, (to.max(0.0) as usize).min(width));
        for x in (from..to).step_by(step) {
            let i = (y * width + x) * 3;
            let [r, g, b] = [0, 1, 2].map(|c| photo.as_raw()[i + c]);
            all += 1;
            white += u32::from(r.min(g).min(b) >= WHITE_FROM);
            black += u32::from(u32::from(r.max(g).max(b)) <= BLACK_TO);
        }
    }
    let share = |n: u32| if all > 0 { f64::from(n) / f64::from(all) } else { 0.0 };
    (share(white), share(black))
}

/// Where a convex outline begins and ends on a row.
fn crossing(outline: &[Point2<f64>], y: f64) -> Option<(f64, f64)> {
    let (mut from, mut to) = (f64::INFINITY, f64::NEG_INFINITY);
    for (i, a) in outline.iter().enumerate() {
        let b = &outline[(i + 1) % outline.len()];
        if (a.y <= y) != (b.y <= y) {
            let x = a.x + (b.x - a.x) * (y - a.y) / (b.y - a.y);
            (from, to) = (from.min(x), to.max(x));
        }
    }
    (from < to).then_some((from, to))
}
