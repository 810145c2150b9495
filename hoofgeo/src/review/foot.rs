//! One foot at one stage of a visit, over all its photos; and pairs of feet.

use super::heel::HeelReview;
use super::quantities;
use super::rules::{Of, Rule, Rules, find};
use super::verdict::{Estimate, Judged, judge};
use crate::evaluate::{Value, evaluate};
use crate::measured::{Measured, possible};
use crate::plausibility::Doubts;
use crate::sidecar::Sidecar;
use crate::{Foot, Side, Stage, View};

/// What a review needs of one measured photo.
#[derive(Debug, Clone)]
pub struct PhotoValues {
    /// The photo's name.
    pub photo: String,
    /// Whose foot.
    pub animal: String,
    /// Which foot.
    pub foot: Foot,
    /// From where.
    pub view: View,
    /// Which side of it, on lateral photos.
    pub side: Option<Side>,
    /// Before or after trimming.
    pub stage: Option<Stage>,
    /// The day it was taken, `2026-05-04`.
    pub day: Option<String>,
    /// The measurements and the review's own quantities.
    pub values: Vec<Value>,
    /// What could not be measured, by id, and why.
    pub missing: Vec<(&'static str, String)>,
    /// Why values are not to be trusted as they stand, by id.
    pub doubts: Vec<(&'static str, Doubts)>,
}

impl PhotoValues {
    /// Of a measured photo; `taken` is when it was taken, where its sidecar does not say.
    pub fn new(photo: &str, sidecar: &Sidecar, measured: &Measured, taken: Option<&str>) -> Self {
        let mut values = measured.values.clone();
        let mut missing: Vec<_> = measured.missing.iter().map(|(m, why)| (m.id, why.to_string())).collect();
        for own in quantities::ALL.iter().filter(|m| m.view == sidecar.view) {
            match evaluate(own, &measured.located, &measured.scene).and_then(|v| possible(v, measured.kind)) {
                Ok(value) => values.push(value),
                Err(why) => missing.push((own.id, why.to_string())),
            }
        }
        let doubts =
            values.iter().map(|v| (v.measurement.id, measured.doubts(v))).filter(|d| !d.1.is_empty()).collect();
        let day = sidecar.taken.as_deref().or(taken).map(|t| t.chars().take(10).collect());
        Self {
            photo: photo.to_owned(),
            animal: sidecar.subject.animal.clone(),
            foot: sidecar.subject.foot,
            view: sidecar.view,
            side: sidecar.side,
            stage: sidecar.stage,
            day,
            values,
            missing,
            doubts,
        }
    }

    /// A value by its id, or why there is none.
    ///
    /// # Errors
    /// The reason, in words.
    pub fn value(&self, id: &str) -> Result<Estimate, String> {
        if let Some(v) = self.values.iter().find(|v| v.measurement.id == id) {
            let doubts = self.doubts.iter().find(|(m, _)| *m == id).map_or_else(Doubts::default, |d| d.1);
            return Ok(Estimate { doubts, ..v.into() });
        }
        let reason = self.missing.iter().find(|(m, _)| *m == id).map(|(_, why)| why.clone());
        Err(reason.unwrap_or_else(|| "not measured on this photo".to_owned()))
    }

    fn same_foot(&self, other: &Self) -> bool {
        self.foot == other.foot && self.same_visit(other)
    }

    fn same_visit(&self, other: &Self) -> bool {
        self.animal == other.animal && self.stage == other.stage && self.day == other.day
    }
}

/// A value held against a rule.
#[derive(Debug, Clone, PartialEq)]
pub struct Verdict {
    /// The rule with its limit and source.
    pub rule: Rule,
    /// The photo, or the two photos, that the value comes from.
    pub photos: Vec<String>,
    /// Value, side of the limit, probability.
    pub judged: Judged,
}

/// A rule that could not be applied.
#[derive(Debug, Clone, PartialEq)]
pub struct NotJudged {
    /// The rule.
    pub rule: Rule,
    /// The photo, where one was there.
    pub photo: Option<String>,
    /// Why not.
    pub why: String,
}

/// How the toe's length could be judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ToeSeen {
    /// From the sole, by frog apex, white line and wall.
    FromTheSole,
    /// There is a photo of the sole, but without frog apex, white line or wall.
    SoleIncomplete,
    /// From the side only: its length cannot be judged.
    FromTheSideOnly,
}

impl ToeSeen {
    /// The name in files.
    pub const fn name(self) -> &'static str {
        match self {
            Self::FromTheSole => "from_the_sole",
            Self::SoleIncomplete => "sole_incomplete",
            Self::FromTheSideOnly => "from_the_side_only",
        }
    }

    /// In plain words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::FromTheSole => "The toe was judged from the sole: frog apex, white line, wall.",
            Self::SoleIncomplete => {
                "The toe's length was not judged: the photo of the sole lacks the frog's apex, the white line or the outer wall at \
                 the toe."
            }
            Self::FromTheSideOnly => {
                "The toe's length cannot be judged from the side alone: what decides is underneath, from the frog's apex over the \
                 white line to the wall. Add a photo of the sole."
            }
        }
    }
}

/// Everything said of one foot at one stage.
#[derive(Debug, Clone)]
pub struct FootReview {
    /// Whose foot.
    pub animal: String,
    /// Which foot.
    pub foot: Foot,
    /// Before or after trimming.
    pub stage: Option<Stage>,
    /// The day of its photos.
    pub day: Option<String>,
    /// Its photos.
    pub photos: Vec<String>,
    /// Each heel seen from the side.
    pub heels: Vec<HeelReview>,
    /// How the toe was seen.
    pub toe: ToeSeen,
    /// The rules that could be applied.
    pub verdicts: Vec<Verdict>,
    /// Those that could not.
    pub not_judged: Vec<NotJudged>,
}

/// The left and the right foot of a pair at one stage.
#[derive(Debug, Clone)]
pub struct PairReview {
    /// Whose feet.
    pub animal: String,
    /// Left and right.
    pub feet: [Foot; 2],
    /// Before or after trimming.
    pub stage: Option<Stage>,
    /// The day of the photos.
    pub day: Option<String>,
    /// The rules that could be applied.
    pub verdicts: Vec<Verdict>,
}

/// What the toe is judged by on the sole.
const TOE: [&str; 3] = ["sole_toe_length", "white_line_width", "wall_thickness_toe"];

impl FootReview {
    /// Of all photos of one foot at one stage.
    fn new(photos: &[&PhotoValues], rules: &Rules) -> Self {
        let first = photos[0];
        let of = |view| photos.iter().copied().filter(move |p| p.view == view);
        let solar: Vec<_> = of(View::Solar).collect();
        let toe = if solar.iter().any(|p| TOE.iter().all(|id| p.value(id).is_ok())) {
            ToeSeen::FromTheSole
        } else if solar.is_empty() {
            ToeSeen::FromTheSideOnly
        } else {
            ToeSeen::SoleIncomplete
        };
        let (mut verdicts, mut not_judged) = (Vec::new(), Vec::new());
        for rule in rules.rules.iter().filter(|r| r.on && r.of == Of::Foot) {
            let Some(measurement) = find(&rule.measurement) else { continue };
            let mut seen = false;
            for photo in of(measurement.view) {
                seen = true;
                match photo.value(measurement.id) {
                    Ok(estimate) => verdicts.push(Verdict {
                        rule: rule.clone(),
                        photos: vec![photo.photo.clone()],
                        judged: judge(estimate, rule.when, rule.limit, rule.size, rules.confidence),
                    }),
                    Err(why) => {
                        not_judged.push(NotJudged { rule: rule.clone(), photo: Some(photo.photo.clone()), why });
                    }
                }
            }
            if !seen {
                let why = format!("no {} photo", measurement.view);
                not_judged.push(NotJudged { rule: rule.clone(), photo: None, why });
            }
        }
        Self {
            animal: first.animal.clone(),
            foot: first.foot,
            stage: first.stage,
            day: first.day.clone(),
            photos: photos.iter().map(|p| p.photo.clone()).collect(),
            heels: of(View::Lateral).map(|p| HeelReview::new(p, &solar, rules)).collect(),
            toe,
            verdicts,
            not_judged,
        }
    }
}

/// Reviews photos of any feet: those of one foot, stage and day together. Animals stand in the order they come in, each by day and
/// foot, before a trim ahead of after it.
pub fn review_feet(photos: &[PhotoValues], rules: &Rules) -> Vec<FootReview> {
    let mut groups = grouped(photos, PhotoValues::same_foot);
    let animal = |p: &PhotoValues| photos.iter().position(|q| q.animal == p.animal);
    groups.sort_by_cached_key(|g| (animal(g[0]), g[0].day.clone(), g[0].foot, g[0].stage));
    groups.iter().map(|group| FootReview::new(group, rules)).collect()
}

fn grouped(photos: &[PhotoValues], same: impl Fn(&PhotoValues, &PhotoValues) -> bool) -> Vec<Vec<&PhotoValues>> {
    let mut groups: Vec<Vec<&PhotoValues>> = Vec::new();
    for photo in photos {
        match groups.iter_mut().find(|g| same(g[0], photo)) {
            Some(group) => group.push(photo),
            None => groups.push(vec![photo]),
        }
    }
    groups
}

/// Compares left with right feet of one animal, stage and day. Of several photos the one with the smallest uncertainty counts;
/// the two sides' uncertainties are combined as independent, which is on the safe side for what they share.
pub fn review_pairs(photos: &[PhotoValues], rules: &Rules) -> Vec<PairReview> {
    let mut pairs = Vec::new();
    let mut visits = grouped(photos, PhotoValues::same_visit);
    let animal = |p: &PhotoValues| photos.iter().position(|q| q.animal == p.animal);
    visits.sort_by_cached_key(|g| (animal(g[0]), g[0].day.clone(), g[0].stage));
    for visit in visits {
        for feet in [[Foot::LeftFore, Foot::RightFore], [Foot::LeftHind, Foot::RightHind]] {
            let mut verdicts = Vec::new();
            for rule in rules.rules.iter().filter(|r| r.on && r.of == Of::LeftMinusRight) {
                let best = |foot: Foot| {
                    visit
                        .iter()
                        .filter(|p| p.foot == foot)
                        .filter_map(|p| Some((p.photo.clone(), p.value(&rule.measurement).ok()?)))
                        .min_by(|a, b| a.1.u.total_cmp(&b.1.u))
                };
                let (Some((left_photo, left)), Some((right_photo, right))) = (best(feet[0]), best(feet[1])) else {
                    continue;
                };
                verdicts.push(Verdict {
                    rule: rule.clone(),
                    photos: vec![left_photo, right_photo],
                    judged: judge(left.minus(&right), rule.when, rule.limit, rule.size, rules.confidence),
                });
            }
            if !verdicts.is_empty() {
                let first = visit[0];
                pairs.push(PairReview {
                    animal: first.animal.clone(),
                    feet,
                    stage: first.stage,
                    day: first.day.clone(),
                    verdicts,
                });
            }
        }
    }
    pairs
}
