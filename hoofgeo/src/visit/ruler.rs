//! Which graduations a photo is measured with: those marked in its sidecar, or those read from its pixels.

use super::folder::Entry;
use super::photo::ReadEntry;
use crate::error::{Error, Result};
use crate::measured::marked;
use crate::scale::Graduation;

/// What was read of a ruler, for the results.
#[derive(Debug, Clone, PartialEq)]
pub struct RulerRead {
    /// What numbered its lines: `marks` or `lengths`.
    pub numbered_by: &'static str,
    /// Distance of neighbouring lines, mm.
    pub step_mm: f64,
    /// Root mean square of the residuals along the ruler, px.
    pub rms_px: f64,
    /// Share of the lines between the first and the last that were found.
    pub share_found: f64,
    /// By how much the lengths of the lines speak for millimetres, as the logarithm of a likelihood ratio; none where marks numbered them.
    pub margin: Option<f64>,
    /// The graduations.
    pub graduations: Vec<RulerReadPoint>,
}

/// One graduation that was read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RulerReadPoint {
    /// Distance along the ruler, mm.
    pub mm: f64,
    /// Pixel of the upright photo.
    pub at: [f64; 2],
    /// Standard uncertainty along the ruler, px.
    pub u_px: f64,
}

/// When the ruler is read from a photo's pixels (feature `pictures`).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[non_exhaustive]
pub enum RulerReading {
    /// Never: with what is marked.
    #[default]
    Never,
    /// Where exactly two graduations of a straight ruler are marked: they say where it lies and what its lines are called.
    BetweenMarks,
}

/// The graduations to measure with.
pub(super) struct Graduations {
    marked: Vec<Graduation>,
    read: Option<Result<(RulerRead, Vec<Graduation>)>>,
}

impl Graduations {
    /// Those of the sidecar; where they are two of a straight ruler and reading is wished, also those of the pixels.
    pub(super) fn of(entry: &Entry, files: &ReadEntry, read: RulerReading) -> Self {
        let marked = marked(&files.sidecar);
        let read = if read == RulerReading::BetweenMarks { read_pixels(entry, files, &marked) } else { None };
        Self { marked, read }
    }

    /// Measures with what was read; where nothing was, or the scene contradicts it, with what was marked.
    pub(super) fn locate<T>(&mut self, measure: impl Fn(&[Graduation]) -> Result<T>) -> Result<T> {
        let why = match &self.read {
            None => return measure(&self.marked),
            Some(Ok((_, graduations))) => match measure(graduations) {
                Ok(done) => return Ok(done),
                Err(e) => e,
            },
            Some(Err(e)) => e.clone(),
        };
        let end = measure(&self.marked);
        let end = end.map_err(|e| match self.marked[..] {
            [] => {
                let what = format!("{}, and none was read from the pixels: {}", e.what(), why.what());
                Error::new(e.kind(), what).help(e.help_text().unwrap_or_default())
            }
            _ => e,
        });
        self.read = Some(Err(why));
        end
    }

    /// What was read, measured with; `None` where nothing was.
    pub(super) fn if_read<T>(&self, measure: impl Fn(&[Graduation]) -> Result<T>) -> Option<Result<T>> {
        let (_, graduations) = self.read.as_ref()?.as_ref().ok()?;
        Some(measure(graduations))
    }

    pub(super) fn take_reading(self) -> Option<Result<RulerRead>> {
        self.read.map(|r| r.map(|(read, _)| read))
    }
}

#[cfg(not(feature = "pictures"))]
fn read_pixels(_: &Entry, _: &ReadEntry, _: &[Graduation]) -> Option<Result<(RulerRead, Vec<Graduation>)>> {
    None
}

#[cfg(feature = "pictures")]
fn read_pixels(
    entry: &Entry,
    files: &ReadEntry,
    marked: &[Graduation],
) -> Option<Result<(RulerRead, Vec<Graduation>)>> {
    use crate::pixels::Grey;
    use crate::pixels::ruler::{Mark, read_marked};
    use crate::scale::ScaleKind;

    let straight = files.sidecar.scale.as_ref().is_some_and(|s| s.kind == ScaleKind::StraightRuler);
    // Nothing is placed yet: that is said first, and the pixels stay unread.
    let placed =
        !(files.sidecar.landmarks.is_empty() && files.sidecar.lines.is_empty() && files.sidecar.gauge.is_empty());
    // Without marks a rule in tenths of an inch is not surely told from one in millimetres: a wrong scale is worse than none.
    let [a, b] = marked else { return None };
    let marks = [a, b].map(|g| Mark { mm: g.label.x, at: g.pixel });
    if !straight || !placed {
        return None;
    }
    let read = || {
        let grey = Grey::of(&crate::photo::decode_upright(&entry.photo)?);
        let reading = read_marked(&grey, marks)?;
        let graduations = reading.graduations.iter();
        let points = graduations.map(|g| RulerReadPoint { mm: g.mm, at: [g.at.x, g.at.y], u_px: g.u_px }).collect();
        let e = reading.evidence;
        let read = RulerRead {
            numbered_by: reading.numbering.name(),
            step_mm: reading.step_mm,
            rms_px: e.rms_px,
            share_found: e.found,
            margin: e.margin.is_finite().then_some(e.margin),
            graduations: points,
        };
        Ok((read, reading.observations()))
    };
    Some(read())
}
