//! How often the ruler is found, how exactly it is read, and how often something is read wrongly:
//! `cargo run --release --example ruler_rates [pictures of rulers] [other pictures] [first]`.
#![allow(clippy::print_stdout, reason = "a table is what it is for")]

#[path = "../../tests/synth_ruler/mod.rs"]
mod synth_ruler;

use hoofgeo::pixels::ruler::{Acceptance, Mark, Reading, find_with, read_marked};
use nalgebra::Point2;
use rayon::prelude::*;
use synth_ruler::{Picture, other, ruler};

/// Margins of the likelihood at which the rates are shown.
const MARGINS: [f64; 7] = [0.0, 3.0, 6.0, 9.0, 12.0, 18.0, 24.0];

struct Outcome {
    picture: Facts,
    reading: Option<Reading>,
    why: String,
    wrong: bool,
    px: Vec<f64>,
    normalised: Vec<f64>,
    scale: f64,
    ms: f64,
}

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

fn facts(p: &Picture, kind: &str) -> Facts {
    let s = &p.spec;
    Facts {
        seed: s.seed,
        kind: kind.to_owned(),
        readable: p.is_readable(),
        tilt: s.tilt[0].abs().max(s.tilt[1].abs()),
        blur: s.blur,
        period: p.least_period(),
        noise: s.noise,
        dirt: s.dirt.len() > 5,
        hidden: !s.hidden.is_empty(),
        glare: !s.glare.is_empty(),
    }
}

fn judge(p: &Picture, kind: &str, read: hoofgeo::Result<Reading>, ms: f64) -> Outcome {
    let (reading, why) = match read {
        Ok(r) => (Some(r), String::new()),
        Err(e) => (None, e.to_string()),
    };
    let compared = reading.as_ref().and_then(|r| p.compare(r));
    let bent = p.spec.bend_mm.is_some();
    let wrong = reading.is_some() && compared.as_ref().is_none_or(|c| bent || c.scale.abs() > 0.01 || c.label > 0.5);
    let (px, normalised, scale) = compared.map_or_else(Default::default, |c| (c.px, c.normalised, c.scale));
    Outcome { picture: facts(p, kind), reading, why, wrong, px, normalised, scale, ms }
}

fn main() {
    let args: Vec<u64> = std::env::args().skip(1).filter_map(|a| a.parse().ok()).collect();
    let (rulers, others) = (args.first().copied().unwrap_or(1200), args.get(1).copied().unwrap_or(1200));
    let first = args.get(2).copied().unwrap_or(0);
    let loose = Acceptance { margin: 0.0, ..Acceptance::default() };
    let timed = |p: &Picture, kind: &str| {
        let start = std::time::Instant::now();
        let read = find_with(&p.grey, &loose);
        judge(p, kind, read, start.elapsed().as_secs_f64() * 1e3)
    };
    let found: Vec<Outcome> = (first..first + rulers)
        .into_par_iter()
        .map(|seed| {
            let p = ruler(seed).render();
            let kind = format!("{:?}", p.spec.rule.as_ref().map(|r| r.finish));
            timed(&p, &kind)
        })
        .collect();
    let strange: Vec<Outcome> = (first..first + others)
        .into_par_iter()
        .map(|seed| {
            let (kind, spec) = other(seed);
            timed(&spec.render(), kind)
        })
        .collect();
    let marked: Vec<Outcome> = (first..first + rulers.min(600))
        .into_par_iter()
        .filter_map(|seed| {
            let p = ruler(seed).render();
            let marks = marks(&p)?;
            let start = std::time::Instant::now();
            let read = read_marked(&p.grey, marks);
            Some(judge(&p, "marked", read, start.elapsed().as_secs_f64() * 1e3))
        })
        .collect();
    print(&found, &strange, &marked);
}

/// Two marks near lines that can be seen, half a pixel to two off.
fn marks(p: &Picture) -> Option<[Mark; 2]> {
    let rule = p.spec.rule.as_ref()?;
    let inside = |q: &Point2<f64>| (20.0..1180.0).contains(&q.x) && (20.0..880.0).contains(&q.y);
    let lines: Vec<(f64, Point2<f64>)> = (0..=(rule.length as u32))
        .map(|mm| (f64::from(mm), p.view.pixel(Point2::new(f64::from(mm), 1.0))))
        .filter(|(_, q)| inside(q))
        .collect();
    let (a, b) = (lines.get(2)?, lines.get(lines.len().checked_sub(3)?)?);
    let off = |k: f64| nalgebra::Vector2::new((k * 7.3).sin(), (k * 3.1).cos()) * 1.0;
    (b.0 - a.0 > 15.0).then(|| {
        [Mark { mm: a.0, at: a.1 + off(p.spec.seed as f64) }, Mark { mm: b.0, at: b.1 + off(p.spec.seed as f64 + 0.5) }]
    })
}

fn print(found: &[Outcome], strange: &[Outcome], marked: &[Outcome]) {
    let limit = Acceptance::default().margin;
    let accepted = |o: &&Outcome, margin: f64| o.reading.as_ref().is_some_and(|r| r.evidence.margin >= margin);
    println!("margin  found of readable   wrong of rulers   wrong of others");
    let readable: Vec<&Outcome> = found.iter().filter(|o| o.picture.readable).collect();
    for margin in MARGINS {
        let n = readable.iter().filter(|o| accepted(o, margin) && !o.wrong).count();
        let wrong = |of: &[Outcome]| of.iter().filter(|o| accepted(o, margin) && o.wrong).count();
        println!(
            "{margin:6} {n:6} / {} = {:.1} % {:6} / {} {:10} / {}",
            readable.len(),
            100.0 * n as f64 / readable.len().max(1) as f64,
            wrong(found),
            found.len(),
            wrong(strange),
            strange.len()
        );
    }
    type Test<'a> = (&'a str, Box<dyn Fn(&Facts) -> bool>);
    let tests: Vec<Test<'_>> = vec![
        ("all readable", Box::new(|_| true)),
        ("steel", Box::new(|f| f.kind.contains("Steel"))),
        ("white plastic", Box::new(|f| f.kind.contains("White"))),
        ("yellow tape", Box::new(|f| f.kind.contains("Yellow"))),
        ("wood", Box::new(|f| f.kind.contains("Wood"))),
        ("tilt below 15°", Box::new(|f| f.tilt < 15.0)),
        ("tilt 15 to 30°", Box::new(|f| (15.0..30.0).contains(&f.tilt))),
        ("tilt 30 to 40°", Box::new(|f| f.tilt >= 30.0)),
        ("lines 3 to 5 px apart", Box::new(|f| f.period < 5.0)),
        ("lines 5 to 9 px apart", Box::new(|f| (5.0..9.0).contains(&f.period))),
        ("lines over 9 px apart", Box::new(|f| f.period >= 9.0)),
        ("blur below 1 px", Box::new(|f| f.blur < 1.0)),
        ("blur 1 to 1.75 px", Box::new(|f| (1.0..1.75).contains(&f.blur))),
        ("blur 1.75 to 2.5 px", Box::new(|f| f.blur >= 1.75)),
        ("noise below 3", Box::new(|f| f.noise < 3.0)),
        ("noise 3 to 6", Box::new(|f| f.noise >= 3.0)),
        ("dirty", Box::new(|f| f.dirt)),
        ("partly hidden", Box::new(|f| f.hidden)),
        ("glare", Box::new(|f| f.glare)),
    ];
    for (title, of) in [("found", found), ("marked", marked)] {
        println!("\n{title}: condition, readable, accepted, RMS px, normalised, median photo RMS, lines");
        for (name, test) in &tests {
            let of: Vec<&Outcome> = of
                .iter()
                .filter(|o| o.picture.readable && (test(&o.picture) || title == "marked" && *name == "all"))
                .collect();
            let ok: Vec<&&Outcome> = of.iter().filter(|o| accepted(o, limit) && !o.wrong).collect();
            let px: Vec<f64> = ok.iter().flat_map(|o| o.px.iter().copied()).collect();
            let norm: Vec<f64> = ok.iter().flat_map(|o| o.normalised.iter().copied()).collect();
            let mut each: Vec<f64> = ok.iter().map(|o| rms(&o.px)).collect();
            each.sort_by(f64::total_cmp);
            println!(
                "{name:24} {:5} {:5} = {:5.1} %  {:.3}  {:.2}  {:.3}  {}",
                of.len(),
                ok.len(),
                100.0 * ok.len() as f64 / of.len().max(1) as f64,
                rms(&px),
                rms(&norm),
                each.get(each.len() / 2).copied().unwrap_or(f64::NAN),
                px.len() / ok.len().max(1)
            );
        }
    }
    for (title, of) in [("found", found), ("strange", strange), ("marked", marked)] {
        println!(
            "\n{title}: mean time {:.0} ms; wrong:",
            of.iter().map(|o| o.ms).sum::<f64>() / of.len().max(1) as f64
        );
        for o in of.iter().filter(|o| o.wrong).take(30) {
            if let Some(r) = &o.reading {
                println!(
                    "  {} {} scale {:+.4} {:?} step {} {:?}",
                    o.picture.seed, o.picture.kind, o.scale, r.evidence, r.step_mm, r.lengths
                );
            }
        }
    }
    println!("\nreadable, refused:");
    for o in readable.iter().filter(|o| !accepted(o, limit)).take(40) {
        let e = o.reading.as_ref().map(|r| r.evidence);
        println!(
            "  {} {} period {:.1} blur {:.1} noise {:.1} tilt {:.0}: {} {e:?}",
            o.picture.seed,
            o.picture.kind,
            o.picture.period,
            o.picture.blur,
            o.picture.noise,
            o.picture.tilt,
            o.why.lines().next().unwrap_or_default()
        );
    }
    println!("\nmarked, readable, refused:");
    for o in marked.iter().filter(|o| o.picture.readable && o.reading.is_none()).take(40) {
        println!(
            "  {} {} period {:.1} blur {:.1}: {}",
            o.picture.seed,
            o.picture.kind,
            o.picture.period,
            o.picture.blur,
            o.why.lines().next().unwrap_or_default()
        );
    }
}

fn rms(v: &[f64]) -> f64 {
    (v.iter().map(|x| x * x).sum::<f64>() / v.len().max(1) as f64).sqrt()
}
