//! `follow.csv`, one row a finding, and `follow.json`, a case with everything.

use super::{Case, Change, Growth, Key, Scatter, Series, Trend, TrimEffect, VisitValue, Way};
use crate::error::{Error, Result};
use crate::visit::{OF_ITS_ROW, TableColumn, write_whole};
use serde_json::{Value as Json, json};
use std::path::Path;

/// Columns of `follow.csv`, each declared once.
pub(crate) const TABLE: [TableColumn; 20] = [
    TableColumn::text("animal", "Name of the animal, by the sidecars."),
    TableColumn::text("foot", "LF left fore, RF right fore, LH left hind, RH right hind."),
    TableColumn::text("view", "Where the camera looked from: lateral or solar."),
    TableColumn::text("side", "Side of the foot that faces the camera: lateral or medial."),
    TableColumn::text("stage", "before_trim or after_trim; empty where not said, and for what compares the two."),
    TableColumn::text("measurement", "What was measured, by its id; for growth where it was measured: toe or heel."),
    TableColumn::text("unit", "Unit of the row's numbers; of a rate with /month."),
    TableColumn::text(
        "method",
        "How the values were made, see the methods; bearing_line behind it where that stands in for the ground.",
    ),
    TableColumn::text(
        "finding",
        "What the row says: visit (a value), change (from one visit to the next), since_first, trend (a rate), trim (after less before), \
         left_minus_right, growth_rings, growth_wall_length (rates), crosses (a limit in value, the days in from and to).",
    ),
    TableColumn::text("from", "First day, YYYY-MM-DD."),
    TableColumn::text("to", "Last day, YYYY-MM-DD."),
    TableColumn::number("value", OF_ITS_ROW, "Best estimate of the value, difference or rate; the limit of crosses."),
    TableColumn::number("u", OF_ITS_ROW, "Standard uncertainty, what the photos share left out of differences."),
    TableColumn::number("k", "1", "Coverage factor for 95 %."),
    TableColumn::number("lower", OF_ITS_ROW, "Lower end of the 95 % interval."),
    TableColumn::number("upper", OF_ITS_ROW, "Upper end of the 95 % interval."),
    TableColumn::number("probability", "1", "Probability of so large a difference, or a larger one, by chance."),
    TableColumn::text("verdict", "What is said of the difference, or of the crossing."),
    TableColumn::number("smallest", OF_ITS_ROW, "Smallest difference that would have been seen."),
    TableColumn::number(
        "chi_square_p",
        "1",
        "Probability of so large a scatter about a line, or a larger one, if the uncertainties explain it.",
    ),
];

/// Names of the columns of `follow.csv`, in order.
pub const FOLLOW_COLUMNS: [&str; TABLE.len()] = TableColumn::names(&TABLE);

/// Writes both files into a folder, which is made where it does not exist.
///
/// # Errors
/// Where the folder or a file cannot be written.
pub fn write_results(cases: &[Case], folder: &Path) -> Result<()> {
    std::fs::create_dir_all(folder).map_err(|e| Error::io(folder, "the output folder cannot be made", &e))?;
    let csv = csv(cases).map_err(|e| Error::io(folder, "follow.csv cannot be written", &std::io::Error::other(e)))?;
    write_whole(&folder.join("follow.csv"), &csv)?;
    let program = json!({ "name": env!("CARGO_PKG_NAME"), "version": env!("CARGO_PKG_VERSION") });
    let all: Vec<Json> = cases.iter().map(case_json).collect();
    let whole = json!({ "format": "hoofgeo-follow/1", "program": program, "cases": all });
    let mut text = serde_json::to_vec_pretty(&whole).unwrap_or_default();
    text.push(b'\n');
    write_whole(&folder.join("follow.json"), &text)
}

/// One row of the table.
#[derive(Default)]
struct Row {
    measurement: &'static str,
    unit: String,
    method: String,
    finding: String,
    from: String,
    to: String,
    numbers: [Option<f64>; 5],
    probability: Option<f64>,
    verdict: &'static str,
    smallest: Option<f64>,
    chi_square_p: Option<f64>,
}

fn way_text(way: Way) -> String {
    if way.bearing_line { format!("{};bearing_line", way.method) } else { way.method.to_owned() }
}

fn numbers(value: f64, u: f64, k: f64) -> [Option<f64>; 5] {
    [value, u, k, value - k * u, value + k * u].map(Some)
}

fn change_row(c: &Change, finding: &str) -> Row {
    Row {
        finding: finding.to_owned(),
        from: c.from.to_string(),
        to: c.to.to_string(),
        numbers: numbers(c.difference, c.u, c.k),
        probability: Some(c.probability),
        verdict: c.verdict.name(),
        smallest: Some(c.smallest()),
        ..Row::default()
    }
}

fn csv(cases: &[Case]) -> std::result::Result<Vec<u8>, Box<dyn std::error::Error + Send + Sync>> {
    let mut out = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    out.write_record(FOLLOW_COLUMNS)?;
    for case in cases {
        for s in &case.series {
            for row in series_rows(s) {
                let row =
                    Row { measurement: s.measurement.id, method: way_text(s.way), ..with_unit(row, s.measurement) };
                write(&mut out, &case.animal, s.key, &row)?;
            }
        }
        for t in &case.trims {
            let row = with_unit(change_row(&t.change, "trim"), t.measurement);
            let row = Row { measurement: t.measurement.id, method: way_text(t.way), ..row };
            write(&mut out, &case.animal, t.key, &row)?;
        }
        for d in &case.sides {
            let row = with_unit(change_row(&d.difference, "left_minus_right"), d.measurement);
            let row = Row { measurement: d.measurement.id, method: way_text(d.way), ..row };
            write(&mut out, &case.animal, d.key, &row)?;
        }
        for g in &case.growth {
            let key = Key { foot: g.foot, view: crate::View::Lateral, side: g.side, stage: None };
            let ends = (g.intervals.first(), g.intervals.last());
            let row = Row {
                measurement: g.place.name(),
                unit: "mm/month".to_owned(),
                finding: format!("growth_{}", g.from.name()),
                from: ends.0.map(|c| c.from.to_string()).unwrap_or_default(),
                to: ends.1.map(|c| c.to.to_string()).unwrap_or_default(),
                numbers: numbers(g.per_month, g.u, g.k),
                chi_square_p: g.scatter.map(|s| s.probability),
                ..Row::default()
            };
            write(&mut out, &case.animal, key, &row)?;
        }
    }
    Ok(out.into_inner()?)
}

fn with_unit(row: Row, m: &crate::measure::Measurement) -> Row {
    let per_month = if row.finding == "trend" { "/month" } else { "" };
    Row { unit: format!("{}{per_month}", m.quantity.unit()), ..row }
}

fn series_rows(s: &Series) -> Vec<Row> {
    let mut rows: Vec<Row> = s
        .values
        .iter()
        .map(|v| Row {
            finding: "visit".to_owned(),
            from: v.day.to_string(),
            to: v.day.to_string(),
            numbers: numbers(v.value, v.u, v.k),
            ..Row::default()
        })
        .collect();
    rows.extend(s.changes.iter().map(|c| change_row(c, "change")));
    rows.extend(s.since_first.iter().map(|c| change_row(c, "since_first")));
    rows.extend(s.trend.iter().map(|t| Row {
        finding: "trend".to_owned(),
        from: t.from.to_string(),
        to: t.to.to_string(),
        numbers: numbers(t.per_month, t.u_per_month(), t.k),
        chi_square_p: t.scatter.map(|s| s.probability),
        ..Row::default()
    }));
    rows.extend(s.crossings.iter().map(|(limit, crossing)| {
        let (from, to) = crossing.days();
        Row {
            finding: "crosses".to_owned(),
            from: from.map(|d| d.to_string()).unwrap_or_default(),
            to: to.map(|d| d.to_string()).unwrap_or_default(),
            numbers: [Some(limit.value), None, None, None, None],
            verdict: crossing.name(),
            ..Row::default()
        }
    }));
    rows
}

fn write(out: &mut csv::Writer<Vec<u8>>, animal: &str, key: Key, row: &Row) -> csv::Result<()> {
    let number = |x: Option<f64>| x.map(|x| x.to_string()).unwrap_or_default();
    let [value, u, k, lower, upper] = row.numbers.map(number);
    out.write_record([
        animal,
        key.foot.name(),
        key.view.name(),
        key.side.map_or("", |s| s.name()),
        key.stage.map_or("", |s| s.name()),
        row.measurement,
        &row.unit,
        &row.method,
        &row.finding,
        &row.from,
        &row.to,
        &value,
        &u,
        &k,
        &lower,
        &upper,
        &number(row.probability),
        row.verdict,
        &number(row.smallest),
        &number(row.chi_square_p),
    ])
}

fn case_json(case: &Case) -> Json {
    json!({
        "animal": case.animal,
        "visits": case.visits.iter().map(|v| json!({
            "day": v.day.to_string(),
            "photos": v.photos,
            "notes": v.remarks.iter().map(|(k, t)| json!({ "about": k, "text": t })).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "series": case.series.iter().map(series_json).collect::<Vec<_>>(),
        "trims": case.trims.iter().map(trim_json).collect::<Vec<_>>(),
        "left_minus_right": case.sides.iter().map(|d| json!({
            "measurement": d.measurement.id,
            "unit": d.measurement.quantity.unit(),
            "key": key_json(d.key),
            "method": way_text(d.way),
            "left": visit_json(&d.left),
            "right": visit_json(&d.right),
            "difference": change_json(&d.difference),
        })).collect::<Vec<_>>(),
        "growth": case.growth.iter().map(growth_json).collect::<Vec<_>>(),
    })
}

fn key_json(key: Key) -> Json {
    json!({ "foot": key.foot, "view": key.view, "side": key.side, "stage": key.stage })
}

fn visit_json(v: &VisitValue) -> Json {
    json!({ "day": v.day.to_string(), "value": v.value, "u": v.u, "k": v.k, "photos": v.photos })
}

fn change_json(c: &Change) -> Json {
    let [lower, upper] = c.interval();
    json!({
        "from": c.from.to_string(), "to": c.to.to_string(), "difference": c.difference, "u": c.u, "k": c.k,
        "lower": lower, "upper": upper, "probability": c.probability, "verdict": c.verdict.name(),
        "smallest_seen": c.smallest(), "smallest_sure": c.smallest_sure(),
    })
}

fn scatter_json(s: &Scatter) -> Json {
    json!({
        "chi_square": s.chi_square, "degrees_of_freedom": s.dof, "probability": s.probability, "birge_ratio": s.birge,
        "excessive": s.is_excessive(),
    })
}

fn trend_json(t: &Trend) -> Json {
    json!({
        "from": t.from.to_string(), "to": t.to.to_string(), "visits": t.visits, "value_on_first_day": t.start,
        "per_month": t.per_month, "u_per_month": t.u_per_month(), "k": t.k, "resolved": t.is_resolved(),
        "scatter": t.scatter.as_ref().map(scatter_json),
    })
}

fn series_json(s: &Series) -> Json {
    json!({
        "measurement": s.measurement.id,
        "unit": s.measurement.quantity.unit(),
        "key": key_json(s.key),
        "method": way_text(s.way),
        "values": s.values.iter().map(visit_json).collect::<Vec<_>>(),
        "changes": s.changes.iter().map(change_json).collect::<Vec<_>>(),
        "since_first": s.since_first.as_ref().map(change_json),
        "trend": s.trend.as_ref().map(trend_json),
        "limits": s.crossings.iter().map(|(l, c)| {
            let (from, to) = c.days();
            json!({
                "value": l.value, "source": l.source, "crossed": c.name(), "words": c.words(),
                "earliest": from.map(|d| d.to_string()), "latest": to.map(|d| d.to_string()),
            })
        }).collect::<Vec<_>>(),
    })
}

fn trim_json(t: &TrimEffect) -> Json {
    json!({
        "measurement": t.measurement.id,
        "unit": t.measurement.quantity.unit(),
        "key": key_json(t.key),
        "method": way_text(t.way),
        "before": visit_json(&t.before),
        "after": visit_json(&t.after),
        "change": change_json(&t.change),
    })
}

fn growth_json(g: &Growth) -> Json {
    json!({
        "foot": g.foot,
        "side": g.side,
        "place": g.place.name(),
        "from": g.from.name(),
        "mm_per_month": g.per_month,
        "u": g.u,
        "k": g.k,
        "intervals": g.intervals.iter().map(change_json).collect::<Vec<_>>(),
        "scatter": g.scatter.as_ref().map(scatter_json),
        "intervals_left_out": g.ambiguous,
    })
}
