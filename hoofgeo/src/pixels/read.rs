//! Fills in what a sidecar lacks and its photo's pixels show. What a person drew is left as it is unless asked otherwise.

use super::outline::read_outlines;
use super::rings::read_rings;
use super::{
    EdgePoint, Grey, Mapping, NoTubules, PlaneMap, RingRow, TracedOutline, TubuleDirection, tubule_direction,
    wall_outline,
};
use crate::error::Result;
use crate::located::CLICK_U_PX;
use crate::measured::locate;
use crate::scene::LensPrior;
use crate::sidecar::Sidecar;
use crate::{Landmark, Line, View};
use nalgebra::Point2;
use std::collections::BTreeMap;

/// How to read a photo.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct ReadOptions {
    /// Replace lines that are drawn already.
    pub replace: bool,
    /// Trace drawn closed outlines: their clicks are replaced by points on the edge that they run along.
    pub outlines: bool,
}

/// What became of one line.
#[derive(Debug, Clone, PartialEq)]
pub enum Found {
    /// It was found in the picture and stands in the new sidecar.
    Tubules(TubuleDirection),
    /// An outline was found; its points stand in the new sidecar.
    Outline(Vec<EdgePoint>),
    /// Growth rings were found; the part without a gap stands in the new sidecar.
    Rings(Box<RingRow>),
    /// A drawn outline was traced; the new sidecar has its points, [`Reading::clicks`] what was drawn.
    Traced(Box<TracedOutline>),
    /// Somebody drew it; it was left alone.
    Kept,
    /// The picture does not show it; says why.
    NotSeen(String),
    /// It cannot be looked for; says what is missing.
    Needs(&'static str),
}

/// What became of a line, and its points, px, where it was found.
pub(super) type LineRead = (Line, Found, Option<Vec<[f64; 2]>>);

/// What was read from a photo.
#[derive(Debug, Clone)]
pub struct Reading {
    /// The sidecar with what was found filled in.
    pub sidecar: Sidecar,
    /// Line by line.
    pub found: Vec<(Line, Found)>,
    /// The clicks of lines whose points were replaced by traced ones, px.
    pub clicks: BTreeMap<Line, Vec<[f64; 2]>>,
}

/// Where tubules are looked for, as shares of the wall from toe (0) to heel (1); between a quarter and three quarters of its
/// height, below the hair and above the mud (chosen).
const REGIONS: [(Line, [f64; 2]); 3] =
    [(Line::TubulesToe, [0.03, 0.15]), (Line::TubulesQuarter, [0.38, 0.58]), (Line::TubulesHeel, [0.87, 0.985])];
const HEIGHTS: [f64; 2] = [0.25, 0.75];

/// Which tubule is meant is not said closer than this, mm (standard uncertainty; chosen). Near the heel the tubules fan by up to
/// 0.7° a millimetre, so it counts.
const PLACE_U_MM: f64 = 2.0;

/// The wall's four corners: coronet and ground at the toe, then at the heel.
const CORNERS: [Landmark; 4] = [Landmark::ToeCoronet, Landmark::ToeGround, Landmark::HeelCoronet, Landmark::HeelGround];

/// Reads the line `dorsal_wall` of a lateral photo, and `tubules_toe`, `tubules_quarter` and `tubules_heel` in regions that follow from the
/// wall's four landmarks.
///
/// A found line has as many points, as far apart, as give it no smaller uncertainty than the picture does, at the
/// uncertainty that points of a drawn line have.
///
/// # Errors
/// As [`crate::measured::measure`]: the photo's scene must be known first.
pub fn read_photo(grey: &Grey, sidecar: &Sidecar, lens: &LensPrior, options: ReadOptions) -> Result<Reading> {
    let (scene, located) = locate(sidecar, lens)?;
    let mut reading = Reading { sidecar: sidecar.clone(), found: Vec::new(), clicks: BTreeMap::new() };
    if sidecar.view == View::Solar && options.outlines {
        for (line, found, points) in read_outlines(grey, sidecar, &scene, &located) {
            reading.take(line, found, points);
        }
    }
    if sidecar.view != View::Lateral {
        reading.note();
        return Ok(reading);
    }
    let corners = CORNERS.map(|l| located.index.landmark(l).map(|i| located.points[i].pixel));
    for (line, shares) in REGIONS {
        let found = if sidecar.lines.contains_key(&line) && !options.replace {
            Found::Kept
        } else if let [Some(a), Some(b), Some(c), Some(d)] = corners {
            let map = PlaneMap::new(&scene, &located, line.info().plane);
            match look([a, b, c, d], shares, grey, &map) {
                Ok(t) => match line_of(&t, line.info().u_mm, &map) {
                    Some(points) => {
                        reading.sidecar.lines.insert(line, points);
                        Found::Tubules(t)
                    }
                    None => Found::NotSeen(NoTubules::TooSmall.to_string()),
                },
                Err(why) => Found::NotSeen(why.to_string()),
            }
        } else {
            Found::Needs("toe_coronet, toe_ground, heel_coronet and heel_ground")
        };
        reading.found.push((line, found));
    }
    let wall = if sidecar.lines.contains_key(&Line::DorsalWall) && !options.replace {
        Found::Kept
    } else if let [Some(coronet), Some(ground), ..] = corners {
        match wall_outline(grey, coronet, ground, scene.magnification().value) {
            Ok(outline) => {
                // As many points as a person would click: more would claim that their errors are independent.
                let points = outline.iter().step_by(3).map(|e| rounded(e.at)).collect();
                reading.sidecar.lines.insert(Line::DorsalWall, points);
                Found::Outline(outline)
            }
            Err(why) => Found::NotSeen(why.to_string()),
        }
    } else {
        Found::Needs("toe_coronet and toe_ground")
    };
    reading.found.push((Line::DorsalWall, wall));
    for (line, found, points) in read_rings(grey, sidecar, &scene, &located, options.replace) {
        reading.take(line, found, points);
    }
    reading.note();
    Ok(reading)
}

impl Reading {
    fn take(&mut self, line: Line, found: Found, points: Option<Vec<[f64; 2]>>) {
        if let Some(points) = points {
            let before = self.sidecar.lines.insert(line, points);
            if let (Some(clicks), Found::Traced(_)) = (before, &found) {
                self.clicks.insert(line, clicks);
            }
        }
        self.found.push((line, found));
    }

    /// Says in the sidecar's notes what was read.
    fn note(&mut self) {
        let of = |is: fn(&Found) -> bool| -> Vec<&str> {
            self.found.iter().filter(|(_, f)| is(f)).map(|(l, _)| l.name()).collect()
        };
        let read = of(|f| matches!(f, Found::Tubules(_) | Found::Outline(_) | Found::Rings(_)));
        let mut notes: Vec<String> = self.sidecar.notes.take().into_iter().collect();
        if !read.is_empty() {
            notes.push(format!("read from the picture: {}", read.join(", ")));
        }
        for (line, found) in &self.found {
            if let Found::Traced(t) = found {
                let n = self.clicks.get(line).map_or(0, Vec::len);
                notes.push(format!(
                    "traced from {n} clicks: {line}, at most {:.1} mm from their polygon",
                    t.farthest_mm
                ));
            }
        }
        self.sidecar.notes = (!notes.is_empty()).then(|| notes.join("; "));
    }
}

fn look(
    [toe_top, toe, heel_top, heel]: [Point2<f64>; 4],
    [front, rear]: [f64; 2],
    grey: &Grey,
    map: &PlaneMap,
) -> Result<TubuleDirection, NoTubules> {
    let at = |s: f64, t: f64| {
        let (top, low) = (toe_top + (heel_top - toe_top) * s, toe + (heel - toe) * s);
        top + (low - top) * t
    };
    let [high, low] = HEIGHTS;
    let region = [at(front, high), at(rear, high), at(rear, low), at(front, low)];
    let middle = (front + rear) / 2.0;
    let (upper, lower) = map.place(at(middle, high)).zip(map.place(at(middle, low))).ok_or(NoTubules::TooSmall)?;
    tubule_direction(grey, map, &region, upper - lower)
}

/// The line as drawn points, px, from above down.
fn line_of(t: &TubuleDirection, u_mm: f64, map: &PlaneMap) -> Option<Vec<[f64; 2]>> {
    let px_per_mm = map.px_per_mm(map.pixel(t.at)?)?;
    let (n, length) = spaced(t.u.hypot(t.fan * PLACE_U_MM), u_mm.hypot(CLICK_U_PX / px_per_mm));
    let end = |k: usize| t.at + t.along * (length * (0.5 - k as f64 / (n - 1) as f64));
    (0..n).map(|k| map.pixel(end(k)).map(rounded)).collect()
}

fn rounded(p: Point2<f64>) -> [f64; 2] {
    [p.x, p.y].map(|v| (v * 1000.0).round() / 1000.0)
}

/// How many points over which length, mm, give a fitted line's direction the standard uncertainty `u`, or the next larger,
/// where each point has `u_point` mm across it.
///
/// For n points evenly over L: u² = 12 (n − 1) u_point² / (n (n + 1) L²).
fn spaced(u: f64, u_point: f64) -> (usize, f64) {
    const LENGTH: f64 = 30.0;
    let implied = |n: usize| u_point / LENGTH * (12.0 * (n - 1) as f64 / (n * (n + 1)) as f64).sqrt();
    // Two points are as uncertain as three; more make it better.
    let n = (3..200).take_while(|n| implied(*n) >= u).last().unwrap_or(2);
    (n, if n == 2 { LENGTH * (implied(2) / u).min(1.0) } else { LENGTH })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn points_never_claim_more_than_the_picture() {
        for (u_deg, u_point) in [(0.4, 0.75), (1.0, 0.75), (2.4, 0.75), (1.0, 0.2), (0.5, 3.0)] {
            let u = f64::to_radians(u_deg);
            let (n, length) = spaced(u, u_point);
            // The direction's uncertainty by its definition: u_point over the root of the squared distances from the middle.
            let square: f64 = (0..n).map(|k| (length * (0.5 - k as f64 / (n - 1) as f64)).powi(2)).sum();
            let implied = u_point / square.sqrt();
            assert!(implied > 0.999 * u, "{u_deg}: {implied} {u}");
            assert!(n == 2 || n > 190 || implied < 1.25 * u, "{u_deg}: {n} points, {implied} {u}");
        }
    }
}
