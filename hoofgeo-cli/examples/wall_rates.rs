//! Error and detection rate of growth rings and traced outlines on rendered feet, by condition. Figures are in DEVELOPERS.md.
//!
//! `cargo run --release -p hoofgeo-cli --example wall_rates -- rings|outlines FIRST_SEED PHOTOS`
//!
//! Thresholds were chosen on seeds below 1000; the figures are of others.
#![allow(clippy::print_stdout, reason = "an experiment")]

#[path = "../../tests/walls/mod.rs"]
mod walls;

use walls::{CONDITIONS, outline, outlines_beside, ring};

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let number = |k: usize, usual: u64| words.get(k).and_then(|w| w.parse().ok()).unwrap_or(usual);
    let (first, n) = (number(1, 10_000), number(2, 40));
    match words.first().map(String::as_str) {
        Some("outlines") => outlines(first, n),
        _ => rings(first, n),
    }
}

fn rms(v: &[f64]) -> f64 {
    (v.iter().map(|x| x * x).sum::<f64>() / v.len().max(1) as f64).sqrt()
}

fn median(v: &[f64]) -> f64 {
    let mut v: Vec<f64> = v.iter().map(|x| x.abs()).collect();
    v.sort_by(f64::total_cmp);
    v.get(v.len() / 2).copied().unwrap_or(f64::NAN)
}

fn rings(first: u64, n: u64) {
    println!("condition | place | found | miscounted | rings found of shown, false | spacing: error % RMS (median), over u | place sd mm, over u | paired, wrongly");
    for condition in CONDITIONS {
        let all: Vec<_> = (first..first + n).map(|seed| ring(seed, condition, true)).collect();
        for at in [0, 1] {
            let rows: Vec<_> = all.iter().filter_map(|a| a.rows[at].as_ref()).collect();
            let right: Vec<_> = rows.iter().filter(|r| !r.miscounted).collect();
            let errors: Vec<f64> = right.iter().map(|r| r.spacing_error_percent).collect();
            let over: Vec<f64> = right.iter().map(|r| r.spacing_over_u).collect();
            let places: Vec<f64> = right.iter().flat_map(|r| r.places_mm.iter().copied()).collect();
            let places_over: Vec<f64> = right.iter().flat_map(|r| r.places_over_u.iter().copied()).collect();
            let paired: Vec<bool> = all.iter().filter_map(|a| a.paired).collect();
            println!(
                "{condition:?} | {} | {} of {n} | {} | {} of {}, {} | {:.2} ({:.2}), {:.2} | {:.2}, {:.2} | {}, {}",
                ["toe", "heel"][at],
                rows.len(),
                rows.len() - right.len(),
                rows.iter().map(|r| r.found).sum::<usize>(),
                rows.iter().map(|r| r.shown).sum::<usize>(),
                rows.iter().map(|r| r.wrong).sum::<usize>(),
                rms(&errors),
                median(&errors),
                rms(&over),
                rms(&places),
                rms(&places_over),
                paired.len(),
                paired.iter().filter(|ok| !**ok).count(),
            );
        }
        let without: Vec<_> = (first..first + n).map(|seed| ring(seed, condition, false)).collect();
        let rows = |at: usize| without.iter().filter(|a| a.rows[at].is_some()).count();
        println!("{condition:?} | without rings: {} and {} of {n} accepted", rows(0), rows(1));
    }
}

fn outlines(first: u64, n: u64) {
    println!("condition | line, clicks | traced | wrong edge | area: error % RMS (median), over u; clicked % | RMS distance mm, stated");
    for condition in CONDITIONS {
        for clicks in [8, 16] {
            let all: Vec<_> = (first..first + n).map(|seed| outline(seed, condition, clicks)).collect();
            for line in 0..3 {
                let found: Vec<_> = all.iter().filter_map(|a| a[line].as_ref()).collect();
                let of = |f: fn(&walls::Outline) -> f64| found.iter().map(|o| f(o)).collect::<Vec<_>>();
                let areas = of(|o| o.area_error_percent);
                println!(
                    "{condition:?} | {}, {clicks} | {} of {n} | {} | {:.2} ({:.2}), {:.2}; {:.2} | {:.2}, {:.2}",
                    ["outer_wall", "white_line", "frog"][line],
                    found.len(),
                    found.iter().filter(|o| o.mean_mm.abs() > 1.0).count(),
                    rms(&areas),
                    median(&areas),
                    rms(&of(|o| o.area_over_u)),
                    rms(&of(|o| o.clicked_error_percent)),
                    rms(&of(|o| o.rms_mm)),
                    rms(&of(|o| o.stated_mm)),
                );
            }
        }
    }
    let beside = (first..first + n).map(outlines_beside).sum::<usize>();
    println!("clicked 12 mm inside the wall, where there is no outline: {beside} of {n} traced");
}
