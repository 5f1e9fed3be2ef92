//! Readings of tilt and rate in time order, with the instants between them.
//!
//! Readings of several logs at several rates are merged; fast ones are averaged in blocks, and long gaps are parted, so that
//! what drives the rig may be taken as straight lines.

use crate::series::Series;

/// Longest step without a reading, s: inputs are taken as straight lines over it.
const LONGEST_STEP_S: f64 = 0.002_5;

#[derive(Debug, Clone, Copy)]
pub(super) struct Reading {
    /// Whether of the rate; else of the tilt.
    pub rate: bool,
    /// Its value, rad or rad/s.
    pub value: f64,
}

/// Readings in time order with the instants between them.
#[derive(Debug, Clone)]
pub(crate) struct Instants {
    /// Times, s.
    pub times_s: Vec<f64>,
    /// The reading at each instant that has one.
    pub(super) readings: Vec<Option<Reading>>,
    /// Thrust over its mean at each instant; taken as 1 when empty.
    thrust_share: Vec<f64>,
    /// Number of readings, fast ones averaged.
    pub count: usize,
    /// Number of readings before averaging.
    pub raw_count: usize,
}

/// Readings faster than this are averaged in blocks, s. A mean of a curved stretch stands off its
/// middle by curvature times length squared over 24: at 10 rad/s2 that is 0.0004 deg, well below
/// any encoder's resolution, while the noise shrinks as it should and steps of resolution blur.
const BLOCK_S: f64 = 0.004;

/// Means of blocks of readings at their mean times.
fn block_means(series: &Series) -> Series {
    let step = series.step_s().unwrap_or(BLOCK_S);
    let size = (BLOCK_S / step + 0.01).floor().max(1.0) as usize;
    let mut out = Series::default();
    for (times, values) in series
        .time_s()
        .chunks(size)
        .zip(series.value().chunks(size))
    {
        let count = times.len() as f64;
        let (time, value) = (times.iter().sum::<f64>(), values.iter().sum::<f64>());
        // A gap inside a block, or a short last block, would bend or weaken the mean: left out.
        let whole = times.len() == size && times[size - 1] - times[0] < 1.5 * BLOCK_S;
        if whole {
            out.push(time / count, value / count);
        }
    }
    out
}

impl Instants {
    /// Merges the readings of a tilt and a rate.
    #[must_use]
    pub(crate) fn new(
        tilt_rad: Option<&Series>,
        rate_rad_s: Option<&Series>,
        window: (f64, f64),
    ) -> Self {
        let mut all: Vec<(f64, Reading)> = Vec::new();
        let mut raw_count = 0;
        for (series, rate) in [(tilt_rad, false), (rate_rad_s, true)] {
            let Some(series) = series else { continue };
            let part = series.between(window.0, window.1);
            raw_count += part.len();
            let means = block_means(&part);
            all.extend(
                means
                    .iter()
                    .map(|(time, value)| (time, Reading { rate, value })),
            );
        }
        all.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut out = Self {
            times_s: vec![],
            readings: vec![],
            thrust_share: vec![],
            count: all.len(),
            raw_count,
        };
        for (time, reading) in all {
            if let Some(&before) = out.times_s.last() {
                let parts = ((time - before) / LONGEST_STEP_S).ceil().max(1.0);
                for part in 1..parts as usize {
                    out.times_s
                        .push(before + (time - before) * part as f64 / parts);
                    out.readings.push(None);
                }
            }
            out.times_s.push(time);
            out.readings.push(Some(reading));
        }
        out
    }
}

/// Least thrust over its mean that a disturbance is reckoned with.
const LEAST_SHARE: f64 = 0.02;

impl Instants {
    /// Sets the thrust at each instant, which disturbances may go with.
    #[must_use]
    pub(crate) fn under_thrust(mut self, thrust_n: &[f64]) -> Self {
        let mean = thrust_n.iter().sum::<f64>() / thrust_n.len().max(1) as f64;
        if mean > 0.0 {
            let share = |thrust: &f64| (thrust / mean).max(LEAST_SHARE);
            self.thrust_share = thrust_n.iter().map(share).collect();
        }
        self
    }

    /// Time and kind (rate or tilt) of each reading, in order.
    pub(crate) fn readings(&self) -> impl Iterator<Item = (f64, bool)> + '_ {
        let both = self.times_s.iter().zip(&self.readings);
        both.filter_map(|(time, reading)| Some((*time, reading.as_ref()?.rate)))
    }

    /// By how much a disturbance that goes with this power of the thrust is stronger at each instant.
    pub(super) fn strength(&self, with_thrust: f64) -> Vec<f64> {
        if with_thrust <= 0.0 || self.thrust_share.is_empty() {
            return vec![1.0; self.times_s.len()];
        }
        let share = self.thrust_share.iter();
        share.map(|share| share.powf(with_thrust)).collect()
    }

    /// What is read at each instant; zero where nothing is.
    #[must_use]
    pub(crate) fn values(&self) -> Vec<f64> {
        let value = |reading: &Option<Reading>| reading.map_or(0.0, |reading| reading.value);
        self.readings.iter().map(value).collect()
    }

    /// The same with the readings of one kind (rate or tilt) lessened by a number at each instant.
    #[must_use]
    pub(crate) fn lessened(&self, rate: bool, by: &[f64]) -> Self {
        let mut out = self.clone();
        for (reading, by) in out.readings.iter_mut().zip(by) {
            if let Some(reading) = reading.as_mut().filter(|reading| reading.rate == rate) {
                reading.value -= by;
            }
        }
        out
    }
}
