//! The `hoofgeo` command: words in, one library call, text and an exit code out.

use clap::FromArgMatches;
use hoofgeo_cli::args::{Arguments, command, place_by_default};
use std::process::ExitCode;

fn main() -> ExitCode {
    let matches = command().get_matches_from(place_by_default(std::env::args_os()));
    let arguments = Arguments::from_arg_matches(&matches).unwrap_or_else(|e| e.exit());
    match hoofgeo_cli::run(&arguments) {
        Ok(outcome) => outcome.into(),
        Err(error) => {
            anstream::eprintln!("{}", hoofgeo_cli::output::failure_text(&error));
            ExitCode::from(2)
        }
    }
}
