//! Plant, gains and vehicle put together and flown: the nominal flight, Monte Carlo flights, the captive
//! firing replayed.

use indexmap::IndexMap;
use rand::SeedableRng;
use rand::rngs::ChaCha8Rng;

use super::findings;
use super::flight_computer::Commands;
use super::monte_carlo::{MonteCarlo, fly_all, fly_one};
use super::nominal::scenario;
use super::replay::{AxisRecord, Replay, replay};
use super::result::{AxisSimulation, FlightResult, SCHEMA, SimulationFile, Track};
use super::run::{FlightOutcome, FlightState, fly};
use super::scenario::Scenario;
use super::vehicle::Vehicle;
use crate::cautions;
use crate::control::model::{AxisModel, Body};
use crate::control::{AxisGains, GainsFile};
use crate::diagnostic::{Code, Diagnostic, Error, Place};
use crate::plant::{AxisPlant, PlantFile};
use crate::plausible::Plausible;

/// What to simulate.
#[derive(Debug, Clone, Copy)]
pub struct SimulationOptions {
    /// Monte Carlo flights; seed, limit and spreads.
    pub monte_carlo: MonteCarlo,
    /// A single sampled flight to be shown in place of the nominal one.
    pub only: Option<u64>,
    /// Threads to fly on.
    pub threads: usize,
}

/// Most flights: a day of them.
const MOST_RUNS: usize = 10_000_000;

impl SimulationOptions {
    fn validate(&self) -> Result<(), Error> {
        let of = &self.monte_carlo;
        if of.runs > MOST_RUNS {
            let text = format!("{} flights are more than {MOST_RUNS}", of.runs);
            return Err(Diagnostic::error(Code::OutOfRange, text)
                .hint("a thousand tell the share that tilts too far within three per cent")
                .into());
        }
        let sound = of.tilt_limit_deg > 0.0 && of.tilt_limit_deg <= 180.0;
        if !sound {
            return Err(Diagnostic::error(
                Code::OutOfRange,
                "the tilt limit lies above 0 deg, up to 180 deg",
            )
            .hint("choose another limit, such as \"30 deg\"")
            .into());
        }
        Ok(())
    }
}

/// What a simulation of this kind says nothing about.
const LEFT_OUT: [&str; 6] = [
    "roll and coupling between the axes",
    "air, but for the coefficients given",
    "bending, slosh, and backlash other than the dead band found",
    "changes of inertia and balance as propellant burns",
    "wear, wiring, power, and everything the firing did not show",
    "the launch rod: the rocket is free from its release on",
];

/// What is simulated.
#[derive(Debug, Clone, Copy)]
pub struct SimulationInputs<'a> {
    /// The plant, and the name of its file.
    pub plant: &'a PlantFile,
    /// See above.
    pub plant_name: &'a str,
    /// The gains, and the name of their file.
    pub gains: &'a GainsFile,
    /// See above.
    pub gains_name: &'a str,
    /// The vehicle.
    pub vehicle: &'a Vehicle,
    /// Records of a captive firing to be replayed, by axis.
    pub recorded: &'a IndexMap<String, AxisRecord>,
}

/// Flies every axis that has gains.
///
/// # Errors
/// Gains for an axis the plant does not hold, no thrust, a torque in newton metres without an inertia.
pub fn simulate(
    inputs: &SimulationInputs<'_>,
    options: &SimulationOptions,
    done: &(dyn Fn(usize) + Sync),
) -> Result<SimulationFile, Error> {
    inputs.plant.validate(inputs.plant_name)?;
    inputs.gains.validate(inputs.gains_name)?;
    options.validate()?;
    let mut axes = IndexMap::new();
    for (name, gains) in &inputs.gains.axes {
        let Some(axis) = inputs.plant.axes.get(name) else {
            return Err(no_such_axis(name, inputs));
        };
        let in_plant = |problems: Error| problems.in_file(inputs.plant_name);
        let model = AxisModel::new(name, axis, gains.body).map_err(in_plant)?;
        let flight = scenario(name, inputs.plant, axis, gains, &model, inputs.vehicle);
        let mut result = flights(name, &flight.map_err(in_plant)?, &model, options, done)?;
        if let Some(recorded) = inputs.recorded.get(name) {
            result.replay = replayed(name, inputs.plant, axis, gains, recorded)?;
        }
        result.findings = findings::findings(&result, options.monte_carlo.tilt_limit_deg);
        axes.insert(name.clone(), result);
    }
    Ok(SimulationFile {
        schema: SCHEMA,
        plant: inputs.plant_name.to_owned(),
        gains: inputs.gains_name.to_owned(),
        axes,
        left_out: LEFT_OUT.iter().map(|text| (*text).to_owned()).collect(),
        caution: cautions::MODEL_NOT_CLEARANCE.to_owned(),
    })
}

fn no_such_axis(name: &str, inputs: &SimulationInputs<'_>) -> Error {
    let known: Vec<&str> = inputs.plant.axes.keys().map(String::as_str).collect();
    let text = format!("the gains are for axis {name}, and the plant does not hold it");
    Diagnostic::error(Code::NoSuchAxis, text)
        .at(Place::file(inputs.gains_name))
        .hint(format!("axes of the plant: {}", known.join(", ")))
        .into()
}

fn replayed(
    name: &str,
    plant: &PlantFile,
    axis: &AxisPlant,
    gains: &AxisGains,
    recorded: &AxisRecord,
) -> Result<Option<Replay>, Error> {
    let model = AxisModel::new(name, axis, Body::Rig)?;
    let mut rig = scenario(name, plant, axis, gains, &model, &Vehicle::default())?;
    rig.release_s = rig.release_s.max(0.0);
    Ok(replay(&rig, recorded))
}

/// Points of a track that is kept.
const TRACK_POINTS: usize = 400;

fn shown(
    run: Option<u64>,
    fly: impl FnOnce(&mut dyn FnMut(&FlightState)) -> FlightOutcome,
) -> FlightResult {
    let mut states: Vec<FlightState> = Vec::new();
    let outcome = fly(&mut |state| states.push(*state));
    let every = states.len().div_ceil(TRACK_POINTS).max(1);
    let last = states.len().saturating_sub(1);
    let mut track = Track::default();
    for (at, state) in states.iter().enumerate() {
        if at % every == 0 || at == last {
            track.time_s.push(state.time_s);
            track.tilt_deg.push(state.tilt_rad.to_degrees());
            track.nozzle_deg.push(state.nozzle_deg);
            track.command_deg.push(state.command_deg);
            track.altitude_m.push(state.altitude_m);
            track.drift_m.push(state.drift_m);
        }
    }
    let known = |value: f64| value.is_finite().then_some(value);
    if !outcome.altitude_m.is_finite() {
        track.altitude_m.clear();
        track.drift_m.clear();
    }
    FlightResult {
        run,
        largest_tilt_deg: outcome.largest_tilt_deg,
        last_tilt_deg: outcome.last_tilt_deg,
        largest_command_deg: outcome.largest_command_deg,
        at_limit: outcome.at_limit,
        altitude_m: known(outcome.altitude_m),
        drift_m: known(outcome.drift_m),
        track,
    }
}

/// The nominal flight and the Monte Carlo flights; no replay and no findings yet.
fn flights(
    name: &str,
    scenario: &Scenario,
    model: &AxisModel,
    options: &SimulationOptions,
    done: &(dyn Fn(usize) + Sync),
) -> Result<AxisSimulation, Error> {
    let monte_carlo = &options.monte_carlo;
    let nominal = match options.only {
        Some(run) => shown(Some(run), |observer| {
            fly_one(scenario, model, monte_carlo, run, observer)
        }),
        None => shown(None, |observer| {
            let mut calm = scenario.clone();
            calm.sensors.tilt_noise_deg = 0.0;
            calm.sensors.rate_noise_deg_s = 0.0;
            let mut rng = ChaCha8Rng::seed_from_u64(monte_carlo.seed);
            fly(&calm, &Commands::Controller, &mut rng, observer)
        }),
    };
    if nominal.track.tilt_deg.is_empty() || !nominal.last_tilt_deg.is_finite() {
        let text = format!("axis {name}: the flight runs out of all numbers");
        return Err(Diagnostic::error(Code::Diverged, text)
            .hint("look for a value of vehicle, gains or plant that is far too large")
            .into());
    }
    let flights = (monte_carlo.runs > 0 && options.only.is_none())
        .then(|| fly_all(scenario, model, monte_carlo, options.threads, done));
    Ok(AxisSimulation {
        body: model.body,
        release_s: scenario.release_s,
        nominal,
        monte_carlo: flights,
        replay: None,
        findings: vec![],
    })
}
