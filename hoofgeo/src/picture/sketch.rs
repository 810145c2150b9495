//! Figures as strokes on the photo.

use super::figures::{Arm, Beside, Figure, Station};
use super::space::{Space, Spot};
use super::style::Stroke;
use crate::evaluate::Value;
use crate::measure::geometry::{Straight, dorsal_wall, frog_axis, from_to, ground, heel_wall, midpoint};
use crate::measure::{Quantity, geometry};
use crate::placed::Placed;
use crate::{Landmark, Line, View};
use nalgebra::{Point2, Vector2};

/// One line on the photo, px.
pub(super) struct Drawn {
    pub(super) points: Vec<Point2<f64>>,
    pub(super) closed: bool,
    pub(super) stroke: Stroke,
}

/// Everything drawn on the photo so far.
pub(super) struct Sketch<'a> {
    pub(super) space: &'a Space<'a>,
    pub(super) drawn: Vec<Drawn>,
    view: View,
    values: &'a [Value],
    ground: Option<Bearing>,
    /// Millimetres per unit of the style.
    unit_mm: f64,
    /// Middle of all landmarks: what lies on their far side of it is outside.
    middle: Point2<f64>,
}

/// The ground line with the directions that drawing needs.
#[derive(Clone, Copy)]
struct Bearing {
    through: Point2<f64>,
    back: Vector2<f64>,
    up: Vector2<f64>,
}

impl Bearing {
    fn new(placed: &Placed<'_, f64>) -> Option<Self> {
        let g = ground(placed).ok()?;
        Some(Self { through: g.through, back: g.back, up: g.up(placed).ok()? })
    }

    fn height(&self, p: Point2<f64>) -> f64 {
        (p - self.through).dot(&self.up)
    }
}

impl<'a> Sketch<'a> {
    pub(super) fn new(space: &'a Space<'a>, view: View, values: &'a [Value], u: f64) -> Self {
        Self {
            space,
            drawn: Vec::new(),
            view,
            values,
            ground: if view == View::Lateral { Bearing::new(&space.placed) } else { None },
            unit_mm: u / space.scene.magnification().value,
            middle: geometry::mean(&space.located.places),
        }
    }

    fn mm(&self, units: f64) -> f64 {
        units * self.unit_mm
    }

    fn place(&self, landmark: Landmark) -> Option<Point2<f64>> {
        self.space.located.index.landmark(landmark).map(|i| self.space.located.places[i])
    }

    fn places(&self, line: Line) -> &'a [Point2<f64>] {
        &self.space.located.places[self.space.located.index.line(line).unwrap_or_default()]
    }

    fn line(&mut self, a: Spot, b: Spot, stroke: Stroke) {
        let points = self.space.straight(a, b);
        self.drawn.push(Drawn { points, closed: false, stroke });
    }

    /// A line between two places of one plane.
    fn flat(&mut self, plane: usize, a: Point2<f64>, b: Point2<f64>, stroke: Stroke) {
        self.line(self.space.lift(plane, a), self.space.lift(plane, b), stroke);
    }

    /// A dimension line with a stroke across each end; gives where its label may stand.
    fn dimension(
        &mut self,
        (plane_a, a): (usize, Point2<f64>),
        (plane_b, b): (usize, Point2<f64>),
    ) -> Vec<Point2<f64>> {
        let (sa, sb) = (self.space.lift(plane_a, a), self.space.lift(plane_b, b));
        self.line(sa, sb, Stroke::Dimension);
        if let Some(along) = (b - a).try_normalize(1e-9) {
            // Ends slant across the line, as on a drawing.
            let across = (Vector2::new(-along.y, along.x) * 1.0 + along * 0.6).normalize() * self.mm(2.4);
            self.flat(plane_a, a - across, a + across, Stroke::Dimension);
            self.flat(plane_b, b - across, b + across, Stroke::Dimension);
        }
        [0.5, 0.3, 0.7, 0.1, 0.9].iter().filter_map(|s| self.space.pixel(sa + (sb - sa) * *s)).collect()
    }

    /// What belongs to the view, whatever was measured.
    pub(super) fn base(&mut self) {
        for line in Line::of(self.view) {
            let spots = self.space.line(line);
            if line.info().closed && spots.len() > 2 {
                let points = self.space.chain(&spots, true);
                self.drawn.push(Drawn { points, closed: true, stroke: Stroke::Placed });
            }
        }
        if let Some(g) = self.ground {
            self.ground_line(&g);
        }
        if let Ok(axis) = frog_axis(&self.space.placed)
            && self.view == View::Solar
        {
            let reach = |p: &Point2<f64>| (p - axis.apex).dot(&axis.forward);
            let (low, high) = range(self.space.located.places.iter().map(reach));
            let (from, to) =
                (axis.apex + axis.forward * (low - self.mm(10.0)), axis.apex + axis.forward * (high + self.mm(10.0)));
            self.flat(0, from, to, Stroke::Axis);
        }
    }

    /// The ground with short slanting strokes below it at both ends.
    fn ground_line(&mut self, g: &Bearing) {
        let along = |p: Point2<f64>| (p - g.through).dot(&g.back);
        let foot =
            Landmark::of(View::Lateral).filter(|l| !matches!(l, Landmark::PasternUpper | Landmark::PasternLower));
        let (low, high) = range(foot.filter_map(|l| self.place(l)).map(along));
        if !low.is_finite() || !high.is_finite() {
            return;
        }
        let (low, high) = (low - self.mm(16.0), high + self.mm(16.0));
        let at = |s: f64| g.through + g.back * s;
        self.flat(0, at(low), at(high), Stroke::Measured);
        let step = self.mm(3.2);
        for i in 0..4 {
            for s in [low + step * (f64::from(i) + 1.0), high - step * f64::from(i)] {
                self.flat(0, at(s), at(s - step * 0.8) - g.up * (step * 0.9), Stroke::Dimension);
            }
        }
    }

    /// Draws a measurement; gives the pixels where its label may point to.
    pub(super) fn figure(&mut self, figure: Figure, value: &Value) -> Vec<Point2<f64>> {
        let anchors = match figure {
            // What a gauge has read cannot be seen.
            _ if value.used.gauge => None,
            Figure::AngleToGround(arm) => self.angle(arm),
            Figure::Distance(a, b) => self.distance(a, b),
            Figure::AlongGround(a, b, step) => self.along_ground(a, b, step),
            Figure::AboveGround(l) => self.above_ground(l),
            Figure::AlongAxis(from, to, beside) => self.along_axis(from, to, beside),
            Figure::AcrossAxis(a, b) => self.across_axis(a, b),
            Figure::Break(upper, lower) => self.pastern(upper, lower),
            Figure::AheadOfUpperWall => self.upper_wall(),
            Figure::PlaceOn(line) => self.place_on(line, value.value),
            Figure::Ticks(line) => self.ticks(line),
            Figure::Outline(line) => {
                let p = self.space.chain(&self.space.line(line), true);
                let n = p.len();
                (n > 0).then(|| [n / 3, n / 6, n / 2, 2 * n / 3].map(|i| p[i]).to_vec())
            }
            Figure::Used => self.used(value),
            Figure::Derived => None,
        };
        anchors.unwrap_or_default()
    }

    fn angle(&mut self, arm: Arm) -> Option<Vec<Point2<f64>>> {
        let g = self.ground?;
        let base = Straight { through: g.through, along: g.back };
        match arm {
            Arm::DorsalWall | Arm::HeelWall => {
                let (straight, foot, top, line) = if arm == Arm::DorsalWall {
                    (dorsal_wall(&self.space.placed).ok()?, Landmark::ToeGround, Landmark::ToeCoronet, Line::DorsalWall)
                } else {
                    (heel_wall(&self.space.placed).ok()?, Landmark::HeelGround, Landmark::HeelCoronet, Line::HeelWall)
                };
                let plane =
                    if self.place(foot).is_some() { self.space.plane_of(foot) } else { self.space.plane_of_line(line) };
                let vertex = straight.crossing(&base).ok()?;
                let top = self.place(top).or_else(|| self.places(line).first().copied())?;
                let length = (top - vertex).dot(&straight.along).max(self.mm(10.0));
                let at = |s: f64| vertex + straight.along * s;
                self.flat(plane, at(length), at(length + self.mm(14.0)), Stroke::Prolonged);
                self.flat(plane, vertex, at(length), Stroke::Measured);
                let radius = (0.34 * length).min(self.mm(30.0)).max(self.mm(8.0));
                if arm == Arm::HeelWall {
                    self.flat(plane, vertex, vertex + g.back * (radius + self.mm(6.0)), Stroke::Prolonged);
                }
                Some(self.arc(plane, vertex, radius, g.back, straight.along))
            }
            Arm::Between(a, b) => {
                let (pa, pb) = (self.place(a)?, self.place(b)?);
                let plane = self.space.plane_of(a);
                self.line(self.space.landmark(a)?, self.space.landmark(b)?, Stroke::Measured);
                let radius = 0.5 * (pb - pa).norm();
                let level = if (pb - pa).dot(&g.back) < 0.0 { -g.back } else { g.back };
                self.flat(plane, pa, pa + level * (radius + self.mm(6.0)), Stroke::Prolonged);
                Some(self.arc(plane, pa, radius, level, pb - pa))
            }
            Arm::Row(line) => {
                let points = self.places(line);
                let up = -geometry::fitted_direction(points).ok()?;
                let middle = geometry::mean(points);
                let (low, high) = range(points.iter().map(|p| (p - middle).dot(&up)));
                let plane = self.space.plane_of_line(line);
                let foot = middle + up * low;
                self.flat(plane, foot, middle + up * high, Stroke::Measured);
                let radius = self.mm(9.0);
                self.flat(plane, foot, foot + g.back * (radius + self.mm(3.0)), Stroke::Prolonged);
                Some(self.arc(plane, foot, radius, g.back, up))
            }
        }
    }

    fn arc(
        &mut self,
        plane: usize,
        centre: Point2<f64>,
        radius: f64,
        from: Vector2<f64>,
        to: Vector2<f64>,
    ) -> Vec<Point2<f64>> {
        let points = self.space.arc(plane, centre, radius, from, to);
        let anchors =
            [0.5, 0.25, 0.75].iter().filter_map(|s| points.get((s * points.len() as f64) as usize).copied()).collect();
        self.drawn.push(Drawn { points, closed: false, stroke: Stroke::Arc });
        anchors
    }

    fn distance(&mut self, a: Landmark, b: Landmark) -> Option<Vec<Point2<f64>>> {
        let (pa, pb) = (self.place(a)?, self.place(b)?);
        let (plane_a, plane_b) = (self.space.plane_of(a), self.space.plane_of(b));
        let along = (pb - pa).try_normalize(1e-9)?;
        let out = Vector2::new(-along.y, along.x);
        let out = if (self.middle - pa).dot(&out) > 0.0 { -out } else { out } * self.mm(8.0);
        let past = 1.0 + 0.25;
        self.flat(plane_a, pa, pa + out * past, Stroke::Witness);
        self.flat(plane_b, pb, pb + out * past, Stroke::Witness);
        Some(self.dimension((plane_a, pa + out), (plane_b, pb + out)))
    }

    fn along_ground(&mut self, a: Landmark, b: Landmark, step: f64) -> Option<Vec<Point2<f64>>> {
        let g = self.ground?;
        let below = g.up * (step * self.mm(9.0));
        let mut ends = [(0, Point2::origin()); 2];
        for (end, l) in ends.iter_mut().zip([a, b]) {
            let p = self.place(l)?;
            let plane = self.space.plane_of(l);
            let foot = p - g.up * g.height(p) - below;
            self.flat(plane, p, foot - g.up * self.mm(2.0), Stroke::Witness);
            *end = (plane, foot);
        }
        Some(self.dimension(ends[0], ends[1]))
    }

    fn above_ground(&mut self, l: Landmark) -> Option<Vec<Point2<f64>>> {
        let g = self.ground?;
        let p = self.place(l)?;
        let plane = self.space.plane_of(l);
        Some(self.dimension((plane, p), (plane, p - g.up * g.height(p))))
    }

    fn station(&self, s: Station) -> Option<(usize, Point2<f64>)> {
        match s {
            Station::At(l) => Some((self.space.plane_of(l), self.place(l)?)),
            Station::Midway(a, b) => Some((self.space.plane_of(a), midpoint(self.place(a)?, self.place(b)?))),
        }
    }

    fn along_axis(&mut self, from: Station, to: Station, beside: Beside) -> Option<Vec<Point2<f64>>> {
        let axis = frog_axis(&self.space.placed).ok()?;
        // Beside the axis means on the side that the scale is not on.
        let scale = self.space.scene.pivot - axis.apex;
        let side = if scale.dot(&axis.across) > 0.0 { -axis.across } else { axis.across };
        let off = match beside {
            Beside::On => 0.0,
            Beside::Mm(mm) => mm,
            Beside::Outside => {
                range(self.space.located.places.iter().map(|p| (p - axis.apex).dot(&side))).1 + self.mm(9.0)
            }
        };
        let mut ends = [(0, Point2::origin()); 2];
        for (end, station) in ends.iter_mut().zip([from, to]) {
            let (plane, p) = self.station(station)?;
            let on = axis.apex + axis.forward * (p - axis.apex).dot(&axis.forward);
            if off > 0.0 {
                self.flat(plane, on, on + side * (off + self.mm(2.0)), Stroke::Witness);
            }
            *end = (plane, on + side * off);
        }
        Some(self.dimension(ends[0], ends[1]))
    }

    fn across_axis(&mut self, a: Landmark, b: Landmark) -> Option<Vec<Point2<f64>>> {
        let axis = frog_axis(&self.space.placed).ok()?;
        let level = (midpoint(self.place(a)?, self.place(b)?) - axis.apex).dot(&axis.forward);
        let mut ends = [(0, Point2::origin()); 2];
        for (end, l) in ends.iter_mut().zip([a, b]) {
            let p = self.place(l)?;
            let plane = self.space.plane_of(l);
            let on = axis.apex + axis.forward * level + axis.across * (p - axis.apex).dot(&axis.across);
            self.flat(plane, p, on, Stroke::Witness);
            *end = (plane, on);
        }
        let mut anchors = self.dimension(ends[0], ends[1]);
        // The axis runs through the middle: the halves are clearer places for a label.
        if anchors.len() > 1 {
            anchors.rotate_left(1);
        }
        Some(anchors)
    }

    fn pastern(&mut self, upper: Landmark, lower: Landmark) -> Option<Vec<Point2<f64>>> {
        let (a, b) = (self.space.landmark(upper)?, self.space.landmark(lower)?);
        self.line(a, b, Stroke::Measured);
        self.line(b, b + (b - a) * 0.6, Stroke::Prolonged);
        Some([0.5, 0.3, 0.7].iter().filter_map(|s| self.space.pixel(a + (b - a) * *s)).collect())
    }

    /// The line of the wall's upper third meets the ground where the toe excess says.
    fn upper_wall(&mut self) -> Option<Vec<Point2<f64>>> {
        let g = self.ground?;
        let wall = self.places(Line::DorsalWall);
        let plane = self.space.plane_of_line(Line::DorsalWall);
        if let Some(excess) = self.values.iter().find(|v| v.measurement.id == "toe_excess") {
            let meets = self.place(Landmark::ToeGround)? + g.back * excess.value;
            self.flat(plane, *wall.first()?, meets, Stroke::Prolonged);
        }
        let low = wall.get(wall.len() * 5 / 6)?;
        Some(self.space.pixel(self.space.lift(plane, *low)).into_iter().collect())
    }

    fn place_on(&mut self, line: Line, distance: f64) -> Option<Vec<Point2<f64>>> {
        let plane = self.space.plane_of_line(line);
        let mut left = distance;
        for pair in self.places(line).windows(2) {
            let step = from_to(pair[0], pair[1]);
            let length = step.norm();
            if left <= length && length > 0.0 {
                let at = pair[0] + step * (left / length);
                let across = Vector2::new(-step.y, step.x) / length * self.mm(4.0);
                self.flat(plane, at - across, at + across, Stroke::Dimension);
                return Some(self.space.pixel(self.space.lift(plane, at)).into_iter().collect());
            }
            left -= length;
        }
        None
    }

    fn ticks(&mut self, line: Line) -> Option<Vec<Point2<f64>>> {
        let points = self.places(line);
        let plane = self.space.plane_of_line(line);
        let band = self.place(Landmark::ToeCoronet).zip(self.place(Landmark::HeelCoronet)).map(|(a, b)| b - a);
        let along = band.or(self.ground.map(|g| g.back))?.try_normalize(1e-9)? * self.mm(3.5);
        for p in points {
            self.flat(plane, p - along, p + along, Stroke::Dimension);
        }
        let middle = points.get(points.len() / 2)?;
        Some(self.space.pixel(self.space.lift(plane, *middle)).into_iter().collect())
    }

    fn used(&mut self, value: &Value) -> Option<Vec<Point2<f64>>> {
        let landmarks: Vec<Landmark> = value.used.landmarks().collect();
        let lines: Vec<Line> = value.used.lines().collect();
        if let ([a, b], [], Quantity::Length) = (&landmarks[..], &lines[..], value.measurement.quantity) {
            return Some(self.dimension(self.station(Station::At(*a))?, self.station(Station::At(*b))?));
        }
        for line in lines.iter().filter(|l| !l.info().closed) {
            let points = self.space.chain(&self.space.line(*line), false);
            self.drawn.push(Drawn { points, closed: false, stroke: Stroke::Placed });
        }
        let spots: Vec<Spot> = landmarks
            .iter()
            .filter_map(|l| self.space.landmark(*l))
            .chain(lines.iter().flat_map(|l| self.space.line(*l)))
            .collect();
        let middle = spots.iter().sum::<Spot>() / spots.len().max(1) as f64;
        (!spots.is_empty()).then(|| self.space.pixel(middle).into_iter().collect())
    }
}

/// Smallest and largest of some numbers.
fn range(numbers: impl Iterator<Item = f64>) -> (f64, f64) {
    numbers.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), x| (a.min(x), b.max(x)))
}
