//! Numbers, days and findings as a person reads them.

use crate::evaluate::Value;
use crate::follow::{Change, Trend, Verdict, VisitValue};
use crate::measure::Measurement;
use crate::uncertainty::print;
use crate::{Foot, Side, Stage, View};
use jiff::civil::Date;

pub(super) fn day(day: Date) -> String {
    day.strftime("%-d %B %Y").to_string()
}

pub(super) const fn foot(foot: Foot) -> &'static str {
    match foot {
        Foot::LeftFore => "Left fore",
        Foot::RightFore => "Right fore",
        Foot::LeftHind => "Left hind",
        Foot::RightHind => "Right hind",
    }
}

pub(super) const fn stage(stage: Option<Stage>) -> &'static str {
    match stage {
        Some(Stage::BeforeTrim) => "before the trim",
        Some(Stage::AfterTrim) => "after the trim",
        None => "this visit",
    }
}

pub(super) fn seen(view: View, side: Option<Side>) -> &'static str {
    match (view, side) {
        (View::Solar, _) => "from the sole",
        (View::Lateral, Some(Side::Medial)) => "from the inner side",
        (View::Lateral, _) => "from the outer side",
    }
}

pub(super) fn value(m: &Measurement, v: &VisitValue) -> String {
    print(v.value, v.k * v.u, m.quantity.unit()).to_string()
}

pub(super) fn number(m: &Measurement, v: f64, expanded: f64) -> String {
    print(v, expanded, m.quantity.unit()).to_string()
}

/// A number alone, to the digits that its uncertainty leaves.
pub(super) fn short(m: &Measurement, v: f64, expanded: f64) -> String {
    let p = print(v, expanded, m.quantity.unit());
    format!("{}{}", p.value, p.unit)
}

/// With its sign.
pub(super) fn signed(m: &Measurement, v: f64, expanded: f64) -> String {
    crate::uncertainty::print_signed(v, expanded, m.quantity.unit())
}

/// A positive number, rounded up to two digits: what an uncertainty or a threshold is.
pub(super) fn threshold(m: &Measurement, v: f64) -> String {
    let p = print(v, v, m.quantity.unit());
    format!("{}{}", p.expanded.unwrap_or(p.value), p.unit)
}

/// A limit in its unit, all its digits.
pub(super) fn limit(v: f64, unit: &str) -> String {
    // A third is one third to any reader.
    let v = (v * 1000.0).round() / 1000.0;
    match unit {
        "deg" => format!("{v}°"),
        "1" => format!("{v}"),
        "mm2" => format!("{v} mm²"),
        unit => format!("{v} {unit}"),
    }
}

pub(super) const fn verdict(v: Verdict) -> &'static str {
    match v {
        Verdict::Rose => "rose",
        Verdict::Fell => "fell",
        Verdict::NotResolved => "not resolved",
    }
}

/// A probability as a percentage that never claims certainty.
pub(super) fn percent(p: f64) -> String {
    if p > 0.999 {
        "more than 99.9 %".to_owned()
    } else if p < 0.001 {
        "less than 0.1 %".to_owned()
    } else if !(0.1..=0.9).contains(&p) {
        format!("{:.1} %", 100.0 * p)
    } else {
        format!("{:.0} %", 100.0 * p)
    }
}

/// A real change as a sentence: `Heel angle rose by 1.6° ± 1.2° since 29 June 2026.`
pub(super) fn change(m: &Measurement, c: &Change) -> String {
    let size = number(m, c.difference.abs(), c.expanded());
    match c.verdict {
        Verdict::NotResolved => format!(
            "{}: no change can be shown since {}. Only a change of more than {} would have been.",
            m.name,
            day(c.from),
            threshold(m, c.smallest())
        ),
        v => format!("{} {} by {size} since {}.", m.name, verdict(v), day(c.from)),
    }
}

/// A resolved rate as a sentence.
pub(super) fn trend(m: &Measurement, t: &Trend) -> String {
    let way = if t.per_month > 0.0 { "rises" } else { "falls" };
    let size = number(m, t.per_month.abs(), t.k * t.u_per_month());
    format!("Over {} visits since {}: {} {way} by {size} a month.", t.visits, day(t.from), m.name.to_lowercase())
}

/// With a capital first letter and a full stop.
pub(super) fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| format!("{}{}.", first.to_uppercase(), letters.as_str()))
}

/// The largest of a photo's values by what makes it uncertain is not told by one value: the mean share of each source.
pub(super) fn mean_shares<'a>(values: impl Iterator<Item = &'a Value>) -> Vec<(crate::uncertainty::Source, f64)> {
    let mut n = 0.0;
    let mut sums: Vec<(crate::uncertainty::Source, f64)> = Vec::new();
    for v in values {
        n += 1.0;
        for (source, share) in &v.budget.shares {
            match sums.iter_mut().find(|(s, _)| s == source) {
                Some((_, sum)) => *sum += share,
                None => sums.push((*source, *share)),
            }
        }
    }
    for (_, sum) in &mut sums {
        *sum /= n;
    }
    sums.sort_by(|a, b| b.1.total_cmp(&a.1));
    sums
}
