//! The `hoofgeo` command: words in, one library call, text and an exit code out.

use clap::Parser;
use hoofgeo_cli::args::Arguments;
use std::process::ExitCode;

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    match hoofgeo_cli::run(&arguments) {
        Ok(outcome) => outcome.into(),
        Err(error) => {
            anstream::eprintln!("{}", hoofgeo_cli::output::failure_text(&error));
            ExitCode::from(2)
        }
    }
}
