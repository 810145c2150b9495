//! The page on which landmarks are placed: what its server refuses, and whole visits marked in a real browser.
#![allow(clippy::unwrap_used, reason = "tests")]
#![cfg(unix)]

mod one_way;
mod page;
