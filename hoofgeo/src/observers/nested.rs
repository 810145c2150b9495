//! Spread within an observer and between observers, over targets that differ anyway.

/// Standard deviations within and between observers, pooled over targets (photos).
///
/// The repeatability, between-laboratory and reproducibility standard deviations of ISO 5725-2:2019, 7.4, with observers for
/// laboratories; unequal numbers of repeats are weighed as there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Nested {
    /// Within an observer (repeatability), where something was repeated.
    pub within: Option<f64>,
    /// Between observers, beyond what repeats explain; where both repeats and several observers are there.
    pub between: Option<f64>,
    /// One placement by any observer (reproducibility); within one observer where there is only one.
    pub total: f64,
    /// Degrees of freedom within observers.
    pub within_dof: f64,
    /// Degrees of freedom between observers.
    pub between_dof: f64,
}

impl Nested {
    /// Of values grouped by target, then by observer; `None` where nothing was marked twice.
    pub fn of(targets: &[Vec<Vec<f64>>]) -> Option<Self> {
        let (mut within, mut within_dof) = (0.0, 0.0);
        let (mut between, mut between_dof, mut weight) = (0.0, 0.0, 0.0);
        for cells in targets {
            let all: f64 = cells.iter().map(|c| c.len() as f64).sum();
            let grand = cells.iter().flatten().sum::<f64>() / all;
            let mut squared_counts = 0.0;
            for cell in cells.iter().filter(|c| !c.is_empty()) {
                let n = cell.len() as f64;
                let mean = cell.iter().sum::<f64>() / n;
                within += cell.iter().map(|v| (v - mean).powi(2)).sum::<f64>();
                within_dof += n - 1.0;
                between += n * (mean - grand).powi(2);
                squared_counts += n * n;
            }
            let observers = cells.iter().filter(|c| !c.is_empty()).count() as f64;
            if observers > 1.0 {
                between_dof += observers - 1.0;
                weight += all - squared_counts / all;
            }
        }
        if within_dof + between_dof == 0.0 {
            return None;
        }
        let repeat = (within_dof > 0.0).then(|| within / within_dof);
        let (between_variance, total) = match (repeat, between_dof > 0.0) {
            (Some(r), true) => {
                let b = ((between - between_dof * r) / weight).max(0.0);
                (Some(b), r + b)
            }
            (Some(r), false) => (None, r),
            (None, _) => (None, between / between_dof),
        };
        Some(Self {
            within: repeat.map(f64::sqrt),
            between: between_variance.map(f64::sqrt),
            total: total.sqrt(),
            within_dof,
            between_dof,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// One target, three observers, two repeats: by hand, s_r² = 0.02, the means' variance 1 is s_L² + s_r²/2.
    #[test]
    fn balanced_by_hand() {
        let nested = Nested::of(&[vec![vec![9.9, 10.1], vec![10.9, 11.1], vec![11.9, 12.1]]]).expect("repeated");
        assert!((nested.within.expect("repeats").powi(2) - 0.02).abs() < 1e-12);
        assert!((nested.between.expect("observers").powi(2) - 0.99).abs() < 1e-12);
        assert!((nested.total.powi(2) - 1.01).abs() < 1e-12);
        assert_eq!((nested.within_dof, nested.between_dof), (3.0, 2.0));
    }

    #[test]
    fn targets_may_differ_as_they_like() {
        let at = |shift: f64| vec![vec![shift, shift + 0.2], vec![shift + 1.0]];
        let near = Nested::of(&[at(0.0), at(0.1)]).expect("repeated");
        let far = Nested::of(&[at(0.0), at(100.0)]).expect("repeated");
        assert!((near.total - far.total).abs() < 1e-9);
        assert_eq!(Nested::of(&[vec![vec![1.0]], vec![vec![2.0]]]), None);
    }
}
