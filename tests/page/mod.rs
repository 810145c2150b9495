//! The tests, by what they look at.

mod chromium;
mod hands;
mod keeping;
mod looking;
mod marking;
mod offered;
pub(crate) mod program;
mod refused;
mod ruler;
mod session;
mod sheet;
mod slips;
mod speed;
mod whole_way;
