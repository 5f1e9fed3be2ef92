//! Monte Carlo flights: everything that is only known within a spread sampled anew for each.
//!
//! Sampled are: the plant from its covariance; one factor of thrust and one of duration for each motor;
//! the misalignment of the nozzle; tilt and rate at release; the sign of what pushes, and when the
//! gust comes; the sensors' noise. Every run has a random stream of its own (ChaCha, stream number =
//! run number), so a run can be flown again alone, and neither the number of threads nor their speed
//! changes a byte. The interval of the share of flights beyond the limit is Clopper & Pearson's: it
//! tells how sure the counting is, not whether the spreads are true.

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use rand::rngs::ChaCha8Rng;
use rand::{RngExt, SeedableRng};
use serde::{Deserialize, Serialize};

use super::flight_computer::Commands;
use super::interval::clopper_pearson;
use super::percentile_band::{self, PercentileBand, SampleFlight, TiltSampler};
use super::run::{FlightOutcome, FlightState, fly, fly_unobserved};
use super::scenario::Scenario;
use crate::control::model::{AxisModel, normal};
use crate::series::Series;

/// What differs from flight to flight.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Spreads {
    /// Standard deviation of a motor's thrust, share.
    pub thrust: f64,
    /// Standard deviation of a motor's duration, share.
    pub duration: f64,
    /// Standard deviation of each motor's ignition about the record's, s.
    pub ignition_s: f64,
    /// Standard deviation of the nozzle's misalignment, deg.
    pub misalignment_deg: f64,
    /// Standard deviation of the tilt at release about the given one, deg.
    pub tilt_deg: f64,
    /// Standard deviation of the rate at release about the given one, deg/s.
    pub rate_deg_s: f64,
}

impl Default for Spreads {
    /// Common practice, no source.
    fn default() -> Self {
        Self {
            thrust: 0.05,
            duration: 0.03,
            ignition_s: 0.01,
            misalignment_deg: 0.2,
            tilt_deg: 0.5,
            rate_deg_s: 1.0,
        }
    }
}

/// What is asked for.
#[derive(Debug, Clone, Copy)]
pub struct MonteCarlo {
    /// Number of flights.
    pub runs: usize,
    /// Where the random streams start from.
    pub seed: u64,
    /// Tilt beyond which a flight counts as lost, deg.
    pub tilt_limit_deg: f64,
    /// What differs.
    pub spreads: Spreads,
}

/// What came of them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct MonteCarloResult {
    /// Number of flights.
    pub runs: usize,
    /// Where the random streams start from.
    pub seed: u64,
    /// What differed.
    pub spreads: Spreads,
    /// Tilt beyond which a flight counts as lost, deg.
    pub tilt_limit_deg: f64,
    /// Flights beyond it.
    pub beyond: usize,
    /// Their share.
    pub share_beyond: f64,
    /// 95 % interval of the share (Clopper & Pearson 1934).
    pub share_interval: [f64; 2],
    /// Largest tilt of a flight that 5, 50, 95 and 99 of 100 do not pass, and the largest of all, deg.
    pub largest_tilt_deg: Percentiles,
    /// The same of the drift's size, m; `None` without a mass.
    pub drift_m: Option<Percentiles>,
    /// The same of the altitude, m; `None` without a mass.
    pub altitude_m: Option<Percentiles>,
    /// Number of the run with the largest tilt.
    pub worst_run: u64,
    /// Tilt over time; `None` when nothing was flown.
    #[serde(rename = "fan")]
    pub band: Option<PercentileBand>,
}

/// Order statistics.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Percentiles {
    /// 5 of 100 stay below.
    pub p5: f64,
    /// Half stay below.
    pub p50: f64,
    /// 95 of 100 stay below.
    pub p95: f64,
    /// 99 of 100 stay below.
    pub p99: f64,
    /// None passes it.
    pub largest: f64,
}

impl Percentiles {
    fn of(mut values: Vec<f64>) -> Option<Self> {
        values.retain(|value| value.is_finite());
        values.sort_by(f64::total_cmp);
        let last = values.len().checked_sub(1)?;
        let at = |share: f64| values[(share * last as f64).round() as usize];
        Some(Self {
            p5: at(0.05),
            p50: at(0.5),
            p95: at(0.95),
            p99: at(0.99),
            largest: values[last],
        })
    }
}

/// One sampled flight, and the random numbers its noise goes on with.
#[must_use]
pub(crate) fn sample(
    nominal: &Scenario,
    model: &AxisModel,
    spreads: &Spreads,
    seed: u64,
    run: u64,
) -> (Scenario, ChaCha8Rng) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(run);
    let mut out = nominal.clone();
    out.axis = model.sample(&mut rng);
    let misalignment = (spreads.misalignment_deg * normal(&mut rng)).to_radians();
    out.axis.thrust_bias_per_kg_m += out.axis.effectiveness_per_kg_m * misalignment.sin();
    for motor in &mut out.motors {
        let stretch = (1.0 + spreads.duration * normal(&mut rng)).max(0.5);
        // The same impulse in another time, and then another impulse.
        motor.scale *= (1.0 + spreads.thrust * normal(&mut rng)).max(0.0) / stretch;
        motor.later_s += spreads.ignition_s * normal(&mut rng);
        motor.thrust_n = Arc::new(stretched(&motor.thrust_n, stretch));
    }
    out.tilt_deg += spreads.tilt_deg * normal(&mut rng);
    out.rate_deg_s += spreads.rate_deg_s * normal(&mut rng);
    let (steady, gust) = (sign(&mut rng), sign(&mut rng));
    out.wind.steady_n *= steady;
    out.wind.steady_nm *= steady;
    out.wind.gust_n *= gust;
    out.wind.gust_nm *= gust;
    let room_s = (out.ends_s - out.release_s - out.wind.gust_lasts_s).max(0.0);
    out.wind.gust_at_s = out.release_s + room_s * rng.random::<f64>();
    (out, rng)
}

fn sign(rng: &mut ChaCha8Rng) -> f64 {
    if rng.random::<bool>() { 1.0 } else { -1.0 }
}

/// A curve stretched from its ignition on.
fn stretched(of: &Series, by: f64) -> Series {
    let time: Vec<f64> = of.time_s().iter().map(|t| t * by).collect();
    Series::new(&time, of.value())
}

/// Flies one sampled flight.
pub(crate) fn fly_one(
    nominal: &Scenario,
    model: &AxisModel,
    monte_carlo: &MonteCarlo,
    run: u64,
    observer: impl FnMut(&FlightState),
) -> FlightOutcome {
    let (flight, mut rng) = sample(nominal, model, &monte_carlo.spreads, monte_carlo.seed, run);
    fly(&flight, &Commands::Controller, &mut rng, observer)
}

/// Flights that a thread takes at a time.
const BATCH: usize = 32;

/// Flies them all, on some threads, telling how many are done.
#[must_use]
pub fn fly_all(
    nominal: &Scenario,
    model: &AxisModel,
    monte_carlo: &MonteCarlo,
    threads: usize,
    done: &(dyn Fn(usize) + Sync),
) -> MonteCarloResult {
    let times_s = percentile_band::times(nominal.release_s, nominal.ends_s);
    let next = AtomicUsize::new(0);
    let count = AtomicUsize::new(0);
    let work = || {
        let mut own = Vec::new();
        loop {
            let from = next.fetch_add(BATCH, Ordering::Relaxed);
            if from >= monte_carlo.runs {
                return own;
            }
            let to = (from + BATCH).min(monte_carlo.runs);
            for run in from..to {
                let (spreads, seed) = (&monte_carlo.spreads, monte_carlo.seed);
                let (flight, mut rng) = sample(nominal, model, spreads, seed, run as u64);
                own.push(if run < percentile_band::FLIGHTS {
                    let mut tilt = TiltSampler::new(&times_s);
                    let out = fly(&flight, &Commands::Controller, &mut rng, |state| {
                        tilt.take(state);
                    });
                    (run, out, Some(tilt.done()))
                } else {
                    (run, fly_unobserved(&flight, &mut rng), None)
                });
            }
            done(count.fetch_add(to - from, Ordering::Relaxed) + to - from);
        }
    };
    let mut flights: Vec<(usize, FlightOutcome, Option<Vec<f64>>)> = std::thread::scope(|scope| {
        let workers: Vec<_> = (0..threads.max(1)).map(|_| scope.spawn(work)).collect();
        let joined = workers.into_iter().filter_map(|worker| worker.join().ok());
        joined.flatten().collect()
    });
    flights.sort_by_key(|(run, ..)| *run);
    let all: Vec<(usize, FlightOutcome)> =
        flights.iter().map(|(run, out, _)| (*run, *out)).collect();
    let tilts_deg: Vec<Vec<f64>> = flights.into_iter().filter_map(|(.., tilt)| tilt).collect();
    let mut out = summary(&all, monte_carlo);
    if !tilts_deg.is_empty() {
        let mut tilt = TiltSampler::new(&times_s);
        fly_one(nominal, model, monte_carlo, out.worst_run, |state| {
            tilt.take(state);
        });
        let worst = SampleFlight {
            run: out.worst_run,
            tilt_deg: tilt.done(),
        };
        out.band = Some(percentile_band::band(
            times_s,
            &tilts_deg,
            worst,
            monte_carlo.tilt_limit_deg,
        ));
    }
    out
}

fn summary(all: &[(usize, FlightOutcome)], monte_carlo: &MonteCarlo) -> MonteCarloResult {
    let beyond = all
        .iter()
        .filter(|(_, one)| {
            one.largest_tilt_deg.is_nan() || one.largest_tilt_deg > monte_carlo.tilt_limit_deg
        })
        .count();
    let worst = all
        .iter()
        .max_by(|a, b| a.1.largest_tilt_deg.total_cmp(&b.1.largest_tilt_deg));
    let (low, high) = clopper_pearson(beyond, all.len());
    let of = |get: fn(&FlightOutcome) -> f64| {
        Percentiles::of(all.iter().map(|(_, one)| get(one)).collect())
    };
    let nothing = Percentiles {
        p5: 0.0,
        p50: 0.0,
        p95: 0.0,
        p99: 0.0,
        largest: 0.0,
    };
    MonteCarloResult {
        runs: all.len(),
        seed: monte_carlo.seed,
        spreads: monte_carlo.spreads,
        tilt_limit_deg: monte_carlo.tilt_limit_deg,
        beyond,
        share_beyond: beyond as f64 / all.len().max(1) as f64,
        share_interval: [low, high],
        largest_tilt_deg: of(|one| one.largest_tilt_deg).unwrap_or(nothing),
        drift_m: of(|one| one.drift_m.abs()),
        altitude_m: of(|one| one.altitude_m),
        worst_run: worst.map_or(0, |(run, _)| *run as u64),
        band: None,
    }
}
