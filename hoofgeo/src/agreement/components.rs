//! Where the spread of repeated measurements comes from: animal, foot, photo, observer, placement.

use super::likelihood::{ANIMAL, CELL, FOOT, Node, OBSERVER, PHOTO, RESIDUAL, SIGMAS, Tree};
use super::{all_finite, too_few};
use crate::error::{Error, ErrorKind, Result};
use crate::numeric::value;
use nalgebra::{Const, DMatrix, DVector, U1};
use num_dual::DualSVec64;
use std::collections::BTreeMap;

/// One value and where it comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Observation<'a> {
    /// The animal.
    pub animal: &'a str,
    /// The foot; feet of the same name on two animals are two feet.
    pub foot: &'a str,
    /// The photo; unique within its foot.
    pub photo: &'a str,
    /// Who placed the landmarks.
    pub observer: &'a str,
    /// The value.
    pub value: f64,
}

/// A source of spread.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Component {
    /// Between animals.
    Animal,
    /// Between the feet of an animal.
    Foot,
    /// Between photos of a foot.
    Photo,
    /// Between observers, the same on every photo: their bias.
    Observer,
    /// Between observers on one photo, beyond their bias.
    ObserverOnPhoto,
    /// Between placements of one observer on one photo.
    Placement,
}

impl Component {
    /// All of them, from the outermost in.
    pub const ALL: [Self; SIGMAS] =
        [Self::Animal, Self::Foot, Self::Photo, Self::Observer, Self::ObserverOnPhoto, Self::Placement];

    /// The name in results.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Animal => "animal",
            Self::Foot => "foot",
            Self::Photo => "photo",
            Self::Observer => "observer",
            Self::ObserverOnPhoto => "observer_on_photo",
            Self::Placement => "placement",
        }
    }

    const fn slot(self) -> usize {
        match self {
            Self::Animal => ANIMAL,
            Self::Foot => FOOT,
            Self::Photo => PHOTO,
            Self::Observer => OBSERVER,
            Self::ObserverOnPhoto => CELL,
            Self::Placement => RESIDUAL,
        }
    }
}

/// A component's standard deviation, in the unit of the values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Deviation {
    /// Which source.
    pub component: Component,
    /// Its standard deviation, by restricted maximum likelihood.
    pub sd: f64,
    /// 95 % interval of it, from the profile of the restricted likelihood; its upper end is infinite where the data do not bound it.
    pub interval: [f64; 2],
}

/// The components that the data can tell apart.
#[derive(Debug, Clone, PartialEq)]
pub struct Components {
    /// Standard deviations, from the outermost source in.
    pub deviations: Vec<Deviation>,
    /// Sources that the data cannot tell from those inside them (one photo a foot, one observer, ...): not estimated.
    pub not_separable: Vec<Component>,
    /// Values used.
    pub values: usize,
}

impl Components {
    /// The standard deviation of a component, where it was estimated.
    pub fn sd(&self, component: Component) -> Option<f64> {
        self.deviations.iter().find(|d| d.component == component).map(|d| d.sd)
    }
}

/// How often the search begins again from a lower minimum that a profile has met.
const MOST_RESTARTS: usize = 8;

/// A profile's rise that bounds a 95 % interval: the quantile of chi-square with one degree of freedom.
const RISE: f64 = 3.841_458_820_694_124;

/// Standard deviations by source, by restricted maximum likelihood of a mixed model with a common mean and normal effects: feet
/// within animals, photos within feet, observers crossed with all of them, and each observer's own way on each photo.
///
/// H. D. Patterson and R. Thompson, "Recovery of inter-block information when block sizes are unequal", Biometrika 58 (1971) 545-554;
/// intervals by the profile likelihood. Time and memory are linear in the number of values.
///
/// # Errors
/// `Usage` for values that are no numbers, fewer than three values, values that are all the same, or more than 64 observers.
///
/// # Example
/// ```
/// use hoofgeo::agreement::components::{components, Component, Observation};
/// let at = |foot, observer, value| Observation { animal: "Kestrel", foot, photo: "1", observer, value };
/// let found = components(&[
///     at("LF", "A", 50.1), at("LF", "A", 50.3), at("LF", "B", 50.9), at("LF", "B", 50.6),
///     at("RF", "A", 52.0), at("RF", "A", 52.3), at("RF", "B", 52.8), at("RF", "B", 52.4),
///     at("LH", "A", 54.2), at("LH", "A", 54.1), at("LH", "B", 54.8), at("LH", "B", 54.9),
/// ])?;
/// assert!(found.sd(Component::Foot).unwrap() > 1.5 && found.sd(Component::Placement).unwrap() < 0.25);
/// assert!(found.not_separable.contains(&Component::Animal));
/// # Ok::<(), hoofgeo::Error>(())
/// ```
pub fn components(observations: &[Observation<'_>]) -> Result<Components> {
    let values: Vec<f64> = observations.iter().map(|o| o.value).collect();
    all_finite(&values)?;
    if values.len() < 3 {
        return Err(too_few("fewer than three values"));
    }
    let (mean, sd) = super::limits::mean_and_sd(&values);
    if sd <= f64::EPSILON * mean.abs() {
        return Err(Error::new(ErrorKind::Usage, "all values are the same: nothing varies"));
    }
    let (tree, separable) = plant(observations, mean, sd)?;
    let model = Model { tree, free: Component::ALL.into_iter().filter(|c| separable[c.slot()]).collect() };
    let start = DVector::from_element(model.free.len(), (model.free.len() as f64).sqrt().recip());
    let mut best = model.settle(start, None);
    let mut intervals = Vec::new();
    // A profile may come upon a lower minimum than the search from the start: then that is the best.
    for _ in 0..=MOST_RESTARTS {
        match (0..model.free.len()).map(|i| model.profile(i, &best)).collect() {
            Ok(all) => {
                intervals = all;
                break;
            }
            Err(lower) => best = model.settle(lower.at, None),
        }
    }
    if intervals.is_empty() {
        return Err(Error::new(ErrorKind::Usage, "the likelihood of these values has no clear maximum"));
    }
    let deviations = (model.free.iter().zip(best.at.iter()).zip(intervals))
        .map(|((component, s), interval): (_, [f64; 2])| Deviation {
            component: *component,
            sd: s.abs() * sd,
            interval: interval.map(|s| s * sd),
        })
        .collect();
    let not_separable = Component::ALL.into_iter().filter(|c| !separable[c.slot()]).collect();
    Ok(Components { deviations, not_separable, values: values.len() })
}

type Cells<'a> = BTreeMap<&'a str, Vec<f64>>;
type Feet<'a> = BTreeMap<&'a str, BTreeMap<&'a str, Cells<'a>>>;

/// Puts the values, centred and scaled, into a tree, and says which components it can tell apart: one that has siblings somewhere.
fn plant(observations: &[Observation<'_>], mean: f64, sd: f64) -> Result<(Tree, [bool; SIGMAS])> {
    let mut animals: BTreeMap<&str, Feet<'_>> = BTreeMap::new();
    for o in observations {
        let foot = animals.entry(o.animal).or_default().entry(o.foot).or_default();
        foot.entry(o.photo).or_default().entry(o.observer).or_default().push((o.value - mean) / sd);
    }
    let mut observers: Vec<&str> = observations.iter().map(|o| o.observer).collect();
    observers.sort_unstable();
    observers.dedup();
    if observers.len() > 64 {
        return Err(Error::new(ErrorKind::Usage, format!("{} observers are more than 64", observers.len())));
    }
    let mut separable = [false; SIGMAS];
    separable[ANIMAL] = animals.len() > 1;
    separable[OBSERVER] = observers.len() > 1;
    separable[RESIDUAL] = true;
    let mut repeated = false;
    let mut nodes = Vec::new();
    for feet in animals.into_values() {
        separable[FOOT] |= feet.len() > 1;
        let mut below = Vec::new();
        for photos in feet.into_values() {
            separable[PHOTO] |= photos.len() > 1;
            let photos = photos.into_values().map(|cells| {
                separable[CELL] |= cells.len() > 1;
                let cells = cells.into_iter().map(|(observer, values)| {
                    repeated |= values.len() > 1;
                    let n = values.len() as f64;
                    let mean = values.iter().sum::<f64>() / n;
                    let squares = values.iter().map(|v| (v - mean).powi(2)).sum();
                    let observer = observers.binary_search(&observer).unwrap_or_default();
                    Node::Cell { observer, count: n, mean, squares }
                });
                Node::Inner { level: PHOTO, below: cells.collect() }
            });
            below.push(Node::Inner { level: FOOT, below: photos.collect() });
        }
        nodes.push(Node::Inner { level: ANIMAL, below });
    }
    // With nothing repeated, the innermost spread there is takes the place of the residual.
    separable[CELL] &= repeated;
    if !repeated && !separable[OBSERVER] && !observations_share_photos(&nodes) {
        let innermost = [PHOTO, FOOT, ANIMAL].into_iter().find(|l| separable[*l]);
        if let Some(level) = innermost {
            separable[level] = false;
        }
    }
    Ok((Tree { animals: nodes, observers: observers.len(), placements: observations.len() as f64 }, separable))
}

/// Whether some photo has more than one cell.
fn observations_share_photos(nodes: &[Node]) -> bool {
    nodes.iter().any(|n| match n {
        Node::Cell { .. } => false,
        Node::Inner { level, below } => (*level == PHOTO && below.len() > 1) || observations_share_photos(below),
    })
}

struct Model {
    tree: Tree,
    free: Vec<Component>,
}

#[derive(Clone)]
struct Minimum {
    at: DVector<f64>,
    deviance: f64,
}

/// The residual is kept this far from zero, relative to the spread of all values, to keep the likelihood finite.
const LEAST_RESIDUAL: f64 = 1e-7;

impl Model {
    /// Deviance and gradient. Each standard deviation counts by its square, so its sign is of no matter and zero is an inner point.
    fn evaluate(&self, at: &DVector<f64>) -> (f64, DVector<f64>) {
        type Dual = DualSVec64<SIGMAS>;
        let mut sigma = [Dual::from_re(0.0); SIGMAS];
        for (i, c) in self.free.iter().enumerate() {
            let s = at[i];
            let s = if c.slot() == RESIDUAL { s.abs().max(LEAST_RESIDUAL).copysign(s) } else { s };
            sigma[c.slot()] = Dual::from_re(s).derivative(c.slot());
        }
        let d = self.tree.deviance(&sigma);
        let eps = d.eps.unwrap_generic(Const::<SIGMAS>, U1);
        (value(d), DVector::from_iterator(self.free.len(), self.free.iter().map(|c| eps[c.slot()])))
    }

    /// Newton's method with a Hessian from differences of the exact gradient, damped where it is not positive; `fixed` keeps one
    /// standard deviation where it is.
    fn minimise(&self, start: DVector<f64>, fixed: Option<usize>) -> Minimum {
        let n = start.len();
        let mut at = start;
        let (mut deviance, mut gradient) = self.evaluate(&at);
        let mut damping = 1e-3;
        for _ in 0..100 {
            let mut hessian = DMatrix::zeros(n, n);
            for j in 0..n {
                let h = 1e-6 * at[j].abs().max(1e-2);
                let mut moved = at.clone();
                moved[j] += h;
                hessian.set_column(j, &((self.evaluate(&moved).1 - &gradient) / h));
            }
            hessian = (&hessian + hessian.transpose()) / 2.0;
            if let Some(i) = fixed {
                gradient[i] = 0.0;
                hessian.row_mut(i).fill(0.0);
                hessian.column_mut(i).fill(0.0);
                hessian[(i, i)] = 1.0;
            }
            if gradient.amax() < 1e-8 * deviance.abs().max(1.0) && !has_descent(&hessian) {
                break;
            }
            let mut better = false;
            for _ in 0..30 {
                let step = newton_step(&hessian, &gradient, damping);
                let next = &at + &step;
                let (d, g) = self.evaluate(&next);
                if d < deviance {
                    better = deviance - d > 1e-12 * deviance.abs().max(1.0);
                    (at, deviance, gradient) = (next, d, g);
                    damping = (damping / 10.0).max(1e-9);
                    break;
                }
                damping *= 10.0;
            }
            if !better {
                break;
            }
        }
        Minimum { at, deviance }
    }

    /// The minimum from a start, never held at a zero that the likelihood would leave. Deviations count by their squares, so the gradient
    /// vanishes at each zero, whether or not the deviance falls away from it: its slope beside zero decides.
    fn settle(&self, start: DVector<f64>, fixed: Option<usize>) -> Minimum {
        let mut found = self.minimise(start, fixed);
        for _ in 0..SIGMAS {
            let Some(start) = self.off_zero(&found, fixed) else { break };
            let next = self.minimise(start, fixed);
            if next.deviance > found.deviance - 1e-9 {
                break;
            }
            found = next;
        }
        found
    }

    /// The same deviations with those that are zero, but should not be, moved off it.
    fn off_zero(&self, found: &Minimum, fixed: Option<usize>) -> Option<DVector<f64>> {
        let mut at = found.at.clone();
        let mut moved = false;
        for j in (0..at.len()).filter(|j| Some(*j) != fixed && found.at[*j].abs() < BESIDE_ZERO) {
            let mut beside = found.at.clone();
            beside[j] = BESIDE_ZERO;
            let (mut least, gradient) = self.evaluate(&beside);
            if gradient[j] >= 0.0 {
                continue;
            }
            at[j] = BESIDE_ZERO;
            moved = true;
            for doubled in 1..12 {
                beside[j] = BESIDE_ZERO * f64::from(1 << doubled);
                let (deviance, _) = self.evaluate(&beside);
                if deviance >= least {
                    break;
                }
                (least, at[j]) = (deviance, beside[j]);
            }
        }
        moved.then_some(at)
    }

    /// The interval over which a standard deviation's profile rises by less than [`RISE`]; or a lower minimum than the best so far, where
    /// one is met on the way.
    fn profile(&self, i: usize, best: &Minimum) -> std::result::Result<[f64; 2], Minimum> {
        let rise = |s: f64, from: &DVector<f64>| {
            let mut start = from.clone();
            start[i] = s;
            let found = self.settle(start, Some(i));
            if found.deviance < best.deviance - 1e-6 {
                return Err(found);
            }
            Ok(Risen { s, root: root(found.deviance - best.deviance), at: found.at })
        };
        let middle = best.at[i].abs();
        let at_best = Risen { s: middle, root: root(0.0), at: best.at.clone() };
        let floor = if self.free[i].slot() == RESIDUAL { LEAST_RESIDUAL } else { 0.0 };
        // By steps, each from the minimum of the one before: far from the best, a start of its own ends in another valley.
        let below = [0.8, 0.6, 0.4, 0.2, 0.05, 1e-3].map(|share| share * middle).into_iter().chain([floor]);
        let mut lower = 0.0;
        let mut inside = at_best.clone();
        for s in below.filter(|_| middle > floor) {
            let next = rise(s.max(floor), &inside.at)?;
            if next.root > 0.0 {
                lower = crossing(next, inside, &rise)?;
                break;
            }
            inside = next;
        }
        let mut far = (1.3 * middle).max(0.05);
        let mut inside = at_best;
        loop {
            let next = rise(far, &inside.at)?;
            if next.root > 0.0 {
                return Ok([lower, crossing(next, inside, &rise)?]);
            }
            if far > 1e3 {
                return Ok([lower, f64::INFINITY]);
            }
            (far, inside) = (far * 1.5, next);
        }
    }
}

/// A standard deviation this near to zero, relative to the spread of all values, is held to be zero.
const BESIDE_ZERO: f64 = 1e-3;

/// A point of a profile: how far it lies above or below its bound, and all standard deviations there.
#[derive(Clone)]
struct Risen {
    s: f64,
    root: f64,
    at: DVector<f64>,
}

/// The root of a rise less that of [`RISE`]: nearly straight along a profile, and zero where it crosses its bound.
fn root(rise: f64) -> f64 {
    rise.max(0.0).sqrt() - RISE.sqrt()
}

/// The profile at a standard deviation, sought from given ones.
type Rise<'a> = dyn Fn(f64, &DVector<f64>) -> std::result::Result<Risen, Minimum> + 'a;

/// Where the profile crosses its bound between a place outside it and one inside: by false position, halved where it does not move (the
/// Illinois rule), and by halves where that does not close in.
fn crossing(mut outside: Risen, mut inside: Risen, rise: &Rise<'_>) -> std::result::Result<f64, Minimum> {
    let (mut out, mut inn) = (outside.root, inside.root);
    for step in 0..60 {
        let width = (outside.s - inside.s).abs();
        if width < 1e-6 * outside.s.max(inside.s) {
            break;
        }
        let share = if step % 4 == 3 { 0.5 } else { inn / (inn - out) };
        let next = rise(inside.s + (outside.s - inside.s) * share, &inside.at)?;
        if next.root.abs() < 1e-5 {
            return Ok(next.s);
        }
        if next.root > 0.0 {
            (out, inn) = (next.root, inn / 2.0);
            outside = next;
        } else {
            (inn, out) = (next.root, out / 2.0);
            inside = next;
        }
    }
    Ok(f64::midpoint(outside.s, inside.s))
}

/// Whether the likelihood still falls along some direction.
fn has_descent(hessian: &DMatrix<f64>) -> bool {
    hessian.clone().symmetric_eigenvalues().min() < -1e-6
}

/// A step along the eigenvectors: downhill along each, by Newton's length where the curvature is positive.
fn newton_step(hessian: &DMatrix<f64>, gradient: &DVector<f64>, damping: f64) -> DVector<f64> {
    let eigen = hessian.clone().symmetric_eigen();
    let along = eigen.eigenvectors.transpose() * gradient;
    let scale = eigen.eigenvalues.amax().max(1e-12);
    let step = DVector::from_fn(along.len(), |i, _| {
        let curvature = eigen.eigenvalues[i].abs() + damping * scale;
        // At a saddle the gradient vanishes along the way down: leave it by a small step.
        if along[i].abs() < 1e-9 && eigen.eigenvalues[i] < 0.0 { 1e-2 / (1.0 + damping) } else { -along[i] / curvature }
    });
    &eigen.eigenvectors * step
}
