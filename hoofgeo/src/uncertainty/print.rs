//! A result as text: value ± U with the digits it deserves.

use std::fmt;

/// Areas from here on are printed in cm².
const LARGE_AREA_MM2: f64 = 1000.0;

/// More decimals than this are never printed.
const MAX_DECIMALS: i32 = 12;

/// A result as text, in parts and, by [`Display`](fmt::Display), as a whole.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Printed {
    /// The value, to the same decimals as its uncertainty; `undefined` where there is none.
    pub value: String,
    /// The expanded uncertainty, two significant digits; `None` where it could not be determined.
    pub expanded: Option<String>,
    /// The unit with the space it needs before it: ` mm`, `°`, or nothing.
    pub unit: String,
}

impl fmt::Display for Printed {
    /// As SI style asks: the unit stands with both numbers, `50.2° ± 1.9°`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { value, expanded, unit } = self;
        match expanded {
            Some(expanded) => f.pad(&format!("{value}{unit} ± {expanded}{unit}")),
            None if value == UNDEFINED => f.pad(value),
            None => f.pad(&format!("{value}{unit}, uncertainty not determined")),
        }
    }
}

const UNDEFINED: &str = "undefined";

/// Rounds a value and its expanded uncertainty for people. Never compute with the outcome.
///
/// U is rounded up to two significant digits, except that an excess of up to a twentieth of the last digit is dropped
/// (28.05 is printed as 28, 10.47 as 11: the examples of JCGM 100:2008, 7.2.6). The value gets the same decimals. `unit` is
/// `mm`, `deg` (printed °), `mm2` (printed cm² from 1000 mm² on), or `1` for a ratio (nothing printed); another unit is
/// printed as it stands.
///
/// ```
/// use hoofgeo::uncertainty::print;
/// assert_eq!(print(50.2371, 1.8472, "deg").to_string(), "50.2° ± 1.9°");
/// assert_eq!(print(104.96, 1.2, "mm").to_string(), "105.0 mm ± 1.2 mm");
/// assert_eq!(print(9876.0, 142.0, "mm2").to_string(), "98.8 cm² ± 1.5 cm²");
/// assert_eq!(print(1.0384, 0.021, "1").to_string(), "1.038 ± 0.021");
/// ```
pub fn print(value: f64, expanded: f64, unit: &str) -> Printed {
    let area_in_cm2 = unit == "mm2" && value.abs() >= LARGE_AREA_MM2;
    let scale = if area_in_cm2 { 100.0 } else { 1.0 };
    let unit = match unit {
        "deg" => "°".to_owned(),
        "1" | "" => String::new(),
        "mm2" if area_in_cm2 => " cm²".to_owned(),
        "mm2" => " mm²".to_owned(),
        other => format!(" {other}"),
    };
    let (value, expanded) = (value / scale, expanded / scale);
    if !value.is_finite() {
        return Printed { value: UNDEFINED.to_owned(), expanded: None, unit };
    }
    if !expanded.is_finite() || expanded < 0.0 {
        // Three digits: enough to recognise the value, too few to pass for a precise one.
        let decimals = (2 - exponent_of(value)).clamp(0, MAX_DECIMALS);
        return Printed { value: fixed(value, -decimals), expanded: None, unit };
    }
    if expanded == 0.0 {
        return Printed { value: format!("{}", value + 0.0), expanded: Some("0".to_owned()), unit };
    }
    let mut last = (exponent_of(expanded) - 1).max(-MAX_DECIMALS);
    let mut digits = round_up(expanded / 10_f64.powi(last));
    if digits >= 100.0 {
        (digits, last) = (10.0, last + 1);
    }
    let rounded = if last < 0 { digits / 10_f64.powi(-last) } else { digits * 10_f64.powi(last) };
    Printed { value: fixed(value, last), expanded: Some(fixed(rounded, last)), unit }
}

/// A difference as text, with its sign; an area of some size in cm², whatever the difference's own size.
///
/// ```
/// use hoofgeo::uncertainty::print_signed;
/// assert_eq!(print_signed(1.62, 1.2, "deg"), "+1.6° ± 1.2°");
/// assert_eq!(print_signed(-60.0, 780.0, "mm2"), "\u{2212}0.6 cm² ± 7.8 cm²");
/// assert_eq!(print_signed(0.001, 1.5, "mm"), "0.0 mm ± 1.5 mm");
/// ```
pub fn print_signed(value: f64, expanded: f64, unit: &str) -> String {
    let in_cm2 = unit == "mm2" && value.abs().max(expanded) >= 100.0;
    let printed = if in_cm2 { print(value / 100.0, expanded / 100.0, "cm²") } else { print(value, expanded, unit) };
    let is_zero = printed.value.parse() == Ok(0.0);
    let text = printed.to_string();
    match text.strip_prefix('-') {
        Some(rest) => format!("\u{2212}{rest}"),
        None if value > 0.0 && !is_zero => format!("+{text}"),
        None => text,
    }
}

/// Up, but for an excess of up to a twentieth.
fn round_up(x: f64) -> f64 {
    let floor = x.floor();
    // The margin lets 28.05, which binary numbers only come near to, count as what it is written as.
    if x - floor <= 0.05 + 1e-9 { floor.max(1.0) } else { floor + 1.0 }
}

/// Decimal exponent of the leading digit.
fn exponent_of(x: f64) -> i32 {
    // The formatter is exact where a logarithm is off by one next to powers of ten.
    format!("{x:e}").split_once('e').and_then(|(_, e)| e.parse().ok()).unwrap_or(0)
}

/// `x` rounded to a multiple of 10^`last`, without a negative zero.
fn fixed(x: f64, last: i32) -> String {
    let text = if last < 0 {
        format!("{x:.*}", last.unsigned_abs() as usize)
    } else {
        let unit = 10_f64.powi(last);
        format!("{:.0}", (x / unit).round() * unit)
    };
    let is_zero = text.chars().all(|c| matches!(c, '-' | '0' | '.'));
    if is_zero { text.trim_start_matches('-').to_owned() } else { text }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[track_caller]
    fn is(value: f64, expanded: f64, unit: &str, text: &str) {
        assert_eq!(print(value, expanded, unit).to_string(), text);
    }

    #[test]
    fn examples_of_the_guide() {
        // JCGM 100:2008, 7.2.6: 10.47 up to 11, 28.05 to 28; 10.057 62 with 0.027 becomes 10.058.
        is(100.0, 10.47, "mm", "100 mm ± 11 mm");
        is(100.0, 28.05, "mm", "100 mm ± 28 mm");
        is(10.057_62, 0.027, "mm", "10.058 mm ± 0.027 mm");
    }

    #[test]
    fn carries() {
        is(12.3456, 0.0991, "mm", "12.35 mm ± 0.10 mm");
        is(12.3456, 0.995, "mm", "12.3 mm ± 1.0 mm");
        is(12.3456, 99.5, "mm", "10 mm ± 100 mm");
        is(12.3456, 9.95, "mm", "12 mm ± 10 mm");
    }

    #[test]
    fn units() {
        is(50.0, 2.0, "deg", "50.0° ± 2.0°");
        is(999.0, 20.0, "mm2", "999 mm² ± 20 mm²");
        is(1000.0, 20.0, "mm2", "10.00 cm² ± 0.20 cm²");
        is(-12_000.0, 300.0, "mm2", "-120.0 cm² ± 3.0 cm²");
        is(0.52, 0.031, "1", "0.520 ± 0.031");
        is(3.0, 0.1, "px", "3.00 px ± 0.10 px");
    }

    #[test]
    fn large_uncertainties_blunt_the_value() {
        is(1234.0, 121.0, "mm", "1230 mm ± 130 mm");
        is(4.0, 1234.0, "mm", "0 mm ± 1300 mm");
    }

    #[test]
    fn edges() {
        is(-0.0004, 0.02, "deg", "0.000° ± 0.020°");
        is(-0.0, 0.0, "mm", "0 mm ± 0 mm");
        is(1.5, 0.0, "mm", "1.5 mm ± 0 mm");
        is(f64::NAN, 1.0, "mm", "undefined");
        is(50.2371, f64::INFINITY, "deg", "50.2°, uncertainty not determined");
        is(104.9, f64::NAN, "mm", "105 mm, uncertainty not determined");
        is(0.001_234_5, -1.0, "1", "0.00123, uncertainty not determined");
        is(1.0, 1e-300, "mm", "1.000000000000 mm ± 0.000000000001 mm");
        assert_eq!(format!("{:>20}|", print(5.0, 1.0, "deg")), "         5.0° ± 1.0°|");
    }

    proptest! {
        /// The text keeps what it may: the value to half of its last digit, U never noticeably smaller, at most 10 % larger.
        #[test]
        fn text_is_true_to_the_numbers(value in -1e5..1e5_f64, exponent in -6.0..5.0_f64) {
            let expanded = 10_f64.powf(exponent);
            let p = print(value, expanded, "mm");
            let text = p.expanded.unwrap();
            let (v, u): (f64, f64) = (p.value.parse().unwrap(), text.parse().unwrap());
            let decimals = |s: &str| s.split_once('.').map_or(0, |(_, d)| d.len());
            prop_assert_eq!(decimals(&p.value), decimals(&text));
            // A twentieth of the last of two digits is at most 0.5 %; one unit of it at most 10 %.
            prop_assert!(u >= expanded * (1.0 - 0.005_001) && u <= expanded * 1.100_001, "{expanded} -> {u}");
            let significant = text.trim_start_matches(['0', '.']).replace('.', "");
            prop_assert!(significant.len() >= 2 && significant[2..].chars().all(|c| c == '0'), "{text}");
            // The last digit's unit: U has two, so it is at most U/10.
            let unit = u / significant[..2].parse::<f64>().unwrap();
            prop_assert!((v - value).abs() <= unit * 0.500_001, "{value} -> {v}, unit {unit}");
        }
    }
}
