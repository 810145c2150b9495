//! Fills in what a sidecar lacks and its photo's pixels show. What a person drew is left as it is unless asked otherwise.

use super::outline::read_outlines;
use super::rings::read_rings;
use super::{
    EdgePoint, Grey, GroundLine, Mapping, NoGround, NoSnap, NoTubules, PlaneMap, RingRow, SLANT_DEG, Snap,
    TracedOutline, TubuleDirection, WallFit, ground_line, snap, tubule_direction, wall_fit, wall_outline,
};
use crate::error::Result;
use crate::located::{CLICK_U_PX, Located};
use crate::measured::{MeasureOptions, locate};
use crate::scene::{LensPrior, Scene};
use crate::sidecar::{Placement, Sidecar, Snapped};
use crate::{Landmark, Line, PlaneName, View};
use nalgebra::{Point2, Vector2};
use std::cell::OnceCell;
use std::collections::BTreeMap;
use std::fmt;

/// How to read a photo.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct ReadOptions {
    /// Replace lines that are drawn already. A drawn line of tubules then says where: they are looked for in a band about it.
    pub replace: bool,
    /// Move landmarks that lie on an edge of the picture to that edge.
    pub snap: bool,
    /// Trace drawn closed outlines: their clicks are replaced by points on the edge that they run along.
    pub outlines: bool,
}

/// The dorsal wall found in the picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Outline {
    /// Its outline from above down.
    pub points: Vec<EdgePoint>,
    /// The wall's line, bow and flare.
    pub fit: WallFit,
}

/// What became of one line.
#[derive(Debug, Clone, PartialEq)]
pub enum Found {
    /// It was found in the picture and stands in the new sidecar. Its uncertainty holds what the wall's lean out of its plane may turn it
    /// by, as the camera sees it.
    Tubules(TubuleDirection),
    /// An outline was found; points of it stand in the new sidecar.
    Outline(Box<Outline>),
    /// The ground line was found; points of it stand in the new sidecar.
    Ground(Box<GroundLine>),
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

impl fmt::Display for Found {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let deg = |rad: f64| 2.0 * rad.to_degrees();
        match self {
            Self::Tubules(t) => write!(f, "found, its direction ± {:.1}°, in {} cells", deg(t.u), t.cells),
            Self::Outline(o) => write!(
                f,
                "found at {} places along it: direction ± {:.1}°, flare {:.1}° ± {:.1}°",
                o.points.len(),
                deg(o.fit.line.u_direction),
                o.fit.flare.to_degrees(),
                deg(o.fit.u_flare)
            ),
            Self::Ground(g) => {
                write!(f, "found at {} places along it: direction ± {:.1}°", g.points.len(), deg(g.fit.u_direction))
            }
            Self::Rings(row) => write!(f, "{row}"),
            Self::Traced(outline) => write!(f, "{outline}"),
            Self::Kept => f.write_str("kept as it was drawn"),
            Self::NotSeen(why) => write!(f, "not found: {why}"),
            Self::Needs(what) => write!(f, "not looked for: place {what}"),
        }
    }
}

/// What became of one landmark that lies on an edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Moved {
    /// It was moved to its edge; both places stand in the new sidecar.
    Snapped(Snap),
    /// It was left where it was clicked.
    Left(NoSnap),
    /// It was placed several times, to learn how far clicks scatter: nothing is moved.
    Repeated,
    /// It was moved to its edge before and was left there.
    Kept,
    /// The landmarks that say where its edge runs are not placed.
    Needs(Landmark),
}

impl fmt::Display for Moved {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Snapped(s) => {
                write!(f, "moved by {:.2} mm to its edge, ± {:.2} px across it", s.moved_mm, 2.0 * s.u_px)
            }
            Self::Left(why) => write!(f, "left where it was: {why}"),
            Self::Repeated => f.write_str("left where it was: it was placed several times"),
            Self::Kept => f.write_str("kept at the edge it was moved to before"),
            Self::Needs(landmark) => {
                write!(f, "left where it was: {landmark} says where its edge runs, and is not placed")
            }
        }
    }
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
    /// Landmark by landmark, those that lie on an edge, where that was asked for.
    pub moved: Vec<(Landmark, Moved)>,
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
pub(super) const CORNERS: [Landmark; 4] =
    [Landmark::ToeCoronet, Landmark::ToeGround, Landmark::HeelCoronet, Landmark::HeelGround];
pub(super) const CORNERS_NEEDED: &str = "toe_coronet, toe_ground, heel_coronet and heel_ground";

/// How far the wall may lean out of the plane that its tubules are taken to, rad (standard uncertainty): at the quarter it leans in by 10 to
/// 15° towards the coronet, at toe and heel by less (estimate, no source). It counts where the camera does not look square on.
const LEAN_U: f64 = 8.0 * std::f64::consts::PI / 180.0;

/// A drawn line of tubules stands for a band of this width to either side, mm: enough strips of cells across the tubules.
const BAND_MM: f64 = 8.0;

/// Reads the lines `dorsal_wall` and `ground` of a lateral photo, and `tubules_toe`, `tubules_quarter` and `tubules_heel` in regions that
/// follow from the wall's four landmarks or lie about the lines drawn (8 mm to either side); moves landmarks to their edges.
///
/// A found line has as many points, as far apart, as give it no smaller uncertainty than the picture does, at the
/// uncertainty that points of a drawn line have.
///
/// # Errors
/// As [`crate::measured::measure`]: the photo's scene must be known first.
pub fn read_photo(
    grey: &Grey,
    sidecar: &Sidecar,
    lens: &LensPrior,
    how: &MeasureOptions,
    options: ReadOptions,
) -> Result<Reading> {
    let (scene, located) = locate(sidecar, lens, how)?;
    let photo = Photo { grey, sidecar, scene: &scene, located: &located, options, ground: OnceCell::new() };
    let lines: Vec<LineRead> = match sidecar.view {
        View::Lateral => REGIONS
            .into_iter()
            .map(|(line, shares)| photo.tubules(line, shares))
            .chain([photo.wall(), photo.ground()])
            .chain(read_rings(&photo))
            .collect(),
        View::Solar if options.outlines => read_outlines(&photo),
        View::Solar => Vec::new(),
    };
    let mut reading =
        Reading { sidecar: sidecar.clone(), found: Vec::new(), moved: Vec::new(), clicks: BTreeMap::new() };
    for (line, found, points) in lines {
        reading.add(line, found, points);
    }
    if options.snap {
        for (landmark, placement) in &mut reading.sidecar.landmarks {
            if let Some(moved) = photo.moved(*landmark, placement) {
                reading.moved.push((*landmark, moved));
            }
        }
    }
    reading.note();
    Ok(reading)
}

impl Reading {
    fn add(&mut self, line: Line, found: Found, points: Option<Vec<[f64; 2]>>) {
        if let Some(points) = points {
            let before = self.sidecar.lines.insert(line, points);
            if let (Some(clicks), Found::Traced(_)) = (before, &found) {
                self.clicks.insert(line, clicks);
            }
        }
        self.found.push((line, found));
    }

    /// Says in the new sidecar's notes what comes from the picture.
    fn note(&mut self) {
        let read = |f: &Found| f.is_found() && !matches!(f, Found::Traced(_));
        let lines = self.found.iter().filter(|(_, f)| read(f)).map(|(l, _)| l.name());
        let moved = self.moved.iter().filter(|(_, m)| matches!(m, Moved::Snapped(_))).map(|(l, _)| l.name());
        let mut notes: Vec<String> = self.sidecar.notes.take().into_iter().collect();
        for (what, names) in [("read from the picture", lines.collect::<Vec<_>>()), ("moved to edges", moved.collect())]
        {
            if !names.is_empty() {
                notes.push(format!("{what}: {}", names.join(", ")));
            }
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

impl Found {
    /// Whether it was found in the picture.
    pub const fn is_found(&self) -> bool {
        matches!(self, Self::Tubules(_) | Self::Outline(_) | Self::Ground(_) | Self::Rings(_) | Self::Traced(_))
    }
}

/// A photo while it is read.
pub(super) struct Photo<'a> {
    pub(super) grey: &'a Grey,
    pub(super) sidecar: &'a Sidecar,
    pub(super) scene: &'a Scene,
    located: &'a Located,
    options: ReadOptions,
    /// The line itself and the landmarks on it ask for it.
    ground: OnceCell<Option<GroundSeen>>,
}

impl Photo<'_> {
    pub(super) fn pixel(&self, landmark: Landmark) -> Option<Point2<f64>> {
        self.located.index.landmark(landmark).map(|i| self.located.points[i].pixel)
    }

    fn place(&self, landmark: Landmark) -> Option<Point2<f64>> {
        self.located.index.landmark(landmark).map(|i| self.located.places[i])
    }

    pub(super) fn map(&self, plane: PlaneName) -> PlaneMap {
        PlaneMap::new(self.scene, self.located, plane)
    }

    /// How far the camera is tilted, degrees, where that is so far that outlines are those of other parts of the foot.
    pub(super) fn slant(&self) -> Option<f64> {
        let [x, y] = self.scene.tilts_deg().map(|tilt| tilt.value);
        Some(x.hypot(y)).filter(|slant| *slant > SLANT_DEG)
    }

    pub(super) fn is_kept(&self, line: Line) -> bool {
        self.sidecar.lines.contains_key(&line) && !self.options.replace
    }

    fn tubules(&self, line: Line, shares: [f64; 2]) -> LineRead {
        if self.is_kept(line) {
            return (line, Found::Kept, None);
        }
        let map = self.map(line.info().plane);
        let region = match (self.sidecar.lines.get(&line), CORNERS.map(|l| self.pixel(l))) {
            (Some(drawn), _) => band(drawn, &map),
            (None, [Some(a), Some(b), Some(c), Some(d)]) => between([a, b, c, d], shares, &map),
            _ => return (line, Found::Needs(CORNERS_NEEDED), None),
        };
        let found = region.ok_or(NoTubules::TooSmall).and_then(|(region, expected)| {
            let mut found = tubule_direction(self.grey, &map, &region, expected)?;
            found.u = found.u.hypot(map.turned_by_lean(found.at, found.along, LEAN_U).ok_or(NoTubules::TooSmall)?);
            Ok((found, line_of(&found, line.info().u_mm, &map).ok_or(NoTubules::TooSmall)?))
        });
        match found {
            Ok((t, points)) => (line, Found::Tubules(t), Some(points)),
            Err(why) => (line, Found::NotSeen(why.to_string()), None),
        }
    }

    fn wall(&self) -> LineRead {
        let line = Line::DorsalWall;
        if self.is_kept(line) {
            return (line, Found::Kept, None);
        }
        let [Some(coronet), Some(ground), ..] = CORNERS.map(|l| self.pixel(l)) else {
            return (line, Found::Needs("toe_coronet and toe_ground"), None);
        };
        let outline = match wall_outline(self.grey, coronet, ground, self.scene.magnification().value) {
            Ok(outline) => outline,
            Err(why) => return (line, Found::NotSeen(why.to_string()), None),
        };
        let map = self.map(line.info().plane);
        let Some(fit) = self.forwards().and_then(|f| wall_fit(&outline, &map, f)) else {
            return (line, Found::NotSeen("the wall's outline shows too few points that agree".to_owned()), None);
        };
        let points: Vec<EdgePoint> =
            outline.iter().zip(&fit.line.used).filter(|(_, used)| **used).map(|(e, _)| *e).collect();
        let wanted = self.honest(&fit.line, line, points.len());
        let kept = (0..wanted).map(|i| points[i * (points.len() - 1) / (wanted - 1).max(1)].at).map(rounded).collect();
        (line, Found::Outline(Box::new(Outline { points, fit })), Some(kept))
    }

    fn ground(&self) -> LineRead {
        let line = Line::Ground;
        if self.is_kept(line) {
            return (line, Found::Kept, None);
        }
        let Some(GroundSeen { map, found }) = self.ground_line() else {
            return (line, Found::Needs("ground_front and ground_back, or toe_ground and heel_ground"), None);
        };
        match found.clone() {
            Ok(found) => {
                let n = self.honest(&found.fit, line, found.points.len());
                let step = |k: usize| found.fit.half * (2.0 * k as f64 / (n - 1).max(1) as f64 - 1.0);
                let at = |k: usize| map.pixel(found.fit.middle + found.fit.along * step(k)).map(rounded);
                match (0..n).map(at).collect() {
                    Some(points) => (line, Found::Ground(Box::new(found)), Some(points)),
                    None => (line, Found::NotSeen("the ground line leaves the photo".to_owned()), None),
                }
            }
            Err(why) => (line, Found::NotSeen(why.to_string()), None),
        }
    }

    /// What is seen of the ground line; `None` where no two landmarks say where to look.
    fn ground_line(&self) -> Option<&GroundSeen> {
        self.ground.get_or_init(|| self.look_for_ground()).as_ref()
    }

    fn look_for_ground(&self) -> Option<GroundSeen> {
        let pairs = [[Landmark::GroundFront, Landmark::GroundBack], [Landmark::ToeGround, Landmark::HeelGround]];
        let placed = |pair: &[Landmark; 2]| Some((*pair, [self.pixel(pair[0])?, self.pixel(pair[1])?]));
        let (pair, ends) = pairs.iter().find_map(placed)?;
        let map = self.map(Line::Ground.info().plane);
        let click = CLICK_U_PX / self.scene.magnification().value;
        let u_mm = pair.map(|l| l.info().spread.across(crate::landmark::Axis::Ground, false).hypot(click));
        Some(GroundSeen { map, found: ground_line(self.grey, &map, ends, u_mm) })
    }

    /// Where the toe points, in the plane.
    fn forwards(&self) -> Option<Vector2<f64>> {
        let pairs = [(Landmark::HeelGround, Landmark::ToeGround), (Landmark::GroundBack, Landmark::GroundFront)];
        let ends = pairs.into_iter().find_map(|(from, to)| self.place(from).zip(self.place(to)));
        // A wall leans backwards, so its foot lies ahead of the coronet.
        ends.or_else(|| self.place(Landmark::ToeCoronet).zip(self.place(Landmark::ToeGround))).map(|(a, b)| b - a)
    }

    /// How many points of a fitted line say no more than the fit knows, at the uncertainty that points of a drawn line have.
    fn honest(&self, fit: &super::EdgeFit, line: Line, most: usize) -> usize {
        let u_point = line.info().u_mm.hypot(CLICK_U_PX / self.scene.magnification().value);
        let says_less = |n: &usize| {
            implied(*n, 2.0 * fit.half, u_point) >= fit.u_direction && u_point / (*n as f64).sqrt() >= fit.u_across
        };
        (3..=most.max(3)).take_while(says_less).last().unwrap_or(3)
    }

    fn moved(&self, landmark: Landmark, placement: &mut Placement) -> Option<Moved> {
        let contour = landmark.info().contour?;
        let [at] = placement.at.as_slice() else { return Some(Moved::Repeated) };
        // Again from where it was clicked: an edge never pulls a landmark along step by step.
        let from = match placement.snapped {
            Some(_) if !self.options.replace => return Some(Moved::Kept),
            Some(s) => s.from,
            None => *at,
        };
        let (start, end) = contour.axis.ends();
        let ends = (self.place(start), self.place(end));
        let (Some(a), Some(b)) = ends else {
            return Some(Moved::Needs(if ends.0.is_none() { start } else { end }));
        };
        let map = self.map(landmark.info().plane);
        if let Some(slant) = self.slant() {
            (placement.at, placement.snapped) = (vec![from], None);
            return Some(Moved::Left(NoSnap::Slanting(slant)));
        }
        // A few millimetres of a block's near edge look like the ground: the line from end to end tells them apart.
        let ground = || self.ground_line().and_then(|g| g.found.as_ref().ok());
        let is_ground = |s: &Snap| contour.line != Line::Ground || ground().is_some_and(|g| g.passes(s.at, &map));
        let seen = snap(self.grey, &map, landmark, &contour, from.into(), (b - a).normalize());
        match seen.and_then(|s| if is_ground(&s) { Ok(s) } else { Err(NoSnap::NoGround) }) {
            Ok(snap) => {
                placement.at = vec![rounded(snap.at)];
                let edge = rounded(snap.edge.into());
                placement.snapped = Some(Snapped { from, edge, u_px: (snap.u_px * 1000.0).ceil() / 1000.0 });
                Some(Moved::Snapped(snap))
            }
            Err(why) => {
                (placement.at, placement.snapped) = (vec![from], None);
                Some(Moved::Left(why))
            }
        }
    }
}

/// The ground line, or why there is none, and the way to its plane.
struct GroundSeen {
    map: PlaneMap,
    found: Result<GroundLine, NoGround>,
}

/// A region of a photo, and the direction expected in it, in the plane, from the ground up.
type Region = (Vec<Point2<f64>>, Vector2<f64>);

/// The band about a drawn line.
fn band(drawn: &[[f64; 2]], map: &PlaneMap) -> Option<Region> {
    let places: Vec<Point2<f64>> = drawn.iter().map(|p| map.place(Point2::from(*p))).collect::<Option<_>>()?;
    let [first, .., last] = places.as_slice() else { return None };
    let up = (first - last).try_normalize(1e-9)?;
    let aside = Vector2::new(-up.y, up.x) * BAND_MM;
    let sides = places.iter().map(|p| p + aside).chain(places.iter().rev().map(|p| p - aside));
    Some((sides.map(|p| map.pixel(p)).collect::<Option<_>>()?, up))
}

/// The part of a wall between shares of its way from toe to heel.
fn between(
    [toe_top, toe, heel_top, heel]: [Point2<f64>; 4],
    [front, rear]: [f64; 2],
    map: &PlaneMap,
) -> Option<Region> {
    let at = |s: f64, t: f64| {
        let (top, low) = (toe_top + (heel_top - toe_top) * s, toe + (heel - toe) * s);
        top + (low - top) * t
    };
    let [high, low] = HEIGHTS;
    let middle = (front + rear) / 2.0;
    let (upper, lower) = map.place(at(middle, high)).zip(map.place(at(middle, low)))?;
    Some((vec![at(front, high), at(rear, high), at(rear, low), at(front, low)], upper - lower))
}

/// The line as drawn points, px, from above down.
fn line_of(t: &TubuleDirection, u_mm: f64, map: &PlaneMap) -> Option<Vec<[f64; 2]>> {
    let px_per_mm = map.px_per_mm(map.pixel(t.at)?)?;
    let (n, length) = spaced(t.u.hypot(t.fan * PLACE_U_MM), u_mm.hypot(CLICK_U_PX / px_per_mm));
    let end = |k: usize| t.at + t.along * (length * (0.5 - k as f64 / (n - 1) as f64));
    (0..n).map(|k| map.pixel(end(k)).map(rounded)).collect()
}

/// A pixel as sidecars have it.
pub(super) fn rounded(p: Point2<f64>) -> [f64; 2] {
    [p.x, p.y].map(|v| (v * 1000.0).round() / 1000.0)
}

/// The standard uncertainty of a fitted line's direction, rad, from n points evenly over a length, each `u_point` across it.
fn implied(n: usize, length: f64, u_point: f64) -> f64 {
    u_point / length * (12.0 * (n - 1) as f64 / (n * (n + 1)) as f64).sqrt()
}

/// How many points over which length, mm, give a fitted line's direction the standard uncertainty `u`, or the next larger,
/// where each point has `u_point` mm across it.
///
/// For n points evenly over L: u² = 12 (n − 1) u_point² / (n (n + 1) L²).
fn spaced(u: f64, u_point: f64) -> (usize, f64) {
    const LENGTH: f64 = 30.0;
    let implied = |n: usize| implied(n, LENGTH, u_point);
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
