//! Plant, gains and vehicle put together and flown: the nominal flight, many drawn ones, the captive
//! firing again.

use std::sync::Arc;

use indexmap::IndexMap;
use rand::SeedableRng;
use rand::rngs::ChaCha8Rng;

use super::monte_carlo::{Campaign, fly_many, fly_one};
use super::replay::{Recorded, Replay, replay};
use super::result::{AxisSimulation, FlightResult, SCHEMA, SimulationFile, Track};
use super::run::{Moment, Outcome, Steering, fly};
use super::scenario::{Flight, Motor, STEP_S};
use super::vehicle::Vehicle;
use crate::cautions;
use crate::control::model::{AxisModel, Body};
use crate::control::{AxisGains, GainsFile};
use crate::diagnostic::{Diagnostic, Place, Problems};
use crate::finding::{COMMON_PRACTICE, Finding, Outcome as Verdict};
use crate::plant::{AxisPlant, PlantFile};
use crate::plausible::Believable;
use crate::series::Series;

/// What is asked for.
#[derive(Debug, Clone, Copy)]
pub struct Orders {
    /// Drawn flights; seed, limit and spreads.
    pub campaign: Campaign,
    /// A single drawn flight to be shown in place of the nominal one.
    pub only: Option<u64>,
    /// Threads to fly on.
    pub threads: usize,
}

/// Most flights of one campaign: a day of them.
const MOST_RUNS: usize = 10_000_000;

impl Orders {
    fn believed(&self) -> Result<(), Problems> {
        let of = &self.campaign;
        if of.runs > MOST_RUNS {
            let text = format!("{} flights are more than {MOST_RUNS}", of.runs);
            return Err(Diagnostic::error("out-of-range", text)
                .hint("a thousand tell the share that tilts too far within three per cent")
                .into());
        }
        let sound = of.tilt_limit_deg > 0.0 && of.tilt_limit_deg <= 180.0;
        if !sound {
            return Err(Diagnostic::error(
                "out-of-range",
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
    "bending, slosh, and play other than the dead band found",
    "changes of inertia and balance as propellant burns",
    "wear, wiring, power, and everything the firing did not show",
    "the launch rod: the rocket is free from its release on",
];

/// Names of the two files, for the result.
#[derive(Debug, Clone, Copy)]
pub struct Named<'a> {
    /// The plant file.
    pub plant: &'a str,
    /// The gains file.
    pub gains: &'a str,
}

/// Flies every axis that has gains.
///
/// # Errors
/// Gains for an axis the plant does not hold, no thrust, a push in newton metres without an inertia.
pub fn simulate(
    plant: &PlantFile,
    gains: &GainsFile,
    vehicle: &Vehicle,
    orders: &Orders,
    recorded: &IndexMap<String, Recorded>,
    named: Named<'_>,
    done: &(dyn Fn(usize) + Sync),
) -> Result<SimulationFile, Problems> {
    plant.believed(named.plant)?;
    gains.believed(named.gains)?;
    orders.believed()?;
    let mut axes = IndexMap::new();
    for (name, own) in &gains.axes {
        let Some(axis) = plant.axes.get(name) else {
            let known: Vec<&str> = plant.axes.keys().map(String::as_str).collect();
            let text = format!("the gains are for axis {name}, and the plant does not hold it");
            return Err(Diagnostic::error("no-such-axis", text)
                .at(Place::file(named.gains))
                .hint(format!("axes of the plant: {}", known.join(", ")))
                .into());
        };
        let in_plant = |problems: Problems| problems.in_file(named.plant);
        let model = AxisModel::new(name, axis, own.body).map_err(in_plant)?;
        let flight = flight(name, plant, axis, own, &model, vehicle).map_err(in_plant)?;
        let again = match recorded.get(name) {
            Some(recorded) => replayed(name, plant, axis, own, recorded)?,
            None => None,
        };
        let flown = one(name, &flight, &model, own.body, orders, again, done)?;
        axes.insert(name.clone(), flown);
    }
    Ok(SimulationFile {
        schema: SCHEMA,
        plant: named.plant.to_owned(),
        gains: named.gains.to_owned(),
        axes,
        left_out: LEFT_OUT.iter().map(|text| (*text).to_owned()).collect(),
        caution: cautions::MODEL_NOT_CLEARANCE.to_owned(),
    })
}

fn thrust(plant: &PlantFile) -> Result<Arc<Series>, Problems> {
    match &plant.thrust {
        Some(thrust) if thrust.time_s.len() > 1 && thrust.time_s.len() == thrust.thrust_n.len() => {
            Ok(Arc::new(Series::new(&thrust.time_s, &thrust.thrust_n)))
        }
        _ => Err(Diagnostic::error(
            "no-thrust",
            "the plant holds no thrust, and without it nothing flies",
        )
        .hint("reduce a firing with load cells; a dry run shows the actuator alone")
        .into()),
    }
}

/// The nominal flight of an axis.
///
/// # Errors
/// No thrust in the plant; a torque without an inertia to turn.
pub fn flight(
    name: &str,
    plant: &PlantFile,
    axis: &AxisPlant,
    gains: &AxisGains,
    model: &AxisModel,
    vehicle: &Vehicle,
) -> Result<Flight, Problems> {
    let curve = thrust(plant)?;
    let in_flight = model.body == Body::Flight;
    let inertia = axis
        .flight
        .as_ref()
        .and_then(|one| one.inertia_kg_m2.as_ref());
    let inertia_kg_m2 = vehicle
        .inertia_kg_m2
        .or_else(|| inertia.filter(|_| in_flight).map(|one| one.value));
    let push = vehicle.push;
    let turned = push.steady_nm != 0.0
        || push.gust_nm != 0.0
        || vehicle
            .motors
            .iter()
            .any(|motor| motor.offset_m(name) != 0.0);
    if turned && inertia_kg_m2.is_none() {
        return Err(Diagnostic::error(
            "no-inertia",
            format!("axis {name}: a torque is given, and no moment of inertia that it turns"),
        )
        .hint("give `inertia` in [vehicle] of the vehicle file")
        .into());
    }
    let motors: Vec<Motor> = vehicle
        .motors
        .iter()
        .map(|motor| Motor {
            name: motor.name.clone(),
            thrust_n: Arc::clone(&curve),
            scale: motor.share,
            later_s: motor.later_s,
            offset_m: motor.offset_m(name),
            lights: motor.lights,
        })
        .collect();
    if !motors.iter().any(|motor| motor.lights && motor.scale > 0.0) {
        let none = Diagnostic::error(
            "no-motor",
            "no motor of the vehicle lights, so nothing flies",
        );
        return Err(none.hint("leave `lights` out where a motor lights").into());
    }
    let (_, end) = curve.span_s().unwrap_or((0.0, 0.0));
    let release_s = match vehicle.release_s {
        Some(release_s) if release_s < end => release_s,
        Some(release_s) => {
            let text =
                format!("it would be let go at {release_s} s, and thrust ends at {end:.3} s");
            return Err(Diagnostic::error("late-release", text)
                .hint("`at` in [release] counts from ignition")
                .into());
        }
        None => lift_s(&curve, vehicle)?,
    };
    Ok(Flight {
        axis: model.nominal,
        controller: Some(gains.controller.clone()),
        schedule: gains.schedule.clone().map(Arc::new),
        late_s: gains.late_s,
        motors,
        mass_kg: vehicle.mass_kg.filter(|_| in_flight),
        propellant_kg: vehicle.propellant_kg,
        inertia_kg_m2,
        gravity_m_s2: vehicle.gravity_m_s2,
        air: vehicle.air,
        push,
        disturbance_rad_s2: None,
        sensors: vehicle.sensors,
        tilt_deg: vehicle.tilt_deg,
        rate_deg_s: vehicle.rate_deg_s,
        release_s,
        ends_s: end.max(release_s),
        step_s: STEP_S,
    })
}

/// When thrust first carries the weight.
fn lift_s(curve: &Series, vehicle: &Vehicle) -> Result<f64, Problems> {
    let weight_n = vehicle
        .mass_kg
        .map_or(0.0, |mass| mass * vehicle.gravity_m_s2);
    let lifts = curve
        .iter()
        .find(|(t, thrust)| *t >= 0.0 && *thrust > weight_n);
    lifts.map(|(t, _)| t).ok_or_else(|| {
        let peak_n = curve.value().iter().copied().fold(0.0, f64::max);
        let text =
            format!("thrust of {peak_n:.1} N at most never carries the weight of {weight_n:.1} N");
        Diagnostic::error("no-lift", text)
            .hint("look at `mass` in [vehicle], or give `at` in [release]")
            .into()
    })
}

fn replayed(
    name: &str,
    plant: &PlantFile,
    axis: &AxisPlant,
    gains: &AxisGains,
    recorded: &Recorded,
) -> Result<Option<Replay>, Problems> {
    let model = AxisModel::new(name, axis, Body::Rig)?;
    let mut rig = flight(name, plant, axis, gains, &model, &Vehicle::default())?;
    rig.release_s = rig.release_s.max(0.0);
    Ok(replay(&rig, recorded))
}

/// Points of a track that is kept.
const TRACK_POINTS: usize = 400;

fn shown(run: Option<u64>, fly: impl FnOnce(&mut dyn FnMut(&Moment)) -> Outcome) -> FlightResult {
    let mut moments: Vec<Moment> = Vec::new();
    let outcome = fly(&mut |moment| moments.push(*moment));
    let every = moments.len().div_ceil(TRACK_POINTS).max(1);
    let last = moments.len().saturating_sub(1);
    let mut track = Track::default();
    for (at, moment) in moments.iter().enumerate() {
        if at % every == 0 || at == last {
            track.time_s.push(moment.time_s);
            track.tilt_deg.push(moment.tilt_rad.to_degrees());
            track.nozzle_deg.push(moment.nozzle_deg);
            track.command_deg.push(moment.command_deg);
            track.altitude_m.push(moment.altitude_m);
            track.drift_m.push(moment.drift_m);
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

fn one(
    name: &str,
    flight: &Flight,
    model: &AxisModel,
    body: Body,
    orders: &Orders,
    replay: Option<Replay>,
    done: &(dyn Fn(usize) + Sync),
) -> Result<AxisSimulation, Problems> {
    let campaign = &orders.campaign;
    let nominal = match orders.only {
        Some(run) => shown(Some(run), |onlooker| {
            fly_one(flight, model, campaign, run, onlooker)
        }),
        None => shown(None, |onlooker| {
            let mut calm = flight.clone();
            calm.sensors.tilt_noise_deg = 0.0;
            calm.sensors.rate_noise_deg_s = 0.0;
            let mut dice = ChaCha8Rng::seed_from_u64(campaign.seed);
            fly(&calm, &Steering::Controller, &mut dice, onlooker)
        }),
    };
    if nominal.track.tilt_deg.is_empty() || !nominal.last_tilt_deg.is_finite() {
        let text = format!("axis {name}: the flight runs out of all numbers");
        return Err(Diagnostic::error("diverged", text)
            .hint("look for a value of vehicle, gains or plant that is far too large")
            .into());
    }
    let many = (campaign.runs > 0 && orders.only.is_none())
        .then(|| fly_many(flight, model, campaign, orders.threads, done));
    let mut out = AxisSimulation {
        body,
        release_s: flight.release_s,
        nominal,
        many,
        replay,
        findings: vec![],
    };
    out.findings = findings(&out, campaign.tilt_limit_deg);
    Ok(out)
}

/// Share of flights beyond the tilt limit that is borne.
const BORNE: f64 = 0.05;
/// Share of ticks with the command at its limit that is borne.
const AT_LIMIT: f64 = 0.1;
/// Share of what a rocket that keeps its rate misses that the model should explain, in per cent.
const EXPLAINED: f64 = 50.0;

fn findings(of: &AxisSimulation, tilt_limit_deg: f64) -> Vec<Finding> {
    let judged = |holds: bool| {
        if holds {
            Verdict::Holds
        } else {
            Verdict::Fails
        }
    };
    let nominal = &of.nominal;
    let mut out = vec![
        Finding::plain(
            format!("the flight stays within {tilt_limit_deg} deg of tilt"),
            judged(nominal.largest_tilt_deg <= tilt_limit_deg),
            format!("largest tilt {:.2} deg", nominal.largest_tilt_deg),
            "limit given by the user",
        ),
        Finding::plain(
            "the command is seldom at its limit",
            judged(nominal.at_limit <= AT_LIMIT),
            format!("{:.1} % of ticks, at most 10 %", 100.0 * nominal.at_limit),
            COMMON_PRACTICE,
        ),
    ];
    if let Some(many) = &of.many {
        let [low, high] = many.share_interval;
        let outcome = if high < BORNE {
            Verdict::Holds
        } else if low > BORNE {
            Verdict::Fails
        } else {
            Verdict::Undecided
        };
        let finding = Finding::plain(
            format!("fewer than 5 % of flights tilt beyond {tilt_limit_deg} deg"),
            outcome,
            format!(
                "{} of {} flights, 95 % interval {:.2} % to {:.2} %",
                many.beyond,
                many.runs,
                100.0 * low,
                100.0 * high
            ),
            "interval: Clopper & Pearson 1934; the 5 % is common practice, no source",
        );
        out.push(finding.advice(format!(
            "fly the worst one again with --seed {} --run {}",
            many.seed, many.worst_run
        )));
    }
    out.extend(of.replay.as_ref().map(replay_finding));
    out
}

fn replay_finding(of: &Replay) -> Finding {
    let outcome = if of.ahead_explains_percent >= EXPLAINED {
        Verdict::Holds
    } else {
        Verdict::Undecided
    };
    let finding = Finding::plain(
        "the simulator makes of the recorded commands the tilt that was recorded",
        outcome,
        format!(
            "{:.0} % of what a rocket that keeps its rate misses over {:.1} s is explained, at least 50 %",
            of.ahead_explains_percent, of.horizon_s
        ),
        "skill against keeping what it has (Murphy 1988); horizon and limit are common practice, no source",
    );
    finding.advice(format!(
        "open loop over all {:.2} s it explains {:.0} % of the movement: {:.2} deg off, of which a wrong first \
         rate and a standing push leave {:.2} deg",
        of.window_s[1] - of.window_s[0],
        of.open_explains_percent,
        of.open_rms_deg,
        of.open_without_drift_rms_deg
    ))
}
