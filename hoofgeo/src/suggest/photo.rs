//! What is offered for one photo: landmarks from the shape of feet, moved to the edges that they lie on, and lines read from the pixels.

use super::learn::middle;
use super::shape::Shape;
use crate::View;
use crate::landmark::{Landmark, Line};
use crate::measured::MeasureOptions;
use crate::pixels::{Found, Grey, Moved, ReadOptions, Reading, read_photo};
use crate::scene::LensPrior;
use crate::sidecar::{Placement, Sidecar, Snapped, is_sound_line};

/// Less certain than this, standard uncertainty in mm, a landmark is not offered (chosen: at a glance it is told from a right one).
const LANDMARK_MM: f64 = 8.0;
/// Less certain than this an outline is not looked for along its expected course (chosen).
const OUTLINE_MM: f64 = 7.0;

/// An outline that follows edges which are none of it wanders: it is longer, by more than this share, than a polygon of [`CORNERS`] points along
/// it (chosen: a circle is by 0.4 %, a frog with its corners by some 3 %).
const WANDERS: f64 = 0.03;
const FROG_WANDERS: f64 = 0.055;
const CORNERS: usize = 20;

/// A landmark that is offered.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SuggestedLandmark {
    /// Which.
    pub landmark: Landmark,
    /// Where, px.
    pub at: [f64; 2],
    /// Standard uncertainty of the shape's say in its least certain direction, mm in a foot of usual size.
    pub u_mm: f64,
    /// Where the shape has it, if `at` is on the edge of the picture that was found beside that.
    pub snapped: Option<Snapped>,
}

/// A line that is offered.
#[derive(Debug, Clone, PartialEq)]
pub struct SuggestedLine {
    /// Which.
    pub line: Line,
    /// Its points, px.
    pub points: Vec<[f64; 2]>,
    /// How it was found.
    pub found: Found,
}

/// What is offered for a photo.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Suggestions {
    /// Landmarks that are not placed.
    pub landmarks: Vec<SuggestedLandmark>,
    /// Lines that are not drawn, and outlines that follow the edge which the clicks so far run along.
    pub lines: Vec<SuggestedLine>,
}

/// What can be offered for a photo as far as it is marked. Where its scale is not known yet, or no picture is given, that is what the shape
/// says; else the pixels are asked too. What does not show on a photo ([`Landmark::SolePlaneHeel`]) is never offered.
pub fn suggest(picture: Option<&Grey>, sidecar: &Sidecar, lens: &LensPrior, shape: &Shape) -> Suggestions {
    let placed: Vec<_> = sidecar.landmarks.iter().map(|(l, p)| (*l, middle(&p.at))).collect();
    let foot = Some(sidecar.subject.foot);
    let inside = |p: &[f64; 2]| {
        let (w, h) = (f64::from(sidecar.photo.width_px), f64::from(sidecar.photo.height_px));
        p[0] > 0.0 && p[1] > 0.0 && p[0] < w && p[1] < h
    };
    let offered: Vec<_> = shape
        .predict(&placed, foot)
        .into_iter()
        .filter(|p| p.u_mm < LANDMARK_MM && p.landmark != Landmark::SolePlaneHeel && inside(&p.at))
        .collect();
    let mut suggestions = Suggestions {
        landmarks: offered
            .iter()
            .map(|p| SuggestedLandmark { landmark: p.landmark, at: rounded(p.at), u_mm: p.u_mm, snapped: None })
            .collect(),
        lines: Vec::new(),
    };
    let Some(grey) = picture else { return suggestions };
    let mut whole = sidecar.clone();
    for p in &offered {
        whole.landmarks.insert(p.landmark, Placement::once(p.at));
    }
    if sidecar.view == View::Solar {
        for outline in shape.outlines(&placed, foot) {
            // Clicks of a person's own say better where it runs.
            let expected = outline.u_mm < OUTLINE_MM && outline.points.iter().all(inside);
            if expected && whole.lines.get(&outline.line).is_none_or(|p| p.len() <= 3) {
                whole.lines.insert(outline.line, outline.points);
            }
        }
        whole.lines.retain(|_, points| points.len() > 3);
    }
    let options = ReadOptions { replace: false, snap: true, outlines: true };
    if let Ok(reading) = read_photo(grey, &whole, lens, &MeasureOptions::default(), options) {
        suggestions.take(&reading, sidecar);
    }
    suggestions
}

impl Suggestions {
    /// Takes over what the pixels say.
    fn take(&mut self, reading: &Reading, drawn: &Sidecar) {
        for offer in &mut self.landmarks {
            let moved = reading.moved.iter().any(|(l, m)| *l == offer.landmark && matches!(m, Moved::Snapped(_)));
            if let Some(placement) = reading.sidecar.landmarks.get(&offer.landmark).filter(|_| moved) {
                offer.at = rounded(middle(&placement.at));
                offer.snapped = placement.snapped;
            }
        }
        for (line, found) in &reading.found {
            let new = reading.sidecar.lines.get(line).filter(|p| drawn.lines.get(line) != Some(*p));
            if let (true, Some(points)) = (found.is_found(), new) {
                let points: Vec<_> = points.iter().copied().map(rounded).collect();
                // Nobody has clicked along it: it has to look like an outline by itself.
                let clicked = drawn.lines.contains_key(line);
                let closed = line.info().closed;
                if !is_sound_line(&points, closed) || (closed && !clicked && wanders(*line, &points)) {
                    continue;
                }
                self.lines.push(SuggestedLine { line: *line, points, found: found.clone() });
            }
        }
    }
}

/// Whether a closed line turns to and fro as no edge of a foot does.
fn wanders(line: Line, points: &[[f64; 2]]) -> bool {
    let length = |p: &[[f64; 2]]| -> f64 {
        (0..p.len()).map(|i| (p[i][0] - p[(i + 1) % p.len()][0]).hypot(p[i][1] - p[(i + 1) % p.len()][1])).sum()
    };
    let whole = length(points);
    let (mut corners, mut gone) = (Vec::with_capacity(CORNERS), 0.0);
    for i in 0..points.len() {
        let (a, b) = (points[i], points[(i + 1) % points.len()]);
        let step = (a[0] - b[0]).hypot(a[1] - b[1]);
        while corners.len() < CORNERS && corners.len() as f64 * whole / CORNERS as f64 <= gone + step && step > 0.0 {
            let t = (corners.len() as f64 * whole / CORNERS as f64 - gone) / step;
            corners.push([a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t]);
        }
        gone += step;
    }
    let most = if line == Line::FrogOutline { FROG_WANDERS } else { WANDERS };
    whole > (1.0 + most) * length(&corners)
}

/// Nothing finer than a hundredth of a pixel is meant.
fn rounded(at: [f64; 2]) -> [f64; 2] {
    at.map(|v| (v * 100.0).round() / 100.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_outline_that_wanders_is_told_from_a_round_one() {
        let round = |waves: f64| -> Vec<[f64; 2]> {
            (0..120)
                .map(|i| {
                    let t = f64::from(i) * std::f64::consts::TAU / 120.0;
                    let r = 500.0 + waves * (17.0 * t).sin();
                    [1000.0 + r * t.cos(), 900.0 + 1.1 * r * t.sin()]
                })
                .collect()
        };
        assert!(!wanders(Line::OuterWall, &round(0.0)) && !wanders(Line::FrogOutline, &round(4.0)));
        assert!(wanders(Line::WhiteLine, &round(20.0)) && wanders(Line::FrogOutline, &round(30.0)));
    }
}
