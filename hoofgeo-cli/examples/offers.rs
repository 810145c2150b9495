//! How near the landmarks that are offered come to the truth, and how often their stated uncertainty holds, on rendered feet of which a
//! person has placed the four landmarks that are asked for first; with published proportions alone, and with the animal's other photos
//! learned.
#![allow(clippy::print_stdout, reason = "an experiment")]

use hoofgeo::landmark::Landmark;
use hoofgeo::pixels::Grey;
use hoofgeo::scene::LensPrior;
use hoofgeo::sidecar::Sidecar;
use hoofgeo::suggest::{Example, Shape, suggest};
use hoofgeo_cli::demo::{cases, place_like_a_person, sidecar};
use std::collections::BTreeMap;

/// Offers of one landmark: how far off, mm, by how many of the stated standard uncertainties, whether it was moved to an edge.
type Rows = BTreeMap<&'static str, Vec<(f64, f64, bool)>>;

fn main() -> hoofgeo::Result<()> {
    let mut photos = Vec::new();
    for case in cases() {
        let photo = case.render();
        let placed = place_like_a_person(&photo, case.shot.view, case.seed);
        let whole = Sidecar::parse(&sidecar(&case, &photo, &placed).to_string(), None)?;
        let g = &photo.graduations;
        let (a, b) = (&g[0], &g[g.len() - 1]);
        let d = |p: [f64; 2], q: [f64; 2]| (p[0] - q[0]).hypot(p[1] - q[1]);
        let truth: BTreeMap<&str, [f64; 2]> = photo
            .truth
            .landmarks
            .iter()
            .map(|(name, at)| (*name, photo.camera.project(&nalgebra::Point3::new(at[0], at[1], at[2]))))
            .collect();
        photos.push((whole, Grey::of(&photo.pixels), d(a.px, b.px) / d(a.mm, b.mm), truth));
    }
    println!(
        "| learned from | landmark | offered | off, mm (rms) | within 2.45 u (95 % in two directions) | moved to an edge |"
    );
    println!("| --- | --- | --- | --- | --- | --- |");
    for learned in [false, true] {
        let mut rows = Rows::new();
        let (mut lines, mut feet) = (BTreeMap::<&str, usize>::new(), BTreeMap::<&str, usize>::new());
        for (i, (whole, grey, px_per_mm, truth)) in photos.iter().enumerate() {
            let first = Shape::tells_most(whole.view);
            let mut begun = whole.clone();
            begun.landmarks.retain(|l, _| first.contains(l));
            begun.lines.clear();
            let others = photos.iter().enumerate().filter(|(k, (s, ..))| *k != i && s.view == whole.view);
            let examples: Vec<Example> = others.filter_map(|(_, (s, ..))| Example::of(s)).collect();
            let mut shape = Shape::prior(whole.view);
            if learned {
                shape = shape.learned(&examples, Some(&whole.subject.animal), Some(whole.subject.foot));
            }
            let frame = (whole.photo.width_px, whole.photo.height_px);
            let offers = suggest(Some(grey), &begun, &LensPrior::unknown(frame), &shape);
            *feet.entry(whole.view.name()).or_default() += 1;
            for offer in &offers.landmarks {
                let Some(at) = truth.get(offer.landmark.name()) else { continue };
                let off = (offer.at[0] - at[0]).hypot(offer.at[1] - at[1]) / px_per_mm;
                rows.entry(key(offer.landmark)).or_default().push((off, off / offer.u_mm, offer.snapped.is_some()));
            }
            for line in &offers.lines {
                *lines.entry(line.line.name()).or_default() += 1;
            }
        }
        let how = if learned { "proportions and the other photos" } else { "proportions alone" };
        for (name, list) in &rows {
            let n = list.len() as f64;
            let rms = (list.iter().map(|r| r.0 * r.0).sum::<f64>() / n).sqrt();
            let share =
                |what: &dyn Fn(&(f64, f64, bool)) -> bool| 100.0 * list.iter().filter(|r| what(r)).count() as f64 / n;
            println!(
                "| {how} | {name} | {} | {rms:.1} | {:.0} % | {:.0} % |",
                list.len(),
                share(&|r| r.1 < 2.45),
                share(&|r| r.2)
            );
        }
        println!("\nphotos: {feet:?}; lines read: {lines:?}\n");
    }
    Ok(())
}

const fn key(l: Landmark) -> &'static str {
    l.name()
}
