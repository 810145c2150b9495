//! The conditions of the table, and what is counted in each.
#![allow(dead_code, reason = "the table and the test each take their own part")]

use super::world::{Photo, Ruler, Seeds, Yard, photo, take};
use hoofgeo::follow::{FollowOptions, LensIdentity, Shot, Verdict, follow};
use hoofgeo::measured::{MeasureOptions, measure};
use hoofgeo::{Landmark, View};
use rayon::prelude::*;
use std::collections::BTreeMap;

/// A named condition, and the share of values that has to be covered in it.
pub(crate) struct Row {
    pub(crate) name: String,
    pub(crate) yard: Yard,
    pub(crate) least: Option<f64>,
    /// A gross slip: it has to be noticed.
    pub(crate) gross: bool,
}

/// Flags that say how a value was made, not that something is wrong.
const ORDINARY: [&str; 7] = [
    "bearing_line",
    "near_heel_plane_assumed",
    "sole_plane_assumed",
    "monte_carlo",
    "bearing_edge_hidden",
    "two_poses",
    // The camera's, whatever the foot: said of each photo taken that far off square.
    "strong_tilt",
];

/// Every condition, for each ruler and view that it makes sense for.
pub(crate) fn rows() -> Vec<Row> {
    let mut rows = Vec::new();
    for (ruler, view) in [
        (Ruler::Straight, View::Lateral),
        (Ruler::Square, View::Lateral),
        (Ruler::Card, View::Lateral),
        (Ruler::Straight, View::Solar),
        (Ruler::Square, View::Solar),
    ] {
        let usual = Yard::usual(ruler, view);
        let lateral = view == View::Lateral;
        let straight = ruler == Ruler::Straight;
        let label = format!("{ruler:?} {view}").to_lowercase();
        let mut add = |name: &str, yard: Yard, least: Option<f64>, gross: bool| {
            rows.push(Row { name: format!("{label}: {name}"), yard, least, gross });
        };
        let lines = |n: usize| Yard { line_points: Some(n), ..usual };
        add("as the model takes it", usual, Some(0.94), false);
        add("walls drawn, 8 points, errors hang together", lines(8), Some(0.92), false);
        add("walls drawn, 15 points", lines(15), Some(0.92), false);
        add("walls drawn, 30 points", lines(30), Some(0.92), false);
        add("30 points, errors independent", Yard { hanging: false, ..lines(30) }, None, false);
        add("distance of heel or depth of sole stated", Yard { says_apart: Some(8.0), ..usual }, None, false);
        add("foot turned by 10 degrees", Yard { turned: Some(10.0), ..usual }, Some(0.92), false);
        add("ruler 20 mm off", Yard { ruler_off: Some(20.0), ..usual }, Some(0.92), false);
        add(
            if straight { "camera tilts twice as stated" } else { "camera tilts twice as usual" },
            Yard { tilt: if straight { 10.0 } else { 24.0 }, ..usual },
            Some(0.90),
            false,
        );
        add("no EXIF", Yard { no_exif: true, ..usual }, None, false);
        add("clicks of 3 px", Yard { click: 3.0, ..usual }, None, false);
        add("pen marks, said", Yard { pen_marks: true, ..usual }, None, false);
        add(
            "crop to 3/4, header of the whole frame, noticed",
            Yard { crop: 4.0 / 3.0, crop_suspected: true, ..usual },
            None,
            false,
        );
        add(
            "crop to 1/2, header of the whole frame, noticed",
            Yard { crop: 2.0, crop_suspected: true, ..usual },
            None,
            false,
        );
        add("merely resized, noticed", Yard { crop_suspected: true, ..usual }, None, false);
        add("crop to 1/2, not noticeable", Yard { crop: 2.0, ..usual }, None, false);
        add("barrel distortion left in, k1 -0.15", Yard { barrel: -0.15, ..usual }, None, false);
        add("pony's foot", Yard { size: 0.72, ..usual }, None, false);
        add("draught horse's foot", Yard { size: 1.35, ..usual }, None, false);
        add("labels in cm", Yard { label_factor: 0.1, ..usual }, None, true);
        add("labels in inches", Yard { label_factor: 1.0 / 25.4, ..usual }, None, true);
        add("labels x 10", Yard { label_factor: 10.0, ..usual }, None, true);
        let (a, b, c) = if lateral {
            (Landmark::ToeGround, Landmark::HeelGround, Landmark::HeelCoronet)
        } else {
            (Landmark::WidestMedial, Landmark::WidestLateral, Landmark::FrogApex)
        };
        add("two landmarks swapped", Yard { swapped: Some((a, b)), ..usual }, None, true);
        if lateral {
            let coronets = Some((Landmark::ToeCoronet, Landmark::HeelCoronet));
            add("coronets swapped", Yard { swapped: coronets, ..usual }, None, true);
            add("near heel not stated, 60 mm nearer", Yard { apart: [-60.0, -60.0], ..usual }, None, false);
            add("near heel not stated, at the midline", Yard { apart: [0.0, 0.0], ..usual }, None, false);
            add("no ground marked", Yard { ground: false, ..usual }, None, false);
            add(
                "5 mm of grass, said, no ground marked",
                Yard { grass: 5.0, says_surface: Some("grass"), ground: false, ..usual },
                None,
                false,
            );
            add("5 mm of grass, not said, no ground marked", Yard { grass: 5.0, ground: false, ..usual }, None, false);
            add("rolled toe, 4 mm along", Yard { toe_along: 4.0, ..usual }, None, false);
        } else {
            add("sole 12 to 20 mm deep, not stated", Yard { apart: [12.0, 20.0], ..usual }, Some(0.93), false);
        }
        add("a landmark 40 mm off", Yard { slip: Some((c, 40.0)), ..usual }, None, true);
        if straight {
            add("three graduations, one misread by 1 cm", Yard { graduations: 3, misread: 10.0, ..usual }, None, true);
            add(
                "three graduations, end for zero, 5 mm",
                Yard { graduations: 3, end_for_zero: 5.0, ..usual },
                None,
                true,
            );
            add("four graduations, one misread by 1 cm", Yard { graduations: 4, misread: 10.0, ..usual }, None, true);
            add("camera tilts four times as stated", Yard { tilt: 20.0, ..usual }, None, false);
        }
    }
    rows
}

/// What became of the values of a condition.
#[derive(Debug, Clone, Default)]
pub(crate) struct Count {
    pub(crate) photos: usize,
    /// Photos refused, or with a flag that says that something is wrong.
    pub(crate) noticed: usize,
    pub(crate) values: usize,
    pub(crate) inside: usize,
    pub(crate) flagged: usize,
    pub(crate) refused: usize,
    /// Outside its interval, and nothing says so.
    pub(crate) silent: usize,
    pub(crate) by_id: BTreeMap<&'static str, [usize; 2]>,
    /// Photos with a value of each flag that says that something is wrong.
    pub(crate) flags: BTreeMap<&'static str, usize>,
    /// Expanded uncertainties.
    pub(crate) expanded: BTreeMap<&'static str, Vec<f64>>,
}

impl Count {
    pub(crate) fn covered(&self) -> f64 {
        self.inside as f64 / (self.values - self.refused).max(1) as f64
    }

    /// The measurement that is covered worst, of those that are often enough there.
    pub(crate) fn worst(&self) -> Option<(&'static str, f64)> {
        let share = |c: &[usize; 2]| c[1] as f64 / c[0].max(1) as f64;
        let often = self.by_id.iter().filter(|(_, c)| c[0] * 2 > self.photos);
        often.map(|(id, c)| (*id, share(c))).min_by(|a, b| a.1.total_cmp(&b.1))
    }

    fn merge(mut self, o: Self) -> Self {
        self.photos += o.photos;
        self.noticed += o.noticed;
        self.values += o.values;
        self.inside += o.inside;
        self.flagged += o.flagged;
        self.refused += o.refused;
        self.silent += o.silent;
        for (id, c) in o.by_id {
            let sum = self.by_id.entry(id).or_default();
            (sum[0], sum[1]) = (sum[0] + c[0], sum[1] + c[1]);
        }
        for (flag, n) in o.flags {
            *self.flags.entry(flag).or_default() += n;
        }
        for (id, u) in o.expanded {
            self.expanded.entry(id).or_default().extend(u);
        }
        self
    }

    fn of(photo: &Photo) -> Self {
        let mut count = Self { photos: 1, ..Self::default() };
        let all = hoofgeo::measure::of(photo.view).filter_map(|m| Some((m, photo.value(m)?)));
        let measured = photo.sidecar.as_ref().and_then(|s| measure(s, &photo.lens, &MeasureOptions::default()).ok());
        let Some(measured) = measured else {
            let n = all.count();
            return Self { noticed: 1, values: n, refused: n, ..count };
        };
        for (m, truth) in all {
            count.values += 1;
            let Some(value) = measured.values.iter().find(|v| v.measurement.id == m.id) else {
                count.refused += 1;
                continue;
            };
            let flags: Vec<_> = measured.flags(value).into_iter().filter(|f| !ORDINARY.contains(f)).collect();
            let flagged = !flags.is_empty();
            count.flags.extend(flags.into_iter().map(|f| (f, 1)));
            let inside = (value.interval[0]..=value.interval[1]).contains(&truth);
            count.inside += usize::from(inside);
            count.flagged += usize::from(flagged);
            count.silent += usize::from(!inside && !flagged);
            count.noticed |= usize::from(flagged);
            let sum = count.by_id.entry(m.id).or_default();
            (sum[0], sum[1]) = (sum[0] + 1, sum[1] + usize::from(inside));
            count.expanded.entry(m.id).or_default().push(value.expanded());
        }
        count
    }
}

/// Photographs a yard so many times.
pub(crate) fn count(yard: &Yard, photos: usize, seed: u64) -> Count {
    (0..photos as u64)
        .into_par_iter()
        .filter_map(|i| photo(yard, seed * 1_000_000 + i))
        .map(|p| Count::of(&p))
        .reduce(Count::default, Count::merge)
}

/// What the photos of one day have in common.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sharing {
    pub(crate) name: &'static str,
    pub(crate) stand: bool,
    pub(crate) reading: bool,
    /// Each day's photos are one file under several names.
    pub(crate) copies: bool,
}

pub(crate) const SHARING: [Sharing; 5] = [
    Sharing { name: "nothing", stand: false, reading: false, copies: false },
    Sharing { name: "what the person reads into the foot", stand: false, reading: true, copies: false },
    Sharing { name: "the stand of foot and ruler", stand: true, reading: false, copies: false },
    Sharing { name: "both", stand: true, reading: true, copies: false },
    Sharing { name: "the file itself", stand: true, reading: true, copies: true },
];

/// Two days, three photos each, of a foot that does not change: how many of its differences pass for real, and of how many.
pub(crate) fn false_changes(yard: &Yard, sharing: &Sharing, cases: usize, seed: u64) -> [usize; 2] {
    (0..cases as u64)
        .into_par_iter()
        .filter_map(|case| changes_of(yard, sharing, seed * 1_000_000 + case))
        .reduce(|| [0, 0], |a, b| [a[0] + b[0], a[1] + b[1]])
}

fn changes_of(yard: &Yard, sharing: &Sharing, case: u64) -> Option<[usize; 2]> {
    let one = Seeds::of(case * 4096);
    let mut shots = Vec::new();
    for (d, day) in ["2026-03-02", "2026-04-06"].into_iter().enumerate() {
        let of_day = Seeds::of(case * 4096 + 100 * (d as u64 + 1));
        let (mut taken, mut retry) = (Vec::new(), 0);
        while taken.len() < 3 {
            retry += 1;
            if retry > 90 {
                return None;
            }
            let own = Seeds::of(case * 4096 + 100 * (d as u64 + 1) + retry);
            let seeds = Seeds {
                foot: one.foot,
                lens: one.lens,
                stand: if sharing.stand { of_day.stand } else { own.stand },
                reading: if sharing.reading { of_day.reading } else { own.reading },
                photo: own.photo,
            };
            if let Some(photo) = take(yard, &seeds) {
                let copies = if sharing.copies { 3 } else { 1 };
                taken.extend(std::iter::repeat_n(photo, copies));
            }
        }
        for (i, photo) in taken.iter().enumerate() {
            let sidecar = photo.sidecar.as_ref()?;
            let measured = measure(sidecar, &photo.lens, &MeasureOptions::default()).ok()?;
            let lens = LensIdentity { camera: Some("one".to_owned()), prior: photo.lens.clone() };
            shots.push(Shot::new(&format!("{day}-{i}.jpg"), sidecar, &measured, Some(day), Some(lens)).ok()?);
        }
    }
    let case = follow(&shots, &FollowOptions::default()).into_iter().next()?;
    let changes: Vec<_> = case.series.iter().filter_map(|s| s.latest_change()).collect();
    Some([changes.iter().filter(|c| c.verdict != Verdict::NotResolved).count(), changes.len()])
}
