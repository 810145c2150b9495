//! The tests, by what they look at.

mod chromium;
mod hands;
mod keeping;
mod looking;
mod marking;
pub(crate) mod program;
mod refused;
mod ruler;
mod session;
mod slips;
mod speed;
