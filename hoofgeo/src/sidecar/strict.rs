//! Any other file of the library, read as strictly as a sidecar.

use super::fault::{Fault, Step, did_you_mean, short};
use super::read::typed;
use super::text::{self, decode};
use crate::Result;
use serde::de::DeserializeOwned;

/// One thing wrong with a file that was read, and where.
pub(crate) struct Misfit(Fault);

impl Misfit {
    pub(crate) fn new(what: impl Into<String>) -> Self {
        Self(Fault::new(what))
    }

    /// A name that does not exist, with the nearest one that does.
    pub(crate) fn unknown<'n>(what: &str, name: &str, known: impl Iterator<Item = &'n str>) -> Self {
        let fault = Fault::new(format!("there is no {what} `{}`", short(name)));
        Self(match did_you_mean(name, known) {
            Some(help) => fault.help(help),
            None => fault.help("`hoofgeo explain` lists them all"),
        })
    }

    pub(crate) fn help(self, help: impl Into<String>) -> Self {
        Self(self.0.help(help))
    }

    /// Adds the step from an outer value to where this was found.
    pub(crate) fn within(self, step: impl Into<Step>) -> Self {
        Self(self.0.within(step))
    }
}

/// Reads a file whose `format` must be the one named, and checks it.
pub(crate) fn read<T: DeserializeOwned>(
    bytes: &[u8],
    format: &str,
    check: impl Fn(&T) -> std::result::Result<(), Misfit>,
) -> Result<T> {
    text::parse(decode(bytes)?, |document| {
        let read: T = typed(document, format, true)?;
        check(&read).map_err(|m| m.0)?;
        Ok(read)
    })
}
