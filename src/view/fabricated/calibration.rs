//! An invented calibration, judged.

use super::noise;
use crate::calibration::judgement::judge;
use crate::calibration::points::{LoadKind, Points, directions_in};
use crate::calibration::{CalibrationTrace, Direction, Judgement};

/// Up and down twice, with a bend, noise that repeats and a little backlash.
pub(crate) fn judgement(kind: LoadKind) -> Judgement {
    let (mut raw, mut load) = (Vec::new(), Vec::new());
    for row in 0..80_u32 {
        let step = f64::from(20_u32.abs_diff(row % 40));
        let noise = f64::from(row * 7919 % 13) - 6.0;
        let late = if row % 40 < 20 { -9.0 } else { 9.0 };
        load.push(kind.unit_size() * (20.0 - step));
        raw.push((8123.0 - 411.0 * step + 0.9 * step * step + noise + late).round());
    }
    let mut points = Points::exact(raw, load);
    points.kind = kind;
    points.file = format!("{}\u{1b}[31m points.csv", "long ".repeat(30));
    points.gravity_m_s2 = (kind == LoadKind::Force).then_some(9.812_34);
    points.direction_found = true;
    let ways = directions_in(&points.load).unwrap();
    points.direction = ways.into_iter().map(Some).collect();
    points.run = (0..80).map(|row| (row / 40).to_string()).collect();
    judge(&points, Some(1.2e-4)).unwrap().1
}

/// Residuals of the points of a cell.
pub(super) fn points() -> CalibrationTrace {
    let force_n: Vec<f64> = (0..22).map(|n| f64::from(n % 11) * 8.5).collect();
    let residual_n = (0..22)
        .map(|n| 0.018 * noise(n * 3 + 1) + if n < 11 { 0.006 } else { -0.006 })
        .collect();
    let direction = |n| {
        if n < 11 {
            Direction::Up
        } else {
            Direction::Down
        }
    };
    CalibrationTrace {
        force_n,
        residual_n,
        direction: (0..22).map(direction).map(Some).collect(),
    }
}
