//! What was placed on earlier photos, taken into a shape.

use super::shape::Shape;
use crate::Foot;
use crate::landmark::Landmark;
use crate::sidecar::Sidecar;
use nalgebra::{DMatrix, DVector};

/// Published proportions count as so many photos of other horses (chosen).
const PRIOR_PHOTOS: f64 = 8.0;
/// A foot differs from itself, visit to visit, by this part of the variance between feet (estimate, no source).
const OF_ITSELF: f64 = 0.25;
/// A photo with fewer landmarks than this teaches nothing.
const FEWEST: usize = 4;

/// An earlier photo: which animal's which foot, and what a person placed on it. Accepted offers are left out: a shape does not learn
/// from itself.
#[derive(Debug, Clone, PartialEq)]
pub struct Example {
    /// The animal, where it is named.
    pub animal: Option<String>,
    /// The foot.
    pub foot: Foot,
    /// The landmarks and their pixels.
    pub placed: Vec<(Landmark, [f64; 2])>,
}

impl Example {
    /// What a sidecar teaches; none where it holds too little.
    pub fn of(sidecar: &Sidecar) -> Option<Self> {
        let placed: Vec<_> = sidecar
            .landmarks
            .iter()
            .filter(|(_, p)| p.suggested.is_none() && !p.at.is_empty())
            .map(|(l, p)| (*l, middle(&p.at)))
            .collect();
        (placed.len() >= FEWEST).then_some(Self {
            animal: Some(sidecar.subject.animal.clone()).filter(|a| !a.is_empty()),
            foot: sidecar.subject.foot,
            placed,
        })
    }
}

pub(super) fn middle(at: &[[f64; 2]]) -> [f64; 2] {
    let n = at.len().max(1) as f64;
    [0, 1].map(|k| at.iter().map(|p| p[k]).sum::<f64>() / n)
}

impl Shape {
    /// The shape of this practice's feet, and of one foot of one animal where that is named: what other feet teach moves the usual
    /// proportions, what the same foot teaches counts most.
    #[must_use]
    pub fn learned(&self, examples: &[Example], animal: Option<&str>, foot: Option<Foot>) -> Self {
        let whole = |shape: &Self, e: &Example| {
            let given = shape.given(&e.placed, Some(e.foot))?;
            let (mean, covariance) = given.whole();
            Some((mean.clone(), covariance.clone()))
        };
        let same = |e: &&Example| animal.is_some() && e.animal.as_deref() == animal && foot == Some(e.foot);
        let others: Vec<_> = examples.iter().filter(|e| !same(e)).filter_map(|e| whole(self, e)).collect();
        let mut shape = self.clone();
        if !others.is_empty() {
            let n = others.len() as f64;
            let sum = others.iter().fold(DVector::zeros(self.mean.len()), |sum, (m, _)| sum + m);
            shape.mean = (&self.mean * PRIOR_PHOTOS + sum) / (PRIOR_PHOTOS + n);
            let off = |m: &DVector<f64>| m - &shape.mean;
            let spread = |m: &DVector<f64>| off(m) * off(m).transpose();
            let sum = others
                .iter()
                .fold((&self.covariance + spread(&self.mean)) * PRIOR_PHOTOS, |sum: DMatrix<f64>, (m, v)| {
                    sum + spread(m) + v
                });
            shape.covariance = sum / (PRIOR_PHOTOS + n);
        }
        let own: Vec<_> = examples.iter().filter(same).filter_map(|e| whole(&shape, e)).collect();
        if own.is_empty() {
            return shape;
        }
        // A foot's own mean is one of the practice's; each photo shows it with what a foot differs from itself by.
        let n = own.len() as f64;
        let known = n / (n + OF_ITSELF);
        let mean = own.iter().fold(DVector::zeros(shape.mean.len()), |sum, (m, _)| sum + m) / n;
        let unseen = own.iter().fold(DMatrix::zeros(mean.len(), mean.len()), |sum, (_, v)| sum + v) / n;
        shape.mean = &shape.mean * (1.0 - known) + mean * known;
        // What was never placed on it is as uncertain as it was.
        shape.covariance = &shape.covariance * (1.0 - known + OF_ITSELF) + unseen * known;
        shape
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::View;

    /// A foot far from the usual one, as three visits' photos show it.
    fn visit(shift: f64) -> Vec<(Landmark, [f64; 2])> {
        let foot = [
            (Landmark::ToeCoronet, [70.0, 66.0]),
            (Landmark::ToeGround, [0.0, 0.0]),
            (Landmark::HeelCoronet, [165.0, 18.0]),
            (Landmark::HeelGround, [126.0, 0.0]),
            (Landmark::HeelBulb, [196.0, 24.0]),
        ];
        foot.map(|(l, [x, y])| (l, [600.0 + shift + 7.0 * x, 1800.0 - 7.0 * y])).to_vec()
    }

    #[test]
    fn the_same_foot_teaches_most() {
        let prior = Shape::prior(View::Lateral);
        let of = |animal: &str, shift| Example {
            animal: Some(animal.to_owned()),
            foot: Foot::LeftFore,
            placed: visit(shift),
        };
        let now = visit(300.0);
        let off = |shape: &Shape| {
            let bulb = shape.predict(&now[..4], Some(Foot::LeftFore)).into_iter();
            let p = bulb.into_iter().find(|p| p.landmark == Landmark::HeelBulb).unwrap();
            ((p.at[0] - now[4].1[0]).hypot(p.at[1] - now[4].1[1]) / 7.0, p.u_mm)
        };
        let usual = off(&prior);
        let others = off(&prior.learned(&[of("Fen", 0.0), of("Fen", 9.0)], Some("Moss"), Some(Foot::LeftFore)));
        let same = off(&prior.learned(&[of("Moss", 0.0), of("Moss", 9.0)], Some("Moss"), Some(Foot::LeftFore)));
        assert!(others.0 < usual.0 && same.0 < 0.6 * others.0, "{usual:?} {others:?} {same:?}");
        assert!(same.1 < usual.1, "{usual:?} {same:?}");
    }
}
