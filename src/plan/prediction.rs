//! What a firing to come will tell, and how surely: rehearsed and reduced many times.
//!
//! Each draw is one way the firing may go; what `reduce` states of it is what the maker will read that evening, so
//! the half widths predicted are those of the same intervals, systematic terms and all. Medians and percentiles are
//! over the draws. A second way, from the fit's derivatives alone ([`super::information`]), stands beside.

use serde::Serialize;

use super::design::{commands_sent, usual_commands};
use super::expected::{Expected, Premise, expect};
use super::information::{Setup, certified_thrust};
use super::narrower::{better_firing, of_axes, of_firing};
use super::options::PlanOptions;
use super::rehearsed::{Draw, rehearsed};
use super::rest::AtRest;
use super::widths::{Bettered, Case, Decided, OF_AXIS, OF_FIRING, half_width};
use crate::config::Firing;
use crate::diagnostic::Error;
use crate::finding::{self, COMMON_PRACTICE, Finding, Outcome};
use crate::motors::lit::Lit;
use crate::numeric::parallel::each;
use crate::quantity::Measured;
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
    // Commands of a log answer the tilt of that firing already; what one dead motor turns besides has to be answered anew.
    let answering = expected.clone();
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
        let expected = if dead.is_some() {
            &answering
        } else {
            &expected
        };
        work.extend((1..=draws).map(|seed| Work {
            firing,
            expected,
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
            let claim = format!("verdict on {name}, {when}");
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
