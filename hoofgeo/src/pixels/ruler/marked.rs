//! Reading between two marks, which say where the ruler lies and what its lines are called.

use super::bar::few_lines;
use super::comb::Comb;
use super::hierarchy::certain_pattern;
use super::patch::{Local, beat};
use super::read::{BY_HAND, Seen, check_comb, contradicted, evidence, reading, refused, seen};
use super::search::{Pyramid, seeds};
use super::trace::{Track, trace};
use super::view::View;
use super::{Acceptance, Mark, Numbering, Reading};
use crate::error::{Error, ErrorKind, Result};
use crate::pixels::Grey;
use nalgebra::{Point2, Rotation2, Vector2};

/// Distances of neighbouring graduations that are tried between two marks, mm.
const STEPS_MM: [f64; 4] = [1.0, 0.5, 5.0, 10.0];
/// Lines nearer to each other than this cannot be told apart, px.
const LEAST_PERIOD_PX: f64 = 2.5;
/// How far two marks together may be from a whole number of lines, line distances …
const MARKS_OFF: f64 = 0.6;
/// … and px: a line that is a hair's breadth is not marked to a hair's breadth.
const MARKS_OFF_PX: f64 = 3.0;
/// How far along a line a mark may be from the middle of the short lines, line distances.
const MARK_REACH: f64 = 15.0;
/// How far beyond the last line that was found a mark may lie, line distances: over so many, the distance hardly changes; and as a share
/// of all that were found.
const MARK_BEYOND: f64 = 10.0;
const MARK_BEYOND_SHARE: f64 = 0.4;
/// Distances of an inch rule's lines, mm, and what they are called.
const INCHES: [(f64, &str); 5] = [
    (25.4 / 16.0, "sixteenths of an inch"),
    (25.4 / 8.0, "eighths of an inch"),
    (25.4 / 32.0, "thirty-seconds of an inch"),
    (2.54, "tenths of an inch"),
    (25.4 / 20.0, "twentieths of an inch"),
];
/// Starts that are followed where the labels did not lead to a comb.
const STARTS: usize = 12;

/// Reads the ruler between and around two marked graduations.
///
/// # Errors
/// `Scale` where the lines that were found contradict the marks' labels: one of both is wrong, and the photo must not be measured by the
/// marks. `Scene` where no comb of lines through both marks could be read, which says nothing against the marks.
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
        return Err(contradicted("the two marks lie on one place").help("mark two graduations far from each other"));
    }
    let view = View::dark(grey);
    let mut why: Option<Error> = None;
    let mut tracks = Vec::new();
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
        for start in starts_between(&view, a.at, way, step) {
            let Some(track) = trace(&view, &start) else { continue };
            match number(&view, &track, marks, Some(step_mm), limits) {
                Ok(reading) => return Ok(reading),
                Err(e) => {
                    why.get_or_insert(e);
                    tracks.push(track);
                }
            }
        }
    }
    // The labels led to no comb that holds them: is there one that they do not fit?
    let mut contradiction = why.clone().filter(|e| e.kind() == ErrorKind::Scale);
    if contradiction.is_none() {
        for start in starts_along(grey, a.at, way) {
            if tracks.iter().any(|t| t.covers(2.0, &start)) {
                continue;
            }
            let Some(track) = trace(&view, &start) else { continue };
            match number(&view, &track, marks, None, limits) {
                Ok(reading) => return Ok(reading),
                Err(e) if e.kind() == ErrorKind::Scale => {
                    contradiction = Some(e);
                    break;
                }
                Err(e) => {
                    why.get_or_insert(e);
                    tracks.push(track);
                }
            }
        }
    }
    if contradiction.is_none()
        && let Some(reading) = few_between(&view, marks, limits)
    {
        return Ok(reading);
    }
    Err(contradiction.or(why).unwrap_or_else(|| {
        refused("no graduations were found between the two marks")
            .help("place both marks on graduations of the same edge; if they are, mark more graduations by hand")
    }))
}

/// A few centimetres' lines that both marks lie on: a scale bar.
fn few_between(view: &View, [a, b]: [Mark; 2], limits: &Acceptance) -> Option<Reading> {
    let count = (b.mm - a.mm).abs() / 10.0;
    if (count - count.round()).abs() > 1e-6 || !(8.0..=60.0).contains(&count) {
        return None;
    }
    let seen = few_lines(view, [a.at, b.at], count.round() as i32, &[[-0.8, 0.8]], limits)?;
    // Both marks lie on lines of the right numbers.
    let on = [number_at(&seen.comb, a.at)?, number_at(&seen.comb, b.at)?];
    if on[0].abs() > 0.25 || (on[1] - count).abs() > 0.25 {
        return None;
    }
    let label = |k: i32| a.mm + (b.mm - a.mm).signum() * 10.0 * f64::from(k) + 0.0;
    let evidence = evidence(&seen.track, &seen.comb);
    Some(reading(&seen.track, &seen.comb, evidence, 10.0, Numbering::Marks, None, label))
}

/// Starts along the way from mark to mark, those that beat most first.
fn starts_between(view: &View, from: Point2<f64>, way: Vector2<f64>, step: Vector2<f64>) -> Vec<Local> {
    let mut found: Vec<(f64, Local)> = Vec::new();
    for part in [0.5, 0.3, 0.7, 0.15, 0.85, 0.0, 1.0] {
        for lean in [0.0, 0.3, -0.3, 0.6, -0.6] {
            let line = Rotation2::new(std::f64::consts::FRAC_PI_2 + lean) * step.normalize();
            let local = Local { centre: from + way * part, step, line };
            if let Some(b) = beat(view, &local, [-6.0, 6.0]).filter(|b| b.share > 0.2) {
                found.push((b.share * b.amplitude, local));
            }
        }
    }
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    found.truncate(6);
    found.into_iter().map(|f| f.1).collect()
}

/// Starts beside the way from mark to mark whose lines cross it, whatever the labels say.
fn starts_along(grey: &Grey, from: Point2<f64>, way: Vector2<f64>) -> Vec<Local> {
    let (length, direction) = (way.norm(), way.normalize());
    let pyramid = Pyramid::new(grey, 4);
    let mut found = Vec::new();
    for level in 0..4 {
        let Some(small) = pyramid.level(grey, level) else { break };
        let scale = f64::from(1u32 << level);
        let near = |p: Point2<f64>| {
            let d = p - from;
            let along = d.dot(&direction);
            (0.0..=length).contains(&along) && (d - direction * along).norm() < (24.0 * scale).min(0.1 * length)
        };
        let seeds = seeds(small, scale, near);
        let crossing = seeds.into_iter().filter(|s| s.local.step.dot(&direction).abs() > 0.8 * s.local.period());
        found.extend(crossing.map(|s| (s.strength, s.local)));
    }
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    found.truncate(STARTS);
    found.into_iter().map(|f| f.1).collect()
}

/// Numbers a comb by two marks; `wanted` is the distance of its lines that the labels have led to it, mm.
fn number(view: &View, track: &Track, marks: [Mark; 2], wanted: Option<f64>, limits: &Acceptance) -> Result<Reading> {
    let seen = seen(view, track).ok_or_else(|| refused("too few lines of the ruler are to be seen").help(BY_HAND))?;
    // The marks lie on lines, not between them.
    let (on, seen) = on_lines(seen, view, track, marks)?;
    let Seen { comb, track, view, .. } = &seen;
    let evidence = evidence(track, comb);
    check_comb(&evidence, limits.lines_marked, limits)?;
    let way = (on[1] - on[0]).signum();
    let counted = (on[1] - on[0]).abs();
    let mm = marks[1].mm - marks[0].mm;
    let allowed = MARKS_OFF.max((MARKS_OFF_PX / evidence.period_px).min(0.02 * counted));
    let fits = |step: f64| (counted - (mm / step).abs()).abs() <= allowed;
    let of = format!("between the marks at {} and {} mm lie {counted:.1} distances of lines", marks[0].mm, marks[1].mm);
    let steps = wanted.map_or_else(|| STEPS_MM[..2].to_vec(), |s| vec![s]);
    let Some(step_mm) = steps.into_iter().find(|s| fits(*s)) else {
        if let Some((_, name)) = INCHES.iter().find(|(step, _)| fits(*step)) {
            return Err(contradicted(format!("{of}: {} mm have as many {name}", mm.abs()))
                .help("check the marks' labels, and that they lie on the millimetre edge, not on one in inches"));
        }
        return Err(contradicted(format!("{of}, not {}", (mm / wanted.unwrap_or(1.0)).abs()))
            .help("check the marks' labels, and that they lie on the millimetre edge, not on one in inches"));
    };
    let pattern = certain_pattern(view, track, comb, limits);
    if let Some(p) = pattern.filter(|p| p.is_inch()) {
        return Err(contradicted(format!("the marks lie on an edge in inches ({}), not in millimetres", p.name()))
            .help("place both marks on graduations of the millimetre edge"));
    }
    let sign = way * mm.signum();
    // The line of the first mark: both marks have their say.
    let zero = (0.5 * (on[0] + on[1] - way * (mm / step_mm).abs())).round();
    let label = |k: i32| marks[0].mm + sign * step_mm * (f64::from(k) - zero) + 0.0;
    Ok(reading(track, comb, evidence, step_mm, Numbering::Marks, pattern, label))
}

/// Numbers of the marks on the comb; where they lie between dark lines, on light ones.
fn on_lines<'a>(dark: Seen<'a>, view: &View<'a>, track: &Track, marks: [Mark; 2]) -> Result<([f64; 2], Seen<'a>)> {
    let numbers = |s: &Seen| -> Result<[f64; 2]> {
        let mut on = [0.0; 2];
        for (n, m) in on.iter_mut().zip(marks) {
            *n = number_at(&s.comb, m.at).ok_or_else(|| {
                refused(format!("the mark at {} mm lies off the row of lines that was found", m.mm)).help(BY_HAND)
            })?;
        }
        Ok(on)
    };
    let between = |on: &[f64; 2]| on.iter().map(|n| (n - n.round()).abs()).sum::<f64>() / 2.0;
    let on = numbers(&dark)?;
    if between(&on) > 0.25
        && let Some(light) = seen(&view.negative(), &track.between())
        && let Ok(light_on) = numbers(&light)
        && between(&light_on) < between(&on)
    {
        return Ok((light_on, light));
    }
    Ok((on, dark))
}

/// The number of a mark on the comb, with its fraction; `None` where no line is near.
fn number_at(comb: &Comb, mark: Point2<f64>) -> Option<f64> {
    let line = comb.lines.iter().min_by(|a, b| (a.at - mark).norm().total_cmp(&(b.at - mark).norm()))?;
    let normal = Vector2::new(-line.direction.y, line.direction.x);
    let off = (mark - line.at).dot(&normal) / line.step.dot(&normal);
    let along = (mark - line.at - line.step * off).dot(&line.direction) / line.step.norm();
    let beyond = MARK_BEYOND.max(MARK_BEYOND_SHARE * comb.lines.len() as f64);
    if off.abs() >= beyond || along.abs() >= MARK_REACH {
        return None;
    }
    // Far beyond the last line, the comb's own law says where a line would be.
    Some(f64::from(line.number) + if off.abs() < 1.0 { off } else { comb.beyond(line.number, off) })
}
