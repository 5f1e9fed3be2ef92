//! The nominal flight of an axis: best estimate of the plant, gains, and vehicle put together.

use std::sync::Arc;

use super::scenario::{Motor, STEP_S, Scenario};
use super::vehicle::Vehicle;
use crate::control::AxisGains;
use crate::control::model::{AxisModel, Body};
use crate::diagnostic::{Code, Diagnostic, Error};
use crate::plant::{AxisPlant, PlantFile};
use crate::series::Series;

/// The nominal flight of an axis.
///
/// # Errors
/// No thrust in the plant; a torque without an inertia to turn; no motor that lights; a release after the
/// end of thrust, or thrust that never carries the weight.
pub fn scenario(
    name: &str,
    plant: &PlantFile,
    axis: &AxisPlant,
    gains: &AxisGains,
    model: &AxisModel,
    vehicle: &Vehicle,
) -> Result<Scenario, Error> {
    let curve = thrust(plant)?;
    let in_flight = model.body == Body::Flight;
    let inertia_kg_m2 = inertia_kg_m2(name, axis, in_flight, vehicle)?;
    let motors = motors(name, &curve, vehicle)?;
    let (_, end) = curve.span_s().unwrap_or((0.0, 0.0));
    let release_s = match vehicle.release_s {
        Some(release_s) if release_s < end => release_s,
        Some(release_s) => {
            let text =
                format!("it would be let go at {release_s} s, and thrust ends at {end:.3} s");
            return Err(Diagnostic::error(Code::LateRelease, text)
                .hint("`at` in [release] counts from ignition")
                .into());
        }
        None => lift_s(&curve, vehicle)?,
    };
    Ok(Scenario {
        axis: model.nominal,
        controller: Some(gains.controller.clone()),
        schedule: gains.schedule.clone().map(Arc::new),
        latency_s: gains.latency_s,
        motors,
        mass_kg: vehicle.mass_kg.filter(|_| in_flight),
        propellant_kg: vehicle.propellant_kg,
        inertia_kg_m2,
        gravity_m_s2: vehicle.gravity_m_s2,
        air: vehicle.air,
        wind: vehicle.wind,
        disturbance_rad_s2: None,
        sensors: vehicle.sensors,
        tilt_deg: vehicle.tilt_deg,
        rate_deg_s: vehicle.rate_deg_s,
        release_s,
        ends_s: end.max(release_s),
        step_s: STEP_S,
    })
}

fn thrust(plant: &PlantFile) -> Result<Arc<Series>, Error> {
    match &plant.thrust {
        Some(thrust) if thrust.time_s.len() > 1 && thrust.time_s.len() == thrust.thrust_n.len() => {
            Ok(Arc::new(Series::new(&thrust.time_s, &thrust.thrust_n)))
        }
        _ => Err(Diagnostic::error(
            Code::NoThrust,
            "the plant holds no thrust, and without it nothing flies",
        )
        .hint("reduce a firing with load cells; a dry run shows the actuator alone")
        .into()),
    }
}

/// Inertia that torques turn; needed where one is given.
fn inertia_kg_m2(
    name: &str,
    axis: &AxisPlant,
    in_flight: bool,
    vehicle: &Vehicle,
) -> Result<Option<f64>, Error> {
    let of_plant = axis
        .flight
        .as_ref()
        .filter(|_| in_flight)
        .and_then(|one| one.inertia_kg_m2.as_ref());
    let inertia = vehicle
        .inertia_kg_m2
        .or_else(|| of_plant.map(|one| one.value));
    let wind = vehicle.wind;
    let mut motors = vehicle.motors.iter();
    let turned = wind.steady_nm != 0.0
        || wind.gust_nm != 0.0
        || motors.any(|motor| motor.offset_m(name) != 0.0);
    if turned && inertia.is_none() {
        return Err(Diagnostic::error(
            Code::NoInertia,
            format!("axis {name}: a torque is given, and no moment of inertia that it turns"),
        )
        .hint("give `inertia` in [vehicle] of the vehicle file")
        .into());
    }
    Ok(inertia)
}

fn motors(name: &str, curve: &Arc<Series>, vehicle: &Vehicle) -> Result<Vec<Motor>, Error> {
    let motors: Vec<Motor> = vehicle
        .motors
        .iter()
        .map(|motor| Motor {
            name: motor.name.clone(),
            thrust_n: Arc::clone(curve),
            scale: motor.share,
            later_s: motor.later_s,
            offset_m: motor.offset_m(name),
            lights: motor.lights,
        })
        .collect();
    if motors.iter().any(|motor| motor.lights && motor.scale > 0.0) {
        return Ok(motors);
    }
    let none = Diagnostic::error(
        Code::NoMotor,
        "no motor of the vehicle lights, so nothing flies",
    );
    Err(none.hint("leave `lights` out where a motor lights").into())
}

/// When thrust first carries the weight.
fn lift_s(curve: &Series, vehicle: &Vehicle) -> Result<f64, Error> {
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
        Diagnostic::error(Code::NoLift, text)
            .hint("look at `mass` in [vehicle], or give `at` in [release]")
            .into()
    })
}
