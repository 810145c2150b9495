//! `hoofgeo shape`

use super::measure::photos;
use crate::Outcome;
use crate::args::{ShapeCommand, ShapeExportArgs, ShapeImportArgs, ShapeMeanArgs};
use crate::output::{print, print_line, refusal_text};
use crate::terminal::name as visible;
use hoofgeo::shape::{
    ImportNames, Imported, ShapeOptions, ShapeStudy, export_tps, import_tps, shape_folder, write_study,
};
use hoofgeo::visit::write_whole;
use hoofgeo::{Error, Result};
use std::fmt::Write;

pub(crate) fn run(command: &ShapeCommand) -> Result<Outcome> {
    match command {
        ShapeCommand::Mean(args) => mean(args),
        ShapeCommand::Export(args) => export(args),
        ShapeCommand::Import(args) => import(args),
    }
}

fn refuse(refused: &[Error]) {
    for error in refused {
        anstream::eprintln!("{}", refusal_text(error));
    }
}

fn outcome(whole: bool) -> Outcome {
    if whole { Outcome::Done } else { Outcome::SomeRefused }
}

fn mean(args: &ShapeMeanArgs) -> Result<Outcome> {
    let mut options = ShapeOptions::of(args.view.into());
    options.landmarks.clone_from(&args.landmarks);
    options.mirror = !args.no_mirror;
    options.visit = args.visit.options()?;
    options.skip = Some(args.out.clone());
    let study = shape_folder(&args.folder, &options)?;
    refuse(&study.refused);
    write_study(&study, &args.out)?;
    if !args.quiet {
        print(text(&study))?;
        print_line(format_args!("everything, with scores and aligned shapes: see {}", visible(args.out.display())))?;
    }
    Ok(outcome(study.refused.is_empty() && study.left_out.is_empty()))
}

fn text(s: &ShapeStudy) -> String {
    let size = s.mean_size();
    let mut out =
        format!("{}, {} landmarks, mean centroid size {size:.1} mm\n\n", photos(s.photos.len()), s.landmarks.len());
    let _ = writeln!(out, "{:<22}{:>18}{:>18}{:>22}", "landmark", "mean, mm", "sd, mm", "of it measured, mm");
    for (k, (l, p)) in s.landmarks.iter().zip(s.mean_mm()).enumerate() {
        let [x, y] = s.variation.sd[k].map(|sd| sd * size);
        let [u, v] = [0, 1].map(|axis| s.measurement[2 * k + axis].sqrt() * size);
        let (mean, sd, own) = (format!("{:.1}, {:.1}", p.x, p.y), format!("{x:.2}, {y:.2}"), format!("{u:.2}, {v:.2}"));
        let _ = writeln!(out, "{:<22}{mean:>18}{sd:>18}{own:>22}", l.name());
    }
    let shares: Vec<String> =
        s.variation.components.iter().take(5).map(|c| format!("{:.0} %", 100.0 * c.share)).collect();
    let _ = writeln!(out, "\nprincipal components of shape: {}", shares.join(", "));
    let _ = writeln!(
        out,
        "of the variation, the photos' stated uncertainties would bring {:.0} %",
        100.0 * s.measurement_share()
    );
    for (photo, lacks) in &s.left_out {
        let lacks: Vec<&str> = lacks.iter().map(|l| l.name()).collect();
        let _ = writeln!(out, "left out: {}, without {}", visible(photo), lacks.join(", "));
    }
    out
}

fn export(args: &ShapeExportArgs) -> Result<Outcome> {
    let mut options = ShapeOptions::of(args.view.into());
    options.landmarks.clone_from(&args.landmarks);
    let made = export_tps(&args.folder, &options, &args.lines)?;
    refuse(&made.refused);
    write_whole(&args.out, made.text.as_bytes())?;
    if !args.quiet {
        let names: Vec<&str> = made.landmarks.iter().map(|l| l.name()).collect();
        print_line(format_args!("{} exported: see {}", photos(made.photos), visible(args.out.display())))?;
        print_line(format_args!("landmarks in order: {}", names.join(",")))?;
        if !made.lines.is_empty() {
            let names: Vec<&str> = made.lines.iter().map(|l| l.name()).collect();
            print_line(format_args!("lines in order, closed ones as outlines: {}", names.join(",")))?;
        }
        for (photo, line) in &made.left_out {
            print_line(format_args!("left out: {}, without {}", visible(photo), line.name()))?;
        }
    }
    Ok(outcome(made.refused.is_empty() && made.left_out.is_empty()))
}

fn import(args: &ShapeImportArgs) -> Result<Outcome> {
    let names = ImportNames {
        view: args.view.into(),
        landmarks: args.landmarks.clone(),
        lines: args.lines.clone(),
        observer: args.observer.clone(),
    };
    let (mut written, mut kept, mut refused) = (0, 0, 0);
    import_tps(&args.file, &args.photos, &names, &mut |one| match one {
        Imported::Written(_) => written += 1,
        Imported::Kept(_) => kept += 1,
        Imported::Refused(error) => {
            refused += 1;
            anstream::eprintln!("{}", refusal_text(&error));
        }
        _ => {}
    })?;
    if !args.quiet {
        print_line(format_args!("{written} sidecars written, {kept} left as they were, {refused} refused"))?;
        if written > 0 {
            print_line("next: mark the ruler and say which foot it is (hoofgeo place), then hoofgeo check")?;
        }
    }
    Ok(outcome(refused == 0))
}
