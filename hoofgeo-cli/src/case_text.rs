//! A followed case as text for the terminal.

use crate::terminal::{FAINT, STRONG, name};
use hoofgeo::follow::{Case, Change, Growth, Key, Series, Trend, TrimEffect, Verdict};
use hoofgeo::uncertainty::print as rounded;
use std::fmt::Write;

const NAME: usize = 34;
const CELL: usize = 19;

/// All that is told of one animal.
pub(crate) fn case_text(case: &Case) -> String {
    let mut out = String::new();
    let ends = (case.visits.first(), case.visits.last());
    let (Some(first), Some(last)) = ends else { return out };
    let visits = if case.visits.len() == 1 { "1 visit".to_owned() } else { format!("{} visits", case.visits.len()) };
    let _ = writeln!(out, "{STRONG}{}{STRONG:#}  {visits}, {} to {}\n", name(&case.animal), first.day, last.day);
    let mut keys: Vec<Key> = case.series.iter().map(|s| s.key).collect();
    keys.dedup();
    for key in keys {
        let rows: Vec<&Series> = case.series.iter().filter(|s| s.key == key && !s.changes.is_empty()).collect();
        if !rows.is_empty() {
            series_table(&mut out, key, &rows);
        }
    }
    trim_tables(&mut out, &case.trims);
    growth_table(&mut out, &case.growth);
    for remark in case.visits.iter().filter(|v| !v.remarks.is_empty()) {
        let _ = writeln!(out, "{FAINT}{}{FAINT:#}", remark.day);
        for (about, text) in &remark.remarks {
            let _ = writeln!(out, "  {}: {}", name(about), name(text));
        }
    }
    let scattered = |t: &Trend| t.scatter.as_ref().is_some_and(|s| s.is_excessive());
    if case.series.iter().filter_map(|s| s.trend.as_ref()).any(scattered) {
        out.push_str("* the visits scatter about the line more than their uncertainties explain; ± is wider for it\n");
    }
    let compared = case.series.iter().filter(|s| !s.changes.is_empty()).count() + case.trims.len();
    let _ = writeln!(
        out,
        "\n± is the expanded uncertainty at 95 %, what both visits share left out of differences. Of {compared} differences looked \
         at,\nabout {} would pass for real by chance alone. A photo does not show the bone; a number is no diagnosis.",
        (compared as f64 * 0.05).ceil()
    );
    out
}

fn title(key: Key) -> String {
    let mut title = format!("{}, {}", key.foot, key.view);
    if let Some(side) = key.side {
        let _ = write!(title, " ({side} side)");
    }
    if let Some(stage) = key.stage {
        let _ = write!(title, ", {}", stage.name().replace('_', " "));
    }
    title
}

fn series_table(out: &mut String, key: Key, rows: &[&Series]) {
    let head = |t: &str| format!("{t:>CELL$}");
    let latest = rows[0].values.last().map(|v| v.day.to_string()).unwrap_or_default();
    let since = rows[0].latest_change().map(|c| format!("since {}", c.from)).unwrap_or_default();
    let _ = writeln!(
        out,
        "{STRONG}{:<NAME$}{STRONG:#}{FAINT}{}{}  {:<14}{}{FAINT:#}",
        title(key),
        head(&latest),
        head(&since),
        "",
        head("a month")
    );
    for s in rows {
        let unit = s.measurement.quantity.unit();
        let value = s.values.last().map(|v| rounded(v.value, v.k * v.u, unit).to_string()).unwrap_or_default();
        let change = s.latest_change();
        let (cell, verdict) =
            change.map_or_else(Default::default, |c| (signed(c.difference, c.expanded(), unit), word(c)));
        let rate = s.trend.as_ref().filter(|_| s.values.len() > 2).map_or_else(String::new, |t| rate(t, unit));
        let _ = writeln!(
            out,
            "  {:<w$}{value:>CELL$}{cell:>CELL$}  {verdict:<14}{rate:>CELL$}",
            s.measurement.name,
            w = NAME - 2
        );
        for (limit, crossing) in &s.crossings {
            let limit = format!("{}{}", limit.value, if unit == "deg" { "°".to_owned() } else { format!(" {unit}") });
            let _ = writeln!(out, "    {FAINT}{limit}: {}{FAINT:#}", crossing.words());
        }
    }
    out.push('\n');
}

fn word(c: &Change) -> &'static str {
    match c.verdict {
        Verdict::Rose => "rose",
        Verdict::Fell => "fell",
        Verdict::NotResolved => "not resolved",
    }
}

fn signed(value: f64, expanded: f64, unit: &str) -> String {
    hoofgeo::uncertainty::print_signed(value, expanded, unit)
}

/// A rate; a star where the visits scatter more than their uncertainties explain.
fn rate(t: &Trend, unit: &str) -> String {
    let star = if t.scatter.as_ref().is_some_and(|s| s.is_excessive()) { "*" } else { "" };
    format!("{}{star}", signed(t.per_month, t.k * t.u_per_month(), unit))
}

fn trim_tables(out: &mut String, trims: &[TrimEffect]) {
    let Some(last) = trims.iter().map(|t| t.change.to).max() else { return };
    let mut keys: Vec<Key> = trims.iter().map(|t| t.key).collect();
    keys.dedup();
    for key in keys {
        let rows: Vec<_> = trims.iter().filter(|t| t.key == key && t.change.to == last).collect();
        if rows.is_empty() {
            continue;
        }
        let heading = format!("{}, trim of {last}", title(key));
        let _ = writeln!(out, "{STRONG}{heading}{STRONG:#}");
        for t in rows {
            let unit = t.measurement.quantity.unit();
            let cell = |v: &hoofgeo::follow::VisitValue| rounded(v.value, v.k * v.u, unit).to_string();
            let _ = writeln!(
                out,
                "  {:<w$}{:>CELL$}{:>CELL$}{:>CELL$}  {}",
                t.measurement.name,
                cell(&t.before),
                cell(&t.after),
                signed(t.change.difference, t.change.expanded(), unit),
                word(&t.change),
                w = NAME - 2
            );
        }
        out.push('\n');
    }
}

fn growth_table(out: &mut String, growth: &[Growth]) {
    if growth.is_empty() {
        return;
    }
    let _ = writeln!(out, "{STRONG}Growth a month{STRONG:#}");
    for g in growth {
        let what = match g.from {
            hoofgeo::follow::GrowthFrom::Rings => "rings that moved down",
            hoofgeo::follow::GrowthFrom::Wall => "wall length, wear taken off",
        };
        let rate = rounded(g.per_month, g.k * g.u, "mm");
        let _ = write!(out, "  {:<w$}{rate:>CELL$}", format!("{} {}, {what}", g.foot, g.place.name()), w = NAME + 6);
        if g.ambiguous > 0 {
            let _ = write!(out, "  {FAINT}left out where rings fit in several ways: {}{FAINT:#}", g.ambiguous);
        }
        out.push('\n');
    }
    out.push('\n');
}
