//! Where labels go: near what they name, off lines, marks, other labels and, where there is room, off the foot.

use super::canvas::{Canvas, Tie, Type};
use super::font::{self, Weight};
use super::style::{Colour, Stroke};
use nalgebra::{Point2, Vector2};

/// Size of a label's text, units.
const TEXT: f64 = 9.6;
/// Size of its uncertainty and unit.
const REST: f64 = 8.8;
/// Height of a label's box and radius of the disc with its key.
const HEIGHT: f64 = 12.6;
const DISC: f64 = 5.4;
/// Side of the squares in which the photo's occupation is kept, units.
const CELL: f64 = 2.4;

/// What a label costs per square of its box.
pub(super) const LINE: f32 = 1.5;
pub(super) const MARK: f32 = 3.0;
pub(super) const SCALE: f32 = 1.8;
const FOOT: f32 = 0.25;
const LABEL: f32 = 40.0;

/// What covers the photo already.
pub(super) struct Occupied {
    cells: Vec<f32>,
    across: usize,
    down: usize,
    cell: f64,
}

impl Occupied {
    pub(super) fn new(width: f64, height: f64, u: f64) -> Self {
        let cell = CELL * u;
        let count = |v: f64| ((v / cell).ceil() as usize).max(1);
        let (across, down) = (count(width), count(height));
        Self { cells: vec![0.0; across * down], across, down, cell }
    }

    fn index(&self, p: Point2<f64>) -> Option<usize> {
        let (x, y) = ((p.x / self.cell).floor(), (p.y / self.cell).floor());
        (x >= 0.0 && y >= 0.0 && x < self.across as f64 && y < self.down as f64)
            .then(|| y as usize * self.across + x as usize)
    }

    /// Covers the squares that a line crosses, each at least this much.
    pub(super) fn line(&mut self, points: &[Point2<f64>], cost: f32) {
        for pair in points.windows(2) {
            let steps = ((pair[1] - pair[0]).norm() / self.cell * 1.5).ceil().clamp(1.0, 4096.0);
            for i in 0..=steps as usize {
                if let Some(c) = self.index(pair[0] + (pair[1] - pair[0]) * (i as f64 / steps)) {
                    self.cells[c] = self.cells[c].max(cost);
                }
            }
        }
    }

    /// Covers a box.
    pub(super) fn cover(&mut self, low: Point2<f64>, high: Point2<f64>, cost: f32) {
        self.each(low, high, |c| *c = c.max(cost));
    }

    /// Covers what lies inside a convex hull of points a little: labels stand beside the foot where they can.
    pub(super) fn foot(&mut self, points: &[Point2<f64>]) {
        let hull = hull(points);
        if hull.len() < 3 {
            return;
        }
        for y in 0..self.down {
            for x in 0..self.across {
                let p = Point2::new((x as f64 + 0.5) * self.cell, (y as f64 + 0.5) * self.cell);
                let inside =
                    (0..hull.len()).all(|i| (hull[(i + 1) % hull.len()] - hull[i]).perp(&(p - hull[i])) >= 0.0);
                if inside {
                    let c = &mut self.cells[y * self.across + x];
                    *c = c.max(FOOT);
                }
            }
        }
    }

    fn each(&mut self, low: Point2<f64>, high: Point2<f64>, mut f: impl FnMut(&mut f32)) {
        let clamp = |v: f64, n: usize| (v / self.cell).floor().clamp(0.0, (n - 1) as f64) as usize;
        for y in clamp(low.y, self.down)..=clamp(high.y, self.down) {
            for x in clamp(low.x, self.across)..=clamp(high.x, self.across) {
                f(&mut self.cells[y * self.across + x]);
            }
        }
    }

    /// What covering a box would cost.
    pub(super) fn cost(&mut self, low: Point2<f64>, high: Point2<f64>) -> f32 {
        let mut sum = 0.0;
        self.each(low, high, |c| sum += *c);
        sum
    }

    fn cost_along(&self, a: Point2<f64>, b: Point2<f64>) -> f32 {
        let steps = ((b - a).norm() / self.cell).ceil().clamp(1.0, 4096.0) as usize;
        (0..=steps).filter_map(|i| self.index(a + (b - a) * (i as f64 / steps as f64))).map(|c| self.cells[c]).sum()
    }
}

/// Convex hull, counter-clockwise for y upwards (Andrew's monotone chain).
pub(crate) fn hull(points: &[Point2<f64>]) -> Vec<Point2<f64>> {
    let mut sorted: Vec<Point2<f64>> = points.iter().copied().filter(|p| p.x.is_finite() && p.y.is_finite()).collect();
    sorted.sort_by(|a, b| a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)));
    let mut out: Vec<Point2<f64>> = Vec::new();
    for half in 0..2 {
        let start = out.len();
        for i in 0..sorted.len() {
            let p = if half == 0 { sorted[i] } else { sorted[sorted.len() - 1 - i] };
            while out.len() >= start + 2
                && (out[out.len() - 1] - out[out.len() - 2]).perp(&(p - out[out.len() - 1])) <= 0.0
            {
                out.pop();
            }
            out.push(p);
        }
        out.pop();
    }
    out
}

/// A label: the key that the table repeats, value and uncertainty where they shall stand on the photo, and the pixels that the
/// label may point to.
pub(super) struct Label {
    pub(super) key: char,
    pub(super) value: Option<(String, String)>,
    pub(super) anchors: Vec<Point2<f64>>,
}

/// A label and the place found for it.
pub(super) struct Found<'a> {
    label: &'a Label,
    low: Point2<f64>,
    size: Vector2<f64>,
    anchor: Point2<f64>,
    with_value: bool,
}

/// Finds places for labels, the first ones with the most room.
pub(super) fn arrange<'a>(occupied: &mut Occupied, labels: &'a [Label], frame: (f64, f64), u: f64) -> Vec<Found<'a>> {
    let mut found = Vec::with_capacity(labels.len());
    for label in labels {
        let full = label.value.is_some().then(|| search(occupied, label, true, frame, u)).flatten();
        let best = full
            // Past this cost the value would hide too much; the table has it.
            .filter(|(_, cost)| *cost < 36.0)
            .or_else(|| search(occupied, label, false, frame, u));
        let Some((place, _)) = best else { continue };
        let margin = Vector2::new(1.5 * u, 1.0 * u);
        occupied.cover(place.low - margin, place.low + place.size + margin, LABEL);
        occupied.line(&[place.anchor, place.nearest()], LINE);
        found.push(place);
    }
    found
}

/// Draws labels, their leaders first.
pub(super) fn draw(canvas: &mut Canvas, found: &[Found<'_>], u: f64) {
    for place in found {
        let to = place.nearest();
        if (to - place.anchor).norm() > 2.5 * u {
            canvas.stroke(&[place.anchor, to], false, &Stroke::Leader.pen(u));
        }
    }
    for place in found {
        place.draw(canvas, u);
    }
}

fn size(value: Option<&(String, String)>, u: f64) -> Vector2<f64> {
    let text = value.map_or(0.0, |(v, rest)| {
        (font::width(v, Weight::Bold) * TEXT + font::width(rest, Weight::Regular) * REST) + 3.0
    });
    Vector2::new(2.0 * DISC + text, HEIGHT) * u
}

/// Point of a box nearest to another point.
fn nearest(low: Point2<f64>, size: Vector2<f64>, p: Point2<f64>) -> Point2<f64> {
    Point2::new(p.x.clamp(low.x, low.x + size.x), p.y.clamp(low.y, low.y + size.y))
}

fn search<'a>(
    occupied: &mut Occupied,
    label: &'a Label,
    with_value: bool,
    frame: (f64, f64),
    u: f64,
) -> Option<(Found<'a>, f32)> {
    let size = size(label.value.as_ref().filter(|_| with_value), u);
    let edge = 3.0 * u;
    let mut best: Option<(Found<'_>, f32)> = None;
    for (i, anchor) in label.anchors.iter().enumerate() {
        for ring in 0..11 {
            let away = (4.0 + 7.0 * f64::from(ring)) * u;
            for k in 0..24 {
                let (s, c) = (f64::from(k) * std::f64::consts::TAU / 24.0).sin_cos();
                // The box touches the circle around the anchor with the side or corner that faces it.
                let centre = anchor + Vector2::new(c * (away + size.x / 2.0), s * (away + size.y / 2.0));
                let low = centre - size / 2.0;
                if low.x < edge || low.y < edge || low.x + size.x > frame.0 - edge || low.y + size.y > frame.1 - edge {
                    continue;
                }
                let to = nearest(low, size, *anchor);
                let leader = (to - anchor).norm() / u;
                let cost = occupied.cost(low, low + size)
                    + 0.4 * occupied.cost_along(*anchor + (to - anchor) * 0.15, to)
                    + 0.22 * leader as f32
                    + 0.6 * i as f32;
                if best.as_ref().is_none_or(|(_, c)| cost < *c) {
                    best = Some((Found { label, low, size, anchor: *anchor, with_value }, cost));
                }
            }
        }
    }
    best
}

impl Found<'_> {
    fn nearest(&self) -> Point2<f64> {
        nearest(self.low, self.size, self.anchor)
    }

    fn draw(&self, canvas: &mut Canvas, u: f64) {
        let middle = self.low.y + self.size.y / 2.0;
        let centre = Point2::new(self.low.x + DISC * u, middle);
        disc(canvas, centre, self.label.key, u, true);
        let Some((value, rest)) = self.label.value.as_ref().filter(|_| self.with_value) else { return };
        let ty = |size: f64, weight| Type {
            size: size * u,
            weight,
            tie: Tie::Start,
            fill: Colour::Ink,
            halo: Some((Colour::Ivory, 1.3 * u)),
        };
        let at = Point2::new(centre.x + (DISC + 2.2) * u, middle + 0.36 * TEXT * u);
        let after = at + Vector2::x() * (font::width(value, Weight::Bold) * TEXT * u);
        canvas.text(after, rest, &ty(REST, Weight::Regular));
        canvas.text(at, value, &ty(TEXT, Weight::Bold));
    }
}

/// A key in its disc, on the photo with a rim.
pub(super) fn disc(canvas: &mut Canvas, centre: Point2<f64>, key: char, u: f64, rim: bool) {
    if rim {
        canvas.circle(centre, (DISC + 0.7) * u, None, Some(Colour::Ivory));
    }
    canvas.circle(centre, DISC * u * if rim { 1.0 } else { 0.9 }, None, Some(Colour::Ink));
    let ty = Type { size: 7.8 * u, weight: Weight::Bold, tie: Tie::Middle, fill: Colour::Ivory, halo: None };
    canvas.text(Point2::new(centre.x, centre.y + 2.7 * u), key.encode_utf8(&mut [0; 4]), &ty);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_keep_off_each_other_and_inside_the_frame() {
        let value = |i: u32| (!i.is_multiple_of(3)).then(|| (format!("{i}.5"), " ± 1.2 mm".to_owned()));
        let labels: Vec<Label> = ('a'..='n')
            .zip(0..)
            .map(|(key, i)| Label {
                key,
                value: value(i),
                anchors: vec![Point2::new(180.0 + f64::from(i), 150.0), Point2::new(4.0, 4.0)],
            })
            .collect();
        let frame = (390.0, 292.0);
        let mut occupied = Occupied::new(frame.0, frame.1, 1.0);
        let found = arrange(&mut occupied, &labels, frame, 1.0);
        assert_eq!(found.len(), labels.len());
        for (i, a) in found.iter().enumerate() {
            assert!(a.low.x >= 0.0 && a.low.y >= 0.0 && a.low.x + a.size.x <= frame.0 && a.low.y + a.size.y <= frame.1);
            for b in &found[..i] {
                let apart = (a.low - b.low).abs();
                let size = |d: usize| if (a.low - b.low)[d] < 0.0 { a.size[d] } else { b.size[d] };
                assert!(apart.x >= size(0) || apart.y >= size(1), "{} and {} overlap", a.label.key, b.label.key);
            }
        }
    }

    #[test]
    fn a_hull_goes_round_its_points() {
        let square =
            [(0.0, 0.0), (4.0, 0.0), (4.0, 4.0), (0.0, 4.0), (2.0, 1.0), (1.0, 3.0)].map(|(x, y)| Point2::new(x, y));
        assert_eq!(hull(&square).len(), 4);
        assert!(hull(&square[..1]).len() < 3 && hull(&[]).is_empty());
    }
}
