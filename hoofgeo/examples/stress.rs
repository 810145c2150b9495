//! What a yard does every day that no prior foresees: `cargo run --release --example stress [photos] [seed]`.
//!
//! Scenes come from a generator of its own (`stress/world.rs`). For each condition it prints how many values' 95 % intervals hold the
//! truth, how many values carry a flag that says that something is wrong, how many were refused, and how many are silently wrong:
//! outside, and nothing says so. Then how often an unchanged foot seems changed when a day's photos are averaged, and what U was
//! before the model knew of all this, on the same scenes.
#![allow(clippy::print_stdout, reason = "a table is what it is for")]

#[path = "stress/before.rs"]
mod before;
#[path = "stress/rows.rs"]
mod rows;
#[path = "stress/world.rs"]
mod world;

use hoofgeo::View;
use hoofgeo::measure::ALL;
use rows::{Count, SHARING, count, false_changes, rows};
use world::{Ruler, Yard};

/// The cells whose uncertainties are compared with those of before.
fn cells() -> [(&'static str, Yard); 5] {
    let of = |ruler, view, line_points| {
        // As when the figures of before were recorded.
        let tilt = if ruler == Ruler::Straight { 5.0 } else { 15.0 };
        Yard { line_points, tilt, ..Yard::usual(ruler, view) }
    };
    [
        ("straight lateral, landmarks", of(Ruler::Straight, View::Lateral, None)),
        ("straight lateral, lines", of(Ruler::Straight, View::Lateral, Some(15))),
        ("square lateral, lines", of(Ruler::Square, View::Lateral, Some(15))),
        ("straight solar", of(Ruler::Straight, View::Solar, Some(24))),
        ("square solar", of(Ruler::Square, View::Solar, Some(24))),
    ]
}

fn percent(part: usize, of: usize) -> f64 {
    100.0 * part as f64 / of.max(1) as f64
}

fn median(values: &[f64]) -> f64 {
    let mut v = values.to_vec();
    v.sort_by(f64::total_cmp);
    v.get(v.len() / 2).copied().unwrap_or(f64::NAN)
}

fn main() {
    let mut args = std::env::args().skip(1);
    let photos: usize = args.next().and_then(|a| a.parse().ok()).unwrap_or(300);
    let seed: u64 = args.next().and_then(|a| a.parse().ok()).unwrap_or(1);
    let only = args.next().unwrap_or_default();
    if only != "before" {
        println!("{:66} covered flagged refused  silent  noticed  worst, most frequent flag", "condition");
        for row in rows().iter().filter(|r| r.name.contains(&only)) {
            line(&row.name, row.least, row.gross, &count(&row.yard, photos, seed));
        }
        println!("\nfalse changes, two days of three photos; a day's photos share");
        for (name, yard) in cells() {
            for sharing in SHARING {
                let [wrong, all] = false_changes(&yard, &sharing, photos / 3, seed);
                println!("{name:30} {:40} {:5.2} % of {all}", sharing.name, percent(wrong, all));
            }
        }
    }
    println!("\nmedian U at 95 %, {} photos, before and now", before::PHOTOS);
    for (name, yard) in cells() {
        let now = count(&yard, before::PHOTOS, before::SEED);
        println!("{name}");
        for m in ALL {
            let Some(u) = now.expanded.get(m.id) else { continue };
            let u = median(u);
            match before::U.iter().find(|(cell, id, _)| *cell == name && *id == m.id) {
                Some((.., then)) => {
                    println!("    {:34} {then:9.3} {u:9.3} {:4}  x {:.2}", m.id, m.quantity.unit(), u / then)
                }
                None => println!("    (\"{name}\", \"{}\", {u:.3}),", m.id),
            }
        }
    }
}

fn line(name: &str, least: Option<f64>, gross: bool, c: &Count) {
    let worst = c.worst().map_or_else(String::new, |(id, share)| format!("{id} {:.0} %", 100.0 * share));
    let most = c.flags.iter().max_by_key(|(_, n)| **n);
    let worst = most.map_or_else(|| worst.clone(), |(flag, n)| format!("{worst}, {flag} {n}"));
    let missed = match (least, gross) {
        (Some(least), _) if c.covered() < least => " < target",
        (_, true) if percent(c.noticed, c.photos) < 95.0 => " < 95 % noticed",
        _ => "",
    };
    println!(
        "{name:66} {:6.1} {:7.1} {:7.1} {:7.1} {:8.1}  {worst}{missed}",
        100.0 * c.covered(),
        percent(c.flagged, c.values),
        percent(c.refused, c.values),
        percent(c.silent, c.values),
        percent(c.noticed, c.photos)
    );
}
