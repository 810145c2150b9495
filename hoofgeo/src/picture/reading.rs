//! What was read of a photo, drawn over it for a person to check: what was clicked or drawn in ivory, what was found in amber, with a key
//! to the list below; moved landmarks enlarged, one tile each.

use super::canvas::{Canvas, Tie, Type};
use super::font::{self, Weight};
use super::labels::{self, Label, MARK, Occupied, disc};
use super::style::{self, Colour, Pen, Stroke};
use super::{panel, resized, too_large, unit};
use crate::pixels::{Moved, Reading, Snap};
use crate::sidecar::Sidecar;
use crate::{Landmark, Result};
use image::RgbImage;
use image::imageops::{self, FilterType};
use nalgebra::{Point2, Vector2};

const MARGIN: f64 = 11.0;
const TITLE: f64 = 11.5;
const TEXT: f64 = 7.6;
const ROW: f64 = 11.0;
/// Tiles in a row, the space between them, and the height of the words under them.
const TILES: usize = 4;
const GAP: f64 = 8.0;
const WORDS: f64 = 21.0;
/// A tile shows at least this far about the middle of a move, px, and else so many times the move.
const AROUND_PX: f64 = 12.0;
const AROUND: f64 = 1.6;

/// Draws what a photo's sidecar said before and what was read, with a strip below that lists it. The picture is at most `width` px wide.
///
/// # Errors
/// `Photo` where the photo is too large to draw on.
pub fn reading_picture(photo: &RgbImage, before: &Sidecar, reading: &Reading, width: u32) -> Result<RgbImage> {
    let frame = photo.dimensions();
    let u = unit(frame.0);
    let scale = (f64::from(width.max(1)) / f64::from(frame.0)).min(1.0);
    let size = [frame.0, frame.1].map(|side| ((f64::from(side) * scale).round() as u32).max(1));
    let strip = Strip::new(before, reading);
    let high = (strip.height() * u * scale).ceil() as u32;
    if size[0] > u32::from(u16::MAX) || size[1] + high > u32::from(u16::MAX) {
        return Err(too_large(frame));
    }
    let mut canvas = Canvas::new(size[0] as usize, size[1] as usize, scale);
    draw(&mut canvas, before, reading, &strip, (f64::from(frame.0), f64::from(frame.1)), u);
    let mut below = Canvas::new(size[0] as usize, high as usize, scale);
    strip.draw(&mut below, u);
    let mut pixels = resized(photo, (size[0], size[1]))?;
    let own = pixels.len();
    pixels.extend(std::iter::repeat_n(style::PAPER, (size[0] * high) as usize).flatten());
    canvas.render()?.over(&mut pixels[..own]);
    let mut picture = RgbImage::from_raw(size[0], size[1] + high, pixels).ok_or_else(|| too_large(frame))?;
    for (tile, snap) in strip.tiles() {
        let [x, y, side] = [tile.x, tile.y, strip.side()].map(|v| v * u * scale);
        let at = (i64::from(x.round() as u32), i64::from(size[1]) + y.round() as i64);
        imageops::replace(&mut picture, &enlarged(photo, &snap, side.round().max(1.0) as u32), at.0, at.1);
    }
    below.render()?.over(&mut picture.as_flat_samples_mut().samples[own..]);
    Ok(picture)
}

/// Half the side of what a tile shows, px of the photo.
fn around(snap: &Snap) -> f64 {
    (AROUND * (snap.at - snap.from).norm()).max(AROUND_PX)
}

/// The photo about a move, `side` px wide.
fn enlarged(photo: &RgbImage, snap: &Snap, side: u32) -> RgbImage {
    let (middle, half) = (nalgebra::center(&snap.from, &snap.at), around(snap));
    // One pixel more all round, so that the whole-pixel crop holds the tile.
    let n = (2.0 * half).ceil() as u32 + 2;
    let low = middle - Vector2::repeat(half);
    let (left, top) = (low.x.floor(), low.y.floor());
    let inside = |v: f64, i: u32, most: u32| (v as i64 + i64::from(i)).clamp(0, i64::from(most) - 1) as u32;
    let crop = RgbImage::from_fn(n, n, |x, y| {
        *photo.get_pixel(inside(left, x, photo.width()), inside(top, y, photo.height()))
    });
    let times = f64::from(side) / (2.0 * half);
    let large = (f64::from(n) * times).round().max(1.0) as u32;
    let big = imageops::resize(&crop, large, large, FilterType::CatmullRom);
    let (x, y) = (((low.x - left) * times) as u32, ((low.y - top) * times) as u32);
    imageops::crop_imm(&big, x, y, side, side).to_image()
}

/// What stands in the strip.
struct Strip {
    title: String,
    /// Keys of what was found, and what is said, line by line: lines of the sidecar, then landmarks left where they were.
    rows: Vec<(Option<char>, Vec<String>)>,
    moved: Vec<(Landmark, Snap)>,
}

impl Strip {
    fn new(before: &Sidecar, reading: &Reading) -> Self {
        let mut keys = 'a'..='z';
        let room = panel::WIDTH - 2.0 * MARGIN - 14.0;
        let wrapped = |text: String| font::wrapped(&text, TEXT, Weight::Regular, room);
        let mut rows: Vec<_> = reading
            .found
            .iter()
            .map(|(line, found)| {
                let key = if found.is_found() { keys.next() } else { None };
                (key, wrapped(format!("{line} {found}")))
            })
            .collect();
        let left = reading.moved.iter().filter(|(_, m)| !matches!(m, Moved::Snapped(_)));
        rows.extend(left.map(|(l, m)| (None, wrapped(format!("{l} {m}")))));
        let moved = reading.moved.iter().filter_map(|(l, m)| match m {
            Moved::Snapped(snap) => Some((*l, *snap)),
            _ => None,
        });
        let title =
            font::fitted(&format!("Read from {}", before.photo.file), TITLE, Weight::Bold, panel::WIDTH - 2.0 * MARGIN);
        Self { title, rows, moved: moved.collect() }
    }

    /// Side of a tile, units.
    fn side(&self) -> f64 {
        (panel::WIDTH - 2.0 * MARGIN - GAP * (TILES - 1) as f64) / TILES as f64
    }

    /// Where the rows end and the tiles begin.
    fn rows_end(&self) -> f64 {
        MARGIN + TITLE + 21.0 + ROW * self.rows.iter().map(|r| r.1.len()).sum::<usize>() as f64
    }

    fn height(&self) -> f64 {
        let tiles = self.moved.len().div_ceil(TILES) as f64 * (self.side() + WORDS);
        self.rows_end() + tiles + MARGIN
    }

    fn tiles(&self) -> impl Iterator<Item = (Point2<f64>, Snap)> {
        let (side, top) = (self.side(), self.rows_end());
        self.moved.iter().enumerate().map(move |(i, (_, snap))| {
            let (column, row) = ((i % TILES) as f64, (i / TILES) as f64);
            (Point2::new(MARGIN + column * (side + GAP), top + row * (side + WORDS)), *snap)
        })
    }

    fn draw(&self, canvas: &mut Canvas, u: f64) {
        let ty = |size: f64, weight, fill| Type { size: size * u, weight, tie: Tie::Start, fill, halo: None };
        let at = |x: f64, y: f64| Point2::new(x * u, y * u);
        canvas.text(at(MARGIN, MARGIN + 0.8 * TITLE), &self.title, &ty(TITLE, Weight::Bold, Colour::Ink));
        let words = "ivory: clicked or drawn by a person   amber: found in the picture";
        canvas.text(at(MARGIN, MARGIN + TITLE + 7.0), words, &ty(6.9, Weight::Regular, Colour::Slate));
        let mut y = MARGIN + TITLE + 16.0;
        for (key, lines) in &self.rows {
            if let Some(key) = *key {
                disc(canvas, at(MARGIN + 4.5, y + 0.45 * ROW - 0.5), key, u * 0.85, false);
            }
            let fill = if key.is_some() { Colour::Ink } else { Colour::Slate };
            for text in lines {
                canvas.text(at(MARGIN + 14.0, y + 0.7 * ROW), text, &ty(TEXT, Weight::Regular, fill));
                y += ROW;
            }
        }
        let side = self.side();
        for ((corner, snap), (landmark, _)) in self.tiles().zip(&self.moved) {
            let (middle, times) = (nalgebra::center(&snap.from, &snap.at), side / (2.0 * around(&snap)));
            let inside = |p: Point2<f64>| {
                let d = (p - middle) * times;
                at(corner.x + side / 2.0 + d.x, corner.y + side / 2.0 + d.y)
            };
            // The edge goes from rim to rim, broken where the marks are.
            let reach = around(&snap) * 0.98 / snap.edge.x.abs().max(snap.edge.y.abs());
            let clear = 5.0 / times;
            for sign in [-1.0, 1.0] {
                let ends = [snap.at + snap.edge * (sign * clear), snap.at + snap.edge * (sign * reach)];
                let shown = ends.map(|p| {
                    let half = around(&snap) * 0.98;
                    middle + (p - middle).map(|d: f64| d.clamp(-half, half))
                });
                canvas.stroke(&shown.map(inside), false, &amber(0.9, u));
            }
            canvas.stroke(&[inside(snap.from), inside(snap.at)], false, &Stroke::Leader.pen(u));
            canvas.circle(inside(snap.from), 3.4 * u, Some(&Stroke::Mark.pen(u)), None);
            cross(canvas, inside(snap.at), 3.4 * u, u);
            let below = corner.y + side;
            canvas.text(at(corner.x, below + 8.2), landmark.name(), &ty(TEXT, Weight::Bold, Colour::Ink));
            let words = format!("{:.2} mm, {:.1} px", snap.moved_mm, (snap.at - snap.from).norm());
            canvas.text(at(corner.x, below + 16.2), &words, &ty(6.9, Weight::Regular, Colour::Slate));
        }
    }
}

/// A line that was found.
fn amber(width: f64, u: f64) -> Pen {
    Pen { width: width * u, ..Stroke::Arc.pen(u) }
}

/// The mark of a place that was found: a cross, so that it differs from a click without its colour.
fn cross(canvas: &mut Canvas, at: Point2<f64>, arm: f64, u: f64) {
    for d in [Vector2::new(arm, arm), Vector2::new(arm, -arm)] {
        canvas.stroke(&[at - d * 0.7, at + d * 0.7], false, &amber(0.9, u));
    }
}

fn draw(canvas: &mut Canvas, before: &Sidecar, reading: &Reading, strip: &Strip, frame: (f64, f64), u: f64) {
    let mut occupied = Occupied::new(frame.0, frame.1, u);
    let pixels = |points: &[[f64; 2]]| -> Vec<Point2<f64>> { points.iter().map(|p| Point2::from(*p)).collect() };
    for (line, points) in &before.lines {
        let points = pixels(points);
        canvas.stroke(&points, line.info().closed, &Stroke::Placed.pen(u));
        occupied.line(&points, labels::LINE);
    }
    let mut found = Vec::new();
    for ((line, _), (key, _)) in reading.found.iter().zip(&strip.rows) {
        let (Some(key), Some(points)) = (key, reading.sidecar.lines.get(line)) else { continue };
        let points = pixels(points);
        canvas.stroke(&points, line.info().closed, &amber(1.1, u));
        // Where points stand close they would hide the line.
        let apart = points.windows(2).all(|w| (w[1] - w[0]).norm() > 5.0 * u);
        if points.len() > 2 && apart {
            points.iter().for_each(|p| canvas.circle(*p, 0.8 * u, None, Some(Colour::Ink)));
        }
        occupied.line(&points, labels::LINE);
        found.push(Label { key: *key, value: None, anchors: points });
    }
    for (landmark, placement) in &reading.sidecar.landmarks {
        let moved = strip.moved.iter().find(|(l, _)| l == landmark).map(|(_, s)| s);
        let clicked = moved.map_or_else(|| Point2::from(placement.at[0]), |s| s.from);
        canvas.circle(clicked, 2.5 * u, Some(&Stroke::Mark.pen(u)), None);
        if let Some(snap) = moved {
            cross(canvas, snap.at, 2.5 * u, u);
        }
        let reach = Vector2::repeat(3.5 * u);
        occupied.cover(clicked - reach, clicked + reach, MARK);
    }
    let placed = labels::arrange(&mut occupied, &found, frame, u);
    labels::draw(canvas, &placed, u);
}
