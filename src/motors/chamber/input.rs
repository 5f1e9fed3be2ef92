//! The pressure record and what belongs to it, gathered for the chamber stage.

use super::{ChamberInput, ChamberReport, Ends, measure};
use crate::burn::{Burn, Recording};
use crate::calibration::readings::number_of_outliers;
use crate::config::{Chamber, Firing};
use crate::diagnostic::{Code, Diagnostic};
use crate::finding::Finding;
use crate::motors::lit::Verdict;
use crate::quantity::{Given, Measured};
use crate::series::Series;

/// What the pressure record of a firing gives to its results.
#[derive(Default)]
pub(crate) struct FiringChamber {
    /// What the pressure says; `None` where it was not measured.
    pub report: Option<ChamberReport>,
    /// Absolute pressure, kPa.
    pub pressure_kpa: Series,
    /// What was judged.
    pub findings: Vec<Finding>,
    /// What deserves attention.
    pub warnings: Vec<Diagnostic>,
}

/// Measures the chamber of a firing that has one, and burnt.
#[must_use]
pub(crate) fn measure_firing(
    recording: &Recording<'_>,
    burn: Option<&Burn>,
    verdict: Option<&Verdict>,
) -> FiringChamber {
    let firing = recording.firing;
    let (Some(table), Some(burn)) = (&firing.chamber, burn) else {
        return FiringChamber::default();
    };
    let Some(pressure_pa) = recording.signals.quantity(&table.pressure) else {
        return FiringChamber::default();
    };
    let named = table.motor.as_ref().map(|motor| motor.value.as_str());
    let motor = named.or_else(|| firing.motors.keys().next().map(String::as_str));
    let lit = verdict.map_or(&[][..], |verdict| verdict.lit.as_slice());
    let burnt_here = motor.is_none_or(|motor| lit.iter().any(|name| name == motor));
    let alone = lit.len() < 2;
    let mut warnings = Vec::from_iter(outliers_left_out(recording, table));
    if let Some(motor) = motor.filter(|_| !burnt_here) {
        warnings.push(not_lit(table, motor));
    }
    let impulse_ns = match motor.zip(verdict).filter(|_| !alone) {
        Some((motor, verdict)) => verdict
            .motors
            .get(motor)
            .and_then(|of| of.total_ns.as_ref()),
        None => burn.impulse.burn_window_ns.as_ref(),
    };
    let input = ChamberInput {
        motor: motor.map(str::to_owned),
        pressure_pa: &pressure_pa,
        reads: table.reads,
        curve: recording.signals.curve(&table.pressure),
        span_relative_u: table
            .span_error
            .as_ref()
            .map_or(0.0, |limits| limits.si() / 3.0_f64.sqrt()),
        ambient_pa: ambient_pa(firing, table),
        ends: ends(recording, table, burn, alone),
        throat_m: table.throat_diameter.as_ref().map(pair),
        propellant_kg: motor
            .filter(|_| burnt_here)
            .and_then(|motor| firing.motors.get(motor)?.propellant.burnt_kg())
            .map(|(mass, u)| (mass, u.unwrap_or(0.0))),
        impulse_ns: impulse_ns.filter(|_| burnt_here),
    };
    match measure(&input) {
        Some(found) => FiringChamber {
            report: Some(found.report),
            pressure_kpa: found.absolute_pa.map(|_, pressure_pa| 1e-3 * pressure_pa),
            findings: found.findings,
            warnings,
        },
        None => {
            warnings.push(not_measured(table, &pressure_pa, burn.window_s()));
            FiringChamber {
                warnings,
                ..FiringChamber::default()
            }
        }
    }
}

fn pair<Q: crate::quantity::Quantity>(given: &Given<Q>) -> (f64, f64) {
    (given.si(), given.standard_uncertainty().unwrap_or(0.0))
}

/// Weather moves the pressure of the air by about so much, as a share: a standard deviation of some
/// 10 hPa in temperate latitudes. Common practice, no source.
const WEATHER_SHARE: f64 = 0.01;

/// Pressure of the air and its standard uncertainty, Pa: as given, or of the standard atmosphere at
/// the site (ISO 2533; the constants from memory, checked by its value at 1000 m).
fn ambient_pa(firing: &Firing, table: &Chamber) -> (f64, f64) {
    if let Some(ambient) = &table.ambient {
        return pair(ambient);
    }
    let altitude_m = firing.site.altitude.as_ref().map_or(0.0, Given::si);
    let ambient = standard_atmosphere_pa(altitude_m);
    (ambient, WEATHER_SHARE * ambient)
}

/// Pressure of the standard atmosphere below 11 km, Pa.
fn standard_atmosphere_pa(altitude_m: f64) -> f64 {
    let warmth = 1.0 - 0.0065 * altitude_m / 288.15;
    101_325.0 * warmth.max(0.0).powf(5.255_88)
}

/// Pressure is looked for so long before and after the thrust of all motors, s.
const MARGIN_S: f64 = 0.2;

/// One motor burns while there is thrust. Among several, each by its own pressure.
fn ends(recording: &Recording<'_>, table: &Chamber, burn: &Burn, alone: bool) -> Ends {
    let (from, to) = burn.window_s();
    if !alone {
        return Ends::Pressure {
            fraction: recording.firing.reduce.burn_rule.fraction(),
            within_s: (from - MARGIN_S, to + MARGIN_S),
        };
    }
    let report = &burn.description.report;
    let channels = &recording.signals.channels;
    let clock_u_s = channels.clock_u_s(&table.pressure, from);
    let u_s = |end: &Option<Measured>| end.as_ref().map_or(0.0, |end| end.u).hypot(clock_u_s);
    Ends::Thrust {
        from_s: (from, u_s(&report.ignition_s)),
        to_s: (to, u_s(&report.burnout_s)),
    }
}

fn outliers_left_out(recording: &Recording<'_>, table: &Chamber) -> Option<Diagnostic> {
    let number = recording.signals.channels.outliers(&table.pressure).len();
    let message = format!(
        "{} of the pressure left out: further from the neighbours than ten times what all others span",
        number_of_outliers(number)
    );
    let place = table.pressure.column.place.clone();
    (number > 0).then(|| Diagnostic::warning(Code::WildReading, message).at(place))
}

fn not_lit(table: &Chamber, motor: &str) -> Diagnostic {
    let message = format!(
        "motor {motor} did not certainly light: its characteristic velocity and thrust coefficient \
         are not known"
    );
    let place = table
        .motor
        .as_ref()
        .map_or(&table.place, |motor| &motor.place);
    Diagnostic::warning(Code::ChamberNotLit, message).at(place.clone())
}

fn not_measured(table: &Chamber, pressure_pa: &Series, (from, to): (f64, f64)) -> Diagnostic {
    let message = match pressure_pa.span_s() {
        None => "the pressure column holds no reading".to_owned(),
        Some((first, last)) if first > from || last < to => format!(
            "pressure was read from {first:.3} s to {last:.3} s and does not hold the burn, from \
             {from:.3} s to {to:.3} s"
        ),
        Some(_) => "the pressure record has no baseline on either side of the burn".to_owned(),
    };
    Diagnostic::warning(Code::NoPressure, message)
        .at(table.pressure.column.place.clone())
        .hint("log pressure from two seconds before the fire command to three after burnout")
}

#[cfg(test)]
mod tests {
    use super::standard_atmosphere_pa;

    // Standard atmosphere: 89 874.6 Pa at 1000 m (ISO 2533; from memory).
    #[test]
    fn the_standard_atmosphere_thins_as_published() {
        assert!((standard_atmosphere_pa(1000.0) - 89_874.6).abs() < 1.0);
        assert_eq!(standard_atmosphere_pa(0.0), 101_325.0);
    }
}
