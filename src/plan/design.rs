//! The commands of a burn that tell most of the steering, within hard limits.
//!
//! Criterion: the mean, over plants drawn from what is expected, of the log determinant of the covariance of gain,
//! lag, delay and backlash (D-optimality, Wald 1943; for inputs Goodwin & Payne, Dynamic System Identification,
//! 1977, ch. 6; averaged over a prior, Pronzato & Walter, Mathematical Biosciences 75, 1985), because a pattern that
//! is best for one plant is fragile. Candidates are the families of [`super::families`], each as large as the
//! limits allow; the best of the stepped ones is then improved by random moves that are kept when they are better
//! (a local search; Matyas 1965), since the criterion has many local optima.
//!
//! Limits: command and step of the command, stays of at least two rows, travel (saturating demands are simulated),
//! tilt on every draw, and in 99 % of many more; quiet before ignition has settled and before thrust fades.

use std::path::Path;

use indexmap::IndexMap;

use super::expected::{Expected, ExpectedAxis, Origin, Premise, expect};
use super::families::{self, Family, Table};
use super::information::{Actuator, STEERING, Setup, certified_thrust};
use super::motion::{Motion, Sampled, motion};
use super::options::PlanOptions;
use super::pattern::{
    Candidate, Course, Design, DesignedAxis, PatternWidth, SCHEMA, naming_the_pattern,
};
use super::rehearsal::noise::Stream;
use super::rest::AtRest;
use crate::config::Firing;
use crate::diagnostic::{Code, Diagnostic, Error, Place, Source};
use crate::numeric::parallel::each;
use crate::plant::Parameter;
use crate::plant::input::Estimate;
use crate::quantity::measured::NORMAL_FACTOR;
use crate::reduce::Tool;
use crate::series::Series;

/// Plants over which the criterion is a mean.
const DRAWS: usize = 8;
/// Plants on which the tilt limit is tried at the end, and the share of them that may pass it.
const TRIED: usize = 300;
const MAY_PASS: f64 = 0.005;
/// Moves tried to improve the best pattern.
const MOVES: usize = 400;
/// Smallest step of a command, deg.
const ROUND_DEG: f64 = 0.01;

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
    let thrust_n = certified_thrust(firing, expected.ignition_s.value, None);
    let thrust_n = if thrust_n.is_empty() {
        bench(&expected)
    } else {
        thrust_n
    };
    let span_s = families::span_s(expected.ignition_s.value, expected.burns_s);
    let mut problems = Vec::new();
    for (name, axis) in &expected.axes {
        if let Some(setup) = Setup::new(firing, (name, axis), &expected.rates_hz, &thrust_n) {
            let samples = samples(axis, name, DRAWS);
            let row_s = 1.0 / setup.rates_hz[0];
            problems.push((
                name,
                Problem {
                    setup,
                    samples,
                    row_s,
                    span_s,
                    axis,
                },
            ));
        }
    }
    let count = problems.len();
    watch(0, count);
    let designed = each(
        &problems,
        |(name, problem)| problem.solve(name),
        |done| watch(done, count),
    );
    let mut axes = IndexMap::new();
    for ((name, problem), designed) in problems.iter().zip(designed) {
        let Some(designed) = designed else {
            return Err(nothing_within_limits(name, problem));
        };
        axes.insert((*name).clone(), designed);
    }
    let row_s = problems.first().map_or(0.005, |(_, problem)| problem.row_s);
    Ok(Design {
        schema: SCHEMA,
        tool: Tool::this(),
        title: firing.title.clone(),
        row_s,
        axes,
        firing_file: naming_the_pattern(&Source::read(Path::new(&firing.file))?.text),
        premises: expected.premises,
    })
}

fn nothing_within_limits(name: &str, problem: &Problem<'_>) -> Error {
    let tilt_deg = problem.axis.tilt_limit_rad.to_degrees();
    let message =
        format!("no commands of axis `{name}` tell anything within {tilt_deg:.0} deg of tilt");
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

/// Plants that may be the true one.
fn samples(axis: &ExpectedAxis, name: &str, count: usize) -> Vec<Sampled> {
    let mut stream = Stream::new(count as u64, &format!("design {name}"));
    (0..count)
        .map(|_| {
            let mut drawn =
                |one: Estimate, least: f64| (one.value + one.u * stream.normal()).max(least);
            // Always of one sign: a gain that changed it would be found on the bench.
            let gain = drawn(axis.gain, f64::NEG_INFINITY);
            let actuator = Actuator {
                gain,
                lag_s: drawn(axis.lag_s, 0.2 * axis.lag_s.value),
                delay_s: drawn(axis.delay_s, 0.0),
                backlash_deg: drawn(axis.backlash_deg, 0.2 * axis.backlash_deg.value),
            };
            Sampled {
                actuator,
                thrust_scale: 1.0 + 0.05 * stream.normal(),
                misalignment_rad: 0.1_f64.to_radians() * stream.normal(),
            }
        })
        .collect()
}

/// One axis to be designed for.
struct Problem<'a> {
    setup: Setup<'a>,
    axis: &'a ExpectedAxis,
    samples: Vec<Sampled>,
    row_s: f64,
    span_s: (f64, f64),
}

/// A pattern in deg and its criterion.
#[derive(Debug, Clone)]
struct Weighed {
    family: Family,
    table: Table,
    log_determinant: f64,
}

impl Problem<'_> {
    fn solve(&self, name: &str) -> Option<DesignedAxis> {
        let mut all: Vec<Weighed> = Vec::new();
        for (family, shape) in self.shapes() {
            let Some(found) = self
                .as_large_as_allowed(&shape)
                .and_then(|table| self.weighed(family, table))
            else {
                continue;
            };
            match all.iter_mut().find(|one| one.family == family) {
                Some(one) if one.log_determinant <= found.log_determinant => {}
                Some(one) => *one = found,
                None => all.push(found),
            }
        }
        let stepped = |one: &&Weighed| !matches!(one.family, Family::Sine | Family::Multisine);
        let best = all
            .iter()
            .filter(stepped)
            .min_by(|a, b| a.log_determinant.total_cmp(&b.log_determinant))?;
        all.push(self.improved(best, name));
        all.sort_by(|a, b| a.log_determinant.total_cmp(&b.log_determinant));
        let taken = self.within_tilt(all.first()?.clone(), name);
        let candidates = all.iter().map(|one| self.candidate(one)).collect();
        let many = samples(self.axis, name, TRIED);
        let motions: Vec<Motion> = many
            .iter()
            .map(|one| self.motion(one, &taken.table))
            .collect();
        let limit = self.axis.tilt_limit_rad;
        let within = motions
            .iter()
            .filter(|one| one.largest_tilt_rad() <= limit)
            .count();
        Some(DesignedAxis {
            candidates,
            within_tilt_limit: within as f64 / TRIED as f64,
            tilt_limit_deg: limit.to_degrees(),
            picture: self.course(&taken.table, &motions),
            commands: taken.table,
        })
    }

    /// Every candidate, its largest value about 1.
    fn shapes(&self) -> Vec<(Family, Table)> {
        let (row_s, span_s) = (self.row_s, self.span_s);
        let least_s = 2.0 * row_s;
        let stay = |times: f64| (times * self.axis.lag_s.value).max(least_s);
        let whole = |stay_s: f64| (stay_s / row_s).round().max(2.0) * row_s;
        let mut out = vec![(
            Family::Sine,
            families::sine(0.5 * (span_s.1 - span_s.0), row_s, span_s),
        )];
        for times in [1.2, 1.8, 2.5, 3.5, 5.0] {
            let unit_s = whole(stay(times));
            out.push((
                Family::ThreeTwoOneOne,
                families::three_two_one_one(unit_s, span_s),
            ));
            out.push((Family::Doublets, families::doublets(unit_s, span_s)));
        }
        for seed in 0..12 {
            let stays_s = (
                whole(stay(1.0)),
                whole(stay(if seed % 2 == 0 { 4.0 } else { 7.0 })),
            );
            out.push((Family::Steps, families::steps(seed, stays_s, span_s)));
        }
        for times in [1.0, 2.0, 3.0] {
            let top_hz = (times / (std::f64::consts::TAU * self.axis.lag_s.value)).min(0.2 / row_s);
            let rows_s = whole(least_s);
            out.push((
                Family::Multisine,
                families::multisine(7, top_hz, rows_s, span_s),
            ));
        }
        for (_, table) in &mut out {
            for (at_s, _) in table.iter_mut() {
                *at_s = (*at_s / row_s).round() * row_s;
            }
            table.dedup_by(|later, earlier| later.0 <= earlier.0);
        }
        out
    }

    fn motion(&self, sampled: &Sampled, table: &[(f64, f64)]) -> Motion {
        motion(
            self.axis,
            sampled,
            table,
            (&self.setup.thrust_n, self.row_s),
        )
    }

    /// How far a table goes beyond its limits on the worst of the draws: at most 1 when it keeps them.
    fn load(&self, table: &[(f64, f64)]) -> f64 {
        let each = self.samples.iter().map(|one| {
            let motion = self.motion(one, table);
            let tilt = motion.largest_tilt_rad() / self.axis.tilt_limit_rad;
            tilt.max(motion.largest_step_deg() / self.axis.command_step_deg)
        });
        each.fold(0.0, f64::max)
    }

    /// A shape in deg, as large as every limit allows; `None` when even little of it is too much.
    fn as_large_as_allowed(&self, shape: &[(f64, f64)]) -> Option<Table> {
        let largest = shape
            .iter()
            .fold(0.0, |most: f64, (_, value)| most.max(value.abs()));
        let mut size_deg = self.axis.command_limit_deg / largest;
        for _ in 0..12 {
            let table = rounded(shape, size_deg);
            let load = self.load(&table);
            if load <= 1.0 {
                return Some(table);
            }
            size_deg *= (0.97 / load).max(0.5);
        }
        None
    }

    /// The covariance of the steering under a table on each draw; `None` where one tells nothing.
    fn covariances(&self, table: &[(f64, f64)]) -> Option<Vec<nalgebra::DMatrix<f64>>> {
        let each = self.samples.iter();
        each.map(|one| {
            let motion = self.motion(one, table);
            self.setup.steering(&motion.commands, &one.actuator)
        })
        .collect()
    }

    fn criterion(&self, table: &[(f64, f64)]) -> Option<f64> {
        let all = self.covariances(table)?;
        let sum: Option<f64> = all.iter().map(log_determinant).sum();
        Some(sum? / all.len() as f64)
    }

    fn weighed(&self, family: Family, table: Table) -> Option<Weighed> {
        let log_determinant = self.criterion(&table)?;
        Some(Weighed {
            family,
            table,
            log_determinant,
        })
    }

    /// Moves boundaries and levels, and keeps what is better and within the limits.
    fn improved(&self, from: &Weighed, name: &str) -> Weighed {
        let mut best = Weighed {
            family: Family::Improved,
            ..from.clone()
        };
        let mut stream = Stream::new(1, &format!("improve {name}"));
        for _ in 0..MOVES {
            let table = self.moved(&best.table, &mut stream);
            let Some(table) = table.filter(|table| self.load(table) <= 1.0) else {
                continue;
            };
            if let Some(found) = self
                .criterion(&table)
                .filter(|found| *found < best.log_determinant)
            {
                best = Weighed {
                    table,
                    log_determinant: found,
                    ..best
                };
            }
        }
        best
    }

    /// One random move; `None` when it leaves stays too short.
    fn moved(&self, table: &[(f64, f64)], stream: &mut Stream) -> Option<Table> {
        let mut out = table.to_vec();
        // The last row only ends the pattern.
        let at = stream.between(0.0, (out.len() - 1) as f64) as usize;
        let limit = self.axis.command_limit_deg;
        match stream.between(0.0, 4.0) as usize {
            0 => {
                let rows = stream.between(-6.0, 7.0).floor();
                let any = stream.between(0.0, out.len() as f64) as usize;
                out[any].0 += rows * self.row_s;
            }
            1 => out[at].1 = round(out[at].1 + 0.3 * limit * stream.normal()),
            2 => {
                let share = stream.between(0.25, 0.75);
                let (from_s, value) = out[at];
                let at_s = from_s + share * (out[at + 1].0 - from_s);
                let at_s = (at_s / self.row_s).round() * self.row_s;
                out.insert(at + 1, (at_s, round(-value * stream.between(0.2, 1.0))));
            }
            _ if out.len() > 5 => {
                out.remove(at);
            }
            _ => return None,
        }
        for (_, value) in &mut out {
            *value = value.clamp(-limit, limit);
        }
        let (from_s, to_s) = self.span_s;
        let guard_s = 0.5 * self.row_s;
        let apart = out
            .windows(2)
            .all(|pair| pair[1].0 - pair[0].0 >= 2.0 * self.row_s - guard_s);
        let inside = out.first()?.0 >= from_s - guard_s && out.last()?.0 <= to_s + guard_s;
        (apart && inside).then_some(out)
    }

    /// Made smaller until enough of many draws keep the tilt limit.
    fn within_tilt(&self, mut one: Weighed, name: &str) -> Weighed {
        let many = samples(self.axis, name, TRIED + 1);
        for _ in 0..20 {
            let beyond = many.iter().filter(|sampled| {
                self.motion(sampled, &one.table).largest_tilt_rad() > self.axis.tilt_limit_rad
            });
            if beyond.count() as f64 <= MAY_PASS * many.len() as f64 {
                break;
            }
            one.table = rounded(&one.table, 0.95);
        }
        one
    }

    fn candidate(&self, one: &Weighed) -> Candidate {
        let covariances = self.covariances(&one.table).unwrap_or_default();
        let largest = one
            .table
            .iter()
            .fold(0.0, |most: f64, (_, value)| most.max(value.abs()));
        let widths = STEERING.iter().enumerate().filter_map(|(at, parameter)| {
            let logs = covariances
                .iter()
                .map(|of| of[(at, at)])
                .filter(|variance| *variance > 0.0)
                .map(f64::ln);
            let logs: Vec<f64> = logs.collect();
            let mean = logs.iter().sum::<f64>() / logs.len() as f64;
            mean.is_finite()
                .then(|| width(*parameter, NORMAL_FACTOR * (0.5 * mean).exp()))
        });
        Candidate {
            family: one.family,
            amplitude_deg: largest,
            log_determinant: one.log_determinant,
            half_widths: widths.collect(),
        }
    }

    fn course(&self, table: &[(f64, f64)], motions: &[Motion]) -> Course {
        let expected = Sampled::of(self.axis);
        let own = self.motion(&expected, table);
        let mut out = Course::default();
        for step in (0..own.tilt_rad.len()).step_by(PICTURE_STEPS) {
            let time_s = step as f64 * 1e-3;
            let begun = own.commands.partition_point(|(at_s, _)| *at_s <= time_s);
            let mut tilts: Vec<f64> = motions
                .iter()
                .filter_map(|one| one.tilt_rad.get(step).copied())
                .collect();
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
}

/// Steps of the motion for each point of the picture.
const PICTURE_STEPS: usize = 10;

fn width(parameter: Parameter, half_width: f64) -> PatternWidth {
    PatternWidth {
        name: parameter.label().to_owned(),
        unit: parameter.unit(),
        half_width,
    }
}

fn round(value_deg: f64) -> f64 {
    (value_deg / ROUND_DEG).round() * ROUND_DEG
}

fn rounded(shape: &[(f64, f64)], size_deg: f64) -> Table {
    shape
        .iter()
        .map(|(at_s, value)| (*at_s, round(value * size_deg)))
        .collect()
}

/// Of the numbers that can be told; `None` when the matrix is none of a covariance.
fn log_determinant(of: &nalgebra::DMatrix<f64>) -> Option<f64> {
    let known: Vec<usize> = (0..of.nrows()).filter(|at| of[(*at, *at)] > 0.0).collect();
    let part = of.select_rows(&known).select_columns(&known);
    let factor = part.cholesky()?;
    Some(
        2.0 * factor
            .l()
            .diagonal()
            .iter()
            .map(|entry| entry.ln())
            .sum::<f64>(),
    )
}

/// What an axis is sent under its expected commands, a controller below them included.
pub(super) fn commands_sent(setup: &Setup<'_>) -> Table {
    let row_s = 1.0 / setup.rates_hz[0];
    let axis = setup.expected;
    motion(
        axis,
        &Sampled::of(axis),
        &axis.commands,
        (&setup.thrust_n, row_s),
    )
    .commands
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
    for (name, axis) in expected
        .axes
        .iter()
        .filter(|(_, axis)| axis.commands.is_empty())
    {
        let Some(setup) = Setup::new(firing, (name, axis), &expected.rates_hz, &thrust_n) else {
            continue;
        };
        let row_s = 1.0 / setup.rates_hz[0];
        let samples = samples(axis, name, DRAWS);
        let problem = Problem {
            setup,
            axis,
            samples,
            row_s,
            span_s,
        };
        let unit_s = (USUAL_STAY * axis.lag_s.value / row_s).round().max(2.0) * row_s;
        let shape = families::three_two_one_one(unit_s, span_s);
        let Some(table) = problem.as_large_as_allowed(&shape) else {
            return Err(nothing_within_limits(name, &problem));
        };
        found.push((name.clone(), table));
    }
    for (name, table) in found {
        let says = "a 3-2-1-1 as large as its limits allow".to_owned();
        let of = format!("axis {name}");
        expected.premises.push(Premise {
            of,
            says,
            from: Origin::Assumed,
        });
        if let Some(axis) = expected.axes.get_mut(&name) {
            axis.commands = table;
        }
    }
    Ok(())
}
