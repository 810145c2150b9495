//! `hoofgeo demo`

use crate::Outcome;
use crate::args::DemoArgs;
use crate::demo::{Case, Photo, Placed, RECOVERING, Truth, cases, place_like_a_person, sidecar, visits, write};
use crate::output::{Tables, print, refusal_text};
use hoofgeo::evaluate::Value;
use hoofgeo::sidecar::Sidecar;
use hoofgeo::visit::{Outputs, Progress, Stop, VisitOptions, measure_folder, write_whole};
use hoofgeo::{Error, ErrorKind, Result};
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use rayon::prelude::*;
use std::collections::HashMap;
use std::fmt::Write as _;
use std::fs;
use std::path::Path;

const NOTES: &str = r#"{
  "format": "hoofgeo-visit/1",
  "observer": "JR",
  "notes": "Demonstration: rendered feet of two invented horses. No real animal."
}
"#;

pub(crate) fn run(args: &DemoArgs) -> Result<Outcome> {
    if args.case {
        return case(args);
    }
    let (photos, results) = (args.folder.join("visit"), args.folder.join("results"));
    must_be_free(&args.folder)?;
    let truths = render(&photos, args)?;
    let (mut tables, mut tally) = (Tables::default(), Tally::default());
    let options = VisitOptions { pictures: true, ..VisitOptions::default() };
    let summary = measure_folder(&photos, &Outputs::in_folder(&results), &options, &Stop::new(), &mut |p| match p {
        Progress::Measured(report) => {
            // One foot on the screen is enough of an example; the files hold them all.
            if report.name.starts_with("marlow/LF") {
                tables.add(&report.record());
            }
            if let Some(truth) = truths.get(&report.name) {
                report.measured.values.iter().for_each(|v| tally.add(v, truth));
            }
        }
        Progress::NoPicture(error) | Progress::Refused(error) => anstream::eprintln!("{}", refusal_text(error)),
        // The folder is new.
        _ => {}
    })?;
    if !args.quiet {
        print(closing(&tables, tally, summary.measured, &photos, &results))?;
    }
    Ok(if summary.is_whole() { Outcome::Done } else { Outcome::SomeRefused })
}

fn closing(tables: &Tables, tally: Tally, measured: usize, photos: &Path, results: &Path) -> String {
    let mut text = tables.text();
    let _ = writeln!(text, "{measured} photos of two invented horses, eight feet, before and after a trim.");
    let Tally { inside, all } = tally;
    let _ = writeln!(
        text,
        "The feet are rendered, so the truth is known: {inside} of {all} values lie within their ± of it.\n"
    );
    for (what, path) in [
        ("photos, sidecars, true values", photos.to_path_buf()),
        ("annotated pictures", results.join("pictures")),
        ("all values with uncertainties", results.join("measurements.csv")),
        ("and their budgets", results.join("measurements.json")),
    ] {
        let _ = writeln!(text, "  {what:<32}{}", path.display());
    }
    text + "\nA photo does not show the bone; a number is no diagnosis.\n"
}

/// How many values lie within their interval of the truth.
#[derive(Clone, Copy, Default)]
struct Tally {
    inside: usize,
    all: usize,
}

impl Tally {
    fn add(&mut self, value: &Value, truth: &Truth) {
        let id = value.measurement.id;
        let line_fit = truth.values_line_fit.get(id).filter(|_| value.method() == "line_fit");
        if let Some(true_value) = line_fit.or_else(|| truth.values.get(id)) {
            self.all += 1;
            let [lower, upper] = value.interval;
            self.inside += usize::from((lower..=upper).contains(true_value));
        }
    }
}

fn must_be_free(folder: &Path) -> Result<()> {
    let in_use = match fs::read_dir(folder) {
        Ok(mut entries) => entries.next().is_some(),
        Err(_) => folder.exists(),
    };
    if in_use {
        return Err(Error::new(ErrorKind::Usage, "exists and is not empty")
            .in_file(folder)
            .help("name a new folder: the demonstration writes over nothing"));
    }
    fs::create_dir_all(folder).map_err(|e| Error::io(folder, "cannot be made", &e))
}

/// Renders the photos with their sidecars; gives their truths by name.
fn render(folder: &Path, args: &DemoArgs) -> Result<HashMap<String, Truth>> {
    let truths = render_all(folder, cases(), args)?;
    let visit = folder.join(hoofgeo::visit::VISIT_FILE);
    write_whole(&visit, NOTES.as_bytes())?;
    Ok(truths)
}

/// A slip of the hand that makes an outline cross itself would be refused: a person who is told so places the points again.
fn place_acceptably(case: &Case, photo: &Photo) -> Placed {
    let place = |again: u64| place_like_a_person(photo, case.shot.view, case.seed + 10_000 * again);
    let is_accepted = |placed: &Placed| Sidecar::parse(&sidecar(case, photo, placed).to_string(), None).is_ok();
    (0..10).map(place).find(is_accepted).unwrap_or_else(|| place(0))
}

/// The six visits of the recovering foot.
fn case(args: &DemoArgs) -> Result<Outcome> {
    must_be_free(&args.folder)?;
    let visits = visits();
    render_all(&args.folder, visits.iter().flat_map(|v| v.photos.clone()).collect(), args)?;
    for visit in &visits {
        let path = args.folder.join(visit.day).join(hoofgeo::visit::VISIT_FILE);
        let text = format!("{:#}\n", visit.notes);
        write_whole(&path, text.as_bytes())?;
    }
    if !args.quiet {
        let folder = args.folder.display();
        print(format_args!(
            "{} visits of {RECOVERING}, an invented horse whose heels recover; the truth stands beside each photo.\n\n  \
             hoofgeo follow {folder}\n  hoofgeo report {folder} --out {folder}-report\n",
            visits.len()
        ))?;
    }
    Ok(Outcome::Done)
}

fn render_all(folder: &Path, cases: Vec<Case>, args: &DemoArgs) -> Result<HashMap<String, Truth>> {
    let target = if args.quiet { ProgressDrawTarget::hidden() } else { ProgressDrawTarget::stderr() };
    let bar = ProgressBar::with_draw_target(Some(cases.len() as u64), target);
    if let Ok(style) = ProgressStyle::with_template("taking photos {bar:24} {pos}/{len}") {
        bar.set_style(style);
    }
    let truths = cases
        .into_par_iter()
        .map(|mut case| {
            let [w, h] = case.shot.size;
            let shrink = f64::from(args.width) / f64::from(w.max(h));
            case.shot.size = [w, h].map(|side| (f64::from(side) * shrink).round() as u32);
            let photo = case.render();
            let placed = place_acceptably(&case, &photo);
            write(folder, &case, &photo, &placed)?;
            bar.inc(1);
            Ok((case.file_name.clone(), photo.truth))
        })
        .collect::<Result<_>>()?;
    bar.finish_and_clear();
    Ok(truths)
}
