//! A thrust with its ringing taken off: by one mode for all cells, or cell by cell where each stands on a spring of its own.
//!
//! The correction is made of derivatives ([`super::dynamics`]), which neither a cell's zero nor slow weight loss changes, so that of
//! each cell is worked out on its load as it was read, and added to the thrust of all. Errors of unlike modes are independent.

use super::dynamics::{Inverse, Mode};
use super::thrust::ThrustTrace;
use crate::series::Series;

/// Which modes are known.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Modes<'a> {
    /// None.
    Unknown,
    /// That of the stand under all cells.
    Common(&'a Mode),
    /// Those of single cells, in the order of the load's.
    Each(&'a [Option<Mode>]),
}

/// The ringing of one mode, taken off.
#[derive(Debug, Clone)]
struct Part {
    inverse: Inverse,
    /// What rang; `None`: the thrust of all cells.
    read: Option<Series>,
    /// The same corrected.
    corrected: Series,
}

/// Thrust corrected for ringing, and how that was done.
#[derive(Debug, Clone)]
pub(crate) struct Correction {
    parts: Vec<Part>,
    /// The corrected thrust, N.
    pub thrust: Series,
}

impl Correction {
    /// Of a thrust between two times; `None` where no mode is known, or its readings come too slowly.
    pub(super) fn of(
        trace: &ThrustTrace,
        (from_s, to_s): (f64, f64),
        modes: Modes<'_>,
    ) -> Option<Self> {
        let (within_s, noise_n) = ((from_s, to_s), trace.noise_n());
        match modes {
            Modes::Unknown => None,
            Modes::Common(mode) => {
                let (inverse, corrected) =
                    taken_off(mode, &trace.thrust, within_s, (0.0, noise_n))?;
                Some(Self {
                    thrust: corrected.clone(),
                    parts: vec![Part {
                        inverse,
                        read: None,
                        corrected,
                    }],
                })
            }
            Modes::Each(each) => {
                let load = trace.load();
                let one = |(cell, mode): (&Vec<f64>, &Option<Mode>)| {
                    let read = Series::new(&load.time_s, cell);
                    let rest_n = cell.get(read.index_at(from_s)).copied()?;
                    let (inverse, corrected) =
                        taken_off(mode.as_ref()?, &read, within_s, (rest_n, noise_n))?;
                    Some(Part {
                        inverse,
                        read: Some(read),
                        corrected,
                    })
                };
                let cells = load.cells.iter().map(|cell| &cell.force_n);
                let parts: Vec<Part> = cells.zip(each).filter_map(one).collect();
                let first = parts.first()?;
                let rows = trace.thrust.index_at(from_s)..;
                let read = trace.thrust.value()[rows].iter();
                let mut value: Vec<f64> = read.take(first.corrected.len()).copied().collect();
                for part in &parts {
                    let off = part.off_n(&trace.thrust);
                    value.iter_mut().zip(off).for_each(|(sum, off)| *sum += off);
                }
                Some(Self {
                    thrust: Series::new(first.corrected.time_s(), &value),
                    parts,
                })
            }
        }
    }

    /// Standard uncertainty that it leaves around a time, N.
    pub(super) fn u_n(&self, thrust: &Series, at_s: f64) -> f64 {
        self.squares(|part| part.inverse.u_n(part.read(thrust), &part.corrected, at_s))
    }

    /// The part of it that wrong modes make ([`Inverse::wrong_mode_u_n`]), N.
    pub(super) fn wrong_mode_u_n(&self, thrust: &Series, at_s: f64) -> f64 {
        self.squares(|part| {
            let read = part.read(thrust);
            part.inverse.wrong_mode_u_n(read, &part.corrected, at_s)
        })
    }

    /// Standard uncertainty of every corrected value, N.
    pub(super) fn each_u_n(&self, thrust: &Series) -> Vec<f64> {
        let each = self.parts.iter().map(|part| {
            let read = part.read(thrust);
            part.inverse.each_u_n(read, &part.corrected)
        });
        let add = |sum: Vec<f64>, more: Vec<f64>| {
            let both = sum.into_iter().zip(more);
            both.map(|(a, b)| a.hypot(b)).collect()
        };
        each.reduce(add).unwrap_or_default()
    }

    /// How far it moves the time at which a level is passed, so long after a corner, s.
    pub(super) fn rounds_s(&self, since_corner_s: f64) -> f64 {
        let each = self.parts.iter();
        each.map(|part| part.inverse.rounds_s(since_corner_s))
            .fold(0.0, f64::max)
    }

    /// Up to here the corrected force is right within 3 dB, Hz.
    #[must_use]
    pub(crate) fn bandwidth_hz(&self) -> Option<f64> {
        let each = self.parts.iter().map(|part| part.inverse.bandwidth_hz());
        each.reduce(|a, b| Some(a?.min(b?))).flatten()
    }

    fn squares(&self, of: impl Fn(&Part) -> f64) -> f64 {
        self.parts.iter().map(of).fold(0.0, f64::hypot)
    }
}

impl Part {
    fn read<'a>(&'a self, thrust: &'a Series) -> &'a Series {
        self.read.as_ref().unwrap_or(thrust)
    }

    /// What the correction adds to each value.
    fn off_n<'a>(&'a self, thrust: &'a Series) -> impl Iterator<Item = f64> + 'a {
        let read = self.read(thrust);
        let first = self.corrected.time_s().first().copied();
        let from = first.map_or(0, |first| read.index_at(first));
        let pairs = self.corrected.value().iter().zip(&read.value()[from..]);
        pairs.map(|(force, reading)| force - reading)
    }
}

/// Readings between two times with a mode's ringing taken off, and how, where they rest at a level and have so much noise, N; `None` where
/// they come too slowly.
fn taken_off(
    mode: &Mode,
    read: &Series,
    (from_s, to_s): (f64, f64),
    (rest_n, noise_n): (f64, f64),
) -> Option<(Inverse, Series)> {
    let part = read.between(from_s, to_s);
    let above_n = part.value().iter().map(|one| one - rest_n);
    let peak_n = above_n.fold(0.0, f64::max);
    let inverse = Inverse::for_readings(mode, part.step_s()?, noise_n, peak_n)?;
    Some((inverse, inverse.corrected(read, from_s, to_s)))
}

/// A mode believed leaves the thrust this much calmer.
const CALMER: f64 = 0.8;

/// Half the reach of the difference that is compared, in periods: it sees what swings at half the natural frequency to twice it.
const REACH_PERIODS: f64 = 0.3;

/// Whether taking a mode's ringing off leaves readings, which rest at nought, calmer within a burn; false where they come too slowly
/// for that.
pub(super) fn calms(read: &Series, mode: &Mode, (from_s, to_s): (f64, f64), noise_n: f64) -> bool {
    let Some((_, corrected)) = taken_off(mode, read, (from_s, to_s), (0.0, noise_n)) else {
        return false;
    };
    let reach_s = REACH_PERIODS / mode.natural_hz;
    let swing = |series: &Series| {
        let rows = series
            .iter()
            .filter(|(time, _)| (from_s + reach_s..=to_s - reach_s).contains(time));
        let squares = rows.filter_map(|(time, value)| {
            let beside = series.at(time - reach_s)? + series.at(time + reach_s)?;
            Some((value - 0.5 * beside).powi(2))
        });
        squares.sum::<f64>().sqrt()
    };
    swing(&corrected) <= CALMER * swing(&read.between(from_s, to_s))
}

#[cfg(test)]
mod tests {
    use super::super::baseline;
    use super::super::segmentation::burn_rows;
    use super::super::thrust::{WeightLoss, thrust};
    use super::*;
    use crate::burn::coverage_tests::normal;
    use crate::calibration::{CellReadings, Curve, Load};
    use rand::{SeedableRng, rngs::ChaCha8Rng};
    use std::f64::consts::TAU;

    fn mode(natural_hz: f64) -> Mode {
        Mode {
            natural_hz,
            natural_relative_u: 0.0,
            damping: 0.05,
            damping_u: 0.0,
        }
    }

    /// What a stand says of one newton that sets in at 1 s and ends at 3 s (Rao, ch. 4, from memory: the step response).
    fn answer(natural_hz: f64, t: f64) -> f64 {
        let (omega, damping) = (TAU * natural_hz, 0.05_f64);
        let damped = omega * (1.0 - damping * damping).sqrt();
        let step = |since: f64| {
            let shrunk = (-damping * omega * since).exp();
            let swing = (damped * since).cos() + damping * omega / damped * (damped * since).sin();
            if since < 0.0 {
                0.0
            } else {
                1.0 - shrunk * swing
            }
        };
        step(t - 1.0) - step(t - 3.0)
    }

    fn cell(name: &str, force: impl Fn(f64) -> f64) -> CellReadings {
        let time: Vec<f64> = (0..4000).map(|row| f64::from(row) * 1e-3).collect();
        let raw: Vec<f64> = time.iter().map(|t| force(*t)).collect();
        CellReadings {
            name: name.to_owned(),
            raw: Series::new(&time, &raw),
            left_out: Vec::new(),
            curve: Curve::from_scale(&crate::quantity::given::parse("1 N").unwrap(), 0.0).unwrap(),
        }
    }

    // 30 N on a stand of 22 Hz and 20 N on one of 41 Hz: 50 N.
    #[test]
    fn cells_that_ring_apart_are_corrected_apart() {
        let cells = [
            cell("a", |t| 30.0 * answer(22.0, t)),
            cell("b", |t| 20.0 * answer(41.0, t)),
        ];
        let load = Load::from_cells(&cells).unwrap();
        let rows = burn_rows(&load.time_s, &load.force_n);
        let rest = baseline::find(&load.time_s, &load.force_n, &rows);
        let burn_s = (load.time_s[rows.start], load.time_s[rows.end - 1]);
        let trace = thrust(load, rest, burn_s, &WeightLoss::none(), None).unwrap();
        let worst = |modes: Modes<'_>| {
            let corrected = Correction::of(&trace, (0.9, 3.2), modes).unwrap();
            let flat = corrected.thrust.between(1.03, 2.9);
            assert!(flat.len() > 1800);
            flat.value()
                .iter()
                .map(|n| (n - 50.0).abs())
                .fold(0.0, f64::max)
        };
        let apart = [Some(mode(22.0)), Some(mode(41.0))];
        // A twentieth of what rang, at the widest fit.
        assert!(worst(Modes::Each(&apart)) < 2.0);
        // One of the two leaves the other's ringing, and one mode for both most of it.
        assert!(worst(Modes::Each(&[None, Some(mode(41.0))])) > 10.0);
        assert!(worst(Modes::Common(&mode(22.0))) > 5.0);
    }

    #[test]
    fn a_stand_that_rings_is_calmed_and_rough_burning_is_not() {
        let mut random = ChaCha8Rng::seed_from_u64(5);
        let noise: Vec<f64> = (0..4000).map(|_| normal(&mut random)).collect();
        let time: Vec<f64> = (0..4000).map(|row| f64::from(row) * 1e-3).collect();
        let rang = Series::new(&time, &time).map(|t, _| 40.0 * answer(30.0, t));
        let rough: Vec<f64> = noise
            .windows(4)
            .map(|part| 40.0 + part.iter().sum::<f64>())
            .collect();
        let rough = Series::new(&time[..rough.len()], &rough);
        assert!(calms(&rang, &mode(30.0), (1.0, 3.0), 0.01));
        assert!(!calms(&rough, &mode(30.0), (1.0, 3.0), 0.01));
        // Two readings in a period show a swing and cannot take it off.
        let slow = |rows: &[f64]| rows.iter().copied().step_by(16).collect::<Vec<f64>>();
        let slow = Series::new(&slow(rang.time_s()), &slow(rang.value()));
        assert!(!calms(&slow, &mode(30.0), (1.0, 3.0), 0.01));
    }
}
