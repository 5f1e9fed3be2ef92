//! Cell readings: the raw record of every load cell, made once and handed on.

use indexmap::IndexMap;

use super::signals::Signals;
use super::{CalibratedCell, Curve};
use crate::config::{Cell, Firing};
use crate::diagnostic::{Code, Diagnostic};
use crate::quantity::Given;
use crate::series::Series;

/// One cell's readings and the curve that reads them.
#[derive(Debug, Clone)]
pub(crate) struct CellReadings {
    /// The cell's name.
    pub name: String,
    /// Raw readings on the common clock, without outliers.
    pub raw: Series,
    /// The outliers: times on the common clock, s, and raw readings.
    pub left_out: Vec<(f64, f64)>,
    /// Its calibration.
    pub curve: Curve,
}

/// Readings of all cells on the first log's clock, their delay taken off.
#[must_use]
pub(crate) fn cell_readings(
    firing: &Firing,
    signals: &Signals,
    cells: &IndexMap<String, CalibratedCell>,
) -> Vec<CellReadings> {
    let one = |(name, cell): (&String, &Cell)| {
        let delay_s = cell.delay.as_ref().map_or(0.0, Given::si);
        let raw = signals.channels.series(&cell.signal)?;
        let left_out = signals.channels.outliers(&cell.signal).into_iter();
        Some(CellReadings {
            name: name.clone(),
            raw: raw.map_time(|time| time - delay_s),
            left_out: left_out
                .map(|(time, reading)| (time - delay_s, reading))
                .collect(),
            curve: cells.get(name)?.curve.clone(),
        })
    };
    firing.cells.iter().filter_map(one).collect()
}

/// Counts the outliers of each cell into the numbers of its log, and says which were left out.
pub(crate) fn outliers(firing: &Firing, signals: &mut Signals) -> Vec<Diagnostic> {
    for cell in firing.cells.values() {
        signals.channels.count_outliers(&cell.signal);
    }
    let one =
        |(name, cell): (&String, &Cell)| {
            let outliers = signals.channels.outliers(&cell.signal);
            let (time_s, reading) = outliers.first()?;
            let message = format!(
                "{} of cell {name} left out: further from the neighbours than ten times what all \
             others span (the first, {reading}, at {time_s:.3} s)",
                number_of_outliers(outliers.len())
            );
            Some(Diagnostic::warning(Code::WildReading, message).hint(
                "converters write such full-scale codes when they overflow or lose their cable",
            ))
        };
    firing.cells.iter().filter_map(one).collect()
}

/// "one outlier", "7 outliers".
#[must_use]
pub(crate) fn number_of_outliers(number: usize) -> String {
    match number {
        1 => "one outlier".to_owned(),
        _ => format!("{number} outliers"),
    }
}
