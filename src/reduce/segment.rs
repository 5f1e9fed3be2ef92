//! Which stretch between clock restarts of the cells' log is reduced: the one that burns most.

use indexmap::IndexMap;

use super::signals::Signals;
use crate::burn::{load, outlier, search, segmentation};
use crate::calibration::CalibratedCell;
use crate::config::{Cell, Firing};
use crate::diagnostic::{Diagnostic, Place};
use crate::log::Record;

/// Chooses the stretch, once, and says which it was and which others burn too.
pub(super) fn choose(
    signals: &mut Signals,
    firing: &Firing,
    cells: &IndexMap<String, CalibratedCell>,
) {
    let Some((name, cell)) = firing.cells.first().filter(|_| !signals.chosen) else {
        return;
    };
    signals.chosen = true;
    let log = cell.signal.log.value.clone();
    let (Some(record), Some(calibrated)) = (signals.records.get(&log), cells.get(name)) else {
        return;
    };
    let count = record.segments.len();
    if count < 2 {
        return;
    }
    let fraction = firing.reduce.burn_rule.fraction();
    let areas: Vec<(usize, f64)> = (0..count)
        .filter_map(|segment| Some((segment, area(record, segment, cell, calibrated, fraction)?)))
        .collect();
    let best = areas.iter().max_by(|a, b| a.1.total_cmp(&b.1));
    let before = signals.segments.get(&log).copied().unwrap_or(0);
    let used = best.map_or(before, |(segment, _)| *segment);
    let lines_of = |segment: usize| {
        let rows = record.segments[segment].clone();
        (record.line[rows.start], record.line[rows.end - 1])
    };
    let lines = lines_of(used);
    let mut said = format!(
        "the clock restarts {} times; stretch {} of {count} is used (lines {} to {}), and times \
         count from its first row",
        count - 1,
        used + 1,
        lines.0,
        lines.1
    );
    let others: Vec<String> = areas
        .iter()
        .filter(|(segment, _)| *segment != used)
        .map(|(segment, area_ns)| {
            let (from, to) = lines_of(*segment);
            format!("lines {from} to {to} (about {area_ns:.3} N s)")
        })
        .collect();
    if !others.is_empty() {
        said += &format!(
            "; it burns most, but others burn too: {}",
            others.join(", ")
        );
    }
    let rows_used = record.segments[used].len();
    let place = Place {
        line: lines.0,
        ..Place::file(record.file.clone())
    };
    let warning = Diagnostic::warning("clock-restart", said.clone()).at(place);
    if let Some(at) = signals.records.get_index_of(&log) {
        let input = &mut signals.inputs[at];
        input.notes.push(said);
        input.tally.rows_used = rows_used;
    }
    signals.segments.insert(log, used);
    signals.warnings.push(warning);
}

/// Rough area of the largest burn of a stretch, N s; `None` when nothing burns in it.
fn area(
    record: &Record,
    segment: usize,
    cell: &Cell,
    calibrated: &CalibratedCell,
    fraction: f64,
) -> Option<f64> {
    let (raw, _) = outlier::without_lone(&record.series(&cell.signal.column.value, segment)?);
    let readings = load::CellReadings {
        name: record.name.clone(),
        raw,
        curve: calibrated.curve.clone(),
    };
    let load = load::Load::from_cells(&[readings])?;
    let burns = segmentation::burns(&load.time_s, &load.force_n, fraction);
    let (from_s, to_s) = segmentation::largest(&burns)?.stretch_s;
    let load = load.between(from_s, to_s);
    Some(search::find(&load.time_s, &load.force_n, fraction)?.area_ns)
}
