//! Error and detection rate of growth rings and traced outlines on rendered feet, by condition. Figures are in VALIDATION.md.
//!
//! `cargo run --release -p hoofgeo-cli --example wall_rates -- rings|without|outlines FIRST_SEED PHOTOS`
//!
//! Thresholds were chosen on seeds below 1000; the figures are of others.
#![allow(clippy::print_stdout, reason = "an experiment")]

#[path = "../../tests/walls/mod.rs"]
mod walls;

use walls::{CONDITIONS, Condition, outline, outlines_beside, ring};

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let number = |k: usize, usual: u64| words.get(k).and_then(|w| w.parse().ok()).unwrap_or(usual);
    let (first, n) = (number(1, 10_000), number(2, 40));
    match words.first().map(String::as_str) {
        Some("outlines") => outlines(first, n),
        Some("without") => without(first, n),
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
    println!(
        "condition | place | found | miscounted | rings found of shown, false | spacing: error % RMS (median), of the rings alone, over u | place sd mm, over u | paired, wrongly"
    );
    let seen: Vec<Vec<_>> = (first..first + n).map(|seed| CONDITIONS.map(|c| ring(seed, c, true)).into()).collect();
    for (i, condition) in CONDITIONS.into_iter().enumerate() {
        let all: Vec<_> = seen.iter().map(|s| &s[i]).collect();
        for at in [0, 1] {
            let rows: Vec<_> = all.iter().filter_map(|a| a.rows[at].as_ref()).collect();
            let right: Vec<_> = rows.iter().filter(|r| !r.miscounted).collect();
            let errors: Vec<f64> = right.iter().map(|r| r.spacing_error_percent).collect();
            let own: Vec<f64> = right.iter().map(|r| r.own_error_percent).collect();
            let over: Vec<f64> = right.iter().map(|r| r.spacing_over_u).collect();
            let places: Vec<f64> = right.iter().flat_map(|r| r.places_mm.iter().copied()).collect();
            let places_over: Vec<f64> = right.iter().flat_map(|r| r.places_over_u.iter().copied()).collect();
            let paired: Vec<bool> = all.iter().filter_map(|a| a.paired).collect();
            println!(
                "{condition:?} | {} | {} of {n} | {} | {} of {}, {} | {:.2} ({:.2}), {:.2} ({:.2}), {:.2} | {:.2}, {:.2} | {}, {}",
                ["toe", "heel"][at],
                rows.len(),
                rows.len() - right.len(),
                rows.iter().map(|r| r.found).sum::<usize>(),
                rows.iter().map(|r| r.shown).sum::<usize>(),
                rows.iter().map(|r| r.wrong).sum::<usize>(),
                rms(&errors),
                median(&errors),
                rms(&own),
                median(&own),
                rms(&over),
                rms(&places),
                rms(&places_over),
                paired.len(),
                paired.iter().filter(|ok| !**ok).count(),
            );
        }
    }
}

/// Walls without rings, in the conditions that need no other rendering.
fn without(first: u64, n: u64) {
    let (mut rows, mut walls) = ([0, 0], 0);
    for seed in first..first + n {
        for condition in CONDITIONS.into_iter().filter(|c| !matches!(c, Condition::Tilt(_) | Condition::Sun)) {
            let seen = ring(seed, condition, false);
            walls += 1;
            for (count, row) in rows.iter_mut().zip(&seen.rows) {
                *count += usize::from(row.is_some());
            }
            if seen.rows.iter().any(Option::is_some) {
                println!("{seed} {condition:?}: {:?}", seen.why);
            }
        }
    }
    println!("without rings: {} at the toe and {} at the heel accepted, of {walls}", rows[0], rows[1]);
}

fn outlines(first: u64, n: u64) {
    println!(
        "condition | line, clicks | traced | wrong edge | area: error % RMS (median), over u; of the outline alone (median); clicked alone | RMS distance mm, stated"
    );
    const CLICKS: [usize; 2] = [8, 16];
    let seen: Vec<Vec<_>> = (first..first + n)
        .map(|seed| CONDITIONS.into_iter().flat_map(|c| CLICKS.map(|k| outline(seed, c, k))).collect())
        .collect();
    for (i, condition) in CONDITIONS.into_iter().enumerate() {
        for (j, clicks) in CLICKS.into_iter().enumerate() {
            let all: Vec<_> = seen.iter().map(|s| &s[2 * i + j]).collect();
            for line in 0..3 {
                let found: Vec<_> = all.iter().filter_map(|a| a[line].as_ref()).collect();
                let of = |f: fn(&walls::Outline) -> f64| found.iter().map(|o| f(o)).collect::<Vec<_>>();
                let (areas, own) = (of(|o| o.area_error_percent), of(|o| o.own_error_percent));
                println!(
                    "{condition:?} | {}, {clicks} | {} of {n} | {} | {:.2} ({:.2}), {:.2}; {:.2} ({:.2}); {:.2} | {:.2}, {:.2}",
                    ["outer_wall", "white_line", "frog"][line],
                    found.len(),
                    found.iter().filter(|o| o.mean_mm.abs() > 1.0).count(),
                    rms(&areas),
                    median(&areas),
                    rms(&of(|o| o.area_over_u)),
                    rms(&own),
                    median(&own),
                    rms(&of(|o| o.clicked_own_percent)),
                    rms(&of(|o| o.rms_mm)),
                    rms(&of(|o| o.stated_mm)),
                );
            }
        }
    }
    let beside = (first..first + n).map(outlines_beside).sum::<usize>();
    println!("clicked 12 mm inside the wall's edge: {beside} of {n} traced");
}
