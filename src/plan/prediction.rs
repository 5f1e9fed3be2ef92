//! What a firing to come will tell, and how surely: rehearsed and reduced many times.
//!
//! Each draw is one way the firing may go; what `reduce` states of it is what the maker will read that evening, so
//! the half widths predicted are those of the same intervals, systematic terms and all. Medians and percentiles are
//! over the draws. A second way, from the fit's derivatives alone ([`super::information`]), stands beside.

use indexmap::IndexMap;
use serde::Serialize;

use super::design::{commands_sent, usual_commands};
use super::expected::{Expected, Premise, expect};
use super::information::{Setup, certified_thrust};
use super::narrower::{better_firing, of_axes, of_firing};
use super::options::PlanOptions;
use super::rehearsed::{Draw, rehearsed};
use super::rest::AtRest;
use crate::config::Firing;
use crate::diagnostic::Error;
use crate::finding::{self, COMMON_PRACTICE, Finding, Outcome};
use crate::motors::lit::Lit;
use crate::numeric::parallel::each;
use crate::plant::Parameter;
use crate::quantity::{Measured, Unit};
use crate::reduce::{FiringResult, Tool, reduce};

/// Schema number of `plan.json`.
const SCHEMA: u32 = 1;

/// What a firing to come will tell.
#[derive(Debug, Clone, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Prediction {
    /// Schema number.
    #[cfg_attr(test, schemars(extend("const" = 1)))]
    pub schema: u32,
    /// The program that made it.
    pub tool: Tool,
    /// Title of the firing.
    pub title: String,
    /// Draws with all lit; with one dead, a third of them.
    pub draws: usize,
    /// What it rests on.
    pub premises: Vec<Premise>,
    /// With all motors lit; then with one whose igniter fails, where there are several.
    pub cases: Vec<Case>,
    /// What would narrow it, the most first.
    pub narrower: Vec<Bettered>,
    /// What was judged of the plan.
    pub findings: Vec<Finding>,
}

impl Prediction {
    /// Whether every finding holds.
    #[must_use]
    pub fn every_finding_holds(&self) -> bool {
        finding::all_hold(&self.findings)
    }
}

/// One way the motors may light.
#[derive(Debug, Clone, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Case {
    /// The motor that does not light.
    pub dead: Option<String>,
    /// Its draws.
    pub draws: usize,
    /// Draws that could not be reduced.
    pub refused: usize,
    /// Impulse, times, thrust.
    pub results: Vec<HalfWidth>,
    /// The plant of each axis.
    pub axes: IndexMap<String, Vec<HalfWidth>>,
    /// Each motor's verdict.
    pub motors: IndexMap<String, Decided>,
}

/// How wide an interval will be.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct HalfWidth {
    /// Of what.
    pub name: String,
    /// The unit of value and widths.
    pub unit: Unit,
    /// Median of the values.
    pub value: f64,
    /// Median of half the 95 % intervals' widths.
    pub median: f64,
    /// Their 5 % percentile.
    pub low: f64,
    /// Their 95 % percentile.
    pub high: f64,
    /// Draws in which it could be told.
    pub told: usize,
    /// The same from the fit's derivatives alone.
    pub information: Option<f64>,
}

/// How often a verdict is right.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Decided {
    /// Draws in which it is decided as it was.
    pub right: usize,
    /// Draws in which it stays undecided.
    pub undecided: usize,
    /// Draws in which it is decided otherwise.
    pub wrong: usize,
}

/// One input bettered, and the result that gains most by it.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Bettered {
    /// What would be better.
    pub change: String,
    /// Which result, with its axis.
    pub result: String,
    /// Its unit.
    pub unit: Unit,
    /// Median half width with it.
    pub half_width: f64,
    /// Without it, over the same draws.
    pub was: f64,
}

/// Predicts what a firing will tell; `watch` hears how many rehearsals are done, of how many.
///
/// # Errors
/// Files that are there and cannot be read; a firing file that says too little to think the firing through.
pub fn plan(
    firing: &Firing,
    options: &PlanOptions,
    watch: &(dyn Fn(usize, usize) + Sync),
) -> Result<Prediction, Error> {
    let mut expected = expect(firing, &AtRest::read(firing, &options.rest_paths())?)?;
    usual_commands(firing, &mut expected)?;
    for axis in expected.axes.values_mut().filter(|axis| axis.fed_back) {
        (axis.kp, axis.kd_s) = (0.0, 0.0);
    }
    let dead = firing
        .motors
        .keys()
        .next()
        .filter(|_| firing.motors.len() > 1);
    let cases: Vec<Option<&str>> = std::iter::once(None)
        .chain(dead.map(|one| Some(one.as_str())))
        .collect();
    let better = better_firing(firing);
    let draws = options.draws.max(2);
    let few = draws.min(FEW_DRAWS);
    let mut work: Vec<Work<'_>> = Vec::new();
    for dead in &cases {
        let draws = draws_of(*dead, draws);
        work.extend((1..=draws).map(|seed| Work {
            firing,
            expected: &expected,
            dead: *dead,
            seed: seed as u64,
        }));
    }
    if let Some(better) = &better {
        work.extend((1..=few).map(|seed| Work {
            firing: &better.firing,
            expected: &expected,
            dead: None,
            seed: seed as u64,
        }));
    }
    let count = work.len();
    watch(0, count);
    let results = each(&work, Work::result, |done| watch(done, count));
    // Refused for a reason that no draw changes: that is what the maker has to know.
    if let Some(Err(why)) = results.first()
        && results.iter().all(Result::is_err)
    {
        return Err(why.clone());
    }
    let reduced: Vec<Option<&FiringResult>> = results.iter().map(|one| one.as_ref().ok()).collect();
    let mut rest = reduced.as_slice();
    let own = &reduced[..few];
    let mut told = Vec::new();
    for dead in &cases {
        let (results, after) = rest.split_at(draws_of(*dead, draws));
        rest = after;
        told.push(case(firing, &expected, *dead, results));
    }
    let cases = told;
    let mut narrower = better.map_or_else(Vec::new, |better| of_firing(&better, own, rest));
    if let Some(case) = cases.first() {
        let thrust_n = certified_thrust(firing, expected.ignition_s.value, None);
        narrower.extend(of_axes(firing, &expected, &thrust_n, case));
    }
    narrower.sort_by(|a, b| (a.half_width / a.was).total_cmp(&(b.half_width / b.was)));
    Ok(Prediction {
        schema: SCHEMA,
        tool: Tool::this(),
        title: firing.title.clone(),
        draws,
        findings: findings(firing, &cases),
        premises: expected.premises,
        cases,
        narrower,
    })
}

/// Draws that bettered inputs are tried in.
const FEW_DRAWS: usize = 3;

/// A dead motor changes little but the verdicts, so a third of the draws shows it.
fn draws_of(dead: Option<&str>, draws: usize) -> usize {
    if dead.is_some() {
        draws.div_ceil(3)
    } else {
        draws
    }
}

/// One rehearsal to be reduced.
struct Work<'a> {
    firing: &'a Firing,
    expected: &'a Expected,
    dead: Option<&'a str>,
    seed: u64,
}

impl Work<'_> {
    fn result(&self) -> Result<FiringResult, Error> {
        let draw = Draw {
            seed: self.seed,
            dead: self.dead,
        };
        Ok(reduce(&rehearsed(self.firing, self.expected, draw)?)?.result)
    }
}

fn case(
    firing: &Firing,
    expected: &Expected,
    dead: Option<&str>,
    results: &[Option<&FiringResult>],
) -> Case {
    let known: Vec<&FiringResult> = results.iter().copied().flatten().collect();
    let thrust_n = certified_thrust(firing, expected.ignition_s.value, dead);
    let axes = expected.axes.iter().map(|(name, axis)| {
        let setup = Setup::new(firing, (name, axis), &expected.rates_hz, &thrust_n);
        let information = setup
            .map(|setup| setup.half_widths(&commands_sent(&setup)))
            .unwrap_or_default();
        let widths = OF_AXIS.iter().filter_map(|parameter| {
            let of = |result: &FiringResult| result.plant.get(name)?.value(*parameter).cloned();
            let mut width = half_width(parameter.label(), &known, of)?;
            width.information = information.get(parameter).copied();
            Some(width)
        });
        (name.clone(), widths.collect())
    });
    let motors = firing.motors.keys().map(|name| {
        let mut out = Decided::default();
        let lights = dead != Some(name.as_str());
        for motor in known
            .iter()
            .filter_map(|result| result.motors.as_ref()?.get(name))
        {
            match (motor.lit, lights) {
                (Lit::Undecided, _) => out.undecided += 1,
                (Lit::Lit, true) | (Lit::NotLit, false) => out.right += 1,
                (Lit::Lit, false) | (Lit::NotLit, true) => out.wrong += 1,
            }
        }
        (name.clone(), out)
    });
    Case {
        dead: dead.map(str::to_owned),
        draws: results.len(),
        refused: results.len() - known.len(),
        results: OF_FIRING
            .iter()
            .filter_map(|(name, of)| half_width(name, &known, *of))
            .collect(),
        axes: axes.collect(),
        motors: motors.collect(),
    }
}

/// What is told of an axis.
const OF_AXIS: [Parameter; 5] = [
    Parameter::Gain,
    Parameter::Lag,
    Parameter::Delay,
    Parameter::DeadBandWidth,
    Parameter::Effectiveness,
];

pub(super) type OfFiring = fn(&FiringResult) -> Option<Measured>;

/// What is told of a firing.
pub(super) const OF_FIRING: [(&str, OfFiring); 7] = [
    ("total impulse", |of| of.impulse.as_ref()?.total_ns.clone()),
    ("specific impulse", |of| {
        of.impulse.as_ref()?.specific_s.clone()
    }),
    ("ignition", |of| of.burn.as_ref()?.ignition_s.clone()),
    ("burn time", |of| of.burn.as_ref()?.burn_time_s.clone()),
    ("peak thrust", |of| of.thrust.as_ref()?.peak_n.clone()),
    ("average thrust", |of| of.thrust.as_ref()?.average_n.clone()),
    ("stagger", |of| of.ignition.as_ref()?.stagger_s.clone()),
];

pub(super) fn half_width(
    name: &str,
    results: &[&FiringResult],
    of: impl Fn(&FiringResult) -> Option<Measured>,
) -> Option<HalfWidth> {
    let told: Vec<Measured> = results.iter().filter_map(|result| of(result)).collect();
    let unit = told.first()?.unit;
    let sorted = |of: fn(&Measured) -> f64| {
        let mut all: Vec<f64> = told.iter().map(of).collect();
        all.sort_by(f64::total_cmp);
        all
    };
    let widths = sorted(|one| 0.5 * (one.high - one.low));
    Some(HalfWidth {
        name: name.to_owned(),
        unit,
        value: percentile(&sorted(|one| one.value), 0.5),
        median: percentile(&widths, 0.5),
        low: percentile(&widths, 0.05),
        high: percentile(&widths, 0.95),
        told: told.len(),
        information: None,
    })
}

/// Straight between the ranks of sorted numbers (Hyndman & Fan, The American Statistician 50, 1996, definition 7).
fn percentile(sorted: &[f64], share: f64) -> f64 {
    let at = share * sorted.len().saturating_sub(1) as f64;
    let below = at.floor() as usize;
    let (Some(low), Some(high)) = (sorted.get(below), sorted.get(at.ceil() as usize)) else {
        return f64::NAN;
    };
    low + (at - below as f64) * (high - low)
}

/// By how much the two ways may differ before it is said.
pub(crate) const WAYS_AGREE: f64 = 1.25;

/// Share of draws in which a verdict has to be right.
const DECIDED: f64 = 0.95;

fn findings(firing: &Firing, cases: &[Case]) -> Vec<Finding> {
    let mut out = Vec::new();
    for case in cases {
        let when = case.dead.as_ref().map_or_else(
            || "with all lit".to_owned(),
            |dead| format!("with {dead} dead"),
        );
        for (name, decided) in &case.motors {
            let rule = format!(
                "right in {} of {} rehearsals, undecided in {}; 95 % are asked",
                decided.right, case.draws, decided.undecided
            );
            let outcome = if decided.wrong > 0 {
                Outcome::Fails
            } else if decided.right as f64 >= DECIDED * case.draws as f64 {
                Outcome::Holds
            } else {
                Outcome::Undecided
            };
            let claim = format!("whether {name} lit will be told, {when}");
            out.push(Finding::plain(claim, outcome, rule, COMMON_PRACTICE));
        }
    }
    let impulse = cases
        .first()
        .and_then(|case| case.results.iter().find(|one| one.name == OF_FIRING[0].0));
    if let Some((wanted, got)) = firing.plan.impulse_within.as_ref().zip(impulse) {
        let u = (got.high - got.low) / 3.29;
        let measured = Measured::normal(got.median, u, got.unit);
        let claim = "the interval of the total impulse will be as narrow as wanted";
        let rule = "half width over the rehearsals";
        out.push(Finding::within(
            claim,
            measured,
            [None, Some(wanted.si())],
            rule,
            "the firing file",
        ));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    // Hyndman & Fan's definition 7 of 1, 2, 3, 4, 10: the 5 % percentile lies a fifth of the way to the second.
    #[test]
    fn percentiles_lie_straight_between_the_ranks() {
        let all = [1.0, 2.0, 3.0, 4.0, 10.0];
        assert!((percentile(&all, 0.05) - 1.2).abs() < 1e-12);
        assert!((percentile(&all, 0.5) - 3.0).abs() < 1e-12);
        assert!((percentile(&all, 0.95) - 8.8).abs() < 1e-12);
    }
}
