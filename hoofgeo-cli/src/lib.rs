//! The parts of the `hoofgeo` command, for its own tests and benches. Embedders use the `hoofgeo` crate.

pub mod args;
mod case_text;
mod commands;
pub mod demo;
pub mod output;
mod terminal;

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
        Command::Join(a) => commands::join::run(a),
        Command::Check(a) => commands::check::run(a),
        Command::Rectify(a) => commands::rectify::run(a),
        Command::Start(a) => commands::start::run(a),
        Command::Ruler(a) => commands::ruler::run(a),
        Command::Follow(a) => commands::follow::run(a),
        Command::Report(a) => commands::report::run(a),
        Command::Place(a) => commands::place::run(a),
        Command::Observers(a) => commands::observers::run(a),
        Command::Plan(a) => commands::plan::run(a),
        Command::Read(a) => commands::read::run(a),
        Command::Guide(a) => commands::guide::run(a),
        Command::Explain(a) => commands::explain::run(a),
        Command::Dictionary(a) => commands::dictionary::run(a),
        Command::Review(a) => commands::review::run(a),
        Command::Project(a) => commands::project::run(a),
        Command::Shape(a) => commands::shape::run(a),
        Command::Schema(a) => commands::schema::run(a),
        Command::Lens(a) => commands::lens::run(a),
        Command::Demo(a) => commands::demo::run(a),
    }
}
