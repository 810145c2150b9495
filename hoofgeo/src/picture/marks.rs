//! Landmarks with their uncertainty, the graduations that were used, and the scale bar.

use super::canvas::{Canvas, Tie, Type};
use super::font::{self, Weight};
use super::labels::{MARK, Occupied, SCALE};
use super::space::Space;
use super::style::{Colour, Stroke};
use crate::measure::geometry::mean;
use crate::sidecar::{Graduation, Sidecar};
use crate::{Landmark, Line, View};
use nalgebra::{Point2, Vector2};

/// Radius of a landmark's mark, units.
pub(super) const RADIUS: f64 = 2.5;
/// Radius of the mark of a line's point, units.
const DOT: f64 = 0.8;
const SMALL: f64 = 6.6;

/// Draws the landmarks as open circles, each with its 95 % region where that is larger.
pub(super) fn landmarks(canvas: &mut Canvas, occupied: &mut Occupied, space: &Space<'_>, view: View, u: f64) {
    for landmark in Landmark::of(view) {
        let Some(i) = space.located.index.landmark(landmark) else { continue };
        let pixel = space.located.points[i].pixel;
        if let Some((outline, longest)) = space.region(i)
            && longest > RADIUS * u
        {
            canvas.stroke(&outline, true, &Stroke::Ellipse.pen(u));
        }
        canvas.circle(pixel, RADIUS * u, Some(&Stroke::Mark.pen(u)), None);
        let reach = Vector2::new(RADIUS, RADIUS) * (1.5 * u);
        occupied.cover(pixel - reach, pixel + reach, MARK);
    }
    for line in Line::of(view) {
        for i in space.located.index.line(line).unwrap_or_default() {
            canvas.circle(space.located.points[i].pixel, DOT * u, None, Some(Colour::Ink));
            canvas.circle(space.located.points[i].pixel, DOT * u * 0.62, None, Some(Colour::Ivory));
        }
    }
}

/// Draws the graduations where the scene puts them: strokes across the edge, crosses on a two-dimensional scale.
pub(super) fn graduations(
    canvas: &mut Canvas,
    occupied: &mut Occupied,
    space: &Space<'_>,
    sidecar: &Sidecar,
    frame: (f64, f64),
    u: f64,
) {
    let Some(scale) = &sidecar.scale else { return };
    let arm = 2.6 * u / space.scene.magnification().value;
    cover_scale(occupied, space, &scale.points, u);
    let mut numbered: Vec<Point2<f64>> = Vec::new();
    for g in &scale.points {
        let label = Point2::from(g.mm);
        let Some(at) = space.graduation(label) else { continue };
        let arms: &[Vector2<f64>] = &[Vector2::y(), Vector2::x()][..if space.scene.two_dimensional { 2 } else { 1 }];
        for direction in arms {
            if let (Some(a), Some(b)) =
                (space.graduation(label - direction * arm), space.graduation(label + direction * arm))
            {
                canvas.stroke(&[a, b], false, &Stroke::Graduation.pen(u));
            }
        }
        let reach = Vector2::new(4.0, 4.0) * u;
        occupied.cover(at - reach, at + reach, MARK);
        if numbered.iter().any(|p| (p - at).norm() < 16.0 * u) {
            continue;
        }
        // Along an edge, one number says it all.
        let text = match g.mm {
            [x, 0.0] => number(x),
            [0.0, y] => number(y),
            [x, y] => format!("{}, {}", number(x), number(y)),
        };
        let size = Vector2::new(font::width(&text, Weight::Bold) * SMALL + 2.0, SMALL + 1.0) * u;
        let Some(low) = beside(occupied, at, size, frame, u) else { continue };
        numbered.push(at);
        let ty = Type {
            size: SMALL * u,
            weight: Weight::Bold,
            tie: Tie::Middle,
            fill: Colour::Ink,
            halo: Some((Colour::Amber, 1.0 * u)),
        };
        canvas.text(Point2::new(low.x + size.x / 2.0, low.y + size.y * 0.5 + 0.36 * SMALL * u), &text, &ty);
        occupied.cover(low, low + size, MARK);
    }
}

/// How wide a ruler is taken to be, mm: its body must stay readable too (common practice, no source).
const BODY_MM: f64 = 40.0;

/// Keeps labels off the scale: the graduated edges, and the body on the side that the foot is not on, or both of an L.
fn cover_scale(occupied: &mut Occupied, space: &Space<'_>, points: &[Graduation], u: f64) {
    let pixels: Vec<Point2<f64>> = space.located.points.iter().map(|p| p.pixel).collect();
    let foot = mean(&pixels);
    let half = Vector2::new(3.0, 3.0) * u;
    for pair in points.windows(2) {
        let (a, b) = (Point2::from(pair[0].mm), Point2::from(pair[1].mm));
        let edge = b - a;
        let Some(along) = edge.try_normalize(1e-9).filter(|d| d.x.abs() < 0.05 || d.y.abs() < 0.05) else { continue };
        let across = Vector2::new(-along.y, along.x);
        let step = 4.0 * u / space.scene.magnification().value;
        let count = |length: f64| (length / step).ceil().clamp(1.0, 400.0) as usize;
        for i in 0..=count(edge.norm()) {
            let on_edge = a + edge * (i as f64 / count(edge.norm()) as f64);
            let (Some(p), Some(q)) = (space.graduation(on_edge), space.graduation(on_edge + across)) else { continue };
            let away = if (q - p).dot(&(foot - p)) > 0.0 { -across } else { across };
            // The body of an L lies inside its corner, where the foot may be too.
            let sides = if space.scene.two_dimensional { &[away, -away][..] } else { &[away] };
            for k in 0..=count(BODY_MM) {
                for side in sides {
                    if let Some(at) = space.graduation(on_edge + side * (step * k as f64)) {
                        occupied.cover(at - half, at + half, SCALE);
                    }
                }
            }
        }
    }
}

/// Names the two sides of the foot on a solar photo, outside whichever pair of landmarks shows them.
pub(super) fn sides(canvas: &mut Canvas, occupied: &mut Occupied, space: &Space<'_>, frame: (f64, f64), u: f64) {
    use Landmark::{
        BulbLateral, BulbMedial, FrogBaseLateral, FrogBaseMedial, HeelLateral, HeelMedial, WidestLateral, WidestMedial,
    };
    let pairs = [
        (WidestMedial, WidestLateral),
        (HeelMedial, HeelLateral),
        (FrogBaseMedial, FrogBaseLateral),
        (BulbMedial, BulbLateral),
    ];
    let pixel = |l| space.located.index.landmark(l).map(|i| space.located.points[i].pixel);
    let Some((m, l)) = pairs.into_iter().find_map(|(m, l)| pixel(m).zip(pixel(l))) else { return };
    let Some(out) = (m - l).try_normalize(1e-9) else { return };
    for (text, at, out) in [("medial", m, out), ("lateral", l, -out)] {
        let size = Vector2::new(font::width(text, Weight::Regular) * 7.6 + 2.0, 9.0) * u;
        // As far out, and as far up or down, as it takes to clear the mark, its region and the scale.
        let along = Vector2::new(-out.y, out.x);
        let mut best: Option<(Point2<f64>, f32)> = None;
        for (i, k) in [5.0, 9.0, 13.0, 19.0].into_iter().enumerate() {
            for (j, shift) in [0.0, 9.0, -9.0, 16.0, -16.0, 24.0, -24.0].into_iter().enumerate() {
                let low = at + out * (k * u + size.x / 2.0 * out.x.abs()) + along * (shift * u) - size / 2.0;
                if low.x < 0.0 || low.y < 0.0 || low.x + size.x > frame.0 || low.y + size.y > frame.1 {
                    continue;
                }
                let cost = occupied.cost(low, low + size) + (i + j) as f32;
                if best.is_none_or(|(_, c)| cost < c) {
                    best = Some((low, cost));
                }
            }
        }
        let Some((low, _)) = best else { continue };
        let ty = Type {
            size: 7.6 * u,
            weight: Weight::Regular,
            tie: Tie::Middle,
            fill: Colour::Ink,
            halo: Some((Colour::Ivory, 1.2 * u)),
        };
        canvas.text(Point2::new(low.x + size.x / 2.0, low.y + size.y / 2.0 + 2.6 * u), text, &ty);
        occupied.cover(low, low + size, 40.0);
    }
}

/// The freest box of this size right beside a point.
fn beside(
    occupied: &mut Occupied,
    at: Point2<f64>,
    size: Vector2<f64>,
    frame: (f64, f64),
    u: f64,
) -> Option<Point2<f64>> {
    let gap = 3.6 * u;
    [(1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0)]
        .into_iter()
        .map(|(x, y)| at + Vector2::new(x * (gap + size.x / 2.0), y * (gap + size.y / 2.0)) - size / 2.0)
        .filter(|low| low.x >= 0.0 && low.y >= 0.0 && low.x + size.x <= frame.0 && low.y + size.y <= frame.1)
        .map(|low| (low, occupied.cost(low, low + size)))
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(low, _)| low)
}

fn number(v: f64) -> String {
    let text = format!("{v:.1}");
    text.strip_suffix(".0").map_or_else(|| text.clone(), str::to_owned)
}

/// Lengths that a scale bar may have, mm.
const BARS_MM: [f64; 7] = [500.0, 200.0, 100.0, 50.0, 20.0, 10.0, 5.0];

/// A scale bar: where it starts and runs in the measured plane, and the pixels along it.
struct Bar {
    start: Point2<f64>,
    along: Vector2<f64>,
    mm: f64,
    points: Vec<Point2<f64>>,
}

/// Draws a bar of a round length, lying in the measured plane, into the freest corner. `None` where no corner shows that plane.
pub(super) fn scale_bar(
    canvas: &mut Canvas,
    occupied: &mut Occupied,
    space: &Space<'_>,
    frame: (f64, f64),
    u: f64,
) -> Option<()> {
    let (w, h) = frame;
    let inset = Vector2::new(14.0 * u, 12.0 * u);
    let longest = w * 0.25;
    let mut best: Option<(f32, Bar)> = None;
    for (right, low) in [(false, true), (true, true), (false, false), (true, false)] {
        let x = if right { w - inset.x - longest } else { inset.x };
        let y = if low { h - inset.y } else { inset.y + 10.0 * u };
        let left = Point2::new(x, y);
        let ends = space.place_at(left).zip(space.place_at(left + Vector2::new(longest, 0.0)));
        let Some((a, b)) = ends else { continue };
        let Some(along) = (b - a).try_normalize(1e-9) else { continue };
        let Some(mm) = BARS_MM.into_iter().find(|l| *l <= (b - a).norm()) else { continue };
        // On the right, the bar ends where the room does.
        let a = if right { b - along * mm } else { a };
        let points = space.straight(space.lift(0, a), space.lift(0, a + along * mm));
        let (Some(p), Some(q)) = (points.first(), points.last()) else { continue };
        let margin = Vector2::new(6.0 * u, 12.0 * u);
        let cost = occupied.cost(p.inf(q) - margin, p.sup(q) + Vector2::new(6.0 * u, 5.0 * u));
        if best.as_ref().is_none_or(|(c, ..)| cost < *c) {
            best = Some((cost, Bar { start: a, along, mm, points }));
        }
    }
    let (_, Bar { start: a, along, mm, points }) = best?;
    let thick = 2.6 * u / space.scene.magnification().value;
    let up = Vector2::new(-along.y, along.x);
    let quad = |s: f64, e: f64, r: f64| -> Vec<Point2<f64>> {
        let corner = |s: f64, t: f64| space.pixel(space.lift(0, a + along * s + up * t));
        (0..=8)
            .map(|i| corner(s + (e - s) * f64::from(i) / 8.0, -r))
            .chain((0..=8).map(|i| corner(e + (s - e) * f64::from(i) / 8.0, r)))
            .flatten()
            .collect()
    };
    let rim = 0.9 * u / space.scene.magnification().value;
    canvas.fill(&quad(-2.0 * rim, mm + 2.0 * rim, thick / 2.0 + 2.0 * rim), Colour::Ivory);
    canvas.fill(&quad(-rim, mm + rim, thick / 2.0 + rim), Colour::Ink);
    let step = mm / 5.0;
    for i in [0, 2, 4] {
        canvas.fill(&quad(step * f64::from(i), step * f64::from(i + 1), thick / 2.0), Colour::Ivory);
    }
    let (p, q) = (*points.first()?, *points.last()?);
    let margin = Vector2::new(5.0 * u, 5.0 * u);
    let text = format!("{} mm", number(mm));
    let ty = Type {
        size: 8.4 * u,
        weight: Weight::Bold,
        tie: Tie::Middle,
        fill: Colour::Ink,
        halo: Some((Colour::Ivory, 1.4 * u)),
    };
    let middle = nalgebra::center(&p, &q);
    canvas.text(Point2::new(middle.x, middle.y - 5.2 * u), &text, &ty);
    // No label may stand on the bar.
    occupied.cover(p.inf(&q) - margin - Vector2::new(0.0, 9.0 * u), p.sup(&q) + margin, 40.0);
    Some(())
}
