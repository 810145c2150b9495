//! The files of a comparison.

use super::measurements::{MeasurementAgreement, ObserverPair};
use super::{Comparison, Nested, agreement_plot};
use crate::agreement::{Estimate, IccTable, TechnicalError};
use crate::error::{Error, ErrorKind, Result};
use crate::visit::{OF_ITS_ROW, PLACEMENT_SUFFIX, TableColumn, free_text_cell, refusal_json, write_whole};
use serde_json::{Value as Json, json};
use std::path::Path;

/// Writes `observers.json` (everything), `landmarks.csv`, `agreement.csv`, `placement.json` (the spread of anybody), a table of each
/// observer's own spread, `NAME.placement.json`, and `plots/`, one picture for each measurement and pair of observers.
///
/// # Errors
/// Where a file cannot be written.
pub fn write(comparison: &Comparison, folder: &Path) -> Result<()> {
    let plots = folder.join("plots");
    std::fs::create_dir_all(&plots).map_err(|e| Error::io(&plots, "the output folder cannot be made", &e))?;
    let everything = serde_json::to_string_pretty(&comparison_json(comparison)).unwrap_or_default() + "\n";
    write_whole(&folder.join("observers.json"), everything.as_bytes())?;
    write_whole(&folder.join("landmarks.csv"), &landmarks_csv(comparison))?;
    write_whole(&folder.join("agreement.csv"), &agreement_csv(comparison))?;
    write_whole(&folder.join("placement.json"), comparison.placement_table().to_json().as_bytes())?;
    let mut names = std::collections::BTreeSet::new();
    for table in comparison.placement_tables() {
        let mut name = file_name(table.observer.as_deref().unwrap_or_default());
        while !names.insert(name.to_lowercase()) {
            name.push('_');
        }
        write_whole(&folder.join(format!("{name}{PLACEMENT_SUFFIX}")), table.to_json().as_bytes())?;
    }
    for m in &comparison.measurements {
        for (i, pair) in m.pairs.iter().enumerate() {
            // Observers' names may hold anything; a file's name may not.
            let name = format!("{}-{}.svg", m.measurement.id, i + 1);
            write_whole(&plots.join(name), agreement_plot(m.measurement, pair).as_bytes())?;
        }
    }
    Ok(())
}

/// The columns of `values.csv`: a row a value of one placement.
pub(crate) const VALUES_TABLE: [TableColumn; 10] = [
    TableColumn::text("photo", "The photo's path in the observer's folder."),
    TableColumn::text("photo_sha256", "SHA-256 of the photo's file: the same for all observers."),
    TableColumn::text("animal", "Name of the animal, by the observer's sidecar."),
    TableColumn::text("foot", "LF, RF, LH or RH."),
    TableColumn::text("observer", "Who placed the landmarks."),
    TableColumn::number("placement", "1", "Which of the observer's placements of the photo, from 1."),
    TableColumn::text("measurement", "What was measured, by its id."),
    TableColumn::text("unit", "Unit of the row's numbers: mm, deg, mm2 or 1."),
    TableColumn::number("value", OF_ITS_ROW, "The value with the landmarks of this placement alone."),
    TableColumn::number("u", OF_ITS_ROW, "Its standard uncertainty, by the declared spread of placing."),
];

/// Writes `values.csv`: the values of each placement by each observer, for a mixed model of one's own.
///
/// # Errors
/// Where the file cannot be written.
pub fn write_values(comparison: &Comparison, folder: &Path) -> Result<()> {
    let mut csv = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    let fail = |e: csv::Error| Error::new(ErrorKind::Io, format!("values.csv cannot be written: {e}"));
    csv.write_record(TableColumn::names(&VALUES_TABLE)).map_err(fail)?;
    for v in &comparison.values {
        let [value, u] = v.value.map(|x| x.to_string());
        let [photo, animal, observer] = [&v.photo, &v.animal, &v.observer].map(|text| free_text_cell(text));
        let (sha256, placement) = (v.photo_sha256.to_string(), v.placement.to_string());
        let (id, unit) = (v.measurement.id, v.measurement.quantity.unit());
        let cells: [&str; VALUES_TABLE.len()] =
            [&photo, &sha256, &animal, v.foot.name(), &observer, &placement, id, unit, &value, &u];
        csv.write_record(cells).map_err(fail)?;
    }
    write_whole(&folder.join("values.csv"), &csv.into_inner().unwrap_or_default())
}

/// An observer's name as the name of a file: the table itself says the name.
fn file_name(observer: &str) -> String {
    let kept: String = observer.trim().chars().map(|c| if c.is_alphanumeric() || c == '-' { c } else { '_' }).collect();
    if kept.is_empty() { "observer".to_owned() } else { kept }
}

fn comparison_json(c: &Comparison) -> Json {
    json!({
        "format": "hoofgeo-observers/1",
        "program": { "name": env!("CARGO_PKG_NAME"), "version": env!("CARGO_PKG_VERSION") },
        "observers": c.observers,
        "photos": c.photos,
        "landmarks": c.landmarks.iter().map(|l| json!({
            "landmark": l.landmark.name(),
            "view": l.landmark.info().view,
            "photos": l.photos,
            "placements": l.placements,
            "along_mm": nested_json(&l.along),
            "across_mm": nested_json(&l.across),
            "by_observer": l.by_observer.iter().map(|o| json!({
                "observer": o.observer, "along_mm": nested_json(&o.along), "across_mm": nested_json(&o.across),
            })).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "measurements": c.measurements.iter().map(measurement_json).collect::<Vec<_>>(),
        "outlying_placements": c.outliers.iter().map(|o| json!({
            "photo": o.photo, "observer": o.observer, "landmark": o.landmark.name(), "distance_mm": o.distance_mm,
        })).collect::<Vec<_>>(),
        "refused": c.refused.iter().map(|e| refusal_json(None, e)).collect::<Vec<_>>(),
    })
}

fn nested_json(n: &Nested) -> Json {
    json!({
        "within_observer": n.within, "between_observers": n.between, "one_placement": n.total,
        "between_photos": n.between_photos, "between_persons": n.between_persons,
        "degrees_of_freedom": { "within": n.within_dof, "between_photos": n.between_photos_dof, "between": n.between_dof },
    })
}

fn measurement_json(m: &MeasurementAgreement) -> Json {
    json!({
        "measurement": m.measurement.id,
        "unit": m.measurement.quantity.unit(),
        "photos": m.photos,
        "values": m.values,
        "spread": m.spread.as_ref().map(nested_json),
        "between_observers": m.inter_observer.as_ref().map(technical_json),
        "intraclass_correlation": m.icc.as_ref().map(icc_json),
        "within_observers": m.repeats.iter().map(|r| json!({
            "observer": r.observer,
            "sd": r.repeatability.within_sd,
            "degrees_of_freedom": r.repeatability.dof,
            "repeatability_coefficient": r.repeatability.coefficient,
            "technical_error": r.technical_error.as_ref().map(technical_json),
        })).collect::<Vec<_>>(),
        "limits_of_agreement": m.pairs.iter().map(pair_json).collect::<Vec<_>>(),
        "variance_components": m.components.as_ref().map(|c| json!({
            "sd": c.deviations.iter().map(|d| json!({
                "source": d.component.name(), "sd": d.sd, "interval": d.interval.map(finite),
            })).collect::<Vec<_>>(),
            "not_separable": c.not_separable.iter().map(|c| c.name()).collect::<Vec<_>>(),
        })),
    })
}

/// JSON has no infinity: `null` says that an interval has no upper end.
fn finite(x: f64) -> Option<f64> {
    x.is_finite().then_some(x)
}

fn technical_json(t: &TechnicalError) -> Json {
    json!({ "tem": t.tem, "relative_percent": t.relative_percent, "reliability": t.reliability })
}

fn icc_json(t: &IccTable) -> Json {
    let forms: Vec<Json> = t
        .forms
        .iter()
        .map(|f| json!({ "form": f.form.name(), "value": f.value, "interval": f.interval.map(finite) }))
        .collect();
    json!({
        "mean_squares": { "between": t.between, "within": t.within, "observers": t.raters, "error": t.error },
        "forms": forms,
    })
}

fn estimate_json(e: &Estimate) -> Json {
    json!({ "value": e.value, "standard_error": e.standard_error, "interval": e.interval })
}

fn pair_json(pair: &ObserverPair) -> Json {
    let l = &pair.limits;
    json!({
        "observers": pair.observers,
        "photos": l.pairs,
        "bias": estimate_json(&l.bias),
        "sd": l.sd,
        "lower": estimate_json(&l.lower),
        "upper": estimate_json(&l.upper),
        "slope": l.slope.as_ref().map(estimate_json),
        "values": pair.values,
    })
}

fn csv(header: &[&str], rows: impl Iterator<Item = Vec<String>>) -> Vec<u8> {
    let mut csv = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    // Writing to memory does not fail, and every row has its columns.
    let _ = csv.write_record(header);
    for row in rows {
        let _ = csv.write_record(row);
    }
    csv.into_inner().unwrap_or_default()
}

fn optional(x: Option<f64>) -> String {
    x.map(|x| x.to_string()).unwrap_or_default()
}

/// Columns of `landmarks.csv`.
pub(crate) const LANDMARKS_TABLE: [TableColumn; 8] = [
    TableColumn::text("landmark", "The landmark, by its name in sidecars."),
    TableColumn::text("view", "The view that it is placed in."),
    TableColumn::text("direction", "along or across its contour, in the measured plane."),
    TableColumn::number("photos", "1", "Photos on which it was placed more than once."),
    TableColumn::number("placements", "1", "Placements on them."),
    TableColumn::number("within_mm", "mm", "Standard deviation within an observer; empty where nothing was repeated."),
    TableColumn::number("between_mm", "mm", "Standard deviation between observers, beyond what repeats explain."),
    TableColumn::number("one_placement_mm", "mm", "Standard deviation of one placement by any observer."),
];

/// Columns of `agreement.csv`.
pub(crate) const AGREEMENT_TABLE: [TableColumn; 7] = [
    TableColumn::text("measurement", "What was measured, by its id."),
    TableColumn::text("unit", "Unit of the measurement."),
    TableColumn::text(
        "statistic",
        "sd_within_observer, sd_between_observers, sd_one_placement, tem_between_observers and tem_within_observer (technical error of \
         measurement), icc, repeatability_coefficient, bias, lower_limit and upper_limit (of agreement), sd_component.",
    ),
    TableColumn::text(
        "of",
        "Whom or what it is of: observer, pair of observers, form of the correlation, component; else empty.",
    ),
    TableColumn::number("value", "as in the column unit, 1 for icc", "The statistic."),
    TableColumn::number(
        "lower",
        "as in the column unit, 1 for icc",
        "Lower end of its 95 % interval, where there is one.",
    ),
    TableColumn::number(
        "upper",
        "as in the column unit, 1 for icc",
        "Upper end; empty also where the data do not bound it.",
    ),
];

fn landmarks_csv(c: &Comparison) -> Vec<u8> {
    let rows = c.landmarks.iter().flat_map(|l| {
        [("along", &l.along), ("across", &l.across)].map(|(direction, n)| {
            vec![
                l.landmark.name().to_owned(),
                l.landmark.info().view.name().to_owned(),
                direction.to_owned(),
                l.photos.to_string(),
                l.placements.to_string(),
                optional(n.within),
                optional(n.between),
                n.total.to_string(),
            ]
        })
    });
    csv(&TableColumn::names(&LANDMARKS_TABLE), rows)
}

/// Tidy: one row for each statistic.
fn agreement_csv(c: &Comparison) -> Vec<u8> {
    let mut rows: Vec<Vec<String>> = Vec::new();
    for m in &c.measurements {
        let mut row = |statistic: &str, of: &str, value: Option<f64>, interval: Option<[f64; 2]>| {
            let Some(value) = value else { return };
            let [low, high] = interval.map_or([None, None], |i| i.map(finite));
            rows.push(vec![
                m.measurement.id.to_owned(),
                m.measurement.quantity.unit().to_owned(),
                statistic.to_owned(),
                free_text_cell(of).into_owned(),
                value.to_string(),
                optional(low),
                optional(high),
            ]);
        };
        if let Some(n) = &m.spread {
            row("sd_within_observer", "", n.within, None);
            row("sd_between_observers", "", n.between, None);
            row("sd_one_placement", "", Some(n.total), None);
        }
        row("tem_between_observers", "", m.inter_observer.map(|t| t.tem), None);
        for f in m.icc.iter().flat_map(|t| &t.forms) {
            row("icc", f.form.name(), Some(f.value), Some(f.interval));
        }
        for r in &m.repeats {
            row("repeatability_coefficient", &r.observer, Some(r.repeatability.coefficient), None);
            row("tem_within_observer", &r.observer, r.technical_error.map(|t| t.tem), None);
        }
        for p in &m.pairs {
            let of = p.observers.join(" minus ");
            for (name, e) in
                [("bias", &p.limits.bias), ("lower_limit", &p.limits.lower), ("upper_limit", &p.limits.upper)]
            {
                row(name, &of, Some(e.value), Some(e.interval));
            }
        }
        for d in m.components.iter().flat_map(|c| &c.deviations) {
            row("sd_component", d.component.name(), Some(d.sd), Some(d.interval));
        }
    }
    csv(&TableColumn::names(&AGREEMENT_TABLE), rows.into_iter())
}
