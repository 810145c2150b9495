//! Free text in tables: what people have typed, such as an animal's name or a file's.
//!
//! A spreadsheet takes a cell that begins with `=`, `+`, `-`, `@`, a tab or a line break for a formula and runs it. The rule: **a cell of free
//! text that begins with one of these, or with an apostrophe, is written with an apostrophe before it.** Spreadsheets show such a
//! cell as text. A program that reads the table takes one apostrophe off the beginning of a cell of free text where there is one,
//! and has the text as it was. Numbers, dates, ids, methods and flags are never changed.

use std::borrow::Cow;

/// What makes a spreadsheet, or the reader of this rule, take a cell for something else than text.
const TELLING: [char; 8] = ['=', '+', '-', '@', '\t', '\r', '\n', '\''];

/// A free text as a table's cell.
///
/// # Example: the name of an animal
/// ```
/// use hoofgeo::visit::{free_text_cell, free_text_of_cell};
/// assert_eq!(free_text_cell("=1+1"), "'=1+1");
/// assert_eq!(free_text_cell("Kestrel"), "Kestrel");
/// assert_eq!(free_text_of_cell(&free_text_cell("'=1+1")), "'=1+1");
/// ```
pub fn free_text_cell(text: &str) -> Cow<'_, str> {
    if text.starts_with(TELLING) { Cow::Owned(format!("'{text}")) } else { Cow::Borrowed(text) }
}

/// The free text that a table's cell was made of, by [`free_text_cell`].
pub fn free_text_of_cell(cell: &str) -> &str {
    cell.strip_prefix('\'').unwrap_or(cell)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn every_text_comes_back_and_none_is_a_formula(text in "[=+@\\-\\t\\r\\n' a-z]{0,6}|\\PC{0,6}") {
            let cell = free_text_cell(&text);
            prop_assert_eq!(free_text_of_cell(&cell), text.as_str());
            prop_assert!(!cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\n']));
        }
    }
}
