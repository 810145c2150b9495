//! The `hoofgeo` command.
fn main() {}
