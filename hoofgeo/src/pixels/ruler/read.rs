//! From a photo to a reading, with marks and without.

use super::comb::Comb;
use super::hierarchy::{Judged, judge, lengths};
use super::lines::{Line, lines};
use super::patch::{Local, beat};
use super::search::{Pyramid, seeds};
use super::trace::{Track, trace};
use super::{Acceptance, Evidence, Mark, Numbering, ReadGraduation, Reading};
use crate::error::{Error, ErrorKind, Result};
use crate::pixels::Grey;
use nalgebra::{Matrix2, Point2, Rotation2, Vector2};

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
/// Sizes of the photo at which combs are sought, and how many starts are followed at each.
const LEVELS: usize = 4;
const STARTS: usize = 120;

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
    let label = |k: i32| marks[0].mm + sign * step_mm * (f64::from(k) - zero);
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

/// Finds and reads a ruler anywhere in a photo that is stated to be metric: the caller vouches that it is not divided into tenths of an
/// inch or the like, whose lines come in the same order of lengths (see the [module](super)).
///
/// # Errors
/// `Scale` where none is found, or none whose lines certainly are those of a millimetre rule; two marks then help.
pub fn find_metric(grey: &Grey) -> Result<Reading> {
    find_metric_with(grey, &Acceptance::default())
}

/// [`find_metric`] with limits of one's own.
///
/// # Errors
/// As [`find_metric`].
pub fn find_metric_with(grey: &Grey, limits: &Acceptance) -> Result<Reading> {
    let pyramid = Pyramid::new(grey, LEVELS);
    let mut seen: Vec<(Track, f64)> = Vec::new();
    let mut best: Option<Reading> = None;
    let mut why: Option<(f64, Error)> = None;
    // A ruler that can be read well fills a good part of the photo: its lines beat at a middle size.
    for level in [1, 2, 0, 3] {
        let Some(small) = pyramid.level(grey, level) else { continue };
        let scale = f64::from(1u32 << level);
        let mut starts = 0;
        for seed in seeds(small, scale) {
            if starts >= STARTS {
                break;
            }
            if seen.iter().any(|(t, reach)| covers(t, *reach, &seed.local)) {
                continue;
            }
            starts += 1;
            let Some(track) = trace(grey, &seed.local) else { continue };
            let outcome = read_track(grey, &track, limits);
            seen.push((track, 4.0));
            match outcome {
                Ok(reading) if best.as_ref().is_none_or(|b| b.evidence.margin < reading.evidence.margin) => {
                    best = Some(reading);
                }
                Ok(_) => {}
                Err((lines, e)) => {
                    if why.as_ref().is_none_or(|w| w.0 < lines) {
                        why = Some((lines, e));
                    }
                }
            }
        }
        if let Some(best) = best.take() {
            return Ok(best);
        }
    }
    Err(why.map_or_else(|| refused("no ruler was found in the photo").help(TWO_MARKS), |w| w.1))
}

/// Whether a seed lies on a comb that was followed already, with about its distance of lines.
fn covers(track: &Track, reach: f64, seed: &Local) -> bool {
    let k = track.number_of(seed.centre).round();
    if k < f64::from(track.ends[0]) - 4.0 || k > f64::from(track.ends[1]) + 4.0 {
        return false;
    }
    let local = track.local(k);
    let along = track.off(k, seed.centre).1;
    let normal = Vector2::new(-local.line.y, local.line.x);
    let across = local.step.dot(&normal).abs();
    let ratio = seed.period() / across;
    along.abs() < (0.5 * track.length + reach) * local.period() && (0.8..1.25).contains(&ratio)
}

/// Reads a comb by the lengths of its lines; where it is refused, says how many lines it had.
fn read_track(grey: &Grey, track: &Track, limits: &Acceptance) -> Result<Reading, (f64, Error)> {
    let Some(comb) = comb_of(grey, track) else {
        return Err((0.0, refused("too few lines of the ruler are to be seen").help(TWO_MARKS)));
    };
    let mut evidence = evidence(track, &comb);
    let with_lines = |e: Error| (comb.lines.len() as f64, e);
    check_comb(&evidence, limits.lines, limits).map_err(with_lines)?;
    let sides = [1.0, -1.0].map(|side| judge(&lengths(grey, track, &comb, side)));
    let judged = sides.into_iter().flatten().max_by(|a, b| score(a).total_cmp(&score(b)));
    let Some(Judged { best, margin }) = judged else {
        return Err(with_lines(refused("the lines' lengths tell nothing").help(TWO_MARKS)));
    };
    (evidence.margin, evidence.agree) = (margin, best.agree);
    let certain = margin >= limits.margin && best.agree >= limits.agree;
    let Some(step_mm) = best.pattern.step_mm() else {
        let what = if best.pattern.is_inch() && certain {
            "the ruler found is graduated in inches"
        } else {
            "an even row of lines was found, but the lengths of its lines are not those of a millimetre ruler"
        };
        return Err(with_lines(refused(what).help(TWO_MARKS)));
    };
    if !certain {
        return Err(with_lines(
            refused("a row of lines was found, but whether they are millimetres is not certain").help(TWO_MARKS),
        ));
    }
    if track.length * step_mm.max(1.0) < limits.line_length {
        return Err(with_lines(
            refused("the lines found are too short for their distance to be millimetres").help(TWO_MARKS),
        ));
    }
    // Numbers rise to the right, or upwards where the ruler stands.
    let (from, to) = (comb.lines[0].at, comb.lines[comb.lines.len() - 1].at);
    let rising = if (to.x - from.x).abs() >= (to.y - from.y).abs() { to.x > from.x } else { to.y < from.y };
    let sign = if rising { 1.0 } else { -1.0 };
    // The first long line is zero: a label of the ruler itself cannot be known.
    let cycle = (10.0 / step_mm).round() as i32;
    let (low, high) = (comb.lines[0].number, comb.lines[comb.lines.len() - 1].number);
    let zero =
        if rising { low + (best.zero - low).rem_euclid(cycle) } else { high - (high - best.zero).rem_euclid(cycle) };
    let label = |k: i32| sign * step_mm * f64::from(k - zero);
    let mut reading = reading(track, &comb, evidence, step_mm, Numbering::Lengths, Some(best.pattern), label);
    reading.lengths = best.lengths;
    Ok(reading)
}

/// The side whose pattern is more certain, a ruler's before any other.
fn score(j: &Judged) -> f64 {
    if j.best.pattern.step_mm().is_some() || j.best.pattern.is_inch() {
        j.margin + 1e6 * f64::from(u8::from(j.margin > 0.0))
    } else {
        0.0
    }
}

/// Lines that may be missing in one piece before their number is in doubt.
const SURE_GAP: i32 = 4;
/// The right number of lines in a gap leaves residuals smaller by this factor than any other.
const CLEARER: f64 = 0.6;
/// A piece of the comb with fewer lines than this is given up where its numbers are in doubt.
const LEAST_PIECE: usize = 8;

/// The comb of a track's lines. Behind a gap (a finger, glare) the count may have slipped: there every count that could be is tried,
/// and the smaller piece is given up where the lines do not clearly say which is right.
fn comb_of(grey: &Grey, track: &Track) -> Option<Comb> {
    let found = lines(grey, track, 3);
    let u_across = track.scatter_px.max(0.05 * track.local(0.0).period()).max(0.3);
    let frame = (grey.width(), grey.height());
    let fit = |lines: &[Line]| Comb::fit(lines, frame, u_across);
    // The longest piece grows by its neighbours, one gap at a time.
    let mut pieces: Vec<Vec<Line>> = Vec::new();
    for line in found {
        match pieces.last_mut() {
            Some(p) if p.last().is_some_and(|l| line.number - l.number <= SURE_GAP) => p.push(line),
            _ => pieces.push(vec![line]),
        }
    }
    let start = (0..pieces.len()).max_by_key(|i| pieces[*i].len())?;
    let mut whole = pieces[start].clone();
    for side in [pieces[start + 1..].to_vec(), pieces[..start].iter().rev().cloned().collect()] {
        // What a gap has shifted holds for all that lies behind it.
        let mut shifted = 0;
        for piece in side {
            if piece.len() < LEAST_PIECE {
                continue;
            }
            let tries: Vec<(i32, Vec<Line>, f64)> = (-2..=2)
                .filter_map(|s| {
                    let moved = piece.iter().map(|l| Line { number: l.number + shifted + s, ..*l });
                    let mut lines: Vec<Line> = whole.iter().copied().chain(moved).collect();
                    lines.sort_by_key(|l| l.number);
                    let apart = lines.windows(2).all(|w| w[1].number > w[0].number);
                    let comb = if apart { fit(&lines) } else { None }?;
                    // A count that throws out lines to fit is none.
                    (comb.rejected * 8 <= lines.len()).then_some((s, lines, comb.rms_px.hypot(0.01)))
                })
                .collect();
            let mut order: Vec<usize> = (0..tries.len()).collect();
            order.sort_by(|a, b| tries[*a].2.total_cmp(&tries[*b].2));
            let Some(&best) = order.first() else { break };
            if order.get(1).is_some_and(|next| tries[best].2 > CLEARER * tries[*next].2) {
                break;
            }
            shifted += tries[best].0;
            whole.clone_from(&tries[best].1);
        }
    }
    fit(&whole)
}

fn evidence(track: &Track, comb: &Comb) -> Evidence {
    let (first, last) = (comb.lines[0], comb.lines[comb.lines.len() - 1]);
    // What a finger or glare hides in one piece is no line missed.
    let missed: i32 = comb.lines.windows(2).map(|w| w[1].number - w[0].number - 1).filter(|gap| *gap < SURE_GAP).sum();
    let lines = comb.lines.len();
    Evidence {
        lines,
        found: lines as f64 / (lines as f64 + f64::from(missed)),
        rms_px: comb.rms_px,
        systematic_px: comb.systematic_px,
        period_px: track.local(0.5 * f64::from(first.number + last.number)).period(),
        bend_px: comb.bend_px,
        line_length: track.length,
        margin: f64::INFINITY,
        agree: 1.0,
    }
}

/// Whether the lines are those of one straight ruler.
fn check_comb(e: &Evidence, least: usize, limits: &Acceptance) -> Result<()> {
    if e.lines < least {
        return Err(
            refused(format!("only {} lines of the ruler are to be seen, {least} are needed", e.lines)).help(BY_HAND)
        );
    }
    if e.found < limits.found {
        return Err(refused(format!("only {:.0} % of the ruler's lines are to be seen", 100.0 * e.found)).help(BY_HAND));
    }
    let bent = e.bend_px > (limits.bend * e.period_px).max(0.5);
    if bent || e.systematic_px > (limits.systematic * e.period_px).max(0.1) {
        return Err(refused(format!(
            "the ruler is not straight: its edge is off by {:.1} px, its lines by {:.1} px",
            e.bend_px, e.systematic_px
        ))
        .help("lay a straight, stiff ruler into the photo; a tape that bends cannot be measured with"));
    }
    if e.rms_px > limits.rms * e.period_px {
        return Err(refused(format!("the ruler's lines scatter by {:.2} px", e.rms_px)).help(BY_HAND));
    }
    Ok(())
}

fn reading(
    track: &Track,
    comb: &Comb,
    evidence: Evidence,
    step_mm: f64,
    numbering: Numbering,
    pattern: Option<super::Pattern>,
    label: impl Fn(i32) -> f64,
) -> Reading {
    let mut graduations: Vec<ReadGraduation> = comb
        .lines
        .iter()
        .zip(&comb.u_px)
        .zip(&comb.residuals)
        .map(|((l, u), r)| {
            let normal = Vector2::new(-l.direction.y, l.direction.x);
            let along = l.step.normalize();
            // Along its line, a point is known as well as the band's middle.
            let u_long = track.scatter_px.max(comb.bend_px).max(0.1 * l.step.norm()).max(0.5);
            let u_across = u * along.dot(&normal).abs();
            let covariance_px: Matrix2<f64> = l.direction * l.direction.transpose() * (u_long * u_long)
                + normal * normal.transpose() * (u_across * u_across);
            ReadGraduation {
                mm: label(l.number),
                at: l.at,
                covariance_px,
                u_px: *u,
                residual_px: *r,
                direction: l.direction,
            }
        })
        .collect();
    graduations.sort_by(|a, b| a.mm.total_cmp(&b.mm));
    Reading { graduations, numbering, step_mm, pattern, evidence, lengths: Vec::new() }
}

const TWO_MARKS: &str = "mark two of its graduations with their mm, far from each other";
const BY_HAND: &str = "mark three or more graduations by hand";

fn refused(what: impl Into<String>) -> Error {
    Error::new(ErrorKind::Scale, what)
}
