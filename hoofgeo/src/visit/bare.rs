//! What pixels and header tell of a photo that has no sidecar yet: whether to take it again, before driving home.

use super::folder::{Entry, is_photo_name};
use super::photo::no_sidecar;
use crate::error::{Error, Result};
use crate::photo::{PhotoFacts, Remark, Sha256Hex, fingerprint, read_facts};
use std::collections::{BTreeMap, HashMap};
use std::path::Path;

/// What to do about a photo, the most urgent first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
#[non_exhaustive]
pub enum Urgency {
    /// Its pixels will not do: take it again.
    TakeAgain,
    /// It is not as the camera wrote it: get the original.
    GetOriginal,
    /// It is there twice.
    SameAgain,
    /// Nothing speaks against it.
    Good,
}

impl Urgency {
    /// In a word or two.
    pub const fn words(self) -> &'static str {
        match self {
            Self::TakeAgain => "again",
            Self::GetOriginal => "copy",
            Self::SameAgain => "double",
            Self::Good => "good",
        }
    }
}

/// A photo without a sidecar.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub struct BarePhoto {
    /// Its name.
    pub name: String,
    /// What to do about it.
    pub urgency: Urgency,
    /// Why, and what else there is to know: each a sentence.
    pub remarks: Vec<String>,
    /// Why `measure` would refuse it.
    pub refusal: Error,
    sha256: Option<Sha256Hex>,
}

/// Files of a phone's folder that are no photos to measure, and how many.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct LeftAside {
    /// What they are.
    pub what: &'static str,
    /// Their names, relative to the folder.
    pub names: Vec<String>,
}

impl BarePhoto {
    /// What is to be said of a photo, its pixels decoded where that is wished (feature `pictures`); whether it is there twice is not told.
    pub fn of(entry: &Entry, pixels: bool) -> Self {
        Self::look_at(entry, |photo| photo.look(entry, pixels))
    }

    /// The same of a photo whose facts and upright pixels are at hand; twins by content are not looked for.
    #[cfg(feature = "place")]
    pub(crate) fn of_decoded(entry: &Entry, facts: &PhotoFacts, pixels: &image::RgbImage) -> Self {
        Self::look_at(entry, |photo| {
            photo.header(facts);
            photo.pixels(pixels);
            Ok(None)
        })
    }

    fn look_at(entry: &Entry, look: impl FnOnce(&mut Self) -> Result<Option<Sha256Hex>>) -> Self {
        let mut photo = Self {
            name: entry.name.clone(),
            urgency: Urgency::Good,
            remarks: Vec::new(),
            refusal: no_sidecar(entry),
            sha256: None,
        };
        match look(&mut photo) {
            Ok(sha256) => photo.sha256 = sha256,
            Err(e) => {
                photo.say(Urgency::TakeAgain, e.what().to_owned());
                photo.remarks.extend(e.help_text().map(str::to_owned));
            }
        }
        if let Some(original) = edited_from(&entry.name) {
            let beside = |ending: &str| entry.photo.with_file_name(format!("{original}.{ending}")).is_file();
            if let Some(ending) = ["HEIC", "heic", "JPG", "jpg", "JPEG", "jpeg"].into_iter().find(|e| beside(e)) {
                photo.say(Urgency::GetOriginal, format!("edited on the phone: measure {original}.{ending} beside it"));
            }
        }
        photo
    }

    fn say(&mut self, urgency: Urgency, remark: String) {
        self.urgency = self.urgency.min(urgency);
        self.remarks.push(remark);
    }

    fn look(&mut self, entry: &Entry, pixels: bool) -> Result<Option<Sha256Hex>> {
        let facts = read_facts(&entry.photo)?;
        self.header(&facts);
        #[cfg(feature = "pictures")]
        if pixels {
            self.pixels(&crate::photo::decode_upright(&entry.photo)?);
        }
        #[cfg(not(feature = "pictures"))]
        let _ = pixels;
        fingerprint(&entry.photo).map(Some)
    }

    fn header(&mut self, facts: &PhotoFacts) {
        for remark in &facts.remarks {
            let urgency = match remark {
                Remark::NoExif | Remark::Resized { .. } | Remark::Cropped { .. } => Urgency::GetOriginal,
                _ => Urgency::Good,
            };
            self.say(urgency, remark.to_string());
        }
        if facts.prior_focal_px().is_none() && !facts.remarks.contains(&Remark::NoExif) {
            self.say(
                Urgency::GetOriginal,
                "its header does not say the focal length: angles are less certain".to_owned(),
            );
        }
    }

    #[cfg(feature = "pictures")]
    fn pixels(&mut self, photo: &image::RgbImage) {
        for remark in crate::pixels::quality::inspect(photo, None, None) {
            self.say(Urgency::TakeAgain, remark.to_string());
        }
        // A ruler that is not found may be there all the same: it is not said to be missing.
        match crate::pixels::ruler::find_metric(&crate::pixels::Grey::of(photo)) {
            Ok(reading) => {
                let [one, other] = reading.px_per_mm();
                let (least, most) = (one.min(other), one.max(other));
                self.say(
                    Urgency::Good,
                    format!("a ruler is seen, {least:.1} to {most:.1} px/mm if its lines are millimetres"),
                );
                if least < crate::pixels::quality::RESOLUTION.value {
                    self.say(
                        Urgency::TakeAgain,
                        "the ruler is shown too small: let hoof and ruler fill the frame".to_owned(),
                    );
                }
                if most > RUNS_AWAY * least {
                    self.say(
                        Urgency::TakeAgain,
                        "the ruler runs away from the camera: hold the camera square to it".to_owned(),
                    );
                }
            }
            Err(_) => self.say(
                Urgency::Good,
                "no ruler could be read: look whether one is in the picture, whole and sharp".to_owned(),
            ),
        }
    }
}

/// A ruler's two ends differ in scale by this much where a ruler of a quarter of the distance is turned by some 15 degrees, the tilt that
/// is remarked on.
#[cfg(feature = "pictures")]
const RUNS_AWAY: f64 = 1.07;

/// The name without ending of the photo that this one was edited from, by the names that phones give: `IMG_E2041` of `IMG_2041`.
fn edited_from(name: &str) -> Option<String> {
    let file = name.rsplit('/').next()?;
    let number = file.split('.').next()?.strip_prefix("IMG_E")?;
    (!number.is_empty() && number.bytes().all(|b| b.is_ascii_digit())).then(|| format!("IMG_{number}"))
}

/// Names photos that are there twice by content, and puts the most urgent first; those alike in the order of the walk.
pub(super) fn in_order_of_urgency(photos: &mut [BarePhoto]) {
    let mut first: HashMap<Sha256Hex, String> = HashMap::new();
    for photo in photos.iter_mut() {
        let Some(sha256) = photo.sha256 else { continue };
        match first.get(&sha256) {
            Some(name) => {
                let says = format!("the same photo as {name}");
                photo.say(Urgency::SameAgain, says);
            }
            None => {
                first.insert(sha256, photo.name.clone());
            }
        }
    }
    photos.sort_by_key(|p| p.urgency);
}

/// What else phones leave in a folder, by kind.
pub(super) fn left_aside(root: &Path) -> Vec<LeftAside> {
    let mut kinds: BTreeMap<&'static str, Vec<String>> = BTreeMap::new();
    gather(root, root, &mut kinds, 0);
    kinds
        .into_iter()
        .map(|(what, mut names)| {
            names.sort();
            LeftAside { what, names }
        })
        .collect()
}

/// Folders within folders are followed this far.
const DEEPEST: usize = 16;

fn gather(root: &Path, folder: &Path, kinds: &mut BTreeMap<&'static str, Vec<String>>, depth: usize) {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    for entry in entries {
        let name = entry.file_name().to_string_lossy().into_owned();
        if entry.file_type().is_ok_and(|t| t.is_dir()) {
            if !name.starts_with('.') && depth < DEEPEST {
                gather(root, &entry.path(), kinds, depth + 1);
            }
            continue;
        }
        let (stem, ending) = name.rsplit_once('.').unwrap_or((&name, ""));
        let what = match ending.to_lowercase().as_str() {
            _ if name.starts_with("._") => "files of macOS beside others (._)",
            "aae" => "edits of a phone (.AAE)",
            "mov" | "mp4" => {
                let photo = ["HEIC", "heic", "JPG", "jpg", "JPEG", "jpeg"];
                let is_live = photo.iter().any(|e| folder.join(format!("{stem}.{e}")).is_file());
                if is_live { "movies of Live Photos" } else { "movies" }
            }
            "dng" | "avif" if !is_photo_name(&name) => "pictures of a type that is not read (export them as JPEG)",
            _ => continue,
        };
        kinds.entry(what).or_default().push(super::folder::relative(root, &entry.path()));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn edited_photos_are_known_by_their_names() {
        assert_eq!(edited_from("yard/IMG_E2041.HEIC").as_deref(), Some("IMG_2041"));
        for other in ["IMG_2041.HEIC", "IMG_E.HEIC", "IMG_E20x.jpg", "E2041.jpg"] {
            assert_eq!(edited_from(other), None, "{other}");
        }
    }
}
