//! Placements that lie far from the others of their photo.

use super::landmarks::{PlacedOnce, Placements, targets};
use super::nested::own_variance;
use crate::Landmark;
use nalgebra::Vector2;
use statrs::distribution::{ContinuousCDF, FisherSnedecor};
use std::collections::{BTreeMap, BTreeSet};
use std::f64::consts::SQRT_2;

/// A placement far from the others.
#[derive(Debug, Clone, PartialEq)]
pub struct Outlier {
    /// The photo, by its name in the first observer's folder.
    pub photo: String,
    /// Who placed it.
    pub observer: String,
    /// Which landmark.
    pub landmark: Landmark,
    /// How far from the median of all placements on that photo, mm.
    pub distance_mm: f64,
}

/// Probability that any placement of the whole set is named although all are drawn alike.
const FALSE_ALARM: f64 = 0.05;

/// From the median absolute deviation to a normal distribution's standard deviation.
const MAD_TO_SD: f64 = 1.482_602_218_505_602;

/// The median absolute deviation of n values is as certain as a standard deviation of 0.37 n (its asymptotic efficiency).
const MAD_EFFICIENCY: f64 = 0.37;

/// Names placements whose distance from their photo's median, in robust standard deviations along and across, is improbable
/// at 5 % over the whole set (Bonferroni). Each observer is judged by their own scale where three or more can be told apart: a careful
/// one's slip is not lost in another's scatter, and who scatters more is not named for that. P. J. Rousseeuw and C. Croux, "Alternatives to the median absolute deviation",
/// Journal of the American Statistical Association 88 (1993) 1273-1283, for the scale and its efficiency.
pub(super) fn find(placements: &Placements) -> Vec<Outlier> {
    let tested: usize = placements.values().flatten().filter(|(_, p)| p.len() > 2).map(|(_, p)| p.len()).sum();
    let mut found = Vec::new();
    for (landmark, photos) in placements {
        let deviations: Vec<(&str, &PlacedOnce, Vector2<f64>)> = photos
            .iter()
            .filter(|(_, placed)| placed.len() > 2)
            .flat_map(|(photo, placed)| {
                let middle = Vector2::from_fn(|i, _| median(placed.iter().map(|p| p.at[i]).collect()));
                placed.iter().map(move |p| (photo.as_str(), p, p.at - middle))
            })
            .collect();
        if deviations.len() < 6 {
            continue;
        }
        let (pooled, independent) = scale(photos);
        let scales = Scales::of(photos, pooled);
        let Ok(f) = FisherSnedecor::new(2.0, (MAD_EFFICIENCY * independent).max(1.0)) else { continue };
        let bound = 2.0 * f.inverse_cdf(1.0 - FALSE_ALARM / tested as f64);
        for (photo, placed, d) in deviations {
            let scale = scales.of_observer(&placed.observer);
            let score = (0..2).map(|i| if scale[i] > 0.0 { (d[i] / scale[i]).powi(2) } else { 0.0 }).sum::<f64>();
            if score > bound {
                found.push(Outlier {
                    photo: photo.to_owned(),
                    observer: placed.observer.clone(),
                    landmark: *landmark,
                    distance_mm: d.norm(),
                });
            }
        }
    }
    found
}

/// The robust standard deviation of one placement, along and across, and how many independent differences it comes from.
///
/// From the differences of two placements on one photo, by different observers where there are several: free of where the landmark
/// is, and, unlike deviations from a median of few, not drawn towards zero.
fn scale(photos: &[(String, Vec<PlacedOnce>)]) -> (Vector2<f64>, f64) {
    let mut differences: Vec<Vector2<f64>> = Vec::new();
    let mut independent = 0.0;
    for (_, placed) in photos.iter().filter(|(_, placed)| placed.len() > 2) {
        let mut observers: Vec<&str> = placed.iter().map(|p| p.observer.as_str()).collect();
        observers.sort_unstable();
        observers.dedup();
        let several = observers.len() > 1;
        independent += if several { observers.len() - 1 } else { placed.len() - 1 } as f64;
        for (i, a) in placed.iter().enumerate() {
            let others = placed[i + 1..].iter().filter(|b| !several || b.observer != a.observer);
            differences.extend(others.map(|b| a.at - b.at));
        }
    }
    let of = |i: usize| {
        MAD_TO_SD * std::f64::consts::FRAC_1_SQRT_2 * median(differences.iter().map(|d| d[i].abs()).collect())
    };
    (Vector2::new(of(0), of(1)), independent)
}

/// Scales by observer.
struct Scales<'a> {
    own: BTreeMap<&'a str, Vector2<f64>>,
    pooled: Vector2<f64>,
}

/// No observer is held to be more certain than this share of all.
const LEAST_SHARE: f64 = 0.25;

impl<'a> Scales<'a> {
    fn of(photos: &'a [(String, Vec<PlacedOnce>)], pooled: Vector2<f64>) -> Self {
        let photos: Vec<_> = photos.iter().filter(|(_, placed)| placed.len() > 2).collect();
        let observers: BTreeSet<&str> = photos.iter().flat_map(|(_, p)| p).map(|p| p.observer.as_str()).collect();
        let count = observers.len() as f64;
        // A photo's median scatters as its observers do: that is in each distance from it.
        let robust = |d: &[f64]| (MAD_TO_SD * median(d.iter().map(|x| x.abs()).collect())).powi(2);
        let along = [0, 1].map(|coordinate| targets(&photos, coordinate));
        let one = |observer: &'a str| {
            let of = |i: usize| {
                let (own, _) = own_variance(&along[i], observer, &robust)?;
                let cells = || along[i].iter().filter_map(|t| t.get(observer));
                // That is of an observer's mean on a photo; one placement scatters about it too.
                let repeats: Vec<f64> = cells().flat_map(|c| c.windows(2).map(|w| (w[0] - w[1]) / SQRT_2)).collect();
                let left = 1.0 - cells().count() as f64 / cells().map(Vec::len).sum::<usize>() as f64;
                let repeat = if repeats.is_empty() { 0.0 } else { robust(&repeats) * left };
                let least = (LEAST_SHARE * pooled[i]).powi(2);
                Some((own.max(0.0) + repeat + pooled[i].powi(2) / count).max(least).sqrt())
            };
            Some((observer, Vector2::new(of(0)?, of(1)?)))
        };
        Self { own: observers.into_iter().filter_map(one).collect(), pooled }
    }

    fn of_observer(&self, observer: &str) -> Vector2<f64> {
        self.own.get(observer).copied().unwrap_or(self.pooled)
    }
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    let n = values.len();
    match n {
        0 => f64::NAN,
        n if n % 2 == 1 => values[n / 2],
        n => (values[n / 2 - 1] + values[n / 2]) / 2.0,
    }
}
