//! The drawn outlines of a sidecar, traced.

use super::{OutlineEdge, trace_outline};
use crate::pixels::Found;
use crate::pixels::read::{LineRead, Photo, rounded};
use crate::{Landmark, Line};
use nalgebra::Point2;

/// A heel landmark and the click of the outline that stands for it lie this near, mm: the white line ends beside the buttress.
const HEEL_MM: f64 = 18.0;

/// What became of the drawn closed lines, and their new points where they were traced.
pub(in crate::pixels) fn read_outlines(photo: &Photo<'_>) -> Vec<LineRead> {
    let closed = Line::of(photo.sidecar.view).filter(|l| l.info().closed);
    closed
        .map(|line| {
            let Some(drawn) = photo.sidecar.lines.get(&line) else {
                return (line, Found::Needs("a few clicks along it, four at least"), None);
            };
            let clicks: Vec<Point2<f64>> = drawn.iter().map(|p| Point2::from(*p)).collect();
            let scale = photo.scene.magnification().value;
            let heels = [Landmark::HeelMedial, Landmark::HeelLateral].map(|l| photo.pixel(l));
            let across = match heels {
                [Some(a), Some(b)] if line != Line::FrogOutline => between(&clicks, [a, b], HEEL_MM * scale),
                _ => Vec::new(),
            };
            match trace_outline(photo.grey, &photo.map(line.info().plane), &clicks, &across, edge_of(line)) {
                Ok(found) => {
                    let points = found.points.iter().map(|p| rounded(*p)).collect();
                    (line, Found::Traced(Box::new(found)), Some(points))
                }
                Err(why) => (line, Found::NotSeen(why.to_string()), None),
            }
        })
        .collect()
}

/// The wall ends where what lies behind begins; the frog's horn at the grooves beside it.
fn edge_of(line: Line) -> OutlineEdge {
    match line {
        Line::OuterWall => OutlineEdge::Silhouette,
        Line::FrogOutline => OutlineEdge::Groove,
        _ => OutlineEdge::Plain,
    }
}

/// The sides of a closed polygon between the clicks nearest to two places, the shorter way round.
fn between(clicks: &[Point2<f64>], ends: [Point2<f64>; 2], near: f64) -> Vec<usize> {
    let n = clicks.len();
    let nearest = |p: Point2<f64>| {
        let off = |k: &usize| (clicks[*k] - p).norm();
        (0..n).min_by(|a, b| off(a).total_cmp(&off(b))).filter(|k| off(k) < near)
    };
    let [Some(a), Some(b)] = ends.map(nearest) else { return Vec::new() };
    let way = |from: usize, to: usize| -> Vec<usize> { (0..(to + n - from) % n).map(|k| (from + k) % n).collect() };
    let length = |sides: &[usize]| -> f64 { sides.iter().map(|k| (clicks[(k + 1) % n] - clicks[*k]).norm()).sum() };
    let (there, back) = (way(a, b), way(b, a));
    if length(&there) <= length(&back) { there } else { back }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shorter_way_between_the_heels_is_across() {
        let clicks = [(0.0, 0.0), (0.0, 100.0), (50.0, 130.0), (100.0, 100.0), (100.0, 0.0), (50.0, 5.0)];
        let clicks = clicks.map(|(x, y)| Point2::new(x, y));
        let heels = [Point2::new(3.0, -4.0), Point2::new(98.0, 2.0)];
        assert_eq!(between(&clicks, heels, 10.0), [4, 5]);
        assert_eq!(between(&clicks, heels, 2.0), [0; 0], "none is near enough");
    }
}
