//! The channels of a firing: every log read, its clock tied to the first one's, outliers taken out.
//!
//! Outliers ([`super::outlier`]) are taken out of the columns of load cells and of the pressure transducer, once,
//! after the clocks are tied; every later stage gets what is left, as means where it comes very fast
//! ([`super::means`]). Where the clock of a log restarts, one
//! segment of it is used: the longest, until [`Channels::use_segment`] says better.

use indexmap::IndexMap;

use super::means::Averaging;
use super::stream::read_means;
use super::{ClockReport, Clocks, InputReport, Record, RowTally};
use crate::config::{Firing, Signal};
use crate::diagnostic::{Diagnostic, Error};
use crate::series::Series;

/// The logs of a firing, ready to be asked for raw readings.
pub(crate) struct Channels {
    records: IndexMap<String, Record>,
    /// Segment used of each log.
    segments: IndexMap<String, usize>,
    clocks: Clocks,
    /// Times of the rows on the first log's clock, s, for each log but the first.
    tied_s: IndexMap<String, Vec<f64>>,
    /// For the results.
    pub inputs: Vec<InputReport>,
    /// For the results.
    pub clock_reports: IndexMap<String, ClockReport>,
    /// What the logs gave to think about.
    pub warnings: Vec<Diagnostic>,
}

impl Channels {
    /// Reads every log that a firing file names.
    ///
    /// # Errors
    /// Logs that cannot be read, and clocks that cannot be tied, each with its place.
    pub(crate) fn read(firing: &Firing) -> Result<Self, Error> {
        let mut records = read_logs(firing)?;
        let segments: IndexMap<String, usize> = records
            .iter()
            .map(|(name, record)| (name.clone(), longest(record)))
            .collect();
        let clocks = super::align_clocks(firing, &records, &segments)?;
        for (name, record) in records.iter_mut().filter(|(_, one)| !one.is_averaged()) {
            Averaging::new(firing, name).judge_and_average(record);
        }
        let inputs = records
            .iter()
            .map(|(name, record)| input_report(record, segments[name]))
            .collect();
        let warnings = records
            .values()
            .flat_map(|record| record.warnings.iter().cloned())
            .collect();
        // The first log's own clock is the first log's clock.
        let tied_s = records
            .iter()
            .skip(1)
            .map(|(name, record)| {
                let at = clocks.towards_first(name);
                let times = record.time_s.iter().map(|time_s| at(*time_s));
                (name.clone(), times.collect())
            })
            .collect();
        Ok(Self {
            records,
            segments,
            clock_reports: clocks.reports.clone(),
            clocks,
            tied_s,
            inputs,
            warnings,
        })
    }

    /// The log that a signal lies in.
    #[must_use]
    pub(crate) fn record(&self, signal: &Signal) -> Option<&Record> {
        self.records.get(signal.log.value.as_str())
    }

    /// Whether the clock of any log restarts.
    #[must_use]
    pub(crate) fn any_restarts(&self) -> bool {
        self.records
            .values()
            .any(|record| record.segments.len() > 1)
    }

    /// Segment used of the log that a signal lies in.
    #[must_use]
    pub(crate) fn segment(&self, signal: &Signal) -> Option<usize> {
        self.segments.get(signal.log.value.as_str()).copied()
    }

    /// Uses another segment of the log that a signal lies in, and notes `why` with that log.
    pub(crate) fn use_segment(&mut self, signal: &Signal, segment: usize, why: String) {
        let log = signal.log.value.as_str();
        let Some((at, _, record)) = self.records.get_full(log) else {
            return;
        };
        let rows = record.rows.get(segment).copied().unwrap_or(0);
        if let Some(input) = self.inputs.get_mut(at) {
            input.notes.push(why);
            input.tally.rows_used = rows;
        }
        self.segments.insert(log.to_owned(), segment);
    }

    /// Raw readings of a signal on the first log's clock.
    #[must_use]
    pub(crate) fn series(&self, signal: &Signal) -> Option<Series> {
        let log = signal.log.value.as_str();
        let record = self.records.get(log)?;
        let segment = *self.segments.get(log)?;
        if let Some(changes) = record.changes.get(&signal.column.value) {
            let series = changes.get(segment)?;
            return Some(match self.tied_s.contains_key(log) {
                true => series.map_time(self.clocks.towards_first(log)),
                false => series.clone(),
            });
        }
        let rows = record.segments.get(segment)?.clone();
        let time_s = self.tied_s.get(log).unwrap_or(&record.time_s);
        let values = record.columns.get(&signal.column.value)?;
        Some(Series::new(time_s.get(rows.clone())?, values.get(rows)?))
    }

    /// Raw readings of a signal on its own log's clock, one series for each segment.
    #[must_use]
    pub(crate) fn own_series(&self, signal: &Signal) -> Vec<Series> {
        let Some(record) = self.record(signal) else {
            return vec![];
        };
        let all = 0..record.segments.len();
        all.filter_map(|segment| record.series(&signal.column.value, segment))
            .collect()
    }

    /// Outliers taken out of a signal: their times on the first log's clock, s, and readings.
    #[must_use]
    pub(crate) fn outliers(&self, signal: &Signal) -> Vec<(f64, f64)> {
        let log = signal.log.value.as_str();
        let Some(record) = self.records.get(log) else {
            return vec![];
        };
        let segment = self.segments.get(log).copied().unwrap_or(0);
        let tied = self
            .tied_s
            .contains_key(log)
            .then(|| self.clocks.towards_first(log));
        let time_s = |own_s: f64| tied.as_ref().map_or(own_s, |tied| tied(own_s));
        let outliers = record.outliers.iter();
        outliers
            .filter(|one| one.column == signal.column.value && one.segment == segment)
            .map(|one| (time_s(one.time_s), one.reading))
            .collect()
    }

    /// Counts outliers of a signal into the numbers of its log.
    pub(crate) fn count_outliers(&mut self, signal: &Signal) {
        let number = self.outliers(signal).len();
        let at = self.records.get_index_of(signal.log.value.as_str());
        if let Some(input) = at.and_then(|at| self.inputs.get_mut(at)) {
            input.tally.outliers += number;
        }
    }

    /// Standard uncertainty of a log's clock against the first one's at a time, s.
    #[must_use]
    pub(crate) fn clock_u_s(&self, signal: &Signal, at_s: f64) -> f64 {
        self.clocks.u_at_s(&signal.log.value, at_s)
    }

    /// Standard uncertainty of the clock of one signal against that of another at a time, s.
    #[must_use]
    pub(crate) fn relative_clock_u_s(&self, one: &Signal, other: &Signal, at_s: f64) -> f64 {
        self.clocks
            .relative_u_s(&one.log.value, &other.log.value, at_s)
    }

    /// When a signal first rose through half of its range, and the standard uncertainty of that: it
    /// lies anywhere between the last low reading and the first high one. In a record of several
    /// firings it is the first rise `within` one of them, if there is one. `None` when it never did.
    #[must_use]
    pub(crate) fn first_rise(
        &self,
        signal: &Signal,
        within: Option<(f64, f64)>,
    ) -> Option<(f64, f64)> {
        let series = self.series(signal)?;
        let part = within.and_then(|(from, to)| first_rise(&series.between(from, to)));
        let (time_s, u_s) = part.or_else(|| first_rise(&series))?;
        Some((time_s, u_s.hypot(self.clock_u_s(signal, time_s))))
    }

    /// Times of a log's first and last row in the segment used, s on the first log's clock.
    #[must_use]
    pub(crate) fn span_s(&self, log: &str) -> Option<(f64, f64)> {
        let record = self.records.get(log)?;
        let rows = record.segments.get(*self.segments.get(log)?)?.clone();
        let times_s = self.tied_s.get(log).unwrap_or(&record.time_s).get(rows)?;
        Some((*times_s.first()?, *times_s.last()?))
    }
}

fn read_logs(firing: &Firing) -> Result<IndexMap<String, Record>, Error> {
    let mut records = IndexMap::new();
    let mut problems = Vec::new();
    for (name, log) in &firing.logs {
        let wanted = super::wanted_columns(firing, name);
        let deciding = super::deciding_columns(firing, name);
        match read_means(log, &wanted, &deciding, &Averaging::new(firing, name)) {
            Ok(record) => {
                records.insert(name.clone(), record);
            }
            Err(more) => problems.extend(more),
        }
    }
    Error::if_any(problems)?;
    Ok(records)
}

fn longest(record: &Record) -> usize {
    let by_length = record
        .segments
        .iter()
        .enumerate()
        .max_by_key(|(_, rows)| rows.len());
    by_length.map_or(0, |(at, _)| at)
}

fn input_report(record: &Record, segment: usize) -> InputReport {
    InputReport {
        file: record.file.clone(),
        sha256: record.sha256.clone(),
        rows: record.rows.iter().sum(),
        tally: RowTally {
            rows_used: record.rows.get(segment).copied().unwrap_or(0),
            ..record.tally.clone()
        },
        notes: record.notes.clone(),
    }
}

/// When a series first rose through half of its range, and the standard uncertainty of that, s.
fn first_rise(series: &Series) -> Option<(f64, f64)> {
    let ends = (f64::INFINITY, f64::NEG_INFINITY);
    let values = series.value();
    let (low, high) = values
        .iter()
        .fold(ends, |ends, value| (ends.0.min(*value), ends.1.max(*value)));
    let row = values
        .iter()
        .position(|value| *value > 0.5 * (low + high))?;
    let before = row.checked_sub(1)?;
    let (t0, t1) = (series.time_s()[before], series.time_s()[row]);
    Some((0.5 * (t0 + t1), (t1 - t0) / 12.0_f64.sqrt()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::read_firing;

    // Forty readings rising from 0 to 9 counts, 10 ms apart, and a full-scale code at 0.2 s.
    #[test]
    fn an_outlier_is_taken_out_of_its_column_and_counted() {
        let folder = tempfile::tempdir().unwrap();
        let row = |at: usize| {
            let reading = if at == 20 { 8_388_607 } else { at / 4 };
            format!("{},{reading}\n", 10 * at)
        };
        let rows: String = (0..40).map(row).collect();
        std::fs::write(folder.path().join("stand.csv"), format!("t,base\n{rows}")).unwrap();
        let path = folder.path().join("firing.toml");
        let toml = "title = \"One cell\"\n[log.stand]\nfile = \"stand.csv\"\n\
                    time = { column = \"t\", unit = \"ms\" }\n[cell.base]\n\
                    signal = { log = \"stand\", column = \"base\" }\nscale = \"1 N\"\nzero = 0\n\
                    [stand]\nmount = \"level\"\n";
        std::fs::write(&path, toml).unwrap();
        let firing = read_firing(&path).unwrap_or_else(|problems| panic!("{problems}"));
        let mut channels = Channels::read(&firing).unwrap();
        let signal = &firing.cells["base"].signal;
        assert_eq!(channels.outliers(signal), [(0.2, 8_388_607.0)]);
        let series = channels.series(signal).unwrap();
        assert_eq!((series.len(), series.at(0.19)), (39, Some(4.0)));
        assert_eq!(channels.own_series(signal), [series]);
        channels.count_outliers(signal);
        assert_eq!(channels.inputs[0].tally.outliers, 1);
    }
}
