//! Reading between two marks, which say where the ruler lies and what its lines are called.

use super::comb::Comb;
use super::patch::{Local, beat};
use super::read::{BY_HAND, check_comb, comb_of, evidence, reading, refused};
use super::trace::{Track, trace};
use super::{Acceptance, Mark, Numbering, Reading};
use crate::error::Result;
use crate::pixels::Grey;
use nalgebra::{Point2, Rotation2, Vector2};

/// Distances of neighbouring graduations that are tried between two marks, mm.
const STEPS_MM: [f64; 4] = [1.0, 0.5, 5.0, 10.0];
/// Lines nearer to each other than this cannot be told apart, px.
const LEAST_PERIOD_PX: f64 = 2.5;
/// How far two marks together may be from a whole number of lines, line distances.
const MARKS_OFF: f64 = 0.6;
/// How far along a line a mark may be from the middle of the short lines, line distances.
const MARK_REACH: f64 = 15.0;
/// How far beyond the last line that was found a mark may lie, line distances: over so many, the distance hardly changes.
const MARK_BEYOND: f64 = 10.0;

/// Reads the ruler between and around two marked graduations.
///
/// # Errors
/// `Scale` where no comb of lines runs through both marks, or its lines do not count up to the marks' labels.
pub fn read_marked(grey: &Grey, marks: [Mark; 2]) -> Result<Reading> {
    read_marked_with(grey, marks, &Acceptance::default())
}

/// [`read_marked`] with limits of one's own.
///
/// # Errors
/// As [`read_marked`].
pub fn read_marked_with(grey: &Grey, marks: [Mark; 2], limits: &Acceptance) -> Result<Reading> {
    let [a, b] = marks;
    let (way, mm) = (b.at - a.at, b.mm - a.mm);
    if mm == 0.0 || way.norm() < 10.0 {
        return Err(refused("the two marks lie on one place").help("mark two graduations far from each other"));
    }
    let mut why = None;
    for step_mm in STEPS_MM {
        // Where finer lines are to be seen, coarser ones are something else, such as the row of numbers.
        if step_mm > 1.0 && why.is_some() {
            break;
        }
        let count = mm / step_mm;
        let step = way / count;
        if step.norm() < LEAST_PERIOD_PX || (count - count.round()).abs() > 1e-6 || count.abs() < 4.0 {
            continue;
        }
        for start in starts_between(grey, a.at, way, step) {
            let Some(track) = trace(grey, &start) else { continue };
            match number(grey, track, marks, step_mm, limits) {
                Ok(reading) => return Ok(reading),
                Err(e) => {
                    why.get_or_insert(e);
                }
            }
        }
    }
    Err(why.unwrap_or_else(|| {
        refused("no graduations were found between the two marks")
            .help("place both marks on graduations of the same edge; if they are, mark more graduations by hand")
    }))
}

/// Starts along the way from mark to mark, those that beat most first.
fn starts_between(grey: &Grey, from: Point2<f64>, way: Vector2<f64>, step: Vector2<f64>) -> Vec<Local> {
    let mut found: Vec<(f64, Local)> = Vec::new();
    for part in [0.5, 0.3, 0.7, 0.15, 0.85, 0.0, 1.0] {
        for lean in [0.0, 0.3, -0.3, 0.6, -0.6] {
            let line = Rotation2::new(std::f64::consts::FRAC_PI_2 + lean) * step.normalize();
            let local = Local { centre: from + way * part, step, line };
            if let Some(b) = beat(grey, &local, [-6.0, 6.0]).filter(|b| b.share > 0.2) {
                found.push((b.share * b.amplitude, local));
            }
        }
    }
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    found.truncate(6);
    found.into_iter().map(|f| f.1).collect()
}

/// Numbers a comb by two marks.
fn number(grey: &Grey, track: Track, marks: [Mark; 2], step_mm: f64, limits: &Acceptance) -> Result<Reading> {
    let comb =
        comb_of(grey, &track).ok_or_else(|| refused("too few lines of the ruler are to be seen").help(BY_HAND))?;
    let evidence = evidence(&track, &comb);
    check_comb(&evidence, limits.lines_marked, limits)?;
    let mut on = [0.0; 2];
    for (n, m) in on.iter_mut().zip(marks) {
        *n = number_at(&comb, m.at).ok_or_else(|| {
            refused(format!("the mark at {} mm lies off the row of lines that was found", m.mm)).help(BY_HAND)
        })?;
    }
    let count = (marks[1].mm - marks[0].mm) / step_mm;
    let way = (on[1] - on[0]).signum();
    let counted = (on[1] - on[0]).abs();
    if (counted - count.abs()).abs() > MARKS_OFF {
        return Err(refused(format!(
            "between the marks at {} and {} mm lie {:.1} distances of lines, not {}",
            marks[0].mm,
            marks[1].mm,
            counted,
            count.abs()
        ))
        .help("check the marks' labels, and that they lie on the millimetre edge, not on one in inches"));
    }
    let sign = way * count.signum();
    // The line of the first mark: both marks have their say.
    let zero = (0.5 * (on[0] + on[1] - way * count.abs())).round();
    let label = |k: i32| marks[0].mm + sign * step_mm * (f64::from(k) - zero) + 0.0;
    Ok(reading(&track, &comb, evidence, step_mm, Numbering::Marks, None, label))
}

/// The number of a mark on the comb, with its fraction; `None` where no line is near.
fn number_at(comb: &Comb, mark: Point2<f64>) -> Option<f64> {
    let line = comb.lines.iter().min_by(|a, b| (a.at - mark).norm().total_cmp(&(b.at - mark).norm()))?;
    let normal = Vector2::new(-line.direction.y, line.direction.x);
    let off = (mark - line.at).dot(&normal) / line.step.dot(&normal);
    let along = (mark - line.at - line.step * off).dot(&line.direction) / line.step.norm();
    (off.abs() < MARK_BEYOND && along.abs() < MARK_REACH).then(|| f64::from(line.number) + off)
}
