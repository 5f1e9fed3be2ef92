//! The axes of a firing: their signals gathered for the fit, and what the fits say of the motors.

use indexmap::IndexMap;

use super::fit::{AxisFit, refit_axis};
use super::free_swing::free_swing;
use super::input::{AxisInput, BenchSweep, Estimate, UnlikeMotors, VehicleInput};
use super::result::{self, AxisPlant, PlantFile, SampledThrust};
use crate::burn::{Burn, Recording};
use crate::calibration::{LoadKind, gravity, points_file, sweep};
use crate::cautions;
use crate::config::{Axis, Firing, Signal};
use crate::diagnostic::{Code, Diagnostic, Error};
use crate::motors::lit::{AxisEvidence, AxisMotion};
use crate::quantity::Given;
use crate::series::Series;
use crate::uncertainty::Kind;

/// What the axes of a firing are fitted from.
pub(crate) struct AxesInput<'a> {
    /// What was recorded.
    pub recording: &'a Recording<'a>,
    /// The burn; without one only a dry run has something to fit.
    pub burn: Option<&'a Burn>,
    /// Sweeps of nozzles on the bench, by axis.
    pub sweeps: &'a IndexMap<String, BenchSweep>,
    /// Logs that missed the burn: their signals are left out, and an axis whose commands they hold with them.
    pub missed: &'a [&'a str],
    /// The motors that lit.
    pub lit: &'a [String],
    /// The tilt is used from so long after ignition on, when all motors push, s.
    pub settling_s: f64,
}

impl AxesInput<'_> {
    /// What each axis is fitted from.
    #[must_use]
    pub(crate) fn inputs(&self) -> Vec<AxisInput> {
        let firing = self.recording.firing;
        if self.burn.is_none() && !firing.is_dry_run() {
            return vec![];
        }
        let each = firing.axes.iter();
        each.filter_map(|(name, axis)| self.input(name, &within_reach(axis, self.missed)?))
            .collect()
    }

    fn input(&self, name: &str, axis: &Axis) -> Option<AxisInput> {
        let firing = self.recording.firing;
        let signals = &self.recording.signals;
        let command = signals.quantity(&axis.command)?;
        let measured =
            |signal: &Option<Signal>| signal.as_ref().and_then(|signal| signals.quantity(signal));
        let (window_s, middle_s) = self.window_s(&command)?;
        let clocks_u_s = |one: Option<&Signal>, other: &Option<Signal>| {
            one.zip(other.as_ref()).map_or(0.0, |(one, other)| {
                signals.channels.relative_clock_u_s(one, other, middle_s)
            })
        };
        let command_to = |signal: &Option<Signal>| clocks_u_s(Some(&axis.command), signal);
        let nozzle_to = |signal: &Option<Signal>| clocks_u_s(axis.nozzle.as_ref(), signal);
        let share = burnt_share(firing, self.lit);
        let propellant_kg = propellant_kg(firing);
        let stated = axis.inertia_spent.as_ref().map(Estimate::from);
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
            tilt_to_rate_u_s: clocks_u_s(axis.tilt.as_ref(), &axis.rate),
            thrust_n: self.burn.map(|burn| burn.trace.thrust.clone()),
            thrust_relative_u: self.burn.map_or(0.0, thrust_relative_u),
            // The stated inertia at burnout is that with all propellant gone.
            impulse_fraction: self
                .burn
                .map(|burn| burn.trace.impulse_fraction().map(|_, part| share * part)),
            unlike: self.unlike(name, axis),
            window_s,
            travel_rad: axis.travel.as_ref().map(Given::si),
            arm_m: axis.arm.as_ref().map(Estimate::from),
            inertia_kg_m2: axis.inertia.as_ref().map(Estimate::from),
            spent_is_assumed: stated.is_none(),
            inertia_spent_kg_m2: stated.or_else(|| lightened(axis, propellant_kg?)),
            frame_inertia_kg_m2: axis.frame_inertia.as_ref().map(Estimate::from),
            pivot_to_cg_m: axis.pivot_to_cg.as_ref().map(Estimate::from),
            swinging_mass_kg: axis.swinging_mass.as_ref().map(Estimate::from),
            bench_sweep: self.sweeps.get(name).copied(),
            propellant_kg,
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

    /// From when to when the axis is fitted, s, and the middle of the time in which it was steered.
    fn window_s(&self, command: &Series) -> Option<((f64, f64), f64)> {
        let (from_s, mut to_s) = match self.burn {
            Some(burn) => {
                let (from_s, to_s) = burn.window_s();
                (from_s + self.settling_s, to_s)
            }
            None => command.span_s()?,
        };
        let middle_s = 0.5 * (from_s + to_s);
        if let Some(burn) = self.burn.filter(|_| self.lit.len() > 1) {
            to_s = together_until(&burn.trace.thrust, (from_s, to_s));
        }
        Some(((from_s, to_s), middle_s))
    }

    /// How unlike motors beside the axis may burn: later by their stagger, longer by their usual spread.
    fn unlike(&self, name: &str, axis: &Axis) -> UnlikeMotors {
        let inertia = axis.inertia.as_ref().map(Given::si);
        let Some(inertia) = inertia.filter(|_| self.lit.len() > 1) else {
            return UnlikeMotors::default();
        };
        let firing = self.recording.firing;
        let lit = self.lit.iter();
        let square: f64 = lit
            .filter_map(|motor| firing.motors.get(motor)?.offset.get(name))
            .map(|offset| offset.si().powi(2))
            .sum();
        let lever = square.sqrt() / (self.lit.len() as f64 * inertia);
        UnlikeMotors {
            later_u_s_per_kg_m: lever * self.settling_s.max(TOGETHER_S),
            longer_u_per_kg_m: lever * firing.reduce.motor_spread,
        }
    }
}

/// Fits all axes. They know nothing of each other, so each has a thread of its own. What stays the same is
/// taken from the `earlier` fits; `step` is called after each step of the work, on any thread.
pub fn fit_axes(
    inputs: &[AxisInput],
    earlier: &IndexMap<String, AxisFit>,
    step: &(dyn Fn() + Sync),
) -> IndexMap<String, AxisFit> {
    let one = |input: &AxisInput| refit_axis(input, earlier.get(&input.name), &|| step());
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

/// Sweeps of nozzles on the bench, by axis.
///
/// # Errors
/// Points that cannot be read or make no sweep, with their place.
pub(crate) fn read_sweeps(firing: &Firing) -> Result<IndexMap<String, BenchSweep>, Error> {
    let mut out = IndexMap::new();
    for (name, axis) in &firing.axes {
        let Some(file) = &axis.sweep else { continue };
        let gravity = gravity::at(&firing.site);
        let points = points_file::read(&file.value, LoadKind::Angle, &gravity)
            .map_err(|problems| problems.where_named(&file.place, &file.value))?;
        let Some(found) = sweep::sweep(&points) else {
            return Err(Diagnostic::error(
                Code::NoSweep,
                "these points do not go up and down far enough to make a sweep",
            )
            .at(file.place.clone())
            .hint("command the nozzle from end to end and back, eight steps or more each way")
            .into());
        };
        let (gain, width) = (&found.gain, &found.loop_width_raw);
        // Points hold radians; commands are in degrees.
        let bench = BenchSweep {
            gain: Estimate {
                value: gain.value.to_degrees(),
                u: gain.u.to_degrees(),
            },
            width_deg: Estimate {
                value: width.value.abs(),
                u: width.u,
            },
        };
        out.insert(name.clone(), bench);
    }
    Ok(out)
}

/// What the fits of the axes say of the motors.
#[must_use]
pub(crate) fn evidence(
    recording: &Recording<'_>,
    axes: &IndexMap<String, AxisFit>,
) -> Vec<AxisEvidence> {
    let one = |(name, fit): (&String, &AxisFit)| {
        let rig = fit.plant.rig.as_ref()?;
        if tilts_far(fit) {
            return None;
        }
        Some(AxisEvidence {
            axis: name.clone(),
            thrust_bias_per_kg_m: rig.thrust_bias_per_kg_m.clone()?,
            motion: motion(recording, name, fit),
        })
    };
    axes.iter().filter_map(one).collect()
}

/// Tilts beyond this, deg, are no small angles (a sine misses 2 %), and few rigs let go so far: what then turns the rig may be its
/// weight or its stops, and says nothing of the motors.
const SMALL_ANGLES_DEG: f64 = 20.0;

fn tilts_far(fit: &AxisFit) -> bool {
    let tilts = [&fit.trace.tilt_deg, &fit.trace.tilt_model_deg];
    let far = |tilt: &Series| {
        let began_deg = tilt.value().first().copied().unwrap_or(0.0);
        let mut angles = tilt.value().iter();
        angles.any(|angle_deg| (angle_deg - began_deg).abs() > SMALL_ANGLES_DEG)
    };
    tilts.into_iter().flatten().any(far)
}

fn motion(recording: &Recording<'_>, name: &str, fit: &AxisFit) -> Option<AxisMotion> {
    let (firing, signals) = (recording.firing, &recording.signals);
    let axis = firing.axes.get(name)?;
    let rig = fit.plant.rig.as_ref()?;
    let bias = rig.thrust_bias_per_kg_m.as_ref()?;
    let rate_rad_s = match &axis.rate {
        Some(rate) => signals.quantity(rate)?,
        None => derivative(&signals.quantity(axis.tilt.as_ref()?)?),
    };
    let offset_m: Vec<f64> = firing
        .motors
        .values()
        .map(|motor| motor.offset.get(name).map_or(0.0, Given::si))
        .collect();
    if offset_m.iter().all(|offset| *offset == 0.0) {
        return None;
    }
    let nozzle = &fit.trace.nozzle_model_deg;
    Some(AxisMotion {
        rate_rad_s,
        nozzle_rad: nozzle.map(|_, angle_deg| angle_deg.to_radians()),
        effectiveness_per_kg_m: rig.effectiveness_per_kg_m.as_ref()?.value,
        thrust_bias_per_kg_m: (bias.value, bias.u),
        inertia_kg_m2: axis.inertia.as_ref()?.si(),
        offset_m,
    })
}

/// Differences over about ten milliseconds: a rate from an encoder.
fn derivative(tilt: &Series) -> Series {
    let reach = (0.01 / tilt.step_s().unwrap_or(0.01)).round().max(1.0) as usize;
    let (time, value) = (tilt.time_s(), tilt.value());
    let rows = reach..tilt.len().saturating_sub(reach);
    let (mut at, mut rate) = (Vec::new(), Vec::new());
    for row in rows {
        let (before, after) = (row - reach, row + reach);
        at.push(time[row]);
        rate.push((value[after] - value[before]) / (time[after] - time[before]));
    }
    Series::new(&at, &rate)
}

/// Readings of thrust that a plant file keeps at most.
const PLANT_READINGS: usize = 400;

/// The file that holds the plants of all axes; `None` when none could be fitted.
#[must_use]
pub(crate) fn plant_file(
    axes: &IndexMap<String, AxisFit>,
    burn: Option<&Burn>,
    firing: String,
) -> Option<PlantFile> {
    let fitted: IndexMap<_, _> = axes
        .iter()
        .map(|(name, axis)| (name.clone(), axis.plant.clone()))
        .collect();
    let thrust = burn.map(|burn| {
        let ignition_s = burn.window_s().0;
        let (from, to) = burn.description.measurable_s;
        let burning = burn.trace.thrust.between(from, to);
        let kept = burning.averaged(burning.len().div_ceil(PLANT_READINGS));
        SampledThrust {
            time_s: kept.time_s().iter().map(|time| time - ignition_s).collect(),
            thrust_n: kept.value().to_vec(),
        }
    });
    fitted.values().any(AxisPlant::is_known).then(|| PlantFile {
        schema: result::SCHEMA,
        firing,
        axes: fitted,
        thrust,
        caution: cautions::MODEL_NOT_CLEARANCE.to_owned(),
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

/// How far the propellant's square distance from the pivot may differ from that of the swivel point: common practice, no source.
const DISTANCE_SHARE: f64 = 0.3;

/// Inertia at burnout where it is not stated: less by the propellant at the swivel point's distance from the pivot; its
/// uncertainty is that of what was taken off.
fn lightened(axis: &Axis, propellant_kg: Estimate) -> Option<Estimate> {
    let (inertia, arm) = (axis.inertia.as_ref()?, axis.arm.as_ref()?);
    let off = propellant_kg.value * arm.si() * arm.si();
    (off < inertia.si()).then(|| Estimate {
        value: inertia.si() - off,
        u: (off * DISTANCE_SHARE / 3.0_f64.sqrt()).hypot(propellant_kg.u * arm.si() * arm.si()),
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
fn thrust_relative_u(burn: &Burn) -> f64 {
    let budget = &burn.impulse.budget;
    let systematic: f64 = budget
        .iter()
        .filter(|line| line.kind == Kind::Systematic)
        .map(|line| line.u_ns * line.u_ns)
        .sum();
    let total = burn
        .impulse
        .total_ns
        .as_ref()
        .map_or(f64::INFINITY, |total| total.value);
    systematic.sqrt() / total
}
