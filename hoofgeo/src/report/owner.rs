//! The owner's sheet: few numbers, in everyday words.

use super::foot::{Context, chart};
use super::model::{OwnerFoot, OwnerNumber, PhotoFigure};
use super::{Photo, photos, words};
use crate::follow::{Change, Series, Verdict};
use crate::measure::{self, Measurement};
use crate::{Foot, View};

/// What an owner sees, and what it is.
const NUMBERS: [(&Measurement, &str); 5] = [
    (&measure::HEEL_ANGLE, "how steep the heel stands on the ground"),
    (
        &measure::HEEL_TOE_ANGLE_DIFFERENCE,
        "how much flatter the heel stands than the toe; a smaller number means they match better",
    ),
    (&measure::HEEL_ABOVE_SOLE_PLANE, "how far the heel reaches beyond the hard sole that shows where it should end"),
    (
        &measure::WHITE_LINE_WIDTH,
        "the seam between wall and sole at the toe; it widens where the toe is pulled forward",
    ),
    (&measure::FROG_WIDTH, "the width of the frog, the wedge in the middle of the sole"),
];

/// Width of a picture on the owner's sheet, px.
const WIDTH: u32 = 760;

pub(super) fn feet(c: &Context<'_>, known: &[&Photo], feet: &[Foot]) -> Vec<OwnerFoot> {
    feet.iter()
        .map(|foot| OwnerFoot {
            name: words::foot(*foot),
            heel: c.heel_words(*foot),
            numbers: NUMBERS.iter().filter_map(|(m, what)| number(c, *foot, m, what)).collect(),
            photos: pictures(c, known, *foot),
        })
        .collect()
}

fn number(c: &Context<'_>, foot: Foot, m: &Measurement, what: &'static str) -> Option<OwnerNumber> {
    let s = c.telling(foot, m)?;
    let now = c.value(s)?;
    Some(OwnerNumber {
        name: m.name,
        what,
        now: c.value_text(m, s.key, now),
        story: story(m, s),
        chart: chart(c, foot, m, &[s], "o"),
    })
}

fn story(m: &Measurement, s: &Series) -> String {
    let change: Option<&Change> = s.since_first.as_ref().or_else(|| s.changes.last());
    let (Some(change), Some(first)) = (change, s.values.first()) else {
        return "Measured for the first time: a second visit will show where it goes.".to_owned();
    };
    let then = format!("{} on {}", words::short(m, first.value, first.k * first.u), words::day(first.day));
    match change.verdict {
        Verdict::Rose => format!("It was {then}, and is higher now."),
        Verdict::Fell => format!("It was {then}, and is lower now."),
        Verdict::NotResolved => format!(
            "It was {then}. Whether it has changed cannot be told yet: only a change of more than {} would show.",
            words::threshold(m, change.smallest())
        ),
    }
}

/// The side of the foot at the first visit and now, at one stage; one picture where there is one visit only.
fn pictures(c: &Context<'_>, known: &[&Photo], foot: Foot) -> Vec<PhotoFigure> {
    let of = |day| {
        let mut found: Vec<_> =
            known.iter().filter(|p| p.shot.foot == foot && p.shot.view == View::Lateral && p.shot.day == day).collect();
        found.sort_by_key(|p| (p.shot.stage, p.shot.side != Some(crate::Side::Lateral)));
        found.first().copied().copied()
    };
    let first = c.case.visits.first().map(|v| v.day).filter(|d| *d != c.day);
    first
        .into_iter()
        .chain([c.day])
        .filter_map(|day| Some((day, of(day)?)))
        .map(|(day, photo)| {
            let figure = photos::figure(photo, WIDTH, c.pictures);
            PhotoFigure { caption: words::day(day), ..figure }
        })
        .collect()
}
