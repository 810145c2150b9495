//! What the ruler reader makes of photographs that strangers took (`../shared/data/real-rulers`, where present): found, between two marks,
//! between two marks of which one is called wrongly, and in photographs without a ruler. One line a photograph, then the sums, of the
//! half that the limits were chosen on (every second one of the list) and the half that they were not.
//! `cargo run --release --example real_rulers -- [--pictures FOLDER] [NAME...]` draws what was found into a folder, and looks only at
//! photographs with such names.
#![allow(clippy::print_stdout, reason = "a table is what it is for")]

use hoofgeo::photo::decode_upright;
use hoofgeo::picture::ruler_picture;
use hoofgeo::pixels::Grey;
use hoofgeo::pixels::ruler::{Mark, Reading, find_metric, read_marked};
use nalgebra::Point2;
use serde_json::Value;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::Instant;

/// A numbered graduation that was measured by hand.
#[derive(Debug, Clone, Copy)]
struct Point {
    mm: f64,
    at: Point2<f64>,
}

fn point(v: &Value) -> Option<Point> {
    let at = v.get("at_on_line").or_else(|| v.get("at"))?;
    let number = |v: &Value| v.as_f64();
    Some(Point { mm: number(v.get("mm")?)?, at: Point2::new(number(at.get(0)?)?, number(at.get(1)?)?) })
}

/// Label of a place by a reading, mm.
fn label_at(reading: &Reading, place: Point2<f64>) -> f64 {
    let g = &reading.graduations;
    let i = (0..g.len()).min_by(|a, b| (g[*a].at - place).norm().total_cmp(&(g[*b].at - place).norm())).unwrap_or(0);
    let near = &g[i.saturating_sub(3)..(i + 4).min(g.len())];
    let (first, last) = (near[0], near[near.len() - 1]);
    let step = (last.at - first.at) / (last.mm - first.mm);
    let normal = nalgebra::Vector2::new(-g[i].direction.y, g[i].direction.x);
    g[i].mm + (place - g[i].at).dot(&normal) / step.dot(&normal)
}

/// Relative error of the length between the two marks.
fn scale_error(reading: &Reading, a: Point, b: Point) -> f64 {
    let read = (label_at(reading, b.at) - label_at(reading, a.at)).abs();
    read / (b.mm - a.mm).abs() - 1.0
}

#[derive(Default)]
struct Sums(BTreeMap<(&'static str, &'static str), [usize; 4]>);

impl Sums {
    fn count(&mut self, way: &'static str, half: &'static str, read: bool, right: Option<bool>) {
        for half in [half, "all"] {
            let s = self.0.entry((way, half)).or_default();
            s[0] += 1;
            s[1] += usize::from(read);
            s[2] += usize::from(read && right == Some(true));
            s[3] += usize::from(read && right == Some(false));
        }
    }
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../shared/data/real-rulers");
    let given = std::env::var_os("HOOFGEO_REAL_RULERS").map_or(folder, PathBuf::from);
    if !given.join("truth.json").is_file() {
        println!("skipped: ../shared/data/real-rulers is not here");
        return Ok(());
    }
    let mut args: Vec<String> = std::env::args().skip(1).collect();
    let mut pictures = None;
    if args.first().is_some_and(|a| a == "--pictures") {
        pictures = args.get(1).map(PathBuf::from);
        args.drain(..2.min(args.len()));
    }
    let truth: Value = serde_json::from_str(&std::fs::read_to_string(given.join("truth.json"))?)?;
    let mut sums = Sums::default();
    for (group, sub) in [("photos", "photos"), ("rulers_without_points", "photos"), ("without_ruler", "without-ruler")]
    {
        for (i, entry) in truth[group].as_array().into_iter().flatten().enumerate() {
            let file = entry["file"].as_str().unwrap_or_default();
            if !args.is_empty() && !args.iter().any(|a| file.contains(a.as_str())) {
                continue;
            }
            let half = ["chosen on", "held out"][i % 2];
            let photo = decode_upright(given.join(sub).join(file))?;
            let grey = Grey::of(&photo);
            let ends = point(&entry["a"]).zip(point(&entry["b"]));
            let start = Instant::now();
            let found = find_metric(&grey);
            let ms = start.elapsed().as_secs_f64() * 1e3;
            let error = found.as_ref().ok().zip(ends).map(|(r, (a, b))| scale_error(r, a, b));
            let right = error.map(|e| e.abs() < 0.005);
            sums.count(
                if group == "photos" {
                    "found"
                } else if sub == "photos" {
                    "found (others)"
                } else {
                    "claimed"
                },
                half,
                found.is_ok(),
                right,
            );
            say("found", half, file, &found, error, ms);
            if let (Some(to), Ok(reading)) = (&pictures, &found) {
                ruler_picture(photo.clone(), reading, 2400)?.save(to.join(format!("{file}.png")))?;
            }
            let Some((a, b)) = ends else { continue };
            for (way, off) in [("marked", 0.0), ("wrong by 10 mm", 10.0), ("wrong by -10 mm", -10.0)] {
                let k = i as f64;
                let beside = |p: Point, k: f64| p.at + nalgebra::Vector2::new((k * 7.3).sin(), (k * 3.1).cos());
                let marks = [Mark { mm: a.mm, at: beside(a, k) }, Mark { mm: b.mm + off, at: beside(b, k + 0.5) }];
                let start = Instant::now();
                let read = read_marked(&grey, marks);
                let ms = start.elapsed().as_secs_f64() * 1e3;
                let error = read.as_ref().ok().map(|r| scale_error(r, a, b));
                sums.count(way, half, read.is_ok(), error.map(|e| e.abs() < 0.005));
                say(way, half, file, &read, error, ms);
            }
        }
    }
    println!();
    println!("{:<18}{:<11}{:>6}{:>6}{:>7}{:>7}", "", "half", "of", "read", "right", "wrong");
    for ((way, half), s) in sums.0 {
        println!("{way:<18}{half:<11}{:>6}{:>6}{:>7}{:>7}", s[0], s[1], s[2], s[3]);
    }
    Ok(())
}

fn say(way: &str, half: &str, file: &str, read: &hoofgeo::Result<Reading>, error: Option<f64>, ms: f64) {
    let short = file.get(file.len().saturating_sub(40)..).unwrap_or(file);
    let what = match read {
        Ok(r) => {
            let e = r.evidence;
            let error = error.map_or(String::new(), |e| format!(", scale off by {:.3} %", 100.0 * e));
            format!(
                "{} lines every {} mm from {} mm, {:.2} px, by {}, {}margin {:.0}, agree {:.2}, rms {:.2}, systematic {:.2}, bend {:.2}{error}",
                e.lines,
                r.step_mm,
                r.graduations[0].mm,
                e.period_px,
                r.numbering.name(),
                r.print.map_or(String::new(), |p| format!(
                    "{} numbers{}{}, ",
                    p.numbers,
                    if p.metric { " metric" } else { "" },
                    if p.mirrored { " mirrored" } else { "" }
                )),
                e.margin,
                e.agree,
                e.rms_px,
                e.systematic_px,
                e.bend_px
            )
        }
        Err(e) => format!("no: {e}").replace('\n', " "),
    };
    println!("{way:<16} {:<5} {ms:>5.0} ms {short:<40} {what}", &half[..4]);
}
