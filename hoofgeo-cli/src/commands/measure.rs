//! `hoofgeo measure`

use crate::Outcome;
use crate::args::{MeasureArgs, ResultFormat};
use crate::output::{Tables, Told, no_picture_text, passed_over_text, print, print_line, say};
use crate::terminal::name as visible;
use hoofgeo::measured::{MeasureOptions, PLACEMENT_STATED};
use hoofgeo::visit::{Outputs, PhotoRecord, Progress, Stop, Summary, VisitOptions, measure_folder};
use hoofgeo::{Error, ErrorKind, Result};
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

pub(crate) fn run(args: &MeasureArgs) -> Result<Outcome> {
    if let Some(n) = args.threads {
        // Fails only where the pool exists already, as in a test that runs several commands.
        let _ = rayon::ThreadPoolBuilder::new().num_threads(usize::from(n)).build_global();
    }
    let [check, written] = args.drawn()?;
    let stop = stop_on_interrupt()?;
    let options = VisitOptions {
        measure: MeasureOptions { draws: check, seed: args.seed, ..MeasureOptions::default() },
        pictures: !args.no_pictures,
        ..args.visit.options()?
    };
    let outputs = Outputs::in_folder(&args.out)
        .with_files(ResultFormat::files(&args.write))
        .with_part(args.part)
        .with_draws(written, args.seed)
        .anew(args.anew);
    let bar = progress_bar(args.quiet);
    let mut tables = Tables::default();
    let mut placing = Placing::default();
    let mut told = Told::default();
    let end = measure_folder(&args.folder, &outputs, &options, &stop, &mut |progress| match progress {
        Progress::Measured(report) if !args.quiet => {
            bar.inc(1);
            let record = report.record();
            placing.add(&record);
            tables.add(&record);
        }
        Progress::Unchanged(photo) if !args.quiet => {
            bar.inc(1);
            placing.add(photo);
            tables.add(photo);
        }
        Progress::NoPicture(why) => bar.suspend(|| anstream::eprintln!("{}", no_picture_text(why))),
        Progress::Refused(error) => bar.suspend(|| anstream::eprintln!("{}", told.text(error))),
        Progress::PassedOver(error) => bar.suspend(|| anstream::eprintln!("{}", passed_over_text(error))),
        _ => {}
    });
    bar.finish_and_clear();
    let summary = match end {
        Err(e) if stop.is_raised() => {
            let goes_on = e.help_text().map(|help| format!("; {help}")).unwrap_or_default();
            say(format_args!("stopped; no result file was written{goes_on}"));
            return Ok(Outcome::Stopped);
        }
        end => end?,
    };
    if !args.quiet {
        print(tables.text())?;
        placing.lines().try_for_each(print_line)?;
        print_line(closing(summary, args))?;
    }
    Ok(if summary.is_whole() { Outcome::Done } else { Outcome::SomeRefused })
}

/// Whose spread of placing was used, on how many photos.
#[derive(Default)]
struct Placing {
    tables: BTreeMap<String, usize>,
    as_stated: usize,
}

impl Placing {
    fn add(&mut self, photo: &PhotoRecord) {
        if let Some(note) = &photo.placement {
            let whose = note.observer.as_deref().map_or_else(|| "of anybody".to_owned(), |name| format!("of {name}"));
            *self.tables.entry(format!("{} ({whose})", note.table)).or_default() += 1;
            self.as_stated += usize::from(photo.flags().contains(&PLACEMENT_STATED));
        }
    }

    fn lines(&self) -> impl Iterator<Item = String> {
        let tables = self.tables.iter().map(|(table, n)| format!("spread of placing: {table}, {}", photos(*n)));
        let stated = (self.as_stated > 0).then(|| {
            format!(
                "{}: landmarks whose sidecar states u_px or u_mm keep that in place of the table's",
                photos(self.as_stated)
            )
        });
        tables.chain(stated)
    }
}

fn closing(summary: Summary, args: &MeasureArgs) -> String {
    let unchanged = match summary.unchanged {
        0 => String::new(),
        n if n == summary.measured => ", unchanged since the last run".to_owned(),
        n => format!(", {n} of them unchanged since the last run"),
    };
    format!(
        "{} measured{unchanged}{}: see {}\n± is the expanded uncertainty at 95 %. A photo does not show the bone; a number is no diagnosis.",
        photos(summary.measured),
        refused(summary),
        visible(args.out.display())
    )
}

pub(super) fn photos(n: usize) -> String {
    if n == 1 { "1 photo".to_owned() } else { format!("{n} photos") }
}

/// What the closing line says of what was not done.
pub(super) fn refused(summary: Summary) -> String {
    let mut text = String::new();
    if summary.without_picture > 0 {
        text += &format!(", {} of them without a picture", summary.without_picture);
    }
    if summary.refused > 0 {
        text += &format!(", {} refused", photos(summary.refused));
    }
    text + &passed_over(summary)
}

/// What a closing line says of lens profiles that could not be read.
pub(super) fn passed_over(summary: Summary) -> String {
    match summary.passed_over {
        0 => String::new(),
        1 => ", 1 lens profile passed over".to_owned(),
        n => format!(", {n} lens profiles passed over"),
    }
}

/// A run that has been told to stop ends by itself within this time, or is ended: a kill at any moment loses nothing.
const PATIENCE: Duration = Duration::from_secs(10);

/// Ctrl-C, or a request to end, ends the run at the next photo, and the program after [`PATIENCE`] where that photo takes longer; a second
/// one ends it at once.
pub(super) fn stop_on_interrupt() -> Result<Arc<Stop>> {
    let stop = Arc::new(Stop::new());
    let raised = Arc::clone(&stop);
    let handler = move || {
        if raised.is_raised() {
            std::process::exit(130);
        }
        raised.raise();
        std::thread::spawn(|| {
            std::thread::sleep(PATIENCE);
            std::process::exit(130);
        });
    };
    match ctrlc::set_handler(handler) {
        Ok(()) | Err(ctrlc::Error::MultipleHandlers) => Ok(stop),
        Err(e) => Err(Error::new(ErrorKind::Usage, format!("cannot listen for Ctrl-C: {e}"))),
    }
}

fn progress_bar(quiet: bool) -> ProgressBar {
    let target = if quiet { ProgressDrawTarget::hidden() } else { ProgressDrawTarget::stderr() };
    let bar = ProgressBar::with_draw_target(None, target);
    if let Ok(style) = ProgressStyle::with_template("{spinner} {pos} photos, {per_sec}, {elapsed}") {
        bar.set_style(style);
    }
    bar.enable_steady_tick(Duration::from_millis(200));
    bar
}
