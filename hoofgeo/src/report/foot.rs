//! The section of one foot.

use super::chart::{Chart, Dot, Row};
use super::model::{ChangeText, CrossingText, FootSection, Headline, HeelText, ValueRow, ValueTable, VerdictText};
use super::{Photo, photos, words};
use crate::follow::{Case, Change, Crossing, Key, Series, Verdict, VisitValue};
use crate::measure::{self, Measurement};
use crate::plausibility::against_earlier;
use crate::review::{Answer, FootReview, Judged, Stands, ToeSeen, When};
use crate::{Foot, Side, Stage, View};
use jiff::civil::Date;

/// What all sections of a page share.
pub(super) struct Context<'a> {
    pub(super) case: &'a Case,
    pub(super) day: Date,
    /// The visit before.
    pub(super) last: Option<Date>,
    /// Letters of the visits with notes.
    pub(super) notes: Vec<(Date, String)>,
    /// The animal's photos up to this visit.
    pub(super) known: &'a [&'a Photo],
    /// Values of this visit's photos that are not to be trusted as they stand.
    pub(super) doubts: Vec<(Key, &'static str)>,
    /// Judgement of this visit.
    pub(super) reviews: Vec<FootReview>,
    /// Width of a picture.
    pub(super) width: u32,
    pub(super) pictures: bool,
}

/// What the first words of a report and its charts look at.
const TELLING: [&Measurement; 11] = [
    &measure::HEEL_ANGLE,
    &measure::DORSAL_WALL_ANGLE,
    &measure::HEEL_TOE_ANGLE_DIFFERENCE,
    &measure::SUPPORT_LENGTH,
    &measure::DORSAL_WALL_LENGTH,
    &measure::HEEL_LENGTH,
    &measure::HEEL_ABOVE_SOLE_PLANE,
    &measure::TOE_FLARE,
    &measure::SOLE_TOE_LENGTH,
    &measure::WHITE_LINE_WIDTH,
    &measure::FROG_WIDTH,
];

impl Context<'_> {
    /// The rows of a foot that reach this visit. Of several ways of measuring one thing the one with most values counts.
    fn rows(&self, foot: Foot) -> Vec<&Series> {
        let mut rows: Vec<&Series> = Vec::new();
        for s in self.case.series.iter().filter(|s| s.key.foot == foot && self.value(s).is_some()) {
            match rows.iter_mut().find(|r| r.key == s.key && r.measurement.id == s.measurement.id) {
                Some(row) if row.values.len() < s.values.len() => *row = s,
                Some(_) => {}
                None => rows.push(s),
            }
        }
        rows
    }

    /// A value of this visit in words, with what is doubted of it.
    pub(super) fn value_text(&self, m: &Measurement, key: Key, v: &VisitValue) -> String {
        let doubtful = v.day == self.day && self.doubts.contains(&(key, m.id));
        format!("{}{}", words::value(m, v), if doubtful { DOUBTFUL } else { "" })
    }

    pub(super) fn value<'s>(&self, s: &'s Series) -> Option<&'s VisitValue> {
        s.values.iter().find(|v| v.day == self.day)
    }

    /// The row that tells best how a measurement of a foot has gone: before the trim, else without a stage, else after it.
    pub(super) fn telling(&self, foot: Foot, m: &Measurement) -> Option<&Series> {
        let order = |s: &Series| match s.key.stage {
            Some(Stage::BeforeTrim) => 0,
            None => 1,
            Some(Stage::AfterTrim) => 2,
        };
        self.rows(foot)
            .into_iter()
            .filter(|s| s.measurement.id == m.id)
            .min_by_key(|s| (s.key.side == Some(Side::Medial), order(s)))
    }

    fn change_since<'s>(&self, s: &'s Series) -> Option<&'s Change> {
        s.changes.iter().find(|c| c.to == self.day)
    }

    fn reviews_of(&self, foot: Foot) -> impl Iterator<Item = &FootReview> {
        self.reviews.iter().filter(move |r| r.foot == foot)
    }

    /// What the evidence says of a foot's heels as it came, else as it was left.
    pub(super) fn heel_words(&self, foot: Foot) -> Option<&'static str> {
        let mut reviews: Vec<_> = self.reviews_of(foot).filter(|r| !r.heels.is_empty()).collect();
        reviews.sort_by_key(|r| r.stage == Some(Stage::AfterTrim));
        let heel = reviews.first()?.heels.first()?;
        Some(if heel.is_doubted() { HEEL_DOUBTED } else { heel.conclusion.words() })
    }
}

pub(super) fn headline(c: &Context<'_>, foot: Foot) -> Headline {
    let (mut changes, mut unresolved) = (Vec::new(), Vec::new());
    for m in TELLING {
        let Some(s) = c.telling(foot, m) else { continue };
        match c.change_since(s) {
            Some(change) if change.verdict != Verdict::NotResolved => changes.push(words::change(m, change)),
            Some(_) => unresolved.push(m.name),
            None => {}
        }
        // What many visits show together, no two of them need to.
        if let Some(t) = s.trend.as_ref().filter(|t| t.visits > 2 && t.to == c.day && t.is_resolved()) {
            changes.push(words::trend(m, t));
        }
    }
    Headline { foot: words::foot(foot), heel: c.heel_words(foot).map(str::to_owned), changes, unresolved }
}

pub(super) fn section(c: &Context<'_>, foot: Foot, visit: &[&Photo], drawn: &mut usize) -> FootSection {
    let mut own: Vec<&&Photo> = visit.iter().filter(|p| p.shot.foot == foot).collect();
    own.sort_by_key(|p| (p.shot.view, p.shot.side, p.shot.stage));
    let figures = own
        .into_iter()
        .map(|p| {
            *drawn += 1;
            photos::figure(p, c.width, c.pictures && *drawn <= photos::MOST)
        })
        .collect();
    let rows = c.rows(foot);
    let mut section = FootSection {
        id: foot.name(),
        name: words::foot(foot),
        photos: figures,
        doubts: doubts(c, foot, visit),
        heels: Vec::new(),
        toe: None,
        noted: Vec::new(),
        not_resolved: Vec::new(),
        not_noted: Vec::new(),
        not_judged: Vec::new(),
        comparable: comparable(c, foot),
        tables: tables(c, &rows),
        charts: charts(c, foot, &rows),
        crossings: rows.iter().flat_map(|s| crossings(c, s)).collect(),
    };
    judgement(c, foot, &mut section);
    section
}

/// In the place of a conclusion that rests on a doubtful value.
const HEEL_DOUBTED: &str = "What the photos say of its heels is doubtful: they are to be looked at again first.";

/// What stands behind a value that is not to be trusted as it stands.
pub(super) const DOUBTFUL: &str = " (doubtful)";

/// What is doubted of a foot's photos.
fn doubts(c: &Context<'_>, foot: Foot, visit: &[&Photo]) -> Vec<String> {
    let mut all = Vec::new();
    for p in visit.iter().filter(|p| p.shot.foot == foot) {
        let mut of = p.report.measured.doubts_in_words();
        let same = |o: &&&Photo| {
            (o.shot.foot, o.shot.view, o.shot.side) == (foot, p.shot.view, p.shot.side) && o.shot.day < c.day
        };
        let earlier: Vec<_> =
            c.known.iter().filter(same).map(|o| (&o.report.sidecar, &o.report.measured.located)).collect();
        of.extend(against_earlier(&p.report.sidecar, &p.report.measured.located, &earlier).map(|f| f.text()));
        all.extend(of.into_iter().map(|d| format!("{}: {d}", p.shot.photo)));
    }
    all
}

fn judgement(c: &Context<'_>, foot: Foot, section: &mut FootSection) {
    let seen_from_sole = c.reviews_of(foot).any(|r| r.toe == ToeSeen::FromTheSole);
    let mut reviews: Vec<&FootReview> = c.reviews_of(foot).collect();
    reviews.sort_by_key(|r| r.stage);
    for (n, r) in reviews.into_iter().enumerate() {
        let stage = words::stage(r.stage);
        for heel in &r.heels {
            section.heels.push(HeelText {
                seen: format!("{}, {stage}", words::seen(View::Lateral, heel.side)),
                words: heel.conclusion.words(),
                probability: heel.probability_at_least.map(words::percent),
                doubted: heel.is_doubted(),
                // Piece by piece for the foot as it came.
                evidence: heel
                    .evidence
                    .iter()
                    .filter(|_| n == 0)
                    .map(|e| VerdictText {
                        says: e.rule.question.words().to_owned(),
                        source: e.rule.source.clone(),
                        disagree: e.rule.disagree.clone(),
                        answer: Some(answer(e.answer)),
                        ..against(&e.rule.measurement, &e.judged, e.rule.yes_when, e.rule.limit, &e.rule.unit, stage)
                    })
                    .collect(),
                missing: heel
                    .missing
                    .iter()
                    .filter(|_| n == 0)
                    .map(|m| format!("{}: {}", name(&m.rule.measurement), m.why))
                    .collect(),
            });
        }
        if section.toe.is_none() && (r.toe == ToeSeen::FromTheSole || !seen_from_sole) {
            section.toe = Some(r.toe.words().to_owned());
        }
        for v in &r.verdicts {
            let text = VerdictText {
                says: v.rule.says.clone(),
                source: v.rule.source.clone(),
                disagree: v.rule.disagree.clone(),
                ..against(&v.rule.measurement, &v.judged, v.rule.when, v.rule.limit, &v.rule.unit, stage)
            };
            match (v.judged.noted, v.judged.stands) {
                (true, _) => section.noted.push(VerdictText { says: words::sentence(&text.says), ..text }),
                (false, Stands::NotResolved) => {
                    let says = format!("Whether {}", text.says);
                    section.not_resolved.push(VerdictText { says, ..text });
                }
                (false, _) => section.not_noted.push(text),
            }
        }
        for n in &r.not_judged {
            let text = format!("{}: {}", name(&n.rule.measurement), n.why);
            if !section.not_judged.contains(&text) {
                section.not_judged.push(text);
            }
        }
    }
    // What could be judged at one stage is not missing at the other.
    let judged: Vec<String> = [&section.noted, &section.not_resolved, &section.not_noted]
        .into_iter()
        .flatten()
        .map(|v| format!("{}: ", v.name))
        .collect();
    section.not_judged.retain(|n| !judged.iter().any(|j| n.starts_with(j.as_str())));
}

const fn answer(a: Answer) -> &'static str {
    match a {
        Answer::Yes => "yes",
        Answer::No => "no",
        Answer::Open => "open",
        Answer::Contradicting => "contradicting",
        Answer::Missing => "missing",
    }
}

fn name(id: &str) -> String {
    crate::review::find(id).map_or_else(|| id.to_owned(), |m| m.name.to_owned())
}

fn against(id: &str, judged: &Judged, when: When, limit: f64, unit: &str, stage: &'static str) -> VerdictText {
    let e = &judged.estimate;
    VerdictText {
        says: String::new(),
        name: name(id),
        value: format!(
            "{}{}",
            crate::uncertainty::print(e.value, e.expanded(), unit),
            if e.doubts.is_empty() { "" } else { DOUBTFUL }
        ),
        limit: format!("{} {}", when.sign(), words::limit(limit, unit)),
        stands: match judged.stands {
            Stands::Below => "below",
            Stands::Above => "above",
            Stands::NotResolved => "not resolved",
        },
        probability: words::percent(judged.probability_noted(when)),
        source: String::new(),
        disagree: Vec::new(),
        stage,
        answer: None,
    }
}

/// A flat trim turns both walls alike: where their difference changed all the same, either the walls were dressed or the photos do
/// not agree.
fn comparable(c: &Context<'_>, foot: Foot) -> Option<String> {
    let m = &measure::HEEL_TOE_ANGLE_DIFFERENCE;
    let trims = c.case.trims.iter().filter(|t| t.key.foot == foot && t.change.to == c.day && t.measurement.id == m.id);
    let t = trims.min_by(|a, b| a.change.u.total_cmp(&b.change.u))?;
    Some(if t.change.verdict == Verdict::NotResolved {
        format!(
            "Photos before and after the trim agree: toe angle minus heel angle, which a flat trim leaves as it is, changed by {}.",
            words::signed(m, t.change.difference, t.change.expanded())
        )
    } else {
        format!(
            "Toe angle minus heel angle changed by {}. A flat trim cannot change it: either toe or heel wall was dressed, or the photos \
             before and after the trim are not comparable. Read what the trim changed with care.",
            words::signed(m, t.change.difference, t.change.expanded())
        )
    })
}

fn tables(c: &Context<'_>, rows: &[&Series]) -> Vec<ValueTable> {
    let mut seen: Vec<(View, Option<Side>)> = rows.iter().map(|s| (s.key.view, s.key.side)).collect();
    seen.sort_unstable();
    seen.dedup();
    seen.into_iter().map(|of| table(c, of, rows)).collect()
}

fn table(c: &Context<'_>, (view, side): (View, Option<Side>), rows: &[&Series]) -> ValueTable {
    let rows: Vec<&Series> = rows.iter().copied().filter(|s| (s.key.view, s.key.side) == (view, side)).collect();
    let mut stages: Vec<Option<Stage>> = rows.iter().map(|s| s.key.stage).collect();
    stages.sort_unstable();
    stages.dedup();
    let mut shown: Vec<ValueRow> = Vec::new();
    for m in measure::of(view) {
        let of = |stage: Option<Stage>| rows.iter().copied().find(|s| s.measurement.id == m.id && s.key.stage == stage);
        let found: Vec<Option<&Series>> = stages.iter().map(|s| of(*s)).collect();
        if found.iter().all(Option::is_none) {
            continue;
        }
        // Before the trim where both are there: what months did, not what a rasp did.
        let since = [Some(Stage::BeforeTrim), None, Some(Stage::AfterTrim)]
            .into_iter()
            .find_map(|stage| Some((stage, c.change_since(of(stage)?)?)));
        let trim = c.case.trims.iter().find(|t| {
            let same = |k: Key| (k.foot, k.view, k.side) == (rows[0].key.foot, view, side);
            same(t.key) && t.change.to == c.day && t.measurement.id == m.id
        });
        shown.push(ValueRow {
            name: m.name,
            definition: m.definition,
            values: found
                .iter()
                .map(|s| {
                    s.and_then(|s| Some((s.key, c.value(s)?)))
                        .map_or_else(String::new, |(key, v)| c.value_text(m, key, v))
                })
                .collect(),
            trim: trim.map(|t| change_text(m, &t.change, "")),
            since: since.map(|(stage, change)| {
                let after = stage == Some(Stage::AfterTrim) && stages.len() > 1;
                change_text(m, change, if after { "after the trims" } else { "" })
            }),
        });
    }
    ValueTable {
        caption: format!("{}, {}", words::foot(rows[0].key.foot), words::seen(view, side)),
        stages: stages
            .iter()
            .map(|s| match s {
                Some(Stage::BeforeTrim) => "Before the trim",
                Some(Stage::AfterTrim) => "After the trim",
                None => "Value",
            })
            .collect(),
        since: c.last.filter(|_| shown.iter().any(|r| r.since.is_some())).map(words::day),
        trim: shown.iter().any(|r| r.trim.is_some()),
        rows: shown,
    }
}

fn change_text(m: &Measurement, c: &Change, stage: &'static str) -> ChangeText {
    ChangeText {
        text: words::signed(m, c.difference, c.expanded()),
        word: words::verdict(c.verdict),
        real: c.verdict != Verdict::NotResolved,
        stage,
    }
}

fn charts(c: &Context<'_>, foot: Foot, rows: &[&Series]) -> Vec<Chart> {
    TELLING.iter().filter_map(|m| chart(c, foot, m, rows, "r")).collect()
}

/// How one measurement of a foot has gone, before and after the trims; with a single visit there is nothing to draw.
pub(super) fn chart(c: &Context<'_>, foot: Foot, m: &Measurement, rows: &[&Series], page: &str) -> Option<Chart> {
    let side = c.telling(foot, m)?.key.side;
    let of: Vec<&Series> = rows.iter().copied().filter(|s| s.measurement.id == m.id && s.key.side == side).collect();
    if of.iter().all(|s| s.values.len() < 2) {
        return None;
    }
    let drawn: Vec<Row> = of
        .iter()
        .map(|s| Row {
            kind: match s.key.stage {
                Some(Stage::BeforeTrim) => "before",
                Some(Stage::AfterTrim) => "after",
                None => "plain",
            },
            dots: s.values.iter().map(|v| Dot { day: v.day, value: v.value, expanded: v.k * v.u }).collect(),
        })
        .collect();
    let unit = match m.quantity {
        measure::Quantity::Angle => "°",
        _ => "",
    };
    let mut description: Vec<String> = of.iter().map(|s| described(m, s)).collect();
    description.push("Error bars reach over the 95 % interval.".to_owned());
    let title = format!(
        "{}{}, {}",
        m.name,
        if m.quantity == measure::Quantity::Length { ", mm" } else { "" },
        words::foot(foot).to_lowercase()
    );
    // The owner's sheet explains neither limits nor the letters of notes.
    let is_report = page == "r";
    let limits: Vec<(f64, String)> = of[0]
        .crossings
        .iter()
        .filter(|_| is_report)
        .map(|(l, _)| (l.value, words::limit(l.value, m.quantity.unit())))
        .collect();
    let notes = if is_report { c.notes.as_slice() } else { &[] };
    let id = format!("{page}-{}-{}", foot.name(), m.id);
    Chart::new(id, title, description.join(" "), unit, &drawn, notes, &limits)
}

fn described(m: &Measurement, s: &Series) -> String {
    let values: Vec<String> =
        s.values.iter().map(|v| format!("{} on {}", words::value(m, v), words::day(v.day))).collect();
    let stage = match s.key.stage {
        Some(stage) => format!("{}: ", words::stage(Some(stage))),
        None => String::new(),
    };
    let text = format!("{stage}{}.", values.join(", "));
    text[..1].to_uppercase() + &text[1..]
}

/// Limits that lie ahead, from the values before the trims or those without a stage: a trim itself is no trend.
fn crossings(c: &Context<'_>, s: &Series) -> Vec<CrossingText> {
    // Where the rate is not resolved, neither is any date.
    let resolved = s.trend.as_ref().filter(|t| t.visits > 2 && t.to == c.day && t.is_resolved());
    let Some(trend) = resolved else { return Vec::new() };
    if s.key.stage == Some(Stage::AfterTrim) {
        return Vec::new();
    }
    s.crossings
        .iter()
        .filter(|(_, crossing)| matches!(crossing, Crossing::Between { .. } | Crossing::AlreadyPossible { .. }))
        .map(|(limit, crossing)| CrossingText {
            name: s.measurement.name,
            rate: format!("{} a month", words::signed(s.measurement, trend.per_month, trend.k * trend.u_per_month())),
            limit: words::limit(limit.value, s.measurement.quantity.unit()),
            words: crossing.words(),
            source: limit.source.clone(),
        })
        .collect()
}
