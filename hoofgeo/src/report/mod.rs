//! Reports: one self-contained page for the practitioner, vet or farrier, and a shorter one for the owner.
//!
//! A page needs no network: pictures, charts and style are part of it. It opens on a phone and prints on A4 and Letter. Its templates
//! ([minijinja](https://docs.rs/minijinja)) can be replaced; whatever they show is escaped.
//!
//! | to read | file |
//! |---|---|
//! | what a template can show | `model.rs` |
//! | how a page is filled | `page.rs`, `foot.rs`, `owner.rs` |
//! | sentences and numbers | `words.rs` |
//! | charts | `chart.rs` |
//! | what it looks like | `templates/` |

mod chart;
mod foot;
mod model;
mod owner;
mod page;
mod photos;
mod templates;
#[cfg(all(test, feature = "pictures"))]
mod tests;
mod words;

pub use templates::{TEMPLATES, Templates};

use crate::error::{Error, ErrorKind, Result};
use crate::follow::{FollowOptions, Limit, Shot, follow, read_folders};
use crate::review::{Of, Rules};
use crate::visit::{PhotoReport, VisitOptions, write_whole};
use jiff::civil::Date;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// How to make reports.
#[derive(Debug, Clone)]
pub struct ReportOptions {
    /// Only this animal; all where absent.
    pub animal: Option<String>,
    /// A page for each visit instead of the last one alone.
    pub every_visit: bool,
    /// Only the owner's sheet.
    pub owner_only: bool,
    /// Scales of one kind and tolerance are one and the same scale.
    pub one_scale: bool,
    /// Whether annotated pictures are put in (feature `pictures`).
    pub pictures: bool,
    /// The limits that values are held against.
    pub rules: Rules,
    /// The templates.
    pub templates: Templates,
    /// How photos are measured.
    pub visit: VisitOptions,
}

impl Default for ReportOptions {
    fn default() -> Self {
        Self {
            animal: None,
            every_visit: false,
            owner_only: false,
            one_scale: true,
            pictures: true,
            rules: Rules::default(),
            templates: Templates::default(),
            visit: VisitOptions::usual(),
        }
    }
}

/// A photo with what following its case needs.
#[derive(Debug)]
struct Photo {
    report: PhotoReport,
    shot: Shot,
}

/// Measures the photos of some folders and writes a report, and a sheet for the owner, of each animal's last visit or of every visit
/// into `out`: `NAME-DAY.html` and `NAME-DAY-owner.html`. Gives their paths.
///
/// A photo that cannot be measured is told to `refused`, and the others go on.
///
/// # Errors
/// Where a folder does not exist, none holds a photo that can be measured, the animal asked for is not there, a template is faulty, or
/// a page cannot be written.
///
/// # Example
/// ```no_run
/// use hoofgeo::report::{ReportOptions, write_reports};
/// let folders = ["hazel".into()];
/// let pages = write_reports(&folders, "pages".as_ref(), &ReportOptions::default(), &mut |why| eprintln!("{why}"))?;
/// # Ok::<(), hoofgeo::Error>(())
/// ```
pub fn write_reports(
    folders: &[PathBuf],
    out: &Path,
    options: &ReportOptions,
    refused: &mut dyn FnMut(&Error),
) -> Result<Vec<PathBuf>> {
    std::fs::create_dir_all(out).map_err(|e| Error::io(out, "the output folder cannot be made", &e))?;
    let keep = |report: PhotoReport| Shot::of_report(&report).map(|shot| Photo { report, shot });
    let photos = read_folders(folders, &[out.to_path_buf()], &options.visit, &keep, refused)?;
    let mut animals: Vec<String> = photos.iter().map(|p| p.shot.animal.to_lowercase()).collect();
    animals.sort_unstable();
    animals.dedup();
    if animals.is_empty() {
        return Err(Error::new(ErrorKind::Usage, "no photo could be measured").help("the refusals say why"));
    }
    if let Some(wanted) = &options.animal {
        let names = animals.join(", ");
        animals.retain(|a| *a == wanted.trim().to_lowercase());
        if animals.is_empty() {
            return Err(Error::new(ErrorKind::Usage, format!("no photo is of an animal named `{wanted}`"))
                .help(format!("here are {names}")));
        }
    }
    let mut written = Vec::new();
    let mut names = BTreeSet::new();
    for animal in animals {
        let own: Vec<&Photo> = photos.iter().filter(|p| p.shot.animal.to_lowercase() == animal).collect();
        let days: BTreeSet<Date> = own.iter().map(|p| p.shot.day).collect();
        let wanted = days.into_iter().rev().take(if options.every_visit { usize::MAX } else { 1 });
        let mut name = file_name(&animal);
        while !names.insert(name.clone()) {
            name.push('_');
        }
        for day in wanted {
            let page = page_of(&own, day, options);
            let mut write = |template: &str, ending: &str| {
                let path = out.join(format!("{name}-{day}{ending}.html"));
                let html = options.templates.render(template, &page)?;
                write_whole(&path, html.as_bytes())?;
                written.push(path);
                Ok::<(), Error>(())
            };
            if !options.owner_only {
                write("report.html", "")?;
            }
            write("owner.html", "-owner")?;
        }
    }
    Ok(written)
}

/// What was known on that day, and nothing later.
fn page_of(photos: &[&Photo], day: Date, options: &ReportOptions) -> model::Page {
    let known: Vec<&Photo> = photos.iter().copied().filter(|p| p.shot.day <= day).collect();
    let shots: Vec<Shot> = known.iter().map(|p| p.shot.clone()).collect();
    let limits = limits(&options.rules);
    let cases = follow(&shots, &FollowOptions { one_scale: options.one_scale, limits });
    page::page(&known, &cases[0], day, options)
}

/// The rules' limits of single feet.
fn limits(rules: &Rules) -> Vec<Limit> {
    rules
        .rules
        .iter()
        .filter(|r| r.on && r.of == Of::Foot && !r.size)
        .filter_map(|r| {
            let measurement = crate::measure::find(&r.measurement)?;
            Some(Limit { measurement, value: r.limit, source: r.source.clone() })
        })
        .collect()
}

/// A name that is a file's name on every system.
fn file_name(animal: &str) -> String {
    let mut name = String::new();
    for c in animal.chars().take(60) {
        if c.is_alphanumeric() {
            name.extend(c.to_lowercase());
        } else if !name.ends_with('-') && !name.is_empty() {
            name.push('-');
        }
    }
    let name = name.trim_end_matches('-');
    if name.is_empty() { "animal".to_owned() } else { name.to_owned() }
}
