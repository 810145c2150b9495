//! The pages of a finished visit, as `hoofgeo report` writes them, opened from the page.
//!
//! A link cannot carry the session's key where it belongs, in a header; in an address it would stand in the browser's history. So
//! the pages of each finish have a key of their own, which opens them and nothing else.

use super::desk::Desk;
use super::guard::{new_key, same};
use super::http::Response;
use super::live::error_json;
use crate::error::{Error, Result};
use crate::file::{FileKind, read_file};
use crate::report::{ReportOptions, write_reports};
use serde_json::{Value as Json, json};
use std::path::PathBuf;
use std::sync::{Mutex, PoisonError};

/// The pages of the last finish.
#[derive(Debug, Default)]
pub(super) struct Reports(Mutex<Option<Made>>);

#[derive(Debug)]
struct Made {
    key: String,
    pages: Vec<PathBuf>,
}

impl Reports {
    /// Writes the pages of the visit into its results; where to open them, or why there are none.
    pub(super) fn make(&self, desk: &Desk) -> Json {
        self.written(desk).unwrap_or_else(|e| json!({ "pages": [], "why": error_json(&e) }))
    }

    fn written(&self, desk: &Desk) -> Result<Json> {
        let mut first: Option<Error> = None;
        let folders = [desk.working_folder().to_path_buf()];
        // What was refused was told when the visit was measured; here it only says why there is no page at all.
        let pages = write_reports(&folders, &desk.results_folder(), &ReportOptions::default(), &mut |why| {
            first.get_or_insert_with(|| why.clone());
        });
        let pages = pages.map_err(|e| first.unwrap_or(e))?;
        let key = new_key()?;
        let name = |page: &PathBuf| page.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
        let told: Vec<Json> = pages
            .iter()
            .enumerate()
            .map(|(i, page)| {
                let name = name(page);
                json!({ "href": format!("/report/{key}/{i}"), "owner": name.ends_with("-owner.html"), "file": name })
            })
            .collect();
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = Some(Made { key, pages });
        Ok(json!({ "pages": told }))
    }

    /// One of the pages, by what stands behind `/report/` in its address.
    pub(super) fn page(&self, key: &str, number: usize) -> Option<Response> {
        let made = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let page = made.as_ref().filter(|made| same(key, &made.key))?.pages.get(number)?;
        Some(Response::report(read_file(page, FileKind::Written).ok()?))
    }
}
