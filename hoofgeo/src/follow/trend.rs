//! The straight line through several visits: its rate, and when it would cross a limit.

use super::pool::{Combination, Pool, Scatter};
use jiff::civil::Date;
use nalgebra::{DMatrix, Matrix2};

/// Mean length of a month, days: a year of 365.25 days over twelve.
pub const MONTH_DAYS: f64 = 30.4375;

/// Beyond this no date is named, days: no hoof keeps a straight line for ten years.
const HORIZON_DAYS: f64 = 3652.5;

/// The straight line that fits a row of visits best.
#[derive(Debug, Clone, PartialEq)]
pub struct Trend {
    /// The first visit.
    pub from: Date,
    /// The last visit.
    pub to: Date,
    /// Number of visits.
    pub visits: usize,
    /// Value of the line on the first day.
    pub start: f64,
    /// Change per month of 30.4 days.
    pub per_month: f64,
    /// Covariance of start and rate.
    pub covariance: Matrix2<f64>,
    /// Coverage factor of 95 % intervals.
    pub k: f64,
    /// How well the line fits; `None` with two visits.
    pub scatter: Option<Scatter>,
}

/// Days from one to another.
pub(super) fn days(from: Date, to: Date) -> f64 {
    from.until(to).map_or(f64::NAN, |span| f64::from(span.get_days()))
}

pub(super) fn later(from: Date, days: f64) -> Option<Date> {
    (days.abs() <= HORIZON_DAYS)
        .then(|| jiff::Span::new().days(days.round() as i64))
        .and_then(|s| from.checked_add(s).ok())
}

impl Trend {
    /// `None` with fewer than two visits.
    pub(super) fn new(pool: &Pool<'_>, visits: &[(Date, Combination)]) -> Option<Self> {
        let (first, last) = (visits.first()?.0, visits.last()?.0);
        if visits.len() < 2 {
            return None;
        }
        let months = |i: usize| days(first, visits[i].0) / MONTH_DAYS;
        let design = DMatrix::from_fn(visits.len(), 2, |i, j| if j == 0 { 1.0 } else { months(i) });
        let sums: Vec<Combination> = visits.iter().map(|v| v.1.clone()).collect();
        let fit = pool.fit(&sums, &design)?;
        Some(Self {
            from: first,
            to: last,
            visits: visits.len(),
            start: fit.x[0],
            per_month: fit.x[1],
            covariance: Matrix2::from_fn(|i, j| fit.covariance[(i, j)]),
            k: fit.k,
            scatter: fit.scatter,
        })
    }

    /// Standard uncertainty of the rate.
    pub fn u_per_month(&self) -> f64 {
        self.covariance[(1, 1)].max(0.0).sqrt()
    }

    /// Whether the 95 % interval of the rate leaves zero out.
    pub fn is_resolved(&self) -> bool {
        self.per_month.abs() > self.k * self.u_per_month()
    }

    /// Value of the line on a day and its standard uncertainty.
    pub fn at(&self, day: Date) -> (f64, f64) {
        let t = days(self.from, day) / MONTH_DAYS;
        let c = &self.covariance;
        let v = c[(0, 0)] + 2.0 * t * c[(0, 1)] + t * t * c[(1, 1)];
        (self.start + self.per_month * t, v.max(0.0).sqrt())
    }

    /// When the line, carried on, would cross a limit, seen from the last visit.
    ///
    /// # Source
    /// Fieller's theorem (Fieller 1954, J. R. Stat. Soc. B 16:175, from memory): the days t for which the line's value differs from
    /// the limit by no more than k times its standard uncertainty, (a + b t − L)² ≤ k² (v_aa + 2 v_ab t + v_bb t²). Where the
    /// rate itself is not resolved this set has no end.
    pub fn crossing(&self, limit: f64) -> Crossing {
        let c = &self.covariance;
        let (a, b, k2) = (self.start - limit, self.per_month, self.k * self.k);
        let (p, q, r) = (b * b - k2 * c[(1, 1)], a * b - k2 * c[(0, 1)], a * a - k2 * c[(0, 0)]);
        let now = days(self.from, self.to) / MONTH_DAYS;
        let likely = (b != 0.0).then(|| -a / b).filter(|t| *t >= now).and_then(|t| later(self.from, t * MONTH_DAYS));
        let date = |t: f64| later(self.from, t * MONTH_DAYS);
        let root = (q * q - p * r).max(0.0).sqrt();
        let is_now = p * now * now + 2.0 * q * now + r <= 0.0;
        if p > 0.0 {
            let (early, late) = ((-q - root) / p, (-q + root) / p);
            return if late < 0.0 {
                Crossing::MovesAway
            } else if late < now {
                Crossing::Past
            } else if is_now {
                Crossing::AlreadyPossible { likely, latest: date(late) }
            } else {
                match date(early) {
                    Some(earliest) => Crossing::Between { earliest, likely, latest: date(late) },
                    None => Crossing::NotWithinTenYears,
                }
            };
        }
        if is_now {
            return Crossing::AlreadyPossible { likely, latest: None };
        }
        // The line leaves the band between the two roots; the later one lies ahead.
        let next = (-q - root) / p;
        match date(next) {
            Some(earliest) if next > now => Crossing::Between { earliest, likely, latest: None },
            _ => Crossing::NotWithinTenYears,
        }
    }
}

/// When a line would cross a limit: a 95 % interval of days.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Crossing {
    /// Ahead.
    Between {
        /// Hardly before.
        earliest: Date,
        /// Where the line itself crosses, if it does.
        likely: Option<Date>,
        /// Hardly after; `None` where no end can be named.
        latest: Option<Date>,
    },
    /// The last visit's value is not told from the limit: it may lie beyond it already.
    AlreadyPossible {
        /// Where the line itself crosses, if that is still ahead.
        likely: Option<Date>,
        /// Hardly after; `None` where no end can be named.
        latest: Option<Date>,
    },
    /// The line crossed it between the first visit and the last.
    Past,
    /// The line moves away from it.
    MovesAway,
    /// Not within ten years, at this rate.
    NotWithinTenYears,
}

impl Crossing {
    /// The name used in results.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Between { .. } => "ahead",
            Self::AlreadyPossible { .. } => "already_possible",
            Self::Past => "past",
            Self::MovesAway => "moves_away",
            Self::NotWithinTenYears => "not_within_ten_years",
        }
    }

    /// Earliest and latest day, where there are such.
    pub const fn days(self) -> (Option<Date>, Option<Date>) {
        match self {
            Self::Between { earliest, latest, .. } => (Some(earliest), latest),
            Self::AlreadyPossible { latest, .. } => (None, latest),
            _ => (None, None),
        }
    }

    /// As a sentence without a full stop.
    pub fn words(&self) -> String {
        match self {
            Self::Between { earliest, likely, latest } => {
                let likely = likely.map_or_else(String::new, |d| format!(", the line itself on {d}"));
                match latest {
                    Some(latest) => format!("between {earliest} and {latest}{likely}"),
                    None => format!("not before {earliest}{likely}; how late cannot be said, it may never"),
                }
            }
            Self::AlreadyPossible { latest: Some(latest), .. } => {
                format!("it may have been crossed already; by {latest} at the latest")
            }
            Self::AlreadyPossible { latest: None, .. } => {
                "it may have been crossed already, or may never be: the rate is not known well enough".to_owned()
            }
            Self::Past => "the line crossed it before the last visit".to_owned(),
            Self::MovesAway => "the line moves away from it".to_owned(),
            Self::NotWithinTenYears => "not within ten years at this rate".to_owned(),
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use jiff::civil::date;

    fn line(start: f64, per_month: f64, u: [f64; 2]) -> Trend {
        Trend {
            from: date(2026, 1, 1),
            to: date(2026, 1, 1),
            visits: 6,
            start,
            per_month,
            covariance: Matrix2::new(u[0] * u[0], 0.0, 0.0, u[1] * u[1]),
            k: 2.0,
            scatter: None,
        }
    }

    /// Ends of Fieller's interval lie where the band of the line meets the limit.
    #[test]
    fn the_band_meets_the_limit_on_both_days() {
        let t = line(38.0, 1.0, [0.5, 0.2]);
        let Crossing::Between { earliest, likely, latest } = t.crossing(42.0) else { panic!() };
        let gap = |d: Date| {
            let (v, u) = t.at(d);
            (v - 42.0) / u
        };
        // A day's rounding is 0.03 mm or degrees here.
        assert!((gap(earliest) + 2.0).abs() < 0.05 && (gap(latest.unwrap()) - 2.0).abs() < 0.05);
        assert_eq!(likely, Some(date(2026, 5, 3)));
    }

    /// Days of crossing hold the true day as often as stated; Student's factor and the Birge ratio keep a rate honest whose values
    /// scatter twice as much as they claim, as far as six values can show it (some 92 % where 95 are stated).
    #[test]
    fn crossing_days_and_rates_hold_the_truth() {
        use crate::follow::pool::Fit;
        use nalgebra::DVector;
        use rand::{RngExt, SeedableRng};
        let mut rng = rand_xoshiro::Xoshiro256PlusPlus::seed_from_u64(5);
        for (scatter, crossings, rates) in [(1.0, 0.95..=0.985, 0.95..=0.985), (2.0, 0.90..=1.0, 0.90..=1.0)] {
            let (mut crossed, mut held) = (0, 0);
            for _ in 0..4000 {
                let design = DMatrix::from_fn(6, 2, |i, j| if j == 0 { 1.0 } else { 1.15 * i as f64 });
                let y = DVector::from_fn(6, |i, _| {
                    36.0 + 1.0 * 1.15 * i as f64 + scatter * 0.8 * rng.sample::<f64, _>(rand_distr::StandardNormal)
                });
                let v = DMatrix::identity(6, 6) * 0.64;
                let fit = Fit::new(&design, &y, &v, None).unwrap();
                let from = date(2026, 1, 5);
                let t = Trend {
                    from,
                    to: later(from, 5.0 * 35.0).unwrap(),
                    visits: 6,
                    start: fit.x[0],
                    per_month: fit.x[1],
                    covariance: Matrix2::from_fn(|i, j| fit.covariance[(i, j)]),
                    k: fit.k,
                    scatter: fit.scatter,
                };
                held += usize::from((t.per_month - 1.0).abs() <= t.k * t.u_per_month());
                // 45 is truly reached after nine months.
                let truly = later(from, 9.0 * MONTH_DAYS).unwrap();
                crossed += usize::from(match t.crossing(45.0) {
                    Crossing::Between { earliest, latest, .. } => {
                        earliest <= truly && latest.is_none_or(|l| truly <= l)
                    }
                    Crossing::AlreadyPossible { latest, .. } => latest.is_none_or(|l| truly <= l),
                    _ => false,
                });
            }
            let share = |n: usize| n as f64 / 4000.0;
            assert!(crossings.contains(&share(crossed)), "{scatter}: {}", share(crossed));
            assert!(rates.contains(&share(held)), "{scatter}: {}", share(held));
        }
    }

    #[test]
    fn an_unresolved_rate_has_no_latest_day() {
        let Crossing::Between { latest, earliest, .. } = line(38.0, 0.3, [0.5, 0.2]).crossing(42.0) else { panic!() };
        assert!(latest.is_none() && earliest > date(2026, 3, 1));
        assert_eq!(line(38.0, -1.0, [0.5, 0.2]).crossing(42.0), Crossing::MovesAway);
        assert!(matches!(line(41.8, 0.1, [0.5, 0.2]).crossing(42.0), Crossing::AlreadyPossible { latest: None, .. }));
        assert_eq!(line(38.0, 0.001, [0.5, 0.000_1]).crossing(42.0), Crossing::NotWithinTenYears);
    }
}
