//! The commands of a burn that tell most of the steering, within hard limits: for each axis a search
//! ([`super::search`]), and what is shown of what it found.

use std::path::Path;

use indexmap::IndexMap;

use super::expected::{Expected, Origin, Premise, expect};
use super::families::{self, Table};
use super::information::{STEERING, Setup, certified_thrust};
use super::motion::{Motion, STEP_S, Sampled, motion};
use super::options::PlanOptions;
use super::pattern::{
    Candidate, Course, Design, DesignedAxis, PatternWidth, SCHEMA, naming_the_pattern,
};
use super::rest::AtRest;
use super::search::{OF_TILT_LIMIT, Problem, Weighed};
use crate::config::Firing;
use crate::diagnostic::{Code, Diagnostic, Error, Place, Source};
use crate::numeric::parallel::each;
use crate::quantity::measured::NORMAL_FACTOR;
use crate::reduce::Tool;
use crate::series::Series;

/// Designs the commands of every axis; `watch` hears how many steps are done, of how many.
///
/// # Errors
/// Files that are there and cannot be read; a firing without an axis or without thrust to steer by.
pub fn design(
    firing: &Firing,
    options: &PlanOptions,
    watch: &(dyn Fn(usize, usize) + Sync),
) -> Result<Design, Error> {
    let expected = expect(firing, &AtRest::read(firing, &options.rest_paths())?)?;
    if expected.axes.is_empty() {
        let message = "there is no axis to be steered";
        return Err(Diagnostic::error(Code::NothingDescribed, message)
            .at(Place::file(&*firing.file))
            .hint("add a table such as [axis.pitch]")
            .into());
    }
    let certified = certified_thrust(firing, expected.ignition_s.value, None);
    let thrust_n = if certified.is_empty() {
        bench(&expected)
    } else {
        certified
    };
    let problems: Vec<(&String, Problem<'_>)> = expected
        .axes
        .keys()
        .filter_map(|name| Some((name, Problem::new(firing, &expected, name, &thrust_n)?)))
        .collect();
    let count = problems.len();
    watch(0, count);
    let solve = |(name, problem): &(&String, Problem<'_>)| problem.solve(name, options.moves);
    let solved = each(&problems, solve, |done| watch(done, count));
    let mut axes = IndexMap::new();
    for ((name, problem), all) in problems.iter().zip(solved) {
        let designed = all.and_then(|all| designed(problem, &all));
        let designed = designed.ok_or_else(|| nothing_within_limits(name, problem))?;
        axes.insert((*name).clone(), designed);
    }
    Ok(Design {
        schema: SCHEMA,
        tool: Tool::this(),
        title: firing.title.clone(),
        row_s: problems
            .first()
            .map_or(0.005, |(_, problem)| problem.row_s()),
        axes,
        firing_file: naming_the_pattern(&Source::read(Path::new(&firing.file))?.text),
        premises: expected.premises,
    })
}

fn nothing_within_limits(name: &str, problem: &Problem<'_>) -> Error {
    let tilt_deg = OF_TILT_LIMIT * problem.setup.expected.tilt_limit_rad.to_degrees();
    let (keep, of) = problem.quiet_flights();
    let message = format!(
        "no commands of axis `{name}` tell anything within {tilt_deg:.1} deg, {OF_TILT_LIMIT} of the tilt limit: without any, {keep} of {of} sampled \
         flights keep it"
    );
    Diagnostic::error(Code::NothingDescribed, message)
        .at(problem.setup.axis.place.clone())
        .hint("under [plan.axis], give kp and kd of the controller that runs below the pattern, or a wider tilt_limit")
        .into()
}

/// A dry run has no thrust, and its nozzle is to be moved all the same.
fn bench(expected: &Expected) -> Series {
    let end_s = expected.ignition_s.value + expected.burns_s;
    Series::new(&[expected.ignition_s.value, end_s], &[0.0, 0.0])
}

fn designed(problem: &Problem<'_>, all: &[Weighed]) -> Option<DesignedAxis> {
    let taken = all.first()?;
    let motions = problem.motions(&taken.table);
    let limit = problem.setup.expected.tilt_limit_rad;
    let within = motions.iter().filter(|one| one.largest_tilt_rad() <= limit);
    Some(DesignedAxis {
        candidates: all.iter().map(candidate).collect(),
        within_tilt_limit: within.count() as f64 / motions.len() as f64,
        tilt_limit_deg: limit.to_degrees(),
        picture: course(problem, &taken.table, &motions),
        commands: taken.table.clone(),
    })
}

fn candidate(one: &Weighed) -> Candidate {
    let values = one.table.iter().map(|(_, value)| value.abs());
    let widths = STEERING.iter().enumerate().filter_map(|(at, parameter)| {
        let us = one.told.iter().map(|told| told.u[at]);
        let logs: Vec<f64> = us.filter(|u| *u > 0.0).map(f64::ln).collect();
        let mean = logs.iter().sum::<f64>() / logs.len() as f64;
        mean.is_finite().then(|| PatternWidth {
            name: parameter.label().to_owned(),
            unit: parameter.unit(),
            half_width: NORMAL_FACTOR * mean.exp(),
        })
    });
    Candidate {
        family: one.family,
        commands: one.table.clone(),
        amplitude_deg: values.fold(0.0, f64::max),
        log_determinant: one.log_determinant(),
        half_widths: widths.collect(),
    }
}

/// Steps of the motion for each point of the picture.
const PICTURE_STEPS: usize = 10;

fn course(problem: &Problem<'_>, table: &[(f64, f64)], motions: &[Motion]) -> Course {
    let expected = Sampled::of(problem.setup.expected, &problem.setup.thrust_n);
    let own = problem.motion(&expected, table);
    let mut out = Course::default();
    for step in (0..own.tilt_rad.len()).step_by(PICTURE_STEPS) {
        let time_s = step as f64 * STEP_S;
        let begun = own.commands.partition_point(|(at_s, _)| *at_s <= time_s);
        let tilts = motions.iter().filter_map(|one| one.tilt_rad.get(step));
        let mut tilts: Vec<f64> = tilts.copied().collect();
        tilts.sort_by(f64::total_cmp);
        out.time_s.push(time_s);
        out.command_deg
            .push(begun.checked_sub(1).map_or(0.0, |at| own.commands[at].1));
        out.nozzle_deg.push(own.nozzle_rad[step].to_degrees());
        for (share, band) in [0.05, 0.5, 0.95].into_iter().zip(&mut out.tilt_deg) {
            let at = (share * tilts.len().saturating_sub(1) as f64).round() as usize;
            band.push(tilts.get(at).copied().unwrap_or(0.0).to_degrees());
        }
    }
    out
}

/// What an axis is sent under its expected commands, a controller below them included.
pub(super) fn commands_sent(setup: &Setup<'_>) -> Table {
    let axis = setup.expected;
    let expected = Sampled::of(axis, &setup.thrust_n);
    motion(axis, &expected, &axis.commands, 1.0 / setup.rates_hz[0]).commands
}

/// Stay of the usual pattern in lags of the nozzle.
const USUAL_STAY: f64 = 2.5;

/// Where neither file nor record gives commands: a 3-2-1-1, as large as the limits allow.
///
/// # Errors
/// Nothing within the limits would steer an axis.
pub(super) fn usual_commands(firing: &Firing, expected: &mut Expected) -> Result<(), Error> {
    let thrust_n = certified_thrust(firing, expected.ignition_s.value, None);
    let span_s = families::span_s(expected.ignition_s.value, expected.burns_s);
    let mut found = Vec::new();
    for (name, axis) in &expected.axes {
        let problem = Problem::new(firing, expected, name, &thrust_n);
        let Some(problem) = problem.filter(|_| axis.commands.is_empty()) else {
            continue;
        };
        let row_s = problem.row_s();
        let unit_s = (USUAL_STAY * axis.lag_s.value / row_s).round().max(2.0) * row_s;
        let shape = families::three_two_one_one(unit_s, span_s);
        let table = problem.as_large_as_allowed(&shape);
        let table = table.ok_or_else(|| nothing_within_limits(name, &problem))?;
        found.push((name.clone(), table));
    }
    for (name, table) in found {
        let says = "a 3-2-1-1 as large as its limits allow".to_owned();
        let of = format!("axis {name}");
        let from = Origin::Assumed;
        expected.premises.push(Premise { of, says, from });
        if let Some(axis) = expected.axes.get_mut(&name) {
            axis.commands = table;
        }
    }
    Ok(())
}
