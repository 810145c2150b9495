//! The restricted likelihood of a nested and crossed variance model, in time linear in the number of placements.
//!
//! The model is y = μ + a(animal) + f(foot) + p(photo) + o(observer) + c(observer within photo) + e. Animal, foot, photo and cell form
//! a tree; observers cross it. An effect of the tree acts on everything below its node as a private part of μ, so its column of
//! the design is λ times the column of μ, restricted to the node. The cross-products of what lies below a node are a small
//! matrix over (μ, observers, y), and integrating the node's effect out is a rank-one step on that matrix:
//! S − λ² s sᵀ / (1 + λ² S_μμ), s being the column of μ, with log(1 + λ² S_μμ) added to the log-determinant. What is left at the root
//! is an ordinary small problem in μ and the observers. (The general form: D. Bates et al., "Fitting linear mixed-effects
//! models using lme4", Journal of Statistical Software 67 (2015) 1, section 3.)

use crate::numeric::{Real, constant};

/// Levels of the tree, from the leaves up, and where their standard deviations stand among the parameters.
pub(super) const CELL: usize = 0;
pub(super) const PHOTO: usize = 1;
pub(super) const FOOT: usize = 2;
pub(super) const ANIMAL: usize = 3;
pub(super) const OBSERVER: usize = 4;
pub(super) const RESIDUAL: usize = 5;
/// Number of standard deviations.
pub(super) const SIGMAS: usize = 6;

/// A node of the tree: cells hold numbers, the others hold nodes.
#[derive(Debug, Clone)]
pub(super) enum Node {
    /// Placements of one observer on one photo: how many, their mean, and their squares about it.
    Cell { observer: usize, count: f64, mean: f64, squares: f64 },
    /// A photo, foot or animal.
    Inner { level: usize, below: Vec<Node> },
}

/// The data of one model.
#[derive(Debug, Clone)]
pub(super) struct Tree {
    pub animals: Vec<Node>,
    pub observers: usize,
    pub placements: f64,
}

/// Cross-products over (μ, observers, y), symmetric, stored whole.
struct Products<T> {
    side: usize,
    values: Vec<T>,
}

impl<T: Real> Products<T> {
    fn zero(side: usize) -> Self {
        Self { side, values: vec![T::zero(); side * side] }
    }

    fn at(&self, i: usize, j: usize) -> T {
        self.values[i * self.side + j]
    }

    fn add(&mut self, other: &Self) {
        for (a, b) in self.values.iter_mut().zip(&other.values) {
            *a += *b;
        }
    }

    /// Removes variable `i`, whose column counts by the ratio `lambda` of its variance to the residual's, and has a prior precision of
    /// one: what is left is the Schur complement. Gives the pivot.
    fn eliminate(&mut self, i: usize, lambda: T) -> T {
        let pivot = T::one() + lambda * self.at(i, i);
        let weight = lambda / pivot;
        let column: Vec<T> = (0..self.side).map(|j| self.at(j, i)).collect();
        for j in 0..self.side {
            let weighted = column[j] * weight;
            for (k, &other) in column.iter().enumerate().skip(j) {
                let less = self.at(j, k) - weighted * other;
                self.values[j * self.side + k] = less;
                self.values[k * self.side + j] = less;
            }
        }
        pivot
    }
}

impl Tree {
    /// Minus twice the restricted log-likelihood, without its constant, for standard deviations given in the order of the levels.
    pub(super) fn deviance<T: Real>(&self, sigma: &[T; SIGMAS]) -> T {
        let residual = sigma[RESIDUAL] * sigma[RESIDUAL];
        let ratio: [T; SIGMAS] = std::array::from_fn(|i| sigma[i] * sigma[i] / residual);
        let mut logs = T::zero();
        let side = self.observers + 2;
        let mut s = Products::zero(side);
        for animal in &self.animals {
            let below = self.products(animal, &ratio, &mut logs);
            s.add(&below);
        }
        let y = side - 1;
        for o in 1..y {
            logs += s.eliminate(o, ratio[OBSERVER]).ln();
        }
        let mean = s.at(0, 0);
        logs += mean.ln();
        let rest = s.at(y, y) - s.at(0, y) * s.at(0, y) / mean;
        logs + constant::<T>(self.placements - 1.0) * residual.ln() + rest / residual
    }

    fn products<T: Real>(&self, node: &Node, ratio: &[T; SIGMAS], logs: &mut T) -> Products<T> {
        let side = self.observers + 2;
        let (mut s, level) = match node {
            Node::Cell { observer, count, mean, squares } => {
                let mut s = Products::zero(side);
                let y = side - 1;
                let (n, sum) = (*count, count * mean);
                for (i, j, v) in [
                    (0, 0, n),
                    (0, 1 + observer, n),
                    (1 + observer, 1 + observer, n),
                    (0, y, sum),
                    (1 + observer, y, sum),
                ] {
                    s.values[i * side + j] = constant(v);
                    s.values[j * side + i] = constant(v);
                }
                s.values[y * side + y] = constant(squares + n * mean * mean);
                (s, CELL)
            }
            Node::Inner { level, below } => {
                let mut s = Products::zero(side);
                for node in below {
                    s.add(&self.products(node, ratio, logs));
                }
                (s, *level)
            }
        };
        if ratio[level] != T::zero() {
            *logs += s.eliminate(0, ratio[level]).ln();
        }
        s
    }
}
