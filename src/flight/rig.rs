//! The captive rig in motion: nozzles, tilts, load cells on springs, and propellant, in one state.
//!
//! Each axis follows the tilt equation; a cell on a springy stand follows the forced oscillator. With r the
//! share of propellant left, inertia is burnout + r (ignition - burnout); damping, stiffness and friction
//! are constants of the equation.

use super::actuator::Actuator;
use super::integrate::{Equations, Restrained, advance};
use super::oscillator::Spring;
use super::restraint::Restraint;
use super::tilt::{ThrustTorque, angular_acceleration_rad_s2};
use crate::config::CellsOn;
use crate::control::model::AxisNumbers;

/// Numbers of one axis in the state: tilt, and tilt rate.
const PER_AXIS: usize = 2;
/// Numbers of one cell in the state: felt force, and its rate.
const PER_CELL: usize = 2;

/// A motor in a rig.
pub(crate) trait RigMotor {
    /// Thrust at a time, N.
    fn thrust_n(&self, time_s: f64) -> f64;
    /// Impulse it would deliver if it burnt to its end, N s.
    fn full_impulse_ns(&self) -> f64;
    /// Propellant, kg.
    fn propellant_kg(&self) -> f64;
}

/// An axis of a rig.
pub(crate) struct RigAxis {
    /// Its numbers; arm and inertia stand for the effectiveness.
    pub numbers: AxisNumbers,
    /// Rig pivot to swivel point, m.
    pub arm_m: f64,
    /// Moment of inertia at ignition and at burnout, kg m2.
    pub inertia_kg_m2: [f64; 2],
    /// Angle between thrust and nozzle axis, rad.
    pub misalignment_rad: f64,
    /// Share of the other axes' nozzle angles that turns this one, too.
    pub coupling: f64,
    /// Offset of each motor, m.
    pub offsets_m: Vec<f64>,
    /// What disturbs it.
    pub disturbance: Disturbance,
    /// Its actuator.
    pub actuator: Actuator,
    /// Tilt at the start, rad.
    pub start_tilt_rad: f64,
}

/// Steps of a disturbance, s: it is white up to half their rate, well above the tilt's own motion.
pub(crate) const DISTURBANCE_STEP_S: f64 = 1e-3;

/// What disturbs an axis, at even steps joined by straight lines.
pub(crate) struct Disturbance {
    /// Time of the first step, s.
    pub start_s: f64,
    /// Angle by which thrust leaves its direction, rad.
    pub thrust_direction_rad: Vec<f64>,
    /// Push of the wind, rad/s2.
    pub wind_rad_s2: Vec<f64>,
}

impl Disturbance {
    /// Thrust direction and wind at a time.
    fn at(&self, time_s: f64) -> (f64, f64) {
        let at = ((time_s - self.start_s) / DISTURBANCE_STEP_S).max(0.0);
        let (before, part) = (at.floor() as usize, at.fract());
        let between = |all: &[f64]| {
            let value = |at: usize| all.get(at).copied().unwrap_or(0.0);
            value(before) + (value(before + 1) - value(before)) * part
        };
        (
            between(&self.thrust_direction_rad),
            between(&self.wind_rad_s2),
        )
    }
}

/// The rig along thrust.
pub(crate) struct RigStand {
    /// For each cell, which motors it carries.
    pub carries: Vec<Vec<bool>>,
    /// What the cells are fixed to.
    pub cells_on: CellsOn,
    /// How weight lost shows in a cell: 1, -1 or 0 by the mount.
    pub weight_sign: f64,
    /// Local gravity, m/s2.
    pub gravity_m_s2: f64,
    /// Its own spring; none for a stiff stand.
    pub spring: Option<Spring>,
}

/// Everything that moves.
pub(crate) struct Rig<M> {
    /// Motors.
    pub motors: Vec<M>,
    /// Axes.
    pub axes: Vec<RigAxis>,
    restraints: Vec<Restraint>,
    stand: RigStand,
    state: Vec<f64>,
    /// Time of the state, s.
    pub time_s: f64,
}

/// What acts on a rig at a time, whatever it does.
pub(crate) struct RigInputs {
    thrusts_n: Vec<f64>,
    axes: Vec<AxisInputs>,
}

struct AxisInputs {
    nozzle_rad: f64,
    thrust_direction_rad: f64,
    wind_rad_s2: f64,
}

impl<M: RigMotor> Rig<M> {
    /// A rig at rest; clamped axes are held.
    pub(crate) fn new(
        motors: Vec<M>,
        axes: Vec<RigAxis>,
        clamped: &[bool],
        stand: RigStand,
        start_s: f64,
    ) -> Self {
        let size = PER_AXIS * axes.len() + PER_CELL * stand.carries.len() + motors.len();
        let mut state = vec![0.0; size];
        for (at, axis) in axes.iter().enumerate() {
            state[PER_AXIS * at] = axis.start_tilt_rad;
        }
        let restraints = axes.iter().zip(clamped).map(|(axis, clamped)| {
            let mut restraint = Restraint::new(axis.numbers.coulomb_rad_per_s2);
            restraint.clamped = *clamped;
            restraint
        });
        Self {
            restraints: restraints.collect(),
            motors,
            axes,
            stand,
            state,
            time_s: start_s,
        }
    }

    /// Takes the clamp off an axis.
    pub(crate) fn release(&mut self, axis: usize) {
        self.restraints[axis].clamped = false;
    }

    /// Nozzle angle, rad.
    pub(crate) fn nozzle_rad(&self, axis: usize) -> f64 {
        self.axes[axis].actuator.angle_deg(self.time_s).to_radians()
    }

    /// Tilt, rad.
    pub(crate) fn tilt_rad(&self, axis: usize) -> f64 {
        self.state[PER_AXIS * axis]
    }

    /// Tilt rate, rad/s.
    pub(crate) fn rate_rad_s(&self, axis: usize) -> f64 {
        self.state[PER_AXIS * axis + 1]
    }

    #[cfg(test)]
    pub(crate) fn set_rate_rad_s(&mut self, axis: usize, rate_rad_s: f64) {
        self.state[PER_AXIS * axis + 1] = rate_rad_s;
    }

    /// Force a cell feels, N.
    pub(crate) fn felt_n(&self, cell: usize) -> f64 {
        if self.stand.spring.is_some() {
            self.state[self.cell_at(cell)]
        } else {
            self.pressing_n(cell, &self.inputs_at(self.time_s), &self.state)
        }
    }

    /// Impulse a motor has delivered, N s.
    pub(crate) fn delivered_ns(&self, motor: usize) -> f64 {
        self.state[self.motor_at(motor)]
    }

    fn cell_at(&self, cell: usize) -> usize {
        PER_AXIS * self.axes.len() + PER_CELL * cell
    }

    fn motor_at(&self, motor: usize) -> usize {
        self.cell_at(self.stand.carries.len()) + motor
    }

    /// Moves on to a time, with the commands that have arrived.
    pub(crate) fn advance(&mut self, to_s: f64) {
        if self.time_s < to_s {
            let mut state = std::mem::take(&mut self.state);
            let from_s = self.time_s;
            let acting = self.inputs(from_s);
            advance(self, &mut state, (from_s, to_s - from_s), acting);
            self.state = state;
            self.time_s = to_s;
        }
    }

    /// Thrust of each motor, N.
    pub(crate) fn thrusts_n(&self, time_s: f64) -> Vec<f64> {
        self.motors
            .iter()
            .map(|motor| motor.thrust_n(time_s))
            .collect()
    }

    fn inputs_at(&self, time_s: f64) -> RigInputs {
        let angles: Vec<f64> = (self.axes.iter())
            .map(|axis| axis.actuator.angle_deg(time_s).to_radians())
            .collect();
        let all: f64 = angles.iter().sum();
        let axes = self.axes.iter().zip(angles).map(|(axis, own)| {
            let (thrust_direction_rad, wind_rad_s2) = axis.disturbance.at(time_s);
            AxisInputs {
                nozzle_rad: own + axis.coupling * (all - own),
                thrust_direction_rad,
                wind_rad_s2,
            }
        });
        RigInputs {
            thrusts_n: self.thrusts_n(time_s),
            axes: axes.collect(),
        }
    }

    /// Share of its propellant a motor has burnt.
    fn burnt_share(&self, motor: usize, state: &[f64]) -> f64 {
        state[self.motor_at(motor)] / self.motors[motor].full_impulse_ns()
    }

    /// Inertia of an axis, kg m2.
    fn inertia_kg_m2(&self, axis: &RigAxis, state: &[f64]) -> f64 {
        let propellant = |at: usize| self.motors[at].propellant_kg();
        let all: f64 = self.motors.iter().map(RigMotor::propellant_kg).sum();
        let burnt: f64 = (0..self.motors.len())
            .map(|at| propellant(at) * self.burnt_share(at, state))
            .sum();
        let share = if all > 0.0 { burnt / all } else { 0.0 };
        let [ignition, burnout] = axis.inertia_kg_m2;
        ignition + (burnout - ignition) * share
    }

    /// Tilt acceleration that the motors' offsets and the misalignment give, rad/s2, and the
    /// effectiveness, 1/(kg m).
    pub(crate) fn thrust_terms(&self, axis: usize, thrusts_n: &[f64]) -> (f64, f64) {
        let (side, effectiveness, _) = self.terms(&self.axes[axis], thrusts_n, &self.state);
        (side, effectiveness)
    }

    fn terms(&self, axis: &RigAxis, thrusts_n: &[f64], state: &[f64]) -> (f64, f64, f64) {
        let inertia = self.inertia_kg_m2(axis, state);
        let effectiveness = axis.arm_m / inertia;
        let (mut thrust, mut torque) = (0.0, 0.0);
        for (one, offset_m) in thrusts_n.iter().zip(&axis.offsets_m) {
            thrust += one;
            torque += one * offset_m;
        }
        let side = torque / inertia + effectiveness * thrust * axis.misalignment_rad.sin();
        (side, effectiveness, thrust)
    }

    /// Force that presses a cell, before the stand's own spring, N.
    fn pressing_n(&self, cell: usize, inputs: &RigInputs, state: &[f64]) -> f64 {
        let (mut thrust, mut burnt_kg) = (0.0, 0.0);
        for (at, one) in inputs.thrusts_n.iter().enumerate() {
            if self.stand.carries[cell][at] {
                thrust += one;
                burnt_kg += self.motors[at].propellant_kg() * self.burnt_share(at, state);
            }
        }
        let along = match self.stand.cells_on {
            CellsOn::Rocket => 1.0,
            CellsOn::Ground => (0..self.axes.len())
                .map(|at| (inputs.axes[at].nozzle_rad + state[PER_AXIS * at]).cos())
                .product(),
        };
        thrust * along + self.stand.weight_sign * self.stand.gravity_m_s2 * burnt_kg
    }
}

impl<M: RigMotor> Equations for Rig<M> {
    type State = Vec<f64>;
    type Inputs = RigInputs;

    fn inputs(&mut self, time_s: f64) -> RigInputs {
        self.inputs_at(time_s)
    }

    fn slope(&self, inputs: &RigInputs, state: &Vec<f64>, slope: &mut Vec<f64>) {
        for (at, restraint) in self.restraints.iter().enumerate() {
            let base = PER_AXIS * at;
            if restraint.holds() {
                (slope[base], slope[base + 1]) = (0.0, 0.0);
            } else {
                let free = self.acceleration_rad_s2(at, inputs, state);
                (slope[base], slope[base + 1]) = (state[base + 1], restraint.slowed(free));
            }
        }
        for cell in 0..self.stand.carries.len() {
            let base = self.cell_at(cell);
            let slopes = self.stand.spring.map_or([0.0, 0.0], |spring| {
                let pressing = self.pressing_n(cell, inputs, state);
                spring.slope(pressing, [state[base], state[base + 1]])
            });
            slope[base..base + PER_CELL].copy_from_slice(&slopes);
        }
        for (at, thrust) in inputs.thrusts_n.iter().enumerate() {
            slope[self.motor_at(at)] = *thrust;
        }
    }
}

impl<M: RigMotor> Restrained for Rig<M> {
    fn restraints(&self) -> &[Restraint] {
        &self.restraints
    }

    fn restraints_mut(&mut self) -> &mut [Restraint] {
        &mut self.restraints
    }

    fn rate_index(axis: usize) -> usize {
        PER_AXIS * axis + 1
    }

    fn acceleration_rad_s2(&self, at: usize, inputs: &RigInputs, state: &Vec<f64>) -> f64 {
        let (axis, own) = (&self.axes[at], &inputs.axes[at]);
        let (side_rad_s2, effectiveness, thrust) = self.terms(axis, &inputs.thrusts_n, state);
        let thrust = ThrustTorque {
            pull_rad_s2: effectiveness * thrust,
            sine: own.nozzle_rad.sin() + own.thrust_direction_rad.sin(),
            side_rad_s2,
        };
        let base = PER_AXIS * at;
        angular_acceleration_rad_s2(&axis.numbers, &thrust, state[base], state[base + 1])
            + own.wind_rad_s2
    }
}
