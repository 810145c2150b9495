//! A photo's landmarks in the measured plane, as formulas see them.

use crate::landmark::{Landmark, Line};
use crate::numeric::Real;
use nalgebra::Point2;
use std::cell::Cell;
use std::ops::Range;

/// Why a measurement has no value on this photo.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Undefined {
    /// A landmark is not placed.
    NoLandmark(Landmark),
    /// A line is not placed, or has fewer points than needed.
    NoLine(Line, usize),
    /// No gauge reading was entered.
    NoGauge,
    /// The landmarks are placed, but such that the measurement makes no sense; says why.
    Impossible(&'static str),
    /// It has a value that no such foot has: a label or a landmark is wrong.
    Beyond {
        /// The value, in the unit of results.
        value: f64,
        /// The nearest value that is possible.
        limit: f64,
        /// The unit.
        unit: &'static str,
    },
}

impl std::fmt::Display for Undefined {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NoLandmark(l) => write!(f, "needs {l}"),
            Self::NoLine(l, n) => write!(f, "needs the line {l} with at least {n} points"),
            Self::NoGauge => write!(f, "needs a gauge reading"),
            Self::Impossible(why) => f.write_str(why),
            Self::Beyond { value, limit, unit } => {
                let number = |x: &f64| match *unit {
                    "deg" => format!("{x:.0}°"),
                    "mm2" => format!("{x:.0} mm²"),
                    "1" => format!("{x:.2}"),
                    unit => format!("{x:.0} {unit}"),
                };
                let side = if value < limit { "less" } else { "more" };
                write!(f, "would be {}, and no such foot has {side} than {}", number(value), number(limit))
            }
        }
    }
}

impl std::error::Error for Undefined {}

/// Result of a formula.
pub type Outcome<T> = std::result::Result<T, Undefined>;

/// Where each landmark and line stands in the list of points.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Index {
    landmarks: [Option<u16>; Landmark::ALL.len()],
    lines: [Option<(u16, u16)>; Line::ALL.len()],
}

impl Index {
    /// Sets a landmark's place in the list.
    pub fn set_landmark(&mut self, landmark: Landmark, at: usize) {
        self.landmarks[landmark as usize] = u16::try_from(at).ok();
    }

    /// Sets a line's places in the list.
    pub fn set_line(&mut self, line: Line, at: Range<usize>) {
        self.lines[line as usize] = u16::try_from(at.start).ok().zip(u16::try_from(at.end).ok());
    }

    /// A landmark's place in the list.
    pub fn landmark(&self, landmark: Landmark) -> Option<usize> {
        self.landmarks[landmark as usize].map(usize::from)
    }

    /// A line's places in the list.
    pub fn line(&self, line: Line) -> Option<Range<usize>> {
        self.lines[line as usize].map(|(a, b)| usize::from(a)..usize::from(b))
    }
}

/// What a formula made use of.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Used {
    landmarks: u64,
    lines: u64,
    /// A gauge reading.
    pub gauge: bool,
    /// A line fitted through at least three points.
    pub fit: bool,
    /// The bearing line stood in for missing ground points.
    pub bearing_line: bool,
}

impl Used {
    /// The landmarks made use of.
    pub fn landmarks(&self) -> impl Iterator<Item = Landmark> + '_ {
        Landmark::ALL.iter().copied().filter(|l| self.landmarks >> (*l as u64) & 1 == 1)
    }

    /// The lines made use of.
    pub fn lines(&self) -> impl Iterator<Item = Line> + '_ {
        Line::ALL.iter().copied().filter(|l| self.lines >> (*l as u64) & 1 == 1)
    }
}

/// The points of one photo in the measured plane, mm, for any scalar.
///
/// It keeps count of what a formula asks for, so that sensitivities are worked out for those points only and the result can
/// say how it was made.
#[derive(Debug)]
pub struct Placed<'a, T: Real> {
    index: &'a Index,
    points: &'a [Point2<T>],
    gauge: Option<T>,
    used: Cell<Used>,
}

impl<'a, T: Real> Placed<'a, T> {
    /// From points in the order of `index`; `gauge` is the heel's height above the hard sole plane as read off a gauge, mm.
    pub fn new(index: &'a Index, points: &'a [Point2<T>], gauge: Option<T>) -> Self {
        Self { index, points, gauge, used: Cell::default() }
    }

    fn note(&self, change: impl FnOnce(&mut Used)) {
        let mut used = self.used.get();
        change(&mut used);
        self.used.set(used);
    }

    /// What has been made use of so far.
    pub fn used(&self) -> Used {
        self.used.get()
    }

    /// A landmark's place, mm.
    pub fn at(&self, landmark: Landmark) -> Outcome<Point2<T>> {
        let i = self.index.landmark(landmark).ok_or(Undefined::NoLandmark(landmark))?;
        self.note(|u| u.landmarks |= 1 << (landmark as u64));
        Ok(self.points[i])
    }

    /// Whether a line has at least `least` points.
    pub fn has_line(&self, line: Line, least: usize) -> bool {
        self.index.line(line).is_some_and(|r| r.len() >= least)
    }

    /// Whether a landmark is placed.
    pub fn has(&self, landmark: Landmark) -> bool {
        self.index.landmark(landmark).is_some()
    }

    /// A line's points, mm; at least `least` of them.
    pub fn line(&self, line: Line, least: usize) -> Outcome<&'a [Point2<T>]> {
        let range = self.index.line(line).filter(|r| r.len() >= least).ok_or(Undefined::NoLine(line, least))?;
        self.note(|u| u.lines |= 1 << (line as u64));
        Ok(&self.points[range])
    }

    /// The gauge reading, mm.
    pub fn gauge(&self) -> Outcome<T> {
        let g = self.gauge.ok_or(Undefined::NoGauge)?;
        self.note(|u| u.gauge = true);
        Ok(g)
    }

    /// Notes that a line was fitted.
    pub fn note_fit(&self) {
        self.note(|u| u.fit = true);
    }

    /// Notes that the bearing line stood in for the ground.
    pub fn note_bearing_line(&self) {
        self.note(|u| u.bearing_line = true);
    }
}
