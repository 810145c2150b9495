//! From bytes to a tree of JSON values that know where they stand.

use super::fault::{Fault, Step, short};
use super::tree::{Kind, Node};
use crate::{Error, ErrorKind, Place};
use jsonc_parser::errors::ParseErrorKind;
use jsonc_parser::{CollectOptions, ParseOptions, parse_to_ast};

/// A longer text is no sidecar: ten thousand landmarks fit in a tenth of it.
const LONGEST: usize = 4 << 20;

/// Strictly RFC 8259: nothing of what the reader could let pass.
const STRICT: ParseOptions = ParseOptions {
    allow_comments: false,
    allow_loose_object_property_names: false,
    allow_trailing_commas: false,
    allow_missing_commas: false,
    allow_single_quoted_strings: false,
    allow_hexadecimal_numbers: false,
    allow_unary_plus_numbers: false,
    allow_bare_decimal_point_numbers: false,
    allow_non_finite_numbers: false,
    allow_extended_string_escapes: false,
};

/// A text and its tree.
pub(super) struct Document<'a> {
    text: &'a str,
    root: Node<'a>,
}

/// Bytes as text. A UTF-8 byte order mark is dropped; other encodings are recognised and named.
pub(super) fn decode(bytes: &[u8]) -> Result<&str, Error> {
    let wrong = |what: String| Error::new(ErrorKind::Format, what).help("save it again as UTF-8");
    let other = match bytes {
        [0xFF, 0xFE, 0, 0, ..] | [0, 0, 0xFE, 0xFF, ..] => Some("UTF-32"),
        [0xFF, 0xFE, ..] | [0xFE, 0xFF, ..] => Some("UTF-16"),
        // JSON begins with an ASCII character, so a zero beside it is the other half of a UTF-16 one.
        [0, b, ..] | [b, 0, ..] if *b != 0 => Some("UTF-16 without a byte order mark"),
        _ => None,
    };
    if let Some(encoding) = other {
        return Err(wrong(format!("the text is {encoding}, not UTF-8")));
    }
    let text = std::str::from_utf8(bytes).map_err(|e| {
        let (good, bad) = bytes.split_at(e.valid_up_to());
        let (line, column) = line_column(std::str::from_utf8(good).unwrap_or_default(), good.len());
        let error = match bad.first() {
            Some(byte) if !bytes.contains(&0) => {
                let latin = char::from(*byte).escape_debug();
                wrong(format!("the text is not UTF-8: byte 0x{byte:02X} (`{latin}` in Latin-1)"))
            }
            _ => Error::new(ErrorKind::Format, "this is not text").help("is it another file under this name?"),
        };
        error.at(Place { line, column, path: String::new() })
    })?;
    Ok(text.strip_prefix('\u{feff}').unwrap_or(text))
}

/// Reads a text that must hold one JSON object, and makes something of it.
///
/// A text that is as it should be needs no positions, so it is first read without, in half the time. Where
/// anything is wrong it is read again, with them.
pub(super) fn parse<T>(text: &str, make: impl Fn(&Document<'_>) -> Result<T, Fault>) -> Result<T, Error> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    if text.len() > LONGEST {
        return Err(Error::new(
            ErrorKind::Format,
            format!("the text is {} MB long: this is something else", text.len() >> 20),
        ));
    }
    if let Ok(root) = serde_json::from_str(text)
        && let Ok(made) = make(&Document { text, root })
    {
        return Ok(made);
    }
    if text.bytes().all(|b| b.is_ascii_whitespace()) {
        return Err(Error::new(ErrorKind::Format, "the file is empty").help("write a new one with `hoofgeo start`"));
    }
    let document = Document::with_positions(text)?;
    make(&document).map_err(|fault| fault.into_error(Some(&document)))
}

impl<'a> Document<'a> {
    pub(super) fn with_positions(text: &'a str) -> Result<Self, Error> {
        let bare = Self { text, root: Node { at: 0, kind: Kind::Null } };
        let parsed = parse_to_ast(text, &CollectOptions::default(), &STRICT).map_err(|e| {
            let at = e.range().start;
            unclosed(text, at).unwrap_or_else(|| syntax(text, at, e.kind())).into_error(Some(&bare))
        })?;
        let Some(value) = parsed.value else {
            return Err(Error::new(ErrorKind::Format, "the file holds no value"));
        };
        // The reader with positions lets pass what RFC 8259 forbids besides: control characters in strings, exotic
        // white space.
        if let Err(e) = serde_json::from_str::<serde::de::IgnoredAny>(text) {
            let position = position_of(text, e.line(), e.column());
            let words = e.to_string();
            let words = words.split(" at line ").next().unwrap_or_default();
            return Err(Fault::new(format!("not JSON: {words}")).at(position).into_error(Some(&bare)));
        }
        Ok(Self { text, root: value.into() })
    }

    pub(super) fn root(&self) -> &Node<'a> {
        &self.root
    }

    /// Line and column of a byte position, both from 1; columns in characters.
    pub(super) fn line_column(&self, position: usize) -> (usize, usize) {
        line_column(self.text, position)
    }

    /// The byte position that a path leads to, or the deepest value on the way that exists.
    pub(super) fn locate(&self, path: &[Step], key: bool) -> Option<usize> {
        let mut here = &self.root;
        let mut at = here.at;
        for (i, step) in path.iter().enumerate() {
            let next = match (step, &here.kind) {
                (Step::Key(k), _) => here.get(k).map(|f| (f.at, &f.value)),
                (Step::Index(i), Kind::List(list)) => list.get(*i).map(|node| (node.at, node)),
                _ => None,
            };
            let Some((key_at, value)) = next else { break };
            here = value;
            at = if key && i + 1 == path.len() { key_at } else { value.at };
        }
        Some(at)
    }
}

fn line_column(text: &str, position: usize) -> (usize, usize) {
    let before = text.get(..position).unwrap_or(text);
    let start = before.rfind('\n').map_or(0, |i| i + 1);
    (before.bytes().filter(|b| *b == b'\n').count() + 1, before[start..].chars().count() + 1)
}

/// The byte position of a line and a byte column, both from 1, as serde_json counts them.
fn position_of(text: &str, line: usize, column: usize) -> usize {
    let start: usize = text.split_inclusive('\n').take(line.saturating_sub(1)).map(str::len).sum();
    let mut at = (start + column.saturating_sub(1)).min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

/// A text that runs over the end of its line before the fault at `at`: its closing quote is missing, and what follows was
/// misread.
fn unclosed(text: &str, at: usize) -> Option<Fault> {
    let (mut open, mut escaped) = (None, false);
    for (i, byte) in text.bytes().enumerate().take(at) {
        match (open, byte) {
            (Some(_), _) if escaped => escaped = false,
            (Some(_), b'\\') => escaped = true,
            (Some(_), b'"') => open = None,
            (Some(start), b'\n') => return Some(Fault::new(UNCLOSED).at(start)),
            (None, b'"') => open = Some(i),
            _ => {}
        }
    }
    None
}

const UNCLOSED: &str = "this text has no end: a closing quote is missing";

/// What is wrong with the JSON itself, in words for people.
fn syntax(text: &str, at: usize, kind: &ParseErrorKind) -> Fault {
    use ParseErrorKind as K;
    let rest = text.get(at..).unwrap_or_default();
    let word: String = rest.chars().take_while(|c| !c.is_whitespace() && !",:]}".contains(*c)).collect();
    let fault = match kind {
        K::CommentsNotAllowed => Fault::new("a comment is not allowed here").help("write it into the key `notes`"),
        K::TrailingCommasNotAllowed => Fault::new("no comma may follow the last entry"),
        K::ExpectedComma if text[..at].ends_with(['0', '-']) && rest.starts_with(|c: char| c.is_ascii_digit()) => {
            Fault::new("a number must not begin with 0")
        }
        K::ExpectedComma => Fault::new("a comma is missing here"),
        K::SingleQuotedStringsNotAllowed => Fault::new("text stands in double quotes"),
        K::HexadecimalNumbersNotAllowed => Fault::new("a number must be decimal"),
        K::UnaryPlusNumbersNotAllowed => Fault::new("a number takes no plus sign"),
        K::BareDecimalPointNumbersNotAllowed => Fault::new("a decimal point needs a digit on both sides"),
        K::NonFiniteNumbersNotAllowed => Fault::new("a number must be finite"),
        K::ExpectedStringObjectProperty => Fault::new("a key stands in double quotes"),
        K::ExpectedColonAfterObjectKey => Fault::new("a colon must follow the key"),
        K::ExpectedObjectValue => Fault::new("the key has no value"),
        K::MultipleRootJsonValues => Fault::new("something follows the end of the object"),
        K::UnterminatedArray => Fault::new("this list has no end: a `]` is missing"),
        K::UnterminatedObject => Fault::new("this object has no end: a `}` is missing"),
        K::NestingDepthExceeded => Fault::new("nested too deep"),
        K::UnexpectedComma => Fault::new("a value is missing before this comma"),
        K::UnexpectedColon => Fault::new("a colon has no place here"),
        K::UnexpectedCloseBrace => Fault::new("`}` has no place here"),
        K::UnexpectedCloseBracket => Fault::new("`]` has no place here"),
        K::UnexpectedWord | K::UnexpectedToken if word.is_empty() => Fault::new("a value is missing here"),
        K::UnexpectedWord | K::UnexpectedToken if word == "NaN" || word == "Infinity" => {
            Fault::new("a number must be finite")
        }
        K::UnexpectedWord | K::UnexpectedToken => {
            Fault::new(format!("`{}` is not JSON", short(&word))).help("text stands in double quotes")
        }
        K::UnexpectedTokenInObject => Fault::new("a key in double quotes is missing here"),
        K::String(jsonc_parser::ParseStringErrorKind::UnterminatedStringLiteral) => Fault::new(UNCLOSED),
        other => Fault::new(format!("not JSON: {}", lower_first(&other.to_string()))),
    };
    fault.at(at)
}

fn lower_first(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map(|c| c.to_lowercase().chain(chars).collect()).unwrap_or_default()
}
