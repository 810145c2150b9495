//! Parts made one again.

use super::manifest::Head;
use super::rendered::Rendered;
use super::stored::{Finished, finished};
use super::unfinished::Unfinished;
use super::writers::Writers;
use super::{Outputs, Part};
use crate::error::{Error, ErrorKind, Result};
use crate::photo::Sha256Hex;
use crate::visit::batches::in_order;
use crate::visit::order::walk_order;
use crate::visit::run::{BATCH, Stop, Summary, stopped};
use std::path::{Path, PathBuf};

/// A part's results as far as they are not taken yet.
struct Piece {
    next: Option<Finished>,
    lines: Box<dyn Iterator<Item = Finished> + Send>,
}

/// All parts side by side: what comes next in the order of the walk is taken first.
struct Merged(Vec<Piece>);

impl Iterator for Merged {
    type Item = Finished;

    fn next(&mut self) -> Option<Finished> {
        let heads = self.0.iter().enumerate().filter_map(|(i, piece)| Some((i, piece.next.as_ref()?.place())));
        let (first, _) = heads.min_by(|(_, a), (_, b)| walk_order(a, b))?;
        let piece = &mut self.0[first];
        std::mem::replace(&mut piece.next, piece.lines.next())
    }
}

impl Finished {
    fn place(&self) -> &str {
        match self {
            Self::Photo(stored) => &stored.line.photo,
            Self::Refusal(line) => &line.place,
        }
    }
}

/// Joins the parts of a set of photos, which may lie in several folders: writes the files that one run over all photos would have
/// written, byte for byte. Annotated pictures stay where they are.
///
/// # Errors
/// `Usage` where a part is missing or there twice, where parts come from different runs, or were written without `measurements.json`
/// and `measurements.jsonl`; `Format` where a file was changed since; `Io` where one cannot be read or written.
pub fn join(folders: &[PathBuf], outputs: &Outputs, stop: &Stop) -> Result<Summary> {
    let found = find(folders)?;
    let Some((first, _)) = found.first() else {
        return Err(Error::new(ErrorKind::Usage, "no part of a run is in these folders")
            .help("name the folders that `hoofgeo measure --part` wrote to"));
    };
    let mut head = first.clone();
    if outputs.writes_draws() && head.options["values_drawn"].as_u64().unwrap_or(0) == 0 {
        return Err(Error::new(ErrorKind::Usage, "the parts hold no draws")
            .help("measure them with --write draws and --draws, json or jsonl among the files"));
    }
    head.part = None;
    head.files = outputs.files.iter().map(|file| outputs.name_of(*file)).collect();
    let pieces = found.into_iter().map(|(_, mut lines)| Piece { next: lines.next(), lines });
    let merged = Merged(pieces.collect());
    let (work, _) = Unfinished::open(outputs, true)?;
    let mut writers = Writers::with_head(work.folder(), outputs, &head)?;
    let mut summary = Summary::default();
    let render = |line| match line {
        Finished::Refusal(line) => Ok(Err(line)),
        Finished::Photo(stored) => {
            if Sha256Hex::of(stored.entry.as_bytes()) != stored.line.entry_sha256 {
                let what = format!("the entry of {} was changed since it was written", stored.line.photo);
                return Err(Error::new(ErrorKind::Format, what).help("measure its part again"));
            }
            Rendered::again(*stored, outputs).map(Ok)
        }
    };
    let joined = in_order(merged, BATCH, &render, &mut |line| {
        if stop.is_raised() {
            return Err(stopped());
        }
        match line? {
            Ok(photo) => {
                summary.measured += 1;
                writers.photo(&photo)
            }
            Err(line) => {
                summary.refused += 1;
                writers.refusal(&serde_json::json!(line).to_string(), &line.refused)
            }
        }
    });
    if let Err(e) = joined.and_then(|()| writers.finish()) {
        work.interrupted();
        return Err(e);
    }
    work.finished()?;
    Ok(summary)
}

type PartLines = (Head, Box<dyn Iterator<Item = Finished> + Send>);

/// The parts in some folders, all of one run, in their order.
fn find(folders: &[PathBuf]) -> Result<Vec<PartLines>> {
    let mut parts: Vec<(Part, PathBuf, PartLines)> = Vec::new();
    for folder in folders {
        let fail = |e: std::io::Error| Error::io(folder, "cannot be read", &e);
        for entry in std::fs::read_dir(folder).map_err(fail)? {
            let name = entry.map_err(fail)?.file_name().to_string_lossy().into_owned();
            if !(name.starts_with("manifest.part-") && name.ends_with(".jsonl")) {
                continue;
            }
            let path = folder.join(&name);
            parts.push(open(folder, &name).map_err(|e| e.in_file(&path)).map(|(part, lines)| (part, path, lines))?);
        }
    }
    parts.sort_by_key(|(part, ..)| part.number());
    for pair in parts.windows(2) {
        let [(a, first, (head, _)), (b, second, (other, _))] = pair else { continue };
        if a == b {
            let what = format!("part {a} is there twice, also as {}", first.display());
            return Err(Error::new(ErrorKind::Usage, what).in_file(second).help("name each part's folder once"));
        }
        let of_one_run = (&head.program, &head.options, &head.measure, a.of())
            == (&other.program, &other.options, &other.measure, b.of());
        if !of_one_run {
            let what = format!("was measured otherwise than {}", first.display());
            return Err(Error::new(ErrorKind::Usage, what)
                .in_file(second)
                .help("measure all parts with one program, the same options and the same number of parts"));
        }
    }
    if let Some((part, ..)) = parts.first() {
        let missing: Vec<String> =
            (1..=part.of()).filter(|n| !parts.iter().any(|(p, ..)| p.number() == *n)).map(|n| n.to_string()).collect();
        if !missing.is_empty() {
            let what = format!("of {} parts these are missing: {}", part.of(), missing.join(", "));
            return Err(Error::new(ErrorKind::Usage, what).help("measure them, or name the folders that they are in"));
        }
    }
    Ok(parts.into_iter().map(|(.., lines)| lines).collect())
}

fn open(folder: &Path, manifest: &str) -> Result<(Part, PartLines)> {
    let Some((head, lines)) = finished(folder, manifest) else {
        return Err(Error::new(ErrorKind::Usage, "has no entries beside it").help(
            "only parts with measurements.json or measurements.jsonl of this version can be joined; tables of several parts are read side by side",
        ));
    };
    let number = head.part.ok_or_else(|| Error::new(ErrorKind::Format, "names no part"))?;
    Ok((Part::new(number.number, number.of)?, (head, lines)))
}
