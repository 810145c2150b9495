//! The public API as a list that is checked in: `fixtures/api/hoofgeo.txt`. A change of it shows in review, and is a change of version
//! (DEVELOPERS.md, "Versions").
//!
//! The list is read off the sources (`syn`), so that it needs no nightly compiler and does not change with one: every item that can
//! be named from outside, with its signature, the public fields and methods of types, and their traits. What a macro of the library
//! makes is listed as the macro's call.
//!
//! `HOOFGEO_RENEW=1 cargo test -p hoofgeo --test public_api` writes it anew.
#![allow(clippy::unwrap_used, reason = "tests")]

mod api;

use std::path::Path;

#[test]
fn the_public_api_is_the_one_listed() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let list = api::list(&root.join("src/lib.rs"));
    let path = root.join("../fixtures/api/hoofgeo.txt");
    if std::env::var_os("HOOFGEO_RENEW").is_some() {
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(&path, &list).unwrap();
        return;
    }
    let kept = std::fs::read_to_string(&path).unwrap_or_default();
    let lines = |text: &str| -> std::collections::BTreeSet<String> { text.lines().map(str::to_owned).collect() };
    let (is, was) = (lines(&list), lines(&kept));
    let gone: Vec<_> = was.difference(&is).map(|l| format!("- {l}")).collect();
    let new: Vec<_> = is.difference(&was).map(|l| format!("+ {l}")).collect();
    assert!(
        list == kept,
        "the public API has changed: lines with - break whoever uses them. If it is meant, run\n  HOOFGEO_RENEW=1 cargo test -p \
         hoofgeo --test public_api\n{}\n{}",
        gone.join("\n"),
        new.join("\n")
    );
}
