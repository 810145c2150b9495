//! Tokens as text.

use quote::ToTokens;
use syn::{Attribute, Meta};

/// Tokens with blanks where people write them.
pub(super) fn tidy(tokens: &impl ToTokens) -> String {
    let mut text = tokens.to_token_stream().to_string();
    // Documentation is no part of the interface.
    while let Some(start) = text.find("# [doc") {
        let end = end_of_attribute(&text[start..]);
        text.replace_range(start..start + end, "");
    }
    for (from, to) in [
        (" :: ", "::"),
        (":: ", "::"),
        (" < ", "<"),
        ("< ", "<"),
        (" <", "<"),
        (" >", ">"),
        (" ,", ","),
        (" (", "("),
        ("( ", "("),
        (" )", ")"),
        ("& ", "&"),
        (" :", ":"),
        ("[ ", "["),
        (" ]", "]"),
        (" ;", ";"),
        (" . ", "."),
        ("' ", "'"),
        ("# [", "#["),
        ("- >", "->"),
    ] {
        text = text.replace(from, to);
    }
    for (from, to) in [("->", " -> "), (":(", ": ("), ("=(", "= ("), (",(", ", ("), (",)", ")")] {
        text = text.replace(from, to);
    }
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Length of the attribute that a text begins with; brackets within quotes do not count.
fn end_of_attribute(text: &str) -> usize {
    let (mut depth, mut quoted, mut escaped) = (0, false, false);
    for (i, c) in text.char_indices() {
        match c {
            _ if escaped => escaped = false,
            '\\' if quoted => escaped = true,
            '"' => quoted = !quoted,
            '[' if !quoted => depth += 1,
            ']' if !quoted => {
                depth -= 1;
                if depth == 0 {
                    return i + 1;
                }
            }
            _ => {}
        }
    }
    text.len()
}

/// A text whose quoted sentences are cut out.
pub(super) fn without_words(text: &str) -> String {
    let parts = text.split('"').enumerate();
    parts.map(|(i, part)| if i % 2 == 1 && part.contains(' ') { "…" } else { part }).collect::<Vec<_>>().join("\"")
}

/// What, behind it, of an item's attributes belongs to the interface.
pub(super) fn attributes(all: &[Attribute]) -> String {
    let counts = |a: &&Attribute| ["cfg", "non_exhaustive", "must_use"].iter().any(|name| a.path().is_ident(name));
    all.iter().filter(counts).map(|a| format!(" [{}]", tidy(&a.meta))).collect()
}

/// Derived traits, each with the condition it stands under.
pub(super) fn derives(all: &[Attribute]) -> Vec<(String, String)> {
    let mut found = Vec::new();
    for attribute in all {
        let Meta::List(list) = &attribute.meta else { continue };
        let text = tidy(&list.tokens);
        if list.path.is_ident("derive") {
            found.extend(text.split(',').map(|t| (String::new(), t.trim().to_owned())));
        } else if list.path.is_ident("cfg_attr")
            && let Some((condition, derived)) = text.split_once(", derive(")
        {
            let traits = derived.split(')').next().unwrap_or_default().split(',');
            found.extend(traits.map(|t| (format!(" [cfg({condition})]"), t.trim().to_owned())));
        }
    }
    found.retain(|(_, t)| !t.is_empty());
    found
}
