//! One file per command: its words to one library call, the result to text.

pub(crate) mod check;
pub(crate) mod demo;
pub(crate) mod dictionary;
pub(crate) mod explain;
pub(crate) mod follow;
pub(crate) mod guide;
pub(crate) mod join;
pub(crate) mod lens;
pub(crate) mod measure;
pub(crate) mod observers;
pub(crate) mod place;
pub(crate) mod plan;
pub(crate) mod project;
pub(crate) mod read;
pub(crate) mod rectify;
pub(crate) mod report;
pub(crate) mod review;
pub(crate) mod ruler;
pub(crate) mod schema;
pub(crate) mod shape;
pub(crate) mod start;
