//! The recording of a firing: all that the burn is measured from, each part made once.

use indexmap::IndexMap;

use super::segmentation::Segmentation;
use super::stand::Stand;
use crate::calibration::{CalibratedCell, CellReadings, Load, Signals};
use crate::config::Firing;

/// Signals on one clock, cells calibrated and read, and what is known of the stand.
pub(crate) struct Recording<'a> {
    /// The firing file.
    pub firing: &'a Firing,
    /// Its signals on the first log's clock.
    pub signals: Signals,
    /// Its cells, calibrated.
    pub cells: IndexMap<String, CalibratedCell>,
    /// Their readings.
    pub readings: Vec<CellReadings>,
    /// All of them together; `None` when there is no time at which all of them read a load.
    pub load: Option<Load>,
    /// Their load split into rest, burns and what else it shows.
    pub segmentation: Segmentation,
    /// Cells that cannot be believed throughout the burn, each with the reason.
    pub unsound: IndexMap<String, String>,
    /// The stand's ringing.
    pub stand: Stand,
}

impl Recording<'_> {
    /// Whether a cell can be believed.
    pub(crate) fn believes(&self, cell: &CellReadings) -> bool {
        !self.unsound.contains_key(&cell.name)
    }
}
