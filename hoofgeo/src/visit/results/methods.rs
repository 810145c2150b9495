//! A paragraph on methods, of what a run has really used: its manifest, and its entries where it wrote them.

use super::manifest::{Head, Line, parse};
use super::stored::{Finished, finished, whole_lines};
use super::{FORMAT, MANIFEST_FILE};
use crate::error::{Error, ErrorKind, Result};
use serde_json::Value as Json;
use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::Path;

/// How often each thing was used.
type Counts = BTreeMap<String, usize>;

#[derive(Default)]
struct Seen {
    measured: usize,
    refused: usize,
    /// Photos whose entries say how they were measured.
    entries: usize,
    views: Counts,
    lenses: Counts,
    scales: Counts,
    tables: Counts,
    observers: Counts,
    rulers_read: usize,
}

/// A paragraph for a paper: what a run's results in a folder were measured with and how, as its manifest and entries say. Parts of a run
/// count together.
///
/// # Errors
/// `Usage` where the folder has no manifest of this contract, or manifests of different runs.
///
/// # Example
/// ```no_run
/// println!("{}", hoofgeo::visit::methods("results".as_ref())?);
/// # Ok::<(), hoofgeo::Error>(())
/// ```
pub fn methods(folder: &Path) -> Result<String> {
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .map_err(|e| Error::io(folder, "cannot be read", &e))?
        .filter_map(|entry| Some(entry.ok()?.file_name().to_string_lossy().into_owned()))
        .filter(|name| name == MANIFEST_FILE || (name.starts_with("manifest.part-") && name.ends_with(".jsonl")))
        .collect();
    names.sort();
    let fault = |what: &str, help: &str| Error::new(ErrorKind::Usage, what).in_file(folder).help(help);
    let mut head: Option<Head> = None;
    let mut seen = Seen::default();
    for name in &names {
        let own = read(folder, name, &mut seen).ok_or_else(|| {
            Error::new(ErrorKind::Format, "is no manifest of a finished run of this version")
                .in_file(folder.join(name))
                .help("measure again with this version")
        })?;
        let first = head.get_or_insert_with(|| own.clone());
        if (&first.program, &first.options) != (&own.program, &own.options) {
            return Err(fault("holds manifests of different runs", "give each run a folder of its own"));
        }
    }
    let head =
        head.ok_or_else(|| fault("holds no manifest", "name a folder that `hoofgeo measure` or `join` wrote to"))?;
    Ok(words(&head, &seen))
}

fn read(folder: &Path, name: &str, seen: &mut Seen) -> Option<Head> {
    let mut lines = whole_lines(&folder.join(name))?;
    let head: Head = parse(&lines.next()?).ok().filter(|head: &Head| head.format == FORMAT)?;
    let mut ended = false;
    for line in lines {
        if let Line::End(end) = parse(&line).ok()? {
            seen.measured += end.measured;
            seen.refused += end.refused;
            ended = true;
        }
    }
    if let Some((_, all)) = finished(folder, name) {
        for one in all {
            let Finished::Photo(stored) = one else { continue };
            if let Ok(entry) = serde_json::from_str(&stored.entry) {
                seen.add(&entry);
            }
        }
    }
    ended.then_some(head)
}

impl Seen {
    fn add(&mut self, entry: &Json) {
        self.entries += 1;
        let text = |value: &Json| value.as_str().map(str::to_owned);
        let scene = &entry["scene"];
        let whose = |note: &Json| {
            Some(format!("{} ({})", text(&note["table"])?, text(&note["observer"]).unwrap_or("of anybody".to_owned())))
        };
        for (counts, name) in [
            (&mut self.views, text(&entry["view"])),
            (&mut self.lenses, text(&scene["camera"]["lens_from"])),
            (&mut self.scales, text(&scene["scale"]["kind"])),
            (&mut self.observers, text(&entry["observer"])),
            (&mut self.tables, whose(&entry["placement"])),
        ] {
            if let Some(name) = name {
                *counts.entry(name).or_default() += 1;
            }
        }
        self.rulers_read += usize::from(scene["scale"]["ruler_read"]["graduations"].is_number());
    }
}

/// `lateral (12), solar (3)`.
fn listed(counts: &Counts) -> String {
    counts.iter().map(|(name, n)| format!("{} ({n})", name.replace('_', " "))).collect::<Vec<_>>().join(", ")
}

fn words(head: &Head, seen: &Seen) -> String {
    let program = |key: &str| head.program[key].as_str().unwrap_or_default();
    let options = &head.options;
    let mut out = format!(
        "{} photographs were measured with {} {} (sources {}); {} were refused and are listed in the manifest.",
        seen.measured,
        program("name"),
        program("version"),
        program("sources").chars().take(12).collect::<String>(),
        seen.refused
    );
    if seen.entries > 0 {
        let _ = write!(out, " Views: {}.", listed(&seen.views));
        if !seen.observers.is_empty() {
            let _ = write!(out, " Landmarks were placed by {}.", listed(&seen.observers));
        }
    }
    out += " For each photograph camera, lens and scale pose were estimated together by least squares from the image points of the scale's \
            graduations and from prior knowledge of lens and tilt, and the landmarks were projected onto the measured plane.";
    if seen.entries > 0 {
        let _ = write!(out, " Scales: {}; knowledge of the lens: {}.", listed(&seen.scales), listed(&seen.lenses));
        if seen.rulers_read > 0 {
            let _ = write!(out, " The graduations of {} rulers were read from the pixels.", seen.rulers_read);
        }
    }
    if options["force_lens"] == true {
        out += " Lens profiles were used also where the photograph's header named another camera.";
    }
    out += " Standard uncertainties follow JCGM 100:2008 to first order with all correlations, tilts to second order; coverage factors are for 95 %.";
    match options["draws"].as_u64().unwrap_or(0) {
        0 => {}
        n => {
            let seed = options["seed"].as_u64().unwrap_or(0);
            let _ = write!(
                out,
                " Each was checked by {n} Monte Carlo draws (JCGM 101:2008, seed {seed}), which replace the linear result where it fails."
            );
        }
    }
    match options["values_drawn"].as_u64().unwrap_or(0) {
        0 => {}
        n => {
            let seed = options["values_drawn_seed"].as_u64().unwrap_or(0);
            let _ = write!(
                out,
                " {n} joint draws of each photograph's values were made for multiple imputation (seed {seed})."
            );
        }
    }
    let _ = match seen.tables.values().sum::<usize>() {
        0 if seen.entries > 0 => {
            write!(out, " The spread of placing landmarks is the program's declared one, an estimate.")
        }
        0 => Ok(()),
        n => write!(
            out,
            " The spread of placing landmarks was found by comparing observers ({}); on {} photographs it is the program's declared one.",
            listed(&seen.tables),
            seen.entries.saturating_sub(n)
        ),
    };
    out += " Definitions of all measurements: `hoofgeo dictionary`. Every input and output file is in the manifest with its SHA-256. A photograph \
            does not show the bone, and a value is no diagnosis.\n";
    if seen.entries == 0 {
        out += "(The run wrote tables alone: views, scales, lenses and observers are not known here. Add jsonl to --write.)\n";
    }
    out
}
