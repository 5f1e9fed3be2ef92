//! Which segment between clock restarts of the cells' log is reduced: the one that burns most.

use indexmap::IndexMap;

use super::locate;
use super::segmentation::Choice;
use crate::calibration::{CalibratedCell, CellReadings, Load, Signals};
use crate::config::{Cell, Firing};
use crate::diagnostic::{Code, Diagnostic, Place};
use crate::log::Record;
use crate::series::Series;

/// Chooses the segment, and says which it was and which others burn too; `None` when there is no choice.
pub(crate) fn choose(
    firing: &Firing,
    signals: &mut Signals,
    cells: &IndexMap<String, CalibratedCell>,
) -> Option<Diagnostic> {
    let (name, cell) = firing.cells.first()?;
    let calibrated = cells.get(name)?;
    let record = signals.channels.record(&cell.signal)?;
    if record.segments.len() < 2 {
        return None;
    }
    let areas: Vec<(usize, f64)> = (0..record.segments.len())
        .filter_map(|segment| {
            let raw = record.series(&cell.signal.column.value, segment)?;
            Some((segment, area_ns(firing, raw, cell, calibrated)?))
        })
        .collect();
    let best = areas.iter().max_by(|a, b| a.1.total_cmp(&b.1));
    let used = best.map_or(signals.channels.segment(&cell.signal)?, |best| best.0);
    let message = told(record, &areas, used);
    let place = Place {
        line: lines_of(record, used).0,
        ..Place::file(record.file.clone())
    };
    signals
        .channels
        .use_segment(&cell.signal, used, message.clone());
    Some(Diagnostic::warning(Code::ClockRestart, message).at(place))
}

/// First and last line of a segment.
fn lines_of(record: &Record, segment: usize) -> (usize, usize) {
    let rows = record.segments[segment].clone();
    (record.line[rows.start], record.line[rows.end - 1])
}

fn told(record: &Record, areas: &[(usize, f64)], used: usize) -> String {
    let count = record.segments.len();
    let lines = lines_of(record, used);
    let chosen = format!(
        "the clock restarts {} times; segment {} of {count} is used (lines {} to {}), and times \
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
            let (from, to) = lines_of(record, *segment);
            format!("lines {from} to {to} (about {area_ns:.3} N s)")
        })
        .collect();
    if others.is_empty() {
        chosen
    } else {
        format!(
            "{chosen}; it burns most, but others burn too: {}",
            others.join(", ")
        )
    }
}

/// Rough area of the largest burn of a segment, N s; `None` when nothing burns in it.
fn area_ns(firing: &Firing, raw: Series, cell: &Cell, calibrated: &CalibratedCell) -> Option<f64> {
    let readings = CellReadings {
        name: cell.signal.column.value.clone(),
        raw,
        left_out: Vec::new(),
        curve: calibrated.curve.clone(),
    };
    let load = Load::from_cells(&[readings])?;
    match locate::split(firing, &load, None).choice() {
        Choice::Burn(burn) => Some(burn.area_ns),
        Choice::Unclear(_) | Choice::Nothing => None,
    }
}
