//! One file per command: its words to one library call, the result to text.

pub(crate) mod check;
pub(crate) mod demo;
pub(crate) mod explain;
pub(crate) mod measure;
pub(crate) mod read;
pub(crate) mod schema;
pub(crate) mod start;
