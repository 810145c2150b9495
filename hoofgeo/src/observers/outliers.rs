//! Placements that lie far from the others of their photo.

use super::landmarks::{PlacedOnce, Placements};
use crate::Landmark;
use nalgebra::Vector2;
use statrs::distribution::{ContinuousCDF, FisherSnedecor};

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
/// at 5 % over the whole set (Bonferroni). P. J. Rousseeuw and C. Croux, "Alternatives to the median absolute deviation",
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
                // Deviations from a median of few are too small on average.
                let n = placed.len() as f64;
                let factor = (n / (n - 1.0)).sqrt();
                placed.iter().map(move |p| (photo.as_str(), p, (p.at - middle) * factor))
            })
            .collect();
        if deviations.len() < 6 {
            continue;
        }
        let scale = Vector2::from_fn(|i, _| MAD_TO_SD * median(deviations.iter().map(|d| d.2[i].abs()).collect()));
        let Ok(f) = FisherSnedecor::new(2.0, MAD_EFFICIENCY * deviations.len() as f64) else { continue };
        let bound = 2.0 * f.inverse_cdf(1.0 - FALSE_ALARM / tested as f64);
        for (photo, placed, d) in deviations {
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

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    let n = values.len();
    match n {
        0 => f64::NAN,
        n if n % 2 == 1 => values[n / 2],
        n => (values[n / 2 - 1] + values[n / 2]) / 2.0,
    }
}
