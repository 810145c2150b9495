//! Spread within an observer and between observers, over targets that differ anyway.

use std::collections::{BTreeMap, BTreeSet};

/// One target's values, by observer.
pub type Target<'a> = BTreeMap<&'a str, Vec<f64>>;

/// Standard deviations within and between observers, pooled over targets (photos).
///
/// The repeatability, between-laboratory and reproducibility standard deviations of ISO 5725-2:2019, 7.4, with observers for
/// laboratories; unequal numbers of repeats are weighed as there. What observers differ by is split further, by the mean squares of a
/// two-way table of observers and photos without interaction: into what an observer does alike on every photo, and the observer's own
/// way on each.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub struct Nested {
    /// Within an observer (repeatability), where something was repeated.
    pub within: Option<f64>,
    /// Between observers, beyond what repeats explain; where both repeats and several observers are there.
    pub between: Option<f64>,
    /// The part of it that is an observer's own way on each photo; where several observers share several photos. What nobody repeated
    /// is in it.
    pub between_photos: Option<f64>,
    /// The part of it that an observer does alike on every photo; likewise.
    pub between_persons: Option<f64>,
    /// One placement by any observer (reproducibility); within one observer where there is only one.
    pub total: f64,
    /// Degrees of freedom within observers.
    pub within_dof: f64,
    /// Degrees of freedom of the observers' own ways on photos.
    pub between_photos_dof: f64,
    /// Degrees of freedom between observers: one less than observers, however many photos they mark.
    pub between_dof: f64,
}

impl Nested {
    /// Of values grouped by target, then by observer; `None` where nothing was marked twice.
    pub fn of(targets: &[Target<'_>]) -> Option<Self> {
        let (mut within, mut within_dof) = (0.0, 0.0);
        let (mut between, mut contrasts, mut weight) = (0.0, 0.0, 0.0);
        for cells in targets {
            let all: f64 = cells.values().map(|c| c.len() as f64).sum();
            let grand = cells.values().flatten().sum::<f64>() / all;
            let mut squared_counts = 0.0;
            for cell in cells.values().filter(|c| !c.is_empty()) {
                let n = cell.len() as f64;
                let mean = mean(cell);
                within += cell.iter().map(|v| (v - mean).powi(2)).sum::<f64>();
                within_dof += n - 1.0;
                between += n * (mean - grand).powi(2);
                squared_counts += n * n;
            }
            let observers = cells.values().filter(|c| !c.is_empty()).count() as f64;
            if observers > 1.0 {
                contrasts += observers - 1.0;
                weight += all - squared_counts / all;
            }
        }
        if within_dof + contrasts == 0.0 {
            return None;
        }
        let repeat = (within_dof > 0.0).then(|| within / within_dof);
        let (between_variance, total) = match (repeat, contrasts > 0.0) {
            (Some(r), true) => {
                let b = ((between - contrasts * r) / weight).max(0.0);
                (Some(b), r + b)
            }
            (Some(r), false) => (None, r),
            (None, _) => (None, between / contrasts),
        };
        let table = Table::of(targets);
        let split = table.as_ref().and_then(|t| t.split(repeat.unwrap_or(0.0)));
        Some(Self {
            within: repeat.map(f64::sqrt),
            between: between_variance.map(f64::sqrt),
            between_photos: split.map(|s| s.photos.sqrt()),
            between_persons: split.map(|s| s.persons.sqrt()),
            total: total.sqrt(),
            within_dof,
            between_photos_dof: split.map_or(0.0, |s| s.photos_dof),
            between_dof: table.map_or(0.0, |t| t.observers.len() as f64 - 1.0),
        })
    }

    /// The same with an observer's own spread within and between photos, as far as the data tell it from the others'.
    pub fn of_observer(targets: &[Target<'_>], observer: &str) -> Option<Self> {
        let mut own = Self::of(targets)?;
        let (mut within, mut dof) = (0.0, 0.0);
        for cell in targets.iter().filter_map(|t| t.get(observer)).filter(|c| c.len() > 1) {
            let mean = mean(cell);
            within += cell.iter().map(|v| (v - mean).powi(2)).sum::<f64>();
            dof += cell.len() as f64 - 1.0;
        }
        if dof >= LEAST_OWN {
            (own.within, own.within_dof) = (Some((within / dof).sqrt()), dof);
        }
        let repeat = own.within.map_or(0.0, |w| w * w);
        if let Some((variance, photos)) = own_variance(targets, observer, &|d| variance(d)) {
            let cells: Vec<f64> =
                targets.iter().filter_map(|t| t.get(observer)).map(|c| 1.0 / c.len() as f64).collect();
            own.between_photos = Some((variance - repeat * mean(&cells)).max(0.0).sqrt());
            own.between_photos_dof = photos - 1.0;
        }
        Some(own)
    }
}

/// An observer's own standard deviation is believed from this many degrees of freedom on; below, that of all observers counts.
const LEAST_OWN: f64 = 5.0;

/// The variance of one observer's means, from the differences of pairs, of three observers or more: S(i, j) = v(i) + v(j) for each pair.
/// With the number of targets shared with the pair that shares fewest.
///
/// F. E. Grubbs, "On estimating precision of measuring instruments and product variability", Journal of the American Statistical
/// Association 43 (1948) 243-264.
pub(super) fn own_variance(
    targets: &[Target<'_>],
    observer: &str,
    variance: &dyn Fn(&[f64]) -> f64,
) -> Option<(f64, f64)> {
    let observers: Vec<&str> =
        targets.iter().flat_map(|t| t.keys().copied()).collect::<BTreeSet<_>>().into_iter().collect();
    let count = observers.len();
    if count < 3 || !observers.contains(&observer) {
        return None;
    }
    let (mut all, mut own, mut fewest) = (0.0, 0.0, f64::INFINITY);
    for (i, a) in observers.iter().enumerate() {
        for b in &observers[i + 1..] {
            let difference = |t: &Target<'_>| Some(mean(t.get(a)?) - mean(t.get(b)?));
            let differences: Vec<f64> = targets.iter().filter_map(difference).collect();
            if (differences.len() as f64) <= LEAST_OWN {
                return None;
            }
            let s = variance(&differences);
            all += s;
            if [a, b].contains(&&observer) {
                own += s;
                fewest = fewest.min(differences.len() as f64);
            }
        }
    }
    let sum = all / (count as f64 - 1.0);
    Some(((own - sum) / (count as f64 - 2.0), fewest))
}

/// Cell means by observer, each less its target's mean over observers.
struct Table<'a> {
    observers: BTreeMap<&'a str, Vec<f64>>,
    targets: f64,
    /// The mean of one over a cell's number of values.
    per_value: f64,
}

#[derive(Clone, Copy)]
struct Split {
    photos: f64,
    persons: f64,
    photos_dof: f64,
}

impl<'a> Table<'a> {
    /// Of the targets that several observers marked.
    fn of(targets: &[Target<'a>]) -> Option<Self> {
        let mut table = Self { observers: BTreeMap::new(), targets: 0.0, per_value: 0.0 };
        let mut cells = 0.0;
        for target in targets.iter().filter(|t| t.len() > 1) {
            let middle = mean(&target.values().map(|c| mean(c)).collect::<Vec<_>>());
            for (observer, cell) in target {
                table.observers.entry(observer).or_default().push(mean(cell) - middle);
                table.per_value += 1.0 / cell.len() as f64;
                cells += 1.0;
            }
            table.targets += 1.0;
        }
        table.per_value /= cells;
        (table.targets > 0.0).then_some(table)
    }

    /// Variances by the two mean squares, given that of a repeat.
    fn split(&self, repeat: f64) -> Option<Split> {
        let observers = self.observers.len() as f64;
        let cells: f64 = self.observers.values().map(|d| d.len() as f64).sum();
        let photos_dof = cells - self.targets - observers + 1.0;
        if photos_dof < 1.0 {
            return None;
        }
        let biases: Vec<f64> = self.observers.values().map(|d| mean(d)).collect();
        let left: f64 = self.observers.values().map(|d| d.iter().map(|x| (x - mean(d)).powi(2)).sum::<f64>()).sum();
        let interaction = left / photos_dof;
        // Observers may have marked unequal numbers of photos.
        let photos_each = observers / self.observers.values().map(|d| 1.0 / d.len() as f64).sum::<f64>();
        let persons = variance(&biases) - interaction / photos_each;
        Some(Split { photos: (interaction - repeat * self.per_value).max(0.0), persons: persons.max(0.0), photos_dof })
    }
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn variance(values: &[f64]) -> f64 {
    let mean = mean(values);
    values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (values.len() as f64 - 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn target<'a>(cells: &[(&'a str, &[f64])]) -> Target<'a> {
        cells.iter().map(|(o, v)| (*o, v.to_vec())).collect()
    }

    /// One target, three observers, two repeats: by hand, s_r² = 0.02, the means' variance 1 is s_L² + s_r²/2.
    #[test]
    fn balanced_by_hand() {
        let cells: [(&str, &[f64]); 3] = [("A", &[9.9, 10.1]), ("B", &[10.9, 11.1]), ("C", &[11.9, 12.1])];
        let nested = Nested::of(&[target(&cells)]).expect("repeated");
        assert!((nested.within.expect("repeats").powi(2) - 0.02).abs() < 1e-12);
        assert!((nested.between.expect("observers").powi(2) - 0.99).abs() < 1e-12);
        assert!((nested.total.powi(2) - 1.01).abs() < 1e-12);
        assert_eq!((nested.within_dof, nested.between_dof), (3.0, 2.0));
    }

    #[test]
    fn targets_may_differ_as_they_like() {
        let at = |shift: f64| target(&[("A", &[shift, shift + 0.2]), ("B", &[shift + 1.0])]);
        let near = Nested::of(&[at(0.0), at(0.1)]).expect("repeated");
        let far = Nested::of(&[at(0.0), at(100.0)]).expect("repeated");
        assert!((near.total - far.total).abs() < 1e-9);
        assert_eq!(Nested::of(&[target(&[("A", &[1.0])]), target(&[("A", &[2.0])])]), None);
    }

    /// Two observers, two photos, no repeats: by hand, the table's mean squares are 0.25 (what is left over) and 2.25 (observers), so that
    /// persons have (2.25 - 0.25) / 2.
    #[test]
    fn a_two_way_table_by_hand() {
        let photos = [target(&[("A", &[10.0]), ("B", &[11.0])]), target(&[("A", &[30.0]), ("B", &[32.0])])];
        let nested = Nested::of(&photos).expect("two observers");
        let [photos, persons] = [nested.between_photos, nested.between_persons].map(|s| s.expect("split").powi(2));
        assert!((photos - 0.25).abs() < 1e-12, "{photos}");
        assert!((persons - 1.0).abs() < 1e-12, "{persons}");
        assert_eq!((nested.between_photos_dof, nested.between_dof), (1.0, 1.0));
    }
}
