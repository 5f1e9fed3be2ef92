//! A firing while it is being recorded: what the stand does now, and who to ask the moment it is over.
//!
//! [`Watch`] reads one recorder's log as it grows, by the firing file that `reduce` will read: load of the cells on it, tilt of the
//! axes on it, the fire line. It only reads, and decides nothing: the verdict is [`reduce`](crate::reduce())'s on the bytes that
//! are there, without the steering ([`first_verdict`]), which takes longest and tells nothing that hurries.

mod rows;
mod stand;
mod verdict;

use std::path::{Path, PathBuf};

pub use stand::{Phase, StandNow};
pub use verdict::{Told, first_verdict};

use crate::calibration::{Curve, calibrate_cells};
use crate::config::Firing;
use crate::diagnostic::{Code, Diagnostic, Error};
use crate::quantity::WrittenUnit;
use rows::{Row, Rows};
use stand::Detector;

/// A log that is being watched.
#[derive(Debug)]
pub struct Watch {
    log: String,
    path: PathBuf,
    rows: Rows,
    cells: Vec<(usize, Curve)>,
    fire: Option<usize>,
    tilts: Vec<(String, usize, WrittenUnit)>,
    detector: Detector,
    tilt_deg: Vec<(String, f64)>,
    recent_n: Option<(f64, f64)>,
}

impl Watch {
    /// Begins at the first byte of the log that the cells of a firing are on.
    ///
    /// # Errors
    /// The firing has no cell, cells on several logs, or one whose calibration cannot be read.
    pub fn new(firing: &Firing) -> Result<Self, Error> {
        let signals = firing.cells.values().map(|cell| &cell.signal);
        let mut logs: Vec<&str> = signals.map(|signal| signal.log.value.as_str()).collect();
        logs.dedup();
        let log = match logs.as_slice() {
            [one] => firing.logs.get(*one),
            _ => None,
        };
        let log = log.ok_or_else(|| {
            let says = "only a firing whose load cells are on one log can be watched";
            Diagnostic::error(Code::NoCell, says).hint("reduce it when the logs have been copied")
        })?;
        let mut wanted: Vec<String> = Vec::new();
        let mut place = |column: &str| {
            let found = wanted.iter().position(|one| one == column);
            found.unwrap_or_else(|| {
                wanted.push(column.to_owned());
                wanted.len() - 1
            })
        };
        let calibrated = calibrate_cells(firing)?;
        let cells = firing.cells.iter().filter_map(|(name, cell)| {
            let curve = calibrated.get(name)?.curve.clone();
            Some((place(&cell.signal.column.value), curve))
        });
        let cells = cells.collect();
        let motors = firing.motors.values();
        let mut fires = motors.filter_map(|motor| motor.fire.as_ref());
        let fire = fires.find(|fire| fire.log.value == log.name);
        let fire = fire.map(|fire| place(&fire.column.value));
        let mut tilts = Vec::new();
        for (name, axis) in &firing.axes {
            let tilt = axis.tilt.as_ref().filter(|tilt| tilt.log.value == log.name);
            if let Some((tilt, unit)) = tilt.and_then(|tilt| Some((tilt, tilt.unit.clone()?))) {
                tilts.push((name.clone(), place(&tilt.column.value), unit));
            }
        }
        Ok(Self {
            log: log.name.clone(),
            path: log.file.value.clone(),
            rows: Rows::new(log.clone(), wanted),
            cells,
            fire,
            tilts,
            detector: Detector::default(),
            tilt_deg: Vec::new(),
            recent_n: None,
        })
    }

    /// The name of the log that is watched.
    #[must_use]
    pub fn log(&self) -> &str {
        &self.log
    }

    /// Where it is.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Reads some more bytes of the log.
    ///
    /// # Errors
    /// The first lines do not show how the log is written.
    pub fn feed(&mut self, bytes: &[u8]) -> Result<(), Error> {
        for row in self.rows.feed(bytes)? {
            self.row(&row);
        }
        Ok(())
    }

    fn row(&mut self, row: &Row) {
        let force_n =
            |(at, curve): &(usize, Curve)| curve.load(row.values[*at]).unwrap_or(f64::NAN);
        // There is one at least.
        let load_n: f64 = self.cells.iter().map(force_n).sum();
        let fire = self.fire.map_or(f64::NAN, |at| row.values[at]);
        self.detector.row(row.time_s, load_n, fire);
        if let Some(thrust_n) = self.detector.now.thrust_n {
            let (low, high) = self.recent_n.unwrap_or((thrust_n, thrust_n));
            self.recent_n = Some((low.min(thrust_n), high.max(thrust_n)));
        }
        self.tilt_deg.clear();
        for (name, at, unit) in &self.tilts {
            let tilt_deg = unit.to_si(row.values[*at]).to_degrees();
            self.tilt_deg.push((name.clone(), tilt_deg));
        }
    }

    /// What the stand does.
    #[must_use]
    pub const fn now(&self) -> &StandNow {
        &self.detector.now
    }

    /// Newest tilt of each axis that this log measures, deg.
    #[must_use]
    pub fn tilt_deg(&self) -> &[(String, f64)] {
        &self.tilt_deg
    }

    /// Least and greatest thrust since this was asked last, N.
    pub fn range_n(&mut self) -> Option<(f64, f64)> {
        self.recent_n.take()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_demo_is_followed_whatever_pieces_its_bytes_come_in() {
        let firing =
            crate::config::read_firing(Path::new("demo-data/twin-captive/firing.toml")).unwrap();
        let bytes = std::fs::read("demo-data/twin-captive/stand.csv").unwrap();
        let through = |piece: usize| {
            let mut watch = Watch::new(&firing).unwrap();
            for part in bytes.chunks(piece) {
                watch.feed(part).unwrap();
            }
            watch.now().clone()
        };
        let now = through(bytes.len());
        assert_eq!(through(137), now);
        assert_eq!(now.phase, Phase::Burnout);
        // truth.json: it burns from 2.516 s to 4.638 s, the counter of the clock runs full at 3.1 s.
        approx::assert_abs_diff_eq!(now.onset_s.unwrap(), 2.516, epsilon = 0.02);
        approx::assert_abs_diff_eq!(now.end_s.unwrap(), 4.64, epsilon = 0.02);
        approx::assert_abs_diff_eq!(now.time_s, 7.999, epsilon = 2e-3);
        approx::assert_abs_diff_eq!(now.fire_s.unwrap(), 2.4, epsilon = 2e-3);
    }
}
