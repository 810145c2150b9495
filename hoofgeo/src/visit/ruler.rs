//! Which graduations a photo is measured with: those marked in its sidecar, or those read from its pixels.

use super::folder::Entry;
use super::photo::ReadEntry;
use crate::error::{Error, ErrorKind, Result};
use crate::measured::marked;
use crate::scale::Graduation;
#[cfg(feature = "pictures")]
use crate::{
    pixels::Grey,
    pixels::quality::{hoof_pixels, longest},
    pixels::ruler::{Mark, Reading, find_metric, read_marked},
    scale::ScaleKind,
    sidecar::Sidecar,
};

/// What was read of a ruler, for the results.
#[derive(Debug, Clone, PartialEq)]
pub struct RulerRead {
    /// What numbered its lines: `marks`, `lengths` or `numbers`.
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
    /// Where a sidecar says enough: exactly two graduations of a straight ruler are marked, which say where it lies and what its lines are
    /// called, or none of one that is stated to be metric, or whose printed numbers show that.
    AsStated,
}

/// The graduations to measure with.
pub(super) struct Graduations {
    marked: Vec<Graduation>,
    read: Option<Result<(RulerRead, Vec<Graduation>)>>,
    /// The photo, where it was decoded to be read.
    #[cfg(feature = "pictures")]
    photo: Option<image::RgbImage>,
}

impl Graduations {
    /// Those of the sidecar; where they are two of a straight ruler and reading is wished, also those of the pixels.
    pub(super) fn of(entry: &Entry, files: &ReadEntry, read: RulerReading) -> Self {
        let mut it = Self {
            marked: marked(&files.sidecar),
            read: None,
            #[cfg(feature = "pictures")]
            photo: None,
        };
        if read == RulerReading::AsStated {
            it.read_pixels(entry, files);
        }
        it
    }

    /// Measures with what was read; where nothing was, or the scene contradicts it, with what was marked. Marks that the ruler's own lines
    /// contradict are not measured with: one of both is wrong, and nothing says which.
    pub(super) fn locate<T>(&mut self, measure: impl Fn(&[Graduation]) -> Result<T>) -> Result<T> {
        let why = match &self.read {
            None => return measure(&self.marked),
            Some(Ok((_, graduations))) => match measure(graduations) {
                Ok(done) => return Ok(done),
                Err(e) => e,
            },
            Some(Err(e)) if !self.marked.is_empty() && e.kind() == ErrorKind::Scale => {
                let what = format!("the marks on the ruler contradict its lines: {}", e.what());
                return Err(Error::new(e.kind(), what).help(e.help_text().unwrap_or_default()));
            }
            Some(Err(e)) => e.clone(),
        };
        let end = measure(&self.marked);
        let end = end.map_err(|e| {
            if e.what() == why.what() {
                return e;
            }
            let none = if self.marked.is_empty() { "none was read" } else { "no more graduations were read" };
            let what = format!("{}, and {none} from the pixels: {}", e.what(), why.what());
            Error::new(e.kind(), what).help(e.help_text().unwrap_or_default())
        });
        self.read = Some(Err(why));
        end
    }

    pub(super) fn take_reading(&mut self) -> Option<Result<RulerRead>> {
        self.read.take().map(|r| r.map(|(read, _)| read))
    }

    /// The photo, where it was decoded.
    #[cfg(feature = "pictures")]
    pub(super) fn take_photo(&mut self) -> Option<image::RgbImage> {
        self.photo.take()
    }

    #[cfg(not(feature = "pictures"))]
    fn read_pixels(&mut self, _: &Entry, _: &ReadEntry) {}

    #[cfg(feature = "pictures")]
    fn read_pixels(&mut self, entry: &Entry, files: &ReadEntry) {
        let Some(way) = Way::of(&files.sidecar, &self.marked) else { return };
        let read = crate::photo::decode_upright(&entry.photo).and_then(|photo| {
            let grey = crate::pixels::Grey::of(self.photo.insert(photo));
            way.read(&grey, &files.sidecar)
        });
        // Where nobody said that there is a ruler to be read, that none was is no news.
        let asked = !matches!(way, Way::Unmarked { metric: false });
        self.read = (asked || read.is_ok()).then_some(read);
    }
}

#[cfg(feature = "pictures")]
fn straight_ruler(sidecar: &Sidecar) -> Option<&crate::sidecar::Scale> {
    sidecar.scale.as_ref().filter(|s| s.kind == ScaleKind::StraightRuler)
}

/// The two marks between which a sidecar's ruler is read; none where three and more are a scale already.
#[cfg(feature = "pictures")]
pub(crate) fn marks_to_read(sidecar: &Sidecar, marked: &[Graduation]) -> Option<[Mark; 2]> {
    straight_ruler(sidecar)?;
    let [a, b] = marked else { return None };
    Some([a, b].map(|g| Mark { mm: g.label.x, at: g.pixel }))
}

/// What a reading starts from.
#[cfg(feature = "pictures")]
enum Way {
    Marks([Mark; 2]),
    /// Without a mark: whether somebody states that the ruler is metric.
    Unmarked {
        metric: bool,
    },
}

#[cfg(feature = "pictures")]
impl Way {
    /// `None` where nothing is to be read: something else than a straight ruler, as many marks as do by themselves, or nothing to
    /// measure yet; that is said first, and the pixels stay unread.
    fn of(sidecar: &Sidecar, marked: &[Graduation]) -> Option<Self> {
        if sidecar.landmarks.is_empty() && sidecar.lines.is_empty() && sidecar.gauge.is_empty() {
            return None;
        }
        let scale = straight_ruler(sidecar)?;
        let metric = scale.metric == Some(true);
        let unmarked = || (marked.is_empty() && scale.metric != Some(false)).then_some(Self::Unmarked { metric });
        marks_to_read(sidecar, marked).map(Self::Marks).or_else(unmarked)
    }

    fn read(&self, grey: &Grey, sidecar: &Sidecar) -> Result<(RulerRead, Vec<Graduation>)> {
        let reading = match self {
            Self::Marks(marks) => read_marked(grey, *marks)?,
            Self::Unmarked { metric } => {
                let reading = find_metric(grey)?;
                if !metric && !reading.print.is_some_and(|p| p.metric) {
                    let what = "a ruler was found, but the numbers printed on it do not show that it is metric";
                    return Err(Error::new(ErrorKind::Scene, what).help(
                        "state scale.metric: true if its numbers are centimetres or millimetres, or mark two of its graduations",
                    ));
                }
                of_a_hoofs_size(&reading, sidecar)?;
                reading
            }
        };
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
    }
}

/// How far apart the points placed on a hoof can lie, mm (estimate, no source: from a pony to a large draught horse). A rule that is
/// called metric but is in tenths of an inch makes a hoof 2.54 times too small.
#[cfg(feature = "pictures")]
const HOOF_MM: [f64; 2] = [90.0, 300.0];

/// Whether the hoof is as large as hoofs are by a ruler that nobody marked.
#[cfg(feature = "pictures")]
fn of_a_hoofs_size(reading: &Reading, sidecar: &Sidecar) -> Result<()> {
    let [start, end] = reading.px_per_mm();
    let mm = longest(&hoof_pixels(sidecar)) / (0.5 * (start + end));
    if (HOOF_MM[0]..=HOOF_MM[1]).contains(&mm) {
        return Ok(());
    }
    let what = format!("by the ruler as it was read, the points of the hoof would lie {mm:.0} mm apart at most");
    Err(Error::new(ErrorKind::Scene, what)
        .help("is the ruler metric, and are its lines millimetres? mark two of its graduations with their mm"))
}
