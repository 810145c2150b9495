//! `hoofgeo check`

use super::measure::{passed_over, stop_on_interrupt};
use crate::Outcome;
use crate::args::CheckArgs;
use crate::output::{Told, damaged_text, passed_over_text, print_line, refusal_text, say};
use crate::terminal::name as visible;
use hoofgeo::Result;
use hoofgeo::visit::{BarePhoto, CheckOptions, CheckReport, Entry, check_folder, walk};
use std::collections::HashMap;
use std::path::PathBuf;
use std::time::{Duration, SystemTime};

pub(crate) fn run(args: &CheckArgs) -> Result<Outcome> {
    if args.watch {
        // What arrives while the first ones are looked at is seen as new.
        let mut known = Known::of(args)?;
        // A folder that is still empty is filled while it is watched.
        let empty = known.0.is_empty() && args.folder.is_dir();
        let outcome = check(args).or_else(|e| if empty { Ok(Outcome::Done) } else { Err(e) })?;
        return watch(args, &mut known).map(|()| outcome);
    }
    check(args)
}

/// A bare photo in one line.
fn bare_line(photo: &BarePhoto) -> String {
    let word = photo.urgency.words();
    let colon = if photo.remarks.is_empty() { "" } else { ": " };
    format!("{word:<7} {}{colon}{}", visible(&photo.name), photo.remarks.join("; "))
}

/// How often it is looked for new photos.
const TICK: Duration = Duration::from_millis(700);

/// A photo's file as it was seen: a camera or a phone writes it over some time, and it is read once it has stopped growing.
type Seen = (u64, Option<SystemTime>);

/// The photos that were spoken of.
struct Known(HashMap<PathBuf, Seen>);

impl Known {
    fn of(args: &CheckArgs) -> Result<Self> {
        Ok(Self(photos(args)?.into_iter().map(|(entry, seen)| (entry.photo, seen)).collect()))
    }
}

/// The photos of the folder without a sidecar.
fn photos(args: &CheckArgs) -> Result<Vec<(Entry, Seen)>> {
    let mut found = Vec::new();
    for entry in walk(&args.folder, &[]) {
        let entry = entry?;
        if let (true, false, Ok(meta)) = (entry.has_photo, entry.has_sidecar, std::fs::metadata(&entry.photo)) {
            found.push((entry, (meta.len(), meta.modified().ok())));
        }
    }
    Ok(found)
}

fn watch(args: &CheckArgs, known: &mut Known) -> Result<()> {
    let stop = stop_on_interrupt()?;
    print_line("watching for new photos; Ctrl-C ends")?;
    let mut growing: HashMap<PathBuf, Seen> = HashMap::new();
    while !stop.is_raised() {
        std::thread::sleep(TICK);
        for (entry, seen) in photos(args)? {
            if known.0.get(&entry.photo) == Some(&seen) {
                continue;
            }
            if growing.insert(entry.photo.clone(), seen) == Some(seen) {
                print_line(bare_line(&BarePhoto::of(&entry, !args.no_pixels)))?;
                known.0.insert(entry.photo, seen);
            }
        }
    }
    Ok(())
}

fn check(args: &CheckArgs) -> Result<Outcome> {
    let mut told = Told::default();
    let mut printed = Ok(());
    let (mut doubtful, mut bare) = (0, 0);
    let options = CheckOptions { pixels: !args.no_pixels, visit: args.visit.options()? };
    let summary = check_folder(&args.folder, &options, &mut |report| match report {
        CheckReport::Refused(error) => anstream::eprintln!("{}", refusal_text(error)),
        CheckReport::Good { name, doubts, .. } if args.quiet && !doubts.is_empty() => {
            doubtful += 1;
            say(format_args!("doubt   {}{}", visible(name), lines("look at this first", doubts)));
        }
        CheckReport::NoPixels { why, .. } => anstream::eprintln!("{}", damaged_text(why)),
        CheckReport::PassedOver(error) => anstream::eprintln!("{}", passed_over_text(error)),
        CheckReport::Bare(photo) if args.quiet => {
            bare += 1;
            anstream::eprintln!("{}", told.text(&photo.refusal));
        }
        CheckReport::Good { .. } | CheckReport::Seen { .. } | CheckReport::LeftAside(_)
            if args.quiet || printed.is_err() => {}
        CheckReport::Good { name, empty, doubts, remarks } => {
            doubtful += usize::from(!doubts.is_empty());
            let word = if doubts.is_empty() { "good" } else { "doubt" };
            let mut text = format!("{word:<8}{}{}", visible(name), lines("look at this first", doubts));
            if !empty.is_empty() {
                let names: Vec<_> = empty.iter().map(|e| e.rsplit('.').next().unwrap_or(e)).collect();
                text += &format!("\n        still empty: {}", names.join(", "));
            }
            printed = print_line(text + &lines("note", &remarks));
        }
        CheckReport::Seen { name, remarks } => {
            printed = print_line(format!("photo   {}", visible(name)) + &lines("note", remarks))
        }
        CheckReport::Bare(photo) => {
            bare += 1;
            if bare == 1 {
                printed = print_line("without a sidecar, the most urgent first:");
            }
            printed = std::mem::replace(&mut printed, Ok(())).and_then(|()| print_line(bare_line(photo)));
        }
        CheckReport::LeftAside(files) => {
            let few = files.names.iter().take(3).map(visible).collect::<Vec<_>>().join(", ");
            let more = if files.names.len() > 3 { ", ..." } else { "" };
            printed = print_line(format_args!("aside   {} {}: {few}{more}", files.names.len(), files.what));
        }
        _ => {}
    })?;
    printed?;
    if !args.quiet {
        let doubtful = if doubtful > 0 { format!(" ({doubtful} of them doubtful)") } else { String::new() };
        let damaged = match summary.without_picture {
            0 => String::new(),
            n => format!(", {n} of them damaged"),
        };
        let without = match bare {
            0 => String::new(),
            n => format!(", {n} without a sidecar: mark them with `hoofgeo place {}`", visible(args.folder.display())),
        };
        print_line(format_args!(
            "{} would be measured{doubtful}{damaged}, {} refused{}{without}",
            summary.measured,
            summary.refused - bare,
            passed_over(summary)
        ))?;
    }
    Ok(if summary.is_whole() { Outcome::Done } else { Outcome::SomeRefused })
}

fn lines(word: &str, remarks: &[String]) -> String {
    remarks.iter().map(|remark| format!("\n        {word}: {}", visible(remark))).collect()
}
