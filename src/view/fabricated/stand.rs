//! An invented stand that rings, and an invented low pass.

use indexmap::IndexMap;

use super::q;
use crate::burn::{LowPassReport, ModeFrom, StandReport};
use crate::quantity::Unit;

pub(super) fn low_pass() -> LowPassReport {
    LowPassReport {
        cut_off_hz: 180.0,
        order: 2,
        step_s: 0.001,
        resampled: true,
        unfiltered_peak_n: 51.47,
        peak_lower_by_n: 0.24,
        impulse_difference_ns: -0.00038,
        ..LowPassReport::default()
    }
}

pub(super) fn stand() -> StandReport {
    StandReport {
        natural_frequency_hz: q(84.61, 0.19, Unit::Hertz),
        damping_ratio: q(0.0312, 0.0017, Unit::One),
        from: ModeFrom::Tap,
        each_cell_hz: IndexMap::new(),
        decays: Some(5),
        decrement_damping_ratio: Some(0.0307),
        peak_changed_n: Some(-1.83),
        ignition_changed_s: Some(0.0013),
        bandwidth_hz: Some(91.4),
    }
}
