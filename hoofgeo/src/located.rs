//! A photo's landmarks in the measured plane, with everything that makes their places uncertain.

mod edge;
mod planes;
mod turn;

pub use edge::{CORRELATION_MM, Edge};
pub use planes::{NEAR_HEEL_MM, PLANE_TILT_U_DEG, PLANE_U_MM, PlaneState, SOLE_MM};

use crate::error::{Error, ErrorKind, Result};
use crate::landmark::{Axis, Landmark, Line, Spread};
use crate::placed::{Index, Placed};
use crate::scene::params::{UNKNOWNS, View3};
use crate::scene::plane::{PLANE, Plane, back_project};
use crate::scene::{Scene, State};
use crate::second_order::SecondOrder;
use crate::sidecar::Sidecar;
use crate::{PlaneName, Side, Surface, View};
use nalgebra::{Const, Matrix2, Point2, SMatrix, U1, Vector2};
use num_dual::DualSVec64;
use std::ops::Range;

/// Standard uncertainty of a single click per axis, px (estimate, no source; a sidecar's `u_px` replaces it).
pub const CLICK_U_PX: f64 = 1.5;

/// By how much an accepted offer's definition counts as wider than a placed landmark's: whoever looks lets pass, evenly, what lies within
/// twice the spread of their own placing, and that comes to it: √(1 + 4/3) (estimate, no source).
pub const ACCEPTED_WIDENS: f64 = 1.53;

/// No repeated placement is better than a click on whole pixels, 1/√12 px.
const CLICK_FLOOR_PX: f64 = 0.288_675_134_594_812_9;

/// Standard uncertainty per axis of a point that was marked on the foot with a pen before the photo, mm: half a dot's width (estimate,
/// no source).
pub const PEN_MARK_U_MM: f64 = 0.3;

/// Standard uncertainty of a gauge reading where the sidecar does not say, mm (estimate, no source).
const GAUGE_U_MM: f64 = 0.5;

/// Inputs that one landmark's place depends on: scene, measured plane, its own plane, its pixel.
const INPUTS: usize = UNKNOWNS + 2 * PLANE + 2;
const MEASURED: usize = UNKNOWNS;
const OWN: usize = UNKNOWNS + PLANE;
const PIXEL: usize = UNKNOWNS + 2 * PLANE;
type Dual = DualSVec64<INPUTS>;

/// One point of a photo.
#[derive(Debug, Clone)]
pub struct LocatedPoint {
    /// Where it was placed: the mean of its placements, px.
    pub pixel: Point2<f64>,
    /// Undistorted normalised coordinates of that pixel in the most probable scene.
    pub direction: Point2<f64>,
    /// Place of its plane in [`Located::planes`].
    pub plane: usize,
    /// Sensitivity to the scene's unknowns, mm per unit.
    pub by_scene: SMatrix<f64, 2, UNKNOWNS>,
    /// Sensitivity to the measured plane's unknowns.
    pub by_measured: SMatrix<f64, 2, PLANE>,
    /// Sensitivity to its own plane's unknowns; zero where that is the measured plane.
    pub by_own: SMatrix<f64, 2, PLANE>,
    /// Sensitivity to its pixel, mm/px.
    pub by_pixel: Matrix2<f64>,
    /// Standard uncertainty of its pixel per axis.
    pub u_px: f64,
    /// Whether that comes from repeated placements.
    pub repeated: bool,
    /// Covariance of the anatomical point itself, mm²; for a point of a drawn edge what [`Located::edges`] says in full.
    pub anatomy: Matrix2<f64>,
    /// Whether it is a point of one of [`Located::edges`].
    pub on_edge: bool,
}

/// A photo's points in the measured plane.
#[derive(Debug, Clone)]
pub struct Located {
    /// Which point is which.
    pub index: Index,
    /// Places in the measured plane, mm.
    pub places: Vec<Point2<f64>>,
    /// What each place depends on.
    pub points: Vec<LocatedPoint>,
    /// The planes used; the measured plane is the first.
    pub planes: Vec<PlaneState>,
    /// Lines drawn along an edge, open and closed.
    pub edges: Vec<Edge>,
    /// Gauge reading and its standard uncertainty, mm.
    pub gauge: Option<(f64, f64)>,
    /// Places under the second pose.
    pub second: Option<Vec<Point2<f64>>>,
    /// Places around the most probable scene, for terms of second order; none where all tilts are well known.
    pub second_order: Option<SecondOrder>,
    /// Degrees of freedom of the pooled spread of repeated placements.
    pub repeat_dof: Option<f64>,
    /// Whether the near heel's distance is the usual one, for want of a stated one.
    pub near_heel_assumed: bool,
    /// Whether the sole's depth is the usual one, for want of a stated one.
    pub sole_assumed: bool,
    /// What may be hidden of the bearing edge, mm; zero on hard ground and where nothing is said of it.
    pub hidden_mm: f64,
}

/// A point on its way from the sidecar.
struct Mark {
    pixel: Point2<f64>,
    plane: PlaneName,
    u_px: f64,
    repeated: bool,
    spread: Option<Spread>,
    snapped: Option<Sharpened>,
    landmark: Option<Landmark>,
    pen_mark: bool,
    /// Standard uncertainty of the click in the photo that the point was carried over from, px; zero where it was clicked here.
    carried_px: f64,
    name: String,
}

/// How much less uncertain an edge has made a landmark across it.
struct Sharpened {
    /// The edge's direction, px.
    edge: Vector2<f64>,
    /// What of the click is left along it, beyond the edge's own uncertainty, px².
    click: f64,
    /// How well the edge is defined, mm.
    defined: f64,
}

impl Located {
    /// Brings a sidecar's landmarks and lines to the measured plane.
    ///
    /// # Errors
    /// `Landmark` where a landmark's ray does not meet its plane or its pixel lies outside the lens model's range; the error
    /// names it.
    pub fn new(scene: &Scene, sidecar: &Sidecar) -> Result<Self> {
        Self::with_spreads(scene, sidecar, &|_, _| None)
    }

    /// The same with placement uncertainties of one's own: for a landmark and its number of placements, the standard uncertainty of
    /// their mean, click included. What a sidecar states itself (`u_px`, `u_mm`) goes before it.
    ///
    /// # Errors
    /// As [`Located::new`].
    pub fn with_spreads(
        scene: &Scene,
        sidecar: &Sidecar,
        spreads: &dyn Fn(Landmark, usize) -> Option<Spread>,
    ) -> Result<Self> {
        let (mut planes, slot) = planes::planes(sidecar);
        if let Some(turn) = turn::turn(scene, sidecar, &planes[0]) {
            planes::turned(&mut planes, &turn);
        }
        let repeats = Repeats::of(sidecar);
        let Marks { index, marks, edges } = marks(sidecar, &repeats, spreads);
        let view = scene.view();
        let seeded: [Dual; UNKNOWNS] = std::array::from_fn(|i| Dual::from_re(scene.state[i]).derivative(i));
        let dual_view = View3::new(&seeded, scene.pivot);
        let unknowns = |k: usize, first: usize| -> [Dual; PLANE] {
            std::array::from_fn(|i| Dual::from_re(planes[k].mean[i]).derivative(first + i))
        };
        let mut of_measured = unknowns(0, MEASURED);
        for (seed, by) in seeded.iter().zip(planes[0].by_scene.iter()) {
            of_measured[planes::TILT_Y] += (*seed - seed.re) * *by;
        }
        let measured = Plane::new(&of_measured);
        let own: Vec<_> = (0..planes.len())
            .map(|k| Plane::new(&planes[k].with(unknowns(k, OWN), &of_measured, &planes[0].mean)))
            .collect();
        let mut points = Vec::with_capacity(marks.len());
        let mut places = Vec::with_capacity(marks.len());
        for mark in &marks {
            let plane = slot[mark.plane as usize];
            let direction = view.camera.undistort(mark.pixel).ok_or_else(|| {
                Error::new(ErrorKind::Landmark, format!("{} lies where the lens model cannot be inverted", mark.name))
                    .help("check its pixel and the lens profile; keep the hoof near the middle of the photo")
            })?;
            let pixel = Point2::new(
                Dual::from_re(mark.pixel.x).derivative(PIXEL),
                Dual::from_re(mark.pixel.y).derivative(PIXEL + 1),
            );
            let place = if plane == 0 {
                back_project(&dual_view, &measured, None, pixel, direction)
            } else {
                back_project(&dual_view, &own[plane], Some(&measured), pixel, direction)
            };
            let place = place.filter(|p| p.x.re.is_finite() && p.y.re.is_finite()).ok_or_else(|| {
                Error::new(
                    ErrorKind::Landmark,
                    format!("{} cannot lie on the {} plane: its line of sight does not meet it", mark.name, mark.plane),
                )
                .help("check its pixel, the graduations and the sidecar's planes")
            })?;
            let d = [place.x, place.y].map(|c| c.eps.unwrap_generic(Const::<INPUTS>, U1));
            places.push(Point2::new(place.x.re, place.y.re));
            points.push(LocatedPoint {
                pixel: mark.pixel,
                direction,
                plane,
                by_scene: SMatrix::from_fn(|r, c| d[r][c]),
                by_measured: SMatrix::from_fn(|r, c| d[r][MEASURED + c]),
                by_own: SMatrix::from_fn(|r, c| if plane == 0 { 0.0 } else { d[r][OWN + c] }),
                by_pixel: Matrix2::from_fn(|r, c| d[r][PIXEL + c]),
                u_px: mark.u_px,
                repeated: mark.repeated,
                anatomy: Matrix2::zeros(),
                on_edge: false,
            });
        }
        let [near_heel_assumed, sole_assumed] = [PlaneName::NearHeel, PlaneName::Sole]
            .map(|name| slot[name as usize] > 0 && planes[slot[name as usize]].relative);
        let mut located = Self {
            index,
            places,
            points,
            planes,
            edges: Vec::new(),
            gauge: gauge(sidecar),
            second: None,
            second_order: None,
            repeat_dof: repeats.dof,
            near_heel_assumed,
            sole_assumed,
            hidden_mm: sidecar.surface.filter(|_| sidecar.view == View::Lateral).map_or(0.0, Surface::hidden_mm),
        };
        for (i, mark) in marks.iter().enumerate() {
            if let Some(spread) = mark.spread {
                let anatomy = located.anatomy(spread);
                let sharpened = mark.snapped.as_ref().and_then(|s| s.anatomy(&located.points[i].by_pixel, &anatomy));
                located.points[i].anatomy = sharpened.unwrap_or(anatomy);
            }
            let point = &mut located.points[i];
            // The click in the photo that it was carried over from.
            point.anatomy += point.by_pixel * point.by_pixel.transpose() * mark.carried_px.powi(2);
            if let Some(landmark) = mark.landmark.filter(|l| l.meets_ground() && !mark.pen_mark) {
                let hidden = located.hidden(landmark);
                located.points[i].anatomy += hidden;
            }
        }
        for (line, range) in edges {
            let [mut whole, wander] = line.info().edge_mm();
            if line == Line::Ground {
                whole = whole.hypot(located.hidden_mm);
            }
            let edge = Edge::new(range.clone(), &located.places[range.clone()], line.info().closed, [whole, wander]);
            for point in &mut located.points[range] {
                point.on_edge = true;
                point.anatomy = Matrix2::identity() * (whole * whole + wander * wander);
            }
            located.edges.push(edge);
        }
        located.second = scene.second.and_then(|(state, _)| {
            located.places_with(&View3::new(&state.into(), scene.pivot), &located.means_at(&(state - scene.state)))
        });
        located.second_order = SecondOrder::new(&located, scene);
        Ok(located)
    }

    /// The planes' most probable unknowns where the scene's are off theirs by so much.
    pub(crate) fn means_at(&self, off: &State) -> Vec<[f64; PLANE]> {
        self.planes.iter().map(|p| p.mean_at(off)).collect()
    }

    /// The same points' places under another scene and with the planes elsewhere, mm: their unknowns, in order. `None` where one of them
    /// cannot be brought to its plane.
    pub(crate) fn places_with(&self, view: &View3<f64>, unknowns: &[[f64; PLANE]]) -> Option<Vec<Point2<f64>>> {
        let at = self.planes[0].mean;
        let planes: Vec<_> =
            self.planes.iter().zip(unknowns).map(|(p, own)| Plane::new(&p.with(*own, &unknowns[0], &at))).collect();
        self.points
            .iter()
            .map(|p| {
                let near = view.camera.undistort(p.pixel)?;
                back_project(view, &planes[p.plane], Some(&planes[0]), p.pixel, near)
            })
            .collect()
    }

    /// The points as formulas see them, on plain numbers.
    pub fn placed(&self) -> Placed<'_, f64> {
        Placed::new(&self.index, &self.places, self.gauge.map(|g| g.0))
    }

    /// Pixel of a place in the measured plane, for drawing.
    pub fn pixel_of(&self, scene: &Scene, place: Point2<f64>) -> Option<Point2<f64>> {
        let plane = Plane::new(&self.planes[0].mean);
        scene.view().pixel(plane.lift(place))
    }

    /// Unit vector from one landmark to another.
    fn direction(&self, from: Landmark, to: Landmark) -> Option<Vector2<f64>> {
        let (a, b) = self.index.landmark(from).zip(self.index.landmark(to))?;
        (self.places[b] - self.places[a]).try_normalize(1e-9)
    }

    /// Covariance of a landmark at the bearing edge from what the ground hides of the foot: it is seen too far up, along its wall where
    /// it lies on one. The shift has one side, of which its root mean square is kept.
    fn hidden(&self, landmark: Landmark) -> Matrix2<f64> {
        // On a wall that leans by less than 30° nothing could be found at the ground.
        const FLATTEST: f64 = 0.5;
        let (from, to) = Axis::Ground.ends();
        let ground = self.direction(from, to);
        let wall = match landmark {
            Landmark::ToeGround => self.direction(Landmark::ToeGround, Landmark::ToeCoronet),
            Landmark::HeelGround => self.direction(Landmark::HeelGround, Landmark::HeelCoronet),
            _ => ground.map(|g| Vector2::new(-g.y, g.x)),
        };
        match (ground, wall) {
            (Some(g), Some(w)) => {
                let along = self.hidden_mm / w.perp(&g).abs().max(FLATTEST);
                w * w.transpose() * (along * along)
            }
            _ => Matrix2::identity() * (self.hidden_mm * self.hidden_mm),
        }
    }

    fn anatomy(&self, spread: Spread) -> Matrix2<f64> {
        match spread {
            Spread::Round(u) => Matrix2::identity() * (u * u),
            Spread::Oval { along, across, axis } => {
                let (from, to) = axis.ends();
                match self.direction(from, to) {
                    Some(d) => {
                        let n = Vector2::new(-d.y, d.x);
                        d * d.transpose() * (along * along) + n * n.transpose() * (across * across)
                    }
                    None => Matrix2::identity() * along.max(across).powi(2),
                }
            }
        }
    }
}

impl Sharpened {
    /// The anatomy's covariance with the edge's definition across the edge, and along it what was unknown before; mm².
    fn anatomy(&self, by_pixel: &Matrix2<f64>, before: &Matrix2<f64>) -> Option<Matrix2<f64>> {
        let moved = by_pixel * self.edge.try_normalize(1e-12)?;
        let along = moved.try_normalize(1e-12)?;
        let across = Vector2::new(-along.y, along.x);
        let (kept, left) = ((before * along).dot(&along), self.click * moved.norm_squared());
        let sharp = (before * across).dot(&across).min(self.defined * self.defined);
        Some(along * along.transpose() * (kept + left) + across * across.transpose() * sharp)
    }
}

/// Spread of repeated placements, pooled over the photo's landmarks.
struct Repeats {
    u_px: f64,
    dof: Option<f64>,
}

impl Repeats {
    fn of(sidecar: &Sidecar) -> Self {
        let (mut sum, mut dof) = (0.0, 0.0);
        for placement in sidecar.landmarks.values().filter(|p| p.at.len() > 1) {
            let mean = mean(&placement.at);
            sum += placement.at.iter().map(|p| (Point2::from(*p) - mean).norm_squared()).sum::<f64>();
            dof += 2.0 * (placement.at.len() - 1) as f64;
        }
        let spread = if dof > 0.0 { (sum / dof).sqrt() } else { CLICK_U_PX };
        Self { u_px: spread.max(CLICK_FLOOR_PX), dof: (dof > 0.0).then_some(dof) }
    }
}

fn mean(points: &[[f64; 2]]) -> Point2<f64> {
    let n = points.len().max(1) as f64;
    Point2::new(points.iter().map(|p| p[0]).sum::<f64>() / n, points.iter().map(|p| p[1]).sum::<f64>() / n)
}

/// All points in the order landmarks, lines; their index; and the drawn edges among them.
struct Marks {
    index: Index,
    marks: Vec<Mark>,
    edges: Vec<(Line, Range<usize>)>,
}

fn marks(sidecar: &Sidecar, repeats: &Repeats, spreads: &dyn Fn(Landmark, usize) -> Option<Spread>) -> Marks {
    let mut index = Index::default();
    let mut marks = Vec::new();
    let mut edges = Vec::new();
    for (landmark, placement) in &sidecar.landmarks {
        let info = landmark.info();
        // A dot is no matter of what a person reads into a definition.
        let states_its_own = placement.u_px.is_some() || placement.u_mm.is_some() || placement.pen_mark;
        let known = if states_its_own { None } else { spreads(*landmark, placement.at.len()) };
        let repeated = placement.at.len() > 1 && placement.u_px.is_none() && known.is_none();
        // What is new in this photo is the match; the click was made in the other one.
        let carried = placement.carried.as_ref().map(|c| c.u_px);
        let single = match known {
            // Found on clicks, so they are in it.
            Some(_) => 0.0,
            None if repeated => repeats.u_px,
            None => placement.u_px.or(carried).unwrap_or(CLICK_U_PX),
        };
        index.set_landmark(*landmark, marks.len());
        let click = single / (placement.at.len() as f64).sqrt();
        let snapped = placement.snapped.zip(info.contour);
        marks.push(Mark {
            pixel: mean(&placement.at),
            plane: info.plane,
            u_px: snapped.map_or(click, |(s, _)| s.u_px),
            snapped: snapped.map(|(s, contour)| Sharpened {
                edge: s.edge.into(),
                click: (click * click - s.u_px * s.u_px).max(0.0),
                defined: contour.line.info().u_mm,
            }),
            repeated,
            spread: Some(match (known, placement.u_mm) {
                (None, Some(u)) => Spread::Round(u),
                (None, None) if placement.pen_mark => Spread::Round(PEN_MARK_U_MM),
                (known, _) => {
                    let spread = known.unwrap_or(info.spread);
                    // Looked at, but not placed.
                    if placement.suggested.is_some() { spread.widened(ACCEPTED_WIDENS) } else { spread }
                }
            }),
            landmark: Some(*landmark),
            pen_mark: placement.pen_mark,
            carried_px: if carried.is_some() && known.is_none() { CLICK_U_PX } else { 0.0 },
            name: info.name.to_owned(),
        });
    }
    for (line, points) in &sidecar.lines {
        let info = line.info();
        let range = marks.len()..marks.len() + points.len();
        index.set_line(*line, range.clone());
        if line.is_edge() {
            edges.push((*line, range));
        }
        for (i, p) in points.iter().enumerate() {
            marks.push(Mark {
                pixel: Point2::from(*p),
                plane: info.plane,
                u_px: CLICK_U_PX,
                repeated: false,
                snapped: None,
                landmark: None,
                pen_mark: false,
                carried_px: 0.0,
                spread: (!line.is_edge()).then_some(Spread::Round(info.u_mm)),
                name: format!("{}[{i}]", info.name),
            });
        }
    }
    Marks { index, marks, edges }
}

/// The reading on the side that faces the camera; the other side's where only that was read.
fn gauge(sidecar: &Sidecar) -> Option<(f64, f64)> {
    let read = sidecar.gauge.heel_above_sole_plane_mm?;
    let value = match sidecar.side {
        Some(Side::Medial) => read.medial.or(read.lateral),
        _ => read.lateral.or(read.medial),
    }?;
    Some((value, read.u_mm.unwrap_or(GAUGE_U_MM)))
}

#[cfg(test)]
mod tests;
