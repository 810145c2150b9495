//! A projection drawn over the photo: the foot as it stands, and where it would bear.
//!
//! The present bearing line is thin; the projected one is bold, with a filled mark at each new bearing point. Horn that would be
//! taken off, or would have grown, lies between the two. Everything is drawn on the planes where it was measured, as the lens shows it.

use super::canvas::{Canvas, Tie, Type};
use super::font::{self, Weight};
use super::labels::{self, Label, Occupied};
use super::panel::{CAUTION, WIDTH, facts};
use super::space::Space;
use super::style::{Colour, Stroke};
use super::{Layers, PictureOptions, encode_jpeg, fits, too_large, unit};
use crate::evaluate::Value;
use crate::landmark::Landmark;
use crate::measured::Measured;
use crate::photo::{PhotoFacts, decode_upright_bytes};
use crate::project::{Projection, points, printed};
use crate::sidecar::Sidecar;
use crate::{Error, ErrorKind, Result};
use nalgebra::{Point2, Vector2};

const MARGIN: f64 = 11.0;
const ROW: f64 = 12.0;
const SMALL: f64 = 6.9;
const TEXT: f64 = 8.4;

/// Draws a projection on an upright photo's bytes and gives the picture as JPEG.
///
/// # Errors
/// As [`annotate_bytes`](super::annotate_bytes); `Landmark` where the foot cannot be projected.
pub fn project_bytes(
    bytes: &[u8],
    facts: &PhotoFacts,
    sidecar: &Sidecar,
    measured: &Measured,
    projection: &Projection,
    options: &PictureOptions,
) -> Result<Vec<u8>> {
    fits((facts.width_px, facts.height_px), measured)?;
    let photo = decode_upright_bytes(bytes, facts)?;
    fits(photo.dimensions(), measured)?;
    let picture = layers(sidecar, measured, projection, options)?.onto(photo)?;
    encode_jpeg(&picture, options.quality)
}

fn layers(sidecar: &Sidecar, measured: &Measured, projection: &Projection, options: &PictureOptions) -> Result<Layers> {
    let (width, height) = measured.scene.frame_px;
    let limit = u32::from(u16::MAX);
    if width > limit || height > limit {
        return Err(too_large((width, height)));
    }
    let u = unit(width);
    let scale = (f64::from(options.width.max(1)) / f64::from(width)).min(1.0);
    let size = [width, height].map(|side| ((f64::from(side) * scale).round() as u32).max(1));
    let mut canvas = Canvas::new(size[0] as usize, size[1] as usize, scale);
    on_photo(&mut canvas, measured, projection, u)?;
    let strip = Strip::new(sidecar, projection, options.taken.as_deref());
    let strip_height = (strip.height() * u * scale).ceil() as u32;
    let mut below = Canvas::new(size[0] as usize, strip_height as usize, scale);
    strip.draw(&mut below, u);
    Ok(Layers { on_photo: canvas.render()?, strip: below.render()?, size: size.into(), strip_height })
}

fn on_photo(canvas: &mut Canvas, measured: &Measured, projection: &Projection, u: f64) -> Result<()> {
    let space = Space::new(&measured.scene, &measured.located);
    let failed = |why: crate::placed::Undefined| {
        Error::new(ErrorKind::Landmark, format!("this foot cannot be projected: {why}"))
    };
    let (side, [toe, heel]) = points(&space.placed, &projection.plan).map_err(failed)?;
    let (toe_plane, heel_plane) = (space.plane_of(Landmark::ToeGround), space.plane_of(Landmark::HeelGround));
    let spot = |plane, p: Point2<f64>| space.lift(plane, p);
    let (w, h) = measured.scene.frame_px;
    let frame = (f64::from(w), f64::from(h));
    let mut occupied = Occupied::new(frame.0, frame.1, u);
    let pixels: Vec<_> = space.located.points.iter().map(|p| p.pixel).collect();
    occupied.foot(&pixels);
    // Walls from the coronary band to where they end now, and on to where they would.
    let far = |p: Point2<f64>, q: Point2<f64>| (p - q).norm() > 0.3;
    let mut lines = vec![
        (spot(toe_plane, side.toe_top), spot(toe_plane, side.toe), Stroke::Prolonged),
        (spot(heel_plane, side.heel_top), spot(heel_plane, side.heel), Stroke::Prolonged),
        (spot(toe_plane, side.toe), spot(heel_plane, side.heel), Stroke::Placed),
        (spot(toe_plane, toe), spot(heel_plane, heel), Stroke::Measured),
    ];
    for (plane, now, then) in [(toe_plane, side.toe, toe), (heel_plane, side.heel, heel)] {
        if far(now, then) {
            lines.push((spot(plane, now), spot(plane, then), Stroke::Dimension));
        }
    }
    for (a, b, stroke) in lines {
        let path = space.straight(a, b);
        canvas.stroke(&path, false, &stroke.pen(u));
        occupied.line(&path, labels::LINE);
    }
    let mut marked = Vec::new();
    let ids = ["toe_bearing_point", "heel_bearing_point"];
    for ((plane, now, then), id) in [(toe_plane, side.toe, toe), (heel_plane, side.heel, heel)].into_iter().zip(ids) {
        if let Some(p) = space.pixel(spot(plane, now)) {
            canvas.circle(p, 2.5 * u, Some(&Stroke::Mark.pen(u)), None);
        }
        if !far(now, then) {
            continue;
        }
        let Some(p) = space.pixel(spot(plane, then)) else { continue };
        canvas.circle(p, 2.9 * u, None, Some(Colour::Ink));
        canvas.circle(p, 2.1 * u, None, Some(Colour::Amber));
        let reach = Vector2::new(4.0, 4.0) * u;
        occupied.cover(p - reach, p + reach, labels::MARK);
        marked.push((id, p));
    }
    let labels: Vec<Label> = marked
        .into_iter()
        .filter_map(|(id, p)| {
            let (key, place) = key(id)?;
            let [value, rest] = printed(&projection.quantities.get(place)?.change);
            Some(Label { key, value: Some((value, rest)), anchors: vec![p] })
        })
        .collect();
    let found = labels::arrange(&mut occupied, &labels, frame, u);
    labels::draw(canvas, &found, u);
    Ok(())
}

/// A bearing point's key on the photo and its place among the projected quantities.
fn key(id: &str) -> Option<(char, usize)> {
    let key = match id {
        "toe_bearing_point" => 'a',
        "heel_bearing_point" => 'b',
        _ => return None,
    };
    Some((key, crate::project::QUANTITIES.iter().position(|m| m.id == id)?))
}

/// The strip below the photo.
struct Strip<'a> {
    title: String,
    facts: String,
    rows: Vec<(Option<char>, &'a Value, &'a Value, &'a Value)>,
    notes: Vec<String>,
    caution: Vec<String>,
}

impl<'a> Strip<'a> {
    fn new(sidecar: &Sidecar, projection: &'a Projection, taken: Option<&str>) -> Self {
        let room = WIDTH - 2.0 * MARGIN;
        let notes = [
            format!("Projected: {}.", projection.plan.words()),
            "Thin: as it stands. Bold, with filled marks: as it would bear; a and b say how far the bearing point would move back. \
             ± at 95 %. Geometry only, not a cutting instruction; never below the hard sole plane."
                .to_owned(),
        ];
        Self {
            title: sidecar.subject.animal.clone(),
            facts: font::fitted(&facts(sidecar, taken), 8.6, Weight::Regular, room),
            rows: projection
                .quantities
                .iter()
                .map(|p| {
                    (key(p.measurement().id).map(|k| k.0).filter(|_| moves(&p.change)), &p.before, &p.after, &p.change)
                })
                .collect(),
            notes: notes.iter().flat_map(|n| font::wrapped(n, SMALL, Weight::Regular, room)).collect(),
            caution: font::wrapped(CAUTION, SMALL, Weight::Bold, room),
        }
    }

    fn height(&self) -> f64 {
        44.0 + self.rows.len() as f64 * ROW + (self.notes.len() + self.caution.len()) as f64 * 8.8 + 12.0
    }

    fn draw(&self, canvas: &mut Canvas, u: f64) {
        let at = |x: f64, y: f64| Point2::new(x * u, y * u);
        let ty = |size: f64, weight, tie, fill| Type { size: size * u, weight, tie, fill, halo: None };
        let rule = |canvas: &mut Canvas, y: f64| {
            let pen = super::style::Pen {
                colour: Colour::Ink,
                width: 0.5 * u,
                casing: None,
                casing_opacity: 1.0,
                dash: None,
            };
            canvas.stroke(&[at(MARGIN, y), at(WIDTH - MARGIN, y)], false, &pen);
        };
        canvas.text(at(MARGIN, 18.5), &self.title, &ty(13.5, Weight::Bold, Tie::Start, Colour::Ink));
        canvas.text(at(WIDTH - MARGIN, 18.5), &self.facts, &ty(8.6, Weight::Regular, Tie::End, Colour::Slate));
        rule(canvas, 26.0);
        let ends = [205.0, 292.0, WIDTH - MARGIN];
        for (x, word) in ends.into_iter().zip(["now", "then", "change"]) {
            canvas.text(at(x, 35.0), word, &ty(SMALL, Weight::Regular, Tie::End, Colour::Slate));
        }
        let mut y = 37.0;
        for (key, before, after, change) in &self.rows {
            y += ROW;
            let m = before.measurement;
            if let Some(key) = key {
                labels::disc(canvas, at(MARGIN + 5.0, y - 3.1), *key, u, false);
            }
            canvas.text(at(MARGIN + 13.0, y), m.name, &ty(TEXT, Weight::Regular, Tie::Start, Colour::Ink));
            // How far a point moves is a change already.
            let shown = if m.id.ends_with("bearing_point") { 2 } else { 0 };
            for (i, (x, v)) in ends.into_iter().zip([before, after, change]).enumerate().skip(shown) {
                let weight = if i == 2 { Weight::Bold } else { Weight::Regular };
                let text = printed(v).concat().replace('-', "−");
                canvas.text(at(x, y), &text, &ty(TEXT, weight, Tie::End, Colour::Ink));
            }
        }
        y += 5.0;
        rule(canvas, y);
        for (lines, weight, fill) in
            [(&self.notes, Weight::Regular, Colour::Slate), (&self.caution, Weight::Bold, Colour::Ink)]
        {
            for line in lines {
                y += 8.8;
                canvas.text(at(MARGIN, y), line, &ty(SMALL, weight, Tie::Start, fill));
            }
            y += 1.5;
        }
    }
}

/// Whether a bearing point moves by enough to be marked, mm.
fn moves(change: &Value) -> bool {
    change.value.abs() > 0.3
}
