//! What is wrong with a document, and where in its tree; turned into an [`Error`] with line and column at the end.

use super::text::Document;
use crate::{Error, ErrorKind, Place};
use serde::de;
use std::fmt::{self, Display, Write as _};

/// One step of a JSON path.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Step {
    Key(String),
    Index(usize),
}

impl From<&str> for Step {
    fn from(key: &str) -> Self {
        Self::Key(key.to_owned())
    }
}

impl From<usize> for Step {
    fn from(index: usize) -> Self {
        Self::Index(index)
    }
}

/// Where the position points: to a value or to the key before it.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Target {
    Value,
    Key,
}

/// One thing wrong with a document. Boxed: results stay small where nothing is wrong.
#[derive(Debug)]
pub(super) struct Fault(Box<Inner>);

#[derive(Debug)]
struct Inner {
    what: String,
    help: Option<String>,
    /// Byte position, where the reader of the tree knew it.
    at: Option<usize>,
    /// Outermost step last: readers add theirs on the way out.
    reversed: Vec<Step>,
    target: Target,
    in_visit: bool,
}

impl Fault {
    pub(super) fn new(what: impl Into<String>) -> Self {
        Self(Box::new(Inner {
            what: what.into(),
            help: None,
            at: None,
            reversed: Vec::new(),
            target: Target::Value,
            in_visit: false,
        }))
    }

    /// Says what to do.
    pub(super) fn help(mut self, help: impl Into<String>) -> Self {
        self.0.help = Some(help.into());
        self
    }

    /// The byte position, unless a deeper one is known already.
    pub(super) fn at(mut self, position: usize) -> Self {
        self.0.at.get_or_insert(position);
        self
    }

    /// Adds the step from an outer value to where this was found.
    pub(super) fn within(mut self, step: impl Into<Step>) -> Self {
        self.0.reversed.push(step.into());
        self
    }

    /// Points to the key instead of its value.
    pub(super) fn on_key(mut self) -> Self {
        self.0.target = Target::Key;
        self
    }

    /// What is wrong, a line break, what to do: the form that passes through serde.
    pub(super) fn into_text(self) -> String {
        match self.0.help {
            Some(help) => format!("{}\n{help}", self.0.what),
            None => self.0.what,
        }
    }

    /// Whether it was found under this key of the document.
    pub(super) fn is_in(&self, key: &str) -> bool {
        matches!(self.0.reversed.last(), Some(Step::Key(k)) if k == key)
    }

    /// What it is about stands in the visit's file, not in this one.
    pub(super) fn in_visit(mut self) -> Self {
        self.0.in_visit = true;
        self
    }

    /// The error, with its place in `document` where the path leads to one.
    pub(super) fn into_error(self, document: Option<&Document<'_>>) -> Error {
        let Inner { what, help, at, mut reversed, target, in_visit } = *self.0;
        reversed.reverse();
        let mut path = path_text(&reversed);
        let document = document.filter(|_| !in_visit);
        if in_visit {
            path.insert_str(0, "what the visit shares does not fit: ");
        }
        let position = at.or_else(|| document.and_then(|d| d.locate(&reversed, target == Target::Key)));
        let mut error = match (document, position) {
            (Some(d), Some(position)) => {
                let (line, column) = d.line_column(position);
                Error::new(ErrorKind::Format, what).at(Place { line, column, path })
            }
            _ if path.is_empty() => Error::new(ErrorKind::Format, what),
            _ => Error::new(ErrorKind::Format, format!("{path}: {what}")),
        };
        if let Some(help) = help {
            error = error.help(help);
        }
        error
    }
}

/// A JSON path as people write it: `landmarks.toe_ground.at[1]`.
fn path_text(steps: &[Step]) -> String {
    let mut text = String::new();
    for step in steps {
        // Writing to a String cannot fail.
        let _ = match step {
            Step::Index(i) => write!(text, "[{i}]"),
            Step::Key(k) if !k.is_empty() && k.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'_') => {
                write!(text, "{}{k}", if text.is_empty() { "" } else { "." })
            }
            Step::Key(k) => write!(text, "[\"{}\"]", short(k)),
        };
    }
    text
}

/// A piece of the user's text, short and without control characters, to be quoted in a message.
pub(super) fn short(text: &str) -> String {
    const SHOWN: usize = 40;
    let mut out: String = text.chars().take(SHOWN).flat_map(char::escape_debug).collect();
    if text.chars().nth(SHOWN).is_some() {
        out.push_str("...");
    }
    out
}

/// "did you mean `x`?", where some name is near enough to be meant.
pub(super) fn did_you_mean<'n>(given: &str, known: impl IntoIterator<Item = &'n str>) -> Option<String> {
    // Jaro-Winkler below this pairs words that nobody mistypes for each other (found by trying the landmark names).
    const NEAR: f64 = 0.8;
    let given: String = given.chars().take(64).flat_map(char::to_lowercase).collect();
    let given = given.replace(['-', ' '], "_");
    known
        .into_iter()
        // Nearness says nothing of names as short as `I` or `x`.
        .filter(|name| name.len() > 1)
        .map(|name| (strsim::jaro_winkler(&given, &name.to_lowercase()), name))
        .filter(|(nearness, _)| *nearness >= NEAR)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, name)| format!("did you mean `{name}`?"))
}

/// "`a`, `b` or `c`".
pub(super) fn list(names: &[&str]) -> String {
    match names {
        [] => String::new(),
        [one] => format!("`{one}`"),
        [head @ .., last] => {
            format!("{} or `{last}`", head.iter().map(|n| format!("`{n}`")).collect::<Vec<_>>().join(", "))
        }
    }
}

/// A list that should hold the two numbers of a point holds another number of values.
pub(super) fn not_a_pair(values: usize) -> Fault {
    let fault = Fault::new(format!("must be `[x, y]`, two numbers, not {values}"));
    // 812,4 for 812.4 makes three values of two, or four.
    if matches!(values, 3 | 4) { fault.help("the decimal mark is a point, not a comma") } else { fault }
}

/// A key that nobody knows, with the nearest one that is known.
pub(super) fn unknown_key(key: &str, known: &[&str]) -> Fault {
    Fault::new(format!("unknown key `{}`", short(key)))
        .on_key()
        .help(did_you_mean(key, known.iter().copied()).unwrap_or_else(|| format!("known here: {}", list(known))))
}

impl Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0.what)
    }
}

impl std::error::Error for Fault {}

/// What derived readers report, in words for people.
impl de::Error for Fault {
    /// A line break parts what is wrong from what to do.
    fn custom<T: Display>(message: T) -> Self {
        let text = message.to_string();
        match text.split_once('\n') {
            Some((what, help)) => Self::new(what).help(help),
            None => Self::new(text),
        }
    }

    fn invalid_type(found: de::Unexpected<'_>, expected: &dyn de::Expected) -> Self {
        let found = match found {
            de::Unexpected::Str(text) => format!("the text \"{}\"", short(text)),
            de::Unexpected::Float(x) => format!("the number {x}"),
            de::Unexpected::Bool(b) => b.to_string(),
            de::Unexpected::Map => "an object `{...}`".to_owned(),
            de::Unexpected::Seq => "a list `[...]`".to_owned(),
            _ => "null".to_owned(),
        };
        Self::new(format!("must be {expected}, not {found}"))
    }

    fn unknown_field(field: &str, expected: &'static [&'static str]) -> Self {
        unknown_key(field, expected)
    }

    fn unknown_variant(variant: &str, expected: &'static [&'static str]) -> Self {
        let fault = Self::new(format!("must be {}, not \"{}\"", list(expected), short(variant)));
        match did_you_mean(variant, expected.iter().copied()) {
            Some(help) => fault.help(help),
            None => fault,
        }
    }

    fn missing_field(field: &'static str) -> Self {
        Self::new(format!("the key `{field}` is missing"))
    }
}
