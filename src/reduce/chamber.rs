//! The pressure record and what belongs to it, gathered for the chamber stage.

use super::Burnt;
use super::signals::Signals;
use crate::burn::outlier;
use crate::config::{Chamber, Firing};
use crate::diagnostic::Diagnostic;
use crate::finding::Finding;
use crate::motors::chamber::{self, ChamberReport, Ends, Question};
use crate::motors::lit::Verdict;
use crate::quantity::{Given, Measured};
use crate::series::Series;

/// What the chamber stage gives to the results.
#[derive(Default)]
pub(super) struct Outcome {
    pub report: Option<ChamberReport>,
    pub pressure_kpa: Series,
    pub findings: Vec<Finding>,
    pub warnings: Vec<Diagnostic>,
}

/// Measures the chamber of a firing that has one, and burnt.
pub(super) fn measure(
    firing: &Firing,
    signals: &Signals,
    burnt: Option<&Burnt>,
    verdict: Option<&Verdict>,
) -> Outcome {
    let (Some(table), Some(burnt)) = (&firing.chamber, burnt) else {
        return Outcome::default();
    };
    let Some(read) = signals.quantity(&table.pressure) else {
        return Outcome::default();
    };
    let (pressure_pa, wild) = outlier::without_lone(&read);
    let named = table.motor.as_ref().map(|motor| motor.value.as_str());
    let motor = named.or_else(|| firing.motors.keys().next().map(String::as_str));
    let lit = verdict.map_or(&[][..], |verdict| verdict.lit.as_slice());
    let burnt_here = motor.is_none_or(|motor| lit.iter().any(|name| name == motor));
    let alone = lit.len() < 2;
    let mut warnings: Vec<Diagnostic> = wild_readings(table, wild.len()).into_iter().collect();
    if let Some(motor) = motor.filter(|_| !burnt_here) {
        warnings.push(not_lit(table, motor));
    }
    let impulse_ns = match motor.zip(verdict).filter(|_| !alone) {
        Some((motor, verdict)) => verdict
            .motors
            .get(motor)
            .and_then(|of| of.total_ns.as_ref()),
        None => burnt.impulse.burn_window_ns.as_ref(),
    };
    let question = Question {
        motor: motor.map(str::to_owned),
        pressure_pa: &pressure_pa,
        reads: table.reads,
        curve: signals.curve(&table.pressure),
        span_relative_u: table
            .span_error
            .as_ref()
            .map_or(0.0, |limits| limits.si() / 3.0_f64.sqrt()),
        ambient_pa: ambient_pa(firing, table),
        ends: ends(firing, signals, table, burnt, alone),
        throat_m: table.throat_diameter.as_ref().map(pair),
        propellant_kg: motor
            .filter(|_| burnt_here)
            .and_then(|motor| firing.motors.get(motor)?.propellant.burnt_kg())
            .map(|(mass, u)| (mass, u.unwrap_or(0.0))),
        impulse_ns: impulse_ns.filter(|_| burnt_here),
    };
    match chamber::measure(&question) {
        Some(found) => Outcome {
            report: Some(found.report),
            pressure_kpa: found.absolute_pa.map(|_, pressure_pa| 1e-3 * pressure_pa),
            findings: found.findings,
            warnings,
        },
        None => {
            warnings.push(not_measured(table, &pressure_pa, burnt));
            Outcome {
                warnings,
                ..Outcome::default()
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
fn ends(firing: &Firing, signals: &Signals, table: &Chamber, burnt: &Burnt, alone: bool) -> Ends {
    let (from, to) = burnt.burn.window_s;
    if !alone {
        return Ends::Pressure {
            fraction: firing.reduce.burn_rule.fraction(),
            within_s: (from - MARGIN_S, to + MARGIN_S),
        };
    }
    let clock_u_s = signals.clock_u_s(&table.pressure, from);
    let u_s = |end: &Option<Measured>| end.as_ref().map_or(0.0, |end| end.u).hypot(clock_u_s);
    Ends::Thrust {
        from_s: (from, u_s(&burnt.burn.report.ignition_s)),
        to_s: (to, u_s(&burnt.burn.report.burnout_s)),
    }
}

fn wild_readings(table: &Chamber, number: usize) -> Option<Diagnostic> {
    let message = format!(
        "{} of the pressure left out: further from the neighbours than all others span",
        if number == 1 {
            "one lone reading".to_owned()
        } else {
            format!("{number} lone readings")
        }
    );
    let place = table.pressure.column.place.clone();
    (number > 0).then(|| Diagnostic::warning("wild-reading", message).at(place))
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
    Diagnostic::warning("chamber-not-lit", message).at(place.clone())
}

fn not_measured(table: &Chamber, pressure_pa: &Series, burnt: &Burnt) -> Diagnostic {
    let (from, to) = burnt.burn.window_s;
    let message = match pressure_pa.span_s() {
        None => "the pressure column holds no reading".to_owned(),
        Some((first, last)) if first > from || last < to => format!(
            "pressure was read from {first:.3} s to {last:.3} s and does not hold the burn, from \
             {from:.3} s to {to:.3} s"
        ),
        Some(_) => "the pressure record has no rest on either side of the burn".to_owned(),
    };
    Diagnostic::warning("no-pressure", message)
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
