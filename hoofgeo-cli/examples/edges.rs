//! How well tubules, dorsal wall, ground line and single landmarks are read from pictures, on rendered feet whose geometry is known. Figures
//! are in VALIDATION.md.
//!
//! `cargo run --release -p hoofgeo-cli --example edges look FIRST FEET FILE` looks at so many feet and adds a line for each thing looked for to
//! the file; `edges table FILE` prints the tables of all that it holds; `edges textures FIRST COUNT` looks for tubules where none are.
#![allow(clippy::print_stdout, clippy::print_stderr, reason = "tables are what it is for")]

#[path = "../../tests/edge_photos/mod.rs"]
mod edge_photos;

use edge_photos::{CONDITIONS, Error, LANDMARKS, Shot, TEXTURES, look, texture};
use rayon::prelude::*;
use std::fmt::Write as _;
use std::io::Write as _;

/// One thing looked for, as it stands in the file.
struct Row {
    what: String,
    shot: String,
    condition: String,
    seed: u64,
    error: Option<Error>,
}

fn main() -> std::io::Result<()> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let number = |i: usize| args.get(i).and_then(|a| a.parse::<u64>().ok());
    match (args.first().map(String::as_str), args.get(1), number(1), number(2), args.get(3)) {
        (Some("look"), _, Some(first), Some(feet), Some(file)) => {
            let lines: Vec<String> = (first..first + feet).into_par_iter().map(of_foot).collect();
            let mut out = std::fs::OpenOptions::new().create(true).append(true).open(file)?;
            out.write_all(lines.concat().as_bytes())
        }
        (Some("table"), Some(file), ..) => {
            let text = std::fs::read_to_string(file)?;
            tables(&text.lines().filter_map(row).collect::<Vec<_>>());
            Ok(())
        }
        (Some("textures"), _, Some(first), Some(count), _) => {
            println!("| no tubules, or none to be seen | accepted | of |\n| --- | --- | --- |");
            for kind in TEXTURES {
                let accepted = (first..first + count).into_par_iter().filter(|seed| texture(kind, *seed)).count();
                println!("| {kind} | {accepted} | {count} |");
            }
            Ok(())
        }
        _ => {
            eprintln!("edges look FIRST FEET FILE | edges table FILE | edges textures FIRST COUNT");
            Ok(())
        }
    }
}

fn of_foot(seed: u64) -> String {
    let mut out = String::new();
    for shot in Shot::ALL {
        let photo = shot.render(seed);
        for s in CONDITIONS.iter().filter(|c| shot.takes(c)).flat_map(|c| look(&photo, shot, c, seed)) {
            let _ = write!(out, "{}\t{}\t{}\t{seed}", s.what, shot.name(), s.condition);
            if let Some(e) = s.error {
                let _ = write!(out, "\t{}\t{}\t{}", e.off, e.u, e.before.unwrap_or(f64::NAN));
            }
            out.push('\n');
        }
    }
    out
}

fn row(line: &str) -> Option<Row> {
    let parts: Vec<&str> = line.split('\t').collect();
    let number = |i: usize| parts.get(i)?.parse::<f64>().ok();
    Some(Row {
        what: (*parts.first()?).to_owned(),
        shot: (*parts.get(1)?).to_owned(),
        condition: (*parts.get(2)?).to_owned(),
        seed: parts.get(3)?.parse().ok()?,
        error: number(4).zip(number(5)).map(|(off, u)| Error { off, u, before: number(6).filter(|b| b.is_finite()) }),
    })
}

fn tables(seen: &[Row]) {
    for what in ["tubules", "tubules, in the picture", "wall", "wall, two clicks", "flare", "ground"] {
        table(what, "°", seen);
    }
    for what in LANDMARKS {
        table(what, "mm", seen);
    }
}

/// Looks at a row of a table.
type Picks = Box<dyn Fn(&Row) -> bool>;

fn table(title: &str, unit: &str, seen: &[Row]) {
    println!("\n**{title}**\n");
    println!("| condition | found | RMS error, {unit} | before | scatter over stated | past 3 u | worst |");
    println!("| --- | --- | --- | --- | --- | --- | --- |");
    let clean = CONDITIONS[0].name;
    let shots = Shot::ALL.iter().map(|shot| {
        let name = shot.name();
        (name.to_owned(), Box::new(move |s: &Row| s.shot == name && s.condition == clean) as Picks)
    });
    let conditions =
        CONDITIONS.iter().skip(1).map(|c| (c.name.to_owned(), Box::new(move |s: &Row| s.condition == c.name) as Picks));
    let whole = std::iter::once(("all".to_owned(), Box::new(|_: &Row| true) as Picks));
    for (name, test) in shots.chain(conditions).chain(whole) {
        let of: Vec<&Row> = seen.iter().filter(|s| s.what == title && test(s)).collect();
        let found: Vec<(Error, u64)> = of.iter().filter_map(|s| Some((s.error?, s.seed))).collect();
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
            worst.map_or(String::new(), |(e, seed)| format!("{:.2} ± {:.2} (foot {seed})", e.off, 2.0 * e.u))
        );
    }
}

fn rms(v: &[f64]) -> Option<f64> {
    (!v.is_empty()).then(|| (v.iter().map(|x| x * x).sum::<f64>() / v.len() as f64).sqrt())
}

fn shown(v: Option<f64>) -> String {
    v.map_or(String::new(), |v| format!("{v:.2}"))
}
