//! `hoofgeo lens`

mod board;
mod calibrate;
mod find;
mod import;
mod judge;

use crate::Outcome;
use crate::args::LensCommand;
use hoofgeo::Result;

pub(crate) fn run(command: &LensCommand) -> Result<Outcome> {
    match command {
        LensCommand::Board(a) => board::run(a),
        LensCommand::Calibrate(a) => calibrate::run(a),
        LensCommand::Import(a) => import::run(a),
        LensCommand::Find(a) => find::run(a),
        LensCommand::Judge(a) => judge::run(a),
    }
}
