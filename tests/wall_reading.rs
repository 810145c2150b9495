//! Growth rings and outlines read from rendered feet, held against the truth: a small part of the tables in DEVELOPERS.md, on other seeds
//! (`hoofgeo-cli/examples/wall_rates.rs` makes them).
#![allow(missing_docs, clippy::print_stderr, clippy::unwrap_used, reason = "tests")]

mod walls;

use walls::{Condition, outline, outlines_beside, ring};

#[test]
fn placeholder() {
    let _ = (ring(3, Condition::Plain, true), outline(3, Condition::Plain, 8), outlines_beside(3));
}
