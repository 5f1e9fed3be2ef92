//! Every log read, every clock tied: signals by name on the first log's clock.

use indexmap::IndexMap;

use crate::burn::{load, lone, search};
use crate::calibration::{self, CalibratedCell, Curve, LoadKind, Points, gravity};
use crate::diagnostic::{Diagnostic, Place, Problems};
use crate::firing::{Firing, Signal};
use crate::record::{self, ClockReport, Clocks, InputReport, Record};
use crate::series::Series;

/// The logs of a firing, ready to be asked for signals.
pub(super) struct Signals {
    records: IndexMap<String, Record>,
    /// Segment used of each log.
    segments: IndexMap<String, usize>,
    clocks: Clocks,
    /// Curves of the signals that came with a points file, by file name.
    curves: IndexMap<String, Curve>,
    /// For the results.
    pub inputs: Vec<InputReport>,
    /// For the results.
    pub clock_reports: IndexMap<String, ClockReport>,
    warnings: Vec<Diagnostic>,
    chosen: bool,
}

/// Reads everything a firing file names.
pub(super) fn read(firing: &Firing) -> Result<Signals, Problems> {
    let mut records = IndexMap::new();
    let mut problems = Vec::new();
    for (name, log) in &firing.logs {
        match record::read_record(log, &record::wanted_columns(firing, name)) {
            Ok(record) => {
                records.insert(name.clone(), record);
            }
            Err(more) => problems.extend(more.0),
        }
    }
    if !problems.is_empty() {
        return Err(Problems(problems));
    }
    let segments = records
        .iter()
        .map(|(name, record)| (name.clone(), longest(record)))
        .collect();
    let clocks = record::align_clocks(firing, &records, &segments)?;
    overlap(firing, &records, &segments, &clocks)?;
    let curves = read_curves(firing)?;
    let inputs = records.values().map(input_report).collect();
    let warnings = records
        .values()
        .flat_map(|record| record.warnings.iter().cloned())
        .collect();
    let clock_reports = clocks.reports.clone();
    Ok(Signals {
        records,
        segments,
        clocks,
        curves,
        inputs,
        clock_reports,
        warnings,
        chosen: false,
    })
}

/// Every log must share some time with the first.
fn overlap(
    firing: &Firing,
    records: &IndexMap<String, Record>,
    segments: &IndexMap<String, usize>,
    clocks: &Clocks,
) -> Result<(), Problems> {
    let span = |name: &str| {
        let record = records.get(name)?;
        let rows = record.segments.get(*segments.get(name)?)?.clone();
        let times = record.time_s.get(rows)?;
        let at = |time: &f64| clocks.to_first(name, *time);
        Some((times.first().map(at)?, times.last().map(at)?))
    };
    let first = firing.logs.keys().next().and_then(|name| span(name));
    for (name, log) in &firing.logs {
        let (Some(align), Some((from, to)), Some(first)) = (&log.align, span(name), first) else {
            continue;
        };
        if records.values().all(|record| record.segments.len() < 2)
            && (from > first.1 || to < first.0)
        {
            let message = format!(
                "log `{name}` runs from {from:.3} s to {to:.3} s of the first log, which runs from \
                 {:.3} s to {:.3} s",
                first.0, first.1
            );
            return Err(Diagnostic::error("no-overlap", message)
                .at(align.place.clone())
                .hint("they have no time in common: check the offset, and the units of both times")
                .into());
        }
    }
    Ok(())
}

fn longest(record: &Record) -> usize {
    let by_length = record
        .segments
        .iter()
        .enumerate()
        .max_by_key(|(_, rows)| rows.len());
    by_length.map_or(0, |(at, _)| at)
}

fn input_report(record: &Record) -> InputReport {
    InputReport {
        file: record.file.clone(),
        sha256: record.sha256.clone(),
        rows: record.line.len(),
        notes: record.notes.clone(),
    }
}

/// Curves of signals that carry points in place of a unit.
fn read_curves(firing: &Firing) -> Result<IndexMap<String, Curve>, Problems> {
    let mut out = IndexMap::new();
    for signal in firing.signals() {
        if let Some(file) = &signal.points {
            let gravity = gravity::at(&firing.site);
            let points: Points = calibration::points::read(&file.value, LoadKind::Angle, &gravity)
                .map_err(|problems| problems.where_named(&file.place, &file.value))?;
            let curve = calibration::calibrate_points(&points, None)?.curve;
            out.insert(file.value.display().to_string(), curve);
        }
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
        let segment = *self.segments.get(log)?;
        let series = record.series(&signal.column.value, segment)?;
        Some(series.map_time(|time| self.clocks.to_first(log, time)))
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

    /// A signal in coherent SI units, by its unit or its points, on the first log's clock.
    pub(super) fn quantity(&self, signal: &Signal) -> Option<Series> {
        let raw = self.series(signal)?;
        match (&signal.unit, &signal.points) {
            (Some(unit), _) => Some(raw.map(|_, value| unit.to_si(value))),
            (None, Some(file)) => {
                let curve = self.curves.get(&file.value.display().to_string())?;
                Some(raw.map(|_, value| curve.load(value).unwrap_or(f64::NAN)))
            }
            (None, None) => Some(raw),
        }
    }

    /// Standard uncertainty of the clock of one signal against that of another, s.
    pub(super) fn apart_u_s(&self, one: &Signal, other: &Signal) -> f64 {
        self.clocks.relative_u_s(&one.log.value, &other.log.value)
    }

    /// When a signal first rose through half of its range, and the standard uncertainty of that: it
    /// lies anywhere between the last low reading and the first high one. `None` when it never did.
    pub(super) fn first_rise(&self, signal: &Signal) -> Option<(f64, f64)> {
        let series = self.series(signal)?;
        let (low, high) = series
            .value()
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |r, v| {
                (r.0.min(*v), r.1.max(*v))
            });
        let row = series
            .value()
            .iter()
            .position(|value| *value > 0.5 * (low + high))?;
        let before = row.checked_sub(1)?;
        let (t0, t1) = (series.time_s()[before], series.time_s()[row]);
        let u = (t1 - t0) / 12.0_f64.sqrt();
        Some((
            0.5 * (t0 + t1),
            u.hypot(self.clocks.offset_u_s(&signal.log.value)),
        ))
    }

    /// Chooses, in the log of the cells, the stretch between clock restarts that burns most.
    pub(super) fn choose_segment(
        &mut self,
        firing: &Firing,
        cells: &IndexMap<String, CalibratedCell>,
    ) {
        let Some((name, cell)) = firing.cells.first().filter(|_| !self.chosen) else {
            return;
        };
        self.chosen = true;
        let log = cell.signal.log.value.clone();
        let (Some(record), Some(calibrated)) = (self.records.get(&log), cells.get(name)) else {
            return;
        };
        let count = record.segments.len();
        if count < 2 {
            return;
        }
        let fraction = firing.reduce.burn_rule.fraction();
        let area = |segment: usize| {
            let (raw, _) = lone::without_lone(&record.series(&cell.signal.column.value, segment)?);
            let curve = calibrated.curve.clone();
            let readings = load::CellReadings {
                name: name.clone(),
                raw,
                curve,
            };
            let load = load::Load::from_cells(&[readings])?;
            Some(search::find(&load.time_s, &load.force_n, fraction)?.area_ns)
        };
        let best = (0..count)
            .filter_map(|segment| Some((segment, area(segment)?)))
            .max_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((segment, _)) = best {
            self.segments.insert(log.clone(), segment);
        }
        let used = self.segments.get(&log).copied().unwrap_or(0);
        let rows = record.segments[used].clone();
        let lines = (record.line[rows.start], record.line[rows.end - 1]);
        let said = format!(
            "the clock restarts {} times; stretch {} of {count} is used (lines {} to {}), and times \
             count from its first row",
            count - 1,
            used + 1,
            lines.0,
            lines.1
        );
        if let Some(input) = self
            .inputs
            .iter_mut()
            .find(|input| input.file == record.file)
        {
            input.notes.push(said.clone());
        }
        let place = Place {
            line: lines.0,
            ..Place::file(record.file.clone())
        };
        self.warnings
            .push(Diagnostic::warning("clock-restart", said).at(place));
    }
}
