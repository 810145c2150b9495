//! Scale bars and short views: a few lines far apart, which nothing but their numbers, or two marks, leads to.

use super::numbers::bar_numbers;
use super::patch::Local;
use super::print::{Strip, Text, Way};
use super::read::{Seen, check_comb, evidence, reading, refused, seen};
use super::trace::Track;
use super::view::View;
use super::{Acceptance, Numbering, Print, Reading};
use crate::error::Result;
use crate::pixels::Grey;
use nalgebra::{Point2, Vector2};

/// Lines of a bar are short against their distance: they are looked for a tenth of it at a time, on stretches of this length.
const PLACE: f64 = 0.1;
const STRETCH: f64 = 0.2;
/// Fewest lines.
const LEAST_LINES: usize = 9;
/// Most scatter of the lines about their comb, line distances.
const MOST_RMS: f64 = 0.012;
/// Least standard uncertainty of a line, line distances: so few show little of what they have in common.
const LEAST_U: f64 = 0.005;
/// How far beside the numbers lines are looked for, line distances.
const BESIDE: [f64; 2] = [0.3, 1.2];

/// The best comb of the lines between two places that lie so many line distances apart, dark or light; `across` are the stretches in which
/// they are looked for, line distances from the straight way.
pub(super) fn few_lines<'a>(
    view: &View<'a>,
    ends: [Point2<f64>; 2],
    count: i32,
    across: &[[f64; 2]],
    limits: &Acceptance,
) -> Option<Seen<'a>> {
    let step = (ends[1] - ends[0]) / f64::from(count);
    let across_step = Vector2::new(-step.y, step.x);
    let mut found: Vec<(f64, Seen)> = Vec::new();
    for view in [*view, view.negative()] {
        for [low, high] in across {
            let places = ((high - low) / PLACE).round() as i32;
            for place in 0..=places {
                let centre = ends[0] + across_step * (low + f64::from(place) * PLACE);
                let local = Local { centre, step, line: across_step.normalize() };
                let track = Track::straight(&local, 0, [0, count], STRETCH);
                let Some(seen) = seen(&view, &track) else { continue };
                let e = evidence(&seen.track, &seen.comb);
                let even = e.rms_px < MOST_RMS * e.period_px && seen.comb.rejected * 8 <= e.lines;
                // A line or two may be hidden.
                let whole = (count + 1 - e.lines as i32).abs() <= 2;
                if even && whole && check_comb(&e, LEAST_LINES, limits).is_ok() {
                    found.push((e.rms_px, seen));
                }
            }
        }
    }
    for (_, seen) in &mut found {
        let floor = LEAST_U * evidence(&seen.track, &seen.comb).period_px;
        seen.comb.u_px.iter_mut().for_each(|u| *u = u.max(floor));
    }
    // Thin lines are located better than what else stands in the same order.
    found.into_iter().min_by(|a, b| a.0.total_cmp(&b.0)).map(|f| f.1)
}

/// Reads a bar of centimetres by the numbers beside its lines, of which a unit says what they are, in a picture of the photo that is
/// `scale` times smaller.
pub(super) fn read_bar(view: &View, small: &Grey, scale: f64, limits: &Acceptance) -> Result<Reading> {
    let none = || refused("no scale bar with numbers and a unit was found");
    for seen_in in [View::dark(small), View::dark(small).negative()] {
        let strip = Strip::whole(&seen_in);
        for way in Way::all(false) {
            let words = strip.words(way);
            if !words.iter().any(|w| w.text == Text::Centimetre) {
                continue;
            }
            let Some(bar) = bar_numbers(&words) else { continue };
            let ends = bar.ends.map(|p| p * scale);
            let count = (bar.numbers[1] - bar.numbers[0]) as i32;
            let sides = [BESIDE, [-BESIDE[1], -BESIDE[0]]];
            let Some(found) = few_lines(view, ends, count, &sides, limits) else { continue };
            let e = evidence(&found.track, &found.comb);
            let label = |k: i32| 10.0 * f64::from(bar.numbers[0] as i32 + k);
            let mut reading = reading(&found.track, &found.comb, e, 10.0, Numbering::Numbers, None, label);
            reading.print = Some(Print { numbers: bar.fit, metric: true, mirrored: false });
            return Ok(reading);
        }
    }
    Err(none())
}
