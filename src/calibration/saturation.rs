//! Saturated readings: at the full-scale code of their converter.
//!
//! Among calibration points: one extreme reading that comes back to the last digit at loads clearly apart.
//! A curve through them bends where the cell did not. Within a record see `cell_limits`.

use serde::{Deserialize, Serialize};

use super::points::Points;

/// A reading that several loads gave.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Saturated {
    /// The reading, raw.
    pub raw: f64,
    /// The loads that gave it, rising, each once.
    pub loads: Vec<f64>,
}

/// Loads this share of the range apart are not one load measured twice.
const APART_SHARE: f64 = 0.05;

/// The largest and the smallest reading, where it came back at loads clearly apart.
#[must_use]
pub(crate) fn saturated(points: &Points) -> Vec<Saturated> {
    let [lowest, highest] = points.range();
    let high = points.raw.iter().copied().reduce(f64::max);
    let low = points.raw.iter().copied().reduce(f64::min);
    [low, high]
        .into_iter()
        .flatten()
        .filter_map(|raw| {
            let rows = points.raw.iter().zip(&points.load);
            let mut loads: Vec<f64> = rows
                .filter(|(reading, _)| **reading == raw)
                .map(|(_, load)| *load)
                .collect();
            loads.sort_by(f64::total_cmp);
            loads.dedup();
            let apart = loads.last()? - loads.first()?;
            (apart > APART_SHARE * (highest - lowest)).then_some(Saturated { raw, loads })
        })
        .collect()
}

/// Whether a raw reading is a full-scale code of a binary converter of some width: 2^n - 1, or -2^n, from ten
/// bits on. Fewer bits end at numbers that any reading may have.
#[must_use]
pub(crate) fn is_full_scale_code(raw: f64) -> bool {
    const FEWEST_BITS: i32 = 10;
    const MOST_BITS: i32 = 32;
    (FEWEST_BITS - 1..=MOST_BITS).any(|bits| {
        let size = 2_f64.powi(bits);
        raw == -size || (raw == size - 1.0 && bits >= FEWEST_BITS)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reading_that_stays_while_the_load_grows_is_saturated() {
        let load = vec![0.0, 1.0, 2.0, 3.0, 4.0];
        let raw = vec![10.0, 400.0, 790.0, 1023.0, 1023.0];
        let found = saturated(&Points::exact(raw, load.clone()));
        assert_eq!(found.len(), 1);
        assert_eq!(
            (found[0].raw, &found[0].loads[..]),
            (1023.0, &[3.0, 4.0][..])
        );
        // Loads nearer than a twentieth of the range may read the same, also where the range begins
        // high above nothing.
        let near = |apart: f64| {
            let load = vec![100.0, 101.0, 102.0 - apart, 102.0];
            saturated(&Points::exact(vec![10.0, 400.0, 790.0, 790.0], load)).len()
        };
        assert_eq!((near(0.09), near(0.11)), (0, 1));
        // Repeats of the same load may agree.
        let load = vec![0.0, 1.0, 2.0, 2.0];
        let raw = vec![10.0, 400.0, 790.0, 790.0];
        assert_eq!(saturated(&Points::exact(raw, load)), []);
    }

    #[test]
    fn full_scale_codes_of_converters_are_known() {
        for end in [
            1023.0,
            4095.0,
            32767.0,
            -32768.0,
            65535.0,
            8_388_607.0,
            -8_388_608.0,
            -512.0,
        ] {
            assert!(is_full_scale_code(end), "{end}");
        }
        for other in [0.0, 1024.0, 255.0, 8_388_606.0, -1023.0, f64::NAN] {
            assert!(!is_full_scale_code(other), "{other}");
        }
    }
}
