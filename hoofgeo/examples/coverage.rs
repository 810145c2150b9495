//! How often the stated intervals hold the truth: `cargo run --release --example coverage [photos] [draws] [repeats]`.
//!
//! Prints, for each kind of scale, view and knowledge of the lens, the share of values whose 95 % interval holds the truth
//! (k = 2 on normal errors: 95.45 %), stated and actual uncertainty, refused photos, and a line for each measurement.
#![allow(clippy::print_stdout, reason = "a table is what it is for")]

#[path = "../../tests/synth/mod.rs"]
mod synth;

use hoofgeo::View;
use hoofgeo::measured::MeasureOptions;
use hoofgeo::scale::ScaleKind;
use synth::count::{count, table};
use synth::{Known, Spec};

fn main() {
    let mut args = std::env::args().skip(1);
    let photos: usize = args.next().and_then(|a| a.parse().ok()).unwrap_or(2000);
    let draws = args.next().and_then(|a| a.parse().ok()).unwrap_or(0);
    let repeats = args.next().and_then(|a| a.parse().ok()).unwrap_or(1);
    let only = args.next();
    for kind in [ScaleKind::StraightRuler, ScaleKind::SquareRuler, ScaleKind::Card, ScaleKind::Board] {
        for view in View::ALL {
            for known in Known::ALL {
                let spec = Spec { kind, view: *view, known, repeats };
                let name = format!("{} {view} {known:?}", kind.name());
                if only.as_ref().is_some_and(|o| !name.contains(o.as_str())) {
                    continue;
                }
                let t = count(&spec, photos, 1, &MeasureOptions { draws, seed: 1, ..MeasureOptions::default() });
                let c = t.total();
                println!(
                    "{name:38} {} photos, {} refused, coverage {:.2} %, z {:.3}, flags {:?}, by draws {}",
                    t.photos,
                    t.refusals(),
                    100.0 * c.share(),
                    (c.normalised / c.values as f64).sqrt(),
                    t.flags,
                    t.monte_carlo
                );
                print!("{}", table(&t));
                for (why, n) in t.refused.iter().take(5) {
                    println!("    refused {n}: {}", why.lines().next().unwrap_or_default());
                }
            }
        }
    }
}
