//! A review in plain words, for the terminal and for whoever prints it elsewhere.

use super::folder::TrimCheck;
use super::foot::{FootReview, PairReview, Verdict};
use super::heel::{Answer, Evidence, HeelReview};
use super::rules::{Question, When, find};
use super::verdict::{Estimate, Stands};
use super::{CAUTIONS, NotJudged, VisitReview};
use crate::plausibility::Doubts;
use crate::uncertainty::print;
use crate::{Foot, Side, Stage};
use std::fmt::Write as _;

/// Widest line of the text, characters.
const WIDE: usize = 100;

/// A probability as people read it: never 0 % or 100 %.
pub fn percent(p: f64) -> String {
    let p = 100.0 * p;
    if p < 0.1 {
        format!("below 0.1{SPACE}%")
    } else if p > 99.9 {
        format!("above 99.9{SPACE}%")
    } else if !(1.0..=99.0).contains(&p) {
        format!("{p:.1}{SPACE}%")
    } else {
        format!("{p:.0}{SPACE}%")
    }
}

/// No line breaks between a number and its unit.
const SPACE: char = '\u{a0}';

/// A limit with its sign and unit: `≥ 5°`.
pub fn limit(when: When, limit: f64, unit: &str) -> String {
    format!("{} {}", when.sign(), number(limit, unit))
}

fn number(x: f64, unit: &str) -> String {
    match unit {
        "deg" => format!("{x}°"),
        "1" => format!("{x}"),
        "mm2" => format!("{x} mm²"),
        unit => format!("{x} {unit}"),
    }
}

fn value(e: &Estimate, unit: &str) -> String {
    print(e.value, e.expanded(), unit).to_string()
}

fn name(id: &str) -> &str {
    find(id).map_or(id, |m| m.name)
}

/// A foot's name in plain words.
pub const fn foot_words(foot: Foot) -> &'static str {
    match foot {
        Foot::LeftFore => "left fore",
        Foot::RightFore => "right fore",
        Foot::LeftHind => "left hind",
        Foot::RightHind => "right hind",
    }
}

fn heading(animal: &str, what: &str, stage: Option<Stage>, day: Option<&str>) -> String {
    let stage = stage.map(|s| s.name().replace('_', " "));
    let parts: Vec<&str> =
        [Some(animal), Some(what), stage.as_deref(), day].into_iter().flatten().filter(|p| !p.is_empty()).collect();
    parts.join(", ")
}

/// What is said wherever a doubted value is judged.
fn doubts(out: &mut String, indent: usize, e: &Estimate) {
    if !e.doubts.is_empty() {
        let names = e.doubts.names().join(", ").replace('_', " ");
        put(out, indent, &format!("DOUBTFUL, not to be relied on as it stands: {names}."));
    }
}

/// Adds a text in lines of at most [`WIDE`] characters, indented.
fn put(out: &mut String, indent: usize, text: &str) {
    let mut line = String::new();
    for word in text.split(' ') {
        if !line.is_empty() && indent + line.chars().count() + 1 + word.chars().count() > WIDE {
            let _ = writeln!(out, "{:indent$}{line}", "");
            line.clear();
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    let _ = writeln!(out, "{:indent$}{line}", "");
}

fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}.", letters.as_str())
}

impl VisitReview {
    /// The whole review.
    pub fn text(&self) -> String {
        let mut out = String::new();
        for foot in &self.feet {
            out += &foot.text();
            out.push('\n');
        }
        for pair in &self.pairs {
            out += &pair.text();
            out.push('\n');
        }
        if !self.trims.is_empty() {
            put(&mut out, 0, "Before and after the trim");
            self.trims.iter().for_each(|t| t.put(&mut out));
            out.push('\n');
        }
        put(&mut out, 0, "Who sets other limits for the heels");
        for rule in self.rules.heel.iter().filter(|r| r.on) {
            let own = format!("{}, here {}:", name(&rule.measurement), limit(rule.yes_when, rule.limit, &rule.unit));
            let others = if rule.disagree.is_empty() { "none known".to_owned() } else { rule.disagree.join("; ") };
            put(&mut out, 2, &format!("{own} {others}"));
        }
        out.push('\n');
        let needed = percent(self.rules.confidence);
        put(&mut out, 0, &format!("Below or above is said where its probability is {needed} or more. ± is at 95 %."));
        let off = self.rules.rules.iter().filter(|r| !r.on).count();
        if off > 0 {
            put(
                &mut out,
                0,
                &format!("{off} more rules are in the rules file and off, most of them for want of a source."),
            );
        }
        CAUTIONS.iter().for_each(|c| put(&mut out, 0, c));
        out
    }
}

impl FootReview {
    /// What is said of the foot.
    pub fn text(&self) -> String {
        let mut out = String::new();
        put(&mut out, 0, &heading(&self.animal, foot_words(self.foot), self.stage, self.day.as_deref()));
        if self.heels.is_empty() {
            put(&mut out, 2, "Heels: no photo from the side, so run under or low cannot be told.");
        }
        for heel in &self.heels {
            heel.put(&mut out);
        }
        put(&mut out, 2, self.toe.words());
        verdicts(&mut out, &self.verdicts);
        not_judged(&mut out, &self.not_judged);
        let judged = self.verdicts.iter().map(|v| &v.judged);
        let all = judged.chain(self.heels.iter().flat_map(|h| &h.evidence).map(|e| &e.judged));
        let doubts = all.fold(Doubts::default(), |all, j| all.union(j.estimate.doubts));
        for doubt in doubts.iter() {
            put(&mut out, 2, &format!("Doubtful ({}): {}.", doubt.name().replace('_', " "), doubt.meaning()));
        }
        out
    }
}

impl PairReview {
    /// What is said of the pair.
    pub fn text(&self) -> String {
        let what = format!("{} minus {}", foot_words(self.feet[0]), foot_words(self.feet[1]));
        let mut out = String::new();
        put(&mut out, 0, &heading(&self.animal, &what, self.stage, self.day.as_deref()));
        verdicts(&mut out, &self.verdicts);
        out
    }
}

impl TrimCheck {
    fn put(&self, out: &mut String) {
        let what = heading(&self.animal, foot_words(self.foot), None, None);
        let unseen = if self.check.holds {
            format!(" A change of less than {:.0}° would not have shown.", self.check.change.expanded().ceil())
        } else {
            String::new()
        };
        put(
            out,
            2,
            &format!(
                "{what}: toe minus heel angle changed by {}; that much or more by chance: {}. {}{}",
                value(&self.check.change, "deg"),
                percent(self.check.probability),
                self.check.words(),
                unseen
            ),
        );
    }
}

impl HeelReview {
    fn put(&self, out: &mut String) {
        let side = match self.side {
            Some(Side::Medial) => "Medial heel",
            Some(Side::Lateral) => "Lateral heel",
            None => "Heel",
        };
        let holds =
            self.probability_at_least.map_or(String::new(), |p| format!(" (holds with at least {})", percent(p)));
        put(out, 2, &format!("{side}: {}{holds}", self.conclusion.words()));
        if self.is_doubted() {
            put(out, 4, "DOUBTFUL, not to be relied on as it stands: a value that this rests on is doubtful.");
        }
        for question in Question::ALL {
            let answer = match self.answer(question) {
                Answer::Yes => "yes",
                Answer::No => "no",
                Answer::Open => "not resolved",
                Answer::Contradicting => "the evidence contradicts itself",
                Answer::Missing => "nothing to tell it by",
            };
            put(out, 4, &format!("{} {}", question.words(), sentence(answer)));
            for e in self.evidence.iter().filter(|e| e.rule.question == question) {
                e.put(out);
            }
            for m in self.missing.iter().filter(|m| m.rule.question == question) {
                put(out, 6, &format!("not there: {} ({})", name(&m.rule.measurement), m.why));
            }
        }
        if let Some(run) = &self.run_of_spare_horn
            && self.answer(Question::SpareHorn) == Answer::Yes
        {
            let text = "Brought to the hard sole plane, its bearing point would lie farther back by";
            put(out, 4, &format!("{text} {}.", value(run, "mm")));
        }
    }
}

impl Evidence {
    fn put(&self, out: &mut String) {
        let r = &self.rule;
        let points = match self.answer {
            Answer::Yes => "yes",
            Answer::No => "no",
            _ => "leaves it open",
        };
        put(
            out,
            6,
            &format!(
                "{}: {}, yes if {} (probability {}): {points}. Limit: {}",
                name(&r.measurement),
                value(&self.judged.estimate, &r.unit),
                limit(r.yes_when, r.limit, &r.unit),
                percent(self.probability_yes()),
                r.source
            ),
        );
        doubts(out, 6, &self.judged.estimate);
    }
}

fn verdicts(out: &mut String, all: &[Verdict]) {
    let noted = |v: &&Verdict| v.judged.noted;
    let open = |v: &&Verdict| v.judged.stands == Stands::NotResolved;
    let rest = |v: &&Verdict| !v.judged.noted && v.judged.stands != Stands::NotResolved;
    section(out, "Worth a note", all.iter().filter(noted), true);
    section(out, "Not resolved", all.iter().filter(open), false);
    section(out, "Nothing to note", all.iter().filter(rest), false);
}

fn section<'a>(out: &mut String, title: &str, verdicts: impl Iterator<Item = &'a Verdict>, whole: bool) {
    let mut verdicts = verdicts.peekable();
    if verdicts.peek().is_none() {
        return;
    }
    put(out, 2, title);
    for v in verdicts {
        let r = &v.rule;
        let stands = v.judged.stands.name().replace('_', " ");
        let size = if r.size { "its size " } else { "" };
        put(
            out,
            4,
            &format!(
                "{}: {}, {stands} (note if {size}{}; probability {})",
                name(&r.measurement),
                value(&v.judged.estimate, &r.unit),
                limit(r.when, r.limit, &r.unit),
                percent(v.judged.probability_noted(r.when)),
            ),
        );
        doubts(out, 6, &v.judged.estimate);
        if whole {
            put(out, 6, &sentence(&r.says));
        }
        put(out, 6, &format!("limit: {}", r.source));
        for other in r.disagree.iter().filter(|_| whole) {
            put(out, 6, &format!("otherwise: {other}"));
        }
    }
}

fn not_judged(out: &mut String, all: &[NotJudged]) {
    if all.is_empty() {
        return;
    }
    put(out, 2, "Not judged");
    let mut said: Vec<String> = Vec::new();
    for n in all {
        let text = format!("{} ({})", name(&n.rule.measurement), n.why);
        if !said.contains(&text) {
            put(out, 4, &text);
            said.push(text);
        }
    }
}
