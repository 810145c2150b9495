//! Reading without marks: the comb is sought in the whole photo, and numbered by the lengths of its lines.

use super::hierarchy::{Judged, judge, lengths};
use super::patch::Local;
use super::read::{TWO_MARKS, check_comb, comb_of, evidence, reading, refused};
use super::search::{Pyramid, seeds};
use super::trace::{Track, trace};
use super::{Acceptance, Numbering, Reading};
use crate::error::{Error, Result};
use crate::pixels::Grey;
use nalgebra::Vector2;

/// Sizes of the photo at which combs are sought, and how many starts are followed at each.
const LEVELS: usize = 4;
const STARTS: usize = 120;

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
    // Plus zero: no label is -0.
    let label = |k: i32| sign * step_mm * f64::from(k - zero) + 0.0;
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
