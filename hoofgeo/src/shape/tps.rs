//! The open TPS format of landmark coordinates: text, one block a specimen.
//!
//! ```text
//! LM=4
//! 1320.5 1919.0
//! ...
//! CURVES=1
//! POINTS=12
//! ...
//! IMAGE=near-fore-side.jpg
//! ID=1
//! SCALE=0.1324
//! ```
//! x runs to the right; in files of pixels y runs *up* from the photo's lower edge, as digitising programs count it. `SCALE` is what a
//! coordinate is multiplied with to give the unit of length. A landmark that is not there has negative coordinates, or `NA`.
//!
//! # Source
//! Rohlf, The tps series of software, 2015, Hystrix 26:9-12, and the format's description there (from memory); files of a general-purpose
//! package read and written in `tests/shapes.rs`.

use crate::error::{Error, ErrorKind, Result};
use std::fmt::Write;

/// One block of a file.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Specimen {
    /// The landmarks in order; none where one is missing.
    pub landmarks: Vec<Option<[f64; 2]>>,
    /// Open curves.
    pub curves: Vec<Vec<[f64; 2]>>,
    /// Closed outlines.
    pub outlines: Vec<Vec<[f64; 2]>>,
    /// The photo's file name.
    pub image: Option<String>,
    /// Its name.
    pub id: Option<String>,
    /// Units of length of one unit of the coordinates.
    pub scale: Option<f64>,
    /// Free text.
    pub comment: Option<String>,
    /// Any other keys, in order.
    pub others: Vec<(String, String)>,
}

/// More points a block than this are no landmarks.
const MOST_POINTS: usize = 100_000;

struct Lines<'a> {
    all: Vec<(usize, &'a str)>,
    at: usize,
}

impl<'a> Lines<'a> {
    fn next(&mut self) -> Option<(usize, &'a str)> {
        let line = self.all.get(self.at).copied();
        self.at += 1;
        line
    }

    /// So many pairs of numbers, one a line.
    fn points(&mut self, count: usize, of: usize) -> Result<Vec<Option<[f64; 2]>>> {
        (0..count)
            .map(|_| {
                let (line, text) =
                    self.next().ok_or_else(|| fault(of, format!("says {count} points, and the file ends before")))?;
                point(text).ok_or_else(|| {
                    fault(line, format!("`{text}` is no pair of coordinates; line {of} says {count} points"))
                })
            })
            .collect()
    }

    /// The curves behind `CURVES=` or `OUTLINES=`.
    fn curves(&mut self, count: usize, of: usize) -> Result<Vec<Vec<[f64; 2]>>> {
        (0..count)
            .map(|_| {
                let (line, text) = self.next().ok_or_else(|| fault(of, "a curve's POINTS= is missing"))?;
                let points = key(text).filter(|(k, _)| k == "POINTS");
                let (_, points) = points.ok_or_else(|| fault(line, "POINTS= must stand here"))?;
                let all = self.points(number_of(points, line)?, line)?;
                all.into_iter()
                    .map(|p| p.ok_or_else(|| fault(line, "a curve has points with negative coordinates or none")))
                    .collect()
            })
            .collect()
    }
}

fn fault(line: usize, what: impl std::fmt::Display) -> Error {
    Error::new(ErrorKind::Format, format!("line {line}: {what}")).help("is it a TPS file of two-dimensional landmarks?")
}

fn key(text: &str) -> Option<(String, &str)> {
    let (key, value) = text.split_once('=')?;
    Some((key.trim().to_uppercase(), value.trim()))
}

fn number_of(text: &str, line: usize) -> Result<usize> {
    text.parse()
        .ok()
        .filter(|n| *n <= MOST_POINTS)
        .ok_or_else(|| fault(line, format!("`{text}` is no number of points")))
}

/// `Some(None)` where the point is missing.
fn point(text: &str) -> Option<Option<[f64; 2]>> {
    let mut words = text.split(|c: char| c.is_whitespace() || c == ',').filter(|w| !w.is_empty());
    let mut next = || -> Option<Option<f64>> {
        let word = words.next()?;
        if word.eq_ignore_ascii_case("na") || word.eq_ignore_ascii_case("nan") {
            return Some(None);
        }
        Some(Some(word.parse::<f64>().ok().filter(|x| x.is_finite())?))
    };
    let (x, y) = (next()?, next()?);
    if words.next().is_some() {
        return None;
    }
    Some(x.zip(y).filter(|(x, y)| *x >= 0.0 && *y >= 0.0).map(|(x, y)| [x, y]))
}

/// Reads a file's specimens.
///
/// # Errors
/// `Format`, with the line, where it is no such file or its landmarks have three dimensions.
///
/// # Example
/// ```
/// let all = hoofgeo::shape::tps::read("LM=2\n10 20\n-1 -1\nIMAGE=a.jpg\nID=7\nSCALE=0.1\n")?;
/// assert_eq!(all[0].landmarks, [Some([10.0, 20.0]), None]);
/// assert_eq!((all[0].image.as_deref(), all[0].scale), (Some("a.jpg"), Some(0.1)));
/// # Ok::<(), hoofgeo::Error>(())
/// ```
pub fn read(text: &str) -> Result<Vec<Specimen>> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let all = text.lines().enumerate().map(|(i, l)| (i + 1, l.trim())).filter(|(_, l)| !l.is_empty()).collect();
    let mut lines = Lines { all, at: 0 };
    let mut specimens: Vec<Specimen> = Vec::new();
    while let Some((line, text)) = lines.next() {
        let (key, value) =
            key(text).ok_or_else(|| fault(line, format!("`{text}` stands where a key such as LM= is expected")))?;
        if key == "LM" {
            let landmarks = lines.points(number_of(value, line)?, line)?;
            specimens.push(Specimen { landmarks, ..Specimen::default() });
            continue;
        }
        if key == "LM3" {
            return Err(fault(line, "landmarks of three dimensions are not read"));
        }
        let specimen = specimens.last_mut().ok_or_else(|| fault(line, "LM= must stand first"))?;
        match key.as_str() {
            "CURVES" => specimen.curves.extend(lines.curves(number_of(value, line)?, line)?),
            "OUTLINES" => specimen.outlines.extend(lines.curves(number_of(value, line)?, line)?),
            "IMAGE" => specimen.image = Some(value.to_owned()),
            "ID" => specimen.id = Some(value.to_owned()),
            "COMMENT" => specimen.comment = Some(value.to_owned()),
            "SCALE" => {
                let scale = value.parse().ok().filter(|s: &f64| s.is_finite() && *s > 0.0);
                specimen.scale = Some(scale.ok_or_else(|| fault(line, format!("`{value}` is no scale")))?);
            }
            name if !name.is_empty() && name.chars().all(|c| c.is_ascii_graphic()) => {
                specimen.others.push((key, value.to_owned()));
            }
            _ => return Err(fault(line, format!("`{text}` stands where a key such as LM= is expected"))),
        }
    }
    if specimens.is_empty() {
        return Err(fault(1, "no landmarks are in this file"));
    }
    Ok(specimens)
}

/// The text of specimens. A missing landmark is written as `-1 -1`; numbers have all their digits.
pub fn write(specimens: &[Specimen]) -> String {
    let mut out = String::new();
    for s in specimens {
        let _ = writeln!(out, "LM={}", s.landmarks.len());
        for p in &s.landmarks {
            let [x, y] = p.unwrap_or([-1.0, -1.0]);
            let _ = writeln!(out, "{x} {y}");
        }
        for (key, curves) in [("CURVES", &s.curves), ("OUTLINES", &s.outlines)] {
            if !curves.is_empty() {
                let _ = writeln!(out, "{key}={}", curves.len());
            }
            for curve in curves {
                let _ = writeln!(out, "POINTS={}", curve.len());
                for [x, y] in curve {
                    let _ = writeln!(out, "{x} {y}");
                }
            }
        }
        // A line of the file is one line.
        let line = |text: &str| text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect::<String>();
        let texts = [("IMAGE", &s.image), ("ID", &s.id), ("COMMENT", &s.comment)];
        for (key, text) in texts.into_iter().filter_map(|(k, t)| Some((k, t.as_ref()?))) {
            let _ = writeln!(out, "{key}={}", line(text));
        }
        for (key, text) in &s.others {
            let _ = writeln!(out, "{}={}", line(key), line(text));
        }
        if let Some(scale) = s.scale {
            let _ = writeln!(out, "SCALE={scale}");
        }
    }
    out
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_read_back_as_it_was_written() {
        let specimen = Specimen {
            landmarks: vec![Some([1.5, 2.25]), None, Some([0.0, 0.1])],
            curves: vec![vec![[1.0, 2.0], [3.0, 4.0]], vec![[5.0, 6.0]]],
            outlines: vec![vec![[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]],
            image: Some("yard 1/a b.jpg".to_owned()),
            id: Some("a".to_owned()),
            scale: Some(0.125),
            comment: Some("mm".to_owned()),
            others: vec![("VARIABLES".to_owned(), "stage=before".to_owned())],
        };
        let two = [specimen, Specimen { landmarks: vec![Some([7.0, 8.0])], ..Specimen::default() }];
        assert_eq!(read(&write(&two)).unwrap(), two);
    }

    #[test]
    fn files_as_programs_write_them() {
        let text = "\u{feff}lm=3\r\n  12.00000\t 30.00000 \r\n-1 -1\r\nNA NA\r\nCurves=1\r\nPoints=2\r\n1,2\r\n3,4\r\nID=0\r\n\r\nLM=0\r\nID=1\r\n";
        let all = read(text).unwrap();
        assert_eq!(all.len(), 2);
        assert_eq!(all[0].landmarks, [Some([12.0, 30.0]), None, None]);
        assert_eq!(all[0].curves, [[[1.0, 2.0], [3.0, 4.0]]]);
    }

    #[test]
    fn what_is_wrong_is_told_with_its_line() {
        for (text, what) in [
            ("", "line 1: no landmarks"),
            ("10 20\n", "line 1: `10 20` stands where a key"),
            ("LM=2\n1 2\n", "line 1: says 2 points"),
            ("LM=2\n1 2\nID=4\n", "line 3: `ID=4` is no pair"),
            ("LM=1\n1 2 3\n", "line 2: `1 2 3` is no pair"),
            ("LM3=1\n1 2 3\n", "line 1: landmarks of three dimensions"),
            ("LM=x\n", "line 1: `x` is no number of points"),
            ("LM=99999999\n", "line 1: `99999999` is no number"),
            ("ID=1\n", "line 1: LM= must stand first"),
            ("LM=1\n1 2\nCURVES=1\n4 5\n", "line 4: POINTS= must stand here"),
            ("LM=1\n1 2\nSCALE=0\n", "line 3: `0` is no scale"),
        ] {
            let e = read(text).unwrap_err();
            assert!(e.what().starts_with(what), "{text:?}: {}", e.what());
        }
    }
}
