//! How far the placements of a landmark scatter, in the measured plane.

use super::nested::Target;
use super::{Nested, Reading};
use crate::Landmark;
use crate::error::{Error, Result};
use crate::located::Located;
use crate::measured::scene;
use crate::photo::Sha256Hex;
use nalgebra::{Point2, Vector2};
use std::collections::{BTreeMap, BTreeSet};

/// One observer's spread of a landmark.
#[derive(Debug, Clone, PartialEq)]
pub struct ObserverSpread {
    /// Who.
    pub observer: String,
    /// Along the contour, mm: within and between photos the observer's own where enough was placed, else that of all.
    pub along: Nested,
    /// Across the contour, mm.
    pub across: Nested,
}

/// A landmark's spread between and within observers.
#[derive(Debug, Clone, PartialEq)]
pub struct LandmarkSpread {
    /// Which landmark.
    pub landmark: Landmark,
    /// Photos on which it was placed more than once.
    pub photos: usize,
    /// Placements on them.
    pub placements: usize,
    /// Along the contour ([`Landmark::contour`]), mm.
    pub along: Nested,
    /// Across the contour, mm.
    pub across: Nested,
    /// The same for each observer who placed it.
    pub by_observer: Vec<ObserverSpread>,
}

/// One placement: along and across the contour, mm.
#[derive(Debug, Clone)]
pub(super) struct PlacedOnce {
    pub observer: String,
    pub at: Vector2<f64>,
}

/// The placements of each landmark, photo by photo.
pub(super) type Placements = BTreeMap<Landmark, Vec<(String, Vec<PlacedOnce>)>>;

/// Brings the placements of all photos to their measured planes.
pub(super) fn placements(photos: &BTreeMap<Sha256Hex, Vec<&Reading>>, refused: &mut Vec<Error>) -> Placements {
    let mut found = Placements::new();
    for readings in photos.values() {
        let Some(first) = readings.first() else { continue };
        match of_photo(readings) {
            Ok(of_photo) => {
                for (landmark, placed) in of_photo {
                    found.entry(landmark).or_default().push((first.name.clone(), placed));
                }
            }
            Err(e) => refused.push(e.in_file(&first.name)),
        }
    }
    found
}

fn of_photo(readings: &[&Reading]) -> Result<BTreeMap<Landmark, Vec<PlacedOnce>>> {
    let Some(first) = readings.first() else { return Ok(BTreeMap::new()) };
    let scene = scene(&first.sidecar, &first.lens, &first.how)?;
    let mut places: BTreeMap<Landmark, Vec<(String, Point2<f64>)>> = BTreeMap::new();
    for reading in readings {
        for i in 0..reading.repeats() {
            let mut once = reading.repeat(i);
            // Planes are the first observer's, as the scene is.
            once.planes.clone_from(&first.sidecar.planes);
            let located = Located::new(&scene, &once)?;
            for landmark in once.landmarks.keys() {
                if let Some(k) = located.index.landmark(*landmark) {
                    places.entry(*landmark).or_default().push((reading.observer.clone(), located.places[k]));
                }
            }
        }
    }
    let middle = |l: Landmark| {
        let p = places.get(&l)?;
        Some(p.iter().map(|(_, p)| p.coords).sum::<Vector2<f64>>() / p.len() as f64)
    };
    let oriented = |landmark: Landmark| {
        let (from, to) = landmark.contour().ends();
        let along = middle(from).zip(middle(to)).and_then(|(a, b)| (b - a).try_normalize(1e-9));
        along.unwrap_or_else(Vector2::x)
    };
    Ok(places
        .iter()
        .map(|(landmark, placed)| {
            let along = oriented(*landmark);
            let across = Vector2::new(-along.y, along.x);
            let turn = |(observer, p): &(String, Point2<f64>)| PlacedOnce {
                observer: observer.clone(),
                at: Vector2::new(p.coords.dot(&along), p.coords.dot(&across)),
            };
            (*landmark, placed.iter().map(turn).collect())
        })
        .collect())
}

/// The spread of each landmark that was placed more than once on a photo.
pub(super) fn spreads(placements: &Placements) -> Vec<LandmarkSpread> {
    placements
        .iter()
        .filter_map(|(landmark, photos)| {
            let repeated: Vec<_> = photos.iter().filter(|(_, placed)| placed.len() > 1).collect();
            let [along, across] = [0, 1].map(|coordinate| targets(&repeated, coordinate));
            let observers: BTreeSet<&str> = along.iter().flat_map(|t| t.keys().copied()).collect();
            let own = |observer: &str| {
                Some(ObserverSpread {
                    observer: observer.to_owned(),
                    along: Nested::of_observer(&along, observer)?,
                    across: Nested::of_observer(&across, observer)?,
                })
            };
            Some(LandmarkSpread {
                landmark: *landmark,
                photos: repeated.len(),
                placements: repeated.iter().map(|(_, p)| p.len()).sum(),
                along: Nested::of(&along)?,
                across: Nested::of(&across)?,
                by_observer: observers.into_iter().filter_map(own).collect(),
            })
        })
        .collect()
}

/// One coordinate of the placements, photo by photo, by observer.
pub(super) fn targets<'a>(photos: &[&'a (String, Vec<PlacedOnce>)], coordinate: usize) -> Vec<Target<'a>> {
    let of_photo = |placed: &'a [PlacedOnce]| {
        let mut cells = Target::new();
        for p in placed {
            cells.entry(&p.observer).or_default().push(p.at[coordinate]);
        }
        cells
    };
    photos.iter().map(|(_, placed)| of_photo(placed)).collect()
}
