//! Explanations of measurements, landmarks and lines as text, derived from their declarations.

use crate::error::{Error, ErrorKind, Result};
use crate::foot::View;
use crate::landmark::{Landmark, Line, ORDERS, Spread};
use crate::measure::{self, Measurement, Need};
use crate::review;
use std::fmt::Write;

/// Explains a measurement, landmark or line by its name in files.
///
/// # Errors
/// `Usage` for a name that is none of them, with the nearest one.
///
/// # Example
/// ```
/// let text = hoofgeo::explain::explain("heel_angle")?;
/// assert!(text.contains("Heel angle") && text.contains("heel_coronet"));
/// assert!(hoofgeo::explain::explain("heel_angel").unwrap_err().to_string().contains("heel_angle"));
/// # Ok::<(), hoofgeo::Error>(())
/// ```
pub fn explain(name: &str) -> Result<String> {
    if let Some(m) = review::find(name) {
        return Ok(measurement(m));
    }
    let mut out = String::new();
    for l in Landmark::ALL.iter().filter(|l| l.name() == name) {
        out.push_str(&landmark(*l));
    }
    for l in Line::ALL.iter().filter(|l| l.name() == name) {
        out.push_str(&line(*l));
    }
    if !out.is_empty() {
        return Ok(out);
    }
    let names = measure::ALL
        .iter()
        .chain(review::quantities::ALL)
        .map(|m| m.id)
        .chain(Landmark::ALL.iter().map(|l| l.name()))
        .chain(Line::ALL.iter().map(|l| l.name()));
    let nearest = names
        .map(|n| (strsim::damerau_levenshtein(n, name), n))
        .min()
        .filter(|(distance, n)| *distance <= 2 + n.len() / 5);
    let error = Error::new(ErrorKind::Usage, format!("no measurement, landmark or line is called `{name}`"));
    Err(match nearest {
        Some((_, n)) => error.help(format!("did you mean `{n}`? `hoofgeo explain` lists them all")),
        None => error.help("`hoofgeo explain` lists them all"),
    })
}

/// Lists every measurement, landmark and line, a line each.
pub fn list() -> String {
    let mut out = String::new();
    for view in View::ALL {
        let _ = writeln!(out, "Measurements, {view} view");
        for m in measure::of(*view) {
            let _ = writeln!(out, "  {:<34}{}, {}", m.id, m.name, m.quantity.unit());
        }
        let _ = writeln!(out, "Used by review, {view} view");
        for m in review::quantities::ALL.iter().filter(|m| m.view == *view) {
            let _ = writeln!(out, "  {:<34}{}, {}", m.id, m.name, m.quantity.unit());
        }
        let _ = writeln!(out, "Landmarks, {view} view");
        for l in Landmark::of(*view) {
            let _ = writeln!(out, "  {:<34}{}", l.name(), l.info().definition);
        }
        let _ = writeln!(out, "Lines, {view} view");
        for l in Line::of(*view) {
            let _ = writeln!(out, "  {:<34}{}", l.name(), l.info().definition);
        }
        out.push('\n');
    }
    out
}

fn measurement(m: &Measurement) -> String {
    let mut out = format!("{} ({}), {} view, unit {}\n", m.name, m.id, m.view, m.quantity.unit());
    let _ = writeln!(out, "\nDefinition\n  {}", m.definition);
    let _ = writeln!(out, "\nNeeds");
    for need in m.needs {
        let _ = writeln!(out, "  {}", need_text(need));
    }
    let mut landmarks = Vec::new();
    m.needs.iter().for_each(|n| collect(n, &mut landmarks));
    if !landmarks.is_empty() {
        let _ = writeln!(out, "\nLandmarks");
        for l in landmarks {
            let _ = writeln!(out, "  {:<18}{}", l.name(), l.info().definition);
        }
    }
    let _ = writeln!(out, "\nSource of the definition\n  {}", m.source);
    let unit = if m.quantity.unit() == "1" { String::new() } else { format!(" {}", m.quantity.unit()) };
    let range = |[low, high]: [f64; 2]| format!("{low} to {high}{unit}");
    let _ = writeln!(
        out,
        "\nWhat is plausible, from pony to draught horse (a foal's, pony's or draught horse's limits: subject.kind)\n  usual {}; \
         rarer ones are flagged\n  possible {}; others are refused\n  source: {}",
        range(m.plausible.usual),
        range(m.plausible.possible),
        m.plausible.source
    );
    if !m.references.is_empty() {
        let _ = writeln!(out, "\nPublished values (of other horses: a question to ask, no verdict)");
        for r in m.references {
            let _ = writeln!(out, "  {}\n    {}", r.says, r.source);
        }
    }
    out
}

fn need_text(need: &Need) -> String {
    match need {
        Need::Point(l) => l.name().to_owned(),
        Need::Line(l, n) if *n > 1 => format!("the line {} with at least {n} points", l.name()),
        Need::Line(l, _) => format!("the line {}", l.name()),
        Need::Gauge => "a gauge reading".to_owned(),
        Need::Either(sets) => {
            let sets: Vec<String> =
                sets.iter().map(|set| set.iter().map(need_text).collect::<Vec<_>>().join(" and ")).collect();
            sets.join("; or ")
        }
    }
}

fn collect(need: &Need, into: &mut Vec<Landmark>) {
    match need {
        Need::Point(l) if !into.contains(l) => into.push(*l),
        Need::Either(sets) => sets.iter().flat_map(|s| s.iter()).for_each(|n| collect(n, into)),
        _ => {}
    }
}

fn landmark(l: Landmark) -> String {
    let i = l.info();
    let spread = match i.spread {
        Spread::Round(u) => format!("{u} mm"),
        Spread::Oval { along, across, .. } => format!("{along} mm along, {across} mm across"),
    };
    let used: Vec<_> = measure::of(i.view)
        .filter(|m| {
            let mut needed = Vec::new();
            m.needs.iter().for_each(|n| collect(n, &mut needed));
            needed.contains(&l)
        })
        .map(|m| m.id)
        .collect();
    let orders: Vec<String> = ORDERS
        .iter()
        .filter(|o| o.first == l || o.second == l)
        .map(|o| format!("  {} stands {} {}", o.first, o.stands.words(), o.second))
        .collect();
    let orders = if orders.is_empty() { String::new() } else { format!("\nIn every foot\n{}\n", orders.join("\n")) };
    let edge = i.contour.map_or_else(String::new, |c| {
        format!(
            "\nIts edge\n  that of {}: `hoofgeo read --snap` moves it square to that edge where one stands out\n",
            c.line
        )
    });
    format!(
        "{} (landmark), {} view, on the {} plane\n\nDefinition\n  {}\n\nHow to find it\n  {}\n\nStandard uncertainty of the \
         point itself\n  {spread} (estimate, no source)\n{edge}{orders}\nUsed by\n  {}\n",
        i.name,
        i.view,
        i.plane,
        i.definition,
        i.find,
        if used.is_empty() { "no measurement yet".to_owned() } else { used.join(", ") }
    )
}

fn line(l: Line) -> String {
    let i = l.info();
    let kind = if i.closed { "closed outline" } else { "line" };
    format!(
        "{} ({kind}), {} view, on the {} plane\n\nDefinition\n  {}\n\nStandard uncertainty of the edge itself\n  {} mm \
         (estimate, no source)\n",
        i.name, i.view, i.plane, i.definition, i.u_mm
    )
}
