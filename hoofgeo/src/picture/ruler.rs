//! What was read of a ruler, drawn over the photo for a person to check.

use super::canvas::{Canvas, Tie, Type};
use super::font::Weight;
use super::style::{Colour, Pen, Stroke};
use super::{resized, too_large, unit};
use crate::Result;
use crate::pixels::ruler::{Numbering, ReadGraduation, Reading};
use image::RgbImage;
use nalgebra::{Point2, Vector2};

/// Draws every graduation of a reading over its photo: a fine stroke on each line, longer ones every five and ten mm, a number every ten.
/// The picture is at most `width` px wide.
///
/// # Errors
/// `Photo` where the photo is too large to draw on.
pub fn ruler_picture(photo: RgbImage, reading: &Reading, width: u32) -> Result<RgbImage> {
    let frame = photo.dimensions();
    let u = unit(frame.0);
    let scale = (f64::from(width.max(1)) / f64::from(frame.0)).min(1.0);
    let size = [frame.0, frame.1].map(|side| ((f64::from(side) * scale).round() as u32).max(1));
    let mut canvas = Canvas::new(size[0] as usize, size[1] as usize, scale);
    let g = &reading.graduations;
    // Strokes grow with the lines, but stay visible and apart.
    let period = reading.evidence.period_px;
    let arm = 0.5 * reading.evidence.line_length * period;
    let outwards = outwards(g, frame);
    let casing = Some((Colour::Ink, 0.16 * u));
    let fine = Pen { width: (0.3 * u).min(0.16 * period), casing: None, ..Stroke::Graduation.pen(u) };
    let long = Pen { width: (0.5 * u).min(0.26 * period), casing, ..Stroke::Graduation.pen(u) };
    for g in g {
        let out = if g.direction.dot(&outwards) < 0.0 { -g.direction } else { g.direction };
        let (pen, reach) = if multiple(g.mm, 10.0) {
            (&long, 2.2)
        } else if multiple(g.mm, 5.0) {
            (&long, 1.5)
        } else {
            (&fine, 0.9)
        };
        canvas.stroke(&[g.at - out * (0.3 * arm), g.at + out * (arm * reach)], false, pen);
    }
    numbers(&mut canvas, reading, outwards, arm, u);
    let layer = canvas.render()?;
    let mut pixels = resized(&photo, (size[0], size[1]))?;
    layer.over(&mut pixels);
    RgbImage::from_raw(size[0], size[1], pixels).ok_or_else(|| too_large(frame))
}

/// Numbers every ten mm, or as often as they have room. Those that no mark tells are not the ruler's own: they are counted from one of
/// its long lines, and have a sign to say so.
fn numbers(canvas: &mut Canvas, reading: &Reading, outwards: Vector2<f64>, arm: f64, u: f64) {
    let ty = Type {
        size: 6.6 * u,
        weight: Weight::Bold,
        tie: Tie::Middle,
        fill: Colour::Ink,
        halo: Some((Colour::Amber, 1.0 * u)),
    };
    let mut last: Option<Point2<f64>> = None;
    for g in reading.graduations.iter().filter(|g| multiple(g.mm, 10.0)) {
        if last.is_some_and(|l| (l - g.at).norm() < 16.0 * u) {
            continue;
        }
        last = Some(g.at);
        let out = if g.direction.dot(&outwards) < 0.0 { -g.direction } else { g.direction };
        let mm = g.mm.round() as i64;
        let text = match reading.numbering {
            Numbering::Lengths if mm != 0 => format!("{mm:+}"),
            _ => mm.to_string(),
        };
        // Half the width of the text lies on this side of its middle.
        let half = 0.31 * ty.size * text.len() as f64 * out.x.abs() + 0.5 * ty.size * out.y.abs();
        let at = g.at + out * (2.2 * arm + half + 0.4 * ty.size);
        canvas.text(Point2::new(at.x, at.y + 0.36 * ty.size), &text, &ty);
    }
}

/// The side of the ruler that has more room in the photo.
fn outwards(g: &[ReadGraduation], (width, height): (u32, u32)) -> Vector2<f64> {
    let Some(middle) = g.get(g.len() / 2) else { return Vector2::zeros() };
    let centre = Point2::new(f64::from(width) / 2.0, f64::from(height) / 2.0);
    if middle.direction.dot(&(centre - middle.at)) < 0.0 { -middle.direction } else { middle.direction }
}

fn multiple(mm: f64, of: f64) -> bool {
    ((mm / of) - (mm / of).round()).abs() < 1e-6
}
