//! How well tubules, dorsal wall, ground line and single landmarks are read from pictures, on rendered feet whose geometry is known:
//! `cargo run --release -p hoofgeo-cli --example edges [feet] [first seed] [textures]`. Figures are in DEVELOPERS.md.
#![allow(clippy::print_stdout, reason = "a table is what it is for")]

#[path = "../../tests/edge_photos/mod.rs"]
mod edge_photos;

use edge_photos::{CONDITIONS, Condition, Seen, Shot, look, texture};
use rayon::prelude::*;

fn main() {
    let args: Vec<u64> = std::env::args().skip(1).filter_map(|a| a.parse().ok()).collect();
    let given = |i: usize, usual: u64| args.get(i).copied().unwrap_or(usual);
    let (feet, first, textures) = (given(0, 24), given(1, 0), given(2, 400));
    let seen: Vec<Seen> = (first..first + feet)
        .into_par_iter()
        .flat_map_iter(|seed| {
            let mut out = Vec::new();
            for shot in [Shot::Level, Shot::Usual, Shot::Steep, Shot::Sole] {
                let photo = shot.render(seed);
                out.extend(CONDITIONS.iter().filter(|c| shot.takes(c)).flat_map(|c| look(&photo, shot, c, seed)));
            }
            out
        })
        .collect();
    for what in ["tubules", "wall", "wall, two clicks", "flare", "ground"] {
        table(what, "°", &seen, |s| s.what == what);
    }
    for what in edge_photos::LANDMARKS {
        table(what, "mm", &seen, |s| s.what == what);
    }
    println!("\n| texture without tubules to be found | accepted | of |\n| --- | --- | --- |");
    for kind in edge_photos::TEXTURES {
        let accepted = (first..first + textures).into_par_iter().filter(|seed| texture(kind, *seed)).count();
        println!("| {kind} | {accepted} | {textures} |");
    }
}

/// Looks at a row of the table.
type Picks = Box<dyn Fn(&Seen) -> bool>;

fn table(title: &str, unit: &str, seen: &[Seen], what: impl Fn(&Seen) -> bool) {
    println!("\n**{title}**\n");
    println!("| condition | found | RMS error, {unit} | before | scatter over stated | past 3 U/k | worst |");
    println!("| --- | --- | --- | --- | --- | --- | --- |");
    let rows = Shot::ALL.iter().map(|shot| {
        let name = format!("{}, as it is", shot.name());
        let own = *shot;
        (name, Box::new(move |s: &Seen| s.shot == own && s.condition == "as it is") as Picks)
    });
    let conditions = CONDITIONS.iter().skip(1).map(|c: &Condition| {
        let name = c.name;
        (name.to_owned(), Box::new(move |s: &Seen| s.condition == name) as Picks)
    });
    let whole = std::iter::once(("all".to_owned(), Box::new(|_: &Seen| true) as Picks));
    for (name, test) in rows.chain(conditions).chain(whole) {
        let of: Vec<&Seen> = seen.iter().filter(|s| what(s) && test(s)).collect();
        let found: Vec<_> = of.iter().filter_map(|s| s.error.map(|e| (e, s))).collect();
        if of.is_empty() {
            continue;
        }
        let errors: Vec<f64> = found.iter().map(|(e, _)| e.off).collect();
        let before: Vec<f64> = found.iter().filter_map(|(e, _)| e.before).collect();
        let normalised: Vec<f64> = found.iter().map(|(e, _)| e.off / e.u).collect();
        let worst = found.iter().max_by(|a, b| a.0.off.abs().total_cmp(&b.0.off.abs()));
        println!(
            "| {name} | {} of {} | {} | {} | {} | {} | {} |",
            found.len(),
            of.len(),
            shown(rms(&errors)),
            shown(rms(&before)),
            shown(rms(&normalised)),
            normalised.iter().filter(|n| n.abs() > 3.0).count(),
            worst.map_or(String::new(), |(e, s)| format!("{:.2} ± {:.2} (seed {})", e.off, e.u, s.seed))
        );
    }
}

fn rms(v: &[f64]) -> Option<f64> {
    (!v.is_empty()).then(|| (v.iter().map(|x| x * x).sum::<f64>() / v.len() as f64).sqrt())
}

fn shown(v: Option<f64>) -> String {
    v.map_or(String::new(), |v| format!("{v:.2}"))
}
