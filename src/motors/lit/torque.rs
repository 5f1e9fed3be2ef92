//! What a stagger does to the rocket: the angular impulse of motors beside the axis that push before
//! their partners do.
//!
//! J(t) = integral of sum of offset times thrust, from the first ignition on. Where partners balance, J
//! settles once all push; its largest size until then is what the steering has to take out, and J over
//! the moment of inertia is the tilt rate it leaves behind. Uncertainty: the stagger's, times the torque
//! of the motors that wait for the last, and the offsets'.

use indexmap::IndexMap;
use serde::{Deserialize, Serialize};

use crate::config::Motor;
use crate::quantity::{Given, Measured, Unit};
use crate::series::Series;

/// J is followed until so long after the last ignition, s: until the last motor pushes like the others.
const JOINED_S: f64 = 0.1;

/// What a stagger gave one axis.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct StaggerTorque {
    /// The axis.
    pub axis: String,
    /// Largest angular impulse, with its sign.
    pub angular_impulse_n_m_s: Measured,
    /// Tilt rate that it gives the rig; `None` without its moment of inertia.
    pub tilt_rate_rad_s: Option<Measured>,
}

/// Angular impulse about each axis beside which a motor sits. `first_s` is the first ignition, `inertia`
/// each axis' moment of inertia and its standard uncertainty, kg m2.
#[must_use]
pub(crate) fn stagger_torque(
    thrust_n: &IndexMap<String, Series>,
    motors: &IndexMap<String, Motor>,
    first_s: f64,
    stagger_s: &Measured,
    inertia: &IndexMap<String, (f64, f64)>,
) -> Vec<StaggerTorque> {
    let mut axes: Vec<&String> = Vec::new();
    for motor in motors.values() {
        let beside = motor.offset.iter().filter(|(_, offset)| offset.si() != 0.0);
        axes.extend(beside.map(|(axis, _)| axis));
    }
    axes.sort();
    axes.dedup();
    let each = axes.into_iter();
    each.filter_map(|axis| {
        one(
            axis,
            thrust_n,
            motors,
            first_s,
            stagger_s,
            inertia.get(axis),
        )
    })
    .collect()
}

fn one(
    axis: &str,
    thrust_n: &IndexMap<String, Series>,
    motors: &IndexMap<String, Motor>,
    first_s: f64,
    stagger_s: &Measured,
    inertia: Option<&(f64, f64)>,
) -> Option<StaggerTorque> {
    let offset = |motor: &str| motors.get(motor)?.offset.get(axis);
    let levers: Vec<(f64, f64, &Series)> = thrust_n
        .iter()
        .filter_map(|(motor, thrust)| {
            let given: &Given<_> = offset(motor)?;
            let u = given.standard_uncertainty().unwrap_or(0.0);
            Some((given.si(), u, thrust))
        })
        .collect();
    let last_s = first_s + stagger_s.value;
    let end_s = last_s + JOINED_S;
    let (mut sum, mut most, mut before) = (0.0, 0.0_f64, None);
    let mut offset_u = vec![0.0; levers.len()];
    let mut at_most = offset_u.clone();
    let time = levers.first()?.2.between(first_s - 0.05, end_s);
    for now in time.time_s() {
        let step = before.map_or(0.0, |before| now - before);
        before = Some(*now);
        for (k, (offset_m, u_m, thrust)) in levers.iter().enumerate() {
            let push = step * thrust.at(*now).unwrap_or(0.0);
            sum += offset_m * push;
            offset_u[k] += u_m * push;
        }
        if f64::abs(sum) > most.abs() {
            most = sum;
            at_most.clone_from(&offset_u);
        }
    }
    let waiting: f64 = levers
        .iter()
        .map(|(offset_m, _, thrust)| offset_m * thrust.at(last_s).unwrap_or(0.0))
        .sum();
    let from_offsets = at_most.iter().map(|u| u * u).sum::<f64>().sqrt();
    let u = from_offsets.hypot(waiting * stagger_s.u);
    let rate = inertia.map(|(inertia, inertia_u)| {
        let rate = most / inertia;
        Measured::normal(
            rate,
            (u / inertia).hypot(rate * inertia_u / inertia),
            Unit::RadianPerSecond,
        )
    });
    Some(StaggerTorque {
        axis: axis.to_owned(),
        angular_impulse_n_m_s: Measured::normal(most, u, Unit::NewtonMetreSecond),
        tilt_rate_rad_s: rate,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::motors::Propellant;
    use crate::diagnostic::Place;
    use crate::quantity::{Length, given};
    use approx::assert_relative_eq;

    fn motor(offset: &str) -> Motor {
        let offset = given::parse::<Length>(offset).unwrap();
        Motor {
            place: Place::file("firing.toml"),
            certified: None,
            propellant: Propellant {
                mass: None,
                loaded: None,
                spent: None,
            },
            fire: None,
            igniter: None,
            offset: IndexMap::from([("yaw".to_owned(), offset)]),
        }
    }

    // By hand: 20 N at 14 mm, alone for 50 ms: 0.014 N m s; over 0.08 kg m2 it is 0.175 rad/s. The
    // stagger's 2 ms at 0.28 N m give 0.56 mN m s.
    #[test]
    fn a_motor_that_pushes_alone_gives_its_torque_times_the_stagger() {
        let time: Vec<f64> = (0..2000).map(|at| f64::from(at) * 1e-3).collect();
        let from = |start: f64| {
            let thrust: Vec<f64> = time
                .iter()
                .map(|t| if *t >= start { 20.0 } else { 0.0 })
                .collect();
            Series::new(&time, &thrust)
        };
        let thrust = IndexMap::from([("a".to_owned(), from(0.5)), ("b".to_owned(), from(0.55))]);
        let motors = IndexMap::from([
            ("a".to_owned(), motor("14 mm")),
            ("b".to_owned(), motor("-14 mm")),
        ]);
        let stagger = Measured::normal(0.05, 0.002, Unit::Second);
        let inertia = IndexMap::from([("yaw".to_owned(), (0.08, 0.0))]);
        let all = stagger_torque(&thrust, &motors, 0.5, &stagger, &inertia);
        let found = &all[0];
        assert_relative_eq!(
            found.angular_impulse_n_m_s.value,
            0.014,
            max_relative = 0.02
        );
        let rate = found.tilt_rate_rad_s.as_ref().unwrap().value;
        assert_relative_eq!(rate, 0.175, max_relative = 0.02);
        assert_eq!(all.len(), 1);
    }
}
