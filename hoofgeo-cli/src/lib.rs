//! The parts of the `hoofgeo` command, for its own tests and benches. Embedders use the `hoofgeo` crate.

pub mod args;
mod commands;
pub mod demo;
pub mod output;

use args::{Arguments, Command};
use std::process::ExitCode;

/// How a command ended, for the exit code.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// Everything was done: 0.
    Done,
    /// Some photos were refused: 1.
    SomeRefused,
    /// Stopped by the user: 130, as shells do for an interrupt.
    Stopped,
}

impl From<Outcome> for ExitCode {
    fn from(outcome: Outcome) -> Self {
        Self::from(match outcome {
            Outcome::Done => 0,
            Outcome::SomeRefused => 1,
            Outcome::Stopped => 130,
        })
    }
}

/// Runs a command.
///
/// # Errors
/// Where it could not be carried out at all; single refused photos are an [`Outcome`].
pub fn run(arguments: &Arguments) -> hoofgeo::Result<Outcome> {
    match &arguments.command {
        Command::Measure(a) => commands::measure::run(a),
        Command::Check(a) => commands::check::run(a),
        Command::Start(a) => commands::start::run(a),
        Command::Read(a) => commands::read::run(a),
        Command::Explain(a) => commands::explain::run(a),
        Command::Schema(a) => commands::schema::run(a),
        Command::Demo(a) => commands::demo::run(a),
    }
}
