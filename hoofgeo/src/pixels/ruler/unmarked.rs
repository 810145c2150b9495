//! Reading without marks: the comb is sought in the whole photo, and numbered by the lengths of its lines.

use super::hierarchy::{Judged, judge, lengths};
use super::read::{Seen, TWO_MARKS, check_comb, evidence, reading, refused, seen};
use super::search::{Pyramid, seeds};
use super::trace::{Track, trace};
use super::view::View;
use super::{Acceptance, Numbering, Reading};
use crate::error::{Error, Result};
use crate::pixels::Grey;

/// Sizes of the photo at which combs are sought, and how many starts are followed at each.
const LEVELS: usize = 4;
const STARTS: usize = 200;

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
    let view = View::dark(grey);
    let pyramid = Pyramid::new(grey, LEVELS);
    let mut seen: Vec<(Track, f64)> = Vec::new();
    let mut best: Option<Reading> = None;
    let mut why: Option<(f64, Error)> = None;
    // A ruler that can be read well fills a good part of the photo: its lines beat at a middle size.
    for level in [1, 2, 0, 3] {
        let Some(small) = pyramid.level(grey, level) else { continue };
        let scale = f64::from(1u32 << level);
        let mut starts = 0;
        for seed in seeds(small, scale, |_| true) {
            if starts >= STARTS {
                break;
            }
            if seen.iter().any(|(t, reach)| t.covers(*reach, &seed.local)) {
                continue;
            }
            starts += 1;
            let Some(track) = trace(&view, &seed.local) else { continue };
            let outcome = read_track(&view, &track, limits);
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

/// Reads a comb by the lengths of its lines; where it is refused, says how many lines it had.
fn read_track(view: &View, track: &Track, limits: &Acceptance) -> Result<Reading, (f64, Error)> {
    let Some(seen) = seen(view, track) else {
        return Err((0.0, refused("too few lines of the ruler are to be seen").help(TWO_MARKS)));
    };
    let lines = seen.comb.lines.len() as f64;
    let with_lines = |e: Error| (lines, e);
    check_comb(&evidence(track, &seen.comb), limits.lines, limits).map_err(with_lines)?;
    // Lines may be light on dark: what sticks out tells.
    let negative = Seen { comb: seen.comb.between(), track: track.between(), view: view.negative() };
    let judge_of = |s: &Seen| {
        let sides = [1.0, -1.0].map(|side| judge(&lengths(&s.view, &s.track, &s.comb, side)));
        sides.into_iter().flatten().max_by(|a, b| a.score().total_cmp(&b.score()))
    };
    let (mut judged, mut seen) = (judge_of(&seen), seen);
    let light = judge_of(&negative);
    if light.as_ref().map_or(0.0, Judged::score) > judged.as_ref().map_or(0.0, Judged::score)
        && let Some(finer) = super::read::seen(&negative.view, &negative.track)
    {
        (judged, seen) = (judge_of(&finer), finer);
    }
    let Seen { comb, track, .. } = &seen;
    let mut evidence = evidence(track, comb);
    check_comb(&evidence, limits.lines, limits).map_err(with_lines)?;
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
    let mut reading = reading(track, comb, evidence, step_mm, Numbering::Lengths, Some(best.pattern), label);
    reading.lengths = best.lengths;
    Ok(reading)
}
