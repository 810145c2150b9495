//! The templates of the pages: those that come with the library, each replaceable by a file of the same name.

use crate::error::{Error, ErrorKind, Result};
use crate::file::{FileKind, read_text};
use crate::visit::write_whole;
use minijinja::syntax::SyntaxConfig;
use minijinja::value::Serde;
use minijinja::{AutoEscape, Environment, UndefinedBehavior};
use serde::Serialize;
use std::collections::BTreeMap;
use std::path::Path;

/// Names and texts of the templates that come with the library.
pub const TEMPLATES: &[(&str, &str)] = &[
    ("page.html", include_str!("templates/page.html")),
    ("report.html", include_str!("templates/report.html")),
    ("owner.html", include_str!("templates/owner.html")),
    ("parts.html", include_str!("templates/parts.html")),
    ("chart.svg", include_str!("templates/chart.svg")),
    ("style.css", include_str!("templates/style.css")),
];

/// A set of templates.
#[derive(Debug, Clone, Default)]
pub struct Templates {
    own: BTreeMap<String, String>,
}

impl Templates {
    /// The library's templates, those replaced that a folder holds under the same names.
    ///
    /// # Errors
    /// Where the folder cannot be read or holds none of them.
    pub fn from_folder(folder: &Path) -> Result<Self> {
        let mut own = BTreeMap::new();
        for (name, _) in TEMPLATES {
            let path = folder.join(name);
            if path.exists() {
                own.insert((*name).to_owned(), read_text(&path, FileKind::Template)?);
            }
        }
        if own.is_empty() {
            let names: Vec<_> = TEMPLATES.iter().map(|t| t.0).collect();
            return Err(Error::new(ErrorKind::Usage, "holds no template")
                .in_file(folder)
                .help(format!("a template is one of {}; --write-templates writes them all", names.join(", "))));
        }
        Ok(Self { own })
    }

    /// Writes the library's templates into a folder, which is made where it does not exist. Writes over nothing.
    ///
    /// # Errors
    /// Where one of them is there already or cannot be written.
    pub fn write(folder: &Path) -> Result<()> {
        std::fs::create_dir_all(folder).map_err(|e| Error::io(folder, "the folder cannot be made", &e))?;
        if let Some((name, _)) = TEMPLATES.iter().find(|(name, _)| folder.join(name).exists()) {
            return Err(Error::new(ErrorKind::Usage, "is there already")
                .in_file(folder.join(name))
                .help("name a new folder: your own templates are not written over"));
        }
        TEMPLATES.iter().try_for_each(|(name, text)| write_whole(&folder.join(name), text.as_bytes()))
    }

    /// A page. Everything that a template shows is escaped, whatever its name.
    ///
    /// # Errors
    /// `Format` where a template is faulty; the error names it and the line.
    pub(super) fn render(&self, name: &str, page: &impl Serialize) -> Result<String> {
        let mut env = Environment::new();
        env.set_auto_escape_callback(|_| AutoEscape::Html);
        env.set_undefined_behavior(UndefinedBehavior::Strict);
        let syntax = SyntaxConfig::builder().trim_blocks(true).lstrip_blocks(true).build().map_err(|e| faulty(&e))?;
        env.set_syntax(syntax);
        for (name, text) in TEMPLATES {
            let text = self.own.get(*name).map_or(*text, String::as_str);
            env.add_template(name, text).map_err(|e| faulty(&e))?;
        }
        env.get_template(name).and_then(|t| t.render(Serde(page))).map_err(|e| faulty(&e))
    }
}

fn faulty(e: &minijinja::Error) -> Error {
    let name = e.name().unwrap_or("template");
    let line = e.line().map_or_else(String::new, |l| format!(" line {l}"));
    let detail = e.detail().map_or_else(|| e.kind().to_string(), |d| format!("{}: {d}", e.kind()));
    Error::new(ErrorKind::Format, format!("{name}{line}: {detail}"))
        .help("templates are minijinja; --write-templates writes the ones that work")
}
