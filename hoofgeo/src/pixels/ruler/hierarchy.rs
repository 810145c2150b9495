//! Which lines of a comb are longer, and what rule has such lines.

use super::Acceptance;
use super::comb::Comb;
use super::lines::Line;
use super::trace::Track;
use super::view::View;

/// How far beyond the short lines longer ones are followed, in line distances.
const REACH: f64 = 9.0;
/// Rows for each line distance.
const ROWS: usize = 6;
/// A line ends where its darkness falls below this share of its own.
const END: f64 = 0.45;

/// How the lengths of a rule's lines repeat.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Pattern {
    /// Millimetres: longer at every fifth, longest at every tenth.
    Millimetre,
    /// Half millimetres: shorter between the millimetres.
    HalfMillimetre,
    /// An inch in sixteenths.
    InchSixteenths,
    /// An inch in eighths.
    InchEighths,
    /// An inch in thirty-seconds.
    InchThirtySeconds,
    /// Longer at every fifth, all alike: many rules have such lines.
    Fives,
    /// Any lengths that repeat at every tenth line alone, such as a fan.
    Fan,
    /// Longer at every tenth alone.
    Tens,
    /// Every second line is longer.
    Twos,
    /// Every fourth line is longer.
    Fours,
    /// No line is longer than another.
    Even,
}

impl Pattern {
    /// All of them.
    pub const ALL: [Self; 11] = [
        Self::Millimetre,
        Self::HalfMillimetre,
        Self::InchSixteenths,
        Self::InchEighths,
        Self::InchThirtySeconds,
        Self::Fives,
        Self::Fan,
        Self::Tens,
        Self::Twos,
        Self::Fours,
        Self::Even,
    ];

    /// Distance of two neighbouring lines of a metric rule, mm, where the pattern tells it. Fives and tens are equally long on calipers
    /// and many school rulers.
    pub const fn step_mm(self) -> Option<f64> {
        match self {
            Self::Millimetre | Self::Fives | Self::Fan => Some(1.0),
            Self::HalfMillimetre => Some(0.5),
            _ => None,
        }
    }

    /// Whether it is the pattern of an inch rule.
    pub const fn is_inch(self) -> bool {
        matches!(self, Self::InchSixteenths | Self::InchEighths | Self::InchThirtySeconds)
    }

    /// What the lines are.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Millimetre => "millimetres",
            Self::HalfMillimetre => "half millimetres",
            Self::InchSixteenths => "sixteenths",
            Self::InchEighths => "eighths",
            Self::InchThirtySeconds => "thirty-seconds",
            Self::Fives => "longer at every fifth",
            Self::Fan => "alike at every tenth",
            Self::Tens => "longer at every tenth",
            Self::Twos => "longer at every second",
            Self::Fours => "longer at every fourth",
            Self::Even => "all alike",
        }
    }

    /// Lines from one of the longest to the next.
    const fn cycle(self) -> i32 {
        match self {
            Self::Millimetre | Self::Tens | Self::Fan => 10,
            Self::HalfMillimetre => 20,
            Self::InchSixteenths => 16,
            Self::InchEighths => 8,
            Self::InchThirtySeconds => 32,
            Self::Fives => 5,
            Self::Twos => 2,
            Self::Fours => 4,
            Self::Even => 1,
        }
    }

    /// Rank of a line's length, 0 the shortest; `k` counts from one of the longest.
    fn rank(self, k: i32) -> usize {
        let k = k.rem_euclid(self.cycle());
        let binary = |levels: usize| (k.trailing_zeros() as usize).min(levels);
        match self {
            Self::Millimetre => {
                if k == 0 {
                    2
                } else {
                    usize::from(k == 5)
                }
            }
            Self::HalfMillimetre => match k {
                0 => 3,
                10 => 2,
                _ => usize::from(k % 2 == 0),
            },
            Self::InchSixteenths => binary(4),
            Self::InchEighths => binary(3),
            Self::InchThirtySeconds => binary(5),
            // The longest last, as in every pattern.
            Self::Fan => (k + 9) as usize % 10,
            // Lines of one length: no rank but the shortest.
            Self::Even => 0,
            _ => usize::from(k == 0),
        }
    }
}

/// A pattern laid on the lines.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Fit {
    pub pattern: Pattern,
    /// Number of one of the longest lines.
    pub zero: i32,
    /// Natural logarithm of the likelihood, less a penalty for what was chosen and fitted.
    pub log_likelihood: f64,
    /// Share of lines whose length is that of their rank.
    pub agree: f64,
    /// Mean length of each rank, line distances.
    pub lengths: Vec<f64>,
}

/// The pattern that fits best, and by how much better than any that would give another scale.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Judged {
    pub best: Fit,
    /// Logarithm of the likelihood ratio to the best pattern of another step.
    pub margin: f64,
}

/// Lengths of a comb's lines on one side of the band's middle, in line distances, with the lines' numbers.
pub(super) fn lengths(grey: &View, track: &Track, comb: &Comb, side: f64) -> Vec<(i32, f64)> {
    let rows = (REACH * ROWS as f64) as usize;
    let dark: Vec<(i32, Vec<f64>)> = comb.lines.iter().map(|l| (l.number, darkness(grey, l, side, rows))).collect();
    // What a line is as dark as within the band, half of whose length lies on this side.
    let inner = ((0.5 * track.length * 0.8) * ROWS as f64).max(2.0) as usize;
    let mut usual: Vec<f64> = dark.iter().map(|(_, d)| mean(&d[..inner.min(d.len())])).collect();
    usual.sort_by(f64::total_cmp);
    let usual = usual.get(usual.len() / 2).copied().unwrap_or(0.0);
    dark.into_iter()
        .map(|(k, d)| {
            let own = mean(&d[..inner.min(d.len())]).clamp(0.6 * usual, 1.4 * usual);
            // Past the inner part, the first place where it stays faint for a third of a line distance.
            let faint = |i: usize| d[i] < END * own;
            let end = (inner / 2..d.len().saturating_sub(1)).find(|&i| faint(i) && faint(i + 1)).unwrap_or(d.len());
            (k, end as f64 / ROWS as f64)
        })
        .collect()
}

/// The pattern of a comb's lines where it is certain.
pub(super) fn certain_pattern(view: &View, track: &Track, comb: &Comb, limits: &Acceptance) -> Option<Pattern> {
    let sides = [1.0, -1.0].map(|side| judge(&lengths(view, track, comb, side)));
    let certain = |j: &Judged| j.margin >= limits.margin && j.best.agree >= limits.agree;
    let best = sides.into_iter().flatten().filter(certain).max_by(|a, b| a.score().total_cmp(&b.score()))?;
    Some(best.best.pattern)
}

impl Judged {
    /// Of two sides the one whose pattern is more certain counts, a ruler's before any other.
    pub(super) fn score(&self) -> f64 {
        let ruler = self.best.pattern.step_mm().is_some() || self.best.pattern.is_inch();
        if ruler { self.margin + 1e6 * f64::from(u8::from(self.margin > 0.0)) } else { 0.0 }
    }
}

/// How much darker a line is than the ground on both its sides, row by row outwards.
fn darkness(grey: &View, line: &Line, side: f64, rows: usize) -> Vec<f64> {
    let period = line.step.norm();
    let raw: Vec<f64> = (0..rows + 2)
        .map(|r| {
            let p = line.at + line.direction * (side * period * (r as f64 + 0.5) / ROWS as f64);
            let s = |t: f64| grey.sample(p + line.step * t).unwrap_or(0.0);
            let on = (s(-0.1) + 2.0 * s(0.0) + s(0.1)) / 4.0;
            // The darker of both sides: on one of them a number may stand.
            let beside = (0.5 * (s(-0.5) + s(-0.42))).min(0.5 * (s(0.5) + s(0.42)));
            let both = 0.25 * (s(-0.5) + s(-0.42) + s(0.5) + s(0.42));
            0.5 * (beside + both) - on
        })
        .collect();
    (0..rows).map(|r| mean(&raw[r.saturating_sub(1)..(r + 2).min(raw.len())])).collect()
}

fn mean(v: &[f64]) -> f64 {
    v.iter().sum::<f64>() / v.len().max(1) as f64
}

/// Standard deviation of a line's length, line distances, and the share of lines with any length at all (dirt, numbers, glare).
const SIGMA: f64 = 0.3;
const ODD: f64 = 0.08;
/// Penalty for each mean length that is fitted, and for a longer cycle.
const PENALTY: f64 = 2.0;
/// The same where every line of a cycle has its own mean.
const FAN_PENALTY: f64 = 3.0;
/// Least difference of the mean lengths of neighbouring ranks.
const RISE: f64 = 0.45;

/// Lays every pattern on the lengths.
pub(super) fn judge(lengths: &[(i32, f64)]) -> Option<Judged> {
    let mut fits: Vec<Fit> = Pattern::ALL
        .into_iter()
        .filter_map(|pattern| {
            let fits = (0..pattern.cycle()).filter_map(|zero| lay(pattern, zero, lengths));
            fits.max_by(|a, b| a.log_likelihood.total_cmp(&b.log_likelihood))
        })
        .collect();
    fits.sort_by(|a, b| b.log_likelihood.total_cmp(&a.log_likelihood));
    let best = fits.first()?.clone();
    // Patterns of one scale do not speak against each other.
    let same = |p: Pattern| p == best.pattern || (p.step_mm().is_some() && p.step_mm() == best.pattern.step_mm());
    let margin = fits.iter().find(|f| !same(f.pattern)).map_or(0.0, |f| best.log_likelihood - f.log_likelihood);
    Some(Judged { best, margin })
}

fn lay(pattern: Pattern, zero: i32, lengths: &[(i32, f64)]) -> Option<Fit> {
    let ranks: Vec<usize> = lengths.iter().map(|(k, _)| pattern.rank(k - zero)).collect();
    let count = ranks.iter().max()? + 1;
    let expected = (0..pattern.cycle()).map(|k| pattern.rank(k)).max()? + 1;
    if count < expected {
        return None;
    }
    let mut means = Vec::with_capacity(count);
    for rank in 0..count {
        let mut of: Vec<f64> = ranks.iter().zip(lengths).filter(|(r, _)| **r == rank).map(|(_, l)| l.1).collect();
        // Two lines of a kind are the least that shows one.
        if of.len() < 2 {
            return None;
        }
        of.sort_by(f64::total_cmp);
        means.push(0.5 * (of[of.len() / 2] + of[(of.len() - 1) / 2]));
    }
    if pattern == Pattern::Fan {
        // One of the longest lines is its zero, and the shortest are clearly shorter.
        let longest = means.iter().copied().fold(f64::MIN, f64::max);
        let shortest = means.iter().copied().fold(f64::MAX, f64::min);
        if means[count - 1] < longest || longest - shortest < 2.0 * RISE {
            return None;
        }
    } else if means.windows(2).any(|m| m[1] - m[0] < RISE) {
        return None;
    }
    let penalty = if pattern == Pattern::Fan { FAN_PENALTY } else { PENALTY };
    let mut log_likelihood = -penalty * count as f64 - f64::from(pattern.cycle()).ln();
    let mut agree = 0;
    for (rank, (_, length)) in ranks.iter().zip(lengths) {
        let z = (length - means[*rank]) / SIGMA;
        let normal = (-0.5 * z * z).exp() / (SIGMA * std::f64::consts::TAU.sqrt());
        log_likelihood += ((1.0 - ODD) * normal + ODD / REACH).ln();
        agree += usize::from(z.abs() < 2.0);
    }
    let agree = agree as f64 / lengths.len() as f64;
    Some(Fit { pattern, zero, log_likelihood, agree, lengths: means })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(pattern: Pattern, n: i32, zero: i32) -> Vec<(i32, f64)> {
        // A fixed scatter that repeats with no pattern's cycle.
        let scatter = |k: i32| 0.15 * (f64::from(k) * 2.399).sin();
        (0..n).map(|k| (k, 3.5 + 1.2 * pattern.rank(k - zero) as f64 + scatter(k))).collect()
    }

    #[test]
    fn every_pattern_is_told_from_all_others() {
        for pattern in Pattern::ALL {
            let judged = judge(&of(pattern, 400, 3)).unwrap_or_else(|| panic!("{pattern:?}"));
            assert_eq!(judged.best.pattern, pattern);
            // Nothing else can be laid on lines of one length.
            assert!(judged.margin > 4.0 || pattern == Pattern::Even, "{pattern:?} {}", judged.margin);
            assert_eq!((3 - judged.best.zero).rem_euclid(pattern.cycle()), 0);
        }
    }

    #[test]
    fn a_few_odd_lines_do_not_matter() {
        let mut lengths = of(Pattern::Millimetre, 60, 4);
        for k in [3, 17, 24, 41] {
            lengths[k].1 = 8.0;
        }
        let judged = judge(&lengths).expect("a pattern");
        assert_eq!(judged.best.pattern, Pattern::Millimetre);
        assert!(judged.margin > 8.0, "{}", judged.margin);
    }
}
