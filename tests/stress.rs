//! What a yard does every day: the table of the example `stress`, small. Fixed seeds; bounds are the target less three standard
//! deviations of the binomial share of the photos, since the values of one photo err together.
#![allow(missing_docs, reason = "tests")]

#[path = "../hoofgeo/examples/stress/rows.rs"]
mod rows;
#[path = "../hoofgeo/examples/stress/world.rs"]
mod world;

use hoofgeo::View;
use rayon::prelude::*;
use rows::{SHARING, count, false_changes, rows};
use world::{Ruler, Yard};

const PHOTOS: usize = 120;

fn least(target: f64, n: usize) -> f64 {
    // The values of a photo are worth some four independent ones (found by comparing seeds).
    target - 3.0 * (target * (1.0 - target) / (4.0 * n as f64)).sqrt()
}

#[test]
fn what_a_yard_does_is_covered() {
    let missed: Vec<String> = rows()
        .par_iter()
        .filter_map(|row| {
            let c = count(&row.yard, PHOTOS, 3);
            let target = row.least.filter(|t| c.covered() < least(*t, PHOTOS))?;
            Some(format!("{}: {:.3} of {target}, worst {:?}", row.name, c.covered(), c.worst()))
        })
        .collect();
    assert!(missed.is_empty(), "{missed:#?}");
}

/// Sound photos of sound feet are refused seldom and flagged seldom.
#[test]
fn usual_photos_go_unflagged() {
    for (ruler, view) in
        [(Ruler::Straight, View::Lateral), (Ruler::Square, View::Lateral), (Ruler::Straight, View::Solar)]
    {
        let c = count(&Yard::usual(ruler, view), PHOTOS, 4);
        let flagged = (c.flagged + c.refused) as f64 / c.values as f64;
        assert!(flagged < 0.05, "{ruler:?} {view}: {flagged:.3}");
    }
}

/// However much a day's photos share, an unchanged foot seldom seems changed: 6 % and three standard deviations of it.
#[test]
fn a_day_of_photos_changes_nothing() {
    for (ruler, view) in [(Ruler::Straight, View::Lateral), (Ruler::Straight, View::Solar)] {
        for sharing in SHARING {
            let [wrong, all] = false_changes(&Yard::usual(ruler, view), &sharing, 60, 5);
            let (rate, n) = (wrong as f64 / all as f64, 4.0 * 60.0);
            assert!(rate < 0.06 + 3.0 * f64::sqrt(0.06 * 0.94 / n), "{ruler:?} {view}, {}: {rate:.3}", sharing.name);
        }
    }
}
