//! Fills a page.

use super::foot::{self, Context};
use super::model::{
    FootSection, GrowthRow, LimitText, NoteText, Page, PairRow, PairTable, PhotoProvenance, Provenance, TimelineVisit,
    UncertaintyNote,
};
use super::{Photo, ReportOptions, owner, photos, words};
use crate::advice::Improvements;
use crate::follow::{Case, GrowthFrom, Key, Verdict};
use crate::measured::flag_meaning;
use crate::review::{self, PhotoValues};
use crate::scene::LensSource;
use crate::uncertainty::print;
use crate::visit::PhotoReport;
use crate::{Foot, Stage, View};
use jiff::civil::Date;

/// The page of one animal on one day. `photos` are all of its photos up to that day, `case` follows them.
pub(super) fn page<'a>(known: &'a [&'a Photo], case: &'a Case, day: Date, options: &ReportOptions) -> Page {
    let visit: Vec<&Photo> = known.iter().copied().filter(|p| p.shot.day == day).collect();
    let values: Vec<PhotoValues> = visit
        .iter()
        .map(|p| PhotoValues::new(&p.shot.photo, &p.report.sidecar, &p.report.measured, p.report.taken()))
        .collect();
    let letters = letters(case);
    let context = Context {
        case,
        day,
        last: case.visits.iter().rev().map(|v| v.day).find(|d| *d < day),
        notes: case.visits.iter().zip(&letters).filter_map(|(v, l)| Some((v.day, l.clone()?))).collect(),
        known,
        doubts: visit.iter().flat_map(|p| doubts(p)).collect(),
        reviews: review::review_feet(&values, &options.rules),
        width: photos::width(visit.len()),
        pictures: options.pictures,
    };
    let feet: Vec<Foot> = Foot::ALL.iter().copied().filter(|f| visit.iter().any(|p| p.shot.foot == *f)).collect();
    let mut drawn = 0;
    let sections: Vec<FootSection> = feet.iter().map(|f| foot::section(&context, *f, &visit, &mut drawn)).collect();
    let limits = limits(&sections);
    let compared = case.series.iter().flat_map(|s| &s.changes).filter(|c| c.to == day).count()
        + case.trims.iter().filter(|t| t.change.to == day).count();
    let mut observers: Vec<String> = visit.iter().filter_map(|p| p.report.sidecar.observer.clone()).collect();
    observers.sort_unstable();
    observers.dedup();
    let weeks = visit.iter().find_map(|p| p.report.visit.as_ref()?.interval_weeks);
    let next = weeks.and_then(|w| day.checked_add(jiff::Span::new().days((w * 7.0).round() as i64)).ok());
    Page {
        animal: case.animal.clone(),
        day: words::day(day),
        day_iso: day.to_string(),
        last_day: context.last.map(words::day),
        visits: case.visits.len(),
        observers,
        next_visit: next.map(words::day),
        headlines: feet.iter().map(|f| foot::headline(&context, *f)).collect(),
        feet: sections,
        limits,
        pairs: pairs(&context, case, day),
        growth: growth(case),
        uncertainty: uncertainty(&visit),
        timeline: case
            .visits
            .iter()
            .zip(letters)
            .map(|(v, letter)| TimelineVisit {
                letter,
                day: words::day(v.day),
                photos: v.photos.len(),
                notes: v
                    .remarks
                    .iter()
                    .map(|(about, text)| NoteText { about: about.clone(), text: text.clone() })
                    .collect(),
            })
            .collect(),
        compared,
        by_chance: (compared as f64 * 0.05).ceil() as usize,
        cautions: review::CAUTIONS.to_vec(),
        provenance: provenance(&visit),
        owner: owner::feet(&context, known, &feet),
    }
}

/// The limits of all verdicts, each once, in the order they are met.
fn limits(sections: &[FootSection]) -> Vec<LimitText> {
    let mut found: Vec<LimitText> = Vec::new();
    for f in sections {
        let verdicts = [&f.noted, &f.not_resolved, &f.not_noted].into_iter().flatten();
        for v in f.heels.iter().flat_map(|h| &h.evidence).chain(verdicts) {
            let limit = LimitText {
                name: v.name.clone(),
                limit: v.limit.clone(),
                source: v.source.clone(),
                disagree: v.disagree.clone(),
            };
            if !found.contains(&limit) {
                found.push(limit);
            }
        }
    }
    found
}

/// A letter for each visit that has more noted than the usual.
fn letters(case: &Case) -> Vec<Option<String>> {
    let mut next = 0_u8;
    case.visits
        .iter()
        .map(|v| {
            // What every visit repeats is no event.
            let is_event =
                |r: &(String, String)| case.visits.len() == 1 || !case.visits.iter().all(|o| o.remarks.contains(r));
            v.remarks.iter().any(is_event).then(|| {
                let letter = char::from(b'a' + next % 26).to_string();
                next = next.wrapping_add(1);
                letter
            })
        })
        .collect()
}

/// Values of a photo that are not to be trusted as they stand.
fn doubts(photo: &Photo) -> Vec<(Key, &'static str)> {
    let m = &photo.report.measured;
    let key = Key { foot: photo.shot.foot, view: photo.shot.view, side: photo.shot.side, stage: photo.shot.stage };
    m.values.iter().filter(|v| !m.doubts(v).is_empty()).map(|v| (key, v.measurement.id)).collect()
}

/// The other foot of the pair.
const fn other(foot: Foot) -> Foot {
    match foot {
        Foot::LeftFore => Foot::RightFore,
        Foot::RightFore => Foot::LeftFore,
        Foot::LeftHind => Foot::RightHind,
        Foot::RightHind => Foot::LeftHind,
    }
}

fn pairs(context: &Context<'_>, case: &Case, day: Date) -> Vec<PairTable> {
    // As the feet came: what the trim left of it is for the tables of each foot.
    let came = |k: Key| {
        let before = case.sides.iter().any(|d| {
            d.left.day == day && (d.key.foot, d.key.view) == (k.foot, k.view) && d.key.stage == Some(Stage::BeforeTrim)
        });
        k.stage != Some(Stage::AfterTrim) || !before
    };
    let of_day: Vec<_> = case.sides.iter().filter(|d| d.left.day == day && came(d.key)).collect();
    let mut keys: Vec<Key> = of_day.iter().map(|d| d.key).collect();
    keys.dedup();
    keys.into_iter()
        .map(|key| PairTable {
            caption: format!(
                "{} feet, {}, {}",
                if key.foot == Foot::LeftFore { "Fore" } else { "Hind" },
                words::seen(key.view, key.side),
                words::stage(key.stage)
            ),
            rows: of_day
                .iter()
                .filter(|d| d.key == key)
                .map(|d| PairRow {
                    name: d.measurement.name,
                    left: context.value_text(d.measurement, d.key, &d.left),
                    right: context.value_text(d.measurement, Key { foot: other(d.key.foot), ..d.key }, &d.right),
                    difference: words::signed(d.measurement, d.difference.difference, d.difference.expanded()),
                    word: match d.difference.verdict {
                        Verdict::Rose => "left larger",
                        Verdict::Fell => "right larger",
                        Verdict::NotResolved => "not resolved",
                    },
                    real: d.difference.verdict != Verdict::NotResolved,
                })
                .collect(),
        })
        .collect()
}

fn growth(case: &Case) -> Vec<GrowthRow> {
    case.growth
        .iter()
        .map(|g| {
            let scattered = g.scatter.is_some_and(|s| s.is_excessive());
            let mut remark = Vec::new();
            if scattered {
                remark.push("the intervals differ more than chance explains, and ± is wider for it".to_owned());
            }
            if g.ambiguous > 0 {
                remark.push(format!("{} intervals left out, whose rings fit together in several ways", g.ambiguous));
            }
            GrowthRow {
                foot: words::foot(g.foot),
                place: g.place.name(),
                from: match g.from {
                    GrowthFrom::Rings => "rings that moved down (growth alone)",
                    GrowthFrom::Wall => "length from one trim to the next (growth less wear)",
                },
                rate: print(g.per_month, g.k * g.u, "mm").to_string(),
                remark: (!remark.is_empty()).then(|| remark.join("; ")),
            }
        })
        .collect()
}

fn uncertainty(visit: &[&Photo]) -> Vec<UncertaintyNote> {
    let mut notes = Vec::new();
    for view in [View::Lateral, View::Solar] {
        let of: Vec<_> = visit.iter().filter(|p| p.shot.view == view).collect();
        let shares = words::mean_shares(of.iter().flat_map(|p| &p.report.measured.values));
        let (Some(first), Some((source, share))) = (of.first(), shares.first().copied()) else { continue };
        let measured = &first.report.measured;
        let values: Vec<_> = measured.values.iter().collect();
        let advice = Improvements::new(&first.report.sidecar, measured).best_of(&values);
        notes.push(UncertaintyNote {
            seen: words::seen(view, None),
            source: source.label(),
            share: format!("{:.0} %", 100.0 * share),
            gain: advice.map(|a| format!("{:.0} %", 100.0 * (1.0 - a.factor))),
            advice: advice.map(|a| a.change.words().to_owned()),
            others: shares
                .iter()
                .skip(1)
                .filter(|s| s.1 >= 0.05)
                .map(|(s, share)| format!("{} {:.0} %", s.label(), 100.0 * share))
                .collect(),
        });
    }
    notes
}

/// What was known of a photo's lens, and what became of that.
fn lens(report: &PhotoReport) -> String {
    let known = match (report.lens.prior.source, &report.lens.profile, &report.lens.note) {
        (LensSource::Profile, Some(file), _) => format!("lens profile {file}"),
        (LensSource::Profile, None, _) => "a lens profile".to_owned(),
        (LensSource::Database, _, Some(entry)) => entry.clone(),
        (LensSource::Database, _, None) => "an entry of the lens database".to_owned(),
        (LensSource::Exif, ..) => "focal length from the photo's header".to_owned(),
        (LensSource::ExifCropped, ..) => {
            "focal length from the photo's header, which a crop would make up to twice as long".to_owned()
        }
        (LensSource::Unknown, ..) => "nothing known of the lens".to_owned(),
    };
    if report.measured.scene.lens_source == report.lens.prior.source {
        return known;
    }
    format!("{known}; the scale contradicts it, so it was not used")
}

fn provenance(visit: &[&Photo]) -> Provenance {
    let photos = visit
        .iter()
        .map(|p| {
            let m = &p.report.measured;
            let mut flags: Vec<&str> = Vec::new();
            for flag in m.values.iter().flat_map(|v| m.flags(v)) {
                if !flags.contains(&flag) {
                    flags.push(flag);
                }
            }
            let lens = lens(&p.report);
            PhotoProvenance {
                name: p.shot.photo.clone(),
                photo_sha256: p.report.photo_sha256.to_string(),
                sidecar_sha256: p.report.sidecar_sha256.to_string(),
                lens,
                remarks: flags.into_iter().filter_map(flag_meaning).collect(),
            }
        })
        .collect();
    Provenance { program: env!("CARGO_PKG_NAME"), version: env!("CARGO_PKG_VERSION"), photos }
}
