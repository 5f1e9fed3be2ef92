//! Ties between clocks: edge, stated offset, shape; and chains of them back to the first log.
//!
//! A tie is t_to = offset + (1 + drift) t_log, each time counted from the first row of its own log
//! (of the segment in use, when its clock was restarted). Uncertainties of the ties of a chain are
//! independent; those of two logs that share the end of their chains cancel there.
//!
//! `edge` says nothing about drift. It is taken as none, give or take `EDGE_DRIFT_U` as between two
//! crystals, so that a time far from the edge is known less well.

pub(crate) mod correlation;
pub(crate) mod edge;
pub(crate) mod normal;
pub(crate) mod problem;
pub(crate) mod shape;
pub(crate) mod smooth;

use indexmap::IndexMap;

use self::edge::{difference, first_rise};
use self::problem::SearchedColumn;
use self::shape::{ShapeTie, tie_by_shape};
use super::error::RecordError;
use super::{ClockReport, Record};
use crate::config::{Align, AlignBy, Firing, LogFile};
use crate::diagnostic::{Diagnostic, Error, Located};
use crate::quantity::{Given, Measured, Ratio, Time, Unit};
use crate::series::Series;

/// All clocks, tied to that of the first log.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Clocks {
    /// How each log but the first is tied, as results show it.
    pub reports: IndexMap<String, ClockReport>,
    /// What deserves attention.
    pub warnings: Vec<Diagnostic>,
    first: String,
    ties: IndexMap<String, Tie>,
}

/// One tie: from a log's clock to another's.
#[derive(Debug, Clone, PartialEq)]
struct Tie {
    to: String,
    offset_s: f64,
    /// Rate difference, as a fraction; 0 when it is not known.
    drift: f64,
    /// Of offset (s) and drift (fraction).
    covariance: [[f64; 2]; 2],
}

impl Tie {
    fn map(&self, time_s: f64) -> f64 {
        self.offset_s + (1.0 + self.drift) * time_s
    }

    fn variance_s2(&self, time_s: f64) -> f64 {
        let [[offset, both], [_, drift]] = self.covariance;
        (offset + 2.0 * time_s * both + time_s * time_s * drift).max(0.0)
    }
}

impl Clocks {
    /// A time of a log on the first log's clock, s. NaN for a log that is not tied to it.
    #[must_use]
    pub(crate) fn to_first(&self, log: &str, t_log_s: f64) -> f64 {
        self.towards_first(log)(t_log_s)
    }

    /// [`Clocks::to_first`] for many times of one log.
    pub(crate) fn towards_first<'a>(&'a self, log: &'a str) -> impl Fn(f64) -> f64 {
        let tied = self.chain(log).is_some();
        let ties: Vec<&Tie> = self.links(log).map(|(_, tie)| tie).collect();
        move |t_log_s| {
            if tied {
                ties.iter().fold(t_log_s, |time_s, tie| tie.map(time_s))
            } else {
                f64::NAN
            }
        }
    }

    /// The rate of the first log's clock against a log's: 1 plus the drifts of the chain.
    #[must_use]
    pub(crate) fn rate(&self, log: &str) -> f64 {
        self.links(log).map(|(_, tie)| 1.0 + tie.drift).product()
    }

    /// Standard uncertainty of [`Clocks::to_first`] at a time of a log, s. NaN for a log that is
    /// not tied to the first.
    #[cfg(test)]
    #[must_use]
    pub fn tie_u_s(&self, log: &str, t_log_s: f64) -> f64 {
        let Some(chain) = self.chain(log) else {
            return f64::NAN;
        };
        self.variance_s2(log, t_log_s, |name| chain.contains(&name))
            .sqrt()
    }

    /// Standard uncertainty of a log's time against the first one's at a time of the first, s.
    #[must_use]
    pub(crate) fn u_at_s(&self, log: &str, at_s: f64) -> f64 {
        self.relative_u_s(log, &self.first, at_s)
    }

    /// Standard uncertainty of the time of one log against that of another at a time of the first log,
    /// s: 0 for the same log, and without the ties that both share on their way to the first.
    #[must_use]
    pub(crate) fn relative_u_s(&self, log_a: &str, log_b: &str, at_s: f64) -> f64 {
        let (Some(a), Some(b)) = (self.chain(log_a), self.chain(log_b)) else {
            return f64::NAN;
        };
        let own = |log: &str| (at_s - self.to_first(log, 0.0)) / self.rate(log);
        let only_a = self.variance_s2(log_a, own(log_a), |name| !b.contains(&name));
        let only_b = self.variance_s2(log_b, own(log_b), |name| !a.contains(&name));
        (only_a + only_b).sqrt()
    }

    /// Sum of the variances of the ties of a chain that are to count.
    fn variance_s2(&self, log: &str, mut time_s: f64, counts: impl Fn(&str) -> bool) -> f64 {
        let mut sum = 0.0;
        for (name, tie) in self.links(log) {
            if counts(name) {
                sum += tie.variance_s2(time_s);
            }
            time_s = tie.map(time_s);
        }
        sum
    }

    /// The ties from a log towards the first, each with the log it starts from.
    fn links<'a>(&'a self, log: &'a str) -> impl Iterator<Item = (&'a str, &'a Tie)> {
        let next = |name: &'a str| self.ties.get(name).map(|tie| (name, tie));
        // The firing file was checked for circles; the bound keeps a mistake from hanging.
        std::iter::successors(next(log), move |(_, tie)| next(&tie.to)).take(self.ties.len())
    }

    /// Names of the logs whose ties lead from a log to the first; `None` if they do not.
    fn chain<'a>(&'a self, log: &'a str) -> Option<Vec<&'a str>> {
        let names: Vec<&str> = self.links(log).map(|(name, _)| name).collect();
        let end = self
            .links(log)
            .last()
            .map_or(log, |(_, tie)| tie.to.as_str());
        (end == self.first).then_some(names)
    }
}

/// Ties the clocks of all logs to that of the first.
///
/// `segments` says which segment of each record is in use; the first where it says nothing.
///
/// # Errors
/// A column that is not there or was not read, a channel without an edge, two columns that do not
/// move alike; each at the place where the firing file names it.
pub(crate) fn align_clocks(
    firing: &Firing,
    records: &IndexMap<String, Record>,
    segments: &IndexMap<String, usize>,
) -> Result<Clocks, Error> {
    let mut clocks = Clocks {
        first: firing.logs.keys().next().cloned().unwrap_or_default(),
        ..Clocks::default()
    };
    let mut problems = Vec::new();
    for log in firing.logs.values().skip(1) {
        let Some(align) = &log.align else { continue };
        let pair = Pair {
            log,
            align,
            records,
            segments,
        };
        match pair.tie(&mut clocks.warnings) {
            Ok((tie, report)) => {
                clocks.ties.insert(log.name.clone(), tie);
                clocks.reports.insert(log.name.clone(), report);
            }
            Err(found) => problems.extend(found),
        }
    }
    Error::if_any(problems)?;
    Ok(clocks)
}

/// Standard uncertainty of the drift between two clocks that nobody compared, as a fraction: crystals
/// of 50 ppm each way, rectangular. Common practice, no source.
const EDGE_DRIFT_U: f64 = 30e-6;

/// One log, and the other that its clock is to be tied to.
struct Pair<'a> {
    log: &'a LogFile,
    align: &'a Align,
    records: &'a IndexMap<String, Record>,
    segments: &'a IndexMap<String, usize>,
}

impl Pair<'_> {
    fn tie(&self, warnings: &mut Vec<Diagnostic>) -> Result<(Tie, ClockReport), Error> {
        match &self.align.by {
            AlignBy::Edge { here, there } => self.by_edge(here, there),
            AlignBy::Offset { offset, drift } => self.by_offset(offset, drift.as_ref(), warnings),
            AlignBy::Shape { here, there } => self.by_shape(here, there, warnings),
        }
    }

    fn by_edge(
        &self,
        here: &Located<String>,
        there: &Located<String>,
    ) -> Result<(Tie, ClockReport), Error> {
        let rise = |log: &str, column: &Located<String>| {
            let series = self.series(log, column)?;
            let searched = self.searched(log, column);
            first_rise(&series).map_err(|problem| Error::from(problem.diagnostic(searched)))
        };
        let (here, there) = both(
            rise(&self.log.name, here),
            rise(&self.align.to.value, there),
        )?;
        let offset = difference(
            there.at_s() - here.at_s(),
            there.half_width_s(),
            here.half_width_s(),
            Unit::Second,
        );
        // Offset at this log's zero and drift err together: they cancel at the edge.
        let drift_variance = EDGE_DRIFT_U * EDGE_DRIFT_U;
        let both = -here.at_s() * drift_variance;
        let variance = offset.u * offset.u - both * here.at_s();
        Ok(self.finish(offset, None, [[variance, both], [both, drift_variance]]))
    }

    fn by_offset(
        &self,
        offset: &Given<Time>,
        drift: Option<&Given<Ratio>>,
        warnings: &mut Vec<Diagnostic>,
    ) -> Result<(Tie, ClockReport), Error> {
        let u_s = offset.standard_uncertainty().unwrap_or_else(|| {
            // Whoever read the offset off the two logs could not read it better than their rows.
            let steps = [
                self.step_s(&self.log.name),
                self.step_s(&self.align.to.value),
            ];
            let u_s = (steps.iter().map(|step| step * step).sum::<f64>() / 12.0).sqrt();
            warnings.push(problem::unstated(&self.align.place, u_s));
            u_s
        });
        let offset = Measured::normal(offset.si(), u_s, Unit::Second);
        let drift = drift.map(|drift| {
            let u = drift.standard_uncertainty().unwrap_or_else(|| {
                warnings.push(problem::unstated_drift(&self.align.place));
                drift.si().abs() / 3.0_f64.sqrt()
            });
            (drift.si(), u)
        });
        let report =
            drift.map(|(drift, u)| Measured::normal(drift * 1e6, u * 1e6, Unit::PartPerMillion));
        let drift_variance = drift.map_or(0.0, |(_, u)| u * u);
        Ok(self.finish(offset, report, [[u_s * u_s, 0.0], [0.0, drift_variance]]))
    }

    fn by_shape(
        &self,
        here: &Located<String>,
        there: &Located<String>,
        warnings: &mut Vec<Diagnostic>,
    ) -> Result<(Tie, ClockReport), Error> {
        let (log, other) = (self.log.name.as_str(), self.align.to.value.as_str());
        let (series_here, series_there) = both(self.series(log, here), self.series(other, there))?;
        let found = tie_by_shape(&series_here, &series_there).map_err(|problem| {
            let searched = (self.searched(log, here), self.searched(other, there));
            Error::from(problem.diagnostic(searched.0, searched.1))
        })?;
        let ShapeTie {
            offset_s,
            drift,
            covariance,
            degrees_of_freedom: freedom,
            ..
        } = found;
        if let Some(secondary_peak_s) = found.secondary_peak_s {
            warnings.push(problem::secondary_peak(
                &here.place,
                offset_s,
                secondary_peak_s,
            ));
        }
        if found.correlation < 0.0 {
            warnings.push(problem::opposite(&here.place));
        }
        let offset = Measured::student(offset_s, covariance[0][0].sqrt(), freedom, Unit::Second);
        let drift = drift.map(|drift| {
            Measured::student(
                drift * 1e6,
                covariance[1][1].sqrt() * 1e6,
                freedom,
                Unit::PartPerMillion,
            )
        });
        Ok(self.finish(offset, drift, covariance))
    }

    fn finish(
        &self,
        offset: Measured,
        drift_ppm: Option<Measured>,
        covariance: [[f64; 2]; 2],
    ) -> (Tie, ClockReport) {
        let tie = Tie {
            to: self.align.to.value.clone(),
            offset_s: offset.value,
            drift: drift_ppm.as_ref().map_or(0.0, |drift| drift.value * 1e-6),
            covariance,
        };
        let report = ClockReport {
            to: self.align.to.value.clone(),
            offset_s: Some(offset),
            drift_ppm,
            by: self.align.by.word().to_owned(),
        };
        (tie, report)
    }

    /// The readings of a column in the segment in use.
    fn series(&self, log: &str, column: &Located<String>) -> Result<Series, Error> {
        let record = self.records.get(log);
        let series = record.and_then(|record| record.series(&column.value, self.segment(log)));
        series.ok_or_else(|| {
            let names = record.map_or(&[][..], |record| &record.column_names);
            let file = record.map_or(log, |record| record.file.as_str());
            RecordError::no_column(column, file, names)
                .diagnostic()
                .into()
        })
    }

    fn segment(&self, log: &str) -> usize {
        self.segments.get(log).copied().unwrap_or(0)
    }

    fn searched<'b>(&'b self, log: &'b str, column: &'b Located<String>) -> SearchedColumn<'b> {
        let record = self.records.get(log);
        SearchedColumn {
            place: &column.place,
            column: &column.value,
            file: record.map_or(log, |record| &record.file),
            segments: (
                record.map_or(0, |record| record.segments.len()),
                self.segment(log) + 1,
            ),
        }
    }

    /// Median step of a log, s; 0 when it has less than two rows.
    fn step_s(&self, log: &str) -> f64 {
        let record = self.records.get(log);
        let rows = record.and_then(|record| record.segments.get(self.segment(log)).cloned());
        record.zip(rows).map_or(0.0, |(record, rows)| {
            let times = &record.time_s[rows];
            Series::new(times, times).step_s().unwrap_or(0.0)
        })
    }
}

/// Both results, or the problems of both.
fn both<A, B>(a: Result<A, Error>, b: Result<B, Error>) -> Result<(A, B), Error> {
    match (a, b) {
        (Ok(a), Ok(b)) => Ok((a, b)),
        (Err(a), Err(b)) => Err(a.and(b)),
        (Err(one), _) | (_, Err(one)) => Err(one),
    }
}

#[cfg(test)]
mod tests;
