//! What a column might be, by its name.
//!
//! Names on amateurs' loggers are short words of English, sometimes of another language, joined by
//! underscores: `cmd_pitch_deg`, `gyro_yaw`, `p_kPa`. A guess from a name is acted upon only where it names a
//! load cell and its unit; else it stands in a first firing file as a line the maker has to confirm.

use serde::Serialize;

use crate::quantity::unit::{self, Dimension};

/// What a column may carry.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Signal {
    /// An igniter line.
    Fire,
    /// A steering command.
    Command,
    /// The nozzle's angle.
    Nozzle,
    /// The rig's tilt.
    Tilt,
    /// The rate of tilt.
    Rate,
    /// Pressure in a chamber.
    Pressure,
    /// Something that is no force: a flow, a temperature, a voltage.
    Other,
    /// A load cell.
    Force,
}

/// What a column might be.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Role {
    /// The signal.
    pub signal: Signal,
    /// The steering axis, when the name says so.
    pub axis: Option<String>,
    /// The unit, when the name says so.
    pub unit: Option<&'static str>,
}

/// The first that fits counts: `pot_raw` is a nozzle.
const SIGNALS: [(Signal, &[&str]); 8] = [
    (
        Signal::Fire,
        &[
            "fire", "firing", "igniter", "ignition", "ign", "trigger", "launch",
        ],
    ),
    (
        Signal::Command,
        &["cmd", "command", "demand", "servo", "setpoint", "pwm"],
    ),
    (Signal::Nozzle, &["nozzle", "pot", "gimbal", "swivel"]),
    (Signal::Rate, &["gyro", "rate", "omega"]),
    (Signal::Pressure, &["pressure", "press", "p"]),
    (
        Signal::Other,
        &[
            "flow",
            "temperature",
            "temp",
            "humidity",
            "vbat",
            "battery",
            "altitude",
            "mfc",
        ],
    ),
    (
        Signal::Tilt,
        &[
            "tilt", "angle", "theta", "encoder", "enc", "attitude", "angulo",
        ],
    ),
    (
        Signal::Force,
        &[
            "thrust", "force", "load", "loadcell", "cell", "weight", "schub", "kraft", "empuxo",
            "empuje", "raw", "counts", "grams", "gram", "newtons", "newton", "lbf", "kgf", "gf",
        ],
    ),
];

/// A second clock is no cell; `T` alone may be thrust.
const TIMES: [&str; 9] = [
    "time",
    "times",
    "timestamp",
    "elapsed",
    "uptime",
    "ms",
    "us",
    "millis",
    "seconds",
];

const AXES: [&str; 2] = ["pitch", "yaw"];

const UNITS: [(&str, &str); 10] = [
    ("deg", "deg"),
    ("degrees", "deg"),
    ("rad", "rad"),
    ("mrad", "mrad"),
    ("dps", "deg/s"),
    ("kpa", "kPa"),
    ("mpa", "MPa"),
    ("pa", "Pa"),
    ("bar", "bar"),
    ("psi", "psi"),
];

/// Words of names for units of force; weights press with theirs.
const FORCE_UNITS: [(&str, &str); 16] = [
    ("n", "N"),
    ("newton", "N"),
    ("newtons", "N"),
    ("kn", "kN"),
    ("g", "gf"),
    ("gf", "gf"),
    ("gram", "gf"),
    ("grams", "gf"),
    ("kg", "kgf"),
    ("kgf", "kgf"),
    ("lb", "lbf"),
    ("lbs", "lbf"),
    ("lbf", "lbf"),
    ("oz", "ozf"),
    ("ozf", "ozf"),
    ("kgs", "kgf"),
];

/// What a name suggests, and the unit that a line of units states; `None` when they say nothing.
#[must_use]
pub(crate) fn role(name: &str, unit: Option<&str>) -> Option<Role> {
    let words: Vec<String> = name
        .split(|ch: char| !ch.is_alphabetic())
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
        .collect();
    let says = |known: &&str| words.iter().any(|word| word == known);
    let named = SIGNALS.iter().find(|(_, known)| known.iter().any(says));
    let signal = match named {
        _ if TIMES.iter().any(says) => Signal::Other,
        Some((signal, _)) => *signal,
        // A mass may be that of a tank; a force on a stand is thrust.
        None if unit.is_some_and(is_force) => Signal::Force,
        None => return None,
    };
    let table: &[(&str, &str)] = match signal {
        Signal::Force => &FORCE_UNITS,
        _ => &UNITS,
    };
    let in_table = |wanted: &dyn Fn(&&str) -> bool| {
        let found = table.iter().find(|(word, _)| wanted(word));
        found.map(|(_, unit)| *unit)
    };
    let stated = unit.map(str::to_lowercase);
    Some(Role {
        signal,
        axis: AXES
            .iter()
            .find(|axis| says(axis))
            .map(|axis| (*axis).to_owned()),
        unit: in_table(&says).or_else(|| in_table(&|word| stated.as_deref() == Some(*word))),
    })
}

fn is_force(unit: &str) -> bool {
    unit::parse(unit).is_ok_and(|unit| unit.dimension == Dimension::FORCE)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_loggers_are_understood() {
        let of = |name: &str| role(name, None).map(|one| (one.signal, one.axis, one.unit));
        let pitch = || Some("pitch".to_owned());
        assert_eq!(
            of("cmd_pitch_deg"),
            Some((Signal::Command, pitch(), Some("deg")))
        );
        assert_eq!(of("gyro pitch"), Some((Signal::Rate, pitch(), None)));
        assert_eq!(of("p_kPa"), Some((Signal::Pressure, None, Some("kPa"))));
        assert_eq!(of("FIRE1"), Some((Signal::Fire, None, None)));
        assert_eq!(of("base_raw"), Some((Signal::Force, None, None)));
        assert_eq!(of("Force (lbs)"), Some((Signal::Force, None, Some("lbf"))));
        assert_eq!(of("pot_raw"), Some((Signal::Nozzle, None, None)));
        assert_eq!(of("7"), None);
        assert_eq!(of("t [ms]").map(|one| one.0), Some(Signal::Other));
        assert_eq!(of("T"), None);
        let thrust = role("L_THRUST", Some("N")).unwrap();
        assert_eq!((thrust.signal, thrust.unit), (Signal::Force, Some("N")));
        assert_eq!(role("L_RUN_TANK", Some("kg")), None);
    }
}
