//! Has a heel run under, or is it merely low? The evidence, piece by piece, and one simple rule that combines it.
//!
//! # The rule of combination
//! Every piece of evidence answers one of three questions with yes, with no, or not at all; the limits stand in the rules file.
//!
//! 1. *Spare horn*: does heel horn stand beyond the hard sole plane?
//! 2. *Run forward*: do the heel's wall and tubules lie lower than the toe's, does the heel bear ahead of where it belongs?
//! 3. *Low*: is the coronary band at the heel near the ground?
//!
//! A question is answered where at least one piece answers it and no other piece contradicts; where pieces contradict each other it
//! stays open, and so it does where none of them is resolved. The conclusion follows from the answers alone:
//!
//! | | run forward | not run forward |
//! | --- | --- | --- |
//! | spare horn | [`HeelConclusion::RunUnder`] | [`HeelConclusion::Long`] |
//! | no spare horn | [`HeelConclusion::ForwardAtSolePlane`] | low: [`HeelConclusion::Low`]; not low: [`HeelConclusion::Neither`]; open: [`HeelConclusion::NotRunUnder`] |
//!
//! Anything else is [`HeelConclusion::NotDecided`]. No weights, no score. Pieces share landmarks and are not independent, so their
//! probabilities are not multiplied: what is stated is the lower bound 1 − Σ (1 − pᵢ) (Boole's inequality) over the strongest
//! answer to each question.

use super::foot::PhotoValues;
use super::rules::{EvidenceRule, Otherwise, Question, Rules, find};
use super::verdict::{Estimate, Judged, Stands, judge};
use crate::Side;
use crate::foot::View;

/// An answer to a question.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Answer {
    /// Yes.
    Yes,
    /// No.
    No,
    /// The evidence does not resolve it.
    Open,
    /// Pieces of evidence contradict each other.
    Contradicting,
    /// No evidence at all.
    Missing,
}

impl Answer {
    /// The name in files.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Yes => "yes",
            Self::No => "no",
            Self::Open => "open",
            Self::Contradicting => "contradicting",
            Self::Missing => "missing",
        }
    }
}

/// One piece of evidence.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// What it is and its limit.
    pub rule: EvidenceRule,
    /// The photo it was measured on.
    pub photo: String,
    /// The value against the limit.
    pub judged: Judged,
    /// What it answers; [`Answer::Open`] where it says nothing.
    pub answer: Answer,
}

impl Evidence {
    /// Probability that the true value lies on the side that answers yes.
    pub fn probability_yes(&self) -> f64 {
        self.judged.probability_noted(self.rule.yes_when)
    }
}

/// Evidence that is not there, and why.
#[derive(Debug, Clone, PartialEq)]
pub struct MissingEvidence {
    /// What it would be.
    pub rule: EvidenceRule,
    /// Why it is not there.
    pub why: String,
}

/// What the evidence amounts to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum HeelConclusion {
    /// Run under: horn beyond the hard sole plane that has run forward.
    RunUnder,
    /// Long, not run under: horn beyond the hard sole plane that stands as steep as the toe.
    Long,
    /// Run forward without horn to spare: at the hard sole plane, and lower than the toe.
    ForwardAtSolePlane,
    /// Merely low: at the hard sole plane, not run forward, the coronary band near the ground.
    Low,
    /// Neither run under nor low.
    Neither,
    /// Not run under; whether it is low is open.
    NotRunUnder,
    /// The evidence does not decide.
    NotDecided,
}

impl HeelConclusion {
    /// The name in files.
    pub const fn name(self) -> &'static str {
        match self {
            Self::RunUnder => "run_under",
            Self::Long => "long",
            Self::ForwardAtSolePlane => "forward_at_sole_plane",
            Self::Low => "low",
            Self::Neither => "neither",
            Self::NotRunUnder => "not_run_under",
            Self::NotDecided => "not_decided",
        }
    }

    /// In plain words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::RunUnder => {
                "The heel has run under: horn stands beyond the hard sole plane and has run forward. It can look low and still be \
                 long; bringing it to the hard sole plane moves its bearing point back."
            }
            Self::Long => {
                "The heel is long but has not run under: horn stands beyond the hard sole plane, about as steep as the toe."
            }
            Self::ForwardAtSolePlane => {
                "The heel lies lower than the toe but has no horn to spare: it already ends at the hard sole plane. Lowering it \
                 would take what it stands on."
            }
            Self::Low => {
                "The heel is low, not run under: it ends at the hard sole plane and stands about as steep as the toe, with the \
                 coronary band near the ground. There is nothing to lower."
            }
            Self::Neither => "The heel is neither run under nor low.",
            Self::NotRunUnder => "The heel has not run under. Whether it is low is not resolved.",
            Self::NotDecided => "Run under or not: not decided by this evidence.",
        }
    }

    fn from(answers: [Answer; 3]) -> Self {
        use Answer::{No, Yes};
        match answers {
            [Yes, Yes, _] => Self::RunUnder,
            [Yes, No, _] => Self::Long,
            [No, Yes, _] => Self::ForwardAtSolePlane,
            [No, No, Yes] => Self::Low,
            [No, No, No] => Self::Neither,
            [No, No, _] => Self::NotRunUnder,
            _ => Self::NotDecided,
        }
    }

    /// Which of the three questions it rests on.
    const fn rests_on(self) -> &'static [Question] {
        match self {
            Self::NotDecided => &[],
            Self::Low | Self::Neither => &Question::ALL,
            _ => &[Question::SpareHorn, Question::RunForward],
        }
    }
}

/// One heel: the evidence and what follows from it.
#[derive(Debug, Clone, PartialEq)]
pub struct HeelReview {
    /// The lateral photo.
    pub photo: String,
    /// The side of the foot that it shows.
    pub side: Option<Side>,
    /// What follows.
    pub conclusion: HeelConclusion,
    /// The conclusion holds at least with this probability; none where nothing is decided.
    pub probability_at_least: Option<f64>,
    /// The answers to the three questions, in their order.
    pub answers: [Answer; 3],
    /// The evidence, piece by piece.
    pub evidence: Vec<Evidence>,
    /// The evidence that is not there.
    pub missing: Vec<MissingEvidence>,
    /// How far the bearing point would move back if the heel were brought to the hard sole plane, mm.
    pub run_of_spare_horn: Option<Estimate>,
}

impl HeelReview {
    /// Weighs the evidence on the heel that a lateral photo shows; `solar` are the same foot's photos of the sole at the same stage.
    pub fn new(lateral: &PhotoValues, solar: &[&PhotoValues], rules: &Rules) -> Self {
        let (mut evidence, mut missing) = (Vec::new(), Vec::new());
        for rule in rules.heel.iter().filter(|r| r.on) {
            match find_value(rule, lateral, solar) {
                Ok((photo, estimate)) => {
                    let judged = judge(estimate, rule.yes_when, rule.limit, false, rules.confidence);
                    let answer = match (judged.noted, judged.stands, rule.otherwise) {
                        (true, ..) => Answer::Yes,
                        (_, Stands::NotResolved, _) | (_, _, Otherwise::Nothing) => Answer::Open,
                        (_, _, Otherwise::No) => Answer::No,
                    };
                    evidence.push(Evidence { rule: rule.clone(), photo, judged, answer });
                }
                Err(why) => missing.push(MissingEvidence { rule: rule.clone(), why }),
            }
        }
        let answers = Question::ALL.map(|q| answer(q, &evidence));
        let conclusion = HeelConclusion::from(answers);
        let run = lateral.value(super::quantities::HEEL_RUN_BEYOND_SOLE_PLANE.id).ok();
        Self {
            photo: lateral.photo.clone(),
            side: lateral.side,
            conclusion,
            probability_at_least: at_least(conclusion, &evidence),
            answers,
            evidence,
            missing,
            run_of_spare_horn: run,
        }
    }

    /// Whether a value among the evidence is not to be trusted as it stands.
    pub fn is_doubted(&self) -> bool {
        self.evidence.iter().any(|e| !e.judged.estimate.doubts.is_empty())
    }

    /// The answer to a question.
    pub fn answer(&self, question: Question) -> Answer {
        self.answers[question as usize]
    }
}

/// The value of a piece of evidence: on the lateral photo itself, or the best known of the sole's photos.
fn find_value(
    rule: &EvidenceRule,
    lateral: &PhotoValues,
    solar: &[&PhotoValues],
) -> Result<(String, Estimate), String> {
    let id = rule.measurement.as_str();
    let Some(measurement) = find(id) else { return Err("no such measurement".to_owned()) };
    if measurement.view == View::Lateral {
        return lateral.value(id).map(|e| (lateral.photo.clone(), e));
    }
    let mut why = "no photo of the sole".to_owned();
    let mut best: Option<(String, Estimate)> = None;
    for photo in solar {
        match photo.value(id) {
            Ok(e) if best.as_ref().is_none_or(|(_, b)| e.u < b.u) => best = Some((photo.photo.clone(), e)),
            Ok(_) => {}
            Err(reason) => why = reason,
        }
    }
    best.ok_or(why)
}

/// One answer out of all the pieces that bear on a question.
fn answer(question: Question, evidence: &[Evidence]) -> Answer {
    let mut own = evidence.iter().filter(|e| e.rule.question == question).map(|e| e.answer).peekable();
    if own.peek().is_none() {
        return Answer::Missing;
    }
    own.fold(Answer::Open, |so_far, next| match (so_far, next) {
        (Answer::Contradicting, _) | (Answer::Yes, Answer::No) | (Answer::No, Answer::Yes) => Answer::Contradicting,
        (Answer::Open, next) => next,
        (so_far, _) => so_far,
    })
}

/// Boole's inequality over the strongest answer to each question that a conclusion rests on.
fn at_least(conclusion: HeelConclusion, evidence: &[Evidence]) -> Option<f64> {
    let questions = conclusion.rests_on();
    if questions.is_empty() {
        return None;
    }
    let doubt: f64 = questions
        .iter()
        .map(|q| {
            evidence
                .iter()
                .filter(|e| e.rule.question == *q && matches!(e.answer, Answer::Yes | Answer::No))
                .map(|e| if e.answer == Answer::Yes { 1.0 - e.probability_yes() } else { e.probability_yes() })
                .fold(1.0, f64::min)
        })
        .sum();
    Some((1.0 - doubt).max(0.0))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    fn piece(question: Question, answer: Answer, p_yes: f64) -> Evidence {
        let rules = Rules::default();
        let rule = rules.heel.iter().find(|r| r.question == question).unwrap().clone();
        let above = if rule.yes_when.is_above() { p_yes } else { 1.0 - p_yes };
        let judged = Judged {
            estimate: Estimate::new(0.0, 1.0, None),
            stands: Stands::NotResolved,
            probability_above: above,
            noted: false,
        };
        Evidence { rule, photo: String::new(), judged, answer }
    }

    /// Pieces that are open leave the others' answer; pieces that contradict each other leave none, in any order.
    #[test]
    fn answers_combine_openly() {
        use Answer::{Contradicting, Missing, No, Open, Yes};
        let q = Question::RunForward;
        for (pieces, expected) in [
            (&[][..], Missing),
            (&[Open, Open], Open),
            (&[Open, Yes, Open], Yes),
            (&[No, Open, No], No),
            (&[Yes, No], Contradicting),
            (&[No, Yes, Yes], Contradicting),
        ] {
            let mut evidence: Vec<_> = pieces.iter().map(|a| piece(q, *a, 0.5)).collect();
            assert_eq!(answer(q, &evidence), expected, "{pieces:?}");
            evidence.reverse();
            assert_eq!(answer(q, &evidence), expected, "{pieces:?} reversed");
            assert_eq!(answer(Question::Low, &evidence), Missing);
        }
    }

    /// Without an answer to either of the first two questions nothing is decided, whatever the heel's height: height alone never
    /// makes a heel low or run under.
    #[test]
    fn height_alone_decides_nothing() {
        use Answer::{Contradicting, Missing, No, Open, Yes};
        for low in [Yes, No, Open, Contradicting, Missing] {
            for undecided in [Open, Contradicting, Missing] {
                for known in [Yes, No, Open] {
                    assert_eq!(HeelConclusion::from([undecided, known, low]), HeelConclusion::NotDecided);
                    assert_eq!(HeelConclusion::from([known, undecided, low]), HeelConclusion::NotDecided);
                }
            }
            assert_eq!(HeelConclusion::from([Yes, Yes, low]), HeelConclusion::RunUnder);
            assert_eq!(HeelConclusion::from([No, Yes, low]), HeelConclusion::ForwardAtSolePlane);
        }
        assert_eq!(HeelConclusion::from([No, No, Yes]), HeelConclusion::Low);
    }

    /// Boole's inequality over the strongest piece of each question.
    #[test]
    fn the_stated_probability_is_a_lower_bound() {
        let evidence = [
            piece(Question::SpareHorn, Answer::Yes, 0.98),
            piece(Question::RunForward, Answer::Yes, 0.96),
            piece(Question::RunForward, Answer::Yes, 0.99),
        ];
        let p = at_least(HeelConclusion::RunUnder, &evidence).unwrap();
        assert!((p - 0.97).abs() < 1e-12);
        assert_eq!(at_least(HeelConclusion::NotDecided, &evidence), None);
    }
}
