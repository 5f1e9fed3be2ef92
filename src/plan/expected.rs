//! What is expected of a firing: stated in `[plan]`, learned from logs and an earlier firing that are there, or
//! assumed as is common practice; in that order, and each noted.

use indexmap::IndexMap;
use serde::Serialize;

use super::pattern_file;
use super::rest::AtRest;
use crate::calibration::calibrate_cells;
use crate::config::{Axis, Firing, PlannedAxis, Signal};
use crate::diagnostic::{Code, Diagnostic, Error};
use crate::log::words::short;
use crate::plant::Parameter;
use crate::quantity::estimate::Estimate;
use crate::quantity::{Force, Given, Quantity};
use crate::reduce::{FiringResult, reduce};
use crate::series::Series;

/// Where an expectation comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Origin {
    /// Stated in `[plan]`.
    Stated,
    /// Learned from files that are there.
    Learned,
    /// Common practice, no source.
    Assumed,
}

impl Origin {
    /// The word used in files and outputs.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Stated => "stated",
            Self::Learned => "learned",
            Self::Assumed => "assumed",
        }
    }
}

/// One thing that the prediction rests on.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Premise {
    /// Of what, such as `axis pitch`.
    pub of: String,
    /// What it is, with its unit.
    pub says: String,
    /// Where it comes from.
    pub from: Origin,
}

/// What is expected of one axis, in SI units; angles of the command in deg.
#[derive(Debug, Clone)]
pub(crate) struct ExpectedAxis {
    pub gain: Estimate,
    pub lag_s: Estimate,
    pub delay_s: Estimate,
    pub backlash_deg: Estimate,
    pub damping_per_s: f64,
    pub friction_n_m: f64,
    pub wander_rad: f64,
    pub nozzle_noise_rad: f64,
    pub tilt_noise_rad: f64,
    pub rate_noise_rad_s: f64,
    pub arm_m: f64,
    pub inertia_kg_m2: f64,
    pub inertia_spent_kg_m2: f64,
    pub stiffness_per_s2: f64,
    pub travel_rad: Option<f64>,
    pub command_limit_deg: f64,
    pub command_step_deg: f64,
    pub tilt_limit_rad: f64,
    pub kp: f64,
    pub kd_s: f64,
    /// Whether what a controller fed back is in the commands already.
    pub fed_back: bool,
    /// The commands: when each begins, s after the fire command, and deg.
    pub commands: Vec<(f64, f64)>,
}

impl ExpectedAxis {
    /// Beyond this the flight computer sends nothing, whatever pattern and controller ask for, deg.
    pub(super) fn sent_limit_deg(&self) -> f64 {
        let travel_rad = self.travel_rad.unwrap_or(f64::INFINITY);
        self.command_limit_deg
            .max(OF_TRAVEL * travel_rad.to_degrees())
    }

    /// Angular acceleration for each newton and radian, 1/(kg m).
    pub(super) fn effectiveness(&self) -> f64 {
        self.arm_m / self.inertia_kg_m2
    }
}

/// What is expected of one cell, in counts.
#[derive(Debug, Clone)]
pub(crate) struct ExpectedCell {
    /// Raw reading against force.
    pub curve: [f64; 4],
    /// Standard deviation of a reading.
    pub noise: f64,
    /// Standard deviation of the zero within seconds.
    pub drift: f64,
}

/// What is expected of a firing.
#[derive(Debug, Clone)]
pub(crate) struct Expected {
    pub rates_hz: IndexMap<String, f64>,
    pub cells: IndexMap<String, ExpectedCell>,
    pub axes: IndexMap<String, ExpectedAxis>,
    /// Fire command to first gas.
    pub ignition_s: Estimate,
    /// How long the certified curves last.
    pub burns_s: f64,
    pub premises: Vec<Premise>,
}

/// What was measured in an earlier firing with the same file, when all of its logs are there.
struct Earlier {
    result: FiringResult,
    commands_deg: IndexMap<String, Vec<(f64, f64)>>,
}

/// Gathers what is expected.
///
/// # Errors
/// Files that are there and cannot be read; an axis or a motor of which too little is said to think it through.
pub(crate) fn expect(firing: &Firing, rest: &AtRest) -> Result<Expected, Error> {
    let earlier = earlier(firing)?;
    let mut book = Book(Vec::new());
    let ignition_s = ignition(firing, earlier.as_ref(), &mut book);
    let burns_s = burns_s(firing)?;
    let rates_hz = firing.logs.keys();
    let rates_hz = rates_hz.map(|log| (log.clone(), rate_hz(firing, rest, log, &mut book)));
    let rates_hz = rates_hz.collect();
    let cells = cells(firing, rest, &mut book)?;
    let mut axes = IndexMap::new();
    for (name, axis) in &firing.axes {
        let mut one = AxisBook {
            name,
            axis,
            plan: firing.plan.axes.get(name).cloned().unwrap_or_default(),
            rest,
            result: earlier.as_ref().map(|earlier| &earlier.result),
            book: &mut book,
        };
        let mut expected = one.expected()?;
        let known = earlier.as_ref().and_then(|one| one.commands_deg.get(name));
        expected.commands = match (&firing.plan.pattern, known) {
            (Some(file), _) => {
                let read = pattern_file::read(&file.value, name);
                book.note(
                    name,
                    "commands of the pattern file".to_owned(),
                    Origin::Stated,
                );
                read.map_err(|problems| problems.where_named(&file.place, &file.value))?
            }
            (None, Some(known)) => {
                let says = "the commands of the log that is there".to_owned();
                book.note(name, says, Origin::Learned);
                expected.fed_back = true;
                known.clone()
            }
            (None, None) => Vec::new(),
        };
        axes.insert(name.clone(), expected);
    }
    Ok(Expected {
        rates_hz,
        cells,
        axes,
        ignition_s,
        burns_s,
        premises: book.0,
    })
}

/// Share of the travel that may be commanded. Common practice, no source.
const OF_TRAVEL: f64 = 0.9;
/// Command per tilt, and per tilt rate in s, of a modest controller. Common practice, no source.
const USUAL_GAINS: (f64, f64) = (0.45, 0.06);

/// What each number rests on.
struct Book(Vec<Premise>);

impl Book {
    fn note(&mut self, of: &str, says: String, from: Origin) {
        let of = of.to_owned();
        self.0.push(Premise { of, says, from });
    }
}

fn earlier(firing: &Firing) -> Result<Option<Earlier>, Error> {
    let there = firing.logs.values().all(|log| log.file.value.is_file());
    if !there || firing.is_dry_run() {
        return Ok(None);
    }
    let reduction = reduce(firing)?;
    let result = reduction.result;
    let ignition_s = result
        .burn
        .as_ref()
        .and_then(|burn| burn.ignition_s.as_ref());
    let delay_s = mean_delay_s(&result).unwrap_or(IGNITION_S.value);
    let mut commands_deg = IndexMap::new();
    for (name, trace) in &reduction.traces.axes {
        let Some(fire_s) = ignition_s.map(|ignition| ignition.value - delay_s) else {
            continue;
        };
        let rows = trace.command_deg.iter();
        let mut table: Vec<(f64, f64)> = Vec::new();
        for (at_s, value) in rows.filter(|(at_s, _)| *at_s >= fire_s) {
            if table.last().is_none_or(|(_, last)| *last != value) {
                table.push((at_s - fire_s, value));
            }
        }
        commands_deg.insert(name.clone(), table);
    }
    Ok(Some(Earlier {
        result,
        commands_deg,
    }))
}

fn mean_delay_s(result: &FiringResult) -> Option<f64> {
    let motors = result.motors.iter().flat_map(IndexMap::values);
    let known: Vec<f64> = motors
        .filter_map(|motor| Some(motor.delay_s.as_ref()?.value))
        .collect();
    (!known.is_empty()).then(|| known.iter().sum::<f64>() / known.len() as f64)
}

/// Fire command to first gas of small igniters. Common practice, no source.
const IGNITION_S: Estimate = Estimate {
    value: 0.12,
    u: 0.03,
};

fn ignition(firing: &Firing, earlier: Option<&Earlier>, book: &mut Book) -> Estimate {
    let learned = earlier.and_then(|earlier| mean_delay_s(&earlier.result));
    let (one, from) = match (&firing.plan.ignition, learned) {
        (Some(stated), _) => (Estimate::from(stated), Origin::Stated),
        (None, Some(value)) => {
            let u = IGNITION_S.u;
            (Estimate { value, u }, Origin::Learned)
        }
        (None, None) => (IGNITION_S, Origin::Assumed),
    };
    let says = format!("ignition {} ms u {} ms", ms(one.value), ms(one.u));
    book.note("motors", says, from);
    one
}

fn ms(seconds: f64) -> String {
    format!("{:.0}", 1e3 * seconds)
}

/// How long the longest certified curve lasts, s.
fn burns_s(firing: &Firing) -> Result<f64, Error> {
    let mut out = 0.0_f64;
    for (name, motor) in &firing.motors {
        let curve = motor
            .certified
            .as_ref()
            .and_then(|one| one.thrust_curve.as_ref());
        let Some((_, end_s)) = curve.and_then(Series::span_s) else {
            return Err(Diagnostic::error(
                Code::NoCurve,
                format!("motor `{name}` has no certified thrust curve, so no burn can be thought through"),
            )
            .at(motor.place.clone())
            .hint("give `certified` a file with thrust_curve or thrust_file")
            .into());
        };
        out = out.max(end_s);
    }
    Ok(if firing.motors.is_empty() {
        DRY_RUN_S
    } else {
        out
    })
}

/// A dry run moves the gimbal for about this long, s. Common practice, no source.
const DRY_RUN_S: f64 = 2.5;

fn rate_hz(firing: &Firing, rest: &AtRest, log: &str, book: &mut Book) -> f64 {
    let holds_cell = firing
        .cells
        .values()
        .any(|cell| cell.signal.log.value == log);
    let assumed = if holds_cell { 1000.0 } else { 200.0 };
    let (rate_hz, from) = match (firing.plan.rates_hz.get(log), rest.rate_hz(log)) {
        (Some(stated), _) => (*stated, Origin::Stated),
        (None, Some(learned)) => (learned, Origin::Learned),
        (None, None) => (assumed, Origin::Assumed),
    };
    book.note(&format!("log {log}"), format!("{rate_hz:.0} Hz"), from);
    rate_hz
}

/// How far a zero moves within seconds, as a share of the largest calibrated or rated load. Common practice, no source.
const DRIFT_SHARE: f64 = 1e-4;
/// Noise of a cell of which nothing is known, as a share of its largest calibrated or rated load. Common practice,
/// no source.
const NOISE_SHARE: f64 = 5e-4;

fn cells(
    firing: &Firing,
    rest: &AtRest,
    book: &mut Book,
) -> Result<IndexMap<String, ExpectedCell>, Error> {
    let mut out = IndexMap::new();
    for (name, cell) in calibrate_cells(firing)? {
        let mut curve = [0.0; 4];
        for (to, from) in curve.iter_mut().zip(cell.curve.fit.coefficients()) {
            *to = from;
        }
        let counts_per_n = curve[1].abs();
        let given = &firing.cells[&name];
        let planned = firing.plan.cells.get(&name).cloned().unwrap_or_default();
        let counts = |stated: Option<Given<Force>>| stated.map(|of| of.si() * counts_per_n);
        let learned = rest.still(&given.signal).map(|still| still.sd);
        let rated = given.capacity.as_ref().map(Given::si);
        let top = cell.report.range_n.map(|[_, high]| high).or(rated);
        let of_points = cell.report.residual_sd_n.map(|sd| sd * counts_per_n);
        let range = top.unwrap_or(100.0) * counts_per_n;
        let (noise, from) = match (counts(planned.noise), learned) {
            (Some(stated), _) => (stated, Origin::Stated),
            (None, Some(learned)) => (learned, Origin::Learned),
            (None, None) => (of_points.unwrap_or(NOISE_SHARE * range), Origin::Assumed),
        };
        let says = format!("noise {:.4} N", noise / counts_per_n);
        let of = format!("cell {name}");
        book.note(&of, says, from);
        let (drift, from) = match counts(planned.zero_drift) {
            Some(stated) => (stated, Origin::Stated),
            None => (DRIFT_SHARE * range, Origin::Assumed),
        };
        let says = format!("drift of the zero {:.4} N", drift / counts_per_n);
        book.note(&of, says, from);
        out.insert(
            name,
            ExpectedCell {
                curve,
                noise,
                drift,
            },
        );
    }
    Ok(out)
}

/// A number of an axis, what it usually is, and how it is told: unit, and its size in the number's own. Common practice,
/// no source.
type Usual = (&'static str, Parameter, (f64, f64), (&'static str, f64));

const GAIN: Usual = ("gain", Parameter::Gain, (1.0, 0.05), ("", 1.0));
const LAG: Usual = ("lag", Parameter::Lag, (0.025, 0.008), ("ms", 1e-3));
const DELAY: Usual = ("delay", Parameter::Delay, (0.012, 0.004), ("ms", 1e-3));
const BACKLASH: Usual = (
    "backlash",
    Parameter::DeadBandWidth,
    (0.3, 0.1),
    ("deg", 1.0),
);
const DAMPING: Usual = ("damping", Parameter::Damping, (0.3, 0.0), ("1/s", 1.0));

/// One axis being put together.
struct AxisBook<'a> {
    name: &'a str,
    axis: &'a Axis,
    plan: PlannedAxis,
    rest: &'a AtRest,
    result: Option<&'a FiringResult>,
    book: &'a mut Book,
}

impl AxisBook<'_> {
    fn note(&mut self, says: String, from: Origin) {
        self.book.note(&format!("axis {}", self.name), says, from);
    }

    fn expected(&mut self) -> Result<ExpectedAxis, Error> {
        let (arm_m, inertia_kg_m2) = self.geometry()?;
        let inertia_spent_kg_m2 = self.axis.inertia_spent.as_ref().map(Given::si);
        let mass_kg = self.axis.swinging_mass.as_ref().map_or(0.0, Given::si);
        let height_m = self.axis.pivot_to_cg.as_ref().map_or(0.0, Given::si);
        let travel_rad = self.axis.travel.as_ref().map(Given::si);
        let plan = self.plan.clone();
        let limit_deg = plan
            .command_limit
            .as_ref()
            .map(|limit| limit.si().to_degrees());
        let of_travel = travel_rad.map(|travel| OF_TRAVEL * travel.to_degrees());
        let command_limit_deg = limit_deg.or(of_travel).unwrap_or(3.0);
        let step_deg = plan
            .command_step
            .as_ref()
            .map(|step| step.si().to_degrees());
        let axis = self.axis;
        let (kp, kd_s) = self.controller();
        Ok(ExpectedAxis {
            gain: self.number(GAIN, plan.gain.as_ref()),
            lag_s: self.number(LAG, plan.lag.as_ref()),
            delay_s: self.number(DELAY, plan.delay.as_ref()),
            backlash_deg: self.backlash(plan.backlash.as_ref()),
            damping_per_s: self.number(DAMPING, plan.damping.as_ref()).value.max(0.0),
            friction_n_m: plan.friction.as_ref().map_or(0.0025, Given::si),
            wander_rad: plan.wander.as_ref().map_or(0.1_f64.to_radians(), Given::si),
            nozzle_noise_rad: self.noise(
                "nozzle angle",
                plan.nozzle_noise.as_ref(),
                axis.nozzle.as_ref(),
                0.03,
            ),
            tilt_noise_rad: self.noise("tilt", plan.tilt_noise.as_ref(), axis.tilt.as_ref(), 0.01),
            rate_noise_rad_s: self.noise(
                "tilt rate",
                plan.rate_noise.as_ref(),
                axis.rate.as_ref(),
                0.25,
            ),
            arm_m,
            inertia_kg_m2,
            inertia_spent_kg_m2: inertia_spent_kg_m2.unwrap_or(inertia_kg_m2),
            stiffness_per_s2: mass_kg * crate::quantity::STANDARD_GRAVITY_M_S2 * height_m
                / inertia_kg_m2,
            travel_rad,
            command_limit_deg,
            command_step_deg: step_deg.unwrap_or(f64::INFINITY),
            tilt_limit_rad: plan
                .tilt_limit
                .as_ref()
                .map_or(10.0_f64.to_radians(), Given::si),
            kp,
            kd_s,
            fed_back: false,
            commands: Vec::new(),
        })
    }

    /// The controller below the pattern, command per tilt and per tilt rate. Without one a captive rig drifts to its
    /// stops within a burn: a tenth of a degree of misalignment is enough.
    fn controller(&mut self) -> (f64, f64) {
        let kd_s = self.plan.kd.as_ref().map(Given::si);
        let seen = self.axis.tilt.is_some() || self.axis.rate.is_some();
        let (gains, from) = match (self.plan.kp, kd_s) {
            (None, None) if seen => (USUAL_GAINS, Origin::Assumed),
            (None, None) => return (0.0, 0.0),
            (kp, kd_s) => ((kp.unwrap_or(0.0), kd_s.unwrap_or(0.0)), Origin::Stated),
        };
        let says = format!("controller below: kp {}, kd {} ms", gains.0, ms(gains.1));
        self.note(says, from);
        gains
    }

    /// Arm and inertia: as given, or any two whose ratio an earlier firing has measured.
    fn geometry(&self) -> Result<(f64, f64), Error> {
        let arm = self.axis.arm.as_ref().map(Given::si);
        let inertia = self.axis.inertia.as_ref().map(Given::si);
        if let (Some(arm), Some(inertia)) = (arm, inertia) {
            return Ok((arm, inertia));
        }
        let learned = self.result.and_then(|result| result.plant.get(self.name));
        let learned = learned.and_then(|plant| plant.value(Parameter::Effectiveness));
        if let Some(effectiveness) = learned {
            let inertia = inertia.unwrap_or(0.1);
            return Ok((effectiveness.value * inertia, inertia));
        }
        let seen = self.axis.tilt.is_some() || self.axis.rate.is_some();
        if !seen {
            return Ok((arm.unwrap_or(0.3), inertia.unwrap_or(0.1)));
        }
        let message = format!(
            "how far axis `{}` tilts cannot be predicted without arm and inertia",
            self.name
        );
        Err(Diagnostic::error(Code::MissingKey, message)
            .at(self.axis.place.clone())
            .hint("add arm = \"310 mm\" and inertia = \"0.08 kg m2\", as well as they are known")
            .into())
    }

    /// Stated, else learned, else assumed.
    fn number<Q: Quantity>(
        &mut self,
        (what, parameter, (value, u), (unit, size)): Usual,
        stated: Option<&Given<Q>>,
    ) -> Estimate {
        let learned = self.result.and_then(|result| result.plant.get(self.name));
        let learned = learned.and_then(|plant| plant.value(parameter));
        let (one, from) = match (stated, learned) {
            (Some(stated), _) => (Estimate::from(stated), Origin::Stated),
            (None, Some(known)) => {
                let (value, u) = (known.value, known.u);
                (Estimate { value, u }, Origin::Learned)
            }
            (None, None) => (Estimate { value, u }, Origin::Assumed),
        };
        let (value, u) = (one.value / size, one.u / size);
        // Two digits of the uncertainty, and as many decimals of the value.
        let decimals = if u > 0.0 {
            (1.0 - u.log10().floor()).clamp(0.0, 9.0)
        } else {
            4.0
        } as usize;
        let says = format!("{what} {value:.decimals$} u {u:.decimals$} {unit}");
        self.note(says.trim_end().to_owned(), from);
        one
    }

    fn backlash(&mut self, stated: Option<&Given<crate::quantity::Angle>>) -> Estimate {
        let stated = stated.map(|given| {
            let one = Estimate::from(given);
            let (value, u) = (one.value.to_degrees(), one.u.to_degrees());
            Given {
                value: crate::quantity::Ratio::from_si(value),
                spread: crate::quantity::Spread::Standard(u),
            }
        });
        self.number(BACKLASH, stated.as_ref())
    }

    /// Noise of a sensor, in SI units; the assumed one in degrees.
    fn noise<Q: Quantity>(
        &mut self,
        what: &str,
        stated: Option<&Given<Q>>,
        signal: Option<&Signal>,
        assumed_deg: f64,
    ) -> f64 {
        let still =
            signal.and_then(|signal| Some((self.rest.still(signal)?, signal.unit.as_ref()?)));
        let (noise, from) = match (stated, still) {
            (Some(stated), _) => (stated.si(), Origin::Stated),
            (None, Some((still, unit))) => (still.sd * unit.factor, Origin::Learned),
            (None, None) => (assumed_deg.to_radians(), Origin::Assumed),
        };
        if signal.is_some() {
            let says = short(noise.to_degrees());
            self.note(format!("noise of the {what} {says} {}", Q::UNITS[0]), from);
        }
        noise
    }
}
