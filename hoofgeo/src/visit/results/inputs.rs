//! Everything that a photo's entry depends on, as one fingerprint. Content decides, never a time stamp.

use super::super::folder::Entry;
use super::super::photo::ReadEntry;
use super::super::placements::PlacementChoice;
use super::super::ruler::RulerReading;
use super::super::session::Session;
use super::{FORMAT, Outputs};
use crate::error::Result;
use crate::file::{FileKind, read_file};
use crate::photo::{Sha256Hex, fingerprint};
use crate::sidecar::Sidecar;
use serde::Serialize;
use serde_json::{Value as Json, json};
use std::collections::BTreeMap;

/// The program that measures. Sources, not the version alone: between two releases a formula may have changed.
#[derive(Debug, Clone, Copy, Serialize)]
pub(super) struct Program {
    pub(super) name: &'static str,
    pub(super) version: &'static str,
    pub(super) sources: &'static str,
}

impl Program {
    pub(super) const THIS: Self =
        Self { name: env!("CARGO_PKG_NAME"), version: env!("CARGO_PKG_VERSION"), sources: env!("HOOFGEO_SOURCES") };
}

/// What all entries of a run depend on: the program and its options.
#[derive(Debug, Clone)]
pub(crate) struct RunKey {
    /// As the manifest states it.
    pub(super) options: Json,
    fingerprint: Sha256Hex,
    pub(super) pictures: bool,
}

impl RunKey {
    pub(crate) fn of(session: &Session, outputs: &Outputs) -> Result<Self> {
        Self::with(Program::THIS, session, outputs)
    }

    fn with(program: Program, session: &Session, outputs: &Outputs) -> Result<Self> {
        let (options, lenses) = (session.options(), session.lenses());
        let (measure, details) = (&options.measure, outputs.details());
        let placement = measure.placement.as_ref().map(|table| Sha256Hex::of(json!(**table).to_string().as_bytes()));
        let words = json!({
            "draws": measure.draws,
            // Without draws the seed changes nothing.
            "seed": (measure.draws > 0).then_some(measure.seed),
            "placement_sha256": placement,
            "placement_table": options.placement.key(),
            "pictures": options.pictures,
            "force_lens": options.force_lens,
            "lens_database_sha256": lenses.database_fingerprint()?,
            "read_ruler": match options.read_ruler {
                RulerReading::Never => "never",
                RulerReading::AsStated => "as_stated",
            },
            "whole_entries": outputs.whole_entries(),
            "points": details.points,
            "covariances": details.covariances,
            "values_drawn": details.draws,
            "values_drawn_seed": (details.draws > 0).then_some(details.seed),
        });
        let built_with = [cfg!(feature = "pictures"), cfg!(feature = "libheif")];
        let all = json!({ "format": FORMAT, "program": program, "built_with": built_with, "options": words });
        Ok(Self { fingerprint: Sha256Hex::of(all.to_string().as_bytes()), options: words, pictures: options.pictures })
    }
}

/// The files that a photo's entry depends on.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Inputs {
    pub(super) photo_sha256: Sha256Hex,
    pub(super) sidecar_sha256: Sha256Hex,
    /// Visit file, lens profiles in reach and table of placements, by their path from the photo's folder.
    pub(super) shared: BTreeMap<String, Sha256Hex>,
}

impl Inputs {
    /// Of a photo whose files have been read.
    ///
    /// # Errors
    /// `Io` where the lens profile that its sidecar or visit names cannot be read; as [`PlacementChoice::choose`].
    pub(crate) fn of(entry: &Entry, session: &Session, files: &ReadEntry) -> Result<Self> {
        Self::with(entry, session, [files.photo_sha256, files.sidecar_sha256], &files.sidecar)
    }

    fn with(
        entry: &Entry,
        session: &Session,
        [photo_sha256, sidecar_sha256]: [Sha256Hex; 2],
        sidecar: &Sidecar,
    ) -> Result<Self> {
        let lenses = session.lenses();
        let folder = entry.photo.parent().unwrap_or(&entry.photo);
        let profiles = match &sidecar.lens {
            Some(name) => vec![(name.to_owned(), lenses.fingerprint_of(&folder.join(name))?)],
            None => lenses.in_reach(folder, entry.folders_down()),
        };
        // One table for all photos is among the options.
        let placement = match session.options().placement {
            PlacementChoice::Search(_) => session.placement_of(entry, sidecar)?.map(|used| (used.file, used.sha256)),
            PlacementChoice::File(_) | PlacementChoice::None => None,
        };
        let shared = profiles.into_iter().chain(entry.visit_file.clone()).chain(placement).collect();
        Ok(Self { photo_sha256, sidecar_sha256, shared })
    }

    /// Of a photo that is not measured: its files are read for their fingerprints alone.
    ///
    /// # Errors
    /// Where a file cannot be read or the sidecar is no sidecar.
    pub(crate) fn read(entry: &Entry, session: &Session) -> Result<Self> {
        let path = entry.sidecar();
        let bytes = read_file(&path, FileKind::Sidecar)?;
        let visit = entry.visit.clone().transpose()?;
        let sidecar = Sidecar::parse_bytes(&bytes, visit.as_deref())?;
        let fingerprints = [fingerprint(&entry.photo)?, Sha256Hex::of(&bytes)];
        Self::with(entry, session, fingerprints, &sidecar)
    }

    /// The fingerprint of the entry that they give in a run.
    pub(crate) fn key(&self, run: &RunKey, place: &str) -> Sha256Hex {
        let all = json!([run.fingerprint, place, self.photo_sha256, self.sidecar_sha256, self.shared]);
        Sha256Hex::of(all.to_string().as_bytes())
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::measured::MeasureOptions;
    use crate::visit::VisitOptions;

    #[test]
    fn everything_that_matters_changes_the_key() {
        let inputs = Inputs {
            photo_sha256: Sha256Hex::of(b"photo"),
            sidecar_sha256: Sha256Hex::of(b"sidecar"),
            shared: BTreeMap::from([("visit.hoof.json".to_owned(), Sha256Hex::of(b"visit"))]),
        };
        let outputs = Outputs::in_folder("out");
        let usual = VisitOptions::default();
        let key = |program, options: &VisitOptions, inputs: &Inputs, place: &str| {
            inputs.key(&RunKey::with(program, &Session::new(options).unwrap(), &outputs).unwrap(), place)
        };
        let first = key(Program::THIS, &usual, &inputs, "a.jpg");
        assert_eq!(first, key(Program::THIS, &usual, &inputs, "a.jpg"));
        let measure = |draws, seed| VisitOptions {
            measure: MeasureOptions { draws, seed, ..MeasureOptions::default() },
            ..VisitOptions::default()
        };
        // Without draws there is nothing to seed.
        assert_eq!(first, key(Program::THIS, &measure(0, 7), &inputs, "a.jpg"));
        let mut seen = vec![first];
        let mut another = |other: Sha256Hex| {
            assert!(!seen.contains(&other));
            seen.push(other);
        };
        another(key(Program { version: "0.0.9", ..Program::THIS }, &usual, &inputs, "a.jpg"));
        another(key(Program { sources: "0", ..Program::THIS }, &usual, &inputs, "a.jpg"));
        another(key(Program::THIS, &measure(1000, 7), &inputs, "a.jpg"));
        another(key(Program::THIS, &measure(1000, 8), &inputs, "a.jpg"));
        another(key(Program::THIS, &VisitOptions { force_lens: true, ..usual.clone() }, &inputs, "a.jpg"));
        another(key(Program::THIS, &VisitOptions { pictures: true, ..usual.clone() }, &inputs, "a.jpg"));
        another(key(Program::THIS, &usual, &inputs, "b.jpg"));
        let placement = Some(std::sync::Arc::new(crate::placement::PlacementTable::new(2, 9)));
        let options = MeasureOptions { placement, ..MeasureOptions::default() };
        another(key(Program::THIS, &VisitOptions { measure: options, ..usual.clone() }, &inputs, "a.jpg"));
        for change in [
            |i: &mut Inputs| i.photo_sha256 = Sha256Hex::of(b"other"),
            |i: &mut Inputs| i.sidecar_sha256 = Sha256Hex::of(b"other"),
            |i: &mut Inputs| i.shared.clear(),
            |i: &mut Inputs| i.shared.extend([("a.lens.json".to_owned(), Sha256Hex::of(b"lens"))]),
            |i: &mut Inputs| i.shared.extend([("visit.hoof.json".to_owned(), Sha256Hex::of(b"other"))]),
        ] {
            let mut other = inputs.clone();
            change(&mut other);
            another(key(Program::THIS, &usual, &other, "a.jpg"));
        }
    }
}
