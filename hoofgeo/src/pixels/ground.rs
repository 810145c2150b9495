//! The ground line under a foot: the edge of the block it stands on, or the line on which it bears.

use super::fit::{EdgeFit, Seen, straightest};
use super::gradient::noise;
use super::snap::separates;
use super::{EdgeOptions, EdgePoint, Grey, Mapping, edges_along};
use nalgebra::{Point2, Vector2};
use std::fmt;

/// Stations between the two landmarks, and how near to them.
const STATIONS: usize = 61;
const SHARES: [f64; 2] = [0.02, 0.98];
/// How near to one straight line the edge's places must lie, mm.
const NEAR_MM: f64 = 0.3;
/// Edges further apart than this compete, mm.
const APART_MM: f64 = 0.7;
/// Least support, and the most that a rival may have of it (chosen on rendered feet).
const SUPPORT: f64 = 0.55;
const RIVAL: f64 = 0.7;
/// How far the line's end may lie from the landmark there, in standard uncertainties of that.
const FAR_U: f64 = 2.5;
/// The furthest it is looked for, mm.
const REACH_MM: f64 = 4.5;
/// Whole thirds of an edge may be off by this on their own, mm: earth, straw, a worn block (chosen on rendered feet).
const SYSTEMATIC_MM: f64 = 0.1;
/// The ground is straight: bows above this are a foot's outline, mm at the middle.
const BOW_MM: f64 = 0.5;

/// A landmark on the ground lies this near to its line, mm: earth and worn blocks.
const ON_LINE_MM: f64 = 0.5;

/// A ground line found in the picture.
#[derive(Debug, Clone, PartialEq)]
pub struct GroundLine {
    /// Its edge points from front to back, px.
    pub points: Vec<EdgePoint>,
    /// The straight line through them in the plane, mm.
    pub fit: EdgeFit,
    /// How far it lies from the landmarks it was looked for between, mm.
    pub off_mm: [f64; 2],
}

impl GroundLine {
    /// Whether the line through its outermost edges, prolonged, passes a place of the photo (px): there it is nearer to what is seen than
    /// the fit of the whole.
    pub(super) fn passes(&self, at: Point2<f64>, map: &dyn Mapping) -> bool {
        let [Some(first), Some(last)] = [self.points.first(), self.points.last()] else { return false };
        let (d, scale) = (last.at - first.at, map.px_per_mm(at));
        scale.is_some_and(|s| (d.perp(&(at - first.at)) / d.norm()).abs() < ON_LINE_MM * s)
    }
}

/// Why no ground line was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NoGround {
    /// No straight edge runs there.
    NoEdge,
    /// Two do, so many mm apart.
    TwoEdges(f64),
    /// One does, but so many mm off a landmark: the near edge of a block that is seen from above.
    TooFar(f64),
    /// What runs there is bowed.
    Bowed,
}

impl fmt::Display for NoGround {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoEdge => {
                f.write_str("no straight edge runs between its landmarks: stand the foot on a block with a clean edge")
            }
            Self::TwoEdges(mm) => {
                write!(f, "two edges compete, {mm:.1} mm apart: lower the camera to the height of the ground")
            }
            Self::TooFar(mm) => write!(
                f,
                "the edge seen lies {mm:.1} mm off the landmarks, as a block's near edge does from above: lower the camera"
            ),
            Self::Bowed => f.write_str("what runs there is bowed: the foot's own edge, seen from above"),
        }
    }
}

/// The ground line between two landmarks, px; `u_mm` is how far each of them may lie off it, mm (standard uncertainty).
///
/// # Errors
/// [`NoGround`] where no one straight edge passes both: a wrong ground turns every angle.
pub fn ground_line(
    grey: &Grey,
    map: &dyn Mapping,
    [front, back]: [Point2<f64>; 2],
    u_mm: [f64; 2],
) -> Result<GroundLine, NoGround> {
    let along = back - front;
    let normal = Vector2::new(-along.y, along.x).try_normalize(1e-9).ok_or(NoGround::NoEdge)?;
    let px_per_mm = map.px_per_mm(nalgebra::center(&front, &back)).ok_or(NoGround::NoEdge)?;
    let (a, b) = map.place(front).zip(map.place(back)).ok_or(NoGround::NoEdge)?;
    let chord = (b - a).try_normalize(1e-9).ok_or(NoGround::NoEdge)?;
    let across = Vector2::new(-chord.y, chord.x);
    let limits = u_mm.map(|u| (FAR_U * u).min(REACH_MM));
    // A rival just beyond counts too.
    let reach = limits[0].max(limits[1]) + 1.0;
    let margin = Vector2::repeat(reach * px_per_mm);
    let options = EdgeOptions {
        reach: reach * px_per_mm,
        sigma: (0.12 * px_per_mm).max(1.2),
        band: 0.4 * px_per_mm,
        noise: noise(grey, front.inf(&back) - margin, front.sup(&back) + margin),
    };
    let mut stations: Vec<Vec<(EdgePoint, Seen)>> = Vec::with_capacity(STATIONS);
    for i in 0..STATIONS {
        let t = SHARES[0] + (SHARES[1] - SHARES[0]) * i as f64 / (STATIONS - 1) as f64;
        let edges = edges_along(grey, front + along * t, normal, &options);
        let placed = edges.into_iter().filter_map(|e| {
            let d = map.place(e.at)? - a;
            Some((e, Seen { s: d.dot(&chord), o: d.dot(&across), strength: e.slope }))
        });
        stations.push(placed.collect());
    }
    let seen: Vec<Vec<Seen>> = stations.iter().map(|s| s.iter().map(|e| e.1).collect()).collect();
    let found = straightest(&seen, NEAR_MM, APART_MM).filter(|f| f.support >= SUPPORT).ok_or(NoGround::NoEdge)?;
    if found.rival > RIVAL * found.support {
        return Err(NoGround::TwoEdges(found.rival_off));
    }
    let edge: Vec<(EdgePoint, Seen)> =
        stations.iter().zip(&found.members).filter_map(|(s, m)| Some(s[(*m)?])).collect();
    let seen: Vec<&EdgePoint> = edge.iter().map(|(e, _)| e).collect();
    if !separates(grey, &seen, along.normalize(), px_per_mm) {
        return Err(NoGround::NoEdge);
    }
    let places: Vec<Point2<f64>> = edge.iter().map(|(_, s)| a + chord * s.s + across * s.o).collect();
    let bowed = EdgeFit::new(&places, 2, SYSTEMATIC_MM).ok_or(NoGround::NoEdge)?;
    if (bowed.curvature * bowed.half * bowed.half / 2.0).abs() > BOW_MM {
        return Err(NoGround::Bowed);
    }
    let fit = EdgeFit::new(&places, 1, SYSTEMATIC_MM).ok_or(NoGround::NoEdge)?;
    let off_mm = [a, b].map(|p| (fit.beside(p).0 - p).norm());
    if let Some(off) = off_mm.iter().zip(limits).filter(|(off, limit)| **off > *limit).map(|(off, _)| *off).next() {
        return Err(NoGround::TooFar(off));
    }
    let points = edge.iter().zip(&fit.used).filter(|(_, used)| **used).map(|((e, _), _)| *e).collect();
    Ok(GroundLine { points, fit, off_mm })
}
