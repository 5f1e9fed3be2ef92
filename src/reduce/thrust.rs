//! Cells to thrust: the burn stages put together for one firing.

use indexmap::IndexMap;

use super::segment;
use super::signals::Signals;
use super::stand::{self, Stand};
use super::{Burnt, RingingSeen};
use crate::burn::describe::{Burn, Choice};
use crate::burn::impulse;
use crate::burn::load::{CellReadings, Load};
use crate::burn::ringing::in_record;
use crate::burn::segmentation::{self, Burning};
use crate::burn::thrust::{ThrustTrace, WeightLoss};
use crate::burn::{BurnReport, describe};
use crate::burn::{baseline, outlier, search};
use crate::calibration::{CalibratedCell, gravity};
use crate::config::{Cell, CellsOn, Firing};
use crate::diagnostic::Diagnostic;
use crate::finding::{COMMON_PRACTICE, Finding, Outcome};
use crate::motors::lit::Verdict;
use crate::quantity::{Given, Measured};
use crate::series::Series;
use crate::uncertainty::{Term, combined};

/// A burn is described within this much of where it was found, s.
const MARGIN_S: f64 = 0.25;

/// Measures thrust with the propellant of the motors that lit. `None` when nothing burnt.
pub(super) fn measure(
    firing: &Firing,
    signals: &mut Signals,
    cells: &IndexMap<String, CalibratedCell>,
    stand: &Stand,
    lit: &[String],
    warnings: &mut Vec<Diagnostic>,
) -> Option<Burnt> {
    segment::choose(signals, firing, cells);
    let readings = cell_readings(firing, signals, cells, |_| true);
    warnings.extend(wild_readings(firing, signals));
    let (within, several) = stretch(firing, &readings);
    warnings.extend(several);
    let asked = Asked {
        firing,
        signals,
        stand,
        clock_u_s: delay_u_s(firing),
        within,
    };
    let burnt = measure_cells(&asked, &readings, lit, warnings)?;
    warnings.extend(beyond_the_cells(firing, cells, &burnt));
    Some(burnt)
}

/// Readings of the cells that a test keeps, on the first log's clock, their delay taken off.
pub(super) fn cell_readings(
    firing: &Firing,
    signals: &Signals,
    cells: &IndexMap<String, CalibratedCell>,
    keep: impl Fn(&str) -> bool,
) -> Vec<CellReadings> {
    firing
        .cells
        .iter()
        .filter(|(name, _)| keep(name))
        .filter_map(|(name, cell)| {
            let delay_s = cell.delay.as_ref().map_or(0.0, Given::si);
            let (raw, _) = outlier::without_lone(&signals.series(&cell.signal)?);
            let raw = raw.map_time(|time| time - delay_s);
            let curve = cells.get(name)?.curve.clone();
            Some(CellReadings {
                name: name.clone(),
                raw,
                curve,
            })
        })
        .collect()
}

/// Lone wild readings of each cell, which were left out.
fn wild_readings(firing: &Firing, signals: &Signals) -> Vec<Diagnostic> {
    let told = |(name, cell): (&String, &Cell)| {
        let (_, wild) = outlier::without_lone(&signals.series(&cell.signal)?);
        let (time_s, reading) = wild.first()?;
        let message = format!(
            "{} of cell {name} left out: further from its neighbours than all others span \
             (the first, {reading}, at {time_s:.3} s)",
            if wild.len() == 1 {
                "one lone reading".to_owned()
            } else {
                format!("{} lone readings", wild.len())
            }
        );
        Some(
            Diagnostic::warning("wild-reading", message)
                .hint("converters write such codes when they run over or lose their cable"),
        )
    };
    firing.cells.iter().filter_map(told).collect()
}

/// Counts the same into the numbers of each log.
pub(super) fn count_wild(firing: &Firing, signals: &mut Signals) {
    for cell in firing.cells.values() {
        let Some(series) = signals.series(&cell.signal) else {
            continue;
        };
        let (_, wild) = outlier::without_lone(&series);
        if let Some(tally) = signals.tally(&cell.signal.log.value) {
            tally.wild += wild.len();
        }
    }
}

/// The largest standard uncertainty of a cell's delay, s: it moves all instants, no duration.
fn delay_u_s(firing: &Firing) -> f64 {
    let delays = firing.cells.values().filter_map(|cell| cell.delay.as_ref());
    delays
        .filter_map(Given::standard_uncertainty)
        .fold(0.0, f64::max)
}

/// What a measurement of thrust rests on beside the cells.
pub(super) struct Asked<'a> {
    /// The firing file.
    pub firing: &'a Firing,
    /// Its logs.
    pub signals: &'a Signals,
    /// What is known of the stand.
    pub stand: &'a Stand,
    /// Standard uncertainty of the cells' clock, s.
    pub clock_u_s: f64,
    /// The part of the record to look at, s; all of it when absent.
    pub within: Option<(f64, f64)>,
}

pub(super) fn measure_cells(
    asked: &Asked<'_>,
    readings: &[CellReadings],
    lit: &[String],
    warnings: &mut Vec<Diagnostic>,
) -> Option<Burnt> {
    let (firing, signals) = (asked.firing, asked.signals);
    let mut load = Load::from_cells(readings)?;
    if load.beyond_curve > 0 {
        let message = format!(
            "{} readings left out: the calibration curve has no load for them",
            load.beyond_curve
        );
        warnings.push(Diagnostic::warning("beyond-curve", message));
    }
    if let Some((from, to)) = asked.within {
        load = load.between(from, to);
    }
    let rule = firing.reduce.burn_rule;
    let found = search::find(&load.time_s, &load.force_n, rule.fraction())?;
    let burn_s = (
        load.time_s[found.rows.start],
        load.time_s[found.rows.end - 1],
    );
    let zero_line = baseline::find(&load.time_s, &load.force_n, &found.rows);
    let mut noticed = Vec::new();
    for (side, name) in [(&zero_line.before, "before"), (&zero_line.after, "after")] {
        if side.is_none() {
            noticed.push(no_rest(name));
        }
    }
    for (time_s, height_n) in &found.spikes {
        noticed.push(Diagnostic::warning(
            "spike",
            format!("a spike of {height_n:.1} N at {time_s:.3} s was not taken for burning"),
        ));
    }
    let cosine = match firing.stand.cells_on {
        CellsOn::Rocket => None,
        CellsOn::Ground => Some(cosine(firing, signals, &load.time_s)),
    };
    let weight = weight_loss(firing, lit);
    let trace = crate::burn::thrust::thrust(load, zero_line, burn_s, &weight, cosine.as_ref())?;
    let search_s = (burn_s.0 - MARGIN_S, burn_s.1 + MARGIN_S);
    let (burn, ringing) = described(asked, &trace, search_s)?;
    let impulse = impulse::integrate(&trace, &burn, propellant_kg(firing, lit));
    if burn.report.burn_time_s.is_none() {
        noticed.push(cut_off(&burn.report));
    }
    warnings.append(&mut noticed);
    Some(Burnt {
        trace,
        burn,
        impulse,
        within: asked.within,
        ringing,
    })
}

/// The part of the record to look at: the window that is given, or else, where several firings lie
/// in one record, that of the largest; and what to say of the others.
fn stretch(firing: &Firing, readings: &[CellReadings]) -> (Option<(f64, f64)>, Option<Diagnostic>) {
    if firing.reduce.window_s.is_some() {
        return (firing.reduce.window_s, None);
    }
    let Some(load) = Load::from_cells(readings) else {
        return (None, None);
    };
    let burns = segmentation::burns(
        &load.time_s,
        &load.force_n,
        firing.reduce.burn_rule.fraction(),
    );
    match segmentation::largest(&burns) {
        Some(largest) if burns.len() > 1 => (
            Some(largest.stretch_s),
            Some(several_burns(&burns, largest)),
        ),
        _ => (None, None),
    }
}

fn several_burns(burns: &[Burning], used: &Burning) -> Diagnostic {
    let list: Vec<String> = burns
        .iter()
        .map(|burn| {
            let (from_s, to_s, area_ns) = (burn.from_s, burn.to_s, burn.area_ns);
            format!("{from_s:.2} s to {to_s:.2} s (about {area_ns:.3} N s)")
        })
        .collect();
    let message = format!(
        "the record burns {} times, far apart: {}; the largest is used, from {:.2} s",
        burns.len(),
        list.join(", "),
        used.from_s
    );
    let (from_s, to_s) = used.stretch_s;
    Diagnostic::warning("several-burns", message)
        .hint(format!(
            "choose with [reduce] window = [\"..\", \"..\"]; here it is [\"{from_s:.1} s\", \"{to_s:.1} s\"]"
        ))
        .hint("a window that holds several of them makes them one burn")
}

/// Describes the burn, with the stand's ringing taken off where its mode is known.
fn described(
    asked: &Asked<'_>,
    trace: &ThrustTrace,
    search_s: (f64, f64),
) -> Option<(Burn, RingingSeen)> {
    let options = &asked.firing.reduce;
    let choice = |mode| Choice {
        rule: options.burn_rule,
        clock_u_s: asked.clock_u_s,
        mode,
        low_pass_hz: options.low_pass_hz.as_ref().map(|cut_off| cut_off.value),
    };
    let plain = describe::describe(trace, search_s, &choice(None))?;
    let edge = |edge: &Option<Measured>| edge.as_ref().map(|edge| edge.value);
    let record = in_record::find(
        &trace.thrust,
        edge(&plain.report.ignition_s),
        edge(&plain.report.burnout_s),
    );
    let Some((mode, _)) = asked.stand.mode(record.as_ref()) else {
        return Some((
            plain,
            RingingSeen {
                record,
                changed: None,
            },
        ));
    };
    let burn = describe::describe(trace, search_s, &choice(Some(&mode)))?;
    let changed = stand::changed(&plain, &burn);
    Some((burn, RingingSeen { record, changed }))
}

fn cut_off(burn: &BurnReport) -> Diagnostic {
    let end = if burn.ignition_s.is_none() {
        "beginning"
    } else {
        "end"
    };
    Diagnostic::warning(
        "cut-off",
        format!("the record does not hold the {end} of the burn, so its impulse is not known"),
    )
    .hint("log from two seconds before the fire command to three after burnout")
}

fn no_rest(side: &str) -> Diagnostic {
    Diagnostic::warning(
        "no-rest",
        format!("the record has no rest {side} the burn, so the zero line rests on one side"),
    )
    .hint("log at least two seconds before the fire command and three after burnout")
}

/// cos(tilt + nozzle angle) over all axes, for cells that stay on the ground.
fn cosine(firing: &Firing, signals: &Signals, time_s: &[f64]) -> Series {
    let angles: Vec<(Option<Series>, Option<Series>)> = firing
        .axes
        .values()
        .map(|axis| {
            let nozzle = axis.nozzle.as_ref().or(Some(&axis.command));
            (
                axis.tilt.as_ref().and_then(|tilt| signals.quantity(tilt)),
                nozzle.and_then(|nozzle| signals.quantity(nozzle)),
            )
        })
        .collect();
    let value: Vec<f64> = time_s
        .iter()
        .map(|time| {
            let at = |series: &Option<Series>| {
                series
                    .as_ref()
                    .and_then(|series| series.at(*time))
                    .unwrap_or(0.0)
            };
            angles
                .iter()
                .map(|(tilt, nozzle)| (at(tilt) + at(nozzle)).cos())
                .product()
        })
        .collect();
    Series::new(time_s, &value)
}

fn weight_loss(firing: &Firing, lit: &[String]) -> WeightLoss {
    let gravity = gravity::at(&firing.site).value_m_s2;
    let weight_n = propellant_kg(firing, lit).map(|(mass_kg, terms)| {
        let terms = terms.into_iter().map(|term| term.times(gravity));
        (mass_kg * gravity, terms.collect())
    });
    WeightLoss {
        sign: firing.stand.mount.weight_sign(),
        weight_n,
    }
}

/// Propellant of the motors that lit, kg, and what its uncertainty is made of; `None` unless the mass
/// of each is known.
fn propellant_kg(firing: &Firing, lit: &[String]) -> Option<(f64, Vec<Term>)> {
    let mut sum = (0.0, Vec::new());
    for name in lit {
        let propellant = &firing.motors.get(name)?.propellant;
        sum.0 += propellant.burnt_kg()?.0;
        sum.1
            .extend(propellant.terms("weight of the burnt propellant"));
    }
    (sum.0 > 0.0).then_some(sum)
}

fn beyond_the_cells(
    firing: &Firing,
    cells: &IndexMap<String, CalibratedCell>,
    burnt: &Burnt,
) -> Vec<Diagnostic> {
    let mut out = Vec::new();
    for part in &burnt.trace.load().cells {
        let highest = part
            .force_n
            .iter()
            .copied()
            .fold(f64::NEG_INFINITY, f64::max);
        let capacity = firing
            .cells
            .get(&part.name)
            .and_then(|cell| cell.capacity.as_ref());
        if let Some(capacity) = capacity.filter(|capacity| highest > capacity.si()) {
            out.push(
                Diagnostic::warning(
                    "over-capacity",
                    format!(
                        "cell {} read {highest:.1} N, above its capacity of {:.1} N",
                        part.name,
                        capacity.si()
                    ),
                )
                .hint("calibrate it again before the next firing, it may have yielded"),
            );
        }
        let range = cells.get(&part.name).and_then(|cell| cell.curve.range);
        if let Some([low, high]) = range.filter(|range| highest > 1.02 * range[1]) {
            out.push(
                Diagnostic::warning(
                    "beyond-points",
                    format!(
                        "cell {} read {highest:.1} N, but its points reach from {low:.1} to \
                         {high:.1} N",
                        part.name
                    ),
                )
                .hint("calibrate with loads up to the highest thrust"),
            );
        }
    }
    out
}

/// How far the shift of rest may differ from the weighed propellant.
const WEIGHING_SHARE: f64 = 0.25;

/// Findings of the burn: does the shift of rest agree with the weighed propellant?
pub(super) fn findings(
    firing: &Firing,
    cells: &IndexMap<String, CalibratedCell>,
    trace: &ThrustTrace,
    verdict: Option<&Verdict>,
) -> Vec<Finding> {
    let mut out = Vec::new();
    let lit = verdict
        .map(|verdict| verdict.lit.clone())
        .unwrap_or_default();
    let sign = firing.stand.mount.weight_sign();
    if let (Some((shift_n, u_n)), Some((mass_kg, terms))) =
        (trace.shift_n(), propellant_kg(firing, &lit))
        && sign != 0.0
    {
        let gravity = gravity::at(&firing.site).value_m_s2;
        let u_kg = combined(&terms);
        let grams = Measured::normal(1e3 * sign * shift_n / gravity, 1e3 * u_n / gravity, "g");
        let limits = [1.0 - WEIGHING_SHARE, 1.0 + WEIGHING_SHARE]
            .map(|share| Some(1e3 * (mass_kg * share + 2.0 * u_kg * (share - 1.0).signum())));
        out.push(
            Finding::within(
                "the change of rest agrees with the propellant that was weighed",
                grams,
                limits,
                "mass lost by the cells within 25 % of the stated propellant",
                COMMON_PRACTICE,
            )
            .advice(
                "a drifting zero, a loose cable or a spent casing that was thrown out show here",
            ),
        );
    }
    for part in &trace.load().cells {
        if let Some(range) = cells.get(&part.name).and_then(|cell| cell.curve.range) {
            let highest = part
                .force_n
                .iter()
                .copied()
                .fold(f64::NEG_INFINITY, f64::max);
            let inside = highest <= range[1] * 1.02;
            out.push(Finding::plain(
                format!("cell {} was calibrated as far as it was loaded", part.name),
                if inside {
                    Outcome::Holds
                } else {
                    Outcome::Fails
                },
                format!(
                    "highest load {highest:.1} N, points up to {:.1} N",
                    range[1]
                ),
                COMMON_PRACTICE,
            ));
        }
    }
    out
}
