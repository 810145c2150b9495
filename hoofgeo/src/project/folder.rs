//! Projecting every foot of a folder, or the one of a sidecar.

use super::{AreaProjection, Plan, Projection, project, project_area};
use crate::error::{Error, Result};
use crate::foot::{Foot, Side, Stage, View};
use crate::visit::{
    Entry, Made, PICTURE_BATCH, PhotoReport, SIDECAR_SUFFIX, Session, VisitOptions, must_be_folder, walk,
};
use crate::{ErrorKind, Result as HoofResult};
use std::path::{Path, PathBuf};

/// How to project a folder.
#[derive(Debug, Clone)]
pub struct ProjectOptions {
    /// What is done.
    pub plan: Plan,
    /// Folder for `pictures/` (feature `pictures`); none draws none.
    pub pictures: Option<PathBuf>,
    /// How photos are measured.
    pub visit: VisitOptions,
}

impl Default for ProjectOptions {
    fn default() -> Self {
        Self { plan: Plan::default(), pictures: None, visit: VisitOptions::usual() }
    }
}

/// The projection of one lateral photo.
#[derive(Debug, Clone)]
pub struct FootProjection {
    /// The photo.
    pub photo: String,
    /// Whose foot.
    pub animal: String,
    /// Which foot.
    pub foot: Foot,
    /// The side that the photo shows.
    pub side: Option<Side>,
    /// Before or after trimming.
    pub stage: Option<Stage>,
    /// The day it was taken.
    pub day: Option<String>,
    /// What the foot would be.
    pub projection: Projection,
    /// The area seen from the sole, where such a photo of the foot and stage is there, with that photo's name.
    pub area: Option<(String, AreaProjection)>,
    /// Path of the picture relative to the output folder, or why there is none.
    pub picture: Option<HoofResult<String>>,
}

/// The projections of a folder.
#[derive(Debug, Clone)]
pub struct VisitProjection {
    /// What is done.
    pub plan: Plan,
    /// Each lateral photo.
    pub feet: Vec<FootProjection>,
    /// What was refused.
    pub refused: Vec<Error>,
}

/// Projects a plan onto every foot seen from the side in a folder, or in the photo of one sidecar.
///
/// # Errors
/// Where the path does not exist or holds no photo. A photo that cannot be measured or projected is reported to `each` and listed in
/// [`VisitProjection::refused`].
pub fn project_folder(path: &Path, options: &ProjectOptions, each: &mut dyn FnMut(&Error)) -> Result<VisitProjection> {
    let session = Session::new(&options.visit)?;
    let (mut feet, mut soles, mut refused) = (Vec::new(), Vec::new(), Vec::new());
    let skip: Vec<_> = options.pictures.iter().cloned().collect();
    let work = |entry: Result<Entry>| {
        let report = session.measure(&entry?)?;
        if report.sidecar.view == View::Lateral {
            lateral(&report, options).map(|f| Done::Side(Box::new(f)))
        } else {
            Ok(Done::Sole(Box::new(report)))
        }
    };
    session.each(entries(path, &skip)?, PICTURE_BATCH, &work, &mut |made| {
        match made {
            Made::Of(Ok(Done::Side(foot))) => feet.push(*foot),
            Made::Of(Ok(Done::Sole(report))) => soles.push(*report),
            Made::Of(Err(error)) => {
                each(&error);
                refused.push(error);
            }
            Made::PassedOver(profile) => each(profile),
        }
        Ok(())
    })?;
    if feet.is_empty() && refused.is_empty() {
        return Err(Error::new(ErrorKind::Usage, "no photo of a foot from the side is here")
            .in_file(path)
            .help("a projection starts from a lateral photo with its sidecar"));
    }
    for foot in &mut feet {
        let sole = soles.iter().find(|s| {
            let sidecar = &s.sidecar;
            sidecar.subject.animal == foot.animal
                && sidecar.subject.foot == foot.foot
                && sidecar.stage == foot.stage
                && day(s) == foot.day
        });
        foot.area = sole.and_then(|s| {
            let area = project_area(&foot.projection, &s.measured.located, &s.measured.scene).ok()?;
            Some((s.name.clone(), area))
        });
    }
    Ok(VisitProjection { plan: options.plan, feet, refused })
}

enum Done {
    Side(Box<FootProjection>),
    Sole(Box<PhotoReport>),
}

/// The photos of a folder, or the one of a sidecar.
fn entries<'a>(path: &'a Path, skip: &'a [PathBuf]) -> Result<Box<dyn Iterator<Item = Result<Entry>> + Send + 'a>> {
    let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let Some(photo) = name.strip_suffix(SIDECAR_SUFFIX).filter(|_| path.is_file()) else {
        must_be_folder(path)?;
        return Ok(Box::new(walk(path, skip)));
    };
    // Found by the walk of its own folder, so that its visit file counts; folders below are not needed.
    let folder: &'a Path = match path.parent() {
        Some(p) if !p.as_os_str().is_empty() => p,
        _ => Path::new("."),
    };
    let photo = photo.to_owned();
    Ok(Box::new(walk(folder, &[]).filter(move |e| e.as_ref().is_ok_and(|e| e.name == photo))))
}

fn day(report: &PhotoReport) -> Option<String> {
    report.taken().map(|t| t.chars().take(10).collect())
}

fn lateral(report: &PhotoReport, options: &ProjectOptions) -> Result<FootProjection> {
    let measured = &report.measured;
    let projection = project(&options.plan, &measured.located, &measured.scene).map_err(|e| e.in_file(&report.path))?;
    let picture = picture(report, &projection, options);
    let s = &report.sidecar;
    Ok(FootProjection {
        photo: report.name.clone(),
        animal: s.subject.animal.clone(),
        foot: s.subject.foot,
        side: s.side,
        stage: s.stage,
        day: day(report),
        projection,
        area: None,
        picture,
    })
}

#[cfg(feature = "pictures")]
fn picture(report: &PhotoReport, projection: &Projection, options: &ProjectOptions) -> Option<HoofResult<String>> {
    use crate::file::{FileKind, read_file};
    use crate::picture::{PictureOptions, project_bytes};
    let folder = options.pictures.as_ref()?;
    let write = || {
        let bytes = read_file(&report.path, FileKind::Photo)?;
        let looks = PictureOptions { taken: report.taken().map(str::to_owned), ..PictureOptions::default() };
        let jpeg =
            project_bytes(&bytes, &report.facts, &report.sidecar_as_read(), &report.measured, projection, &looks)
                .map_err(|e| e.in_file(&report.path))?;
        let stem = report.name.rsplit_once('.').map_or(report.name.as_str(), |(stem, _)| stem);
        let name = format!("pictures/{stem}-projected.jpg");
        let path = folder.join(&name);
        if let Some(parent) = path.parent() {
            std::fs::create_dir_all(parent).map_err(|e| Error::io(parent, "cannot be made", &e))?;
        }
        crate::visit::write_whole(&path, &jpeg)?;
        Ok(name)
    };
    Some(write())
}

#[cfg(not(feature = "pictures"))]
fn picture(_: &PhotoReport, _: &Projection, _: &ProjectOptions) -> Option<HoofResult<String>> {
    None
}
