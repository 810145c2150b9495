//! Entries of earlier runs, read in the order of the walk: what is not changed is not measured again.
//!
//! A finished run's entries are those of `measurements.json` or `measurements.jsonl`, with the manifest; an unfinished run's stand in
//! its journals. All are in the order of the walk, so that they are read beside it, each once, and no list of them is ever held.

use super::manifest::{Head, Line, PhotoLine, RefusalLine, parse};
use super::writers::{BEFORE_PHOTOS, BEHIND_PHOTOS, entry_of_line};
use super::{FORMAT, Inputs, Outputs, RunKey};
use crate::file::{self, FileKind};
use crate::photo::{Sha256Hex, fingerprint};
use crate::visit::order::walk_order;
use std::cmp::Ordering;
use std::io::{BufRead, BufReader, Read};
use std::path::Path;

/// A photo's entry from an earlier run.
#[derive(Debug, Clone)]
pub(crate) struct Stored {
    pub(super) line: PhotoLine,
    pub(super) entry: String,
}

impl Stored {
    /// Whether it is the entry that these inputs give, whole, and its picture too. All that the line says of the inputs is compared, not
    /// their common fingerprint alone: a damaged line is not written into another manifest.
    pub(crate) fn is_of(&self, inputs: &Inputs, run: &RunKey, outputs: &Outputs) -> bool {
        let line = &self.line;
        let said = Inputs {
            photo_sha256: line.photo_sha256,
            sidecar_sha256: line.sidecar_sha256,
            shared: line.shared.clone(),
        };
        let picture = || match (&line.picture, line.picture_sha256) {
            (Some(name), Some(sha256)) => fingerprint(outputs.folder.join(name)).is_ok_and(|is| is == sha256),
            // A picture that could not be made is tried again.
            _ => !run.pictures,
        };
        said == *inputs
            && line.inputs_sha256 == inputs.key(run, &line.photo)
            && Sha256Hex::of(self.entry.as_bytes()) == line.entry_sha256
            && picture()
    }
}

/// Earlier runs side by side.
#[derive(Default)]
pub(crate) struct Earlier {
    sources: Vec<Source>,
}

struct Source {
    next: Option<Stored>,
    entries: Box<dyn Iterator<Item = Stored> + Send>,
}

impl Earlier {
    pub(super) fn add(&mut self, mut entries: Box<dyn Iterator<Item = Stored> + Send>) {
        let next = entries.next();
        if next.is_some() {
            self.sources.push(Source { next, entries });
        }
    }

    /// What earlier runs have of the photo at this place; places are asked for in the order of the walk.
    pub(crate) fn of(&mut self, place: &str) -> Vec<Stored> {
        let mut found = Vec::new();
        for source in &mut self.sources {
            while let Some(next) = &source.next {
                match walk_order(&next.line.photo, place) {
                    Ordering::Less => source.next = source.entries.next(),
                    Ordering::Equal => {
                        found.extend(source.next.take());
                        source.next = source.entries.next();
                    }
                    Ordering::Greater => break,
                }
            }
        }
        found
    }
}

/// The lines of a file without their ends; it ends at the first that cannot be read, has no end or is longer than a line may be.
pub(super) fn whole_lines(path: &Path) -> Option<impl Iterator<Item = String> + Send + use<>> {
    let mut file = BufReader::with_capacity(1 << 16, file::open(path).ok()?);
    Some(std::iter::from_fn(move || {
        let mut bytes = Vec::new();
        file.by_ref().take(FileKind::ResultLine.most_bytes()).read_until(b'\n', &mut bytes).ok()?;
        if bytes.pop() != Some(b'\n') {
            return None;
        }
        String::from_utf8(bytes).ok()
    }))
}

/// The entries of a finished run, one by one, from the file that it wrote them to.
fn entries(folder: &Path, head: &Head) -> Option<Box<dyn Iterator<Item = String> + Send>> {
    let written = |ending: &str| head.files.iter().find(|f| f.ends_with(ending)).map(|f| folder.join(f));
    if let Some(path) = written(".jsonl") {
        return Some(Box::new(whole_lines(&path)?.filter_map(|line| entry_of_line(&line))));
    }
    let mut lines = whole_lines(&written(".json")?)?;
    // Behind its head the file has an entry on each line, as `Writers` writes it.
    lines.by_ref().find(|line| line == BEFORE_PHOTOS)?;
    let one = |mut line: String| {
        if line == BEHIND_PHOTOS {
            return None;
        }
        if line.ends_with(',') {
            line.pop();
        }
        Some(line)
    };
    Some(Box::new(lines.map_while(one)))
}

/// A line of a finished run: a photo with its entry, or a refusal.
pub(super) enum Finished {
    Photo(Box<Stored>),
    Refusal(RefusalLine),
}

/// What a finished run has left; none where there is no manifest or one of another contract, or where it wrote tables alone.
pub(super) fn finished(folder: &Path, manifest: &str) -> Option<(Head, Box<dyn Iterator<Item = Finished> + Send>)> {
    let mut lines = whole_lines(&folder.join(manifest))?;
    let head: Head = parse(&lines.next()?).ok().filter(|head: &Head| head.format == FORMAT)?;
    let mut entries = entries(folder, &head)?;
    let all = lines.map_while(move |text| match parse(&text).ok()? {
        Line::Photo(line) => Some(Finished::Photo(Box::new(Stored { line, entry: entries.next()? }))),
        Line::Refusal(line) => Some(Finished::Refusal(line)),
        Line::End(_) => None,
    });
    Some((head, Box::new(all)))
}
