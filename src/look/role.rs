//! What a column might be, by its name.
//!
//! Names on amateurs' loggers are short words of English, sometimes of another language, joined by
//! underscores: `cmd_pitch_deg`, `gyro_yaw`, `p_kPa`. A guess from a name is never acted upon; it
//! stands in a first firing file as a line the maker has to confirm.

use serde::Serialize;

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

const SIGNALS: [(Signal, &[&str]); 7] = [
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

/// What a name suggests; `None` when it says nothing.
#[must_use]
pub(crate) fn role(name: &str) -> Option<Role> {
    let words: Vec<String> = name
        .split(|ch: char| !ch.is_alphabetic())
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
        .collect();
    let says = |known: &&str| words.iter().any(|word| word == known);
    let (signal, _) = SIGNALS.iter().find(|(_, known)| known.iter().any(says))?;
    Some(Role {
        signal: *signal,
        axis: AXES
            .iter()
            .find(|axis| says(axis))
            .map(|axis| (*axis).to_owned()),
        unit: UNITS
            .iter()
            .find(|(word, _)| says(word))
            .map(|(_, unit)| *unit),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_loggers_are_understood() {
        let of = |name: &str| role(name).map(|one| (one.signal, one.axis, one.unit));
        let pitch = || Some("pitch".to_owned());
        assert_eq!(
            of("cmd_pitch_deg"),
            Some((Signal::Command, pitch(), Some("deg")))
        );
        assert_eq!(of("gyro pitch"), Some((Signal::Rate, pitch(), None)));
        assert_eq!(of("p_kPa"), Some((Signal::Pressure, None, Some("kPa"))));
        assert_eq!(of("FIRE1"), Some((Signal::Fire, None, None)));
        assert_eq!(of("base_raw"), None);
        assert_eq!(of("7"), None);
    }
}
