//! Which entry of the database a photo belongs to. Where more than one could be meant, none is chosen: they are named.

use super::{CameraEntry, Database, LensEntry, Radial};
use crate::lens::{FILM_DIAGONAL_MM, RadialCorrection};
use std::fmt;

/// What a photo's header tells of the camera.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Optics {
    /// EXIF Make.
    pub make: Option<String>,
    /// EXIF Model.
    pub model: Option<String>,
    /// EXIF LensModel.
    pub lens: Option<String>,
    /// Focal length, mm.
    pub focal_mm: Option<f64>,
    /// Focal length on 35 mm film with the same picture, mm.
    pub focal_35mm: Option<f64>,
}

/// Where the focal length came from by which an entry's distortion was looked up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FocalFrom {
    /// The focal length of the lens.
    Exif,
    /// The 35 mm equivalent divided by the camera's crop factor: EXIF has no other.
    Equivalent,
    /// The 35 mm equivalent as it is: some entries of fixed lenses are written in equivalents.
    EntryInEquivalents,
}

/// The entry that a photo belongs to.
#[derive(Debug, Clone, PartialEq)]
pub struct Match<'a> {
    /// The camera.
    pub camera: &'a CameraEntry,
    /// The lens.
    pub lens: &'a LensEntry,
    /// The focal length by which its distortion was looked up, mm.
    pub focal_mm: f64,
    /// Where that came from.
    pub focal_from: FocalFrom,
    /// Its distortion at that focal length.
    pub model: Radial,
}

impl Match<'_> {
    /// The distortion placed in a photo of this size, px.
    pub fn correction(&self, frame_px: (u32, u32)) -> RadialCorrection {
        RadialCorrection::new(self.model, self.lens.calibrated, self.camera.crop, frame_px)
    }

    /// The focal length that EXIF's and the camera's crop factor give for a photo of this size, px.
    pub fn focal_px(&self, optics: &Optics, frame_px: (u32, u32)) -> Option<f64> {
        let equivalent = optics.focal_35mm.or_else(|| Some(optics.focal_mm? * self.camera.crop))?;
        Some(equivalent * f64::from(frame_px.0).hypot(f64::from(frame_px.1)) / FILM_DIAGONAL_MM)
    }
}

/// Why no entry was chosen.
#[derive(Debug, Clone, PartialEq)]
pub struct NoMatch {
    /// The reason.
    pub why: Why,
    /// Names of the entries that come nearest, for the user to choose among.
    pub candidates: Vec<String>,
}

/// The reason why no entry was chosen.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Why {
    /// The photo does not say which camera took it.
    CameraNotStated,
    /// The database has no such camera.
    CameraUnknown,
    /// Several cameras of this name differ in sensor or lens.
    CameraAmbiguous,
    /// The photo names no lens, and more than one fits the camera.
    LensNotStated,
    /// The database has no lens of this name for this camera.
    LensUnknown,
    /// Several lenses could be meant.
    LensAmbiguous,
    /// The photo states no focal length.
    FocalNotStated,
    /// The lens was not calibrated at this focal length, mm.
    FocalOutside(f64),
    /// The lens was calibrated on a smaller sensor: nothing is known of this photo's margins.
    SensorTooLarge,
    /// The entry has no distortion, or one of a model that is not known here.
    NoDistortion(Vec<String>),
    /// The lens is not rectilinear (a fisheye, say), which a pinhole with distortion terms cannot describe.
    NotRectilinear(String),
    /// The entry moves the optical centre, which is not supported.
    OffCentre,
}

impl fmt::Display for NoMatch {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.why {
            Why::CameraNotStated => f.write_str("the photo does not say which camera took it"),
            Why::CameraUnknown => f.write_str("the lens database has no such camera"),
            Why::CameraAmbiguous => f.write_str("the lens database has several cameras of this name that differ"),
            Why::LensNotStated => f.write_str("the photo names no lens, and more than one fits this camera"),
            Why::LensUnknown => f.write_str("the lens database has no lens of this name for this camera"),
            Why::LensAmbiguous => f.write_str("several lenses of the database could be meant"),
            Why::FocalNotStated => f.write_str("the photo states no focal length"),
            Why::FocalOutside(mm) => write!(f, "the lens was not calibrated at {mm} mm"),
            Why::SensorTooLarge => f.write_str("the lens was calibrated on a smaller sensor than this camera's"),
            Why::NoDistortion(models) if models.is_empty() => f.write_str("the lens's distortion was not calibrated"),
            Why::NoDistortion(models) => {
                write!(f, "the entry's distortion model {} is not known here", models.join(", "))
            }
            Why::NotRectilinear(kind) => {
                write!(f, "the lens's projection is {kind}, only rectilinear lenses can be measured with")
            }
            Why::OffCentre => f.write_str("the entry moves the optical centre, which is not supported"),
        }
    }
}

/// The most candidates named.
const MOST_CANDIDATES: usize = 12;

/// Crop factors this near are the same sensor: one camera's 1.523 is another entry's 1.534.
const SAME_CROP: f64 = 1.04;

impl Database {
    /// The entry for a photo. `lens_name` chooses a lens by its whole name in the database, where the photo's own does not.
    ///
    /// Camera: make and model must be equal but for case, punctuation and a maker's name repeated in the model. Lens: among
    /// those that fit the mount, the one whose name has the same words as EXIF's, else the only one whose name contains all of
    /// EXIF's words; without a name, the only one there is. Of the same lens calibrated on several sensors, the one on the
    /// largest that is not larger than needed.
    ///
    /// # Errors
    /// [`NoMatch`] with the candidates, where the photo's header does not decide.
    pub fn find(&self, optics: &Optics, lens_name: Option<&str>) -> Result<Match<'_>, NoMatch> {
        let camera = self.camera(optics)?;
        let lens = self.lens(camera, optics, lens_name)?;
        let no = |why| NoMatch { why, candidates: vec![lens.model.clone()] };
        if lens.projection != "rectilinear" {
            return Err(no(Why::NotRectilinear(lens.projection.clone())));
        }
        if lens.off_centre {
            return Err(no(Why::OffCentre));
        }
        if lens.distortion.is_empty() {
            return Err(no(Why::NoDistortion(lens.unknown_models.clone())));
        }
        if lens.calibrated.crop > camera.crop * SAME_CROP {
            return Err(no(Why::SensorTooLarge));
        }
        let focal = [
            (optics.focal_mm, FocalFrom::Exif),
            (optics.focal_35mm.filter(|_| optics.focal_mm.is_none()).map(|f| f / camera.crop), FocalFrom::Equivalent),
            (optics.focal_35mm.filter(|_| self.is_fixed(camera)), FocalFrom::EntryInEquivalents),
        ];
        let found = focal.into_iter().find_map(|(mm, from)| Some((mm?, from, lens.at(mm?)?)));
        let Some((focal_mm, focal_from, model)) = found else {
            let stated = focal.iter().find_map(|(mm, _)| *mm);
            return Err(no(stated.map_or(Why::FocalNotStated, Why::FocalOutside)));
        };
        Ok(Match { camera, lens, focal_mm, focal_from, model })
    }

    /// Whether a camera's lens cannot be changed: its mount is declared nowhere, it is the entry's own.
    pub fn is_fixed(&self, camera: &CameraEntry) -> bool {
        !camera.is_reflex() && !self.mounts.contains_key(&camera.mount)
    }

    fn camera(&self, optics: &Optics) -> Result<&CameraEntry, NoMatch> {
        let no = |why, candidates| NoMatch { why, candidates };
        let Some(model) = &optics.model else { return Err(no(Why::CameraNotStated, Vec::new())) };
        let make = words(optics.make.as_deref().unwrap_or_default());
        let name = without(&words(model), &make);
        let same_maker = |c: &CameraEntry| make.is_empty() || words(&c.maker).first() == make.first();
        let found: Vec<&CameraEntry> = self
            .cameras
            .iter()
            .filter(|c| same_maker(c) && without(&words(&c.model), &words(&c.maker)) == name)
            .collect();
        match found[..] {
            [] => {
                let near = self.cameras.iter().filter(|c| same_maker(c) && !make.is_empty());
                let mut near: Vec<_> =
                    near.map(|c| (strsim::jaro_winkler(&c.model, model), c)).filter(|(s, _)| *s > 0.9).collect();
                near.sort_by(|a, b| b.0.total_cmp(&a.0));
                let names = near.into_iter().take(5).map(|(_, c)| c.model.clone()).collect();
                Err(no(Why::CameraUnknown, names))
            }
            [first, ref others @ ..] => {
                if others.iter().all(|c| c.mount == first.mount && c.crop == first.crop) {
                    return Ok(first);
                }
                let names = found.iter().map(|c| match &c.variant {
                    Some(v) => format!("{} ({v})", c.model),
                    None => c.model.clone(),
                });
                Err(no(Why::CameraAmbiguous, names.collect()))
            }
        }
    }

    fn lens(&self, camera: &CameraEntry, optics: &Optics, lens_name: Option<&str>) -> Result<&LensEntry, NoMatch> {
        let compatible = self.mounts.get(&camera.mount).map(Vec::as_slice).unwrap_or_default();
        let fits = |l: &&LensEntry| l.mounts.iter().any(|m| *m == camera.mount || compatible.contains(m));
        let all: Vec<&LensEntry> = self.lenses.iter().filter(fits).collect();
        if let Some(name) = lens_name {
            let named: Vec<_> = all.iter().copied().filter(|l| l.model.eq_ignore_ascii_case(name.trim())).collect();
            return on_sensor(&named, camera).ok_or_else(|| NoMatch { why: Why::LensUnknown, candidates: names(&all) });
        }
        let reaches = |l: &&LensEntry| match (optics.focal_mm, l.focal_range_mm()) {
            (Some(mm), Some([least, most])) => self.is_fixed(camera) || (mm > least * 0.9 && mm < most * 1.1),
            _ => true,
        };
        let own = |l: &LensEntry| without(&lens_words(&l.model), &words(&l.maker));
        let one = |lenses: &[&LensEntry]| -> bool {
            lenses
                .iter()
                .all(|l| own(l) == own(lenses[0]) && words(&l.maker).first() == words(&lenses[0].maker).first())
        };
        let Some(stated) = &optics.lens else {
            let usable: Vec<_> = all.into_iter().filter(reaches).collect();
            return match on_sensor(&usable, camera) {
                Some(lens) if one(&usable) && self.is_fixed(camera) => Ok(lens),
                _ => Err(NoMatch { why: Why::LensNotStated, candidates: names(&usable) }),
            };
        };
        let whole = lens_words(stated);
        let exact: Vec<_> = all.iter().copied().filter(|l| lens_words(&l.model) == whole).collect();
        if one(&exact)
            && let Some(lens) = on_sensor(&exact, camera)
        {
            return Ok(lens);
        }
        let maker = words(optics.make.as_deref().unwrap_or_default());
        let stated = without(&whole, &maker);
        let equal: Vec<_> = all.iter().copied().filter(|l| without(&own(l), &maker) == stated).collect();
        if !one(&equal) {
            return Err(NoMatch { why: Why::LensAmbiguous, candidates: names(&equal) });
        }
        if let Some(lens) = on_sensor(&equal, camera) {
            return Ok(lens);
        }
        // Figures alone (`18.0-105.0 mm f/3.5-5.6`) are as good as a name where only one lens has them; one figure is not.
        let says_enough = stated.iter().filter(|w| w.starts_with(|c: char| c.is_ascii_digit())).count() >= 2;
        let holds = |l: &&LensEntry| stated.iter().all(|w| own(l).contains(w));
        let holding: Vec<_> = all.iter().copied().filter(holds).filter(reaches).collect();
        if says_enough
            && one(&holding)
            && let Some(lens) = on_sensor(&holding, camera)
        {
            return Ok(lens);
        }
        // A fixed lens needs no name, and the database's own name for it is seldom the camera's.
        let usable: Vec<_> = all.iter().copied().filter(reaches).collect();
        if self.is_fixed(camera) && one(&usable) {
            return on_sensor(&usable, camera)
                .ok_or_else(|| NoMatch { why: Why::LensUnknown, candidates: names(&usable) });
        }
        if holding.len() > 1 {
            return Err(NoMatch { why: Why::LensAmbiguous, candidates: names(&holding) });
        }
        Err(NoMatch { why: Why::LensUnknown, candidates: nearest(&usable, &stated, &own) })
    }
}

/// Of one lens calibrated on several sensors: the smallest of those that cover the camera's, else the largest there is.
fn on_sensor<'a>(lenses: &[&'a LensEntry], camera: &CameraEntry) -> Option<&'a LensEntry> {
    let covers = |l: &&&LensEntry| l.calibrated.crop <= camera.crop * SAME_CROP;
    let by_crop = |a: &&&LensEntry, b: &&&LensEntry| a.calibrated.crop.total_cmp(&b.calibrated.crop);
    let best = lenses.iter().filter(covers).max_by(by_crop).or_else(|| lenses.iter().min_by(by_crop));
    best.copied()
}

fn names(lenses: &[&LensEntry]) -> Vec<String> {
    let mut names: Vec<String> = lenses.iter().map(|l| l.model.clone()).collect();
    names.sort();
    names.dedup();
    names.truncate(MOST_CANDIDATES);
    names
}

/// The lenses that share most words with the name stated.
fn nearest(lenses: &[&LensEntry], stated: &[String], own: &dyn Fn(&LensEntry) -> Vec<String>) -> Vec<String> {
    let shared = |l: &LensEntry| own(l).iter().filter(|w| stated.contains(w)).count();
    let most = lenses.iter().map(|l| shared(l)).max().unwrap_or(0);
    names(&lenses.iter().copied().filter(|l| shared(l) == most && most > 0).collect::<Vec<_>>())
}

/// A name's words in lower case, split where letters and figures meet; `18.0` is `18`.
fn words(text: &str) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    let kind = |c: char| {
        if c.is_ascii_digit() {
            1
        } else if c.is_alphabetic() {
            2
        } else {
            0
        }
    };
    let chars: Vec<char> = text.to_lowercase().chars().collect();
    let mut last = 0;
    for (i, &c) in chars.iter().enumerate() {
        let inside_number = c == '.' && last == 1 && chars.get(i + 1).is_some_and(char::is_ascii_digit);
        let this = if inside_number { 1 } else { kind(c) };
        if this != 0 {
            match out.last_mut() {
                Some(word) if this == last => word.push(c),
                _ => out.push(c.to_string()),
            }
        }
        last = this;
    }
    for word in &mut out {
        if word.contains('.') {
            *word = word.trim_end_matches('0').trim_end_matches('.').to_owned();
        }
    }
    out
}

/// A lens name's words, without those that say nothing.
fn lens_words(text: &str) -> Vec<String> {
    let mut found: Vec<String> =
        words(text).into_iter().filter(|w| !matches!(w.as_str(), "mm" | "f" | "lens")).collect();
    found.sort();
    found
}

fn without(name: &[String], maker: &[String]) -> Vec<String> {
    let kept: Vec<String> = name.iter().filter(|w| !maker.contains(w)).cloned().collect();
    if kept.is_empty() { name.to_vec() } else { kept }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_compared_by_their_words() {
        assert_eq!(words("EF-S18-55mm f/3.5-5.6 IS II"), ["ef", "s", "18", "55", "mm", "f", "3.5", "5.6", "is", "ii"]);
        assert_eq!(lens_words("18.0-105.0 mm f/3.5-5.6"), ["105", "18", "3.5", "5.6"]);
        assert_eq!(without(&words("Canon EOS 600D"), &words("Canon")), ["eos", "600", "d"]);
    }
}
