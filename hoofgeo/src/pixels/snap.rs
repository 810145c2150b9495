//! Single landmarks moved to the edge they lie on.
//!
//! What a landmark's edge is stands in the one table of landmarks ([`crate::landmark::Contour`]). Around the click, stations along the edge
//! look for steps of brightness; one straight edge of one polarity must stand out from all others, run about where the edge should, and pass
//! the click within a small radius. Then the landmark goes square to it onto that edge, and not at all along it. Where nothing stands out, or
//! two edges compete, it stays where it was.

use super::fit::{EdgeFit, Seen, straightest};
use super::gradient::noise;
use super::{EdgeOptions, EdgePoint, Grey, Mapping, edges_along};
use crate::Landmark;
use crate::landmark::Contour;
use nalgebra::{Point2, Vector2};
use std::fmt;

/// No landmark is moved further than this, mm; nor further than [`FAR_PX`], nor than [`FAR_U`] times its own spread across the edge.
pub const FAR_MM: f64 = 2.5;
/// No landmark is moved further than this, px.
pub const FAR_PX: f64 = 40.0;
/// A click lies within so many standard uncertainties of its edge (98.8 % of clicks).
pub const FAR_U: f64 = 2.5;

/// Where the camera is tilted by more than this against the plane, outlines are those of other parts of the foot, degrees (on rendered
/// feet at 13° a toe was moved by 2 mm to the wrong edge, at 5° and less none).
pub const SLANT_DEG: f64 = 7.0;

/// Distance of stations along the edge, mm.
const STATION_MM: f64 = 0.25;
/// Edges further apart than this compete, mm.
const APART_MM: f64 = 0.35;
/// How near to one straight line the edge's places must lie, mm.
const NEAR_MM: f64 = 0.15;
/// Least support of an edge, and most of its rival as a share of that (chosen on rendered feet).
const SUPPORT: f64 = 0.6;
const RIVAL: f64 = 0.6;
/// How far the edge may run off the direction expected: a wall flares, a toe is not square to the frog.
const TURN_DEG: f64 = 25.0;
/// Steps of brightness below this are no candidates, grey levels over the filter's width (chosen).
const LEAST_STEP: f64 = 5.0;
/// An edge separates two surfaces: what lies 0.6 to 1.2 mm to either side differs by so many grey levels, and by this share of the step at
/// the edge itself. A dark line, a crack or the grain of wood does not (chosen on rendered feet).
const BETWEEN: f64 = 10.0;
const BETWEEN_SHARE: f64 = 0.5;
const NEARBY_MM: [f64; 2] = [0.15, 0.4];
const BEYOND_MM: [f64; 2] = [0.6, 1.2];
/// What the scatter along so short an edge does not show: the sampling by pixels, light that falls off (chosen on rendered feet).
const SYSTEMATIC_PX: f64 = 0.15;

/// A landmark moved to its edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Snap {
    /// Where it was clicked, px.
    pub from: Point2<f64>,
    /// Where the edge is, px.
    pub at: Point2<f64>,
    /// The edge's direction in the photo, of length 1.
    pub edge: Vector2<f64>,
    /// Standard uncertainty of the place across the edge, px.
    pub u_px: f64,
    /// How far it was moved, mm.
    pub moved_mm: f64,
    /// How much of the strength behind this edge the next one has, 0 to 1.
    pub rival: f64,
}

/// Why a landmark was left where it was.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NoSnap {
    /// No edge stands out within the radius, mm.
    NoEdge(f64),
    /// A line or a shadow, with the same on both sides.
    NoSurfaces,
    /// Two edges do, so many mm apart.
    TwoEdges(f64),
    /// The edge runs so many degrees off the direction it should have.
    OtherDirection(f64),
    /// The edge passes further off than clicks do, mm.
    TooFar(f64),
    /// It lies too near to the photo's border, or off its plane.
    OffPhoto,
    /// The camera looks at its plane at a slant, by so many degrees.
    Slanting(f64),
    /// It is one of the ground, and no ground line is seen from end to end, or it does not pass here.
    NoGround,
}

impl fmt::Display for NoSnap {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoEdge(mm) => write!(f, "no clear edge within {mm:.1} mm"),
            Self::NoSurfaces => f.write_str("what is there is a line, not the edge between two surfaces"),
            Self::TwoEdges(mm) => write!(f, "two edges compete, {mm:.1} mm apart"),
            Self::OtherDirection(deg) => write!(f, "the edge there runs {deg:.0}° off its direction"),
            Self::TooFar(mm) => write!(f, "the nearest edge is {mm:.1} mm off, further than a click"),
            Self::Slanting(deg) => {
                write!(f, "the camera is tilted by {deg:.0}°: what is seen as the edge is another part of the foot")
            }
            Self::NoGround => f.write_str(
                "no ground line runs here from end to end: a block's near edge, seen from above, looks like it on a short way",
            ),
            Self::OffPhoto => f.write_str("it lies too near to the photo's border"),
        }
    }
}

/// How far a landmark may be moved at most, mm, where a mm has so many pixels.
pub fn radius_mm(landmark: Landmark, contour: &Contour, px_per_mm: f64) -> f64 {
    let across = landmark.info().spread.across(contour.axis, contour.square);
    let click = crate::located::CLICK_U_PX / px_per_mm;
    (FAR_U * across.hypot(click)).min(FAR_MM).min(FAR_PX / px_per_mm)
}

/// Moves a landmark clicked at `from` (px) to the edge of its kind. `axis` is the direction of its contour's axis in the plane, mm.
///
/// # Errors
/// [`NoSnap`] where no one edge stands out: the landmark stays where it was clicked.
pub fn snap(
    grey: &Grey,
    map: &dyn Mapping,
    landmark: Landmark,
    contour: &Contour,
    from: Point2<f64>,
    axis: Vector2<f64>,
) -> Result<Snap, NoSnap> {
    let jacobian = map.jacobian(from).ok_or(NoSnap::OffPhoto)?;
    let px_per_mm = map.px_per_mm(from).ok_or(NoSnap::OffPhoto)?;
    let expected = if contour.square { Vector2::new(-axis.y, axis.x) } else { axis };
    let expected = jacobian.try_inverse().and_then(|j| (j * expected).try_normalize(1e-9)).ok_or(NoSnap::OffPhoto)?;
    let radius = radius_mm(landmark, contour, px_per_mm) * px_per_mm;
    let (stations, seen) = look(grey, contour, from, expected, px_per_mm, radius);
    let none = NoSnap::NoEdge(radius / px_per_mm);
    let apart = APART_MM * px_per_mm;
    let found = straightest(&seen, (NEAR_MM * px_per_mm).max(0.8), apart.max(2.5)).ok_or(none)?;
    if found.support < SUPPORT {
        return Err(none);
    }
    if found.rival > RIVAL * found.support {
        return Err(NoSnap::TwoEdges(found.rival_off / px_per_mm));
    }
    let edge: Vec<&EdgePoint> = stations.iter().zip(&found.members).filter_map(|(s, m)| Some(&s[(*m)?])).collect();
    // An edge that ends at the landmark is prolonged to it, and only straight.
    let degree = if contour.span_mm[0] < 0.0 && contour.span_mm[1] > 0.0 { 2 } else { 1 };
    let places: Vec<Point2<f64>> = edge.iter().map(|e| e.at).collect();
    let fit = EdgeFit::new(&places, degree, SYSTEMATIC_PX).ok_or(none)?;
    let noise_u = edge.iter().map(|e| e.u_px).sum::<f64>() / edge.len() as f64 / (edge.len() as f64).sqrt();
    let turn = expected.perp(&fit.along).abs().asin().to_degrees();
    if turn > TURN_DEG {
        return Err(NoSnap::OtherDirection(turn));
    }
    if !separates(grey, &edge, fit.along, px_per_mm) {
        return Err(NoSnap::NoSurfaces);
    }
    let (at, u) = fit.beside(from);
    let moved = (jacobian * (at - from)).norm();
    if moved * px_per_mm > radius {
        return Err(NoSnap::TooFar(moved));
    }
    Ok(Snap { from, at, edge: fit.along, u_px: u.hypot(noise_u), moved_mm: moved, rival: found.rival / found.support })
}

/// Whether an edge separates two surfaces, rather than being a line on one.
pub(super) fn separates(grey: &Grey, edge: &[&EdgePoint], along: Vector2<f64>, px_per_mm: f64) -> bool {
    let normal = Vector2::new(-along.y, along.x);
    let side = |[near, far]: [f64; 2], sign: f64| -> Option<f64> {
        // Blur reaches some pixels whatever the magnification.
        let (near, far) = (near * px_per_mm, (far * px_per_mm).max(near * px_per_mm + 2.0));
        let steps = (far - near).ceil().clamp(2.0, 12.0) as usize;
        let values = edge.iter().flat_map(|e| {
            (0..=steps).filter_map(move |i| {
                grey.sample(e.at + normal * (sign * (near + (far - near) * i as f64 / steps as f64)))
            })
        });
        let (sum, count) = values.fold((0.0, 0), |s, v| (s.0 + v, s.1 + 1));
        (count > 0).then(|| sum / f64::from(count))
    };
    let step = |range| Some(side(range, 1.0)? - side(range, -1.0)?);
    let (Some(nearby), Some(beyond)) = (step(NEARBY_MM), step(BEYOND_MM)) else { return false };
    beyond.abs() >= BETWEEN && beyond * nearby.signum() >= BETWEEN_SHARE * nearby.abs()
}

/// The edges of the stations, and the same as the search for the straightest takes them.
fn look(
    grey: &Grey,
    contour: &Contour,
    from: Point2<f64>,
    along: Vector2<f64>,
    px_per_mm: f64,
    radius: f64,
) -> (Vec<Vec<EdgePoint>>, Vec<Vec<Seen>>) {
    let normal = Vector2::new(-along.y, along.x);
    let [start, end] = contour.span_mm.map(|mm| mm * px_per_mm);
    let count = ((end - start) / (STATION_MM * px_per_mm).max(1.0)).round().clamp(8.0, 60.0) as usize;
    let sigma = (0.08 * px_per_mm).max(1.2);
    // Further than it may be moved: an edge that turns runs out of the radius, and one just beyond competes too.
    let reach = 1.3 * radius + (end.abs().max(start.abs())) * TURN_DEG.to_radians().tan() * 0.5;
    let margin = Vector2::repeat(reach + start.abs().max(end.abs()));
    let options = EdgeOptions { reach, sigma, band: 0.1 * px_per_mm, noise: noise(grey, from - margin, from + margin) };
    let least = LEAST_STEP / ((2.0 * std::f64::consts::PI).sqrt() * sigma);
    let mut stations = Vec::with_capacity(count);
    for i in 0..count {
        let s = start + (end - start) * (i as f64 + 0.5) / count as f64;
        let mut edges = edges_along(grey, from + along * s, normal, &options);
        edges.retain(|e| e.slope.abs() > least);
        stations.push((s, edges));
    }
    let seen = stations
        .iter()
        .map(|(s, edges)| edges.iter().map(|e| Seen { s: *s, o: e.offset, strength: e.slope }).collect())
        .collect();
    (stations.into_iter().map(|s| s.1).collect(), seen)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pixels::Flat;

    const MAP: Flat = Flat { px_per_mm: 10.0 };

    /// Horn below an edge that runs from left to right through (100.3, 100) at `slope`, with grain, and a second edge `second` px below.
    fn photo(slope: f64, contrast: f64, second: Option<f64>) -> Grey {
        let value = |x: u32, y: u32| {
            let (x, y) = (f64::from(x) + 0.5, f64::from(y) + 0.5);
            let off = y - 100.0 - slope * (x - 100.3);
            let step = |d: f64| 1.0 / (1.0 + (-d / 0.6).exp());
            let h = ((x * 12.9898 + y * 78.233).sin() * 43758.5453).fract();
            (80.0 + contrast * step(off) + second.map_or(0.0, |s| -contrast * step(off - s)) + 4.0 * h) as f32
        };
        let values = (0..200).flat_map(|y| (0..200).map(move |x| value(x, y))).collect();
        Grey::from_values(200, 200, values).expect("200 by 200")
    }

    fn try_it(grey: &Grey, from: (f64, f64)) -> Result<Snap, NoSnap> {
        let contour = Landmark::ToeOuter.info().contour.expect("it lies on the outer wall");
        // The frog's axis points up in the plane, so the edge runs across.
        snap(grey, &MAP, Landmark::ToeOuter, &contour, Point2::new(from.0, from.1), Vector2::y())
    }

    #[test]
    fn a_click_goes_square_onto_its_edge_and_no_further() {
        let grey = photo(0.1, 60.0, None);
        let found = try_it(&grey, (95.0, 107.0)).expect("one edge");
        let off = found.at.y - 100.0 - 0.1 * (found.at.x - 100.3);
        assert!(off.abs() < 0.12, "{off} px off the edge");
        assert!((found.at - found.from).dot(&found.edge).abs() < 0.05, "nothing along the edge");
        assert!((0.72..0.78).contains(&found.moved_mm), "{}", found.moved_mm);
        assert!(found.u_px > 0.05 && found.u_px < 0.3, "{}", found.u_px);
        // 3 mm off is no click on this edge.
        assert!(matches!(try_it(&grey, (95.0, 130.0)), Err(NoSnap::TooFar(_) | NoSnap::NoEdge(_))));
    }

    #[test]
    fn competing_missing_and_turned_edges_leave_it_where_it_was() {
        let rival = try_it(&photo(0.0, 60.0, Some(12.0)), (100.0, 106.0));
        assert!(matches!(rival, Err(NoSnap::TwoEdges(mm)) if (mm - 1.2).abs() < 0.2), "{rival:?}");
        assert!(matches!(try_it(&photo(0.0, 0.0, None), (100.0, 104.0)), Err(NoSnap::NoEdge(_))));
        let turned = try_it(&photo(0.62, 60.0, None), (100.0, 104.0));
        assert!(matches!(turned, Err(NoSnap::OtherDirection(d)) if (d - 31.8).abs() < 1.0), "{turned:?}");
    }
}
