//! Reviewing a visit's folder.

use super::foot::{FootReview, PairReview, PhotoValues, review_feet, review_pairs};
use super::rules::Rules;
use crate::Foot;
use crate::error::{Error, Result};
use crate::foot::{Side, Stage, View};
use crate::project::{Comparable, comparable};
use crate::visit::{BATCH, Entry, Made, Session, VisitOptions};
use std::path::{Path, PathBuf};

/// Whether a foot's photos from before and after a trim are comparable.
#[derive(Debug, Clone)]
pub struct TrimCheck {
    /// Whose foot.
    pub animal: String,
    /// Which foot.
    pub foot: Foot,
    /// Which side of it.
    pub side: Option<Side>,
    /// The photos from before and after.
    pub photos: [String; 2],
    /// What their toe minus heel angles say.
    pub check: Comparable,
}

/// A folder's review.
#[derive(Debug, Clone)]
pub struct VisitReview {
    /// The rules used.
    pub rules: Rules,
    /// Each foot at each stage.
    pub feet: Vec<FootReview>,
    /// Left against right.
    pub pairs: Vec<PairReview>,
    /// Before against after.
    pub trims: Vec<TrimCheck>,
    /// How many photos were measured.
    pub measured: usize,
    /// What was refused.
    pub refused: Vec<Error>,
}

impl VisitReview {
    /// Of photos measured already.
    pub fn new(photos: &[PhotoValues], rules: Rules, refused: Vec<Error>) -> Self {
        Self {
            feet: review_feet(photos, &rules),
            pairs: review_pairs(photos, &rules),
            trims: trims(photos),
            measured: photos.len(),
            refused,
            rules,
        }
    }
}

/// Measures every photo of a folder (usually by [`VisitOptions::usual`]) and reviews each foot over all its photos. `skip` are folders to leave out, such as that of the
/// results.
///
/// # Errors
/// Where the folder does not exist or holds no photo. A photo that cannot be measured is no error of the run: it is reported to
/// `each` and listed in [`VisitReview::refused`].
pub fn review_folder(
    folder: &Path,
    rules: Rules,
    options: &VisitOptions,
    skip: &[PathBuf],
    each: &mut dyn FnMut(&Error),
) -> Result<VisitReview> {
    let session = Session::new(options)?;
    let (mut photos, mut refused) = (Vec::new(), Vec::new());
    let work = |entry: Entry| {
        let report = session.measure(&entry)?;
        Ok(PhotoValues::new(&report.name, &report.sidecar, &report.measured, report.facts.taken.as_deref()))
    };
    session.each_in(folder, skip, BATCH, &work, &mut |made| {
        match made {
            Made::Of(Ok(photo)) => photos.push(photo),
            Made::Of(Err(error)) => {
                each(&error);
                refused.push(error);
            }
            Made::PassedOver(profile) => each(profile),
        }
        Ok(())
    })?;
    Ok(VisitReview::new(&photos, rules, refused))
}

/// Pairs each lateral photo from before a trim with the next of the same foot, side and day from after it.
fn trims(photos: &[PhotoValues]) -> Vec<TrimCheck> {
    let lateral = |stage| photos.iter().filter(move |p| p.view == View::Lateral && p.stage == Some(stage));
    let value = |p: &PhotoValues| p.value("heel_toe_angle_difference").ok();
    lateral(Stage::BeforeTrim)
        .filter_map(|before| {
            let same = |p: &&PhotoValues| {
                (&p.animal, p.foot, p.side, &p.day) == (&before.animal, before.foot, before.side, &before.day)
            };
            let after = lateral(Stage::AfterTrim).find(same)?;
            Some(TrimCheck {
                animal: before.animal.clone(),
                foot: before.foot,
                side: before.side,
                photos: [before.photo.clone(), after.photo.clone()],
                check: comparable(value(before)?, value(after)?),
            })
        })
        .collect()
}
