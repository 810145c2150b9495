//! A row of rings followed along the wall, and led back from there to the wall's edge.
//!
//! At the edge itself, where the spacing is measured, the wall turns away and shows nothing. The rings seen beside it lie deeper or higher there:
//! they slant, they grow apart round the foot, and a round wall stands nearer to the camera than the plane of its edge. The last two stretch
//! depths as one does by going round the wall, and near the toe most of the way round is seen within a few millimetres: as the square root of
//! the distance from the edge, as on any round thing; half a circle is taken. One model of all rings over a good part of the wall tells
//! that stretch far better than the strip beside the edge alone.

use super::ridge::{Crest, seen};
use super::strip::{Ridges, Slant, Strip, Wall};
use crate::pixels::gradient::median;
use crate::pixels::{Grey, Mapping};
use nalgebra::{DMatrix, DVector};
use std::f64::consts::FRAC_PI_2;

/// Width of a station, as a share of the wall from toe to heel, and how many are looked at from the edge on.
const WIDTH: f64 = 0.055;
const STATIONS: usize = 7;
/// The first station's middle, as a share from the edge.
const FIRST: f64 = 0.0775;
/// A crest belongs to a ring within this share of the rings' usual distance.
const NEAR: f64 = 0.3;
/// What stains and light do to a crest beside its own uncertainty, mm (chosen).
const STAIN_MM: f64 = 0.25;

/// How all rings of a wall run: one `depth` below the coronary line at the edge lies at `depth (1 + stretch · way) + slope · x + bend · x²`, x mm from
/// the edge towards the heel.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Run {
    stretch: f64,
    slope: f64,
    bend: f64,
}

/// Which edge is led back to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Edge {
    Toe,
    Heel,
}

impl Edge {
    pub(super) fn share(self) -> f64 {
        if self == Self::Toe { 0.0 } else { 1.0 }
    }

    /// How far a share lies from the edge towards the heel, mm.
    pub(super) fn x(self, wall: &Wall, share: f64) -> f64 {
        wall.across(share, self.share()) * (share - self.share()).signum()
    }

    /// How far round the wall a share lies from the edge: the toe is half a circle, whose quarter turn is 1; the heel is straight.
    fn way(self, share: f64) -> f64 {
        let share = share.clamp(0.0, 1.0);
        if self == Self::Toe { (1.0 - 2.0 * share).acos() / FRAC_PI_2 } else { 1.0 - share }
    }

    /// Its derivative by the share.
    fn way_slope(self, share: f64) -> f64 {
        let share = share.clamp(1e-6, 1.0 - 1e-6);
        if self == Self::Toe { 1.0 / (FRAC_PI_2 * (share * (1.0 - share)).sqrt()) } else { -1.0 }
    }

    /// What a wall's rings do as a rule, and its standard uncertainty: stretch, slope, and bend per mm (chosen: rings a quarter farther apart at one
    /// end than at the other, a coronary band up to 27° off the straight line and arched by up to 10 mm; a toe seen from 1 m stands 3 % nearer at
    /// a tenth of the wall's length).
    fn prior(self) -> [(f64, f64); 3] {
        let stretch = if self == Self::Toe { (0.05, 0.08) } else { (0.0, 0.25) };
        [stretch, (0.0, 0.5), (0.0, 0.004)]
    }

    fn stations(self) -> impl Iterator<Item = f64> {
        let from = move |d: f64| if self == Self::Toe { d } else { 1.0 - d };
        (0..STATIONS).map(move |k| from(FIRST + WIDTH * k as f64))
    }
}

/// A strip of the wall at which rings are looked for.
struct Station {
    share: f64,
    /// From the edge towards the heel, mm.
    x: f64,
    ridges: Ridges,
}

/// The stations along a wall, from an edge on.
pub(super) struct Stations {
    edge: Edge,
    /// Of the wall from toe to heel, mm.
    length: f64,
    all: Vec<Station>,
}

/// A ring seen at a station.
#[derive(Debug, Clone, Copy)]
struct Sight {
    ring: usize,
    share: f64,
    x: f64,
    depth: f64,
    u: f64,
}

/// The rings of a row where they reach the edge.
#[derive(Debug, Clone)]
pub(super) struct AtEdge {
    /// Depth of each below the coronary line, mm, and its standard uncertainty against the others.
    pub(super) rings: Vec<(f64, f64)>,
    /// At what share of the stations each was seen.
    pub(super) seen: Vec<f64>,
}

impl Stations {
    /// Samples those that lie in the photo, at the scale `sigma` mm of the ridge filter.
    pub(super) fn sample(grey: &Grey, map: &dyn Mapping, wall: &Wall, edge: Edge, sigma: f64) -> Self {
        let strip = |s: f64| Strip::sample(grey, map, wall, [s - WIDTH / 2.0, s + WIDTH / 2.0]);
        let station = |s: Strip| Station { share: s.share, x: edge.x(wall, s.share), ridges: s.ridges(sigma) };
        let all = edge.stations().filter_map(strip).map(station).collect();
        Self { edge, length: wall.across(0.0, 1.0).max(1e-6), all }
    }

    /// Follows the rings of a row, found `slant`ed at the share `from`, x mm from the edge, along the wall, and gives their depths at the edge.
    pub(super) fn follow(&self, row: &[Crest], slant: Slant, from: f64, x: f64) -> Option<AtEdge> {
        let usual = median(&mut row.windows(2).map(|w| w[1].depth - w[0].depth).collect::<Vec<_>>())?;
        let mut model = Model::start(self, row, slant, from, x);
        // First outwards, each station where the ones before it say; then all of them again where all together say.
        let mut sights = Vec::new();
        let mut missed = 0;
        let mut reached = 0;
        for (k, station) in self.all.iter().enumerate() {
            let seen = model.look(station, usual);
            missed = if seen.len() * 3 < row.len() { missed + 1 } else { 0 };
            if missed == 2 {
                break;
            }
            if missed == 0 {
                sights.extend(seen);
                model = model.fitted(&sights)?;
                reached = k + 1;
            }
        }
        for _ in 0..2 {
            sights = self.all[..reached].iter().flat_map(|station| model.look(station, usual)).collect();
            model = model.fitted(&sights)?;
        }
        let n = row.len();
        let of = model.covariance.view((0, 0), (n, n));
        let against = |i: usize| (of[(i, i)] - 2.0 * of.row(i).mean() + of.mean()).max(0.0).sqrt();
        Some(AtEdge {
            rings: (0..n).map(|i| (model.depths[i], against(i))).collect(),
            seen: (0..n).map(|i| sights.iter().filter(|s| s.ring == i).count() as f64 / reached as f64).collect(),
        })
    }
}

/// All rings of a wall.
#[derive(Debug, Clone)]
struct Model {
    edge: Edge,
    /// Of the wall from toe to heel, mm.
    length: f64,
    run: Run,
    /// At the edge.
    depths: Vec<f64>,
    /// Of the depths, then of the run.
    covariance: DMatrix<f64>,
}

impl Model {
    /// A row as it runs where it was found, with what is known beforehand of its stretch.
    fn start(Stations { edge, length, .. }: &Stations, row: &[Crest], slant: Slant, from: f64, x: f64) -> Self {
        let mean = row.iter().map(|c| c.depth).sum::<f64>() / row.len() as f64;
        let stretch = edge.prior()[0].0;
        let slope = slant.slope + slant.stretch * mean - mean * stretch * edge.way_slope(from) / length;
        let depth = |c: &Crest| (c.depth - slope * x) / (1.0 + stretch * edge.way(from));
        Self {
            edge: *edge,
            length: *length,
            run: Run { stretch, slope, bend: 0.0 },
            depths: row.iter().map(depth).collect(),
            covariance: DMatrix::zeros(0, 0),
        }
    }

    fn depth(&self, ring: usize, share: f64, x: f64) -> f64 {
        let Run { stretch, slope, bend } = self.run;
        self.depths[ring] * (1.0 + stretch * self.edge.way(share)) + slope * x + bend * x * x
    }

    /// The crests of a station that are the model's rings.
    fn look(&self, Station { share, x, ridges }: &Station, usual: f64) -> Vec<Sight> {
        let (share, x) = (*share, *x);
        let Run { stretch, slope, bend } = self.run;
        let turn = stretch * self.edge.way_slope(share) / self.length / (1.0 + stretch * self.edge.way(share));
        let local = Slant { slope: slope + 2.0 * bend * x - turn * (slope * x + bend * x * x), stretch: turn };
        let all: Vec<Crest> = seen(&ridges.profile(local)).collect();
        let sight = |ring: usize| {
            let off = |c: &&Crest| (c.depth - self.depth(ring, share, x)).abs();
            let near = all.iter().filter(|c| off(c) < NEAR * usual).min_by(|a, b| off(a).total_cmp(&off(b)))?;
            Some(Sight { ring, share, x, depth: near.depth, u: near.u.hypot(STAIN_MM) })
        };
        (0..self.depths.len()).filter_map(sight).collect()
    }

    /// The model that fits what was seen best: Gauss and Newton's steps, Huber's weights, what is known beforehand of a wall.
    fn fitted(mut self, sights: &[Sight]) -> Option<Self> {
        let n = self.depths.len();
        for _ in 0..8 {
            let off = |s: &Sight| s.depth - self.depth(s.ring, s.share, s.x);
            let mut sizes: Vec<f64> = sights.iter().map(|s| (off(s) / s.u).abs()).collect();
            let spread = (median(&mut sizes)? / 0.6745).max(1.0);
            let (mut normal, mut right) = (DMatrix::<f64>::zeros(n + 3, n + 3), DVector::<f64>::zeros(n + 3));
            for s in sights {
                let r = off(s);
                let w = (1.5 * spread * s.u / r.abs().max(1e-12)).min(1.0) / (s.u * spread).powi(2);
                let way = self.edge.way(s.share);
                let row = [
                    (s.ring, 1.0 + self.run.stretch * way),
                    (n, self.depths[s.ring] * way),
                    (n + 1, s.x),
                    (n + 2, s.x * s.x),
                ];
                for (i, a) in row {
                    right[i] += w * a * r;
                    for (k, b) in row {
                        normal[(i, k)] += w * a * b;
                    }
                }
            }
            let run = [self.run.stretch, self.run.slope, self.run.bend];
            for (k, ((usual, u), now)) in self.edge.prior().into_iter().zip(run).enumerate() {
                normal[(n + k, n + k)] += 1.0 / (u * u);
                right[n + k] += (usual - now) / (u * u);
            }
            // A ring that was lost on the way stays where it was.
            for i in 0..n {
                normal[(i, i)] += 1e-6;
            }
            let covariance = normal.try_inverse()?;
            let step: DVector<f64> = &covariance * right;
            self.depths.iter_mut().enumerate().for_each(|(i, d)| *d += step[i]);
            self.run.stretch += step[n];
            self.run.slope += step[n + 1];
            self.run.bend += step[n + 2];
            self.covariance = covariance;
            if step.amax() < 1e-6 {
                break;
            }
        }
        Some(self)
    }
}
