//! Difference against mean of two observers, drawn.

use super::ObserverPair;
use crate::measure::Measurement;
use crate::uncertainty::print;
use std::fmt::Write;

const WIDTH: f64 = 640.0;
const HEIGHT: f64 = 420.0;
const LEFT: f64 = 70.0;
const RIGHT: f64 = 120.0;
const TOP: f64 = 56.0;
const BOTTOM: f64 = 52.0;

/// The difference of two observers over their mean, with bias, limits of agreement and their 95 % intervals, as an SVG
/// (J. M. Bland and D. G. Altman, The Lancet i (1986) 307-310, figure 2). Readable without colour.
pub fn agreement_plot(measurement: &Measurement, pair: &ObserverPair) -> String {
    let unit = measurement.quantity.unit();
    let axis_unit = match unit {
        "1" => String::new(),
        "deg" => ", °".to_owned(),
        unit => format!(", {unit}"),
    };
    let middles: Vec<f64> = pair.values.iter().map(|[a, b]| (a + b) / 2.0).collect();
    let differences: Vec<f64> = pair.values.iter().map(|[a, b]| a - b).collect();
    let limits = &pair.limits;
    let levels = [(&limits.upper, "upper limit"), (&limits.bias, "bias"), (&limits.lower, "lower limit")];
    let x = Axis::over(middles.iter().copied(), LEFT, WIDTH - RIGHT);
    let y_values = differences.iter().copied().chain(levels.iter().flat_map(|(e, _)| e.interval)).chain([0.0]);
    let y = Axis::over(y_values, HEIGHT - BOTTOM, TOP);
    let [a, b] = pair.observers.each_ref().map(|o| escape(o));
    let mut svg = String::new();
    // Writing to a string does not fail.
    let _ = write!(
        svg,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {HEIGHT}\" font-family=\"DejaVu Sans, sans-serif\" \
         font-size=\"13\" role=\"img\"><title>{name}: {a} minus {b}</title>\
         <desc>{n} photos. Bias {bias}, limits of agreement {low} and {high}.</desc>\
         <rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>\
         <text x=\"{LEFT}\" y=\"22\" font-size=\"16\">{name}</text>\
         <text x=\"{LEFT}\" y=\"42\" fill=\"#444\">{a} minus {b}, {n} photos</text>",
        name = escape(measurement.name),
        n = pair.values.len(),
        bias = number(limits.bias.value, unit),
        low = number(limits.lower.value, unit),
        high = number(limits.upper.value, unit),
    );
    for (axis, horizontal) in [(&x, true), (&y, false)] {
        for tick in axis.ticks() {
            let at = axis.at(tick);
            let label = format!("{}", (tick * 1e6).round() / 1e6);
            let _ = if horizontal {
                let base = HEIGHT - BOTTOM;
                write!(
                    svg,
                    "<path d=\"M{at:.1} {base}v5\" stroke=\"#444\"/><text x=\"{at:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{label}</text>",
                    base + 20.0
                )
            } else {
                write!(
                    svg,
                    "<path d=\"M{LEFT} {at:.1}h-5\" stroke=\"#444\"/><text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{label}</text>",
                    LEFT - 9.0,
                    at + 4.5
                )
            };
        }
    }
    let end = WIDTH - RIGHT;
    let _ = write!(
        svg,
        "<path d=\"M{LEFT} {TOP}V{base}H{end}\" fill=\"none\" stroke=\"#444\"/>\
         <text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">mean of both{axis_unit}</text>\
         <text transform=\"translate(16 {:.1}) rotate(-90)\" text-anchor=\"middle\">difference{axis_unit}</text>\
         <path d=\"M{LEFT} {zero:.1}H{end}\" stroke=\"#999\" stroke-width=\"0.7\"/>",
        (LEFT + end) / 2.0,
        HEIGHT - 12.0,
        (TOP + HEIGHT - BOTTOM) / 2.0,
        base = HEIGHT - BOTTOM,
        zero = y.at(0.0),
    );
    for (estimate, name) in levels {
        let (level, [low, high]) = (y.at(estimate.value), estimate.interval.map(|v| y.at(v)));
        let dash = if name == "bias" { "" } else { " stroke-dasharray=\"7 4\"" };
        let _ = write!(
            svg,
            "<rect x=\"{LEFT}\" y=\"{high:.1}\" width=\"{:.1}\" height=\"{:.1}\" fill=\"#000\" fill-opacity=\"0.06\"/>\
             <path d=\"M{LEFT} {level:.1}H{end}\" stroke=\"#000\" stroke-width=\"1.3\"{dash}/>\
             <text x=\"{:.1}\" y=\"{:.1}\">{name}</text><text x=\"{2:.1}\" y=\"{:.1}\">{}</text>",
            end - LEFT,
            low - high,
            end + 8.0,
            level - 1.0,
            level + 14.0,
            number(estimate.value, unit),
        );
    }
    for (m, d) in middles.iter().zip(&differences) {
        let _ = write!(
            svg,
            "<circle cx=\"{:.1}\" cy=\"{:.1}\" r=\"4\" fill=\"#fff\" fill-opacity=\"0.8\" stroke=\"#000\" stroke-width=\"1.4\"/>",
            x.at(*m),
            y.at(*d)
        );
    }
    svg + "</svg>\n"
}

fn number(value: f64, unit: &str) -> String {
    let printed = print(value, value.abs().max(0.01) / 20.0, unit);
    format!("{}{}", printed.value, printed.unit)
}

fn escape(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

/// A straight scale from values to places on the page.
struct Axis {
    low: f64,
    high: f64,
    from: f64,
    to: f64,
}

impl Axis {
    fn over(values: impl Iterator<Item = f64>, from: f64, to: f64) -> Self {
        let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
        let room = ((high - low) * 0.06).max(1e-6 * high.abs().max(1e-3));
        Self { low: low - room, high: high + room, from, to }
    }

    fn at(&self, value: f64) -> f64 {
        self.from + (value - self.low) / (self.high - self.low) * (self.to - self.from)
    }

    /// Four to eight round values.
    fn ticks(&self) -> Vec<f64> {
        let rough = (self.high - self.low) / 5.0;
        let power = 10f64.powf(rough.log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0].into_iter().map(|s| s * power).find(|s| *s >= rough).unwrap_or(rough);
        let first = (self.low / step).ceil();
        (0..12).map(|i| (first + f64::from(i)) * step).take_while(|t| *t <= self.high).collect()
    }
}
