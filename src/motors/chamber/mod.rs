//! Chamber pressure: what it says of propellant and nozzle.
//!
//! With absolute pressure p over the burn, throat area A and propellant mass m,
//!
//! ```text
//! c* = A int p dt / m        characteristic velocity: how well the propellant burnt
//! CF = I / (A int p dt)      thrust coefficient: what the nozzle made of it
//! ```
//!
//! (Sutton & Biblarz, Rocket Propulsion Elements, ch. 3). Both integrals, of pressure and of thrust,
//! run over the burn. Readings count from the transducer's own baseline on both sides of the burn, and
//! the ambient pressure is added: its zero, gauge or absolute, then does not matter, its slope does.
//! Limits: one throat diameter for the whole burn, so a throat that wears is not seen; the small
//! share of propellant that burns outside the burn's ends counts as burnt within it.

mod input;
mod pressure;

use serde::{Deserialize, Serialize};

use crate::calibration::Curve;
use crate::config::Reads;
use crate::finding::{COMMON_PRACTICE, Finding};
use crate::quantity::{Measured, Unit};
use crate::series::Series;
use crate::uncertainty::{Kind, Term, combined};

pub(crate) use input::{FiringChamber, measure_firing};
pub(crate) use pressure::{Ends, Trace};

/// What the pressure in the chamber says.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct ChamberReport {
    /// The motor; `None` when the firing file names no motor at all.
    pub motor: Option<String>,
    /// What the transducer counts from: gauge or absolute. All pressures here are absolute.
    pub reads: String,
    /// What begins and ends the burn here: thrust, or pressure where several motors burnt.
    pub window_by: String,
    /// Beginning and end of the integral, s.
    pub window_s: [f64; 2],
    /// Pressure of the air.
    pub ambient_kpa: Option<Measured>,
    /// Area of the throat; `None` when its diameter was not given.
    pub throat_area_mm2: Option<Measured>,
    /// Largest pressure.
    pub peak_kpa: Option<Measured>,
    /// Mean over the burn.
    pub mean_kpa: Option<Measured>,
    /// Integral over the burn.
    pub integral_kpa_s: Option<Measured>,
    /// Throat area times integral over propellant mass.
    pub characteristic_velocity_m_s: Option<Measured>,
    /// Impulse over throat area times integral.
    pub thrust_coefficient: Option<Measured>,
    /// Where the uncertainties come from.
    pub budget: Vec<ChamberBudgetLine>,
}

impl ChamberReport {
    /// The quantities in the order they are made, with the words people use.
    #[must_use]
    pub fn rows(&self) -> [(&'static str, Option<&Measured>); 7] {
        [
            ("pressure of the air", self.ambient_kpa.as_ref()),
            ("area of the throat", self.throat_area_mm2.as_ref()),
            ("peak pressure", self.peak_kpa.as_ref()),
            ("mean pressure", self.mean_kpa.as_ref()),
            (INTEGRAL, self.integral_kpa_s.as_ref()),
            (VELOCITY, self.characteristic_velocity_m_s.as_ref()),
            (COEFFICIENT, self.thrust_coefficient.as_ref()),
        ]
    }

    /// The words for a result that the budget is about.
    #[must_use]
    pub fn name_of(key: &str) -> &str {
        match key {
            "integral_kpa_s" => INTEGRAL,
            "characteristic_velocity_m_s" => VELOCITY,
            "thrust_coefficient" => COEFFICIENT,
            other => other,
        }
    }
}

const INTEGRAL: &str = "pressure integral";
const VELOCITY: &str = "characteristic velocity";
const COEFFICIENT: &str = "thrust coefficient";

/// One source of uncertainty of one of the results.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct ChamberBudgetLine {
    /// Which result, by its name in the report.
    pub of: String,
    /// What the source is.
    pub source: String,
    /// Random or systematic.
    pub kind: Kind,
    /// Its standard uncertainty, in the unit of the result.
    pub u: f64,
    /// Its share of the variance, 0 to 1.
    #[cfg_attr(test, schemars(range(min = 0.0, max = 1.0)))]
    pub share: f64,
}

/// What is asked of the pressure record. Every pair is a value and its standard uncertainty.
#[derive(Debug, Clone)]
pub(crate) struct ChamberInput<'a> {
    /// The motor's name.
    pub motor: Option<String>,
    /// Pressure as the transducer read it, Pa, on the first log's clock.
    pub pressure_pa: &'a Series,
    /// What it counts from.
    pub reads: Reads,
    /// Its calibration, when it came as points.
    pub curve: Option<&'a Curve>,
    /// Relative standard uncertainty of its slope.
    pub span_relative_u: f64,
    /// Pressure of the air, Pa.
    pub ambient_pa: (f64, f64),
    /// What begins and ends the burn.
    pub ends: Ends,
    /// Diameter of the throat, m.
    pub throat_m: Option<(f64, f64)>,
    /// Propellant that burnt, kg.
    pub propellant_kg: Option<(f64, f64)>,
    /// Impulse within the same ends.
    pub impulse_ns: Option<&'a Measured>,
}

/// What came of it.
#[derive(Debug, Clone)]
pub(crate) struct ChamberResult {
    /// For the results.
    pub report: ChamberReport,
    /// What was judged.
    pub findings: Vec<Finding>,
    /// Absolute pressure, Pa.
    pub absolute_pa: Series,
}

/// Measures a chamber; `None` when the record has no rest to count from, or does not hold the burn.
#[must_use]
pub(crate) fn measure(input: &ChamberInput<'_>) -> Option<ChamberResult> {
    let trace = Trace::new(input)?;
    let (integral_pa_s, integral_terms) = trace.integral();
    let (mean_pa, mean_terms) = trace.mean();
    let (peak_pa, peak_terms) = trace.peak()?;
    let area_m2 = input
        .throat_m
        .map(|(d, u)| (std::f64::consts::PI * d * d / 4.0, 2.0 * u / d));
    let mut budget = Vec::new();
    let mut close = |of: &str, value: f64, terms: &[Term], unit: Unit| {
        let u = combined(terms);
        budget.extend(
            terms
                .iter()
                .filter(|term| term.u > 0.0)
                .map(|term| ChamberBudgetLine {
                    of: of.to_owned(),
                    source: term.source.clone(),
                    kind: term.kind,
                    u: term.u,
                    share: (term.u / u).powi(2),
                }),
        );
        Some(Measured::normal(value, u, unit))
    };
    let kilo = |terms: &[Term]| scaled(terms, 1e-3);
    let integral = close(
        "integral_kpa_s",
        1e-3 * integral_pa_s,
        &kilo(&integral_terms),
        Unit::KilopascalSecond,
    );
    let throat = |value: f64| {
        let relative = area_m2.map_or(0.0, |(_, relative)| relative);
        Term::systematic("diameter of the throat", value * relative)
    };
    let velocity = area_m2
        .zip(input.propellant_kg)
        .and_then(|((area, _), (mass, mass_u))| {
            let value = area * integral_pa_s / mass;
            let mut terms = scaled(&integral_terms, area / mass);
            terms.push(throat(value));
            terms.push(Term::systematic(
                "mass of the propellant",
                value * mass_u / mass,
            ));
            close(
                "characteristic_velocity_m_s",
                value,
                &terms,
                Unit::MetrePerSecond,
            )
        });
    let coefficient = area_m2
        .zip(input.impulse_ns)
        .and_then(|((area, _), impulse)| {
            let value = impulse.value / (area * integral_pa_s);
            let mut terms = scaled(&integral_terms, value / integral_pa_s);
            terms.push(throat(value));
            terms.push(Term::systematic("impulse", value * impulse.relative()));
            close("thrust_coefficient", value, &terms, Unit::One)
        });
    let findings = findings(input, &trace, coefficient.as_ref());
    let quantity = |value: f64, terms: &[Term]| {
        Some(Measured::normal(
            1e-3 * value,
            1e-3 * combined(terms),
            Unit::Kilopascal,
        ))
    };
    let (ambient_pa, ambient_u_pa) = input.ambient_pa;
    let report = ChamberReport {
        motor: input.motor.clone(),
        reads: input.reads.word().to_owned(),
        window_by: input.ends.word().to_owned(),
        window_s: [trace.window_s.0, trace.window_s.1],
        ambient_kpa: Some(Measured::normal(
            1e-3 * ambient_pa,
            1e-3 * ambient_u_pa,
            Unit::Kilopascal,
        )),
        throat_area_mm2: area_m2.map(|(area, relative)| {
            Measured::normal(1e6 * area, 1e6 * area * relative, Unit::SquareMillimetre)
        }),
        peak_kpa: quantity(peak_pa, &peak_terms),
        mean_kpa: quantity(mean_pa, &mean_terms),
        integral_kpa_s: integral,
        characteristic_velocity_m_s: velocity,
        thrust_coefficient: coefficient,
        budget,
    };
    Some(ChamberResult {
        report,
        findings,
        absolute_pa: trace.absolute_pa,
    })
}

/// Terms of a multiple of what they are terms of.
fn scaled(terms: &[Term], factor: f64) -> Vec<Term> {
    let scaled = |term: &Term| Term {
        u: term.u * factor.abs(),
        ..term.clone()
    };
    terms.iter().map(scaled).collect()
}

/// Thrust coefficients that nozzles have.
const COEFFICIENTS: [f64; 2] = [0.8, 2.0];

fn findings(
    input: &ChamberInput<'_>,
    trace: &Trace,
    coefficient: Option<&Measured>,
) -> Vec<Finding> {
    let (ambient_pa, ambient_u_pa) = input.ambient_pa;
    let half_kpa = 0.5e-3 * ambient_pa;
    let middle_kpa = match input.reads {
        Reads::Gauge => 0.0,
        Reads::Absolute => 2.0 * half_kpa,
    };
    let (rest_pa, rest_u_pa) = trace.rest_pa();
    let u_kpa = 1e-3 * rest_u_pa.hypot(0.5 * ambient_u_pa);
    let mut out = vec![
        Finding::within(
            format!(
                "the transducer's baseline is that of a {} transducer",
                input.reads.word()
            ),
            Measured::normal(1e-3 * rest_pa, u_kpa, Unit::Kilopascal),
            [Some(middle_kpa - half_kpa), Some(middle_kpa + half_kpa)],
            "baseline within half an atmosphere of zero (gauge) or of ambient pressure (absolute)",
            COMMON_PRACTICE,
        )
        .advice("look at `reads`, the unit of the column and the transducer's zero"),
    ];
    if let Some(coefficient) = coefficient {
        out.push(
            Finding::within(
                "the thrust coefficient is plausible for a nozzle",
                coefficient.clone(),
                COEFFICIENTS.map(Some),
                "between 0.8 and 2.0",
                "Sutton & Biblarz, Rocket Propulsion Elements, ch. 3; from memory",
            )
            .advice("look at the throat's diameter, the transducer's scale and its unit"),
        );
    }
    out
}

#[cfg(test)]
mod tests;
