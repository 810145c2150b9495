//! What reaches the terminal. Names of files, animals and observers are other people's: their control characters could move the
//! cursor, clear the screen or rename the window, so each is shown as an escape instead (`\u{1b}`). All text for the terminal is
//! made here, by [`shown`]; everything that is printed goes through it.

use std::fmt::Write as _;
use std::fmt::{self, Display};

/// How a part of a text looks: `{STRONG}words{STRONG:#}`. Until [`shown`] makes it an escape sequence, it is a character that no
/// text has a meaning for (Unicode's noncharacters), so that no escape sequence in a text is ever one of ours.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Look {
    mark: char,
    style: anstyle::Style,
}

const END: char = '\u{fdd0}';

/// Headings.
pub(crate) const STRONG: Look = Look { mark: '\u{fdd1}', style: anstyle::Style::new().bold() };
/// What may be passed over.
pub(crate) const FAINT: Look = Look { mark: '\u{fdd2}', style: anstyle::Style::new().dimmed() };
/// What went wrong.
pub(crate) const WRONG: Look = Look { mark: '\u{fdd3}', style: anstyle::AnsiColor::Red.on_default().bold() };

impl Display for Look {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_char(if f.alternate() { END } else { self.mark })
    }
}

/// A text as the terminal may have it: looks as escape sequences, line breaks and tabs as they are, every other control
/// character, and what turns the direction of writing, as a visible escape.
pub(crate) fn shown(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut chars = text.chars().peekable();
    while let Some(c) = chars.next() {
        let look = [STRONG, FAINT, WRONG].into_iter().find(|l| l.mark == c);
        match (c, look) {
            (_, Some(look)) => _ = write!(out, "{}", look.style),
            (END, _) => _ = write!(out, "{:#}", STRONG.style),
            ('\n' | '\t', _) => out.push(c),
            // The end of a line of a table (RFC 4180).
            ('\r', _) if chars.peek() == Some(&'\n') => out.push(c),
            _ if is_unseen(c) => out.extend(c.escape_default()),
            _ => out.push(c),
        }
    }
    out
}

/// A name inside a line: as [`shown`], line breaks and tabs too.
pub(crate) fn name(text: impl Display) -> String {
    let text = text.to_string();
    let escaped = |c: char| is_unseen(c) || (END..='\u{fdd3}').contains(&c);
    if !text.chars().any(escaped) {
        return text;
    }
    text.chars().map(|c| if escaped(c) { c.escape_default().to_string() } else { c.to_string() }).collect()
}

/// Control characters (C0, DEL, C1), and those of Unicode that reorder or break a line unseen (UAX 9, UAX 14).
fn is_unseen(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{61c}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_our_own_escape_sequences_are_left() {
        let hostile = "a\u{1b}[2Jb\u{1b}]0;title\u{7}\u{9b}31m\r\u{8}\u{7f}\u{202e}c";
        let text = shown(&format!("{STRONG}{hostile}{STRONG:#}\n\tend\r\n"));
        let visible = r"a\u{1b}[2Jb\u{1b}]0;title\u{7}\u{9b}31m\r\u{8}\u{7f}\u{202e}c";
        assert_eq!(text, format!("\u{1b}[1m{visible}\u{1b}[0m\n\tend\r\n"));
        assert_eq!(name("one\ntwo\u{1b}[1m\u{fdd1}"), r"one\ntwo\u{1b}[1m\u{fdd1}");
        assert_eq!(name("Kestrel, Ärger"), "Kestrel, Ärger");
    }
}
