//! When a photo was taken: ISO 8601 in the extended form, as RFC 3339 writes it, the offset optional.

use jiff::{Timestamp, civil};

/// The shape as a regular expression, for the JSON Schemas.
#[cfg(feature = "schema")]
pub(super) const PATTERN: &str = r"^\d{4}-\d{2}-\d{2}(T\d{2}:\d{2}(:\d{2}(\.\d{1,9})?)?(Z|[+-]\d{2}:\d{2})?)?$";

/// Whether `text` is a date, or a date and time, that exists.
pub(super) fn is_valid(text: &str) -> bool {
    let Some((date, time)) = text.split_once('T') else {
        return shape(text) == "d-d-d" && text.len() == 10 && text.parse::<civil::Date>().is_ok();
    };
    let (clock, offset) = match time.find(['Z', '+', '-']) {
        Some(i) => time.split_at(i),
        None => (time, ""),
    };
    let (whole, fraction) = clock.split_once('.').map_or((clock, None), |(w, f)| (w, Some(f)));
    let shaped = date.len() == 10
        && shape(date) == "d-d-d"
        && ((whole.len() == 5 && shape(whole) == "d:d" && fraction.is_none())
            || (whole.len() == 8 && shape(whole) == "d:d:d"))
        && fraction.is_none_or(|f| (1..=9).contains(&f.len()) && shape(f) == "d")
        && (matches!(offset, "" | "Z") || (offset.len() == 6 && shape(&offset[1..]) == "d:d"));
    shaped
        && if offset.is_empty() { text.parse::<civil::DateTime>().is_ok() } else { text.parse::<Timestamp>().is_ok() }
}

/// Runs of digits as `d`, everything else as it is.
fn shape(text: &str) -> String {
    let mut out = String::with_capacity(8);
    for c in text.chars() {
        match c {
            '0'..='9' if out.ends_with('d') => {}
            '0'..='9' => out.push('d'),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::is_valid;

    #[test]
    fn rfc_3339_with_and_without_offset() {
        // The first three are the examples of RFC 3339 section 5.8.
        for good in [
            "1985-04-12T23:20:50.52Z",
            "1996-12-19T16:39:57-08:00",
            "1990-12-31T15:59:60-08:00",
            "2026-05-04T09:30:00",
            "2026-05-04T09:30",
            "2026-05-04",
            "2024-02-29",
        ] {
            assert!(is_valid(good), "{good}");
        }
        for bad in [
            "",
            "T",
            "2026-05-04T",
            "2026-02-29",
            "2026-13-01",
            "2026-05-04T25:00:00",
            "2026-05-04 09:30:00",
            "20260504",
            "04.05.2026",
            "2026:05:04 09:30:00",
            "2026-05-04T09:30:00+0100",
            "2026-05-04T09:30:00.+01:00",
            "2026-5-4",
            "202-605-04",
            "2026-05-04T09:30:00[Europe/London]",
            "２０２６-05-04",
        ] {
            assert!(!is_valid(bad), "{bad}");
        }
    }
}
