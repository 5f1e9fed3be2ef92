//! Impulse: the area under thrust, what it says of the propellant, and how sure it is.
//!
//! Total impulse runs from first to last measurable thrust, burn-window impulse over the burn;
//! published practice differs between the two, so both are given and named. Both are trapezoid sums
//! on the true sample times, hence linear in the readings, and the budget carries every source
//! through that sum. Specific impulse is total impulse over propellant mass and standard gravity
//! (Sutton & Biblarz, Rocket Propulsion Elements, ch. 2).

use indexmap::IndexMap;
use serde::{Deserialize, Serialize};

use crate::burn::describe::Description;
use crate::burn::thrust::ThrustTrace;
use crate::finding::{COMMON_PRACTICE, Finding, Outcome};
use crate::numeric::trapezoid;
use crate::quantity::{Measured, STANDARD_GRAVITY_M_S2, Unit};
use crate::uncertainty::{Kind, Term, combined, measured};

/// What was delivered.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct ImpulseReport {
    /// From first to last measurable thrust.
    pub total_ns: Option<Measured>,
    /// Over the burn.
    pub burn_window_ns: Option<Measured>,
    /// Total impulse over propellant weight at standard gravity.
    pub specific_s: Option<Measured>,
    /// Total impulse over propellant mass.
    pub exhaust_velocity_m_s: Option<Measured>,
    /// Where the uncertainty of the total comes from.
    pub budget: Vec<BudgetLine>,
    /// Relative standard uncertainty of the total that every firing with the same calibration shares.
    #[serde(skip)]
    pub(crate) calibration_relative_u: f64,
}

impl ImpulseReport {
    /// Takes back everything where cells stood still during the burn: what they did not read is not known.
    pub(crate) fn forget(&mut self, unsound: &IndexMap<String, String>) -> Finding {
        (self.total_ns, self.burn_window_ns) = (None, None);
        (self.specific_s, self.exhaust_velocity_m_s) = (None, None);
        self.budget.clear();
        let cells: Vec<String> = unsound
            .iter()
            .map(|(name, why)| format!("{name}: {why}"))
            .collect();
        Finding::plain(
            "every cell reads throughout the burn",
            Outcome::Fails,
            "no cell stands at one reading for a tenth of the burn",
            COMMON_PRACTICE,
        )
        .advice(cells.join("; "))
    }

    /// Takes back what rests on the propellant burnt where the record cannot tell how many motors lit: one or
    /// two of them is a specific impulse or its double.
    pub fn forget_propellant(&mut self) -> Option<Finding> {
        self.exhaust_velocity_m_s = None;
        self.specific_s.take().map(|_| {
            Finding::plain(
                "the record tells how much propellant burnt, which specific impulse rests on",
                Outcome::Undecided,
                "it is known which motors lit",
                "definition of specific impulse",
            )
            .advice(
                "give certified curves, offsets, tilt or gyro, or igniter currents, to tell which lit",
            )
        })
    }
}

/// One source of uncertainty of the total impulse.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct BudgetLine {
    /// What it is.
    pub source: String,
    /// Random or systematic.
    pub kind: Kind,
    /// Its standard uncertainty, N s.
    pub u_ns: f64,
    /// Its share of the variance, 0 to 1.
    #[cfg_attr(test, schemars(range(min = 0.0, max = 1.0)))]
    pub share: f64,
}

/// Integrates a burn. `propellant_kg` is the mass that burnt, and what its uncertainty is made of.
#[must_use]
pub(crate) fn integrate(
    trace: &ThrustTrace,
    burn: &Description,
    propellant_kg: Option<(f64, Vec<Term>)>,
) -> ImpulseReport {
    let (total_ns, terms) = area(trace, burn.measurable_s);
    let (window_ns, _) = area(trace, burn.window_s);
    let complete = burn.report.burn_time_s.is_some();
    // Of a burn that the record cuts off, only a part was seen.
    let velocity = propellant_kg
        .filter(|(mass, _)| *mass > 0.0 && complete)
        .map(|(mass, of_mass)| {
            let value = total_ns.value / mass;
            let of_impulse = terms.iter().cloned().map(|term| term.times(1.0 / mass));
            let of_mass = of_mass.into_iter().map(|term| term.times(value / mass));
            let all: Vec<Term> = of_impulse.chain(of_mass).collect();
            measured(value, &all, Unit::MetrePerSecond)
        });
    let specific = velocity
        .as_ref()
        .map(|velocity| velocity.times(1.0 / STANDARD_GRAVITY_M_S2, Unit::Second));
    let of_calibration: Vec<Term> = terms
        .iter()
        .filter(|term| term.of_calibration)
        .cloned()
        .collect();
    ImpulseReport {
        calibration_relative_u: combined(&of_calibration) / total_ns.value.abs(),
        budget: if complete { budget(&terms) } else { Vec::new() },
        total_ns: complete.then_some(total_ns),
        burn_window_ns: complete.then_some(window_ns),
        specific_s: specific,
        exhaust_velocity_m_s: velocity,
    }
}

/// Area between two times and what its uncertainty is made of.
fn area(trace: &ThrustTrace, window_s: (f64, f64)) -> (Measured, Vec<Term>) {
    let time_s = trace.thrust.time_s();
    let weights = trapezoid::weights(time_s, window_s.0, window_s.1);
    let value: f64 = weights
        .iter()
        .zip(trace.thrust.value())
        .map(|(w, v)| w * v)
        .sum();
    let mut terms = trace.terms(&weights);
    let coarse = trapezoid::bends(&trace.thrust, window_s.0, window_s.1);
    terms.push(Term::random("bends between the readings", coarse));
    (measured(value, &terms, Unit::NewtonSecond), terms)
}

/// One line for each source, the largest first.
fn budget(terms: &[Term]) -> Vec<BudgetLine> {
    let variance = combined(terms).powi(2);
    let mut sources: IndexMap<(&str, Kind), f64> = IndexMap::new();
    for term in terms.iter().filter(|term| term.u > 0.0) {
        *sources.entry((&term.source, term.kind)).or_default() += term.u * term.u;
    }
    let mut lines: Vec<BudgetLine> = sources
        .into_iter()
        .map(|((source, kind), square)| BudgetLine {
            source: source.to_owned(),
            kind,
            u_ns: square.sqrt(),
            share: square / variance,
        })
        .collect();
    lines.sort_by(|a, b| b.u_ns.total_cmp(&a.u_ns));
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::burn::describe::tests::{burn_of, reduced_by};
    use crate::config::BurnRule;
    use approx::assert_relative_eq;

    /// 100 N sin(pi t / 2) for two seconds: 400 / pi = 127.324 N s.
    fn half_sine(t: f64) -> f64 {
        100.0 * (std::f64::consts::FRAC_PI_2 * t).sin()
    }

    fn mass(kg: f64, u_kg: f64) -> Option<(f64, Vec<Term>)> {
        Some((kg, vec![Term::systematic("scales", u_kg)]))
    }

    // Own computation: the area above; 60 g of propellant give 2122.07 m/s, over 9.80665 m/s2
    // 216.39 s; a hundredth of the mass is a hundredth of these. Tolerance: what ends the burn at the first
    // and last reading that stands off leaves 1e-5 of the area, and the readings have next to no noise.
    #[test]
    fn a_half_sine_has_its_area_and_the_mass_its_share() {
        let (burn, trace) = burn_of(half_sine, 2.0);
        let found = integrate(&trace, &burn, mass(0.06, 0.0006));
        let of = |measured: &Option<Measured>| measured.clone().unwrap();
        assert_relative_eq!(of(&found.total_ns).value, 127.324, max_relative = 2e-5);
        // The window ends where thrust passes 5 N: 2/pi asin(0.05) = 0.0318 s from either end, and
        // 2 x (200/pi) (1 - cos(0.05002)) = 0.1592 N s are outside.
        let window = of(&found.burn_window_ns).value;
        assert_relative_eq!(window, 127.324 - 0.1592, max_relative = 2e-5);
        let velocity = of(&found.exhaust_velocity_m_s);
        assert_relative_eq!(velocity.value, 2122.07, max_relative = 2e-5);
        assert_relative_eq!(velocity.u, 21.2207, max_relative = 1e-3);
        assert_eq!(velocity.unit.symbol(), "m/s");
        let specific = of(&found.specific_s);
        assert_relative_eq!(specific.value, 216.391, max_relative = 2e-5);
        assert_relative_eq!(specific.u, 2.16391, max_relative = 1e-3);
        assert_eq!(specific.unit.symbol(), "s");
        let shares: f64 = found.budget.iter().map(|line| line.share).sum();
        assert_relative_eq!(shares, 1.0, epsilon = 1e-12);
    }

    #[test]
    fn what_the_impulse_adds_to_the_velocity_is_its_own_u_over_the_mass() {
        let (burn, trace) = burn_of(half_sine, 2.0);
        let found = integrate(&trace, &burn, mass(0.06, 0.0));
        let (total, velocity) = (found.total_ns.unwrap(), found.exhaust_velocity_m_s.unwrap());
        assert!(total.u > 0.0);
        assert_relative_eq!(velocity.u, total.u / 0.06, max_relative = 1e-9);
    }

    #[test]
    fn nothing_is_told_of_a_burn_that_the_record_cuts_off_or_of_no_mass() {
        let (burn, trace) = burn_of(half_sine, 2.0);
        assert_eq!(integrate(&trace, &burn, mass(0.0, 0.0)).specific_s, None);
        assert_eq!(integrate(&trace, &burn, None).specific_s, None);
        let steady = |_| 50.0;
        let (burn, trace) = reduced_by(1e-4, steady, 4.0, BurnRule::FivePercent, false);
        let mut cut = burn.clone();
        cut.report.burn_time_s = None;
        let found = integrate(&trace, &cut, mass(0.06, 0.0006));
        assert_eq!((found.total_ns, found.burn_window_ns), (None, None));
        assert_eq!((found.specific_s, found.budget), (None, vec![]));
    }

    // 3 and 4 of one source and kind are 5; with 12 of another the variance is 169.
    #[test]
    fn a_budget_adds_one_source_up_and_sorts() {
        let terms = [
            Term::random("noise", 3.0),
            Term::systematic("scale", 12.0),
            Term::random("noise", 2.0).times(-2.0),
            Term::random("nothing", 0.0),
        ];
        let lines = budget(&terms);
        let sources: Vec<(&str, Kind)> = lines
            .iter()
            .map(|line| (line.source.as_str(), line.kind))
            .collect();
        let worked = [("scale", Kind::Systematic), ("noise", Kind::Random)];
        assert_eq!(sources, worked);
        assert_relative_eq!(lines[0].u_ns, 12.0, max_relative = 1e-12);
        assert_relative_eq!(lines[0].share, 144.0 / 169.0, max_relative = 1e-12);
        assert_relative_eq!(lines[1].u_ns, 5.0, max_relative = 1e-12);
        assert_relative_eq!(lines[1].share, 25.0 / 169.0, max_relative = 1e-12);
    }
}
