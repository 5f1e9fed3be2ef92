//! All cells together: one load over time, on the first cell's readings.
//!
//! Cells under one rig share its load, so their forces add. A cell on another recorder is
//! interpolated at the times of the first.

use super::Curve;
use super::readings::CellReadings;
use crate::series::Series;

/// One cell's part of the load.
#[derive(Debug, Clone)]
pub(crate) struct CellLoad {
    /// The cell's name.
    pub name: String,
    /// Its calibration.
    pub curve: Curve,
    /// Its force at each time, N.
    pub force_n: Vec<f64>,
}

impl CellLoad {
    fn without_readings(cell: &CellReadings) -> Self {
        Self {
            name: cell.name.clone(),
            curve: cell.curve.clone(),
            force_n: Vec::new(),
        }
    }
}

/// Load over time.
#[derive(Debug, Clone)]
pub(crate) struct Load {
    /// Times, s.
    pub time_s: Vec<f64>,
    /// Sum of all cells, N.
    pub force_n: Vec<f64>,
    /// What each cell adds.
    pub cells: Vec<CellLoad>,
    /// Times left out because a cell's curve has no load for its reading.
    pub beyond_curve: usize,
}

impl Load {
    /// Adds cells up; `None` when there is none, or no time at which all of them read.
    #[must_use]
    pub(crate) fn from_cells(cells: &[CellReadings]) -> Option<Self> {
        let first = cells.first()?;
        let mut time_s = first.raw.time_s().to_vec();
        for cell in cells.iter().skip(1) {
            let (from, to) = cell.raw.span_s()?;
            time_s.retain(|time| (from..=to).contains(time));
        }
        let mut parts: Vec<CellLoad> = cells.iter().map(CellLoad::without_readings).collect();
        let (mut kept_s, mut force_n) = (Vec::new(), Vec::new());
        let mut raw: Vec<_> = cells.iter().map(|cell| cell.raw.walk()).collect();
        let mut forces = Vec::new();
        for time in &time_s {
            forces.clear();
            let each = raw.iter_mut().zip(cells);
            forces.extend(each.map_while(|(raw, cell)| cell.curve.load(raw(*time)?)));
            if forces.len() < cells.len() {
                continue;
            }
            kept_s.push(*time);
            force_n.push(forces.iter().sum());
            for (part, force) in parts.iter_mut().zip(&forces) {
                part.force_n.push(*force);
            }
        }
        (!kept_s.is_empty()).then(|| Self {
            beyond_curve: time_s.len() - kept_s.len(),
            time_s: kept_s,
            force_n,
            cells: parts,
        })
    }

    /// The part between two times.
    #[must_use]
    pub(crate) fn between(&self, from_s: f64, to_s: f64) -> Self {
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
            beyond_curve: self.beyond_curve,
        }
    }

    /// As a series.
    #[must_use]
    pub(crate) fn series(&self) -> Series {
        Series::new(&self.time_s, &self.force_n)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration::{Points, calibrate_points};

    // raw = 100 F - F^2 turns back at 50 N, where it reads 2500: no load reads 3000.
    #[test]
    fn a_reading_that_no_load_gives_is_left_out_alone() {
        let load: Vec<f64> = (0..10).map(|i| 4.0 * f64::from(i)).collect();
        let raw = load.iter().map(|f| 100.0 * f - f * f).collect();
        let curve = calibrate_points(&Points::exact(raw, load), None)
            .unwrap()
            .curve;
        let readings = CellReadings {
            name: "base".to_owned(),
            raw: Series::new(&[0.0, 1.0, 2.0], &[99.0, 3000.0, 196.0]),
            left_out: Vec::new(),
            curve,
        };
        let sum = Load::from_cells(&[readings]).unwrap();
        assert_eq!((sum.time_s, sum.beyond_curve), (vec![0.0, 2.0], 1));
        assert!((sum.force_n[0] - 1.0).abs() < 1e-6 && (sum.force_n[1] - 2.0).abs() < 1e-6);
    }

    fn stated(name: &str, time_s: &[f64], raw: &[f64]) -> CellReadings {
        CellReadings {
            name: name.to_owned(),
            raw: Series::new(time_s, raw),
            left_out: Vec::new(),
            curve: Curve::from_scale(&crate::quantity::given::parse("0.5 N").unwrap(), 10.0)
                .unwrap(),
        }
    }

    // Half a newton a count from 10 counts on; the second cell is read between the first one's times.
    #[test]
    fn cells_add_at_the_times_of_the_first_that_all_of_them_reach() {
        let first = stated("a", &[0.0, 1.0, 2.0, 3.0], &[12.0, 14.0, 16.0, 18.0]);
        let second = stated("b", &[0.5, 1.5, 2.5], &[20.0, 30.0, 40.0]);
        let sum = Load::from_cells(&[first, second]).unwrap();
        assert_eq!(sum.time_s, [1.0, 2.0]);
        assert_eq!(sum.cells[0].force_n, [2.0, 3.0]);
        assert_eq!(sum.cells[1].force_n, [7.5, 12.5]);
        assert_eq!(sum.force_n, [9.5, 15.5]);
        assert_eq!(sum.series().value(), [9.5, 15.5]);
        let part = sum.between(1.5, 2.0);
        assert_eq!(
            (part.time_s.as_slice(), part.force_n.as_slice()),
            (&[2.0][..], &[15.5][..])
        );
        assert_eq!(part.cells[1].force_n, [12.5]);
        assert!(sum.between(5.0, 4.0).time_s.is_empty());
    }
}
