//! What the numbers printed beside a comb say: how many lines make one unit, and which line is the zero.
//!
//! Single characters may be misread. Numbers count where they rise evenly: each as far from the next as its value says, in a rhythm that
//! rulers have.

use super::print::{Strip, Text, Way, Word};
use super::trace::Track;
use super::view::View;
use nalgebra::Point2;

/// A number rises by so much from line to line: centimetres and millimetres …
const METRIC: [f64; 7] = [0.1, 1.0, 0.05, 0.5, 0.2, 10.0, 5.0];
/// … inches in 16, 8 and 32 parts …
const INCH: [f64; 3] = [1.0 / 16.0, 1.0 / 8.0, 1.0 / 32.0];
/// … inches along lines of 1 and 0.5 mm …
const INCH_ON_MM: [(f64, f64); 2] = [(1.0 / 25.4, 1.0), (0.5 / 25.4, 0.5)];
/// … what says nothing: verniers, tenths of an inch along millimetres …
const NEITHER: [f64; 2] = [0.25, 10.0 / 25.4];
/// … and centimetres and millimetres along lines of a tenth of an inch.
const METRIC_ON_TENTHS: [f64; 2] = [0.254, 2.54];
/// Least numbers of a row, and how sure they must be together where they are so few.
const LEAST: usize = 3;
const LEAST_SURE: f64 = 2.85;
/// A character that is less probable is none.
const SURE: f64 = 0.6;
/// How far off its place a number may be printed, heights, lines, and as a share of a unit.
const OFF: f64 = 0.35;
const OFF_LINES: f64 = 0.5;
const OFF_UNITS: f64 = 0.2;

/// One row of numbers that rise evenly.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Row {
    /// By how much a number rises from line to line, in the order of the lines' numbers.
    pub rate: f64,
    /// The line, with its fraction, beside whose number 0 would stand.
    pub zero: f64,
    /// How many different numbers fit, and how many others stand in the row.
    pub fit: usize,
    pub off: usize,
    /// How sure they are together.
    pub sure: f64,
    /// Whether all of them are tens.
    pub tens: bool,
    pub largest: u32,
    /// Where it stands across the comb, and how high it is, line distances.
    pub across: f64,
    pub height: f64,
    pub way: Way,
}

/// What is printed beside a comb.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Printed {
    pub rows: Vec<Row>,
    /// Units that are printed as words.
    pub units: Vec<Text>,
}

/// What the lines are by their numbers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Lines {
    /// So many mm apart, and whether that is certain without anybody saying that the rule is metric.
    Metric { step_mm: f64, certain: bool },
    /// Parts of an inch.
    Inch,
}

/// Reads the numbers beside a comb. `None` where there are none that rise evenly.
pub(super) fn printed(view: &View, track: &Track) -> Option<Printed> {
    let strip = Strip::of(view, track);
    for mirrored in [false, true] {
        let mut units = Vec::new();
        let mut rows: Vec<Row> = Vec::new();
        for way in Way::all(mirrored) {
            let words: Vec<Word> = strip.words(way).into_iter().filter(|w| w.sure >= SURE).collect();
            units.extend(words.iter().map(|w| w.text).filter(|t| !matches!(t, Text::Number(_))));
            rows.extend(rows_of(words, way));
        }
        rows.sort_by(|a, b| b.sure.total_cmp(&a.sure));
        if !rows.is_empty() {
            return Some(Printed { rows, units });
        }
    }
    None
}

/// The evenly rising rows among words, the best first.
fn rows_of(mut words: Vec<Word>, way: Way) -> Vec<Row> {
    let mut rows = Vec::new();
    for _ in 0..4 {
        let best = candidates(&words, way).max_by(|a, b| a.score().total_cmp(&b.score()));
        let Some(best) = best.filter(Row::is_certain) else { break };
        words.retain(|w| !best.holds(w));
        rows.push(best);
    }
    rows
}

fn number(w: &Word) -> Option<f64> {
    if let Text::Number(n) = w.text { Some(f64::from(n)) } else { None }
}

fn candidates(words: &[Word], way: Way) -> impl Iterator<Item = Row> {
    let rates = METRIC.into_iter().chain(INCH).chain(INCH_ON_MM.map(|r| r.0)).chain(METRIC_ON_TENTHS).chain(NEITHER);
    let rates: Vec<f64> = rates.flat_map(|r| [r, -r]).collect();
    (0..words.len()).flat_map(move |i| {
        let rates = rates.clone();
        (i + 1..words.len()).filter_map(move |j| {
            let (a, b) = (&words[i], &words[j]);
            let (va, vb) = (number(a)?, number(b)?);
            if !alike(a, b) || va == vb {
                return None;
            }
            let away = b.at[0] - a.at[0];
            let rate = rates.iter().copied().min_by(|p, q| {
                let off = |r: f64| (away - (vb - va) / r).abs();
                off(*p).total_cmp(&off(*q))
            })?;
            if (away - (vb - va) / rate).abs() > allowed(a, rate) {
                return None;
            }
            Row::of(words, a, rate, way)
        })
    })
}

/// Whether two words stand in one row.
fn alike(a: &Word, b: &Word) -> bool {
    let h = a.height.max(b.height);
    (a.at[1] - b.at[1]).abs() < 0.6 * h && a.height.min(b.height) > 0.75 * h
}

/// How far off its place a number may be printed, lines.
fn allowed(word: &Word, rate: f64) -> f64 {
    // Numbers of lines that are millimetres stand at fives or tens.
    let unit = match number(word) {
        Some(v) if rate.abs() >= 0.5 && v % 10.0 == 0.0 => 10.0,
        Some(v) if rate.abs() >= 0.5 && v % 5.0 == 0.0 => 5.0,
        _ => 1.0,
    };
    (OFF * word.height + OFF_LINES).min(OFF_UNITS * unit / rate.abs())
}

impl Row {
    /// The row through a word with that rise; `None` where it is alone.
    fn of(words: &[Word], start: &Word, rate: f64, way: Way) -> Option<Self> {
        let first = start.at[0] - number(start)? / rate;
        let mut fit: Vec<(u32, f64, f64)> = Vec::new();
        let mut off = 0;
        for w in words.iter().filter(|w| alike(start, w)) {
            let Some(v) = number(w) else { continue };
            let zero = w.at[0] - v / rate;
            if (zero - first).abs() > allowed(w, rate) {
                off += 1;
            } else if let Some(known) = fit.iter_mut().find(|f| f.0 == v as u32) {
                known.1 = known.1.max(w.sure);
            } else {
                fit.push((v as u32, w.sure, zero));
            }
        }
        if fit.len() < 2 {
            return None;
        }
        let mut zeros: Vec<f64> = fit.iter().map(|f| f.2).collect();
        zeros.sort_by(f64::total_cmp);
        Some(Self {
            rate,
            zero: zeros[zeros.len() / 2],
            fit: fit.len(),
            off,
            sure: fit.iter().map(|f| f.1).sum(),
            tens: fit.iter().all(|f| f.0 % 10 == 0),
            largest: fit.iter().map(|f| f.0).max().unwrap_or(0),
            across: start.at[1],
            height: start.height,
            way,
        })
    }

    fn score(&self) -> f64 {
        self.sure - self.off as f64
    }

    fn is_certain(&self) -> bool {
        self.fit >= LEAST && self.sure >= LEAST_SURE && self.off * if self.fit > 5 { 1 } else { 2 } <= self.fit
    }

    fn holds(&self, w: &Word) -> bool {
        (w.at[1] - self.across).abs() < 0.6 * self.height.max(w.height)
            && number(w).is_some_and(|v| (w.at[0] - v / self.rate - self.zero).abs() <= allowed(w, self.rate))
    }

    fn is(&self, rate: f64) -> bool {
        (self.rate.abs() - rate).abs() < 1e-9
    }

    /// Distance of the lines by a row in mm or cm.
    fn step_mm(&self) -> Option<f64> {
        let is = |of: &[f64]| of.iter().any(|r| self.is(*r));
        // Tens beside every tenth line are millimetres; else numbers are centimetres.
        if self.tens && is(&[1.0, 0.5, 10.0, 5.0]) {
            Some(self.rate.abs())
        } else if is(&[0.1, 0.05]) || (self.largest > 10 && self.fit > LEAST && is(&[1.0])) {
            // A caliper's vernier is numbered to 10, beside every line, every second or every fifth: those are no centimetres.
            Some(10.0 * self.rate.abs())
        } else {
            None
        }
    }
}

/// The numbers beside a bar: the middles of the first and the last, px, what they are, and how many stand evenly.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct BarNumbers {
    pub ends: [Point2<f64>; 2],
    pub numbers: [u32; 2],
    pub fit: usize,
}

/// Least numbers of a bar that rise by one from line to line.
const LEAST_OF_BAR: usize = 6;

/// The longest row of numbers that rise by one from place to place, among the words of a whole picture, with a unit near.
pub(super) fn bar_numbers(words: &[Word]) -> Option<BarNumbers> {
    let numbers: Vec<(f64, &Word)> =
        words.iter().filter(|w| w.sure >= SURE).filter_map(|w| Some((number(w)?, w))).collect();
    let place = |w: &Word| Point2::new(w.at[0], w.at[1]);
    let mut best: Option<BarNumbers> = None;
    for (va, a) in &numbers {
        for (vb, b) in numbers.iter().filter(|(vb, b)| *vb == va + 1.0 && like_height(a, b)) {
            let step = place(b) - place(a);
            if !(1.5 * a.height..15.0 * a.height).contains(&step.norm()) {
                continue;
            }
            // Each neighbour says anew how far it is to the next: the row may run in perspective.
            let mut row = vec![(*va, *a), (*vb, *b)];
            for way in [1.0, -1.0] {
                let mut step = step * way;
                let (mut at, mut value) = if way > 0.0 { (place(b), *vb) } else { (place(a), *va) };
                let near = |p: Point2<f64>, v: f64, step: f64| {
                    let fits = |w: &Word| like_height(a, w) && (place(w) - p).norm() < OFF_UNITS * step;
                    numbers.iter().find(|(n, w)| *n == v && fits(w)).copied()
                };
                while let Some((v, w)) = near(at + step, value + way, step.norm()) {
                    step = 0.7 * step + 0.3 * (place(w) - at);
                    (at, value) = (place(w), v);
                    row.push((v, w));
                    if row.len() > 200 {
                        break;
                    }
                }
            }
            row.sort_by(|a, b| a.0.total_cmp(&b.0));
            let (first, last) = (row[0], row[row.len() - 1]);
            let unit = |w: &Word| {
                let off = |e: &Word| (place(e) - place(w)).norm();
                w.text == Text::Centimetre && off(first.1).min(off(last.1)) < 2.0 * step.norm()
            };
            if row.len() >= LEAST_OF_BAR && best.as_ref().is_none_or(|b| b.fit < row.len()) && words.iter().any(unit) {
                let ends = [place(first.1), place(last.1)];
                best = Some(BarNumbers { ends, numbers: [first.0 as u32, last.0 as u32], fit: row.len() });
            }
        }
    }
    best
}

fn like_height(a: &Word, b: &Word) -> bool {
    a.height.min(b.height) > 0.75 * a.height.max(b.height)
}

impl Printed {
    /// What the lines are by their numbers; `None` where these do not say it, or contradict each other.
    pub(super) fn lines(&self) -> Option<Lines> {
        let rows = &self.rows;
        let inch = rows.iter().any(|r| INCH.iter().any(|i| r.is(*i)));
        // Centimetres 3.94 lines apart: the lines are tenths of an inch, whose numbers rise as those of centimetres would.
        if rows.iter().any(|r| METRIC_ON_TENTHS.iter().any(|i| r.is(*i))) {
            return Some(Lines::Inch);
        }
        let by_inches = INCH_ON_MM.iter().find(|(rate, _)| rows.iter().any(|r| r.is(*rate))).map(|i| i.1);
        let steps: Vec<(f64, &Row)> = rows.iter().filter_map(|r| Some((r.step_mm()?, r))).collect();
        let step = steps.first().map(|s| s.0);
        if steps.iter().any(|s| Some(s.0) != step) {
            return None;
        }
        match (step, by_inches, inch) {
            (None, None, true) => Some(Lines::Inch),
            (None, Some(step_mm), false) => Some(Lines::Metric { step_mm, certain: true }),
            (Some(a), Some(b), false) if a == b => Some(Lines::Metric { step_mm: a, certain: true }),
            (Some(step_mm), None, false) => {
                let tens = steps.iter().any(|s| s.1.tens && s.1.is(step_mm));
                let certain = tens || !self.units.is_empty();
                Some(Lines::Metric { step_mm, certain })
            }
            _ => None,
        }
    }

    /// The row that numbers the lines in mm or cm; `None` where there is none, or another says otherwise.
    pub(super) fn row(&self) -> Option<&Row> {
        let row = self.rows.iter().find(|r| r.step_mm().is_some() && r.fit > LEAST)?;
        // The last digits of numbers are a row too, of fewer.
        let against = |r: &&Row| r.is(row.rate.abs()) && (r.rate != row.rate || (r.zero - row.zero).abs() > 1.0);
        self.rows.iter().filter(against).all(|r| 7 * r.fit <= 5 * row.fit).then_some(row)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const WAY: Way = Way { quarters: 0, mirrored: false };

    /// Numbers beside lines: (number, line).
    fn words(of: &[(u32, f64)], across: f64) -> Vec<Word> {
        let word = |(n, at): &(u32, f64)| Word { at: [*at, across], height: 2.4, text: Text::Number(*n), sure: 0.97 };
        of.iter().map(word).collect()
    }

    fn lines(all: &[Vec<Word>], units: &[Text]) -> Option<Lines> {
        let rows = all.iter().flat_map(|w| rows_of(w.clone(), WAY)).collect();
        Printed { rows, units: units.to_vec() }.lines()
    }

    #[test]
    fn tens_at_every_tenth_line_are_millimetres_without_a_word() {
        let mm = words(&[(10, 3.2), (20, 13.1), (30, 23.0), (40, 33.1)], 5.0);
        assert_eq!(lines(&[mm], &[]), Some(Lines::Metric { step_mm: 1.0, certain: true }));
    }

    #[test]
    fn ones_at_every_tenth_line_may_be_inches_until_something_else_tells() {
        let cm = words(&[(1, 3.2), (2, 13.1), (3, 23.0), (4, 33.1)], 5.0);
        assert_eq!(lines(std::slice::from_ref(&cm), &[]), Some(Lines::Metric { step_mm: 1.0, certain: false }));
        assert_eq!(
            lines(std::slice::from_ref(&cm), &[Text::Centimetre]),
            Some(Lines::Metric { step_mm: 1.0, certain: true })
        );
        // The inches of the other edge, 25.4 lines apart.
        let inch = words(&[(1, 30.0), (2, 55.4), (3, 80.8), (4, 106.2)], -12.0);
        assert_eq!(lines(&[cm, inch], &[]), Some(Lines::Metric { step_mm: 1.0, certain: true }));
    }

    #[test]
    fn a_rule_in_tenths_of_an_inch_is_known_by_the_centimetres_beside_it() {
        let tenths = words(&[(1, 3.2), (2, 13.1), (3, 23.0), (4, 33.1)], 5.0);
        let cm = words(&[(3, 10.0), (4, 13.94), (5, 17.87), (6, 21.81), (7, 25.75)], -12.0);
        assert_eq!(lines(&[tenths, cm], &[]), Some(Lines::Inch));
    }

    #[test]
    fn inches_in_sixteenths_and_half_millimetres_are_told() {
        let inch = words(&[(3, 60.0), (4, 76.1), (5, 91.9), (6, 108.0)], 5.0);
        assert_eq!(lines(&[inch], &[]), Some(Lines::Inch));
        let half = words(&[(3, 60.0), (4, 80.1), (5, 99.9), (6, 120.0)], 5.0);
        assert_eq!(lines(&[half], &[]), Some(Lines::Metric { step_mm: 0.5, certain: false }));
    }

    #[test]
    fn a_vernier_is_no_scale() {
        for apart in [1.0, 2.0, 5.0] {
            let all: Vec<(u32, f64)> = (0..=10).map(|n| (n, f64::from(n) * apart)).collect();
            assert_eq!(lines(&[words(&all, 5.0)], &[]), None, "{apart}");
        }
    }

    #[test]
    fn numbers_that_rise_unevenly_are_none() {
        let odd = words(&[(10, 3.2), (20, 17.0), (30, 23.9), (47, 33.1)], 5.0);
        assert_eq!(lines(&[odd], &[]), None);
    }
}
