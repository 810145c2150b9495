//! Plane geometry that the measurements share: lines, fits, angles, areas.

use crate::landmark::{Landmark, Line};
use crate::numeric::{Real, constant};
use crate::placed::{Outcome, Placed, Undefined};
use nalgebra::{Point2, Vector2};

/// a · b.
pub fn dot<T: Real>(a: Vector2<T>, b: Vector2<T>) -> T {
    a.x * b.x + a.y * b.y
}

/// a × b: positive where b lies counter-clockwise of a.
pub fn cross<T: Real>(a: Vector2<T>, b: Vector2<T>) -> T {
    a.x * b.y - a.y * b.x
}

/// From `a` to `b`.
pub fn from_to<T: Real>(a: Point2<T>, b: Point2<T>) -> Vector2<T> {
    Vector2::new(b.x - a.x, b.y - a.y)
}

/// Point half-way between two.
pub fn midpoint<T: Real>(a: Point2<T>, b: Point2<T>) -> Point2<T> {
    let half = constant::<T>(0.5);
    Point2::new((a.x + b.x) * half, (a.y + b.y) * half)
}

/// Length of a vector; undefined for no length, where it has no derivative.
pub fn length<T: Real>(v: Vector2<T>) -> Outcome<T> {
    let squared = dot(v, v);
    if squared > constant(1e-12) { Ok(squared.sqrt()) } else { Err(Undefined::Impossible("two landmarks coincide")) }
}

/// Distance between two points.
pub fn distance<T: Real>(a: Point2<T>, b: Point2<T>) -> Outcome<T> {
    length(from_to(a, b))
}

/// Vector of length 1 in the same direction.
pub fn unit<T: Real>(v: Vector2<T>) -> Outcome<Vector2<T>> {
    let n = length(v)?;
    Ok(Vector2::new(v.x / n, v.y / n))
}

/// Unsigned angle between two directions, 0 to π. By the arc tangent, whose derivative stays finite near 0 and π.
pub fn angle_between<T: Real>(a: Vector2<T>, b: Vector2<T>) -> Outcome<T> {
    if length(a).is_err() || length(b).is_err() {
        return Err(Undefined::Impossible("two landmarks coincide"));
    }
    Ok(cross(a, b).abs().atan2(dot(a, b)))
}

/// Direction of the straight line that fits best (total least squares), from the first point towards the last.
///
/// # Source
/// K. Pearson, *On lines and planes of closest fit to systems of points in space*, Phil. Mag. 2 (1901) 559-572; the
/// direction is ½ atan2(2 Sxy, Sxx − Syy).
pub fn fitted_direction<T: Real>(points: &[Point2<T>]) -> Outcome<Vector2<T>> {
    let [first, .., last] = points else {
        return Err(Undefined::Impossible("a line needs at least two points"));
    };
    let m = mean(points);
    let (mut xx, mut xy, mut yy) = (T::zero(), T::zero(), T::zero());
    for p in points {
        let d = from_to(m, *p);
        (xx, xy, yy) = (xx + d.x * d.x, xy + d.x * d.y, yy + d.y * d.y);
    }
    let difference = xx - yy;
    if difference * difference + xy * xy * constant(4.0) <= constant::<T>(1e-18) * (xx + yy) * (xx + yy) {
        return Err(Undefined::Impossible("the points of a line show no direction"));
    }
    let angle = (xy * constant(2.0)).atan2(difference) * constant(0.5);
    let (s, c) = angle.sin_cos();
    let d = Vector2::new(c, s);
    Ok(if dot(d, from_to(*first, *last)) < T::zero() { -d } else { d })
}

/// Middle of a set of points.
pub fn mean<T: Real>(points: &[Point2<T>]) -> Point2<T> {
    let n = constant::<T>(points.len().max(1) as f64);
    let (mut x, mut y) = (T::zero(), T::zero());
    for p in points {
        (x, y) = (x + p.x, y + p.y);
    }
    Point2::new(x / n, y / n)
}

/// A straight line: a point on it and its direction of length 1.
#[derive(Debug, Clone, Copy)]
pub struct Straight<T: Real> {
    /// A point on the line.
    pub through: Point2<T>,
    /// Direction, length 1.
    pub along: Vector2<T>,
}

impl<T: Real> Straight<T> {
    /// Through two points.
    pub fn through(a: Point2<T>, b: Point2<T>) -> Outcome<Self> {
        Ok(Self { through: a, along: unit(from_to(a, b))? })
    }

    /// Fitted through points.
    pub fn fitted(points: &[Point2<T>]) -> Outcome<Self> {
        Ok(Self { through: mean(points), along: fitted_direction(points)? })
    }

    /// Where it crosses another line.
    pub fn crossing(&self, other: &Self) -> Outcome<Point2<T>> {
        let c = cross(self.along, other.along);
        if c.abs() < constant(1e-6) {
            return Err(Undefined::Impossible("two lines that should cross are parallel"));
        }
        let s = cross(from_to(self.through, other.through), other.along) / c;
        Ok(Point2::new(self.through.x + self.along.x * s, self.through.y + self.along.y * s))
    }
}

/// A wall's line from the ground up: fitted through the line's points where there are at least three, otherwise through the
/// two landmarks.
pub fn wall<T: Real>(p: &Placed<'_, T>, line: Line, ground: Landmark, coronet: Landmark) -> Outcome<Straight<T>> {
    if p.has_line(line, 3) {
        let points = p.line(line, 3)?;
        p.note_fit();
        // Lines run from the coronet down.
        let down = Straight::fitted(points)?;
        return Ok(Straight { through: down.through, along: -down.along });
    }
    if !(p.has(ground) && p.has(coronet)) && p.has_line(line, 2) {
        let points = p.line(line, 2)?;
        return Straight::through(points[1], points[0]);
    }
    Straight::through(p.at(ground)?, p.at(coronet)?)
}

/// The dorsal wall's line, upwards.
pub fn dorsal_wall<T: Real>(p: &Placed<'_, T>) -> Outcome<Straight<T>> {
    wall(p, Line::DorsalWall, Landmark::ToeGround, Landmark::ToeCoronet)
}

/// The near heel wall's line, upwards.
pub fn heel_wall<T: Real>(p: &Placed<'_, T>) -> Outcome<Straight<T>> {
    wall(p, Line::HeelWall, Landmark::HeelGround, Landmark::HeelCoronet)
}

/// The ground under the foot: a line and the direction back (toe to heel).
#[derive(Debug, Clone, Copy)]
pub struct Ground<T: Real> {
    /// A point on it.
    pub through: Point2<T>,
    /// From toe to heel, length 1.
    pub back: Vector2<T>,
}

impl<T: Real> Ground<T> {
    /// Square to the ground towards the foot, length 1. The foot stands above the ground: whichever point above it is known
    /// tells which side that is.
    pub fn up(&self, p: &Placed<'_, T>) -> Outcome<Vector2<T>> {
        let up = Vector2::new(-self.back.y, self.back.x);
        let side = dot(from_to(self.through, above_ground(p)?), up);
        Ok(if side < T::zero() { -up } else { up })
    }
}

/// Height of a landmark above the ground.
pub fn height<T: Real>(p: &Placed<'_, T>, landmark: Landmark) -> Outcome<T> {
    let point = p.at(landmark)?;
    let g = ground(p)?;
    Ok(dot(from_to(g.through, point), g.up(p)?))
}

/// The ground of a lateral photo: the line `ground` where it has at least three points, otherwise the two ground points,
/// otherwise the bearing line from `toe_ground` to `heel_ground`.
pub fn ground<T: Real>(p: &Placed<'_, T>) -> Outcome<Ground<T>> {
    let line = if p.has_line(Line::Ground, 3) {
        p.note_fit();
        Straight::fitted(p.line(Line::Ground, 3)?)?
    } else if p.has(Landmark::GroundFront) && p.has(Landmark::GroundBack) {
        Straight::through(p.at(Landmark::GroundFront)?, p.at(Landmark::GroundBack)?)?
    } else if p.has_line(Line::Ground, 2) {
        let points = p.line(Line::Ground, 2)?;
        Straight::through(points[0], points[1])?
    } else {
        p.note_bearing_line();
        Straight::through(p.at(Landmark::ToeGround)?, p.at(Landmark::HeelGround)?)?
    };
    Ok(Ground { through: line.through, back: backwards(p, line)? })
}

/// The line's direction turned so that it runs from toe to heel.
fn backwards<T: Real>(p: &Placed<'_, T>, line: Straight<T>) -> Outcome<Vector2<T>> {
    let towards = if p.has(Landmark::ToeGround) && p.has(Landmark::HeelGround) {
        from_to(p.at(Landmark::ToeGround)?, p.at(Landmark::HeelGround)?)
    } else if p.has(Landmark::GroundFront) && p.has(Landmark::GroundBack) {
        from_to(p.at(Landmark::GroundFront)?, p.at(Landmark::GroundBack)?)
    } else {
        // A hoof's walls lean backwards, so the coronet lies behind the toe.
        line.along
    };
    Ok(if dot(line.along, towards) < T::zero() { -line.along } else { line.along })
}

fn above_ground<T: Real>(p: &Placed<'_, T>) -> Outcome<Point2<T>> {
    for l in [Landmark::ToeCoronet, Landmark::HeelCoronet, Landmark::PasternLower, Landmark::HeelBulb] {
        if p.has(l) {
            return p.at(l);
        }
    }
    for l in [Line::DorsalWall, Line::HeelWall, Line::TubulesToe, Line::TubulesQuarter, Line::TubulesHeel] {
        if p.has_line(l, 2) {
            return Ok(p.line(l, 2)?[0]);
        }
    }
    if p.has(Landmark::SolePlaneHeel) {
        return p.at(Landmark::SolePlaneHeel);
    }
    Err(Undefined::NoLandmark(Landmark::ToeCoronet))
}

/// The frog's axis in a solar photo: from the central sulcus to the frog's apex, and the direction across it towards the
/// medial side.
#[derive(Debug, Clone, Copy)]
pub struct FrogAxis<T: Real> {
    /// The frog's apex.
    pub apex: Point2<T>,
    /// Forwards, length 1.
    pub forward: Vector2<T>,
    /// Across, length 1, either way.
    pub across: Vector2<T>,
}

/// The frog's axis.
pub fn frog_axis<T: Real>(p: &Placed<'_, T>) -> Outcome<FrogAxis<T>> {
    let apex = p.at(Landmark::FrogApex)?;
    let forward = unit(from_to(p.at(Landmark::CentralSulcus)?, apex))?;
    Ok(FrogAxis { apex, forward, across: Vector2::new(-forward.y, forward.x) })
}

/// Area inside a closed outline, mm².
///
/// The polygon through the points (shoelace formula) plus what lies between each chord and the arc that turns as the outline
/// does there: chord² × turning angle / 12, to second order exact for a smooth curve. Corners, where the outline turns by more
/// than 40° at one point, count as corners. A circle of 24 points is 1.1 % too small as a polygon and 0.01 % off this way.
pub fn area<T: Real>(outline: &[Point2<T>]) -> Outcome<T> {
    let n = outline.len();
    if n < 3 {
        return Err(Undefined::Impossible("an outline needs at least three points"));
    }
    let chord = |i: usize| from_to(outline[i % n], outline[(i + 1) % n]);
    let mut doubled = T::zero();
    for i in 0..n {
        let (a, b) = (outline[i], outline[(i + 1) % n]);
        doubled += a.x * b.y - a.y * b.x;
    }
    let turn = |i: usize| {
        let (a, b) = (chord(i + n - 1), chord(i));
        let t = cross(a, b).atan2(dot(a, b));
        if t.abs() > constant(40f64.to_radians()) { T::zero() } else { t }
    };
    let mut bulge = T::zero();
    for i in 0..n {
        let c = chord(i);
        bulge += dot(c, c) * (turn(i) + turn(i + 1)) * constant(1.0 / 24.0);
    }
    let signed = doubled * constant(0.5) + bulge;
    Ok(signed.abs())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn circle(n: usize, r: f64) -> Vec<Point2<f64>> {
        (0..n)
            .map(|i| {
                let a = std::f64::consts::TAU * i as f64 / n as f64;
                Point2::new(r * a.cos(), r * a.sin())
            })
            .collect()
    }

    #[test]
    fn area_of_a_circle_needs_few_points() {
        let exact = std::f64::consts::PI * 3600.0;
        for (n, tolerance) in [(24, 2e-4), (36, 5e-5), (72, 3e-6)] {
            let got = area(&circle(n, 60.0)).expect("area");
            assert!((got / exact - 1.0).abs() < tolerance, "{n}: {got} {exact}");
        }
    }

    #[test]
    fn corners_stay_corners_and_the_sense_of_going_round_does_not_matter() {
        let mut square: [Point2<f64>; 4] =
            [(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)].map(|(x, y)| Point2::new(x, y));
        assert!((area(&square).expect("area") - 100.0).abs() < 1e-12);
        square.reverse();
        assert!((area(&square).expect("area") - 100.0).abs() < 1e-12);
    }

    #[test]
    fn the_fitted_direction_runs_from_first_to_last() {
        let p: [Point2<f64>; 3] = [(10.0, 10.0), (5.0, 5.1), (0.0, 0.0)].map(|(x, y)| Point2::new(x, y));
        let d = fitted_direction(&p).expect("direction");
        assert!(d.x < 0.0 && (d.norm() - 1.0).abs() < 1e-14);
    }
}
