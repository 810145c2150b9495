//! The parts of the `hoofgeo` command that its tests reach into: the demo's renderer.
pub mod demo;
