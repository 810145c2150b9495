//! Rings as crests of a profile, and which of them follow each other without a gap.

use super::strip::{Profile, STEP_MM};

/// A crest is a ring from here, and may be one from the second value on, in standard uncertainties (chosen; tests/wall_reading.rs holds the
/// share of walls without rings on which something is found).
const SEEN: f64 = 4.5;
const DOUBTFUL: f64 = 2.5;
/// A crest that looks more like a step than this is none (see [`Crest::step`]; chosen between 0.25 and 1).
const STEP: f64 = 0.6;
/// A ring is certain from here.
const CERTAIN: f64 = 6.5;
/// A gap this many times the usual distance hides a ring (chosen: rings of a year's seasons differ less from one to the next).
const GAP: f64 = 1.55;
/// Two crests nearer than this share of the usual distance are not two rings.
const CROWDED: f64 = 0.62;
/// Where between two rings a third is looked for at a finer scale, as a share of their distance, and how strong it is, against them (chosen).
const MIDDLE: std::ops::Range<f64> = 0.3..0.7;
const LOST: f64 = 0.35;
/// A ring this many times as strong as its fellows tells of an event (chosen).
const EVENT: f64 = 2.2;

/// A crest of a profile.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Crest {
    /// Depth at the strip's middle, mm.
    pub(super) depth: f64,
    pub(super) u: f64,
    /// Height of the answer, and in standard uncertainties.
    pub(super) strength: f64,
    pub(super) z: f64,
    /// How much it looks like the beginning of a step, such as the edge of a shadow, of mud, or of the film under the hair: 1 at a step, 0 on a
    /// ridge, 0.25 where light along the wall shows the ridge's slopes alone.
    pub(super) step: f64,
}

impl Crest {
    pub(super) fn is_certain(&self) -> bool {
        self.z >= CERTAIN
    }
}

/// All crests that may be rings, from above down, where rings are looked for.
pub(super) fn crests(profile: &Profile) -> Vec<Crest> {
    seen(profile).filter(|c| profile.is_clear(c.depth)).collect()
}

/// All crests that may be rings, those near the wall's ends among them.
pub(super) fn seen(profile: &Profile) -> impl Iterator<Item = Crest> + '_ {
    maxima(profile).filter(|c| c.z >= DOUBTFUL && c.step < STEP && c.u.is_finite())
}

/// All maxima, each placed by the parabola through its three highest values.
pub(super) fn maxima(profile: &Profile) -> impl Iterator<Item = Crest> + '_ {
    let m = &profile.mean;
    (1..m.len().saturating_sub(1)).filter(move |i| m[*i] > m[i - 1] && m[*i] >= m[i + 1]).map(move |i| {
        let bend = m[i - 1] - 2.0 * m[i] + m[i + 1];
        let offset = 0.5 * (m[i - 1] - m[i + 1]) / bend;
        Crest {
            depth: profile.first + (i as f64 + offset) * STEP_MM,
            u: profile.u_slope[i] * STEP_MM * STEP_MM / bend.abs(),
            strength: m[i],
            z: m[i] / profile.u[i],
            step: profile.step[i].abs() / m[i],
        }
    })
}

/// The rings among crests, and how many more there may be.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Row {
    /// From above down.
    pub(super) rings: Vec<Crest>,
    /// The first and one past the last of the longest part without a gap.
    pub(super) whole: std::ops::Range<usize>,
    /// Crests that may be rings besides.
    pub(super) doubtful: usize,
}

impl Row {
    /// Whether the part without a gap has lost a ring that is seen at a finer scale, `finer`: one in the middle of two of its rings, not much
    /// weaker there than they are. The light's shoulders on a ring's slopes lie nearer to it.
    pub(super) fn hides(&self, finer: &[Crest]) -> bool {
        let nearest = |depth: f64| {
            finer.iter().min_by(|a, b| (a.depth - depth).abs().total_cmp(&(b.depth - depth).abs())).map(|c| c.strength)
        };
        let whole = &self.rings[self.whole.clone()];
        let typical =
            crate::pixels::gradient::median(&mut whole.iter().filter_map(|r| nearest(r.depth)).collect::<Vec<_>>());
        whole.windows(2).any(|w| {
            let gap = w[1].depth - w[0].depth;
            finer
                .iter()
                .filter(|c| MIDDLE.contains(&((c.depth - w[0].depth) / gap)))
                .any(|c| c.z >= SEEN && typical.is_some_and(|t| c.strength >= LOST * t))
        })
    }
}

pub(super) fn row(all: &[Crest]) -> Option<Row> {
    let mut rings: Vec<Crest> = all.iter().copied().filter(|c| c.z >= SEEN).collect();
    let usual = |rings: &[Crest]| -> Option<f64> {
        let mut d: Vec<f64> = rings.windows(2).map(|w| w[1].depth - w[0].depth).collect();
        d.sort_by(f64::total_cmp);
        // Of two in the middle the smaller: the larger may hide a ring.
        (!d.is_empty()).then(|| d[(d.len() - 1) / 2])
    };
    // Of two that crowd each other the stronger is the ring.
    while let Some(d) = usual(&rings).filter(|_| rings.len() > 3) {
        let Some(k) = (0..rings.len() - 1).find(|k| rings[k + 1].depth - rings[*k].depth < CROWDED * d) else { break };
        let weaker = if rings[k].strength < rings[k + 1].strength { k } else { k + 1 };
        rings.remove(weaker);
    }
    let distance = usual(&rings)?;
    // A gap of two distances with a crest in its middle: there a weaker one is believed.
    let mut k = 0;
    while k + 1 < rings.len() {
        let gap = rings[k + 1].depth - rings[k].depth;
        if gap > GAP * distance && gap < (GAP + 1.0) * distance {
            let middle = rings[k].depth + gap / 2.0;
            let off = |c: &&Crest| (c.depth - middle).abs();
            let near = all.iter().filter(|c| off(c) < 0.2 * gap).max_by(|a, b| a.z.total_cmp(&b.z));
            if let Some(crest) = near {
                rings.insert(k + 1, *crest);
            }
        }
        k += 1;
    }
    let mut whole = 0..0;
    let mut from = 0;
    for k in 0..rings.len() {
        let ends = k + 1 == rings.len() || rings[k + 1].depth - rings[k].depth > GAP * distance;
        if ends {
            if k + 1 - from > whole.len() {
                whole = from..k + 1;
            }
            from = k + 1;
        }
    }
    let apart = |c: &&Crest| rings.iter().all(|r| (r.depth - c.depth).abs() > CROWDED * distance);
    let doubtful = all.iter().filter(apart).count();
    Some(Row { rings, whole, doubtful })
}

/// Which rings are much stronger than the others of the row.
pub(super) fn events(rings: &[Crest]) -> Vec<bool> {
    (0..rings.len())
        .map(|k| {
            let mut others: Vec<f64> =
                rings.iter().enumerate().filter(|(i, _)| *i != k).map(|(_, r)| r.strength).collect();
            let typical = crate::pixels::gradient::median(&mut others);
            rings[k].is_certain() && typical.is_some_and(|t| rings[k].strength > EVENT * t)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn crest(depth: f64, z: f64) -> Crest {
        Crest { depth, u: 0.1, strength: z, z, step: 0.0 }
    }

    #[test]
    fn a_weak_ring_is_believed_where_one_is_expected() {
        let all = [
            crest(10.0, 9.0),
            crest(18.0, 8.0),
            crest(26.5, 3.0),
            crest(34.0, 9.0),
            crest(42.0, 8.0),
            crest(60.0, 3.0),
        ];
        let row = row(&all).expect("rings");
        assert_eq!(row.rings.iter().map(|c| c.depth).collect::<Vec<_>>(), [10.0, 18.0, 26.5, 34.0, 42.0]);
        assert_eq!((row.whole, row.doubtful), (0..5, 1));
    }

    #[test]
    fn a_gap_ends_the_row_and_crowding_is_no_ring() {
        let all = [
            crest(10.0, 9.0),
            crest(18.0, 8.0),
            crest(34.0, 9.0),
            crest(42.0, 8.0),
            crest(44.0, 5.0),
            crest(50.0, 8.0),
        ];
        let row = row(&all).expect("rings");
        assert_eq!(row.rings.len(), 5);
        assert_eq!(row.whole, 2..5);
    }

    #[test]
    fn a_ring_seen_at_a_finer_scale_is_missed() {
        let all = [crest(10.0, 9.0), crest(22.0, 8.0), crest(34.0, 9.0), crest(46.0, 8.0)];
        let row = row(&all).expect("rings");
        assert_eq!(row.whole, 0..4);
        let shoulder = [crest(10.0, 9.0), crest(12.5, 8.0), crest(22.0, 8.0), crest(34.0, 9.0), crest(46.0, 8.0)];
        assert!(!row.hides(&shoulder) && !row.hides(&all));
        let hidden = [crest(10.0, 9.0), crest(22.0, 8.0), crest(27.0, 5.0), crest(34.0, 9.0), crest(46.0, 8.0)];
        assert!(row.hides(&hidden));
    }

    #[test]
    fn only_a_much_stronger_ring_is_an_event() {
        let rings = [crest(10.0, 9.0), crest(18.0, 24.0), crest(26.0, 11.0), crest(34.0, 10.0)];
        assert_eq!(events(&rings), [false, true, false, false]);
    }
}
