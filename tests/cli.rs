//! The command line from outside: exit codes, what goes to which stream, result files, and that inputs stay as they are.
#![allow(clippy::unwrap_used, reason = "tests")]

mod commands;
mod sets;
mod visits;
