//! The rules that values are held against: one data file, which the user may copy and change.

use crate::Result;
use crate::measure::{self, Measurement};
use crate::review::quantities;
use crate::sidecar::strict::{self, Misfit};
use serde::{Deserialize, Serialize};

/// The mark of a rule that nobody published.
pub const NO_SOURCE: &str = "common practice, no source";

/// The rules that come with the library.
const OWN: &str = include_str!("rules.json");

/// On which side of its limit a value is noted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum When {
    /// From the limit upwards.
    #[serde(rename = ">=")]
    AtLeast,
    /// Above the limit.
    #[serde(rename = ">")]
    MoreThan,
    /// From the limit downwards.
    #[serde(rename = "<=")]
    AtMost,
    /// Below the limit.
    #[serde(rename = "<")]
    LessThan,
}

impl When {
    /// Whether the upper side is noted.
    pub const fn is_above(self) -> bool {
        matches!(self, Self::AtLeast | Self::MoreThan)
    }

    /// Whether a value without uncertainty is noted.
    pub fn holds(self, value: f64, limit: f64) -> bool {
        match self {
            Self::AtLeast => value >= limit,
            Self::MoreThan => value > limit,
            Self::AtMost => value <= limit,
            Self::LessThan => value < limit,
        }
    }

    /// The sign as people print it.
    pub const fn sign(self) -> &'static str {
        match self {
            Self::AtLeast => "≥",
            Self::MoreThan => ">",
            Self::AtMost => "≤",
            Self::LessThan => "<",
        }
    }
}

/// What a rule looks at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Of {
    /// The value of one foot.
    #[default]
    Foot,
    /// The left foot's value minus the right one's.
    LeftMinusRight,
}

/// One rule: a limit, and on which side of it a value is worth a note. Never a verdict on the animal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Rule {
    /// Its key in results.
    #[cfg_attr(feature = "schema", schemars(regex(pattern = "^[a-z0-9_]+$")))]
    pub id: String,
    /// Whether it is used.
    pub on: bool,
    /// The measurement's id.
    pub measurement: String,
    /// What is looked at: one foot's value, or the difference of a pair.
    #[serde(default)]
    pub of: Of,
    /// Whether the value's size is judged, whichever its sign.
    #[serde(default)]
    pub size: bool,
    /// On which side of the limit a value is noted.
    pub when: When,
    /// The limit, in `unit`.
    pub limit: f64,
    /// The measurement's unit: mm, deg, mm2 or 1.
    pub unit: String,
    /// What a noted value means, in plain words.
    #[cfg_attr(feature = "schema", schemars(regex(pattern = r"\S")))]
    pub says: String,
    /// Where the limit comes from, or "common practice, no source".
    #[cfg_attr(feature = "schema", schemars(regex(pattern = r"\S")))]
    pub source: String,
    /// Who says otherwise.
    #[serde(default)]
    pub disagree: Vec<String>,
}

/// A question about the heels that evidence answers with yes or no.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Question {
    /// Does heel horn stand beyond the hard sole plane?
    SpareHorn,
    /// Has the heel run forward: tubules lower than at the toe, bearing point ahead of where it belongs?
    RunForward,
    /// Is the heel low: the coronary band at the heel near the ground?
    Low,
}

impl Question {
    /// All, in the order they are asked.
    pub const ALL: [Self; 3] = [Self::SpareHorn, Self::RunForward, Self::Low];

    /// The name in files.
    pub const fn name(self) -> &'static str {
        match self {
            Self::SpareHorn => "spare_horn",
            Self::RunForward => "run_forward",
            Self::Low => "low",
        }
    }

    /// The question in plain words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::SpareHorn => "Does heel horn stand beyond the hard sole plane?",
            Self::RunForward => "Has the heel run forward?",
            Self::Low => "Is the heel low?",
        }
    }
}

/// What evidence on the other side of its limit says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Otherwise {
    /// It answers the question with no.
    No,
    /// It says nothing.
    Nothing,
}

/// One piece of evidence on the heels: which measurement, past which limit, answers which question with yes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct EvidenceRule {
    /// Its key in results.
    #[cfg_attr(feature = "schema", schemars(regex(pattern = "^[a-z0-9_]+$")))]
    pub id: String,
    /// Whether it is used.
    pub on: bool,
    /// The question it answers.
    pub question: Question,
    /// The measurement's id.
    pub measurement: String,
    /// On which side of the limit it answers yes.
    pub yes_when: When,
    /// The limit, in `unit`.
    pub limit: f64,
    /// The measurement's unit.
    pub unit: String,
    /// What it says on the other side.
    pub otherwise: Otherwise,
    /// Where the limit comes from, or "common practice, no source".
    #[cfg_attr(feature = "schema", schemars(regex(pattern = r"\S")))]
    pub source: String,
    /// Who says otherwise.
    #[serde(default)]
    pub disagree: Vec<String>,
}

/// A set of rules.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Rules {
    /// The format's name and version, `hoofgeo-rules/1`.
    #[cfg_attr(feature = "schema", schemars(extend("const" = Rules::FORMAT)))]
    format: String,
    /// Probability that a verdict other than "not resolved" needs.
    #[cfg_attr(feature = "schema", schemars(range(min = 0.5, max = 0.999_999)))]
    pub confidence: f64,
    /// The evidence that tells heels that have run under from heels that are low.
    pub heel: Vec<EvidenceRule>,
    /// The rules.
    pub rules: Vec<Rule>,
}

impl Default for Rules {
    /// The rules that come with the library.
    fn default() -> Self {
        // A test reads them; they are part of the program.
        Self::parse(OWN.as_bytes()).unwrap_or(Self {
            format: Self::FORMAT.to_owned(),
            confidence: 0.95,
            heel: Vec::new(),
            rules: Vec::new(),
        })
    }
}

impl Rules {
    /// The name and version that a rules file's `format` must give.
    pub const FORMAT: &str = "hoofgeo-rules/1";

    /// The rules that come with the library as the text of a file, to be copied and changed.
    pub const fn own_text() -> &'static str {
        OWN
    }

    /// Reads a rules file as strictly as a sidecar.
    ///
    /// # Errors
    /// [`crate::ErrorKind::Format`], with line, column and JSON path, for everything that does not follow the format: unknown and
    /// repeated keys, measurements that do not exist, units that are not theirs, limits that are no numbers.
    pub fn parse(bytes: &[u8]) -> Result<Self> {
        strict::read(bytes, Self::FORMAT, Self::check)
    }

    fn check(&self) -> Result<(), Misfit> {
        if !(0.5..1.0).contains(&self.confidence) {
            let what = format!("must be from 0.5 to below 1, not {}", self.confidence);
            return Err(Misfit::new(what).within("confidence"));
        }
        let mut known: Vec<&str> = Vec::new();
        let heel = self.heel.iter().map(|r| ("heel", &r.id, &r.measurement, &r.unit, &r.source, false));
        let rules =
            self.rules.iter().map(|r| ("rules", &r.id, &r.measurement, &r.unit, &r.source, r.says.trim().is_empty()));
        let mut places = [0, 0];
        for (list, id, measurement, unit, source, mute) in heel.chain(rules) {
            let slot = usize::from(list == "rules");
            let at = |m: Misfit, key: &str| m.within(key).within(places[slot]).within(list);
            if id.is_empty() || !id.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'_') {
                let what = format!("`{id}` is no id: use small letters, digits and _");
                return Err(at(Misfit::new(what), "id"));
            }
            if known.contains(&id.as_str()) {
                return Err(at(Misfit::new(format!("the id `{id}` is given twice")), "id"));
            }
            known.push(id);
            let Some(m) = find(measurement) else {
                let ids = measure::ALL.iter().chain(quantities::ALL).map(|m| m.id);
                return Err(at(Misfit::unknown("measurement", measurement, ids), "measurement"));
            };
            if m.quantity.unit() != unit {
                let what = format!("{} is measured in {}, not in \"{unit}\"", m.id, m.quantity.unit());
                return Err(at(Misfit::new(what), "unit"));
            }
            if source.trim().is_empty() {
                let misfit =
                    Misfit::new("the source is empty").help(format!("write \"{NO_SOURCE}\" where there is none"));
                return Err(at(misfit, "source"));
            }
            if mute {
                return Err(at(Misfit::new("says nothing: write in plain words what a noted value means"), "says"));
            }
            places[slot] += 1;
        }
        Ok(())
    }
}

impl Rule {
    /// Whether nobody published it.
    pub fn is_unsourced(&self) -> bool {
        self.source == NO_SOURCE
    }
}

impl EvidenceRule {
    /// Whether nobody published it.
    pub fn is_unsourced(&self) -> bool {
        self.source == NO_SOURCE
    }
}

/// A measurement that a rule may name: one of [`measure::ALL`] or of the review's own [`quantities::ALL`](super::quantities::ALL).
pub fn find(id: &str) -> Option<&'static Measurement> {
    measure::find(id).or_else(|| quantities::ALL.iter().copied().find(|m| m.id == id))
}
