//! Which graduations a photo is measured with: those marked in its sidecar, or those read from its pixels.

use crate::error::{Error, ErrorKind, Result};
use crate::measured::marked;
use crate::scale::Graduation;
use crate::sidecar::Sidecar;
#[cfg(feature = "pictures")]
use crate::{
    pixels::Grey,
    pixels::quality::{hoof_pixels, longest},
    pixels::ruler::{Mark, Reading, find_metric, read_marked},
    scale::ScaleKind,
};
use std::path::Path;

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
    /// Those that a photo's sidecar marks; where it says enough and reading is wished, also those of the pixels.
    pub(super) fn of(photo: &Path, sidecar: &Sidecar, read: RulerReading) -> Self {
        let mut it = Self {
            marked: marked(sidecar),
            read: None,
            #[cfg(feature = "pictures")]
            photo: None,
        };
        if read == RulerReading::AsStated {
            it.read_pixels(photo, sidecar);
        }
        it
    }

    /// Measures with what was read; where nothing was, or the scene contradicts it, with what was marked. Marks that the ruler's own lines
    /// contradict are not measured with: one of both is wrong, and nothing says which.
    pub(super) fn locate<T>(&mut self, measure: impl Fn(Option<Vec<Graduation>>) -> Result<T>) -> Result<T> {
        let why = match &self.read {
            None => return measure(None),
            Some(Ok((_, graduations))) => match measure(Some(graduations.clone())) {
                Ok(done) => return Ok(done),
                Err(e) => e,
            },
            Some(Err(e)) if !self.marked.is_empty() && e.kind() == ErrorKind::Scale => {
                let what = format!("the marks on the ruler contradict its lines: {}", e.what());
                return Err(Error::new(e.kind(), what).help(e.help_text().unwrap_or_default()));
            }
            Some(Err(e)) => e.clone(),
        };
        let end = measure(None);
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
    fn read_pixels(&mut self, _: &Path, _: &Sidecar) {}

    #[cfg(feature = "pictures")]
    fn read_pixels(&mut self, photo: &Path, sidecar: &Sidecar) {
        let Some(start) = ReadFrom::of(sidecar) else { return };
        let read = crate::photo::decode_upright(photo).and_then(|photo| {
            let grey = Grey::of(self.photo.insert(photo));
            let reading = start.read(&grey)?;
            start.accept(&reading, sidecar)?;
            Ok((RulerRead::of(&reading), reading.observations()))
        });
        // Where nobody said that there is a ruler to be read, that none was is no news.
        let asked = start != ReadFrom::Unmarked { metric: false };
        self.read = (asked || read.is_ok()).then_some(read);
    }
}

#[cfg(feature = "pictures")]
fn straight_ruler(sidecar: &Sidecar) -> Option<&crate::sidecar::Scale> {
    sidecar.scale.as_ref().filter(|s| s.kind == ScaleKind::StraightRuler)
}

/// What the reading of a ruler starts from.
#[cfg(feature = "pictures")]
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum ReadFrom {
    /// From the two graduations that are marked.
    Marks([Mark; 2]),
    /// Without a mark: whether somebody states that the ruler is metric; else the numbers printed on it have to show it.
    Unmarked {
        /// Stated to be metric.
        metric: bool,
    },
}

#[cfg(feature = "pictures")]
impl ReadFrom {
    /// `None` where nothing is to be read: something else than a straight ruler, as many marks as do by themselves, or nothing to
    /// measure yet; that is said first, and the pixels stay unread.
    pub(crate) fn of(sidecar: &Sidecar) -> Option<Self> {
        if sidecar.landmarks.is_empty() && sidecar.lines.is_empty() && sidecar.gauge.is_empty() {
            return None;
        }
        if let Some(marks) = Self::marks(sidecar) {
            return Some(Self::Marks(marks));
        }
        let scale = straight_ruler(sidecar)?;
        let metric = scale.metric == Some(true);
        (scale.points.is_empty() && scale.metric != Some(false)).then_some(Self::Unmarked { metric })
    }

    /// The two marks between which a sidecar's ruler is read; none where three and more are a scale already.
    pub(crate) fn marks(sidecar: &Sidecar) -> Option<[Mark; 2]> {
        straight_ruler(sidecar)?;
        let [a, b] = marked(sidecar).try_into().ok()?;
        Some([a, b].map(|g: Graduation| Mark { mm: g.label.x, at: g.pixel }))
    }

    /// Reads the ruler.
    ///
    /// # Errors
    /// Where it cannot be read for certain, or contradicts the marks.
    pub(crate) fn read(&self, grey: &Grey) -> Result<Reading> {
        match self {
            Self::Marks(marks) => read_marked(grey, *marks),
            Self::Unmarked { .. } => find_metric(grey),
        }
    }

    /// Whether what was read may be measured with: a scale that nobody marked must be metric and make a hoof of what is placed.
    ///
    /// # Errors
    /// Where nothing shows that it is metric, or the hoof would be of a size that no hoof has.
    pub(crate) fn accept(&self, reading: &Reading, sidecar: &Sidecar) -> Result<()> {
        let Self::Unmarked { metric } = self else { return Ok(()) };
        if !metric && !reading.print.is_some_and(|p| p.metric) {
            let what = "a ruler was found, but the numbers printed on it do not show that it is metric";
            return Err(Error::new(ErrorKind::Scene, what).help(
                "state scale.metric: true if its numbers are centimetres or millimetres, or mark two of its graduations",
            ));
        }
        of_a_hoofs_size(reading, sidecar)
    }
}

#[cfg(feature = "pictures")]
impl RulerRead {
    fn of(reading: &Reading) -> Self {
        let graduations = reading.graduations.iter();
        let e = reading.evidence;
        Self {
            numbered_by: reading.numbering.name(),
            step_mm: reading.step_mm,
            rms_px: e.rms_px,
            share_found: e.found,
            margin: e.margin.is_finite().then_some(e.margin),
            graduations: graduations.map(|g| RulerReadPoint { mm: g.mm, at: [g.at.x, g.at.y], u_px: g.u_px }).collect(),
        }
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
