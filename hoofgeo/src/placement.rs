//! Placement uncertainties found by comparing observers ([`crate::observers`]), for later measurements.

use crate::error::{Error, ErrorKind, Result};
use crate::landmark::Spread;
use crate::{Landmark, View};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::path::Path;

/// How one landmark scatters, mm, along and across its contour.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlacementSpread {
    /// Within an observer, along the contour: shrinks with repeated placements.
    pub within_along_mm: f64,
    /// Within an observer, across it.
    pub within_across_mm: f64,
    /// Between photos, along it: the observer's own way on each photo, which repeating does not show.
    #[serde(default)]
    pub between_photos_along_mm: f64,
    /// Between photos, across it.
    #[serde(default)]
    pub between_photos_across_mm: f64,
    /// Between persons, along it: what one does alike on every photo and another does not.
    pub between_along_mm: f64,
    /// Between persons, across it.
    pub between_across_mm: f64,
    /// How well they are known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub degrees_of_freedom: Option<SpreadDof>,
}

/// Degrees of freedom of a [`PlacementSpread`].
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SpreadDof {
    /// Within a photo.
    pub within: f64,
    /// Between photos.
    pub between_photos: f64,
    /// Between persons.
    pub between: f64,
}

/// Placement uncertainties of landmarks, as `hoofgeo observers` writes them to `placement.json`.
///
/// Where a landmark is in the table, its values replace both the declared spread and the click: they were found on placements, which
/// contain both. A landmark whose sidecar states `u_px` or `u_mm` keeps what it states.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlacementTable {
    format: String,
    /// Whose spread it is; of anybody, pooled over observers, without a name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub observer: Option<String>,
    /// Observers compared.
    pub observers: usize,
    /// Photos compared.
    pub photos: usize,
    lateral: BTreeMap<String, PlacementSpread>,
    solar: BTreeMap<String, PlacementSpread>,
}

const FORMAT: &str = "hoofgeo-placement/1";

impl PlacementTable {
    /// An empty table.
    pub fn new(observers: usize, photos: usize) -> Self {
        Self {
            format: FORMAT.to_owned(),
            observer: None,
            observers,
            photos,
            lateral: BTreeMap::new(),
            solar: BTreeMap::new(),
        }
    }

    /// As the table of one observer.
    #[must_use]
    pub fn of_observer(mut self, observer: &str) -> Self {
        self.observer = Some(observer.to_owned());
        self
    }

    /// Whether it is a table of this observer. Capitals do not count.
    pub fn is_of(&self, observer: &str) -> bool {
        let alike = |a: &str, b: &str| a.trim().to_lowercase() == b.trim().to_lowercase();
        self.observer.as_deref().is_some_and(|own| alike(own, observer))
    }

    /// Sets a landmark's spread.
    pub fn set(&mut self, landmark: Landmark, spread: PlacementSpread) {
        self.of_view(landmark.info().view).insert(landmark.name().to_owned(), spread);
    }

    fn of_view(&mut self, view: View) -> &mut BTreeMap<String, PlacementSpread> {
        match view {
            View::Lateral => &mut self.lateral,
            View::Solar => &mut self.solar,
        }
    }

    /// Reads a table strictly.
    ///
    /// # Errors
    /// `Format` for what is no such table, an unknown landmark, or a spread that is negative or no number.
    pub fn parse(text: &str) -> Result<Self> {
        let table: Self = serde_json::from_str(text).map_err(|e| {
            Error::new(ErrorKind::Format, format!("is not a table of placements: {e}"))
                .help("`hoofgeo observers` writes one, placement.json")
        })?;
        if table.format != FORMAT {
            return Err(Error::new(ErrorKind::Format, format!("has the format `{}`, not `{FORMAT}`", table.format)));
        }
        for (view, spreads) in [(View::Lateral, &table.lateral), (View::Solar, &table.solar)] {
            for (name, s) in spreads {
                if Landmark::find(view, name).is_none() {
                    return Err(Error::new(ErrorKind::Format, format!("`{name}` is no landmark of the {view} view")));
                }
                let within = [s.within_along_mm, s.within_across_mm];
                let photos = [s.between_photos_along_mm, s.between_photos_across_mm];
                let persons = [s.between_along_mm, s.between_across_mm];
                if [within, photos, persons].as_flattened().iter().any(|v| !(0.0..=100.0).contains(v)) {
                    let what = format!("a spread of `{name}` is not between 0 and 100 mm");
                    return Err(Error::new(ErrorKind::Format, what));
                }
            }
        }
        Ok(table)
    }

    /// Reads a table's file.
    ///
    /// # Errors
    /// As [`PlacementTable::parse`], and where the file cannot be read.
    pub fn read(path: &Path) -> Result<Self> {
        let text =
            std::fs::read_to_string(path).map_err(|e| Error::io(path, "the table of placements cannot be read", &e))?;
        Self::parse(&text).map_err(|e| e.in_file(path))
    }

    /// The table as a file.
    pub fn to_json(&self) -> String {
        // Strings and finite numbers alone: this cannot fail.
        serde_json::to_string_pretty(self).unwrap_or_default() + "\n"
    }

    /// The spread of the mean of `placements` placements by one observer.
    pub fn spread(&self, landmark: Landmark, placements: usize) -> Option<Spread> {
        let of_view = match landmark.info().view {
            View::Lateral => &self.lateral,
            View::Solar => &self.solar,
        };
        let s = of_view.get(landmark.name())?;
        let n = placements.max(1) as f64;
        let all =
            |within: f64, photos: f64, persons: f64| (within * within / n + photos * photos + persons * persons).sqrt();
        let along = all(s.within_along_mm, s.between_photos_along_mm, s.between_along_mm);
        let across = all(s.within_across_mm, s.between_photos_across_mm, s.between_across_mm);
        Some(Spread::Oval { along, across, axis: landmark.contour() })
    }
}
