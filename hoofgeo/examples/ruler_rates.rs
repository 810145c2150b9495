//! How often the ruler is found, how exactly it is read, and how often something is read wrongly. In pieces, so that a long run can be
//! stopped and taken up again:
//! `cargo run --release --example ruler_rates -- rows FILE FIRST RULERS OTHERS [KIND]` adds the outcomes of so many pictures to a file,
//! `... -- table FILE...` prints the tables.
#![allow(clippy::print_stdout, reason = "a table is what it is for")]

#[path = "../../tests/synth_ruler/mod.rs"]
mod synth_ruler;

#[path = "ruler_rates/table.rs"]
mod table;

use hoofgeo::pixels::ruler::{Acceptance, Mark, Reading, find_metric_with, read_marked};
use nalgebra::Point2;
use rayon::prelude::*;
use serde::{Deserialize, Serialize};
use std::io::Write;
use synth_ruler::{Picture, other, ruler};

/// How the picture was read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
enum Way {
    /// A metric rule without marks.
    Found,
    /// What is none, without marks.
    Strange,
    /// A metric rule between two marks.
    Marked,
}

/// What became of one picture.
#[derive(Debug, Serialize, Deserialize)]
struct Row {
    way: Way,
    picture: Facts,
    /// At the usual limits.
    usual: Read,
    /// With every margin and every length of the lines.
    loose: Read,
    ms: f64,
}

/// A picture as it was drawn.
#[derive(Debug, Clone, Serialize, Deserialize)]
struct Facts {
    seed: u64,
    kind: String,
    readable: bool,
    tilt: f64,
    blur: f64,
    period: f64,
    noise: f64,
    dirt: bool,
    hidden: bool,
    glare: bool,
}

/// What was read of it.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
struct Read {
    accepted: bool,
    wrong: bool,
    /// Relative error of the scale.
    scale: f64,
    margin: f64,
    line_length: f64,
    lines: usize,
    /// Sums of the squares of the graduations' errors, px and in stated uncertainties.
    px2: f64,
    normalised2: f64,
    why: String,
}

fn facts(p: &Picture, kind: &str) -> Facts {
    let s = &p.spec;
    Facts {
        seed: s.seed,
        kind: kind.to_owned(),
        readable: p.is_readable(),
        tilt: s.tilt[0].abs().max(s.tilt[1].abs()),
        blur: s.blur,
        period: if s.rule.is_some() { p.least_period() } else { 0.0 },
        noise: s.noise,
        dirt: s.dirt.len() > 5,
        hidden: !s.hidden.is_empty(),
        glare: !s.glare.is_empty(),
    }
}

fn judge(p: &Picture, read: hoofgeo::Result<Reading>) -> Read {
    let reading = match read {
        Ok(r) => r,
        Err(e) => return Read { why: e.to_string(), ..Read::default() },
    };
    let compared = p.compare(&reading);
    let bent = p.spec.bend_mm.is_some();
    let wrong = compared.as_ref().is_none_or(|c| bent || c.scale.abs() > 0.01 || c.label > 0.5);
    let square = |v: &[f64]| v.iter().map(|x| x * x).sum();
    let e = reading.evidence;
    Read {
        accepted: true,
        wrong,
        scale: compared.as_ref().map_or(0.0, |c| c.scale),
        // Marks give an infinite one, which JSON has no word for.
        margin: e.margin.min(1e6),
        line_length: e.line_length * reading.step_mm.max(1.0),
        lines: reading.graduations.len(),
        px2: compared.as_ref().map_or(0.0, |c| square(&c.px)),
        normalised2: compared.as_ref().map_or(0.0, |c| square(&c.normalised)),
        why: format!("{e:?} step {} {:?}", reading.step_mm, reading.lengths),
    }
}

/// Reads with loose limits, and with the usual ones where those would not have taken the same.
fn unmarked(p: &Picture, kind: &str, way: Way) -> Row {
    let usual_limits = Acceptance::default();
    let loose_limits = Acceptance { margin: 0.0, line_length: 0.0, ..usual_limits };
    let start = std::time::Instant::now();
    let loose = judge(p, find_metric_with(&p.grey, &loose_limits));
    let ms = start.elapsed().as_secs_f64() * 1e3;
    let same =
        !loose.accepted || (loose.margin >= usual_limits.margin && loose.line_length >= usual_limits.line_length);
    let usual = if same { loose.clone() } else { judge(p, find_metric_with(&p.grey, &usual_limits)) };
    Row { way, picture: facts(p, kind), usual, loose, ms }
}

fn rows(args: &[String]) -> Result<(), Box<dyn std::error::Error>> {
    let [file, numbers @ ..] = args else { return Err("name a file".into()) };
    // A word at the end: other things of that kind alone.
    let kind = numbers.get(3);
    let numbers: Vec<u64> = numbers.iter().take(3).map(|a| a.parse()).collect::<Result<_, _>>()?;
    let [first, rulers, others] = numbers[..] else { return Err("FIRST RULERS OTHERS".into()) };
    let mut out = std::fs::OpenOptions::new().create(true).append(true).open(file)?;
    // A few at a time: what is done stands in the file.
    const PIECE: u64 = 20;
    let most = first + rulers.max(others);
    for from in (first..most).step_by(PIECE as usize) {
        let seeds = |n: u64| from..(from + PIECE).min(first + n).max(from);
        let mut done: Vec<Row> = seeds(rulers)
            .into_par_iter()
            .flat_map_iter(|seed| {
                let p = ruler(seed).render();
                let kind = format!("{:?}", p.spec.rule.as_ref().map(|r| r.finish));
                let found = unmarked(&p, &kind, Way::Found);
                [Some(found), marked(&p, &kind)].into_iter().flatten()
            })
            .collect();
        done.par_extend(seeds(others).into_par_iter().filter_map(|seed| {
            let (drawn, spec) = other(seed);
            let wanted = kind.is_none_or(|k| k == drawn);
            wanted.then(|| unmarked(&spec.render(), drawn, Way::Strange))
        }));
        for row in done {
            writeln!(out, "{}", serde_json::to_string(&row)?)?;
        }
    }
    Ok(())
}

fn marked(p: &Picture, kind: &str) -> Option<Row> {
    let marks = marks(p)?;
    let start = std::time::Instant::now();
    let read = judge(p, read_marked(&p.grey, marks));
    let ms = start.elapsed().as_secs_f64() * 1e3;
    Some(Row { way: Way::Marked, picture: facts(p, kind), loose: read.clone(), usual: read, ms })
}

/// Two marks near lines that can be seen, about a pixel off: nobody marks a line under a finger.
fn marks(p: &Picture) -> Option<[Mark; 2]> {
    let rule = p.spec.rule.as_ref()?;
    let inside = |q: &Point2<f64>| (20.0..1180.0).contains(&q.x) && (20.0..880.0).contains(&q.y);
    let lines: Vec<(f64, Point2<f64>)> = (0..=(rule.length as u32))
        .map(|mm| (f64::from(mm), p.view.pixel(Point2::new(f64::from(mm), 1.0))))
        .filter(|(mm, q)| inside(q) && p.shows(*mm))
        .collect();
    let (a, b) = (lines.get(2)?, lines.get(lines.len().checked_sub(3)?)?);
    let off = |k: f64| nalgebra::Vector2::new((k * 7.3).sin(), (k * 3.1).cos()) * 1.0;
    (b.0 - a.0 > 15.0).then(|| {
        [Mark { mm: a.0, at: a.1 + off(p.spec.seed as f64) }, Mark { mm: b.0, at: b.1 + off(p.spec.seed as f64 + 0.5) }]
    })
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    match args.split_first() {
        Some((what, rest)) if what == "rows" => rows(rest),
        Some((what, rest)) if what == "table" => {
            let mut all = Vec::new();
            for file in rest {
                for line in std::fs::read_to_string(file)?.lines() {
                    all.push(serde_json::from_str::<Row>(line)?);
                }
            }
            table::print(&all);
            Ok(())
        }
        _ => Err("say rows FILE FIRST RULERS OTHERS, or table FILE...".into()),
    }
}
