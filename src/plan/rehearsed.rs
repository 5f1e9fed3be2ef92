//! A firing that is only thought through: its own firing file, and logs in memory that a rehearsal of what is
//! expected leaves.
//!
//! What the maker states stays as stated, so the reduction errs by what its inputs allow; what happens is drawn
//! from what is expected: motors by their usual spread, the actuator by its stated uncertainty, and every noise.
//! Logs are written plainly, whatever dialect the firing file names. A pressure and igniter currents are left out.

use std::path::PathBuf;
use std::sync::Arc;

use indexmap::IndexMap;

use super::expected::{Expected, ExpectedAxis};
use super::motion::MISALIGNMENT_DEG;
use super::rehearsal::noise::Stream;
use super::rehearsal::spec::{
    AxisTruth, CellTruth, Column, Computer, Dirt, Hold, MotorTruth, Pattern, PointsPlan, Recorder,
    Rehearsal, Shows, StandTruth, Steering, TimeStamp,
};
use super::rehearsal::{self, ROUGHNESS_BAND_HZ};
use crate::calibration::gravity;
use crate::config::logs::Held;
use crate::config::{AlignBy, Axis, Firing, Motor, Signal, TimeColumn};
use crate::diagnostic::{Error, Located};
use crate::plant::result::DeadBandKind;
use crate::quantity::estimate::Estimate;
use crate::quantity::{Given, Quantity, Time, unit};

/// Rest before the fire command and after the burn, s.
const REST_S: (f64, f64) = (2.0, 3.0);
/// Steps of the integration a second at least; a ringing stand gets forty a period. What a coarser step changes is
/// far below the spread of the draws.
const FEWEST_STEPS: f64 = 4000.0;
/// Standard deviation of rough burning of small motors, as a share of thrust. Common practice, no source.
const ROUGHNESS: f64 = 0.006;
/// Standard deviation of a crystal's rate, ppm; data sheets state twice to five times this as limits.
const DRIFT_PPM: f64 = 15.0;
/// How long the computer steers on after the burn, s: little of what it then does is to be counted on.
const STEERS_ON_S: f64 = 0.3;
/// The time column of a log in memory.
const TIME_COLUMN: &str = "t_us";

/// One of many ways a firing may go.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Draw<'a> {
    /// Which.
    pub seed: u64,
    /// The motor whose igniter fails.
    pub dead: Option<&'a str>,
}

/// A firing as it would be recorded, ready to be reduced.
///
/// # Errors
/// A motor without a usable thrust curve.
pub(crate) fn rehearsed(
    firing: &Firing,
    expected: &Expected,
    draw: Draw<'_>,
) -> Result<Firing, Error> {
    let mut firing = plainly_logged(firing);
    let rehearsal = rehearsal(&firing, expected, draw);
    let logs = rehearsal::logs(&rehearsal)?;
    for (name, bytes) in rehearsal.recorders.keys().zip(logs) {
        if let Some(log) = firing.logs.get_mut(name) {
            log.held = Some(Held(Arc::from(bytes)));
        }
    }
    Ok(firing)
}

/// A firing file whose logs are as a rehearsal writes them.
fn plainly_logged(firing: &Firing) -> Firing {
    let mut out = firing.clone();
    (out.chamber, out.stand.tap) = (None, None);
    out.reduce.window_s = None;
    let deg = unit::parse("deg").ok();
    for motor in out.motors.values_mut() {
        motor.igniter = None;
    }
    for axis in out.axes.values_mut() {
        axis.swing = None;
        // The simulated commands are in deg.
        (axis.command.points, axis.command.unit) = (None, deg.clone());
        let signals = [axis.nozzle.as_mut(), axis.tilt.as_mut()];
        for signal in signals
            .into_iter()
            .flatten()
            .filter(|one| one.points.is_some())
        {
            (signal.points, signal.unit) = (None, deg.clone());
        }
    }
    let used: Vec<String> = out
        .signals()
        .map(|signal| signal.log.value.clone())
        .collect();
    out.logs.retain(|name, _| used.contains(name));
    for log in out.logs.values_mut() {
        (log.delimiter, log.decimal, log.comment) = (None, None, None);
        (log.skip_lines, log.header) = (None, None);
        log.missing.clear();
        if !matches!(log.time, Some(TimeColumn::Rate(_))) {
            log.time = unit::parse("us").ok().map(|unit| TimeColumn::Number {
                column: Located {
                    value: TIME_COLUMN.to_owned(),
                    place: log.place.clone(),
                },
                unit,
                counter_bits: None,
            });
        }
        if let Some(AlignBy::Offset { offset, .. }) = log.align.as_mut().map(|align| &mut align.by)
        {
            offset.value = Time::from_si(0.0);
        }
    }
    out
}

fn rehearsal(firing: &Firing, expected: &Expected, draw: Draw<'_>) -> Rehearsal {
    let mut stream = Stream::new(draw.seed, "plan");
    let fire_s = REST_S.0;
    let lasts_s = fire_s + expected.ignition_s.value + 1.1 * expected.burns_s + REST_S.1;
    let recorders = recorders(firing, expected, &mut stream);
    let cells = firing.cells.iter().filter_map(|(name, cell)| {
        let known = expected.cells.get(name)?;
        let carries = cell
            .carries
            .iter()
            .map(|all| all.iter().map(|one| one.value.clone()).collect());
        Some((
            name.clone(),
            CellTruth {
                curve: known.curve,
                zero_shift: 0.0,
                noise: known.noise,
                wander: known.drift,
                wander_time_s: 2.0,
                drift_per_s: 0.0,
                delay_s: cell.delay.as_ref().map_or(0.0, Given::si),
                converts_hz: None,
                step: 0.2 * known.noise,
                range: (f64::NEG_INFINITY, f64::INFINITY),
                carries: carries.into_iter().next(),
                points: NO_POINTS,
                claims: vec![],
            },
        ))
    });
    let cells = cells.collect();
    let motors = firing.motors.iter().filter_map(|(name, motor)| {
        let truth = motor_truth(firing, motor, expected.ignition_s, &mut stream)?;
        let lights = draw.dead != Some(name.as_str());
        Some((name.clone(), MotorTruth { lights, ..truth }))
    });
    let motors = motors.collect();
    let axes: IndexMap<String, AxisTruth> = expected
        .axes
        .iter()
        .map(|(name, axis)| (name.clone(), axis_truth(axis, &mut stream)))
        .collect();
    let hz = firing
        .stand
        .natural_frequency
        .as_ref()
        .map(|given| drawn(Estimate::from(given), &mut stream));
    Rehearsal {
        file: firing.file.clone(),
        title: firing.title.clone(),
        date: None,
        seed: draw.seed,
        fire_s,
        lasts_s,
        steps_per_second: hz.map_or(FEWEST_STEPS, |hz| FEWEST_STEPS.max(40.0 * hz)),
        fire_line_s: 0.5,
        gravity_m_s2: gravity::at(&firing.site).value_m_s2,
        site_claims: vec![],
        recorders,
        cells,
        stand: StandTruth {
            mount: firing.stand.mount,
            cells_on: firing.stand.cells_on,
            natural_frequency_hz: hz,
            damping_ratio: firing.stand.damping_ratio.as_ref().map_or(0.03, Given::si),
            claims: vec![],
        },
        tap: None,
        motors,
        chamber: None,
        axes,
        computer: computer(firing, expected),
        vehicle_claims: vec![],
    }
}

const NO_POINTS: PointsPlan = PointsPlan {
    loads_kg: vec![],
    runs: 0,
    down: false,
    mass_error: 0.0,
    noise: 0.0,
    hysteresis: 0.0,
    creep: 0.0,
};

fn drawn(one: Estimate, stream: &mut Stream) -> f64 {
    one.value + one.u * stream.normal()
}

fn motor_truth(
    firing: &Firing,
    motor: &Motor,
    ignition_s: Estimate,
    stream: &mut Stream,
) -> Option<MotorTruth> {
    let certified = motor.certified.clone()?;
    let spread = firing.reduce.motor_spread;
    let propellant_kg = motor.propellant.burnt_kg().map(|(mass, _)| mass);
    let of_design = certified.propellant.as_ref().map(Given::si);
    Some(MotorTruth {
        certified_path: PathBuf::new(),
        certified,
        impulse_scale: (1.0 + spread * stream.normal()).max(0.2),
        time_scale: (1.0 + spread * stream.normal()).max(0.2),
        delay_s: drawn(ignition_s, stream).max(0.005),
        lights: true,
        goes_out_s: None,
        roughness: ROUGHNESS,
        roughness_band_hz: ROUGHNESS_BAND_HZ,
        propellant_kg: propellant_kg.or(of_design).unwrap_or(0.0),
        offset_m: motor
            .offset
            .iter()
            .map(|(axis, offset)| (axis.clone(), offset.si()))
            .collect(),
        claims: vec![],
        offset_claims: vec![],
    })
}

fn axis_truth(axis: &ExpectedAxis, stream: &mut Stream) -> AxisTruth {
    let kind = if axis.backlash_deg.value > 0.0 {
        DeadBandKind::Play
    } else {
        DeadBandKind::None
    };
    AxisTruth {
        gain: drawn(axis.gain, stream),
        bias_deg: 0.1 * stream.normal(),
        lag_s: drawn(axis.lag_s, stream).max(5e-4),
        damping_ratio: None,
        delay_s: drawn(axis.delay_s, stream).max(0.0),
        dead_band: kind,
        dead_band_width_deg: drawn(axis.backlash_deg, stream).max(0.0),
        travel_rad: axis.travel_rad,
        slew_rad_s: None,
        arm_m: axis.arm_m,
        inertia_kg_m2: axis.inertia_kg_m2,
        inertia_spent_kg_m2: axis.inertia_spent_kg_m2,
        misalignment_rad: MISALIGNMENT_DEG.to_radians() * stream.normal(),
        coupling: 0.0,
        damping_per_s: axis.damping_per_s,
        stiffness_per_s2: axis.stiffness_per_s2,
        coulomb_rad_s2: axis.friction_n_m / axis.inertia_kg_m2,
        direction_noise_rad: axis.wander_rad,
        direction_drift_rad: axis.wander_rad,
        direction_drift_time_s: 0.1,
        wind_rad_s2: 3e-4 / axis.inertia_kg_m2,
        wind_time_s: 0.3,
        // A rig whose centre of gravity lies above its pivot would not wait for the burn.
        hold: if axis.stiffness_per_s2 > 0.0 {
            Hold::Clamp
        } else {
            Hold::Free
        },
        release_s: 0.0,
        start_tilt_rad: 0.0,
        claims: vec![],
    }
}

fn computer(firing: &Firing, expected: &Expected) -> Option<Computer> {
    let first = firing.axes.values().next()?;
    let steering = expected.axes.iter().map(|(name, axis)| {
        let given = axis.commands.clone();
        (
            name.clone(),
            Steering {
                pattern: Pattern::Given,
                given,
                kp: axis.kp,
                kd: axis.kd_s,
                ..Steering::default()
            },
        )
    });
    let limits_deg = expected.axes.values().map(ExpectedAxis::sent_limit_deg);
    Some(Computer {
        recorder: first.command.log.value.clone(),
        starts_s: 0.0,
        lasts_s: expected.ignition_s.value + expected.burns_s + STEERS_ON_S,
        limit_deg: limits_deg.fold(0.0, f64::max),
        step_deg: 0.01,
        attitude_noise_rad: 0.0,
        steering: steering.collect(),
    })
}

fn recorders(
    firing: &Firing,
    expected: &Expected,
    stream: &mut Stream,
) -> IndexMap<String, Recorder> {
    let each = firing.logs.iter().enumerate();
    each.map(|(nth, (name, log))| {
        let rate_hz = expected.rates_hz.get(name).copied().unwrap_or(200.0);
        let numbered = matches!(log.time, Some(TimeColumn::Number { .. }));
        let time = numbered.then(|| TimeStamp {
            column: TIME_COLUMN.to_owned(),
            unit: "us".to_owned(),
            unit_s: 1e-6,
            digits: 0,
            start: 0.0,
            counter_bits: None,
        });
        let tied_by_offset = log
            .align
            .as_ref()
            .is_some_and(|align| matches!(align.by, AlignBy::Offset { .. }));
        let alone = nth == 0 || tied_by_offset;
        (
            name.clone(),
            Recorder {
                file: format!("{name}.csv"),
                rate_hz,
                jitter_s: 0.0,
                starts_s: if alone {
                    0.0
                } else {
                    -stream.between(0.0, 2.0 / rate_hz)
                },
                drift_ppm: if alone {
                    0.0
                } else {
                    DRIFT_PPM * stream.normal()
                },
                dropped: 0.0,
                time,
                align: None,
                columns: columns(firing, expected, name),
                dirt: Dirt::default(),
            },
        )
    })
    .collect()
}

/// The columns of a log that the firing file refers to.
fn columns(firing: &Firing, expected: &Expected, log: &str) -> IndexMap<String, Column> {
    let mut out: IndexMap<String, Column> = IndexMap::new();
    let mut put = |signal: &Signal, shows: Shows, noise_si: f64| {
        if signal.log.value == log {
            let title = signal.column.value.clone();
            out.entry(title)
                .or_insert_with(|| column(signal, shows, noise_si));
        }
    };
    for (name, cell) in &firing.cells {
        put(&cell.signal, Shows::Cell(name.clone()), 0.0);
    }
    for (name, axis) in &firing.axes {
        if let Some(expected) = expected.axes.get(name) {
            for (signal, shows, noise_si) in of_axis(name, axis, expected) {
                put(signal, shows, noise_si);
            }
        }
    }
    for fire in firing
        .motors
        .values()
        .filter_map(|motor| motor.fire.as_ref())
    {
        put(fire, Shows::Fire, 0.0);
    }
    // Readings of a cell may be counts or newtons: as many decimals as their noise needs.
    for (name, cell) in &expected.cells {
        let digits = (2.0 - cell.noise.log10().floor()).clamp(0.0, 12.0);
        let shown = Shows::Cell(name.clone());
        for column in out.values_mut().filter(|column| column.shows == shown) {
            column.digits = digits as usize;
        }
    }
    // What ties clocks by an edge is the fire line, whatever its column is called.
    for (name, one) in &firing.logs {
        let Some(align) = &one.align else { continue };
        let (AlignBy::Edge { here, there } | AlignBy::Shape { here, there }) = &align.by else {
            continue;
        };
        let mine = (name == log).then_some(here);
        let others = (align.to.value == log).then_some(there);
        for title in mine.into_iter().chain(others) {
            let line = Column::plain(Shows::Fire);
            out.entry(title.value.clone()).or_insert(line);
        }
    }
    out
}

fn of_axis<'a>(
    name: &str,
    axis: &'a Axis,
    expected: &ExpectedAxis,
) -> impl Iterator<Item = (&'a Signal, Shows, f64)> {
    let shows = |of: fn(String) -> Shows| of(name.to_owned());
    [
        (Some(&axis.command), shows(Shows::Command), 0.0),
        (
            axis.nozzle.as_ref(),
            shows(Shows::Nozzle),
            expected.nozzle_noise_rad,
        ),
        (
            axis.tilt.as_ref(),
            shows(Shows::Tilt),
            expected.tilt_noise_rad,
        ),
        (
            axis.rate.as_ref(),
            shows(Shows::Rate),
            expected.rate_noise_rad_s,
        ),
    ]
    .into_iter()
    .filter_map(|(signal, shows, noise)| Some((signal?, shows, noise)))
}

fn column(signal: &Signal, shows: Shows, noise_si: f64) -> Column {
    let unit = signal
        .unit
        .as_ref()
        .filter(|_| !matches!(shows, Shows::Cell(_) | Shows::Fire));
    let unit_si = unit.map_or(1.0, |unit| unit.factor);
    Column {
        unit_si,
        noise_si,
        digits: if unit.is_some() { 6 } else { 0 },
        ..Column::plain(shows)
    }
}

#[cfg(test)]
mod tests {
    use super::super::expected::expect;
    use super::super::rest::AtRest;
    use super::*;
    use crate::config::read_firing;

    const DRAW: Draw<'_> = Draw {
        seed: 1,
        dead: None,
    };

    fn demo() -> (Firing, Expected) {
        let demo = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("demo-data/twin-captive");
        let firing = read_firing(&demo.join("firing.toml")).unwrap();
        let expected = expect(&firing, &AtRest::default()).unwrap();
        (firing, expected)
    }

    // Nine tenths of its 5 deg of travel: a nozzle at its stop would tell less of the gain than the firing will.
    #[test]
    fn the_computer_sends_no_more_than_it_will_whatever_is_asked_for() {
        let (firing, mut expected) = demo();
        for axis in expected.axes.values_mut() {
            (axis.kp, axis.kd_s) = (2.0, 0.2);
            axis.commands = (0..8)
                .map(|at| (0.3 + 0.2 * f64::from(at), [4.4, -4.4][at as usize % 2]))
                .collect();
        }
        let firing = rehearsed(&firing, &expected, DRAW).unwrap();
        let log = firing.logs["computer"].held.as_ref().unwrap();
        let text = String::from_utf8(log.0.to_vec()).unwrap();
        let mut rows = text.lines().map(|row| row.split(','));
        let column = rows.next().unwrap().position(|of| of == "cmd_pitch_deg");
        let sent = rows.map(|mut row| row.nth(column.unwrap()).unwrap().parse().unwrap());
        let largest = sent.map(f64::abs).fold(0.0, f64::max);
        assert!((largest - 4.5).abs() < 1e-9, "{largest}");
    }

    // By hand: a ten-thousandth of 6 kg on 4120 counts/N is 24.2 counts, and a noisier cell creeps no further.
    #[test]
    fn a_zero_drifts_by_the_cells_range_and_not_by_its_noise() {
        let (firing, mut expected) = demo();
        for times in [1.0, 3.0] {
            expected.cells["base"].noise *= times;
            let wander = rehearsal(&firing, &expected, DRAW).cells["base"].wander;
            assert!((wander - 24.2).abs() < 0.3, "{wander}");
        }
    }
}
