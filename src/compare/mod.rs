//! Several firings side by side: what they share, how they scatter, which is odd.
//!
//! Each firing is reduced as if it were alone; nothing is fitted again. [`variance`] splits the
//! spread between firings from measurement uncertainty, [`curve`] makes the mean thrust curve,
//! [`findings`] judges.
//!
//! What firings share - the curve of their cells, the weights and the gravity behind it - moves all of them alike: it
//! does not scatter, and many firings do not average it out. Spread, outlier and drift are judged with what is each
//! firing's own; what is shared is added to the mean's interval afterwards. Shared is what rests on curves that are the
//! same to the last digit. Limit: a propellant mass that was not weighed anew counts as each firing's own.

pub(crate) mod curve;
pub(crate) mod findings;
pub(crate) mod variance;

use serde::{Deserialize, Serialize};
use statrs::distribution::{ChiSquared, ContinuousCDF};

use crate::diagnostic::{Error, Warning};
use crate::finding::{self, Finding};
use crate::quantity::measured::{COVERAGE, NORMAL_FACTOR};
use crate::quantity::{Measured, Unit};
use crate::reduce::{FiringResult, Reduction};
use crate::uncertainty::{Term, measured};
pub use curve::MeanCurve;

/// Schema number of `compare.json`.
pub(crate) const SCHEMA: u32 = 1;

/// What `compare.json` holds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Comparison {
    /// Schema number.
    pub schema: u32,
    /// The firings, in the order they were named.
    pub firings: Vec<Fired>,
    /// Each quantity over all firings.
    pub quantities: Vec<Compared>,
    /// Mean thrust curve; `None` with fewer than two curves.
    pub curve: Option<MeanCurve>,
    /// What was judged.
    pub findings: Vec<Finding>,
    /// Firings that could not be reduced, and why.
    pub failed: Vec<Failed>,
}

impl Comparison {
    /// Whether every finding holds.
    #[must_use]
    pub fn every_finding_holds(&self) -> bool {
        finding::all_hold(&self.findings)
    }
}

/// One firing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Fired {
    /// The firing file.
    pub file: String,
    /// Its title.
    pub title: String,
    /// Its date, as written.
    pub date: Option<String>,
    /// How many motors lit.
    pub lit_count: Option<usize>,
    /// Labels of its motors.
    pub labels: Vec<String>,
    /// Certified total impulse of the motors that lit, N s.
    pub certified_ns: Option<f64>,
}

/// A firing that could not be reduced.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Failed {
    /// The firing file.
    pub file: String,
    /// What is wrong with it, as a terminal shows it.
    pub why: String,
    /// The same, each by itself.
    pub errors: Vec<Warning>,
}

impl Failed {
    /// The firing file, and why it could not be reduced.
    #[must_use]
    pub fn new(file: String, error: &Error) -> Self {
        Self {
            file,
            why: error.render(),
            errors: error.problems().iter().map(Warning::from).collect(),
        }
    }
}

/// What a drift counts by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "lowercase")]
pub enum Step {
    /// From each day to the next.
    Day,
    /// From each firing to the next.
    Firing,
}

/// One quantity over all firings.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Compared {
    /// What it is called.
    pub name: String,
    /// Of each firing, in their order.
    pub of: Vec<Option<Measured>>,
    /// What they have in common; `None` where fewer than two firings have it.
    pub spread: Option<Scatter>,
}

/// How a quantity scatters.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Scatter {
    /// How many firings have it.
    pub count: usize,
    /// Weighted mean, its interval from Student's t, with what all firings share.
    pub mean: Measured,
    /// Standard uncertainty that all firings share, in the unit of the mean.
    pub shared_u: f64,
    /// What one more motor will be measured to deliver: the prediction interval at 95 %.
    pub next: Measured,
    /// Between these lie 90 % of such motors, said with 95 % confidence: the tolerance interval.
    pub tolerance: Measured,
    /// Sample standard deviation, its interval from the chi-squared distribution.
    pub sample_sd: Measured,
    /// The same in per cent of the mean.
    pub sample_sd_percent_of_mean: f64,
    /// Standard deviation between firings, measuring taken off, in the unit of the mean.
    pub between_sd: f64,
    /// What measuring adds to one firing beside what all share, in the unit of the mean.
    pub measuring_sd: f64,
    /// Weighted sum of squares about the mean (Cochran's Q).
    pub q: f64,
    /// Probability of a Q as large by measuring alone.
    pub p: f64,
    /// The firing farthest from the mean, counted from 0.
    pub farthest: Option<usize>,
    /// Its deviation in sample standard deviations (Grubbs' test).
    pub grubbs: Option<f64>,
    /// From here on it is an outlier at 5 %.
    pub grubbs_limit: Option<f64>,
    /// Drift by `drift_over`; `None` with fewer than three firings.
    pub drift: Option<Measured>,
    /// Probability of a drift as steep by chance.
    pub drift_p: Option<f64>,
    /// By day where every firing has a date of its own kind, else by firing.
    pub drift_over: Step,
}

/// What a firing does not share with the others is at least this part of its standard uncertainty.
const LEAST_OWN: f64 = 0.05;

/// Compares firings that were reduced; one whose log is that of another is taken for failed; `failed` are those that were not.
#[must_use]
pub fn compare(reduced: &[(String, Reduction)], mut failed: Vec<Failed>) -> Comparison {
    let mut kept: Vec<&(String, Reduction)> = Vec::new();
    for one in reduced {
        let before = kept
            .iter()
            .map(|(name, other)| (name.as_str(), &other.result));
        match one.1.result.repeated(before) {
            Some(why) => failed.push(Failed::new(one.0.clone(), &why.into())),
            None => kept.push(one),
        }
    }
    let reduced = kept;
    let firings: Vec<Fired> = reduced
        .iter()
        .map(|(file, reduction)| fired(file, &reduction.result))
        .collect();
    let (at, over) = places(&firings);
    let results: Vec<&FiringResult> = reduced.iter().map(|(_, one)| &one.result).collect();
    let shared = shared_relative_u(&results);
    let quantities: Vec<Compared> = QUANTITIES
        .iter()
        .map(|(name, moved_by_calibration, get)| {
            let of: Vec<Option<Measured>> = results.iter().map(|one| get(one).cloned()).collect();
            Compared {
                name: (*name).to_owned(),
                spread: spread(
                    &of,
                    (&at, over),
                    if *moved_by_calibration { shared } else { 0.0 },
                ),
                of,
            }
        })
        .collect();
    let curves: Vec<&Reduction> = reduced.iter().map(|(_, one)| one).collect();
    let findings = findings::findings(&firings, &quantities);
    Comparison {
        schema: SCHEMA,
        curve: curve::mean(&curves),
        firings,
        quantities,
        findings,
        failed,
    }
}

type Get = fn(&FiringResult) -> Option<&Measured>;

/// What is compared, and whether a wrong calibration moves it in proportion.
const QUANTITIES: [(&str, bool, Get); 5] = [
    ("total impulse", true, |one| {
        one.impulse.as_ref()?.total_ns.as_ref()
    }),
    ("specific impulse", true, |one| {
        one.impulse.as_ref()?.specific_s.as_ref()
    }),
    ("burn time", false, |one| {
        one.burn.as_ref()?.burn_time_s.as_ref()
    }),
    ("peak thrust", true, |one| {
        one.thrust.as_ref()?.peak_n.as_ref()
    }),
    ("average thrust", true, |one| {
        one.thrust.as_ref()?.average_n.as_ref()
    }),
];

fn fired(file: &str, result: &FiringResult) -> Fired {
    let class = result.class.as_ref();
    let total = result
        .impulse
        .as_ref()
        .and_then(|one| one.total_ns.as_ref());
    let short = class
        .and_then(|class| class.comparison.as_ref()?.impulse_ns.as_ref())
        .zip(total);
    Fired {
        file: file.to_owned(),
        title: result.title.clone(),
        date: result.date.clone(),
        lit_count: result.ignition.as_ref().map(|ignition| ignition.lit_count),
        labels: class
            .map(|class| {
                let labels = class
                    .per_motor
                    .iter()
                    .map(|motor| motor.designation.clone());
                labels.map(Option::unwrap_or_default).collect()
            })
            .unwrap_or_default(),
        certified_ns: short.map(|(short, total)| total.value - short.value),
    }
}

/// Where each firing stands: days since the first where all have dates and not all the same, else
/// their order.
fn places(firings: &[Fired]) -> (Vec<f64>, Step) {
    let days: Option<Vec<f64>> = firings
        .iter()
        .map(|one| day_number(one.date.as_deref()?))
        .collect();
    let first = days.as_ref().and_then(|days| days.first().copied());
    match (days, first) {
        (Some(days), Some(first)) if days.iter().any(|day| (day - first).abs() > 0.5) => {
            (days.iter().map(|day| day - first).collect(), Step::Day)
        }
        _ => (
            (0..firings.len()).map(|at| at as f64).collect(),
            Step::Firing,
        ),
    }
}

/// Days since 1 March of year 0 of the Gregorian calendar, from `2026-03-14`.
fn day_number(date: &str) -> Option<f64> {
    let mut parts = date.get(..10)?.split('-');
    let mut next = || parts.next()?.parse::<i64>().ok();
    let (year, month, day) = (next()?, next()?, next()?);
    if !(1..=12).contains(&month) || !(1..=31).contains(&day) {
        return None;
    }
    // A year that begins in March has its leap day at the end.
    let (year, month) = if month > 2 {
        (year, month - 3)
    } else {
        (year - 1, month + 9)
    };
    let leap_days = year.div_euclid(4) - year.div_euclid(100) + year.div_euclid(400);
    Some((365 * year + leap_days + (153 * month + 2) / 5 + day) as f64)
}

/// Relative standard uncertainty that all firings share: that of the calibration, where all have the same.
fn shared_relative_u(results: &[&FiringResult]) -> f64 {
    let Some(first) = results.first() else {
        return 0.0;
    };
    let coefficients = |one: &FiringResult| -> Vec<Vec<f64>> {
        one.cells
            .values()
            .map(|cell| cell.coefficients.clone())
            .collect()
    };
    let same = results
        .iter()
        .all(|one| coefficients(one) == coefficients(first));
    let of_each = results.iter().filter_map(|one| one.impulse.as_ref());
    let of_each = of_each.map(|impulse| impulse.calibration_relative_u);
    if same {
        // A share of each that differs from firing to firing is that firing's own.
        of_each
            .filter(|u| u.is_finite())
            .reduce(f64::min)
            .unwrap_or(0.0)
    } else {
        0.0
    }
}

fn spread(of: &[Option<Measured>], (at, over): (&[f64], Step), shared: f64) -> Option<Scatter> {
    let kept: Vec<(usize, &Measured)> = of
        .iter()
        .enumerate()
        .filter_map(|(nth, one)| Some((nth, one.as_ref()?)))
        .collect();
    let values: Vec<f64> = kept.iter().map(|(_, one)| one.value).collect();
    let own = |one: &Measured| {
        let squares = one.u.powi(2) - (shared * one.value).powi(2);
        squares.max((LEAST_OWN * one.u).powi(2)).sqrt()
    };
    let u: Vec<f64> = kept.iter().map(|(_, one)| own(one)).collect();
    let split = variance::known_within(&values, &u)?;
    let unit = kept.first()?.1.unit;
    let per_step = match over {
        Step::Day => unit.per_day(),
        Step::Firing => unit.per_firing(),
    };
    let count = values.len() as f64;
    let freedom = count - 1.0;
    let middle = values.iter().sum::<f64>() / count;
    let shared_u = (shared * middle).abs();
    // Values that happen to agree better than they were measured do not tell of the next motor better than that.
    let scatter_sd = split.sample_sd.max(split.measuring_sd);
    let reach = variance::tolerance_factor(count)? * scatter_sd + NORMAL_FACTOR * shared_u;
    let with_shared = |value: f64, u: f64| {
        let terms = [
            Term::random("spread", u).with_freedom(freedom),
            Term::systematic("shared", shared_u),
        ];
        measured(value, &terms, unit)
    };
    let grubbs = variance::grubbs(&values);
    let places: Vec<f64> = kept
        .iter()
        .filter_map(|(nth, _)| at.get(*nth).copied())
        .collect();
    let drift = variance::slope(&places, &values);
    Some(Scatter {
        count: values.len(),
        mean: with_shared(split.mean, split.mean_u),
        shared_u,
        next: with_shared(middle, scatter_sd * (1.0 + 1.0 / count).sqrt()),
        tolerance: Measured::interval(middle, scatter_sd, middle - reach, middle + reach, unit),
        sample_sd: sd_with_interval(split.sample_sd, freedom, unit),
        sample_sd_percent_of_mean: 100.0 * split.sample_sd / split.mean.abs(),
        between_sd: split.between_sd,
        measuring_sd: split.measuring_sd,
        q: split.q,
        p: split.p,
        farthest: grubbs.and_then(|(nth, _, _)| Some(kept.get(nth)?.0)),
        grubbs: grubbs.map(|one| one.1),
        grubbs_limit: grubbs.map(|one| one.2),
        drift: drift.zip(per_step).map(|((slope, slope_u, _), unit)| {
            Measured::student(slope, slope_u, freedom - 1.0, unit)
        }),
        drift_p: drift.map(|one| one.2),
        drift_over: over,
    })
}

/// A sample standard deviation and what the true one may be: (k - 1) s2 / sigma2 is chi-squared.
fn sd_with_interval(sd: f64, freedom: f64, unit: Unit) -> Measured {
    let tail = (1.0 - COVERAGE) / 2.0;
    let end = |p: f64| {
        ChiSquared::new(freedom).map_or(f64::NAN, |law| sd * (freedom / law.inverse_cdf(p)).sqrt())
    };
    Measured::interval(
        sd,
        sd / (2.0 * freedom).sqrt(),
        end(1.0 - tail),
        end(tail),
        unit,
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    // 2026 has no leap day: 365 days; from 28 February to 1 March 2024 two.
    #[test]
    fn days_are_counted() {
        let between = |a, b| day_number(b).unwrap() - day_number(a).unwrap();
        assert_relative_eq!(between("2026-01-01", "2027-01-01"), 365.0);
        assert_relative_eq!(between("2024-02-28", "2024-03-01"), 2.0);
        assert_relative_eq!(between("2026-03-14", "2026-03-21"), 7.0);
        assert_eq!(day_number("spring"), None);
    }

    // By hand: 29.9, 30.0, 30.1, each with 0.1 of its own and 0.3 that all share. Their own errors explain the spread: Q = 2
    // with 2 degrees of freedom, so p = exp(-1). The mean has 0.1 / sqrt 3 and the whole of what is shared. The next motor
    // without it: Student's t 4.302653 times 0.1 sqrt(4/3).
    #[test]
    fn what_all_firings_share_neither_scatters_nor_averages_out() {
        let values = [29.9, 30.0, 30.1];
        let of = |shared: f64| -> Vec<Option<Measured>> {
            let u = |value: f64| 0.1_f64.hypot(shared * value);
            let each = values.map(|value| Some(Measured::normal(value, u(value), Unit::Newton)));
            each.to_vec()
        };
        let found = spread(&of(0.01), (&[0.0, 1.0, 2.0], Step::Firing), 0.01).unwrap();
        assert_relative_eq!(found.p, (-1.0_f64).exp(), max_relative = 1e-6);
        assert_relative_eq!(
            found.mean.u,
            (0.1_f64 / 3.0_f64.sqrt()).hypot(0.3),
            max_relative = 1e-6
        );
        let alone = spread(&of(0.0), (&[0.0, 1.0, 2.0], Step::Firing), 0.0).unwrap();
        let reach = 4.302_653 * 0.1 * (4.0_f64 / 3.0).sqrt();
        assert_relative_eq!(alone.next.high - 30.0, reach, max_relative = 1e-5);
        assert!(found.next.high > alone.next.high && found.tolerance.high > alone.tolerance.high);
    }

    // By hand: readings of 1 N each that agree within 0.1 N: Student's t 4.302653 times 1 N sqrt(4/3), more than the mean's.
    #[test]
    fn the_next_motor_is_told_no_better_than_it_is_measured() {
        let values =
            [29.9, 30.0, 30.1].map(|value| Some(Measured::normal(value, 1.0, Unit::Newton)));
        let found = spread(&values, (&[0.0, 1.0, 2.0], Step::Firing), 0.0).unwrap();
        let reach = 4.302_653 * (4.0_f64 / 3.0).sqrt();
        assert_relative_eq!(found.next.high - 30.0, reach, max_relative = 1e-5);
        assert!(found.next.high > found.mean.high && found.tolerance.high > found.next.high);
    }

    // Chi-squared table, 4 degrees of freedom: 0.484 and 11.143 at 2.5 % and 97.5 %.
    #[test]
    fn the_interval_of_a_standard_deviation_is_chi_squared() {
        let sd = sd_with_interval(1.0, 4.0, Unit::Newton);
        assert_relative_eq!(sd.low, (4.0 / 11.143_f64).sqrt(), max_relative = 1e-3);
        assert_relative_eq!(sd.high, (4.0 / 0.484_4_f64).sqrt(), max_relative = 1e-3);
    }
}
