//! Calibration points: known loads against raw readings.

use crate::quantity::Unit;
use serde::{Deserialize, Serialize};

/// What the known values are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum LoadKind {
    /// Forces, or masses that press by their weight.
    Force,
    /// Angles.
    Angle,
    /// Pressures.
    Pressure,
}

impl LoadKind {
    /// The word used in every output.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Force => "force",
            Self::Angle => "angle",
            Self::Pressure => "pressure",
        }
    }

    /// The unit that loads are computed in.
    #[must_use]
    pub const fn si_unit(self) -> Unit {
        match self {
            Self::Force => Unit::Newton,
            Self::Angle => Unit::Radian,
            Self::Pressure => Unit::Pascal,
        }
    }

    /// The unit results are shown in.
    #[must_use]
    pub const fn unit(self) -> Unit {
        match self {
            Self::Force => Unit::Newton,
            Self::Angle => Unit::Degree,
            Self::Pressure => Unit::Kilopascal,
        }
    }

    /// Size of that unit in N, rad or Pa.
    #[must_use]
    pub const fn unit_size(self) -> f64 {
        match self {
            Self::Force => 1.0,
            Self::Angle => std::f64::consts::PI / 180.0,
            Self::Pressure => 1e3,
        }
    }
}

/// Which way the load was changing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Direction {
    /// Rising.
    Up,
    /// Falling.
    Down,
}

/// Points of one calibration.
#[derive(Debug, Clone)]
pub struct Points {
    /// The file they came from.
    pub file: String,
    /// What the known values are.
    pub kind: LoadKind,
    /// Raw readings.
    pub raw: Vec<f64>,
    /// Known values.
    pub load: Vec<f64>,
    /// Their unit: N, rad or Pa, or that of the results.
    pub unit: Unit,
    /// Which way each was reached, where stated or plain from the order of the rows.
    pub direction: Vec<Option<Direction>>,
    /// Whether the directions were found from the order of the rows.
    pub direction_found: bool,
    /// The run each belongs to; empty where not stated.
    pub run: Vec<String>,
    /// Gravity that turned masses into forces, m/s2; `None` when no mass was given.
    pub gravity_m_s2: Option<f64>,
    /// Relative standard uncertainty that all loads share because gravity is not known better.
    pub gravity_relative_u: f64,
}

impl Points {
    /// Points without file, direction or shared uncertainty.
    #[must_use]
    pub fn exact(raw: Vec<f64>, load: Vec<f64>) -> Self {
        let direction = vec![None; raw.len()];
        let run = vec![String::new(); raw.len()];
        Self {
            file: "points".to_owned(),
            kind: LoadKind::Force,
            raw,
            load,
            unit: LoadKind::Force.si_unit(),
            direction,
            direction_found: false,
            run,
            gravity_m_s2: None,
            gravity_relative_u: 0.0,
        }
    }

    /// The same points with their loads in the unit that results are shown in.
    #[must_use]
    pub fn shown(&self) -> Self {
        let size = self.kind.unit_size();
        Self {
            load: self.load.iter().map(|load| load / size).collect(),
            unit: self.kind.unit(),
            ..self.clone()
        }
    }

    /// Smallest and largest known value.
    #[must_use]
    pub fn range(&self) -> [f64; 2] {
        let low = self.load.iter().copied().fold(f64::INFINITY, f64::min);
        let high = self.load.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        [low, high]
    }
}

/// Steps one way that make a run: fewer, and the rows may stand in any order.
const FEWEST_STEPS: usize = 3;

/// Which way a sequence went at each row, when it clearly goes up and down in long runs; `None`
/// when it does not. A value that did not change belongs to the next step.
#[must_use]
pub(crate) fn directions_in(sequence: &[f64]) -> Option<Vec<Direction>> {
    let mut steps: Vec<Option<Direction>> = vec![None; sequence.len()];
    for (at, pair) in sequence.windows(2).enumerate() {
        steps[at + 1] = match pair[1].total_cmp(&pair[0]) {
            std::cmp::Ordering::Greater => Some(Direction::Up),
            std::cmp::Ordering::Less => Some(Direction::Down),
            std::cmp::Ordering::Equal => None,
        };
    }
    let moved: Vec<Direction> = steps.iter().copied().flatten().collect();
    let runs: Vec<&[Direction]> = moved.chunk_by(|a, b| a == b).collect();
    let both = moved.contains(&Direction::Up) && moved.contains(&Direction::Down);
    if !both || runs.iter().any(|run| run.len() < FEWEST_STEPS) {
        return None;
    }
    let mut next = moved.last().copied();
    for step in steps.iter_mut().rev() {
        next = step.or(next);
        *step = next;
    }
    steps.into_iter().collect()
}
