//! What a page says: plain data that the templates set out. A template of your own sees exactly these names.

use super::chart::Chart;
use serde::Serialize;

/// A report of one animal at one visit.
#[derive(Debug, Clone, Serialize)]
pub(super) struct Page {
    /// The animal's name.
    pub(super) animal: String,
    /// The visit's day, in words and as 2026-05-04.
    pub(super) day: String,
    pub(super) day_iso: String,
    /// The visit before, in words.
    pub(super) last_day: Option<String>,
    /// Number of visits up to this one.
    pub(super) visits: usize,
    /// Who placed the landmarks.
    pub(super) observers: Vec<String>,
    /// When the next visit is due, in words.
    pub(super) next_visit: Option<String>,
    /// What matters first.
    pub(super) headlines: Vec<Headline>,
    /// One section a foot.
    pub(super) feet: Vec<FootSection>,
    /// Left against right.
    pub(super) pairs: Vec<PairTable>,
    /// Growth rates.
    pub(super) growth: Vec<GrowthRow>,
    /// What makes the values uncertain, and what to do about it.
    pub(super) uncertainty: Vec<UncertaintyNote>,
    /// The visits with their notes.
    pub(super) timeline: Vec<TimelineVisit>,
    /// How many changes were looked at, and how many of them chance alone makes look real.
    pub(super) compared: usize,
    pub(super) by_chance: usize,
    pub(super) cautions: Vec<&'static str>,
    /// Every limit that values were held against.
    pub(super) limits: Vec<LimitText>,
    /// Where everything comes from.
    pub(super) provenance: Provenance,
    /// Numbers for the owner.
    pub(super) owner: Vec<OwnerFoot>,
}

/// The first words on one foot.
#[derive(Debug, Clone, Serialize)]
pub(super) struct Headline {
    pub(super) foot: &'static str,
    /// What the evidence says of its heels.
    pub(super) heel: Option<String>,
    /// Real changes since the last visit, as sentences.
    pub(super) changes: Vec<String>,
    /// Measurements whose change could not be shown.
    pub(super) unresolved: Vec<&'static str>,
}

/// One foot.
#[derive(Debug, Clone, Serialize)]
pub(super) struct FootSection {
    /// LF, RF, LH, RH.
    pub(super) id: &'static str,
    pub(super) name: &'static str,
    pub(super) photos: Vec<PhotoFigure>,
    /// What is to be looked at before any value of the foot is used.
    pub(super) doubts: Vec<String>,
    pub(super) heels: Vec<HeelText>,
    pub(super) toe: Option<String>,
    pub(super) noted: Vec<VerdictText>,
    pub(super) not_resolved: Vec<VerdictText>,
    pub(super) not_noted: Vec<VerdictText>,
    pub(super) not_judged: Vec<String>,
    /// Whether photos before and after the trim can be compared.
    pub(super) comparable: Option<String>,
    pub(super) tables: Vec<ValueTable>,
    pub(super) charts: Vec<Chart>,
    /// When limits would be crossed.
    pub(super) crossings: Vec<CrossingText>,
}

/// A picture.
#[derive(Debug, Clone, Serialize)]
pub(super) struct PhotoFigure {
    /// A data URI; none where no picture could be made.
    pub(super) src: Option<String>,
    pub(super) width: u32,
    pub(super) height: u32,
    pub(super) alt: String,
    pub(super) caption: String,
    /// Why there is no picture.
    pub(super) missing: Option<String>,
}

/// What the evidence says of a heel.
#[derive(Debug, Clone, Serialize)]
pub(super) struct HeelText {
    pub(super) seen: String,
    pub(super) words: &'static str,
    pub(super) probability: Option<String>,
    /// Whether a value it rests on is not to be trusted as it stands.
    pub(super) doubted: bool,
    pub(super) evidence: Vec<VerdictText>,
    pub(super) missing: Vec<String>,
}

/// A value against a limit.
#[derive(Debug, Clone, Serialize)]
pub(super) struct VerdictText {
    /// What a noted value means; the question it answers where it is evidence.
    pub(super) says: String,
    pub(super) name: String,
    pub(super) value: String,
    /// `at least 5°`.
    pub(super) limit: String,
    /// `above`, `below`, `not resolved`.
    pub(super) stands: &'static str,
    /// Probability that the true value lies on the noted side.
    pub(super) probability: String,
    pub(super) source: String,
    pub(super) disagree: Vec<String>,
    /// The stage it was judged at.
    pub(super) stage: &'static str,
    /// The answer, where it is evidence.
    pub(super) answer: Option<&'static str>,
}

/// A limit, where it comes from and who says otherwise.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct LimitText {
    pub(super) name: String,
    pub(super) limit: String,
    pub(super) source: String,
    pub(super) disagree: Vec<String>,
}

/// The values of one foot from one view.
#[derive(Debug, Clone, Serialize)]
pub(super) struct ValueTable {
    pub(super) caption: String,
    /// Headings of the value columns.
    pub(super) stages: Vec<&'static str>,
    /// Heading of the column of changes, where there is an earlier visit.
    pub(super) since: Option<String>,
    /// Heading of the column of what the trim changed.
    pub(super) trim: bool,
    pub(super) rows: Vec<ValueRow>,
}

/// One measurement.
#[derive(Debug, Clone, Serialize)]
pub(super) struct ValueRow {
    pub(super) name: &'static str,
    pub(super) definition: &'static str,
    /// A value for each stage; empty where there is none.
    pub(super) values: Vec<String>,
    pub(super) trim: Option<ChangeText>,
    pub(super) since: Option<ChangeText>,
}

/// A change.
#[derive(Debug, Clone, Serialize)]
pub(super) struct ChangeText {
    pub(super) text: String,
    /// `rose`, `fell`, `not resolved`.
    pub(super) word: &'static str,
    pub(super) real: bool,
    /// Of what it was made, where not of the values before the trim.
    pub(super) stage: &'static str,
}

/// When a limit would be crossed.
#[derive(Debug, Clone, Serialize)]
pub(super) struct CrossingText {
    pub(super) name: &'static str,
    pub(super) rate: String,
    pub(super) limit: String,
    pub(super) words: String,
    pub(super) source: String,
}

/// Left against right.
#[derive(Debug, Clone, Serialize)]
pub(super) struct PairTable {
    pub(super) caption: String,
    pub(super) rows: Vec<PairRow>,
}

/// One measurement of a pair.
#[derive(Debug, Clone, Serialize)]
pub(super) struct PairRow {
    pub(super) name: &'static str,
    pub(super) left: String,
    pub(super) right: String,
    pub(super) difference: String,
    /// `left larger`, `right larger`, `not resolved`.
    pub(super) word: &'static str,
    pub(super) real: bool,
}

/// A growth rate.
#[derive(Debug, Clone, Serialize)]
pub(super) struct GrowthRow {
    pub(super) foot: &'static str,
    pub(super) place: &'static str,
    pub(super) from: &'static str,
    pub(super) rate: String,
    pub(super) remark: Option<String>,
}

/// What makes the values of one view uncertain.
#[derive(Debug, Clone, Serialize)]
pub(super) struct UncertaintyNote {
    pub(super) seen: &'static str,
    pub(super) source: &'static str,
    pub(super) share: String,
    /// How much smaller the uncertainties would be by the best advice there is.
    pub(super) gain: Option<String>,
    pub(super) advice: Option<String>,
    pub(super) others: Vec<String>,
}

/// A visit on the time axis.
#[derive(Debug, Clone, Serialize)]
pub(super) struct TimelineVisit {
    pub(super) letter: Option<String>,
    pub(super) day: String,
    pub(super) photos: usize,
    pub(super) notes: Vec<NoteText>,
}

/// What the practitioner noted.
#[derive(Debug, Clone, Serialize)]
pub(super) struct NoteText {
    pub(super) about: String,
    pub(super) text: String,
}

/// Where everything comes from.
#[derive(Debug, Clone, Serialize)]
pub(super) struct Provenance {
    pub(super) program: &'static str,
    pub(super) version: &'static str,
    pub(super) photos: Vec<PhotoProvenance>,
}

/// Of one photo.
#[derive(Debug, Clone, Serialize)]
pub(super) struct PhotoProvenance {
    pub(super) name: String,
    pub(super) photo_sha256: String,
    pub(super) sidecar_sha256: String,
    pub(super) lens: String,
    pub(super) remarks: Vec<&'static str>,
}

/// The owner's numbers of one foot.
#[derive(Debug, Clone, Serialize)]
pub(super) struct OwnerFoot {
    pub(super) name: &'static str,
    pub(super) heel: Option<&'static str>,
    pub(super) numbers: Vec<OwnerNumber>,
    /// Photos of the first visit and of this one.
    pub(super) photos: Vec<PhotoFigure>,
}

/// One number for the owner.
#[derive(Debug, Clone, Serialize)]
pub(super) struct OwnerNumber {
    pub(super) name: &'static str,
    /// What it is, in everyday words.
    pub(super) what: &'static str,
    pub(super) now: String,
    /// How it has gone since the first visit, a sentence.
    pub(super) story: String,
    pub(super) chart: Option<Chart>,
}
