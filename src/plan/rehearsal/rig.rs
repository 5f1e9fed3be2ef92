//! The rig in motion: nozzles, tilts, load cells on springs, and propellant, in one state.
//!
//! Each axis follows the tilt equation of `plant.json`; a cell on a springy stand follows the
//! forced oscillator x'' + 2 z w x' + w2 x = w2 F. Steps are classical Runge-Kutta of fourth order
//! (Kutta, 1901). Dry friction is taken in the sense of Filippov: an axis at rest stays at rest
//! while the other torques are no larger than the friction, and a step in which the rate changes
//! sign is cut at that instant. With r the share of propellant left, inertia is
//! spent + r (loaded - spent); damping, stiffness and friction are constants of the equation.

use super::actuator::Actuator;
use super::motor::BurningMotor;
use super::spec::{AxisTruth, Hold, Rehearsal};
use crate::firing::CellsOn;

/// Numbers of one axis in the state: nozzle angle, tilt, tilt rate.
const PER_AXIS: usize = 3;
/// Numbers of one cell in the state: felt force, and its rate.
const PER_CELL: usize = 2;

/// An axis in motion.
pub(super) struct SwingingAxis {
    /// Its actuator.
    pub actuator: Actuator,
    truth: AxisTruth,
    /// Offset of each motor, m.
    offsets_m: Vec<f64>,
    disturbance: Disturbance,
    /// Whether a clamp holds it.
    pub clamped: bool,
    /// Sign of dry friction's opposite in this step; 0 when it stands still.
    heading: f64,
    stuck: bool,
}

/// Steps of a disturbance, s: it is white up to half their rate, well above the tilt's own motion.
pub(super) const DISTURBANCE_STEP_S: f64 = 1e-3;

/// What disturbs an axis, at even steps joined by straight lines.
pub(super) struct Disturbance {
    /// Time of the first step, s.
    pub start_s: f64,
    /// Angle by which thrust leaves its direction, rad.
    pub wobble_rad: Vec<f64>,
    /// Push of the wind, rad/s2.
    pub wind_rad_s2: Vec<f64>,
}

impl Disturbance {
    /// Wobble and wind at a time.
    fn at(&self, time_s: f64) -> (f64, f64) {
        let at = ((time_s - self.start_s) / DISTURBANCE_STEP_S).max(0.0);
        let (before, part) = (at.floor() as usize, at.fract());
        let between = |all: &[f64]| {
            let value = |at: usize| all.get(at).copied().unwrap_or(0.0);
            value(before) + (value(before + 1) - value(before)) * part
        };
        (between(&self.wobble_rad), between(&self.wind_rad_s2))
    }
}

/// A cell in motion.
struct LoadedCell {
    /// Which motors it carries.
    carries: Vec<bool>,
}

/// Everything that moves.
pub(super) struct Rig {
    /// Motors.
    pub motors: Vec<BurningMotor>,
    /// Axes.
    pub axes: Vec<SwingingAxis>,
    cells: Vec<LoadedCell>,
    propellant_kg: Vec<f64>,
    weight_sign: f64,
    gravity_m_s2: f64,
    cells_on: CellsOn,
    spring: Option<(f64, f64)>,
    /// The state.
    state: Vec<f64>,
    /// Its time, s.
    pub time_s: f64,
}

impl Rig {
    /// The rig of a rehearsal, at rest.
    pub fn new(
        rehearsal: &Rehearsal,
        motors: Vec<BurningMotor>,
        disturbances: Vec<Disturbance>,
        start_s: f64,
    ) -> Self {
        let axes: Vec<SwingingAxis> = rehearsal
            .axes
            .iter()
            .zip(disturbances)
            .map(|((name, truth), disturbance)| SwingingAxis {
                actuator: Actuator::new(truth),
                truth: truth.clone(),
                offsets_m: rehearsal
                    .motors
                    .values()
                    .map(|motor| motor.offset_m.get(name).copied().unwrap_or(0.0))
                    .collect(),
                disturbance,
                clamped: truth.hold == Hold::Clamp,
                heading: 0.0,
                stuck: true,
            })
            .collect();
        let cells: Vec<LoadedCell> = rehearsal
            .cells
            .values()
            .map(|cell| LoadedCell {
                carries: rehearsal
                    .motors
                    .keys()
                    .map(|motor| {
                        cell.carries
                            .as_ref()
                            .is_none_or(|names| names.contains(motor))
                    })
                    .collect(),
            })
            .collect();
        let mut state = vec![0.0; PER_AXIS * axes.len() + PER_CELL * cells.len() + motors.len()];
        for (at, axis) in axes.iter().enumerate() {
            state[PER_AXIS * at] = axis.actuator.demand_rad();
            state[PER_AXIS * at + 1] = axis.truth.start_tilt_rad;
        }
        let stand = &rehearsal.stand;
        Self {
            motors,
            axes,
            cells,
            propellant_kg: rehearsal.motors.values().map(|m| m.propellant_kg).collect(),
            weight_sign: stand.mount.weight_sign(),
            gravity_m_s2: rehearsal.gravity_m_s2,
            cells_on: stand.cells_on,
            spring: stand
                .natural_frequency_hz
                .map(|hz| (std::f64::consts::TAU * hz, stand.damping_ratio)),
            state,
            time_s: start_s,
        }
    }

    /// Nozzle angle, rad.
    pub fn nozzle_rad(&self, axis: usize) -> f64 {
        self.state[PER_AXIS * axis]
    }

    /// Tilt, rad.
    pub fn tilt_rad(&self, axis: usize) -> f64 {
        self.state[PER_AXIS * axis + 1]
    }

    /// Tilt rate, rad/s.
    pub fn rate_rad_s(&self, axis: usize) -> f64 {
        self.state[PER_AXIS * axis + 2]
    }

    /// Force a cell feels, N.
    pub fn felt_n(&self, cell: usize) -> f64 {
        if self.spring.is_some() {
            self.state[self.cell_at(cell)]
        } else {
            self.pressing_n(cell, &self.thrusts_n(self.time_s), &self.state)
        }
    }

    /// Impulse a motor has delivered, N s.
    pub fn delivered_ns(&self, motor: usize) -> f64 {
        self.state[self.motor_at(motor)]
    }

    fn cell_at(&self, cell: usize) -> usize {
        PER_AXIS * self.axes.len() + PER_CELL * cell
    }

    fn motor_at(&self, motor: usize) -> usize {
        self.cell_at(self.cells.len()) + motor
    }

    /// Moves on to a time, with the commands that have arrived.
    pub fn advance(&mut self, to_s: f64) {
        while self.time_s < to_s {
            let whole = to_s - self.time_s;
            self.choose_headings();
            let trial = self.stepped(whole);
            let Some((axis, share)) = self.first_reversal(&trial) else {
                self.state = trial;
                self.time_s = to_s;
                return;
            };
            let part = self.time_s + whole * share;
            if part > self.time_s && part < to_s {
                self.state = self.stepped(whole * share);
                self.time_s = part;
            }
            self.state[PER_AXIS * axis + 2] = 0.0;
            self.axes[axis].stuck = true;
        }
    }

    /// Decides which way dry friction acts in the step to come.
    fn choose_headings(&mut self) {
        if self
            .axes
            .iter()
            .all(|axis| axis.truth.coulomb_rad_s2 <= 0.0)
        {
            return;
        }
        let thrusts = self.thrusts_n(self.time_s);
        for at in 0..self.axes.len() {
            let rate = self.rate_rad_s(at);
            let friction = self.axes[at].truth.coulomb_rad_s2;
            let pull = self.pull_rad_s2(at, self.time_s, &thrusts, &self.state);
            let axis = &mut self.axes[at];
            if rate != 0.0 {
                (axis.heading, axis.stuck) = (rate.signum(), false);
            } else if friction > 0.0 && pull.abs() <= friction {
                (axis.heading, axis.stuck) = (0.0, true);
            } else {
                (axis.heading, axis.stuck) = (pull.signum(), false);
            }
        }
    }

    /// The axis whose rate changes sign first within a trial step, and at which share of it.
    fn first_reversal(&self, trial: &[f64]) -> Option<(usize, f64)> {
        self.axes
            .iter()
            .enumerate()
            .filter(|(_, axis)| axis.truth.coulomb_rad_s2 > 0.0 && !axis.clamped && !axis.stuck)
            .filter_map(|(at, axis)| {
                let (before, after) = (self.rate_rad_s(at), trial[PER_AXIS * at + 2]);
                let turned = before != 0.0 && after * axis.heading < 0.0;
                turned.then(|| (at, before / (before - after)))
            })
            .min_by(|a, b| a.1.total_cmp(&b.1))
    }

    /// The state one step on.
    fn stepped(&self, step_s: f64) -> Vec<f64> {
        runge_kutta(&self.state, self.time_s, step_s, |time, state, slope| {
            self.slope(time, state, slope);
        })
    }

    /// Thrust of each motor, N.
    pub fn thrusts_n(&self, time_s: f64) -> Vec<f64> {
        self.motors
            .iter()
            .map(|motor| motor.thrust_n(time_s))
            .collect()
    }

    fn slope(&self, time_s: f64, state: &[f64], slope: &mut [f64]) {
        let thrusts = self.thrusts_n(time_s);
        for (at, axis) in self.axes.iter().enumerate() {
            let base = PER_AXIS * at;
            slope[base] = axis.actuator.rate_rad_s(state[base]);
            if axis.clamped || axis.stuck && axis.truth.coulomb_rad_s2 > 0.0 {
                (slope[base + 1], slope[base + 2]) = (0.0, 0.0);
            } else {
                slope[base + 1] = state[base + 2];
                slope[base + 2] = self.pull_rad_s2(at, time_s, &thrusts, state)
                    - axis.truth.coulomb_rad_s2 * axis.heading;
            }
        }
        for cell in 0..self.cells.len() {
            let base = self.cell_at(cell);
            let Some((omega, ratio)) = self.spring else {
                (slope[base], slope[base + 1]) = (0.0, 0.0);
                continue;
            };
            let pressing = self.pressing_n(cell, &thrusts, state);
            slope[base] = state[base + 1];
            slope[base + 1] =
                omega * (omega * (pressing - state[base]) - 2.0 * ratio * state[base + 1]);
        }
        for (at, thrust) in thrusts.iter().enumerate() {
            slope[self.motor_at(at)] = *thrust;
        }
    }

    /// Share of its propellant a motor has burnt.
    fn burnt_share(&self, motor: usize, state: &[f64]) -> f64 {
        state[self.motor_at(motor)] / self.motors[motor].full_impulse_ns
    }

    /// Inertia of an axis, kg m2.
    fn inertia_kg_m2(&self, axis: &AxisTruth, state: &[f64]) -> f64 {
        let all: f64 = self.propellant_kg.iter().sum();
        let burnt: f64 = (0..self.motors.len())
            .map(|at| self.propellant_kg[at] * self.burnt_share(at, state))
            .sum();
        let share = if all > 0.0 { burnt / all } else { 0.0 };
        axis.inertia_kg_m2 + (axis.inertia_spent_kg_m2 - axis.inertia_kg_m2) * share
    }

    /// Tilt acceleration by the lit motors' offsets and the misalignment, for each newton, and the
    /// effectiveness; the first already multiplied with thrust, rad/s2.
    pub fn thrust_terms(&self, axis: usize) -> (f64, f64) {
        let thrusts = self.thrusts_n(self.time_s);
        let (side, effectiveness, _) = self.terms(&self.axes[axis], &thrusts, &self.state);
        (side, effectiveness)
    }

    fn terms(&self, axis: &SwingingAxis, thrusts_n: &[f64], state: &[f64]) -> (f64, f64, f64) {
        let inertia = self.inertia_kg_m2(&axis.truth, state);
        let effectiveness = axis.truth.arm_m / inertia;
        let (mut thrust, mut torque) = (0.0, 0.0);
        for (one, offset_m) in thrusts_n.iter().zip(&axis.offsets_m) {
            thrust += one;
            torque += one * offset_m;
        }
        let side = torque / inertia + effectiveness * thrust * axis.truth.misalignment_rad.sin();
        (side, effectiveness, thrust)
    }

    /// Tilt acceleration without dry friction, rad/s2.
    fn pull_rad_s2(&self, at: usize, time_s: f64, thrusts_n: &[f64], state: &[f64]) -> f64 {
        let axis = &self.axes[at];
        let base = PER_AXIS * at;
        let (nozzle, tilt, rate) = (state[base], state[base + 1], state[base + 2]);
        let (side, effectiveness, thrust) = self.terms(axis, thrusts_n, state);
        let (wobble, wind) = axis.disturbance.at(time_s);
        effectiveness * thrust * (nozzle.sin() + wobble.sin()) + side
            - axis.truth.damping_per_s * rate
            + axis.truth.stiffness_per_s2 * tilt
            + wind
    }

    /// Force that presses a cell, before the stand's own spring, N.
    fn pressing_n(&self, cell: usize, thrusts_n: &[f64], state: &[f64]) -> f64 {
        let (mut thrust, mut burnt_kg) = (0.0, 0.0);
        for (at, one) in thrusts_n.iter().enumerate() {
            if self.cells[cell].carries[at] {
                thrust += one;
                burnt_kg += self.propellant_kg[at] * self.burnt_share(at, state);
            }
        }
        let along = match self.cells_on {
            CellsOn::Rocket => 1.0,
            CellsOn::Ground => (0..self.axes.len())
                .map(|at| (state[PER_AXIS * at] + state[PER_AXIS * at + 1]).cos())
                .product(),
        };
        thrust * along + self.weight_sign * self.gravity_m_s2 * burnt_kg
    }
}

/// One classical Runge-Kutta step.
fn runge_kutta(
    state: &[f64],
    time_s: f64,
    step_s: f64,
    slope: impl Fn(f64, &[f64], &mut [f64]),
) -> Vec<f64> {
    let size = state.len();
    let mut sum = vec![0.0; size];
    let mut now = vec![0.0; size];
    let mut at = state.to_vec();
    let half = 0.5 * step_s;
    let stages = [
        (0.0, 1.0, half),
        (half, 2.0, half),
        (half, 2.0, step_s),
        (step_s, 1.0, 0.0),
    ];
    for (lead_s, weight, reach_s) in stages {
        slope(time_s + lead_s, &at, &mut now);
        for index in 0..size {
            sum[index] += weight * now[index];
            at[index] = state[index] + reach_s * now[index];
        }
    }
    state
        .iter()
        .zip(&sum)
        .map(|(from, sum)| from + step_s / 6.0 * sum)
        .collect()
}
