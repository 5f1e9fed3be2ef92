//! Every log read, every clock tied: signals by name on the first log's clock.

use indexmap::IndexMap;

use super::progress::Progress;
use crate::calibration::{self, Curve, LoadKind, Points, gravity};
use crate::config::{Firing, Signal};
use crate::diagnostic::{Diagnostic, Problems};
use crate::log::words::count;
use crate::log::{self, ClockReport, Clocks, InputReport, Record, RowTally};
use crate::plant::{BenchSweep, Estimate};
use crate::plausible::plainly;
use crate::series::Series;

/// The logs of a firing, ready to be asked for signals.
pub(super) struct Signals {
    pub(super) records: IndexMap<String, Record>,
    /// Segment used of each log.
    pub(super) segments: IndexMap<String, usize>,
    clocks: Clocks,
    /// Times of the rows on the first log's clock, s, for each log that is tied to it.
    tied_s: IndexMap<String, Vec<f64>>,
    /// How far readings of the axes go, by log and column, in SI units.
    limits: IndexMap<(String, String), f64>,
    /// Sweeps of nozzles on the bench, by axis.
    pub(super) sweeps: IndexMap<String, BenchSweep>,
    /// Curves of the signals that came with a points file, by file name.
    curves: IndexMap<String, Curve>,
    /// For the results.
    pub inputs: Vec<InputReport>,
    /// For the results.
    pub clock_reports: IndexMap<String, ClockReport>,
    pub(super) warnings: Vec<Diagnostic>,
    pub(super) chosen: bool,
}

/// Reads everything a firing file names.
pub(super) fn read(firing: &Firing, progress: &Progress<'_>) -> Result<Signals, Problems> {
    let mut records = IndexMap::new();
    let mut problems = Vec::new();
    let logs = firing.logs.values();
    let lengths = logs.filter_map(|log| Some(log.file.value.metadata().ok()?.len()));
    let to_read = log::PASSES * lengths.sum::<u64>();
    let reading = progress.reading(to_read);
    for (name, log) in &firing.logs {
        match log::read_record_heard(
            log,
            &log::wanted_columns(firing, name),
            &log::deciding_columns(firing, name),
            &reading,
        ) {
            Ok(record) => {
                records.insert(name.clone(), record);
            }
            Err(more) => problems.extend(more.0),
        }
    }
    // Of a very long log not every row is read: the rest is done, too.
    reading(to_read);
    if !problems.is_empty() {
        return Err(Problems(problems));
    }
    let segments: IndexMap<String, usize> = records
        .iter()
        .map(|(name, record)| (name.clone(), longest(record)))
        .collect();
    let clocks = log::align_clocks(firing, &records, &segments)?;
    let curves = read_curves(firing)?;
    let sweeps = read_sweeps(firing)?;
    let inputs = records
        .iter()
        .map(|(name, record)| input_report(record, segments.get(name).copied()))
        .collect();
    let warnings = records
        .values()
        .flat_map(|record| record.warnings.iter().cloned())
        .collect();
    let clock_reports = clocks.reports.clone();
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
    Ok(Signals {
        tied_s,
        limits: limits(firing),
        records,
        segments,
        clocks,
        curves,
        sweeps,
        inputs,
        clock_reports,
        warnings,
        chosen: false,
    })
}

/// A signal by its log and column.
fn key(signal: &Signal) -> (String, String) {
    (signal.log.value.clone(), signal.column.value.clone())
}

/// Farthest that a nozzle or its command goes, rad; a tilt, which an encoder may count on for two turns;
/// a tilt rate, rad/s, faster than any gyro of this trade shows.
const FARTHEST_NOZZLE: f64 = std::f64::consts::FRAC_PI_2;
const FARTHEST_TILT: f64 = 2.0 * std::f64::consts::TAU;
const FASTEST_RATE: f64 = 200.0;

/// How far the readings of each axis's signals may go, in SI units.
fn limits(firing: &Firing) -> IndexMap<(String, String), f64> {
    let mut out = IndexMap::new();
    for axis in firing.axes.values() {
        out.insert(key(&axis.command), FARTHEST_NOZZLE);
        for (signal, limit) in [
            (&axis.nozzle, FARTHEST_NOZZLE),
            (&axis.tilt, FARTHEST_TILT),
            (&axis.swing, FARTHEST_TILT),
            (&axis.rate, FASTEST_RATE),
        ] {
            out.extend(signal.as_ref().map(|signal| (key(signal), limit)));
        }
    }
    out
}

fn longest(record: &Record) -> usize {
    let by_length = record
        .segments
        .iter()
        .enumerate()
        .max_by_key(|(_, rows)| rows.len());
    by_length.map_or(0, |(at, _)| at)
}

fn input_report(record: &Record, segment: Option<usize>) -> InputReport {
    let used = segment.and_then(|segment| record.segments.get(segment));
    InputReport {
        file: record.file.clone(),
        sha256: record.sha256.clone(),
        rows: record.line.len(),
        tally: RowTally {
            rows_used: used.map_or(0, ExactSizeIterator::len),
            ..record.tally.clone()
        },
        notes: record.notes.clone(),
    }
}

/// Curves of signals that carry points in place of a unit.
fn read_curves(firing: &Firing) -> Result<IndexMap<String, Curve>, Problems> {
    let mut out = IndexMap::new();
    for signal in firing.signals() {
        if let Some(file) = &signal.points {
            let gravity = gravity::at(&firing.site);
            let chamber = firing.chamber.as_ref().map(|chamber| &chamber.pressure);
            let kind = if chamber.is_some_and(|pressure| std::ptr::eq(pressure, signal)) {
                LoadKind::Pressure
            } else {
                LoadKind::Angle
            };
            let points: Points = calibration::points::read(&file.value, kind, &gravity)
                .map_err(|problems| problems.where_named(&file.place, &file.value))?;
            let curve = calibration::calibrate_points(&points, None)?.curve;
            out.insert(file.value.display().to_string(), curve);
        }
    }
    Ok(out)
}

/// Sweeps of nozzles on the bench.
fn read_sweeps(firing: &Firing) -> Result<IndexMap<String, BenchSweep>, Problems> {
    let mut out = IndexMap::new();
    for (name, axis) in &firing.axes {
        let Some(file) = &axis.sweep else { continue };
        let gravity = gravity::at(&firing.site);
        let points = calibration::points::read(&file.value, LoadKind::Angle, &gravity)
            .map_err(|problems| problems.where_named(&file.place, &file.value))?;
        let Some(found) = calibration::sweep::sweep(&points) else {
            return Err(Diagnostic::error(
                "no-sweep",
                "these points do not go up and down far enough to make a sweep",
            )
            .at(file.place.clone())
            .hint("command the nozzle from end to end and back, eight steps or more each way")
            .into());
        };
        let of = |(value, u): (f64, f64)| Estimate { value, u };
        // Points hold radians; commands are in degrees.
        let bench = BenchSweep {
            gain: of((found.gain.0.to_degrees(), found.gain.1.to_degrees())),
            width_deg: of((found.width.0.abs(), found.width.1)),
        };
        out.insert(name.clone(), bench);
    }
    Ok(out)
}

impl Signals {
    /// What the logs gave to think about; empty afterwards.
    pub(super) fn take_warnings(&mut self) -> Vec<Diagnostic> {
        std::mem::take(&mut self.warnings)
    }

    /// Raw readings of a signal on the first log's clock.
    pub(super) fn series(&self, signal: &Signal) -> Option<Series> {
        let log = signal.log.value.as_str();
        let record = self.records.get(log)?;
        let rows = record.segments.get(*self.segments.get(log)?)?.clone();
        let time_s = self.tied_s.get(log).unwrap_or(&record.time_s);
        let values = record.columns.get(&signal.column.value)?;
        Some(Series::new(time_s.get(rows.clone())?, values.get(rows)?))
    }

    /// Raw readings of a signal on its own log's clock, one series for each stretch between restarts.
    pub(super) fn own_series(&self, signal: &Signal) -> Vec<Series> {
        let Some(record) = self.records.get(signal.log.value.as_str()) else {
            return vec![];
        };
        let all = 0..record.segments.len();
        all.filter_map(|segment| record.series(&signal.column.value, segment))
            .collect()
    }

    /// A signal in coherent SI units on its own log's clock, one series for each stretch.
    pub(super) fn own_quantity(&self, signal: &Signal) -> Vec<Series> {
        let raw = self.own_series(signal);
        raw.into_iter()
            .map(|series| self.in_si(signal, series))
            .collect()
    }

    /// A signal in coherent SI units, by its unit or its points, on the first log's clock.
    pub(super) fn quantity(&self, signal: &Signal) -> Option<Series> {
        let raw = self.series(signal)?;
        Some(self.in_si(signal, raw))
    }

    fn in_si(&self, signal: &Signal, raw: Series) -> Series {
        let all = match (&signal.unit, self.curve(signal)) {
            (Some(unit), _) => raw.map(|_, value| unit.to_si(value)),
            (None, Some(curve)) => raw.map(|_, value| curve.load(value).unwrap_or(f64::NAN)),
            (None, None) => raw,
        };
        let Some(limit) = self.limits.get(&key(signal)) else {
            return all;
        };
        if all.value().iter().all(|value| value.abs() <= *limit) {
            return all;
        }
        let mut out = Series::default();
        for (time_s, value) in all.iter().filter(|(_, value)| value.abs() <= *limit) {
            out.push(time_s, value);
        }
        out
    }

    /// Readings of the axes that no rig reaches: they are left out wherever their signal is read.
    pub(super) fn off_scale(&self, firing: &Firing) -> Vec<Diagnostic> {
        let axes = firing.axes.values();
        let all = axes.flat_map(|axis| {
            let optional = [&axis.nozzle, &axis.tilt, &axis.rate, &axis.swing];
            std::iter::once(&axis.command).chain(optional.into_iter().flatten())
        });
        all.filter_map(|signal| {
            let (limit, unit) = (self.limits.get(&key(signal))?, signal.unit.as_ref()?);
            let raw = self.series(signal)?;
            let off: Vec<f64> = raw
                .value()
                .iter()
                .copied()
                .filter(|value| !(-limit..=*limit).contains(&unit.to_si(*value)))
                .collect();
            let first = off.first()?;
            let message = format!(
                "{} of column \"{}\" beyond anything a rig does, such as {}: left out",
                count(off.len(), "reading"),
                signal.column.value,
                plainly(*first)
            );
            Some(
                Diagnostic::warning("wild-reading", message)
                    .at(signal.column.place.clone())
                    .hint("is the unit right? a recorder's word for no reading goes to missing = [..]"),
            )
        })
        .collect()
    }

    /// The curve of a signal that came with a points file.
    pub(super) fn curve(&self, signal: &Signal) -> Option<&Curve> {
        let file = signal.points.as_ref()?;
        self.curves.get(&file.value.display().to_string())
    }

    /// Standard uncertainty of a log's clock against the first one's at a time, s.
    pub(super) fn clock_u_s(&self, signal: &Signal, at_s: f64) -> f64 {
        self.clocks.u_at_s(&signal.log.value, at_s)
    }

    /// Standard uncertainty of the clock of one signal against that of another at a time, s.
    pub(super) fn apart_u_s(&self, one: &Signal, other: &Signal, at_s: f64) -> f64 {
        self.clocks
            .relative_u_s(&one.log.value, &other.log.value, at_s)
    }

    /// When a signal first rose through half of its range, and the standard uncertainty of that: it
    /// lies anywhere between the last low reading and the first high one. In a record of several
    /// firings it is the first rise `within` one of them, if there is one. `None` when it never did.
    pub(super) fn first_rise(
        &self,
        signal: &Signal,
        within: Option<(f64, f64)>,
    ) -> Option<(f64, f64)> {
        let series = self.series(signal)?;
        let part = within.and_then(|(from, to)| first_rise(&series.between(from, to)));
        let (time_s, u_s) = part.or_else(|| first_rise(&series))?;
        Some((time_s, u_s.hypot(self.clock_u_s(signal, time_s))))
    }

    /// The numbers of a log's rows, for the results.
    pub(super) fn tally(&mut self, log: &str) -> Option<&mut RowTally> {
        let at = self.records.get_index_of(log)?;
        Some(&mut self.inputs.get_mut(at)?.tally)
    }

    /// Times of a log's first and last row in the stretch used, s on the first log's clock.
    pub(super) fn span_s(&self, log: &str) -> Option<(f64, f64)> {
        let record = self.records.get(log)?;
        let rows = record.segments.get(*self.segments.get(log)?)?.clone();
        let times_s = self.tied_s.get(log).unwrap_or(&record.time_s).get(rows)?;
        Some((*times_s.first()?, *times_s.last()?))
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
