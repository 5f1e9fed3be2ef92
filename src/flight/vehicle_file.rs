//! The vehicle file: TOML, in which every table and key may be left out and then keeps its default.

use std::path::Path;

use super::monte_carlo::Spreads;
use super::scenario::{Air, Sensors, Wind};
use super::vehicle::{Vehicle, VehicleMotor};
use crate::config::keys::{self, Key, Table, boolean, number, quantity, table, tables};
use crate::config::motors::{OFFSET, read_offset};
use crate::diagnostic::{Code, Diagnostic, Error, Place, Source};
use crate::quantity::{
    Acceleration, Angle, AngularRate, Force, Inertia, Length, Mass, Quantity, Ratio, Time, Torque,
};

/// The keys of a vehicle file.
#[rustfmt::skip] // one key a line
pub(crate) const KEYS: &[Key] = &[
    table("vehicle", VEHICLE, "the rocket"),
    table("release", RELEASE, "how it is let go"),
    table("wind", WIND, "what pushes it sideways"),
    table("sensors", SENSORS, "what its controller reads"),
    table("air", AIR, "coefficients of the air; no air when absent"),
    table("spread", SPREAD, "standard deviations from flight to flight"),
    tables("motor", MOTOR, "one motor; all as one when absent"),
];

#[rustfmt::skip] // one key a line
const VEHICLE: &[Key] = &[
    quantity::<Mass>("mass", "mass at ignition; neither altitude nor drift without it").above_zero(),
    quantity::<Mass>("propellant", "propellant in it").not_below_zero().default("0 g"),
    quantity::<Inertia>("inertia", "moment of inertia; that of the plant when absent").above_zero(),
    quantity::<Acceleration>("gravity", "gravity").not_below_zero().default("9.80665 m/s2"),
];

#[rustfmt::skip] // one key a line
const RELEASE: &[Key] = &[
    quantity::<Angle>("tilt", "tilt at release").between(-180.0, 180.0, "deg").default("3 deg"),
    quantity::<AngularRate>("rate", "tilt rate at release").default("0 deg/s"),
    quantity::<Time>("at", "after ignition; when thrust first lifts it if absent").not_below_zero(),
];

#[rustfmt::skip] // one key a line
const WIND: &[Key] = &[
    quantity::<Force>("steady_force", "steady force").default("0 N"),
    quantity::<Torque>("steady_torque", "steady tilt torque").default("0 N m"),
    quantity::<Force>("gust_force", "largest force of a gust").default("0 N"),
    quantity::<Torque>("gust_torque", "largest tilt torque of a gust").default("0 N m"),
    quantity::<Time>("gust_at", "when the gust begins, after ignition").default("0 s"),
    quantity::<Time>("gust_lasts", "how long it lasts").not_below_zero().default("0.3 s"),
];

#[rustfmt::skip] // one key a line
const SENSORS: &[Key] = &[
    quantity::<Angle>("tilt_noise", "standard deviation of a tilt").not_below_zero().default("0.1 deg"),
    quantity::<AngularRate>("rate_noise", "standard deviation of a rate").not_below_zero().default("0.5 deg/s"),
    quantity::<AngularRate>("rate_bias", "what every rate has too much").default("0 deg/s"),
];

#[rustfmt::skip] // one key a line
const AIR: &[Key] = &[
    number("drag_area_m2", "drag over dynamic pressure, m2").between(0.0, 10.0, "").default("0"),
    number("normal_area_m2_per_rad", "normal force over dynamic pressure and angle, m2/rad").between(0.0, 10.0, "").default("0"),
    number("damping_n_m_s", "torque against the tilt rate, N m s").between(0.0, 10.0, "").default("0"),
    quantity::<Length>("ahead", "how far ahead of the centre of gravity the normal force acts").default("0 m"),
];

#[rustfmt::skip] // one key a line
const SPREAD: &[Key] = &[
    quantity::<Ratio>("thrust", "of a motor's thrust").between(0.0, 100.0, "%").default("5 %"),
    quantity::<Ratio>("duration", "of a motor's duration").between(0.0, 100.0, "%").default("3 %"),
    quantity::<Time>("ignition", "of a motor's ignition").not_below_zero().default("10 ms"),
    quantity::<Angle>("misalignment", "of the nozzle").not_below_zero().default("0.2 deg"),
    quantity::<Angle>("tilt", "of the tilt at release").not_below_zero().default("0.5 deg"),
    quantity::<AngularRate>("rate", "of the rate at release").not_below_zero().default("1 deg/s"),
];

#[rustfmt::skip] // one key a line
const MOTOR: &[Key] = &[
    quantity::<Ratio>("share", "of the record's thrust; as much as the others' when absent").not_below_zero(),
    quantity::<Time>("later", "how much later it lights than in the record").default("0 s"),
    boolean("lights", "whether it lights").default("true"),
    table("offset", OFFSET, "its axis from the rocket's axis"),
];

/// How far the shares of the motors may be from the whole.
const SHARES_OFF: f64 = 0.01;

impl Vehicle {
    /// Reads a vehicle file.
    ///
    /// # Errors
    /// Every mistake in it, with its place.
    pub fn read(path: &Path) -> Result<Self, Error> {
        read_vehicle(&Source::read(path)?)
    }
}

/// Reads the text of a vehicle file.
///
/// # Errors
/// Every mistake in it, with its place.
fn read_vehicle(source: &Source) -> Result<Vehicle, Error> {
    keys::read(source, Path::new(""), KEYS, |root| {
        let mut out = Vehicle::default();
        if let Some(table) = root.table("vehicle") {
            body(table, &mut out);
        }
        if let Some(table) = root.table("release") {
            put_degrees::<Angle>(table, "tilt", &mut out.tilt_deg);
            put_degrees::<AngularRate>(table, "rate", &mut out.rate_deg_s);
            out.release_s = table.si::<Time>("at");
        }
        if let Some(table) = root.table("wind") {
            wind(table, &mut out.wind);
        }
        if let Some(table) = root.table("sensors") {
            sensors(table, &mut out.sensors);
        }
        if let Some(table) = root.table("air") {
            out.air = air(table);
        }
        if let Some(table) = root.table("spread") {
            spread(table, &mut out.spreads);
        }
        motors(root, &mut out);
        Some(out)
    })
}

fn body(table: &Table<'_>, out: &mut Vehicle) {
    out.mass_kg = table.si::<Mass>("mass");
    put::<Mass>(table, "propellant", &mut out.propellant_kg);
    if let (Some(mass), Some(place)) = (out.mass_kg, table.place_of("propellant"))
        && out.propellant_kg >= mass
    {
        table.mistake(
            Diagnostic::error(Code::TooMuch, "the propellant weighs as much as the rocket")
                .at(place),
        );
    }
    out.inertia_kg_m2 = table.si::<Inertia>("inertia");
    put::<Acceleration>(table, "gravity", &mut out.gravity_m_s2);
}

fn wind(table: &Table<'_>, out: &mut Wind) {
    put::<Force>(table, "steady_force", &mut out.steady_n);
    put::<Torque>(table, "steady_torque", &mut out.steady_nm);
    put::<Force>(table, "gust_force", &mut out.gust_n);
    put::<Torque>(table, "gust_torque", &mut out.gust_nm);
    put::<Time>(table, "gust_at", &mut out.gust_at_s);
    put::<Time>(table, "gust_lasts", &mut out.gust_lasts_s);
}

fn sensors(table: &Table<'_>, out: &mut Sensors) {
    put_degrees::<Angle>(table, "tilt_noise", &mut out.tilt_noise_deg);
    put_degrees::<AngularRate>(table, "rate_noise", &mut out.rate_noise_deg_s);
    put_degrees::<AngularRate>(table, "rate_bias", &mut out.rate_bias_deg_s);
}

fn air(table: &Table<'_>) -> Air {
    Air {
        drag_area_m2: table.number_or_default("drag_area_m2"),
        normal_area_m2: table.number_or_default("normal_area_m2_per_rad"),
        damping_n_m_s: table.number_or_default("damping_n_m_s"),
        ahead_m: table.si_or_default::<Length>("ahead"),
    }
}

fn spread(table: &Table<'_>, out: &mut Spreads) {
    put::<Ratio>(table, "thrust", &mut out.thrust);
    put::<Ratio>(table, "duration", &mut out.duration);
    put::<Time>(table, "ignition", &mut out.ignition_s);
    put_degrees::<Angle>(table, "misalignment", &mut out.misalignment_deg);
    put_degrees::<Angle>(table, "tilt", &mut out.tilt_deg);
    put_degrees::<AngularRate>(table, "rate", &mut out.rate_deg_s);
}

fn motors(root: &Table<'_>, out: &mut Vehicle) {
    let named = root.tables("motor");
    let Some((_, first)) = named.first() else {
        return;
    };
    let even = 1.0 / named.len() as f64;
    let motor = |(name, table): &(String, Table<'_>)| VehicleMotor {
        name: name.clone(),
        share: table.si::<Ratio>("share").unwrap_or(even),
        later_s: table.si_or_default::<Time>("later"),
        lights: table.boolean("lights").unwrap_or(true),
        offsets_m: read_offset(table.table("offset"))
            .into_iter()
            .map(|(axis, length)| (axis, length.si()))
            .collect(),
    };
    out.motors = named.iter().map(motor).collect();
    if let Some(wrong) = check_shares(first.place(), out) {
        root.mistake(wrong);
    }
}

fn check_shares(place: Place, vehicle: &Vehicle) -> Option<Diagnostic> {
    let sum: f64 = vehicle.motors.iter().map(|motor| motor.share).sum();
    if (sum - 1.0).abs() <= SHARES_OFF {
        return None;
    }
    let text = format!("the motors' shares add up to {:.1} %", 100.0 * sum);
    let hint = "shares are of the record's thrust with all motors lit: they add up to 100 %";
    Some(Diagnostic::error(Code::Shares, text).at(place).hint(hint))
}

fn put<Q: Quantity>(table: &Table<'_>, key: &str, to: &mut f64) {
    if let Some(si) = table.si::<Q>(key) {
        *to = si;
    }
}

fn put_degrees<Q: Quantity>(table: &Table<'_>, key: &str, to: &mut f64) {
    if let Some(si) = table.si::<Q>(key) {
        *to = si.to_degrees();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::keys::Kind;
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
    fn the_keys_of_a_vehicle_file_are_declared_well() {
        keys::tests::hold(KEYS);
    }

    // What the declaration calls the default is what the vehicle has without the key.
    #[test]
    fn a_file_that_says_every_default_changes_nothing() {
        let mut text = String::new();
        for group in KEYS {
            let Kind::Table(keys) = group.kind else {
                continue;
            };
            text += &format!("[{}]\n", group.name);
            for key in keys {
                if let Some(default) = key.default {
                    let bare = matches!(key.kind, Kind::Number);
                    let mark = if bare { "" } else { "\"" };
                    text += &format!("{} = {mark}{default}{mark}\n", key.name);
                }
            }
        }
        let told = read_vehicle(&Source::new("v.toml", text)).unwrap();
        let rounded = |vehicle: &Vehicle| format!("{vehicle:.9?}");
        assert_eq!(rounded(&told), rounded(&Vehicle::default()));
    }

    #[test]
    fn mistakes_are_told_with_their_place() {
        for (text, code) in [
            ("[vehicle]\nmass = \"1.18\"\n", Code::NoUnit),
            ("[vehicle]\nmas = \"1 kg\"\n", Code::UnknownKey),
            (
                "[motor.a]\nshare = \"70 %\"\n[motor.b]\nshare = \"70 %\"\n",
                Code::Shares,
            ),
            (
                "[vehicle]\nmass = \"1 kg\"\npropellant = \"2 kg\"\n",
                Code::TooMuch,
            ),
        ] {
            let problems = read_vehicle(&Source::new("v.toml", text)).unwrap_err();
            let found: Vec<Code> = problems.problems().iter().map(|one| one.code).collect();
            assert_eq!(found, [code], "{text}");
        }
    }
}
