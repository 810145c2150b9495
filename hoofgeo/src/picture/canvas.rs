//! What is drawn, as SVG, and how it comes onto the pixels: only where something was drawn.

use super::font::{self, Weight};
use super::style::{Colour, Pen};
use crate::{Error, ErrorKind, Result};
use nalgebra::Point2;
use rayon::prelude::*;
use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg;
use std::fmt::Write;

/// Side of the squares in which the canvas remembers where something was drawn, px.
const TILE: usize = 64;

/// Where a text is tied to its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Tie {
    Start,
    Middle,
    End,
}

/// How a text looks.
#[derive(Debug, Clone, Copy)]
pub(super) struct Type {
    pub(super) size: f64,
    pub(super) weight: Weight,
    pub(super) tie: Tie,
    pub(super) fill: Colour,
    /// Colour and width of a rim around the letters.
    pub(super) halo: Option<(Colour, f64)>,
}

/// A drawing over a picture of `width` × `height` px. What is drawn is given in px of the photo, of which the picture may be a
/// smaller copy.
pub(super) struct Canvas {
    width: usize,
    height: usize,
    scale: f64,
    svg: String,
    touched: Vec<bool>,
    across: usize,
}

impl Canvas {
    pub(super) fn new(width: usize, height: usize, scale: f64) -> Self {
        let across = width.div_ceil(TILE);
        let svg = String::with_capacity(1 << 16);
        Self { width, height, scale, svg, touched: vec![false; across * height.div_ceil(TILE)], across }
    }

    /// Marks a box as drawn on.
    fn touch(&mut self, x0: f64, y0: f64, x1: f64, y1: f64) {
        let [x0, y0, x1, y1] = [x0, y0, x1, y1].map(|v| v * self.scale);
        // Casts saturate, so boxes outside the canvas come out empty; the comparison also drops what is not a number.
        if !(x1 >= 0.0 && y1 >= 0.0 && x0 < self.width as f64 && y0 < self.height as f64) {
            return;
        }
        let column = |v: f64| (v.max(0.0) as usize / TILE).min(self.across - 1);
        let row = |v: f64| (v.max(0.0) as usize / TILE).min(self.touched.len() / self.across - 1);
        for r in row(y0)..=row(y1) {
            self.touched[r * self.across + column(x0)..=r * self.across + column(x1)].fill(true);
        }
    }

    /// Marks the way from point to point as drawn on, `around` px wide on both sides.
    fn touch_along(&mut self, points: &[Point2<f64>], around: f64) {
        for pair in points.windows(2) {
            // Boxes of half a tile, so that a long slanted line does not touch its whole bounding box.
            let steps = ((pair[1] - pair[0]).norm() * self.scale / (TILE as f64 / 2.0)).ceil().clamp(1.0, 4096.0);
            let at = |i: f64| pair[0] + (pair[1] - pair[0]) * (i / steps);
            for i in 0..steps as usize {
                let (a, b) = (at(i as f64), at(i as f64 + 1.0));
                let (low, high) = (a.inf(&b), a.sup(&b));
                self.touch(low.x - around, low.y - around, high.x + around, high.y + around);
            }
        }
    }

    /// Draws lines through points, closed ones back to their start.
    pub(super) fn stroke(&mut self, points: &[Point2<f64>], closed: bool, pen: &Pen) {
        if points.len() < 2 {
            return;
        }
        let mut d = String::with_capacity(points.len() * 14);
        for (i, p) in points.iter().enumerate() {
            let _ = write!(d, "{}{:.2} {:.2}", if i == 0 { 'M' } else { 'L' }, p.x, p.y);
        }
        if closed {
            d.push('Z');
            self.touch_along(&[points[points.len() - 1], points[0]], pen.reach());
        }
        self.touch_along(points, pen.reach());
        let dash = pen.dash.map_or(String::new(), |[on, off]| format!(r#" stroke-dasharray="{on:.2} {off:.2}""#));
        let (casing, width) = (pen.casing, pen.width);
        if let Some((colour, rim)) = casing {
            let _ = write!(
                self.svg,
                r#"<path d="{d}" stroke="{}" stroke-opacity="{}" stroke-width="{:.2}"{dash}/>"#,
                colour.hex(),
                pen.casing_opacity,
                width + 2.0 * rim
            );
        }
        let _ = write!(self.svg, r#"<path d="{d}" stroke="{}" stroke-width="{width:.2}"{dash}/>"#, pen.colour.hex());
    }

    /// Fills a shape.
    pub(super) fn fill(&mut self, points: &[Point2<f64>], colour: Colour) {
        if points.len() < 3 {
            return;
        }
        let mut d = String::new();
        let (mut low, mut high) = (points[0], points[0]);
        for (i, p) in points.iter().enumerate() {
            let _ = write!(d, "{}{:.2} {:.2}", if i == 0 { 'M' } else { 'L' }, p.x, p.y);
            (low, high) = (low.inf(p), high.sup(p));
        }
        self.touch(low.x - 1.0, low.y - 1.0, high.x + 1.0, high.y + 1.0);
        let _ = write!(self.svg, r#"<path d="{d}Z" fill="{}"/>"#, colour.hex());
    }

    /// Draws a circle, open or filled.
    pub(super) fn circle(&mut self, centre: Point2<f64>, radius: f64, pen: Option<&Pen>, fill: Option<Colour>) {
        let reach = radius + pen.map_or(1.0, Pen::reach);
        self.touch(centre.x - reach, centre.y - reach, centre.x + reach, centre.y + reach);
        let (x, y) = (centre.x, centre.y);
        if let Some((colour, rim)) = pen.and_then(|p| p.casing) {
            let pen_width = pen.map_or(0.0, |p| p.width);
            let opacity = pen.map_or(1.0, |p| p.casing_opacity);
            let _ = write!(
                self.svg,
                r#"<circle cx="{x:.2}" cy="{y:.2}" r="{radius:.2}" stroke="{}" stroke-opacity="{opacity}" stroke-width="{:.2}"/>"#,
                colour.hex(),
                pen_width + 2.0 * rim
            );
        }
        let stroke =
            pen.map_or(String::new(), |p| format!(r#" stroke="{}" stroke-width="{:.2}""#, p.colour.hex(), p.width));
        let fill = fill.map_or(String::new(), |c| format!(r#" fill="{}""#, c.hex()));
        let _ = write!(self.svg, r#"<circle cx="{x:.2}" cy="{y:.2}" r="{radius:.2}"{fill}{stroke}/>"#);
    }

    /// Writes a line of text; `at` is on its baseline.
    pub(super) fn text(&mut self, at: Point2<f64>, text: &str, ty: &Type) {
        let text = clean(text);
        if text.trim().is_empty() {
            return;
        }
        let wide = font::width(&text, ty.weight) * ty.size;
        let left = match ty.tie {
            Tie::Start => at.x,
            Tie::Middle => at.x - wide / 2.0,
            Tie::End => at.x - wide,
        };
        let rim = ty.halo.map_or(0.0, |h| h.1) + 0.3 * ty.size;
        self.touch(left - rim, at.y - ty.size - rim, left + wide + rim, at.y + 0.3 * ty.size + rim);
        let anchor = match ty.tie {
            Tie::Start => "start",
            Tie::Middle => "middle",
            Tie::End => "end",
        };
        let halo = ty.halo.map_or(String::new(), |(colour, w)| {
            format!(r#" stroke="{}" stroke-width="{:.2}" paint-order="stroke""#, colour.hex(), 2.0 * w)
        });
        let _ = write!(
            self.svg,
            r#"<text x="{:.2}" y="{:.2}" font-size="{:.2}" font-weight="{}" text-anchor="{anchor}" fill="{}"{halo}>{}</text>"#,
            at.x,
            at.y,
            ty.size,
            ty.weight.css(),
            ty.fill.hex(),
            escape(&text)
        );
    }

    /// Renders everything.
    ///
    /// # Errors
    /// `Photo` where the picture is too large for the renderer.
    pub(super) fn render(self) -> Result<Layer> {
        let svg = format!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" width="{}" height="{}" fill="none" stroke-linecap="round" stroke-linejoin="round" font-family="{}" font-stretch="condensed" xml:space="preserve">{}</svg>"#,
            self.width,
            self.height,
            font::FAMILY,
            self.svg
        );
        let options =
            usvg::Options { fontdb: font::database(), font_family: font::FAMILY.into(), ..usvg::Options::default() };
        let tree = usvg::Tree::from_str(&svg, &options)
            .map_err(|e| Error::new(ErrorKind::Photo, format!("the annotation cannot be drawn: {e}")))?;
        let too_large = || {
            Error::new(
                ErrorKind::Photo,
                format!("the picture of {} x {} px is too large to draw on", self.width, self.height),
            )
            .help("measure a smaller copy of the photo, or go without pictures")
        };
        let side = |n: usize| u32::try_from(n).map_err(|_| too_large());
        // Zeroed by the system page by page when first written to: untouched parts of a large picture cost nothing.
        let mut layer = Pixmap::new(side(self.width)?, side(self.height)?).ok_or_else(too_large)?;
        let scale = self.scale as f32;
        resvg::render(&tree, Transform::from_scale(scale, scale), &mut layer.as_mut());
        Ok(Layer { drawn: layer, touched: self.touched, across: self.across })
    }
}

/// A rendered drawing: premultiplied RGBA, and the squares that hold something.
pub(super) struct Layer {
    drawn: Pixmap,
    touched: Vec<bool>,
    across: usize,
}

impl Layer {
    /// Lays it over interleaved 8-bit RGB of its own size.
    pub(super) fn over(&self, rgb: &mut [u8]) {
        let (drawn, width) = (self.drawn.data(), self.drawn.width() as usize);
        rgb.par_chunks_mut(TILE * width * 3).enumerate().for_each(|(r, band)| {
            let touched = &self.touched[r * self.across..(r + 1) * self.across];
            for (y, row) in band.chunks_exact_mut(width * 3).enumerate() {
                let above = &drawn[(r * TILE + y) * width * 4..][..width * 4];
                for (c, _) in touched.iter().enumerate().filter(|(_, t)| **t) {
                    let (from, to) = (c * TILE, ((c + 1) * TILE).min(width));
                    blend(&mut row[from * 3..to * 3], &above[from * 4..to * 4]);
                }
            }
        });
    }
}

/// Lays premultiplied RGBA over RGB.
fn blend(below: &mut [u8], above: &[u8]) {
    for (b, a) in below.as_chunks_mut::<3>().0.iter_mut().zip(above.as_chunks::<4>().0) {
        // Most of a touched square is empty, and most of the rest covered.
        if a[3] == 0 {
            continue;
        }
        if a[3] == 255 {
            *b = [a[0], a[1], a[2]];
            continue;
        }
        let rest = 255 - u32::from(a[3]);
        for k in 0..3 {
            // (x + 128) * 257 >> 16 is x / 255, rounded, for every product of two bytes.
            let under = ((u32::from(b[k]) * rest + 128) * 257) >> 16;
            b[k] = (under + u32::from(a[k])).min(255) as u8;
        }
    }
}

/// Text without what XML or a line of text cannot hold: control characters, and marks that turn the direction of writing.
fn clean(text: &str) -> String {
    let keep = |c: char| match c {
        '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{fffe}' | '\u{ffff}' => None,
        c if c.is_control() || c.is_whitespace() => Some(' '),
        c => Some(c),
    };
    text.chars().filter_map(keep).collect()
}

fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&apos;"),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::super::style::Stroke;
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]
        /// Blending only where something was drawn gives what blending everywhere gives.
        #[test]
        fn nothing_drawn_is_left_out(
            points in proptest::collection::vec((-80.0..400.0_f64, -80.0..300.0_f64), 2..6),
            u in 0.2..6.0_f64, closed: bool, name in ".{0,12}",
        ) {
            let points: Vec<_> = points.into_iter().map(|(x, y)| Point2::new(x, y)).collect();
            let draw = |everywhere: bool| {
                let mut canvas = Canvas::new(300, 200, 1.0);
                for (stroke, p) in [Stroke::Measured, Stroke::Prolonged, Stroke::Ellipse].iter().zip(&points) {
                    canvas.stroke(&points, closed, &stroke.pen(u));
                    canvas.circle(*p, 3.0 * u, Some(&Stroke::Mark.pen(u)), Some(Colour::Amber));
                }
                canvas.fill(&points, Colour::Rule);
                let halo = Some((Colour::Ivory, u));
                canvas.text(points[0], &name, &Type { size: 8.0 * u, weight: Weight::Bold, tie: Tie::Middle, fill: Colour::Ink, halo });
                if everywhere {
                    canvas.touched.fill(true);
                }
                let mut rgb = vec![90; 300 * 200 * 3];
                canvas.render().unwrap().over(&mut rgb);
                rgb
            };
            prop_assert!(draw(false) == draw(true));
        }
    }

    #[test]
    fn blending_divides_by_255_rounded() {
        for below in 0..=255u8 {
            for alpha in 0..=255u8 {
                let mut pixel = [below; 3];
                blend(&mut pixel, &[0, 0, 0, alpha]);
                let exact = f64::from(below) * f64::from(255 - alpha) / 255.0;
                assert!((f64::from(pixel[0]) - exact).abs() <= 0.5 + 1e-9, "{below} {alpha}");
            }
        }
    }
}
