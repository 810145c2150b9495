//! `review.json`: the types that write it also give its schema.

use super::CAUTIONS;
use super::folder::{TrimCheck, VisitReview};
use super::foot::{FootReview, NotJudged, PairReview, ToeSeen, Verdict};
use super::heel::{Evidence, HeelReview};
use super::rules::{EvidenceRule, Question, Rule};
use super::verdict::{Estimate, Judged};
use crate::project::Comparable;
use crate::{Foot, Side, Stage};
use serde::Serialize;

#[cfg(feature = "schema")]
use schemars::JsonSchema;

/// The name and version of the format.
const FORMAT: &str = "hoofgeo-review/1";

macro_rules! written {
    ($($(#[$meta:meta])* struct $name:ident $(<$life:lifetime>)? { $($(#[$doc:meta])* $field:ident: $type:ty,)+ })+) => {
        $(
            $(#[$meta])*
            #[derive(Serialize)]
            #[cfg_attr(feature = "schema", derive(JsonSchema))]
            pub(super) struct $name $(<$life>)? {
                $($(#[$doc])* $field: $type,)+
            }
        )+
    };
}

written! {
    /// What a visit's values say, held against stated limits.
    struct ReviewFile<'a> {
        /// The format's name and version, `hoofgeo-review/1`.
        format: &'static str,
        /// Version of the program.
        version: &'static str,
        /// Probability that a verdict other than `not_resolved` needed.
        confidence: f64,
        /// Each foot at each stage.
        feet: Vec<FootFile<'a>>,
        /// Left against right feet.
        pairs: Vec<PairFile<'a>>,
        /// Whether photos from before and after a trim are comparable.
        trims: Vec<TrimFile<'a>>,
        /// Photos that could not be measured, and why.
        refused: Vec<String>,
        /// What goes with every judgement.
        cautions: &'static [&'static str],
    }
    /// One foot at one stage.
    struct FootFile<'a> {
        /// Whose foot.
        animal: &'a str,
        /// Which foot.
        foot: Foot,
        /// Before or after trimming.
        stage: Option<Stage>,
        /// The day of its photos.
        day: Option<&'a str>,
        /// Its photos.
        photos: &'a [String],
        /// Each heel seen from the side.
        heels: Vec<HeelFile<'a>>,
        /// How the toe was seen: `from_the_sole`, `sole_incomplete` or `from_the_side_only`.
        toe_seen: &'static str,
        /// The same in plain words.
        toe_says: &'static str,
        /// The rules that could be applied.
        verdicts: Vec<VerdictFile<'a>>,
        /// Those that could not.
        not_judged: Vec<NotJudgedFile<'a>>,
    }
    /// A pair of feet.
    struct PairFile<'a> {
        /// Whose feet.
        animal: &'a str,
        /// The left and the right foot.
        feet: [Foot; 2],
        /// Before or after trimming.
        stage: Option<Stage>,
        /// The day of the photos.
        day: Option<&'a str>,
        /// Left minus right, held against the rules.
        verdicts: Vec<VerdictFile<'a>>,
    }
    /// A foot's photos from before and after a trim.
    struct TrimFile<'a> {
        /// Whose foot.
        animal: &'a str,
        /// Which foot.
        foot: Foot,
        /// Which side of it.
        side: Option<Side>,
        /// The photos from before and after.
        photos: &'a [String; 2],
        /// Change of the toe minus heel angle, degrees.
        change: EstimateFile,
        /// Probability of so large a change, or a larger one, by chance.
        probability: f64,
        /// Whether nothing speaks against comparing the photos.
        comparable: bool,
        /// The same in plain words.
        says: &'static str,
    }
    /// A value and its uncertainty, in the rule's unit.
    struct EstimateFile {
        /// Best estimate.
        value: f64,
        /// Standard uncertainty.
        u: f64,
        /// Degrees of freedom of u, where some of it comes from repeats.
        degrees_of_freedom: Option<f64>,
        /// Lower end of the 95 % interval.
        lower: f64,
        /// Its upper end.
        upper: f64,
        /// Why it is not to be trusted as it stands, by name.
        doubts: Vec<&'static str>,
    }
    /// One heel.
    struct HeelFile<'a> {
        /// The lateral photo.
        photo: &'a str,
        /// The side of the foot that it shows.
        side: Option<Side>,
        /// `run_under`, `long`, `forward_at_sole_plane`, `low`, `neither`, `not_run_under` or `not_decided`.
        conclusion: &'static str,
        /// The same in plain words.
        says: &'static str,
        /// The conclusion holds at least with this probability.
        probability_at_least: Option<f64>,
        /// Whether a value among the evidence is not to be trusted as it stands.
        doubted: bool,
        /// The questions and their answers.
        questions: Vec<QuestionFile>,
        /// The evidence, piece by piece.
        evidence: Vec<EvidenceFile<'a>>,
        /// The evidence that is not there.
        missing: Vec<MissingFile<'a>>,
        /// How far the bearing point would move back if the heel were brought to the hard sole plane, mm.
        run_of_spare_horn_mm: Option<EstimateFile>,
    }
    /// A question.
    struct QuestionFile {
        /// Which.
        question: Question,
        /// `yes`, `no`, `open`, `contradicting` or `missing`.
        answer: &'static str,
    }
    /// A piece of evidence.
    struct EvidenceFile<'a> {
        /// What it is, with its limit, source and who disagrees.
        rule: &'a EvidenceRule,
        /// The photo it was measured on.
        photo: &'a str,
        /// The value.
        estimate: EstimateFile,
        /// `below`, `above` or `not_resolved`.
        stands: &'static str,
        /// Probability that the true value lies on the side that answers yes.
        probability_yes: f64,
        /// What it answers: `yes`, `no` or `open`.
        answer: &'static str,
    }
    /// Evidence that is not there.
    struct MissingFile<'a> {
        /// What it would be.
        rule: &'a EvidenceRule,
        /// Why it is not there.
        why: &'a str,
    }
    /// A value held against a rule.
    struct VerdictFile<'a> {
        /// The rule with its limit, source and who disagrees.
        rule: &'a Rule,
        /// The photos that the value comes from.
        photos: &'a [String],
        /// The value.
        estimate: EstimateFile,
        /// `below`, `above` or `not_resolved`.
        stands: &'static str,
        /// Probability that the true value lies above the limit.
        probability_above: f64,
        /// Probability that it lies on the side that is noted.
        probability_noted: f64,
        /// Whether it is noted.
        noted: bool,
    }
    /// A rule that could not be applied.
    struct NotJudgedFile<'a> {
        /// The rule's id.
        rule: &'a str,
        /// The photo, where one was there.
        photo: Option<&'a str>,
        /// Why not.
        why: &'a str,
    }
}

impl VisitReview {
    /// The content of `review.json`.
    pub fn json(&self) -> String {
        let file = ReviewFile {
            format: FORMAT,
            version: env!("CARGO_PKG_VERSION"),
            confidence: self.rules.confidence,
            feet: self.feet.iter().map(foot).collect(),
            pairs: self.pairs.iter().map(pair).collect(),
            trims: self.trims.iter().map(trim).collect(),
            refused: self.refused.iter().map(ToString::to_string).collect(),
            cautions: CAUTIONS,
        };
        // Maps with text keys and finite numbers always become JSON.
        let mut text = serde_json::to_string_pretty(&file).unwrap_or_default();
        text.push('\n');
        text
    }
}

fn estimate(e: &Estimate) -> EstimateFile {
    let [lower, upper] = e.interval;
    EstimateFile { value: e.value, u: e.u, degrees_of_freedom: e.dof, lower, upper, doubts: e.doubts.names() }
}

fn foot(f: &FootReview) -> FootFile<'_> {
    let toe: ToeSeen = f.toe;
    FootFile {
        animal: &f.animal,
        foot: f.foot,
        stage: f.stage,
        day: f.day.as_deref(),
        photos: &f.photos,
        heels: f.heels.iter().map(heel).collect(),
        toe_seen: toe.name(),
        toe_says: toe.words(),
        verdicts: f.verdicts.iter().map(verdict).collect(),
        not_judged: f.not_judged.iter().map(not_judged).collect(),
    }
}

fn pair(p: &PairReview) -> PairFile<'_> {
    PairFile {
        animal: &p.animal,
        feet: p.feet,
        stage: p.stage,
        day: p.day.as_deref(),
        verdicts: p.verdicts.iter().map(verdict).collect(),
    }
}

fn trim(t: &TrimCheck) -> TrimFile<'_> {
    let Comparable { change, probability, holds } = t.check;
    TrimFile {
        animal: &t.animal,
        foot: t.foot,
        side: t.side,
        photos: &t.photos,
        change: estimate(&change),
        probability,
        comparable: holds,
        says: t.check.words(),
    }
}

fn heel(h: &HeelReview) -> HeelFile<'_> {
    HeelFile {
        photo: &h.photo,
        side: h.side,
        conclusion: h.conclusion.name(),
        says: h.conclusion.words(),
        probability_at_least: h.probability_at_least,
        doubted: h.is_doubted(),
        questions: Question::ALL
            .into_iter()
            .map(|question| QuestionFile { question, answer: h.answer(question).name() })
            .collect(),
        evidence: h.evidence.iter().map(evidence).collect(),
        missing: h.missing.iter().map(|m| MissingFile { rule: &m.rule, why: &m.why }).collect(),
        run_of_spare_horn_mm: h.run_of_spare_horn.as_ref().map(estimate),
    }
}

fn evidence(e: &Evidence) -> EvidenceFile<'_> {
    EvidenceFile {
        rule: &e.rule,
        photo: &e.photo,
        estimate: estimate(&e.judged.estimate),
        stands: e.judged.stands.name(),
        probability_yes: e.probability_yes(),
        answer: e.answer.name(),
    }
}

fn verdict(v: &Verdict) -> VerdictFile<'_> {
    let judged: &Judged = &v.judged;
    VerdictFile {
        rule: &v.rule,
        photos: &v.photos,
        estimate: estimate(&judged.estimate),
        stands: judged.stands.name(),
        probability_above: judged.probability_above,
        probability_noted: judged.probability_noted(v.rule.when),
        noted: judged.noted,
    }
}

fn not_judged(n: &NotJudged) -> NotJudgedFile<'_> {
    NotJudgedFile { rule: &n.rule.id, photo: n.photo.as_deref(), why: &n.why }
}

/// The schema of `review.json`.
#[cfg(feature = "schema")]
pub(super) fn schema() -> serde_json::Value {
    crate::sidecar::schema::of::<ReviewFile<'static>>(FORMAT)
}
