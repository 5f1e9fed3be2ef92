//! All cells together: one load over time, on the first cell's readings.
//!
//! Cells under one rig share its load, so their forces add. A cell on another recorder is
//! interpolated at the times of the first.

use crate::calibration::Curve;
use crate::series::Series;

/// One cell's raw readings on the common clock, and its curve.
#[derive(Debug, Clone)]
pub struct CellReadings {
    /// The cell's name.
    pub name: String,
    /// Raw readings over time, s on the common clock, its delay already taken off.
    pub raw: Series,
    /// Its calibration.
    pub curve: Curve,
}

/// One cell's part of the load.
#[derive(Debug, Clone)]
pub struct CellLoad {
    /// The cell's name.
    pub name: String,
    /// Its calibration.
    pub curve: Curve,
    /// Its force at each time, N.
    pub force_n: Vec<f64>,
}

/// Load over time.
#[derive(Debug, Clone)]
pub struct Load {
    /// Times, s.
    pub time_s: Vec<f64>,
    /// Sum of all cells, N.
    pub force_n: Vec<f64>,
    /// What each cell adds.
    pub cells: Vec<CellLoad>,
}

impl Load {
    /// Adds cells up; `None` when there is none or the first has no reading.
    #[must_use]
    pub fn from_cells(cells: &[CellReadings]) -> Option<Self> {
        let first = cells.first()?;
        let mut time_s = first.raw.time_s().to_vec();
        for cell in cells.iter().skip(1) {
            let (from, to) = cell.raw.span_s()?;
            time_s.retain(|time| (from..=to).contains(time));
        }
        if time_s.is_empty() {
            return None;
        }
        let mut force_n = vec![0.0; time_s.len()];
        let mut parts = Vec::with_capacity(cells.len());
        for cell in cells {
            let mut part = Vec::with_capacity(time_s.len());
            for (time, sum) in time_s.iter().zip(&mut force_n) {
                let force = cell.raw.at(*time).and_then(|raw| cell.curve.load(raw))?;
                *sum += force;
                part.push(force);
            }
            parts.push(CellLoad {
                name: cell.name.clone(),
                curve: cell.curve.clone(),
                force_n: part,
            });
        }
        Some(Self {
            time_s,
            force_n,
            cells: parts,
        })
    }

    /// The part between two times.
    #[must_use]
    pub fn between(&self, from_s: f64, to_s: f64) -> Self {
        let start = self.time_s.partition_point(|time| *time < from_s);
        let end = self.time_s.partition_point(|time| *time <= to_s).max(start);
        let cells = self.cells.iter().map(|cell| CellLoad {
            name: cell.name.clone(),
            curve: cell.curve.clone(),
            force_n: cell.force_n[start..end].to_vec(),
        });
        Self {
            time_s: self.time_s[start..end].to_vec(),
            force_n: self.force_n[start..end].to_vec(),
            cells: cells.collect(),
        }
    }

    /// As a series.
    #[must_use]
    pub fn series(&self) -> Series {
        Series::new(&self.time_s, &self.force_n)
    }
}
