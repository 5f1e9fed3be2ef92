//! The rig of a rehearsal, for the simulator: its truth as axes, cells and stand of [`Rig`].

use super::motor::BurningMotor;
use super::spec::{AxisTruth, Hold, Rehearsal};
use crate::control::model::AxisNumbers;
use crate::flight::actuator::Actuator;
use crate::flight::oscillator::Spring;
use crate::flight::rig::{Disturbance, Rig, RigAxis, RigMotor, RigStand};

impl RigMotor for BurningMotor {
    fn thrust_n(&self, time_s: f64) -> f64 {
        Self::thrust_n(self, time_s)
    }

    fn full_impulse_ns(&self) -> f64 {
        self.full_impulse_ns
    }

    fn propellant_kg(&self) -> f64 {
        self.propellant_kg
    }
}

/// The numbers of an axis at ignition.
fn numbers(truth: &AxisTruth) -> AxisNumbers {
    AxisNumbers {
        gain: truth.gain,
        bias_deg: truth.bias_deg,
        lag_s: truth.lag_s,
        damping_ratio: truth.damping_ratio,
        delay_s: truth.delay_s,
        dead_band: truth.dead_band,
        width_deg: truth.dead_band_width_deg,
        slew_deg_s: truth.slew_rad_s.map(f64::to_degrees),
        travel_deg: truth.travel_rad.map(f64::to_degrees),
        effectiveness_per_kg_m: truth.arm_m / truth.inertia_kg_m2,
        damping_per_s: truth.damping_per_s,
        stiffness_per_s2: truth.stiffness_per_s2,
        coulomb_rad_per_s2: truth.coulomb_rad_s2,
        ..AxisNumbers::default()
    }
}

/// The spring of the stand; `None` for a stiff one.
pub(super) fn spring(rehearsal: &Rehearsal) -> Option<Spring> {
    let stand = &rehearsal.stand;
    stand.natural_frequency_hz.map(|hz| Spring {
        omega_rad_s: std::f64::consts::TAU * hz,
        damping_ratio: stand.damping_ratio,
    })
}

/// The rig of a rehearsal, at rest.
pub(super) fn rig(
    rehearsal: &Rehearsal,
    motors: Vec<BurningMotor>,
    disturbances: Vec<Disturbance>,
    start_s: f64,
) -> Rig<BurningMotor> {
    let axes = rehearsal.axes.iter().zip(disturbances);
    let axes = axes.map(|((name, truth), disturbance)| {
        let numbers = numbers(truth);
        let offset = |motor: &super::spec::MotorTruth| motor.offset_m.get(name).copied();
        RigAxis {
            actuator: Actuator::new(&numbers, 0.0, start_s),
            numbers,
            arm_m: truth.arm_m,
            inertia_kg_m2: [truth.inertia_kg_m2, truth.inertia_spent_kg_m2],
            misalignment_rad: truth.misalignment_rad,
            coupling: truth.coupling,
            offsets_m: rehearsal
                .motors
                .values()
                .map(|motor| offset(motor).unwrap_or(0.0))
                .collect(),
            disturbance,
            start_tilt_rad: truth.start_tilt_rad,
        }
    });
    let clamped: Vec<bool> = rehearsal
        .axes
        .values()
        .map(|truth| truth.hold == Hold::Clamp)
        .collect();
    let carries = rehearsal.cells.values().map(|cell| {
        let carried = |motor: &String| {
            cell.carries
                .as_ref()
                .is_none_or(|names| names.contains(motor))
        };
        rehearsal.motors.keys().map(carried).collect()
    });
    let stand = RigStand {
        carries: carries.collect(),
        cells_on: rehearsal.stand.cells_on,
        weight_sign: rehearsal.stand.mount.weight_sign(),
        gravity_m_s2: rehearsal.gravity_m_s2,
        spring: spring(rehearsal),
    };
    Rig::new(motors, axes.collect(), &clamped, stand, start_s)
}

#[cfg(test)]
mod tests {
    use super::super::spec::tests::{plain_cell, plain_motor, still_axis, still_rehearsal};
    use super::*;
    use crate::config::{CellsOn, Mount};
    use crate::series::Series;
    use approx::{assert_abs_diff_eq, assert_relative_eq};

    const STEP_S: f64 = 5e-5;

    /// A rig from time 0, with first gas just before, so that a level thrust acts in all of the
    /// first step.
    fn at_rest(mut rehearsal: Rehearsal) -> Rig<BurningMotor> {
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
                thrust_direction_rad: vec![],
                wind_rad_s2: vec![],
            })
            .collect();
        rig(&rehearsal, motors, calm, 0.0)
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

    fn go(rig: &mut Rig<BurningMotor>, to_s: f64) {
        let steps = (to_s / STEP_S).round() as usize;
        for at in 1..=steps {
            rig.advance(at as f64 * STEP_S);
        }
    }

    // Stiffness -25/s2 is a pendulum of 5 rad/s: after a whole period it is where it was.
    #[test]
    fn a_hanging_rig_swings_at_its_own_frequency() {
        let mut rig = at_rest(with_axis(|axis| {
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
        let mut rig = at_rest(with_axis(|axis| {
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
        let mut rig = at_rest(with_axis(|axis| axis.coulomb_rad_s2 = 2.0));
        rig.set_rate_rad_s(0, 0.4);
        go(&mut rig, 0.1);
        assert_abs_diff_eq!(rig.tilt_rad(0), 0.03, epsilon = 1e-10);
        go(&mut rig, 0.6);
        assert_abs_diff_eq!(rig.tilt_rad(0), 0.04, epsilon = 1e-10);
        assert_eq!(rig.rate_rad_s(0), 0.0);
    }

    #[test]
    fn a_rig_leans_on_its_friction_until_the_pull_is_larger() {
        let leaning = |stiffness: f64| {
            let mut rig = at_rest(with_axis(|axis| {
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
            let mut rig = at_rest(rehearsal);
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
        let mut rig = at_rest(with_thrust(with_axis(|axis| {
            axis.inertia_spent_kg_m2 = 0.06;
        })));
        let effectiveness = |rig: &Rig<BurningMotor>| rig.thrust_terms(0, &[10.0]).1;
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
            let mut rig = at_rest(rehearsal);
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
        let mut rig = at_rest(rehearsal);
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
        let mut rig = at_rest(rehearsal);
        let root = (1.0_f64 - 0.01).sqrt();
        let half_period_s = 0.5 / (50.0 * root);
        go(&mut rig, 0.01);
        rig.advance(half_period_s);
        let overshoot = (-std::f64::consts::PI * 0.1 / root).exp();
        assert_relative_eq!(rig.felt_n(0), 10.0 * (1.0 + overshoot), max_relative = 1e-6);
    }
}
