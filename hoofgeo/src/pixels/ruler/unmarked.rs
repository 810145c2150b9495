//! Reading without marks: the comb is sought in the whole photo, and numbered by the lengths of its lines.

use super::bar::read_bar;
use super::hierarchy::{Judged, judge, lengths};
use super::numbers::{Lines, printed};
use super::read::{Seen, TWO_MARKS, check_comb, evidence, reading, refused, seen};
use super::search::{Pyramid, seeds};
use super::trace::{Track, trace};
use super::view::View;
use super::{Acceptance, Evidence, Numbering, Print, Reading};
use crate::error::{Error, Result};
use crate::pixels::Grey;

/// Sizes of the photo at which combs are sought, and how many starts are followed at each.
const LEVELS: usize = 6;
const STARTS: usize = 60;
/// Pixels of the picture in which a scale bar's numbers are looked for, at most.
const BAR_PIXELS: u64 = 6_500_000;
/// Beside how many combs numbers are read, those with the most lines.
const READ_NUMBERS: usize = 3;

/// Finds and reads a ruler anywhere in a photo that is stated to be metric: the caller vouches that it is not divided into tenths of an
/// inch or the like, whose lines come in the same order of lengths (see the [module](super)), or looks at [`Print::metric`].
///
/// # Errors
/// `Scene` where none is found, or none whose lines certainly are those of a millimetre rule; two marks then help.
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
    let mut tracks: Vec<Track> = Vec::new();
    let mut why: Option<(usize, Error)> = None;
    // A ruler that can be read well fills a good part of the photo: its lines beat at a middle size.
    for level in [1, 2, 0, 3, 4, 5] {
        let Some(small) = pyramid.level(grey, level) else { continue };
        let scale = f64::from(1u32 << level);
        let (mut starts, mut known, mut unknown) = (0, Vec::new(), Vec::new());
        for seed in seeds(small, scale, |_| true) {
            if starts >= STARTS {
                break;
            }
            if tracks.iter().any(|t| t.covers(4.0, &seed.local)) {
                continue;
            }
            starts += 1;
            let Some(track) = trace(&view, &seed.local) else { continue };
            match look(&view, &track, limits) {
                Ok(looked) if looked.reading.is_ok() => known.push(looked),
                Ok(looked) => unknown.push(looked),
                Err(refused) => note(&mut why, refused),
            }
            tracks.push(track);
        }
        // What the lines' lengths do not tell, numbers may. Of several rulers, or edges of one, the most certain counts.
        let margin = |l: &Looked| l.reading.as_ref().map_or(0.0, |r| r.evidence.margin);
        known.sort_by(|a, b| margin(b).total_cmp(&margin(a)));
        unknown.sort_by_key(|l| std::cmp::Reverse(l.seen.comb.lines.len()));
        for looked in [known, unknown].into_iter().flat_map(|l| l.into_iter().take(READ_NUMBERS)) {
            let lines = looked.seen.comb.lines.len();
            match by_numbers(looked) {
                Ok(reading) => return Ok(reading),
                Err(e) => note(&mut why, (lines, e)),
            }
        }
    }
    // A bar of a few lines far apart beats nowhere; its numbers may be read.
    let fits = |g: &Grey| u64::from(g.width()) * u64::from(g.height()) <= BAR_PIXELS;
    let small = (0..LEVELS).filter_map(|l| Some((l, pyramid.level(grey, l)?))).find(|(_, g)| fits(g));
    if let Some((level, small)) = small
        && let Ok(reading) = read_bar(&view, small, f64::from(1u32 << level), limits)
    {
        return Ok(reading);
    }
    Err(why.map_or_else(|| refused("no ruler was found in the photo").help(TWO_MARKS), |w| w.1))
}

/// Of several reasons that of the comb with the most lines is said.
fn note(why: &mut Option<(usize, Error)>, refused: (usize, Error)) {
    if why.as_ref().is_none_or(|w| w.0 < refused.0) {
        *why = Some(refused);
    }
}

/// A comb that was looked at, and its reading by the lengths of its lines.
struct Looked<'a> {
    seen: Seen<'a>,
    evidence: Evidence,
    reading: Result<Reading>,
}

/// Looks at a comb; where it is none, says how many lines it had.
fn look<'a>(view: &View<'a>, track: &Track, limits: &Acceptance) -> Result<Looked<'a>, (usize, Error)> {
    let Some(seen) = seen(view, track) else {
        return Err((0, refused("too few lines of the ruler are to be seen").help(TWO_MARKS)));
    };
    let lines = seen.comb.lines.len();
    let with_lines = |e: Error| (lines, e);
    // Numbers may tell what fewer lines are.
    check_comb(&evidence(track, &seen.comb), limits.lines_marked, limits).map_err(with_lines)?;
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
    let evidence = evidence(&seen.track, &seen.comb);
    check_comb(&evidence, limits.lines_marked, limits).map_err(with_lines)?;
    let reading = by_lengths(&seen, evidence, judged, limits);
    Ok(Looked { seen, evidence, reading })
}

/// A comb numbered by the lengths of its lines.
fn by_lengths(seen: &Seen, mut evidence: Evidence, judged: Option<Judged>, limits: &Acceptance) -> Result<Reading> {
    let Seen { comb, track, .. } = seen;
    check_comb(&evidence, limits.lines, limits)?;
    let Some(Judged { best, margin }) = judged else {
        return Err(refused("the lines' lengths tell nothing").help(TWO_MARKS));
    };
    (evidence.margin, evidence.agree) = (margin, best.agree);
    let certain = margin >= limits.margin && best.agree >= limits.agree;
    let Some(step_mm) = best.pattern.step_mm() else {
        let what = if best.pattern.is_inch() && certain {
            "the ruler found is graduated in inches"
        } else {
            "an even row of lines was found, but the lengths of its lines are not those of a millimetre ruler"
        };
        return Err(refused(what).help(TWO_MARKS));
    };
    if !certain {
        return Err(
            refused("a row of lines was found, but whether they are millimetres is not certain").help(TWO_MARKS)
        );
    }
    if track.length * step_mm.max(1.0) < limits.line_length {
        return Err(refused("the lines found are too short for their distance to be millimetres").help(TWO_MARKS));
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

/// A comb numbered by what is printed beside it, where that says it; what its lines' lengths say must not contradict that.
fn by_numbers(looked: Looked) -> Result<Reading> {
    let Looked { seen, mut evidence, reading: by_lengths } = looked;
    let printed = [seen.view, seen.view.negative()].into_iter().find_map(|view| printed(&view, &seen.track));
    let Some((printed, lines)) = printed.and_then(|p| Some((p.lines()?, p))).map(|(l, p)| (p, l)) else {
        return by_lengths;
    };
    let Lines::Metric { step_mm, certain } = lines else {
        return Err(refused("the ruler found is graduated in inches, as its numbers say").help(TWO_MARKS));
    };
    if by_lengths.as_ref().is_ok_and(|r| r.step_mm != step_mm) {
        return Err(refused("the lengths of the ruler's lines and its numbers contradict each other").help(TWO_MARKS));
    }
    let numbers = printed.rows.iter().map(|r| r.fit).max().unwrap_or(0);
    let print = Print { numbers, metric: certain, mirrored: printed.rows.iter().any(|r| r.way.mirrored) };
    // Which line is zero: one of the long ones, where these are known, for numbers stand beside them or a little off.
    let cycle = (10.0 / step_mm).round();
    let long = by_lengths.as_ref().ok().and_then(|r| {
        let long = r.graduations.iter().find(|g| (g.mm / 10.0).fract() == 0.0)?;
        seen.comb.lines.iter().find(|l| l.at == long.at).map(|l| f64::from(l.number))
    });
    let zero = printed.row().map(|row| {
        let nearest = long.map(|long| long + cycle * ((row.zero - long) / cycle).round());
        let zero = nearest.unwrap_or_else(|| row.zero.round());
        (zero, row.rate.signum() * step_mm, (row.zero - zero).abs() <= 0.2 * cycle.max(2.0))
    });
    let mut reading = match (by_lengths, zero) {
        // Without known lengths, the numbers' middles alone say which line they belong to.
        (by_lengths, Some((zero, rise, true))) => {
            let Seen { comb, track, .. } = &seen;
            let label = |k: i32| rise * (f64::from(k) - zero) + 0.0;
            let (pattern, lengths) = by_lengths.map_or((None, Vec::new()), |r| {
                (evidence.margin, evidence.agree) = (r.evidence.margin, r.evidence.agree);
                (r.pattern, r.lengths)
            });
            let mut reading = reading(track, comb, evidence, step_mm, Numbering::Numbers, pattern, label);
            reading.lengths = lengths;
            reading
        }
        (Ok(reading), _) => reading,
        (Err(e), _) => return Err(e),
    };
    reading.print = Some(print);
    Ok(reading)
}
