//! Percentile band of Monte Carlo flights: tilt over time, in the middle and at the edges, and some of them.
//!
//! Of the first two thousand flights at most, which is plenty for a band; the flights themselves are not
//! kept. A flight that turned over stays where it ended.

use serde::{Deserialize, Serialize};

use super::run::FlightState;

/// Flights that the band is made of, at most.
pub(crate) const FLIGHTS: usize = 2000;
/// Points of time.
const POINTS: usize = 81;
/// Flights shown by themselves, besides the worst.
pub(crate) const SHOWN: usize = 4;
/// Flights beyond the tilt limit that are shown, at most.
const BAD: usize = 12;

/// Tilt over time of many flights, deg.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct PercentileBand {
    /// Flights that the band is made of.
    pub flights: usize,
    /// Seconds since ignition.
    pub time_s: Vec<f64>,
    /// At each time, 5 of 100 flights tilt less (with its sign), deg.
    pub p5_deg: Vec<f64>,
    /// Half of them.
    pub p50_deg: Vec<f64>,
    /// 95 of 100.
    pub p95_deg: Vec<f64>,
    /// Some flights, the worst last.
    pub shown: Vec<SampleFlight>,
    /// Flights beyond the tilt limit, at most a dozen.
    #[serde(default)]
    pub bad: Vec<SampleFlight>,
}

/// One of the flights.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct SampleFlight {
    /// Its number.
    pub run: u64,
    /// Its tilt at the times of the band, deg.
    pub tilt_deg: Vec<f64>,
}

/// The times of a band.
pub(super) fn times(from_s: f64, to_s: f64) -> Vec<f64> {
    let step = (to_s - from_s) / (POINTS - 1) as f64;
    (0..POINTS).map(|at| from_s + step * at as f64).collect()
}

/// Takes down the tilt of a flight at the times of a band.
pub(super) struct TiltSampler<'a> {
    times_s: &'a [f64],
    before: Option<(f64, f64)>,
    tilt_deg: Vec<f64>,
}

impl<'a> TiltSampler<'a> {
    pub(super) fn new(times_s: &'a [f64]) -> Self {
        Self {
            times_s,
            before: None,
            tilt_deg: Vec::with_capacity(times_s.len()),
        }
    }

    pub(super) fn take(&mut self, state: &FlightState) {
        let (now_s, now_deg) = (state.time_s, state.tilt_rad.to_degrees());
        while let Some(time_s) = self.times_s.get(self.tilt_deg.len()) {
            if *time_s > now_s {
                break;
            }
            let there = match self.before {
                Some((old_s, old_deg)) if now_s > old_s => {
                    old_deg + (now_deg - old_deg) * (time_s - old_s) / (now_s - old_s)
                }
                _ => now_deg,
            };
            self.tilt_deg.push(there);
        }
        self.before = Some((now_s, now_deg));
    }

    pub(super) fn done(mut self) -> Vec<f64> {
        let last = self.before.map_or(0.0, |(_, tilt_deg)| tilt_deg);
        self.tilt_deg.resize(self.times_s.len(), last);
        self.tilt_deg
    }
}

/// The band of some flights, in the order of their numbers; `worst` is another one.
pub(super) fn band(
    time_s: Vec<f64>,
    tilts_deg: &[Vec<f64>],
    worst: SampleFlight,
    tilt_limit_deg: f64,
) -> PercentileBand {
    let mut out = PercentileBand {
        flights: tilts_deg.len(),
        p5_deg: vec![],
        p50_deg: vec![],
        p95_deg: vec![],
        shown: vec![],
        bad: vec![],
        time_s,
    };
    for at in 0..out.time_s.len() {
        let mut here: Vec<f64> = tilts_deg.iter().map(|one| one[at]).collect();
        here.sort_by(f64::total_cmp);
        let rank = |share: f64| here[(share * (here.len() - 1) as f64).round() as usize];
        out.p5_deg.push(rank(0.05));
        out.p50_deg.push(rank(0.5));
        out.p95_deg.push(rank(0.95));
    }
    let flight = |(run, tilt_deg): (usize, &Vec<f64>)| SampleFlight {
        run: run as u64,
        tilt_deg: tilt_deg.clone(),
    };
    let all = || tilts_deg.iter().enumerate();
    out.shown.extend(all().take(SHOWN).map(flight));
    out.shown.push(worst);
    let within = |tilt_deg: &Vec<f64>| tilt_deg.iter().all(|one| one.abs() <= tilt_limit_deg);
    let bad = all().filter(|(_, tilt_deg)| !within(tilt_deg));
    out.bad.extend(bad.take(BAD).map(flight));
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn state(time_s: f64, tilt_deg: f64) -> FlightState {
        FlightState {
            time_s,
            tilt_rad: tilt_deg.to_radians(),
            rate_rad_s: 0.0,
            nozzle_deg: 0.0,
            command_deg: 0.0,
            thrust_n: 0.0,
            drift_m: 0.0,
            altitude_m: 0.0,
            drift_m_s: 0.0,
            climb_m_s: 0.0,
        }
    }

    // Tilt of 10 deg/s seen every 30 ms, asked for every 12.5 ms: straight lines give it back. From
    // 0.9 s on, where it ended, it stays.
    #[test]
    fn tilt_is_taken_down_at_the_times_asked_for() {
        let times_s = times(0.0, 1.0);
        let mut sampler = TiltSampler::new(&times_s);
        for at in 0..=30 {
            sampler.take(&state(0.03 * f64::from(at), 0.3 * f64::from(at)));
        }
        let tilts = sampler.done();
        assert_eq!(tilts.len(), times_s.len());
        for (time_s, tilt_deg) in times_s.iter().zip(&tilts) {
            assert!((tilt_deg - 10.0 * time_s.min(0.9)).abs() < 1e-9, "{time_s}");
        }
    }

    // Flights at -50, -49 .. 50 deg: 5 of 100 below -45, half below 0, 95 of 100 below 45.
    #[test]
    fn the_band_holds_ninety_of_a_hundred() {
        let tilts: Vec<Vec<f64>> = (-50..=50).map(|deg| vec![f64::from(deg); POINTS]).collect();
        let worst = SampleFlight {
            run: 100,
            tilt_deg: tilts[100].clone(),
        };
        let band = band(times(0.0, 1.0), &tilts, worst, 44.5);
        assert_eq!(
            (band.p5_deg[3], band.p50_deg[3], band.p95_deg[3]),
            (-45.0, 0.0, 45.0)
        );
        let runs = |of: &[SampleFlight]| -> Vec<u64> { of.iter().map(|one| one.run).collect() };
        assert_eq!(runs(&band.shown), [0, 1, 2, 3, 100]);
        assert_eq!(runs(&band.bad), [0, 1, 2, 3, 4, 5, 95, 96, 97, 98, 99, 100]);
    }
}
