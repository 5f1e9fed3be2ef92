//! Signals of each axis gathered for the plant fit.

use indexmap::IndexMap;

use super::Burnt;
use super::progress::Progress;
use super::signals::Signals;
use crate::config::{Axis, Firing, Signal};
use crate::plant::free_swing::free_swing;
use crate::plant::progress::STEPS;
use crate::plant::{AxisFit, AxisInput, Estimate, UnlikeMotors, VehicleInput, fit_axis_again};
use crate::quantity::Given;
use crate::series::Series;
use crate::uncertainty::Kind;

/// Fits every axis of a firing. Without a burn only a dry run has something to fit. The tilt is used
/// from `settling_s` after ignition on, when all motors push. Signals in the logs that `missed` the
/// burn are left out, and an axis whose commands they hold with them. What stays the same is taken from
/// the `earlier` fits.
#[allow(
    clippy::too_many_arguments,
    reason = "what the record says, and who watches"
)]
pub(super) fn fit(
    firing: &Firing,
    signals: &Signals,
    burnt: Option<&Burnt>,
    missed: &[&str],
    lit: &[String],
    settling_s: f64,
    earlier: &IndexMap<String, AxisFit>,
    progress: &Progress<'_>,
) -> IndexMap<String, AxisFit> {
    let inputs = inputs(firing, signals, burnt, missed, lit, settling_s);
    progress.expect(STEPS * inputs.len());
    fit_each(&inputs, earlier, progress)
}

/// What each axis is fitted from.
pub(super) fn inputs(
    firing: &Firing,
    signals: &Signals,
    burnt: Option<&Burnt>,
    missed: &[&str],
    lit: &[String],
    settling_s: f64,
) -> Vec<AxisInput> {
    if burnt.is_none() && !firing.is_dry_run() {
        return vec![];
    }
    firing
        .axes
        .iter()
        .filter_map(|(name, axis)| {
            let axis = within_reach(axis, missed)?;
            let mut input = input(firing, signals, burnt, settling_s, name, &axis)?;
            // The stated inertia at burnout is that with all propellant gone.
            if let Some(burnt) = burnt.filter(|_| lit.len() > 1) {
                input.window_s.1 = together_until(&burnt.trace.thrust, input.window_s);
            }
            input.unlike = unlike(firing, lit, settling_s, name, &axis);
            let share = burnt_share(firing, lit);
            let fraction = burnt.map(|burnt| burnt.trace.impulse_fraction());
            input.impulse_fraction = fraction.map(|all| all.map(|_, part| share * part));
            Some(input)
        })
        .collect()
}

/// Fits all axes.
pub fn fit_all(inputs: &[AxisInput]) -> IndexMap<String, AxisFit> {
    fit_each(inputs, &IndexMap::new(), &Progress::new(&|_| ()))
}

/// Fits all axes. They know nothing of each other, so each has a thread of its own.
fn fit_each(
    inputs: &[AxisInput],
    earlier: &IndexMap<String, AxisFit>,
    progress: &Progress<'_>,
) -> IndexMap<String, AxisFit> {
    let one =
        |input: &AxisInput| fit_axis_again(input, earlier.get(&input.name), &|| progress.step());
    std::thread::scope(|scope| {
        let at_work: Vec<_> = inputs
            .iter()
            .map(|input| (&input.name, scope.spawn(|| one(input))))
            .collect();
        at_work
            .into_iter()
            .map(|(name, fit)| match fit.join() {
                Ok(fit) => (name.clone(), fit),
                // A mistake of ours must not pass for an axis that was not there.
                Err(panic) => std::panic::resume_unwind(panic),
            })
            .collect()
    })
}

/// An axis without the signals that lie in some logs; `None` when its commands do.
fn within_reach(axis: &Axis, missed: &[&str]) -> Option<Axis> {
    let reached = |signal: &Signal| !missed.contains(&signal.log.value.as_str());
    let mut out = axis.clone();
    for signal in [&mut out.nozzle, &mut out.tilt, &mut out.rate] {
        *signal = signal.take().filter(reached);
    }
    reached(&out.command).then_some(out)
}

fn input(
    firing: &Firing,
    signals: &Signals,
    burnt: Option<&Burnt>,
    settling_s: f64,
    name: &str,
    axis: &Axis,
) -> Option<AxisInput> {
    let command = signals.quantity(&axis.command)?;
    let measured =
        |signal: &Option<Signal>| signal.as_ref().and_then(|signal| signals.quantity(signal));
    let window_s = match burnt {
        Some(burnt) => (burnt.burn.window_s.0 + settling_s, burnt.burn.window_s.1),
        None => command.span_s()?,
    };
    let middle_s = 0.5 * (window_s.0 + window_s.1);
    let apart = |one: Option<&Signal>, other: &Option<Signal>| {
        one.zip(other.as_ref())
            .map_or(0.0, |(one, other)| signals.apart_u_s(one, other, middle_s))
    };
    let command_to = |signal: &Option<Signal>| apart(Some(&axis.command), signal);
    let nozzle_to = |signal: &Option<Signal>| apart(axis.nozzle.as_ref(), signal);
    Some(AxisInput {
        name: name.to_owned(),
        command_deg: command.map(|_, angle_rad| angle_rad.to_degrees()),
        nozzle_rad: measured(&axis.nozzle),
        tilt_rad: measured(&axis.tilt),
        rate_rad_s: measured(&axis.rate),
        command_to_nozzle_u_s: command_to(&axis.nozzle),
        command_to_tilt_u_s: command_to(&axis.tilt),
        command_to_rate_u_s: command_to(&axis.rate),
        nozzle_to_tilt_u_s: nozzle_to(&axis.tilt),
        nozzle_to_rate_u_s: nozzle_to(&axis.rate),
        tilt_to_rate_u_s: apart(axis.tilt.as_ref(), &axis.rate),
        thrust_n: burnt.map(|burnt| burnt.trace.thrust.clone()),
        thrust_relative_u: burnt.map_or(0.0, thrust_relative_u),
        impulse_fraction: None,
        unlike: UnlikeMotors::default(),
        window_s,
        travel_rad: axis.travel.as_ref().map(Given::si),
        arm_m: axis.arm.as_ref().map(Estimate::from),
        inertia_kg_m2: axis.inertia.as_ref().map(Estimate::from),
        inertia_spent_kg_m2: axis.inertia_spent.as_ref().map(Estimate::from),
        frame_inertia_kg_m2: axis.frame_inertia.as_ref().map(Estimate::from),
        pivot_to_cg_m: axis.pivot_to_cg.as_ref().map(Estimate::from),
        swinging_mass_kg: axis.swinging_mass.as_ref().map(Estimate::from),
        bench_sweep: signals.sweeps.get(name).copied(),
        propellant_kg: propellant_kg(firing),
        free_swing: axis.swing.as_ref().and_then(|swing| {
            let swings = signals.own_quantity(swing).into_iter();
            free_swing(&swings.max_by_key(Series::len)?)
        }),
        vehicle: firing.vehicle.as_ref().map(|vehicle| VehicleInput {
            mass_kg: vehicle.mass.as_ref().map(Estimate::from),
            inertia_kg_m2: Estimate::from(&vehicle.inertia),
            arm_m: Estimate::from(&vehicle.arm),
        }),
    })
}

/// Share of the mean thrust below which motors of one kind are going out one after the other.
const OUT_SHARE: f64 = 0.5;

/// How long motors push together, s: while they go out one by one their torques do not balance, which
/// the plant must not take for stiffness or a disturbance.
fn together_until(thrust: &Series, (from_s, to_s): (f64, f64)) -> f64 {
    let part = thrust.between(from_s, to_s);
    let mean = part.value().iter().sum::<f64>() / part.len().max(1) as f64;
    let strong = part.iter().filter(|(_, force)| *force >= OUT_SHARE * mean);
    strong.last().map_or(to_s, |(time, _)| time)
}

/// Motors that are said to light together still do so within this, s.
const TOGETHER_S: f64 = 0.005;

/// How unlike motors beside the axis may burn: later by their stagger, longer by their usual spread.
fn unlike(
    firing: &Firing,
    lit: &[String],
    settling_s: f64,
    name: &str,
    axis: &Axis,
) -> UnlikeMotors {
    let Some(inertia) = axis
        .inertia
        .as_ref()
        .map(Given::si)
        .filter(|_| lit.len() > 1)
    else {
        return UnlikeMotors::default();
    };
    let square: f64 = lit
        .iter()
        .filter_map(|motor| firing.motors.get(motor)?.offset.get(name))
        .map(|offset| offset.si().powi(2))
        .sum();
    let lever = square.sqrt() / (lit.len() as f64 * inertia);
    UnlikeMotors {
        later_u_s_per_kg_m: lever * settling_s.max(TOGETHER_S),
        longer_u_per_kg_m: lever * firing.reduce.motor_spread,
    }
}

/// Propellant of all motors, kg; `None` unless each is known.
fn propellant_kg(firing: &Firing) -> Option<Estimate> {
    let motors = firing.motors.values();
    let each: Option<Vec<(f64, Option<f64>)>> =
        motors.map(|motor| motor.propellant.burnt_kg()).collect();
    let each = each.filter(|each| !each.is_empty())?;
    Some(Estimate {
        value: each.iter().map(|one| one.0).sum(),
        u: each
            .iter()
            .filter_map(|one| Some(one.1?.powi(2)))
            .sum::<f64>()
            .sqrt(),
    })
}

/// Share of all propellant loaded that the motors that lit hold: by mass where all is known, else by
/// number.
fn burnt_share(firing: &Firing, lit: &[String]) -> f64 {
    let mass_kg = |names: &mut dyn Iterator<Item = &String>| {
        names
            .map(|name| Some(firing.motors.get(name)?.propellant.burnt_kg()?.0))
            .sum::<Option<f64>>()
    };
    let all = mass_kg(&mut firing.motors.keys());
    let some = mass_kg(&mut lit.iter());
    let by_number = lit.len() as f64 / firing.motors.len().max(1) as f64;
    all.zip(some)
        .filter(|(all, _)| *all > 0.0)
        .map_or(by_number, |(all, some)| some / all)
}

/// Relative uncertainty that all thrust readings share: the systematic part of the total's.
fn thrust_relative_u(burnt: &Burnt) -> f64 {
    let budget = &burnt.impulse.budget;
    let systematic: f64 = budget
        .iter()
        .filter(|line| line.kind == Kind::Systematic.word())
        .map(|line| line.u_ns * line.u_ns)
        .sum();
    let total = burnt
        .impulse
        .total_ns
        .as_ref()
        .map_or(f64::INFINITY, |total| total.value);
    systematic.sqrt() / total
}
