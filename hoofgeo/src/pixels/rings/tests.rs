use super::*;
use crate::pixels::Flat;
use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;

const SCALE: f64 = 6.0;

/// A wall of 120 mm by 90 mm at the toe and 60 mm at the heel, seen square on; its front half is half a circle seen from the side. Rings at
/// `rings` mm below the coronet at the toe lie `at_heel` times as deep at the heel, evenly so on the way round; tubules, noise of 3 levels.
struct Walls {
    rings: Vec<(f64, f64)>,
    at_heel: f64,
    tubules: f64,
    seed: u64,
}

fn corners() -> [Point2<f64>; 4] {
    [(20.0, 10.0), (20.0, 100.0), (140.0, 10.0), (140.0, 70.0)].map(|(x, y)| Point2::new(SCALE * x, SCALE * y))
}

/// Share of the way round from toe to heel at a share of what is seen from the side: a quarter of a circle, then straight on.
fn way_round(share: f64) -> f64 {
    let (r, s) = (0.5, share.clamp(0.0, 1.0));
    let quarter = r * std::f64::consts::FRAC_PI_2;
    (if s < r { r * (1.0 - s / r).acos() } else { quarter + s - r }) / (quarter + 1.0 - r)
}

impl Walls {
    fn photo(&self) -> Grey {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(self.seed);
        let phases: Vec<(f64, f64)> = (0..6).map(|k| (rng.random::<f64>() * 6.3, 0.35 + 0.3 * f64::from(k))).collect();
        let (w, h) = (960, 640);
        let mut values = Vec::with_capacity(w * h);
        for y in 0..h {
            for x in 0..w {
                let (mm_x, mm_y) = ((x as f64 + 0.5) / SCALE - 20.0, (y as f64 + 0.5) / SCALE - 10.0);
                let depth = mm_y / (1.0 + (self.at_heel - 1.0) * way_round(mm_x / 120.0));
                let ring: f64 = self.rings.iter().map(|(d, s)| s * (-0.5 * ((depth - d) / 1.2).powi(2)).exp()).sum();
                let tubule: f64 = phases.iter().map(|(p, l)| (mm_x * std::f64::consts::TAU / l + p).sin()).sum();
                let noise: f64 = (0..4).map(|_| rng.random::<f64>() * 2.0 - 1.0).sum::<f64>() * 2.6;
                values.push((120.0 + 0.2 * mm_y + 9.0 * ring + self.tubules * tubule + noise) as f32);
            }
        }
        Grey::from_values(w as u32, h as u32, values).expect("whole")
    }

    fn look(&self) -> WallRings {
        let map = Flat { px_per_mm: SCALE };
        growth_rings(&self.photo(), [&map, &map], corners())
    }
}

fn uneven() -> Vec<(f64, f64)> {
    [9.0, 16.4, 25.6, 33.2, 42.8, 50.1, 58.9, 68.0, 75.3].map(|d| (d, 1.0)).to_vec()
}

#[test]
fn rings_are_found_where_they_are_and_paired() {
    for (at_heel, seed) in [(1.0, 1), (0.72, 2), (1.3, 3)] {
        let seen = Walls { rings: uneven(), at_heel, tubules: 2.0, seed }.look();
        let (toe, heel) = (seen.toe.as_ref().expect("toe"), seen.heel.as_ref().expect("heel"));
        for (row, factor) in [(toe, 1.0), (heel, at_heel)] {
            for r in &row.rings {
                let near = uneven().iter().map(|d| (d.0 * factor - r.below_mm).abs()).fold(f64::MAX, f64::min);
                assert!(near < 0.6, "{at_heel}: {r:?}");
            }
        }
        let (spacing, u) = toe.spacing_mm();
        let (a, b) = (&toe.rings[toe.whole.start], &toe.rings[toe.whole.end - 1]);
        let true_of = |d: f64| uneven().iter().map(|r| r.0).min_by(|x, y| (x - d).abs().total_cmp(&(y - d).abs()));
        let truth = true_of(b.below_mm).zip(true_of(a.below_mm)).map(|(b, a)| b - a).expect("rings");
        let truth = truth / (toe.whole.len() - 1) as f64;
        assert!((spacing - truth).abs() < 0.1 && u < 0.3, "{at_heel}: {spacing} ± {u}, true {truth}");
        assert!(seen.pairs.len() >= 3, "{at_heel}: {:?}", seen.pairs);
        for (i, k) in &seen.pairs {
            let off = toe.rings[*i].below_mm * at_heel - heel.rings[*k].below_mm;
            assert!(off.abs() < 1.5, "{at_heel}: {off}");
        }
    }
}

#[test]
fn a_stronger_ring_is_an_event() {
    let mut rings = uneven();
    rings[3].1 = 3.0;
    let seen = Walls { rings, at_heel: 1.0, tubules: 2.0, seed: 5 }.look();
    let events: Vec<f64> = seen.toe.expect("toe").rings.iter().filter(|r| r.event).map(|r| r.below_mm).collect();
    assert!(events.len() == 1 && (events[0] - 33.2).abs() < 0.6, "{events:?}");
}

#[test]
fn walls_without_rings_are_refused() {
    for seed in 0..12 {
        let seen = Walls { rings: vec![], at_heel: 1.0, tubules: 4.0, seed }.look();
        assert!(seen.toe.is_err() && seen.heel.is_err(), "{seed}: {:?} {:?}", seen.toe, seen.heel);
    }
    let outside = growth_rings(
        &Walls { rings: vec![], at_heel: 1.0, tubules: 0.0, seed: 1 }.photo(),
        [&Flat { px_per_mm: SCALE }, &Flat { px_per_mm: SCALE }],
        corners().map(|p| p * 3.0),
    );
    assert_eq!(outside.toe, Err(NoRings::TooSmall));
}
