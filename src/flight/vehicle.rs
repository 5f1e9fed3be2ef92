//! The vehicle file: what is flown besides plant and gains.
//!
//! TOML; every table and key may be left out, and then stands at what leaves it out.

use std::path::Path;

use indexmap::IndexMap;

use super::monte_carlo::Spreads;
use super::scenario::{Air, Sensors, Wind};
use crate::config::document::{Table, read};
use crate::diagnostic::{Diagnostic, Problems, Source};
use crate::quantity::{
    Acceleration, Angle, AngularRate, Force, Given, Inertia, Length, Mass, Quantity, Ratio,
    STANDARD_GRAVITY_M_S2, Time, Torque,
};

/// One motor of the vehicle.
#[derive(Debug, Clone, PartialEq)]
pub struct VehicleMotor {
    /// Its name.
    pub name: String,
    /// Share of the record's thrust that is its own.
    pub share: f64,
    /// How much later it lights than in the record, s.
    pub later_s: f64,
    /// Its axis from the rocket's axis, m, by axis name.
    pub offsets_m: IndexMap<String, f64>,
    /// Whether it lights.
    pub lights: bool,
}

impl VehicleMotor {
    /// Tilt torque per newton on an axis, m.
    #[must_use]
    pub fn offset_m(&self, axis: &str) -> f64 {
        self.offsets_m.get(axis).copied().unwrap_or(0.0)
    }
}

/// What the file says.
#[derive(Debug, Clone, PartialEq)]
pub struct Vehicle {
    /// Mass at ignition, kg.
    pub mass_kg: Option<f64>,
    /// Propellant, kg.
    pub propellant_kg: f64,
    /// Moment of inertia, kg m2; that of the plant when absent.
    pub inertia_kg_m2: Option<f64>,
    /// Gravity, m/s2.
    pub gravity_m_s2: f64,
    /// Tilt at release, deg.
    pub tilt_deg: f64,
    /// Rate at release, deg/s.
    pub rate_deg_s: f64,
    /// When it is let go, s after ignition; when thrust first lifts it if absent.
    pub release_s: Option<f64>,
    /// Wind.
    pub wind: Wind,
    /// Sensors.
    pub sensors: Sensors,
    /// Air.
    pub air: Air,
    /// What differs from flight to flight.
    pub spreads: Spreads,
    /// Motors.
    pub motors: Vec<VehicleMotor>,
}

impl Default for Vehicle {
    fn default() -> Self {
        Self {
            mass_kg: None,
            propellant_kg: 0.0,
            inertia_kg_m2: None,
            gravity_m_s2: STANDARD_GRAVITY_M_S2,
            tilt_deg: 3.0,
            rate_deg_s: 0.0,
            release_s: None,
            wind: Wind {
                gust_lasts_s: 0.3,
                ..Wind::default()
            },
            sensors: Sensors {
                tilt_noise_deg: 0.1,
                rate_noise_deg_s: 0.5,
                rate_bias_deg_s: 0.0,
            },
            air: Air::default(),
            spreads: Spreads::default(),
            motors: vec![all_motors()],
        }
    }
}

/// All motors as one.
fn all_motors() -> VehicleMotor {
    VehicleMotor {
        name: "all".to_owned(),
        share: 1.0,
        later_s: 0.0,
        offsets_m: IndexMap::new(),
        lights: true,
    }
}

/// Largest coefficient of the air, in its own unit: a rocket of this kind has thousandths.
const LARGEST_AIR: f64 = 10.0;

/// Largest spread of thrust and duration, share.
const LARGEST_SPREAD: f64 = 1.0;

/// How far the shares of the motors may be from the whole.
const SHARES_OFF: f64 = 0.01;

impl Vehicle {
    /// Reads a vehicle file.
    ///
    /// # Errors
    /// Every mistake in it, with its place.
    pub fn read(path: &Path) -> Result<Self, Problems> {
        read_vehicle(&Source::read(path)?)
    }
}

/// Reads the text of a vehicle file.
///
/// # Errors
/// Every mistake in it, with its place.
pub fn read_vehicle(source: &Source) -> Result<Vehicle, Problems> {
    read(source, |root| {
        let mut out = Vehicle::default();
        if let Some(mut table) = root.table("vehicle") {
            body(&mut table, &mut out);
            table.finish();
        }
        if let Some(mut table) = root.table("release") {
            let tilt = table.bounded::<Angle>(
                "tilt",
                |tilt_rad| tilt_rad.abs() <= std::f64::consts::PI,
                "must lie between -180 deg and 180 deg",
            );
            taken(tilt, 1f64.to_degrees(), &mut out.tilt_deg);
            put::<AngularRate>(&mut table, "rate", 1f64.to_degrees(), &mut out.rate_deg_s);
            let at = table.not_negative::<Time>("at");
            out.release_s = at.map(|at| at.si());
            table.finish();
        }
        if let Some(mut table) = root.table("wind") {
            let wind = &mut out.wind;
            put::<Force>(&mut table, "steady_force", 1.0, &mut wind.steady_n);
            put::<Torque>(&mut table, "steady_torque", 1.0, &mut wind.steady_nm);
            put::<Force>(&mut table, "gust_force", 1.0, &mut wind.gust_n);
            put::<Torque>(&mut table, "gust_torque", 1.0, &mut wind.gust_nm);
            put::<Time>(&mut table, "gust_at", 1.0, &mut wind.gust_at_s);
            not_below::<Time>(&mut table, "gust_lasts", 1.0, &mut wind.gust_lasts_s);
            table.finish();
        }
        if let Some(mut table) = root.table("sensors") {
            let of = &mut out.sensors;
            not_below::<Angle>(
                &mut table,
                "tilt_noise",
                1f64.to_degrees(),
                &mut of.tilt_noise_deg,
            );
            let rate = &mut of.rate_noise_deg_s;
            not_below::<AngularRate>(&mut table, "rate_noise", 1f64.to_degrees(), rate);
            let bias = &mut of.rate_bias_deg_s;
            put::<AngularRate>(&mut table, "rate_bias", 1f64.to_degrees(), bias);
            table.finish();
        }
        if let Some(mut table) = root.table("air") {
            let mut plain = |key, to: &mut f64| {
                if let Some(number) = table.number(key) {
                    if (0.0..=LARGEST_AIR).contains(&number.value) {
                        *to = number.value;
                    } else {
                        let text = format!("`air.{key}` must lie between 0 and {LARGEST_AIR}");
                        table.mistake(Diagnostic::error("out-of-range", text).at(number.place));
                    }
                }
            };
            plain("drag_area_m2", &mut out.air.drag_area_m2);
            plain("normal_area_m2_per_rad", &mut out.air.normal_area_m2);
            plain("damping_n_m_s", &mut out.air.damping_n_m_s);
            put::<Length>(&mut table, "ahead", 1.0, &mut out.air.ahead_m);
            table.finish();
        }
        if let Some(mut table) = root.table("spread") {
            spread(&mut table, &mut out.spreads);
            table.finish();
        }
        motors(root, &mut out);
        Some(out)
    })
}

fn body(table: &mut Table<'_>, out: &mut Vehicle) {
    out.mass_kg = table.positive::<Mass>("mass").map(|mass| mass.si());
    not_below::<Mass>(table, "propellant", 1.0, &mut out.propellant_kg);
    if let (Some(mass), Some(place)) = (out.mass_kg, table.place_of("propellant"))
        && out.propellant_kg >= mass
    {
        table.mistake(
            Diagnostic::error("too-much", "the propellant weighs as much as the rocket").at(place),
        );
    }
    out.inertia_kg_m2 = table
        .positive::<Inertia>("inertia")
        .map(|inertia| inertia.si());
    let gravity = table.not_negative::<Acceleration>("gravity");
    out.gravity_m_s2 = gravity.map_or(out.gravity_m_s2, |gravity| gravity.si());
}

fn spread(table: &mut Table<'_>, out: &mut Spreads) {
    for (key, to) in [("thrust", &mut out.thrust), ("duration", &mut out.duration)] {
        let within = |share: f64| (0.0..=LARGEST_SPREAD).contains(&share);
        taken(
            table.bounded::<Ratio>(key, within, "must lie between 0 % and 100 %"),
            1.0,
            to,
        );
    }
    not_below::<Time>(table, "ignition", 1.0, &mut out.ignition_s);
    not_below::<Angle>(
        table,
        "misalignment",
        1f64.to_degrees(),
        &mut out.misalignment_deg,
    );
    not_below::<Angle>(table, "tilt", 1f64.to_degrees(), &mut out.tilt_deg);
    not_below::<AngularRate>(table, "rate", 1f64.to_degrees(), &mut out.rate_deg_s);
}

fn motors(root: &mut Table<'_>, out: &mut Vehicle) {
    let named = root.named_tables("motor");
    if named.is_empty() {
        return;
    }
    let place = named.first().map(|(_, table)| table.place());
    let even = 1.0 / named.len() as f64;
    out.motors.clear();
    for (name, mut table) in named {
        let mut motor = VehicleMotor {
            name,
            share: even,
            ..all_motors()
        };
        not_below::<Ratio>(&mut table, "share", 1.0, &mut motor.share);
        put::<Time>(&mut table, "later", 1.0, &mut motor.later_s);
        motor.lights = table.boolean("lights").unwrap_or(true);
        if let Some(mut offsets) = table.table("offset") {
            for axis in ["pitch", "yaw"] {
                if let Some(length) = offsets.quantity::<Length>(axis) {
                    motor.offsets_m.insert(axis.to_owned(), length.si());
                }
            }
            offsets.finish();
        }
        table.finish();
        out.motors.push(motor);
    }
    let sum: f64 = out.motors.iter().map(|motor| motor.share).sum();
    if (sum - 1.0).abs() > SHARES_OFF {
        let text = format!("the motors' shares add up to {:.1} %", 100.0 * sum);
        let mistake = Diagnostic::error("shares", text)
            .hint("shares are of the record's thrust with all motors lit: they add up to 100 %");
        root.mistake(match place {
            Some(place) => mistake.at(place),
            None => mistake,
        });
    }
}

fn taken<Q: Quantity>(given: Option<Given<Q>>, factor: f64, to: &mut f64) {
    if let Some(given) = given {
        *to = given.si() * factor;
    }
}

fn put<Q: Quantity>(table: &mut Table<'_>, key: &'static str, factor: f64, to: &mut f64) {
    taken(table.quantity::<Q>(key), factor, to);
}

fn not_below<Q: Quantity>(table: &mut Table<'_>, key: &'static str, factor: f64, to: &mut f64) {
    taken(table.not_negative::<Q>(key), factor, to);
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn a_file_says_what_differs_and_the_rest_stays() {
        let text = "[vehicle]\nmass = \"1.18 kg\"\n[release]\ntilt = \"0.1 rad\"\n\
                    [motor.left]\noffset = { yaw = \"14 mm\" }\n[motor.right]\nlights = false\n";
        let found = read_vehicle(&Source::new("v.toml", text)).unwrap();
        assert_eq!(found.mass_kg, Some(1.18));
        assert_relative_eq!(found.tilt_deg, 0.1_f64.to_degrees());
        assert_eq!(found.motors.len(), 2);
        assert_relative_eq!(found.motors[0].offset_m("yaw"), 0.014);
        assert_relative_eq!(found.motors[0].share, 0.5);
        assert!(!found.motors[1].lights);
        assert_eq!(found.spreads, Spreads::default());
        let empty = read_vehicle(&Source::new("v.toml", "")).unwrap();
        assert_eq!(empty, Vehicle::default());
    }

    #[test]
    fn mistakes_are_told_with_their_place() {
        for (text, code) in [
            ("[vehicle]\nmass = \"1.18\"\n", "no-unit"),
            ("[vehicle]\nmas = \"1 kg\"\n", "unknown-key"),
            (
                "[motor.a]\nshare = \"70 %\"\n[motor.b]\nshare = \"70 %\"\n",
                "shares",
            ),
            (
                "[vehicle]\nmass = \"1 kg\"\npropellant = \"2 kg\"\n",
                "too-much",
            ),
        ] {
            let problems = read_vehicle(&Source::new("v.toml", text)).unwrap_err();
            let found: Vec<&str> = problems.0.iter().map(|one| one.code).collect();
            println!("{found:?}");
            assert_eq!(found.len(), 1, "{text}");
            if code != "no-unit" {
                assert_eq!(found[0], code);
            }
        }
    }
}
