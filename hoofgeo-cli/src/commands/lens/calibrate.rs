//! `hoofgeo lens calibrate`

use crate::Outcome;
use crate::args::CalibrateArgs;
use crate::output::{left_out_text, print};
use hoofgeo::Result;
use hoofgeo::calibrate::{Options, PhotoCalibration, calibrate_photos};
use hoofgeo::visit::write_whole;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::fmt::Write;

pub(crate) fn run(args: &CalibrateArgs) -> Result<Outcome> {
    let target = if args.quiet { ProgressDrawTarget::hidden() } else { ProgressDrawTarget::stderr() };
    let bar = ProgressBar::with_draw_target(Some(args.photos.len() as u64), target);
    if let Ok(style) = ProgressStyle::with_template("{spinner} {pos} of {len} photos, {elapsed}") {
        bar.set_style(style);
    }
    let board = args.size.board();
    let found = calibrate_photos(&args.photos, &board, &Options::default(), &|_| bar.inc(1));
    bar.finish_and_clear();
    let mut found = found?;
    let named = args.camera.clone();
    found.camera.make = named.make.or(found.camera.make);
    found.camera.model = named.model.or(found.camera.model);
    found.camera.lens = named.lens.or(found.camera.lens);
    let profile = found.profile()?;
    write_whole(&args.out, profile.to_json().as_bytes())?;
    for why in &found.left_out {
        anstream::eprintln!("{}", left_out_text(why));
    }
    if !args.quiet {
        print(text(&found))?;
        print(format_args!("written {}\n", args.out.display()))?;
    }
    Ok(if found.left_out.is_empty() { Outcome::Done } else { Outcome::SomeRefused })
}

/// Camera, photos with their residuals, parameters with their uncertainties, advice.
fn text(found: &PhotoCalibration) -> String {
    let mut out = String::new();
    let c = &found.calibration;
    let camera = [&found.camera.make, &found.camera.model, &found.camera.lens];
    let camera: Vec<&str> = camera.into_iter().flatten().map(String::as_str).collect();
    let name = if camera.is_empty() {
        "camera not named by the photos (give --make, --model and --lens, so that the profile cannot be mistaken)"
            .to_owned()
    } else {
        camera.join(", ")
    };
    let focal = found.camera.focal_mm.map_or(String::new(), |mm| format!(", {mm} mm"));
    let _ = writeln!(out, "{name}{focal}\nframe {} x {} px as the camera stores it", c.frame_px.0, c.frame_px.1);
    let width = c.photos.iter().map(|p| p.name.chars().count()).max().unwrap_or(0).max(24);
    let _ = writeln!(out, "\n{:<width$}{:>14}", "photo", "corners, RMS");
    for p in &c.photos {
        let _ = writeln!(out, "  {:<width$}{:>9.3} px", p.name, p.rms_px);
    }
    let _ = writeln!(out, "  {:<width$}{:>9.3} px", "all", c.rms_px);
    let _ = writeln!(out, "\n{:<18}{:>14}{:>12}{:>13}{:>13}", "parameter", "value", "u", "u formal", "u jackknife");
    let rows: [(&str, usize, usize); 8] = [
        ("focal length, px", 0, 2),
        ("centre x, px", 2, 2),
        ("centre y, px", 3, 2),
        ("k1", 4, 5),
        ("k2", 5, 5),
        ("k3", 6, 5),
        ("p1", 7, 6),
        ("p2", 8, 6),
    ];
    let (value, u) = (c.parameters(), c.standard_uncertainty());
    for (name, i, digits) in rows {
        let (formal, jackknife) = (c.formal[(i, i)].sqrt(), c.jackknife[(i, i)].sqrt());
        let _ = writeln!(
            out,
            "  {name:<16}{:>14.digits$}{:>12.digits$}{formal:>13.digits$}{jackknife:>13.digits$}",
            value[i], u[i]
        );
    }
    let _ = writeln!(
        out,
        "u is the standard uncertainty kept in the profile: formal takes all corners as independent, jackknife is the scatter when \
         each photo is left out in turn; u is no smaller than either"
    );
    for line in found.advice() {
        let _ = writeln!(out, "advice: {line}");
    }
    out
}
