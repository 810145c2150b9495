//! Charts of values over visits, as places on a drawing of fixed size. The template `chart.svg` draws them.
//!
//! Readable without colour: before a trim, filled dots on a whole line; after it, hollow squares on a dashed one; error bars reach
//! over the 95 % interval.

use jiff::civil::Date;
use serde::Serialize;

/// Size of the drawing and its margins, in the drawing's own unit (at its natural size CSS pixels).
const WIDTH: f64 = 400.0;
const HEIGHT: f64 = 190.0;
const LEFT: f64 = 40.0;
const RIGHT: f64 = 14.0;
const TOP: f64 = 12.0;
const BOTTOM: f64 = 42.0;

/// A label on the time axis needs so much room.
const LABEL: f64 = 52.0;

/// A value with half its interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Dot {
    pub(super) day: Date,
    pub(super) value: f64,
    pub(super) expanded: f64,
}

/// One row of dots.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Row {
    /// `before`, `after` or `plain`; the template draws each in its own way.
    pub(super) kind: &'static str,
    pub(super) dots: Vec<Dot>,
}

/// A dot as drawn.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct Place {
    x: f64,
    y: f64,
    low: f64,
    high: f64,
}

/// A row as drawn.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct Drawn {
    kind: &'static str,
    /// Points of the line that joins the dots, `x,y x,y`.
    line: String,
    places: Vec<Place>,
}

/// A label at a place of an axis.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct Tick {
    at: f64,
    text: String,
}

/// A chart, ready to be drawn.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct Chart {
    /// Unique on its page.
    pub(super) id: String,
    pub(super) title: String,
    /// What it shows, in words.
    pub(super) description: String,
    width: f64,
    height: f64,
    left: f64,
    right: f64,
    top: f64,
    bottom: f64,
    y_ticks: Vec<Tick>,
    x_ticks: Vec<Tick>,
    /// Letters of notes on the time axis.
    notes: Vec<Tick>,
    /// A limit's height and text.
    limits: Vec<Tick>,
    rows: Vec<Drawn>,
}

fn tenth(x: f64) -> f64 {
    (x * 10.0).round() / 10.0
}

impl Chart {
    /// `limits` are drawn where they lie within or near the values. `None` where there is nothing to draw.
    pub(super) fn new(
        id: String,
        title: String,
        description: String,
        unit: &str,
        rows: &[Row],
        notes: &[(Date, String)],
        limits: &[(f64, String)],
    ) -> Option<Self> {
        let dots = || rows.iter().flat_map(|r| &r.dots);
        let (first, last) = (dots().map(|d| d.day).min()?, dots().map(|d| d.day).max()?);
        let low = dots().map(|d| d.value - d.expanded).fold(f64::INFINITY, f64::min);
        let high = dots().map(|d| d.value + d.expanded).fold(f64::NEG_INFINITY, f64::max);
        if !(low.is_finite() && high.is_finite()) {
            return None;
        }
        let near = (high - low).max(1e-6);
        let limits: Vec<_> = limits.iter().filter(|l| l.0 > low - 0.6 * near && l.0 < high + 0.6 * near).collect();
        let low = limits.iter().map(|l| l.0).fold(low, f64::min);
        let high = limits.iter().map(|l| l.0).fold(high, f64::max);
        let (low, step, steps) = nice(low, high);
        let span = step * steps as f64;
        let days = |d: Date| first.until(d).map_or(0.0, |s| f64::from(s.get_days()));
        let all_days = days(last).max(1.0);
        // Dots keep off the frame.
        let (from, to) = (LEFT + 14.0, WIDTH - RIGHT - 14.0);
        let x = |d: Date| {
            if first == last { tenth(f64::midpoint(from, to)) } else { tenth(from + (to - from) * days(d) / all_days) }
        };
        let y = |v: f64| tenth(TOP + (HEIGHT - TOP - BOTTOM) * (1.0 - (v - low) / span));
        let decimals = usize::try_from((-step.log10().floor()).max(0.0) as i32).unwrap_or(0);
        let y_ticks = (0..=steps)
            .map(|i| {
                let v = low + step * i as f64;
                Tick { at: y(v), text: format!("{v:.decimals$}{unit}") }
            })
            .collect();
        let mut seen: Vec<Date> = dots().map(|d| d.day).collect();
        seen.sort_unstable();
        seen.dedup();
        let drawn = rows
            .iter()
            .map(|r| {
                let places: Vec<Place> = r
                    .dots
                    .iter()
                    .map(|d| Place {
                        x: x(d.day),
                        y: y(d.value),
                        low: y(d.value - d.expanded),
                        high: y(d.value + d.expanded),
                    })
                    .collect();
                let line: Vec<String> = places.iter().map(|p| format!("{},{}", p.x, p.y)).collect();
                Drawn { kind: r.kind, line: line.join(" "), places }
            })
            .collect();
        Some(Self {
            id,
            title,
            description,
            width: WIDTH,
            height: HEIGHT,
            left: LEFT,
            right: WIDTH - RIGHT,
            top: TOP,
            bottom: HEIGHT - BOTTOM,
            y_ticks,
            x_ticks: x_ticks(&seen, &x),
            notes: notes
                .iter()
                .filter(|(d, _)| (first..=last).contains(d))
                .map(|(d, text)| Tick { at: x(*d), text: text.clone() })
                .collect(),
            limits: limits.iter().map(|(v, text)| Tick { at: y(*v), text: text.clone() }).collect(),
            rows: drawn,
        })
    }
}

/// As many of the days as have room, the last one always.
fn x_ticks(days: &[Date], x: &impl Fn(Date) -> f64) -> Vec<Tick> {
    let mut ticks: Vec<Tick> = Vec::new();
    for day in days.iter().rev() {
        let at = x(*day);
        if ticks.last().is_none_or(|t| t.at - at >= LABEL) {
            ticks.push(Tick { at, text: day.strftime("%-d %b %y").to_string() });
        }
    }
    ticks.reverse();
    ticks
}

/// Start, step and number of steps of an axis of 3 to 6 round steps that covers both values.
fn nice(low: f64, high: f64) -> (f64, f64, usize) {
    let span = (high - low).max(1e-9 * high.abs().max(1.0));
    let rough = span / 4.0;
    let power = 10f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0].into_iter().map(|m| m * power).find(|s| *s >= rough).unwrap_or(10.0 * power);
    let start = (low / step).floor() * step;
    (start, step, (((high - start) / step).ceil() as usize).max(1))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use jiff::civil::date;
    use proptest::prelude::*;

    fn chart(values: &[(i16, f64, f64)], limits: &[(f64, String)]) -> Chart {
        let dots = values
            .iter()
            .map(|(n, value, expanded)| Dot {
                day: date(2026, 1, 1).checked_add(jiff::Span::new().days(*n)).unwrap(),
                value: *value,
                expanded: *expanded,
            })
            .collect();
        let rows = [Row { kind: "plain", dots }];
        Chart::new("c".into(), "t".into(), "d".into(), "°", &rows, &[], limits).unwrap()
    }

    proptest! {
        #[test]
        fn everything_stays_within_the_frame(
            values in prop::collection::vec((0..900_i16, -500.0..500.0_f64, 0.0..20.0_f64), 1..12),
        ) {
            let c = chart(&values, &[]);
            for p in &c.rows[0].places {
                prop_assert!((c.left..=c.right).contains(&p.x));
                for y in [p.y, p.low, p.high] {
                    prop_assert!(y >= c.top - 0.11 && y <= c.bottom + 0.11, "{y}");
                }
                prop_assert!(p.high <= p.y && p.y <= p.low);
            }
            prop_assert!((2..=8).contains(&c.y_ticks.len()));
            prop_assert!(c.x_ticks.windows(2).all(|w| w[1].at - w[0].at >= LABEL));
        }
    }

    #[test]
    fn a_far_limit_does_not_squeeze_the_values() {
        let limits = [(40.0, "near".to_owned()), (90.0, "far".to_owned())];
        let c = chart(&[(0, 36.0, 1.0), (30, 39.0, 1.0)], &limits);
        assert_eq!(c.limits.len(), 1);
        assert_eq!(nice(34.9, 40.2), (34.0, 2.0, 4));
    }
}
