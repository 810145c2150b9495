//! `hoofgeo observers`

use crate::Outcome;
use crate::args::ObserversArgs;
use crate::output::{print_line, refusal_text};
use crate::terminal::name as visible;
use hoofgeo::Result;
use hoofgeo::agreement::components::Component;
use hoofgeo::observers::{Comparison, Nested, compare, read_folders, write, write_values};
use hoofgeo::uncertainty::print as rounded;
use std::fmt::Write;

pub(crate) fn run(args: &ObserversArgs) -> Result<Outcome> {
    let (readings, refused) = read_folders(&args.folders, &args.visit.options()?)?;
    for error in &refused {
        anstream::eprintln!("{}", refusal_text(error));
    }
    let mut comparison = compare(&readings)?;
    for error in &comparison.refused {
        anstream::eprintln!("{}", refusal_text(error));
    }
    comparison.refused.extend(refused);
    write(&comparison, &args.out)?;
    if args.values {
        write_values(&comparison, &args.out)?;
    }
    if !args.quiet {
        print_line(text(&comparison))?;
        print_line(format_args!("everything, with intervals and plots: see {}", args.out.display()))?;
    }
    Ok(if comparison.refused.is_empty() { Outcome::Done } else { Outcome::SomeRefused })
}

fn text(c: &Comparison) -> String {
    let mut out = format!("{} photos, observers: {}\n\n", c.photos, visible(c.observers.join(", ")));
    let _ = writeln!(out, "{:<22}{:>18}{:>18}{:>18}", "landmark", "within, mm", "between, mm", "one placement, mm");
    for l in &c.landmarks {
        let both = |of: fn(&Nested) -> Option<f64>| match (of(&l.along), of(&l.across)) {
            (Some(a), Some(b)) => format!("{a:.2} x {b:.2}"),
            _ => "-".to_owned(),
        };
        let _ = writeln!(
            out,
            "{:<22}{:>18}{:>18}{:>18}",
            l.landmark.name(),
            both(|n| n.within),
            both(|n| n.between),
            both(|n| Some(n.total))
        );
    }
    out += "standard deviations along x across the contour\n\n";
    let _ = writeln!(
        out,
        "{:<34}{:>12}{:>12}{:>14}{:>22}",
        "measurement", "within", "between", "repeat. coef.", "ICC(2,1)"
    );
    for m in &c.measurements {
        let Some(spread) = &m.spread else { continue };
        let unit = m.measurement.quantity.unit();
        let one = |x: Option<f64>| x.map_or("-".to_owned(), |x| sd(x, unit));
        let icc = m.icc.as_ref().map_or("-".to_owned(), |t| {
            let f = t.forms[1];
            format!("{:.2} ({:.2} to {:.2})", f.value, f.interval[0], f.interval[1])
        });
        let coefficient = spread.within.map(|w| w * 1.96 * std::f64::consts::SQRT_2);
        let _ = writeln!(
            out,
            "{:<34}{:>12}{:>12}{:>14}{:>22}",
            m.measurement.name,
            one(spread.within),
            one(spread.between),
            one(coefficient),
            icc
        );
    }
    out += "two values by one observer differ by more than the repeatability coefficient in 5 % of all cases\n";
    let noise: Vec<&str> = c
        .measurements
        .iter()
        .filter(|m| {
            let sd = |k| m.components.as_ref().and_then(|c| c.sd(k)).unwrap_or(0.0);
            let feet = sd(Component::Animal).hypot(sd(Component::Foot));
            let people = sd(Component::Observer).hypot(sd(Component::ObserverOnPhoto)).hypot(sd(Component::Placement));
            feet > 0.0 && people > feet
        })
        .map(|m| m.measurement.name)
        .collect();
    if !noise.is_empty() {
        let _ = writeln!(out, "people differ more than the feet do: {}", noise.join(", "));
    }
    for o in &c.outliers {
        let _ = writeln!(
            out,
            "far from the others: {} by {} on {}, {:.1} mm; look at it again",
            o.landmark.name(),
            visible(&o.observer),
            visible(&o.photo),
            o.distance_mm
        );
    }
    out
}

/// A standard deviation to two digits with its unit.
fn sd(x: f64, unit: &str) -> String {
    let printed = rounded(x, x / 5.0, unit);
    format!("{}{}", printed.value, printed.unit)
}
