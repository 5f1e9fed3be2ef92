//! The rig in motion: nozzles, tilts, load cells on springs, and propellant, in one state.
//!
//! Each axis follows the tilt equation of `plant.json`; a cell on a springy stand follows the
//! forced oscillator x'' + 2 z w x' + w2 x = w2 F. Steps are classical Runge-Kutta of fourth order
//! (Kutta, 1901). Dry friction is taken in the sense of Filippov: an axis at rest stays at rest
//! while the other torques are no larger than the friction, and a step in which the rate changes
//! sign is cut at that instant. With r the share of propellant left, inertia is
//! spent + r (loaded - spent); damping, stiffness and friction are constants of the equation.

use super::actuator::Actuator;
use super::integrate::runge_kutta;
use super::motor::BurningMotor;
use super::spec::{AxisTruth, Hold, Rehearsal};
use crate::config::CellsOn;

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
    /// Which way it moves in this step, dry friction acting against it; 0 when it stands still.
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

    /// Tilt acceleration that the motors' offsets and the misalignment give, rad/s2, and the
    /// effectiveness, 1/(kg m).
    pub fn thrust_terms(&self, axis: usize, thrusts_n: &[f64]) -> (f64, f64) {
        let (side, effectiveness, _) = self.terms(&self.axes[axis], thrusts_n, &self.state);
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

#[cfg(test)]
mod tests {
    use super::super::spec::tests::{plain_cell, plain_motor, still_axis, still_rehearsal};
    use super::*;
    use crate::config::Mount;
    use crate::series::Series;
    use approx::{assert_abs_diff_eq, assert_relative_eq};

    const STEP_S: f64 = 5e-5;

    /// A rig from time 0, with first gas just before, so that a level thrust acts in all of the
    /// first step.
    fn rig(mut rehearsal: Rehearsal) -> Rig {
        rehearsal.fire_s = 0.0;
        let motors = rehearsal
            .motors
            .values()
            .map(|motor| BurningMotor::new(motor, "m", 1, -1e-9).unwrap())
            .collect();
        let calm = rehearsal
            .axes
            .iter()
            .map(|_| Disturbance {
                start_s: 0.0,
                wobble_rad: vec![],
                wind_rad_s2: vec![],
            })
            .collect();
        Rig::new(&rehearsal, motors, calm, 0.0)
    }

    fn with_axis(change: impl Fn(&mut AxisTruth)) -> Rehearsal {
        let mut out = still_rehearsal();
        out.axes[0] = still_axis();
        change(&mut out.axes[0]);
        out
    }

    /// A motor of 10 N for one second, level from its first instant to its last.
    fn with_thrust(mut rehearsal: Rehearsal) -> Rehearsal {
        let motor = plain_motor(Series::new(&[0.0, 1.0], &[10.0, 10.0]));
        rehearsal.motors.insert("left".to_owned(), motor);
        rehearsal
    }

    fn go(rig: &mut Rig, to_s: f64) {
        let steps = (to_s / STEP_S).round() as usize;
        for at in 1..=steps {
            rig.advance(at as f64 * STEP_S);
        }
    }

    // Stiffness -25/s2 is a pendulum of 5 rad/s: after a whole period it is where it was.
    #[test]
    fn a_hanging_rig_swings_at_its_own_frequency() {
        let mut rig = rig(with_axis(|axis| {
            axis.stiffness_per_s2 = -25.0;
            axis.start_tilt_rad = 0.1;
        }));
        let period_s = std::f64::consts::TAU / 5.0;
        go(&mut rig, 1.25);
        rig.advance(period_s);
        assert_abs_diff_eq!(rig.tilt_rad(0), 0.1, epsilon = 1e-10);
        assert_abs_diff_eq!(rig.rate_rad_s(0), 0.0, epsilon = 1e-9);
    }

    // Stiffness +9/s2 with damping 8/s: roots 1/s and -9/s, so from rest at 0.01 rad the tilt is
    // 0.01 (0.9 e^t + 0.1 e^-9t).
    #[test]
    fn a_standing_rig_falls_by_its_exponentials() {
        let mut rig = rig(with_axis(|axis| {
            axis.stiffness_per_s2 = 9.0;
            axis.damping_per_s = 8.0;
            axis.start_tilt_rad = 0.01;
        }));
        go(&mut rig, 1.0);
        let by_hand = 0.01 * (0.9 * 1.0_f64.exp() + 0.1 * (-9.0_f64).exp());
        assert_abs_diff_eq!(rig.tilt_rad(0), by_hand, epsilon = 1e-12);
    }

    // From 0.4 rad/s at 2 rad/s2 of dry friction: at rest after 0.2 s and 0.04 rad, for good.
    #[test]
    fn dry_friction_stops_a_rig_and_keeps_it() {
        let mut rig = rig(with_axis(|axis| axis.coulomb_rad_s2 = 2.0));
        rig.state[2] = 0.4;
        go(&mut rig, 0.1);
        assert_abs_diff_eq!(rig.tilt_rad(0), 0.03, epsilon = 1e-10);
        go(&mut rig, 0.6);
        assert_abs_diff_eq!(rig.tilt_rad(0), 0.04, epsilon = 1e-10);
        assert_eq!(rig.rate_rad_s(0), 0.0);
    }

    #[test]
    fn a_rig_leans_on_its_friction_until_the_pull_is_larger() {
        let leaning = |stiffness: f64| {
            let mut rig = rig(with_axis(|axis| {
                axis.coulomb_rad_s2 = 1.0;
                axis.stiffness_per_s2 = stiffness;
                axis.start_tilt_rad = 0.1;
            }));
            go(&mut rig, 0.2);
            rig.tilt_rad(0)
        };
        assert_eq!(leaning(9.9), 0.1);
        assert!(leaning(10.5) > 0.1);
    }

    // Bias 2 deg, gain 1: the nozzle stands at 2 deg from the start. 0.3/0.08 10 N sin 2 deg.
    #[test]
    fn thrust_tilts_by_arm_over_inertia_and_by_the_motors_offset() {
        let tilt = |bias_deg: f64, offset_m: f64| {
            let mut rehearsal = with_thrust(with_axis(|axis| axis.bias_deg = bias_deg));
            rehearsal.motors[0]
                .offset_m
                .insert("pitch".to_owned(), offset_m);
            let mut rig = rig(rehearsal);
            go(&mut rig, 0.5);
            rig.tilt_rad(0)
        };
        let by_nozzle = 0.5 * 0.25 * 0.3 / 0.08 * 10.0 * 2.0_f64.to_radians().sin();
        assert_relative_eq!(tilt(2.0, 0.0), by_nozzle, max_relative = 1e-9);
        let by_offset = 0.5 * 0.25 * 10.0 * 0.014 / 0.08;
        assert_relative_eq!(tilt(0.0, 0.014), by_offset, max_relative = 1e-9);
    }

    #[test]
    fn inertia_falls_with_the_impulse_delivered() {
        let mut rig = rig(with_thrust(with_axis(|axis| {
            axis.inertia_spent_kg_m2 = 0.06;
        })));
        let effectiveness = |rig: &Rig| rig.thrust_terms(0, &[10.0]).1;
        assert_relative_eq!(effectiveness(&rig), 0.3 / 0.08);
        go(&mut rig, 0.5);
        assert_relative_eq!(effectiveness(&rig), 0.3 / 0.07, max_relative = 1e-6);
        // A level thrust that ends at once loses part of its last step of 50 us.
        go(&mut rig, 1.1);
        assert_relative_eq!(effectiveness(&rig), 0.3 / 0.06, max_relative = 1e-5);
    }

    // 20 g weigh 0.196 N at 9.8 m/s2.
    #[test]
    fn lost_weight_shows_by_the_mount() {
        for (mount, after_n) in [
            (Mount::NozzleDown, 0.196),
            (Mount::NozzleUp, -0.196),
            (Mount::Level, 0.0),
        ] {
            let mut rehearsal = with_thrust(still_rehearsal());
            rehearsal.cells.insert("base".to_owned(), plain_cell());
            rehearsal.stand.mount = mount;
            let mut rig = rig(rehearsal);
            go(&mut rig, 0.5);
            assert_relative_eq!(rig.felt_n(0), 10.0 + 0.5 * after_n, max_relative = 1e-6);
            go(&mut rig, 1.2);
            assert_abs_diff_eq!(rig.felt_n(0), after_n, epsilon = 1e-5);
        }
    }

    // A nozzle at 5 deg on a rig held at 3 deg: cos 8 deg reaches the ground.
    #[test]
    fn cells_on_the_ground_feel_the_cosine() {
        let mut rehearsal = with_thrust(with_axis(|axis| {
            axis.bias_deg = 5.0;
            axis.start_tilt_rad = 3.0_f64.to_radians();
            axis.hold = Hold::Clamp;
        }));
        rehearsal.cells.insert("base".to_owned(), plain_cell());
        rehearsal.stand.mount = Mount::Level;
        rehearsal.stand.cells_on = CellsOn::Ground;
        let mut rig = rig(rehearsal);
        go(&mut rig, 0.5);
        let by_hand = 10.0 * 8.0_f64.to_radians().cos();
        assert_relative_eq!(rig.felt_n(0), by_hand, max_relative = 1e-9);
    }

    // Step of 10 N on a spring of 50 Hz and damping ratio z = 0.1: first overshoot
    // exp(-pi z / sqrt(1 - z2)) at half a damped period.
    #[test]
    fn a_springy_stand_overshoots_by_the_closed_form() {
        let mut rehearsal = with_thrust(still_rehearsal());
        rehearsal.cells.insert("base".to_owned(), plain_cell());
        rehearsal.stand.mount = Mount::Level;
        rehearsal.stand.natural_frequency_hz = Some(50.0);
        rehearsal.stand.damping_ratio = 0.1;
        let mut rig = rig(rehearsal);
        let root = (1.0_f64 - 0.01).sqrt();
        let half_period_s = 0.5 / (50.0 * root);
        go(&mut rig, 0.01);
        rig.advance(half_period_s);
        let overshoot = (-std::f64::consts::PI * 0.1 / root).exp();
        assert_relative_eq!(rig.felt_n(0), 10.0 * (1.0 + overshoot), max_relative = 1e-6);
    }
}
