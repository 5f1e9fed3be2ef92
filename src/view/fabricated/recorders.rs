//! Invented rows of a log and an invented chamber.

use super::{MOTORS, q};
use crate::burn::segmentation::{RecordReport, SegmentKind, SegmentReport};
use crate::log::{LongestGap, RowTally};
use crate::motors::chamber::{ChamberBudgetLine, ChamberReport};
use crate::quantity::Unit;
use crate::uncertainty::Kind;

pub(super) fn chamber() -> ChamberReport {
    let line = |of: &str, source: &str, u: f64, share: f64| ChamberBudgetLine {
        of: of.to_owned(),
        source: source.to_owned(),
        kind: Kind::Systematic,
        u,
        share,
    };
    ChamberReport {
        motor: Some(MOTORS[0].to_owned()),
        reads: "gauge".to_owned(),
        window_by: "pressure".to_owned(),
        window_s: [2.109, 4.187],
        ambient_kpa: q(100.8, 0.3, Unit::Kilopascal),
        throat_area_mm2: q(29.22, 0.28, Unit::SquareMillimetre),
        peak_kpa: q(1423.0, 7.6, Unit::Kilopascal),
        mean_kpa: q(716.0, 3.9, Unit::Kilopascal),
        integral_kpa_s: q(1488.0, 8.1, Unit::KilopascalSecond),
        characteristic_velocity_m_s: q(2163.0, 24.0, Unit::MetrePerSecond),
        thrust_coefficient: None,
        budget: vec![
            line("integral_kpa_s", "slope of the transducer", 7.7, 0.91),
            line(
                "characteristic_velocity_m_s",
                "diameter of the throat",
                20.7,
                0.74,
            ),
        ],
        ..ChamberReport::default()
    }
}

pub(super) fn tally(rows: usize) -> RowTally {
    RowTally {
        lines_left_out: 0,
        rows_read: rows + 19,
        rows_used: rows - 7,
        rate_hz: Some(999.4),
        step_sd_s: Some(3.21e-5),
        longest_gap: Some(LongestGap {
            length_s: 0.0137,
            line: 4121,
        }),
        duplicated: 11,
        out_of_order: 5,
        without_time: 3,
        missing_rows: 13,
        missing_readings: 17,
        unreadable: 2,
        outliers: 1,
    }
}

/// A record with a knock after its burn.
pub(super) fn record() -> RecordReport {
    let segment = |kind, from_s, to_s, level_n| SegmentReport {
        kind,
        from_s,
        to_s,
        level_n,
        area_ns: 0.6713 * level_n,
        confidence: 0.0173,
        doubts: Vec::new(),
        reduced: kind == SegmentKind::Burn,
    };
    RecordReport {
        chosen: "the only burn".to_owned(),
        segments: vec![
            segment(SegmentKind::Rest, 0.0, 2.013, 4.117),
            segment(SegmentKind::Burn, 2.013, 5.127, 31.73),
            SegmentReport {
                doubts: vec!["it is too short".to_owned()],
                ..segment(SegmentKind::Knock, 7.211, 7.243, 12.91)
            },
        ],
    }
}
