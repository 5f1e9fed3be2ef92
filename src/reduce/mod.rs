//! From a firing file to a result: the stages called in order, and nothing else.
//!
//! ```text
//! firing file -> records -> clocks -> cells -> thrust -> plant of each axis -> which motors lit
//!             -> thrust again with what burnt -> impulse -> chamber -> class -> result
//! ```

mod axes;
mod cell_limits;
mod chamber;
mod lit;
mod overlap;
mod pieces;
mod progress;
mod rate;
mod recognise;
mod result;
mod segment;
mod signals;
mod silence;
mod stand;
mod thrust;

pub use axes::fit_all as fit_axes;
pub use progress::{Doing, Tell};
pub use result::{Caution, FiringResult, Reduction, SCHEMA, Tool, Traces};

use std::path::Path;

use indexmap::IndexMap;

use crate::burn::StandReport;
use crate::burn::describe::Burn;
use crate::burn::impulse::ImpulseReport;
use crate::burn::ringing::Ringing;
use crate::burn::thrust::ThrustTrace;
use crate::calibration::{self, CalibratedCell};
use crate::cautions;
use crate::config::Firing;
use crate::diagnostic::{Diagnostic, Problems, Warning};
use crate::finding::Finding;
use crate::motors::chamber::ChamberReport;
use crate::motors::class::{self, ClassReport, Delivered};
use crate::motors::lit::{Lit, Verdict};
use crate::numeric::trapezoid;
use crate::plant::{AxisFit, AxisInput, PlantFile, SampledThrust, result as plant_file};
use crate::series::Series;
use progress::Progress;
use signals::Signals;

/// What the firing burnt, once it is known which motors lit.
struct Burnt {
    trace: ThrustTrace,
    burn: Burn,
    impulse: ImpulseReport,
    /// The part of the record it was looked for in, s, where that is not the whole.
    within: Option<(f64, f64)>,
    ringing: RingingSeen,
}

/// What the burn shows of the stand's ringing.
struct RingingSeen {
    /// Free ringing in the record itself.
    record: Option<Ringing>,
    /// What taking ringing off changed: peak, N, and ignition, s.
    changed: Option<(f64, Option<f64>)>,
}

/// Reduces a firing.
///
/// # Errors
/// Input that cannot be read or does not fit together, each problem with its place.
pub fn reduce(firing: &Firing) -> Result<Reduction, Problems> {
    reduce_told(firing, &|_| ())
}

/// Reduces a firing and tells how far it is, from several threads; more steps may turn out to be needed on
/// the way.
///
/// # Errors
/// As [`reduce`].
pub fn reduce_told(firing: &Firing, tell: Tell<'_>) -> Result<Reduction, Problems> {
    let progress = Progress::new(tell);
    let mut signals = signals::read(firing, &progress)?;
    overlap::with_first(firing, &signals)?;
    let cells = calibrate(firing)?;
    let mut warnings = signals.take_warnings();
    warnings.extend(signals.off_scale(firing));
    warnings.extend(
        cells
            .values()
            .flat_map(|cell| cell.warnings.iter().cloned()),
    );

    stand::check_low_pass(firing, &signals)?;
    let stand = stand::known(firing, &mut signals, &cells, &mut warnings);
    let all: Vec<String> = firing.motors.keys().cloned().collect();
    let mut burnt = thrust::measure(firing, &mut signals, &cells, &stand, &all, &mut warnings);
    warnings.extend(signals.take_warnings());
    thrust::count_wild(firing, &mut signals);
    match &burnt {
        Some(burnt) => cell_limits::believable(firing, &signals, &cells, burnt)?,
        None => silence::explained(firing, &signals, &cells)?,
    }
    let missed = burnt.as_ref().map_or_else(IndexMap::new, |burnt| {
        overlap::missing_the_burn(firing, &signals, burnt.burn.window_s)
    });
    warnings.extend(missed.values().cloned());
    let missed: Vec<&str> = missed.keys().map(String::as_str).collect();
    let fit =
        |burnt: Option<&Burnt>, signals: &Signals, lit: &[String], settling_s, earlier: &_| {
            axes::fit(
                firing, signals, burnt, &missed, lit, settling_s, earlier, &progress,
            )
        };
    let mut axes = fit(burnt.as_ref(), &signals, &all, 0.0, &IndexMap::new());
    let mut verdict = lit::decide(firing, &signals, &cells, &stand, burnt.as_ref(), &axes);
    if let Some((lit, settling_s)) = verdict
        .as_ref()
        .and_then(|verdict| second_look(verdict, &all))
    {
        if lit.len() < all.len() {
            burnt = thrust::measure(firing, &mut signals, &cells, &stand, &lit, &mut Vec::new());
        }
        axes = fit(burnt.as_ref(), &signals, &lit, settling_s, &axes);
        verdict = lit::decide(firing, &signals, &cells, &stand, burnt.as_ref(), &axes);
    }
    if burnt.is_none() && !firing.is_dry_run() {
        warnings.push(nothing_burnt());
    }
    let mut findings = Vec::new();
    if let (Some(burnt), Some(verdict)) = (&mut burnt, &verdict) {
        findings.extend(lit::unknown_propellant(burnt, verdict));
    }
    if let Some(burnt) = &burnt {
        findings.extend(rate::findings(burnt));
        findings.extend(thrust::findings(
            firing,
            &cells,
            &burnt.trace,
            verdict.as_ref(),
        ));
        findings.extend(cell_limits::findings(firing, &signals, &cells, burnt));
    }
    findings.extend(stand.findings(burnt.as_ref()));
    let stand = stand.report(burnt.as_ref());
    warnings.extend(stand::unknown(stand.as_ref(), burnt.as_ref()));
    warnings.extend(axes.values().flat_map(|axis| axis.warnings.iter().cloned()));
    if let Some(verdict) = &verdict {
        findings.extend(verdict.findings.iter().cloned());
        warnings.extend(verdict.warnings.iter().cloned());
    }
    let chamber = chamber::measure(firing, &signals, burnt.as_ref(), verdict.as_ref());
    findings.extend(chamber.findings);
    warnings.extend(chamber.warnings);
    let class = verdict
        .as_ref()
        .map(|verdict| classify(firing, verdict, burnt.as_ref()));
    let plant = plant_file(&axes, burnt.as_ref());
    let mut traces = traces(&cells, burnt.as_ref(), verdict.as_ref(), &axes);
    traces.pressure_kpa = chamber.pressure_kpa;
    let result = assemble(
        firing,
        signals,
        cells,
        stand,
        burnt,
        chamber.report,
        verdict,
        class,
        axes,
        findings,
        &warnings,
    );
    Ok(Reduction {
        result,
        plant,
        traces,
    })
}

/// What the plant of each axis is fitted from, all motors taken to have lit: for studies of the fit
/// alone, which [`fit_axes`] does.
///
/// # Errors
/// As [`reduce`].
pub fn axis_inputs(firing: &Firing) -> Result<Vec<AxisInput>, Problems> {
    let mut signals = signals::read(firing, &Progress::new(&|_| ()))?;
    let cells = calibrate(firing)?;
    let mut warnings = Vec::new();
    let stand = stand::known(firing, &mut signals, &cells, &mut warnings);
    let all: Vec<String> = firing.motors.keys().cloned().collect();
    let burnt = thrust::measure(firing, &mut signals, &cells, &stand, &all, &mut warnings);
    Ok(axes::inputs(
        firing,
        &signals,
        burnt.as_ref(),
        &[],
        &all,
        0.0,
    ))
}

/// Whether all has to be done again now that it is known what lit: fewer motors lose less weight, and
/// while motors light one after the other their torques do not balance, which the plant must not take
/// for a steady bias. Gives the motors that lit and how long the last of them took to join.
fn second_look(verdict: &Verdict, all: &[String]) -> Option<(Vec<String>, f64)> {
    let stagger_s = verdict
        .ignition
        .stagger_s
        .as_ref()
        .map_or(0.0, |stagger| stagger.value);
    let fewer = verdict.lit.len() < all.len();
    let settling_s = if stagger_s > 0.0 {
        stagger_s + JOINED_AFTER_S
    } else {
        0.0
    };
    (fewer || settling_s > 0.0).then(|| (verdict.lit.clone(), settling_s))
}

/// A motor pushes fully this long after its ignition, s.
const JOINED_AFTER_S: f64 = 0.05;

fn calibrate(firing: &Firing) -> Result<IndexMap<String, CalibratedCell>, Problems> {
    let mut out = IndexMap::new();
    let mut problems = Vec::new();
    for (name, cell) in &firing.cells {
        match calibration::calibrate_cell(cell, &firing.site) {
            Ok(calibrated) => {
                out.insert(name.clone(), calibrated);
            }
            Err(more) => problems.extend(more.0),
        }
    }
    if problems.is_empty() {
        Ok(out)
    } else {
        Err(Problems(problems))
    }
}

fn nothing_burnt() -> Diagnostic {
    Diagnostic::warning(
        "nothing-lit",
        "no thrust stands out of the noise in any cell",
    )
    .hint("check that the cell columns, their calibration and the sign of the load are right")
    .hint("nobody approaches before 60 s after the last attempt to fire")
}

fn classify(firing: &Firing, verdict: &Verdict, burnt: Option<&Burnt>) -> ClassReport {
    let motor_ns = verdict
        .motors
        .iter()
        .map(|(name, motor)| {
            // The impulse is a motor's own only where it is known to be the one that lit.
            let only =
                verdict.lit.len() == 1 && verdict.lit.contains(name) && motor.lit == Lit::Lit;
            let total = burnt
                .and_then(|burnt| burnt.impulse.total_ns.clone())
                .filter(|_| only);
            (name.clone(), motor.total_ns.clone().or(total))
        })
        .collect();
    let delivered = Delivered {
        total_ns: burnt.and_then(|burnt| burnt.impulse.total_ns.as_ref()),
        motor_ns,
        lit: verdict.lit.clone(),
        average_n: burnt.and_then(|burnt| burnt.burn.thrust.average_n.as_ref()),
        burn_time_s: burnt.and_then(|burnt| burnt.burn.report.burn_time_s.as_ref()),
        stagger_s: verdict.ignition.stagger_s.as_ref(),
    };
    let tolerance = firing.reduce.impulse_tolerance;
    let mut class = class::classify(&delivered, &firing.motors, tolerance);
    if let Some(burnt) = burnt {
        recognise::add(firing, verdict, burnt, &mut class);
    }
    class
}

/// Readings of thrust that a plant file keeps at most.
const PLANT_READINGS: usize = 400;

fn plant_file(axes: &IndexMap<String, AxisFit>, burnt: Option<&Burnt>) -> Option<PlantFile> {
    let fitted: IndexMap<_, _> = axes
        .iter()
        .filter_map(|(name, axis)| Some((name.clone(), axis.plant.clone()?)))
        .collect();
    let thrust = burnt.map(|burnt| {
        let ignition_s = burnt.burn.window_s.0;
        let (from, to) = burnt.burn.measurable_s;
        let burning = burnt.trace.thrust.between(from, to);
        let kept = burning.averaged(burning.len().div_ceil(PLANT_READINGS));
        SampledThrust {
            time_s: kept.time_s().iter().map(|time| time - ignition_s).collect(),
            thrust_n: kept.value().to_vec(),
        }
    });
    (!fitted.is_empty()).then(|| PlantFile {
        schema: plant_file::SCHEMA,
        axes: fitted,
        thrust,
        caution: cautions::MODEL_NOT_CLEARANCE.to_owned(),
    })
}

fn traces(
    cells: &IndexMap<String, CalibratedCell>,
    burnt: Option<&Burnt>,
    verdict: Option<&Verdict>,
    axes: &IndexMap<String, AxisFit>,
) -> Traces {
    let mut out = Traces {
        calibration: cells
            .iter()
            .map(|(name, cell)| (name.clone(), cell.trace.clone()))
            .collect(),
        axes: axes
            .iter()
            .map(|(name, axis)| (name.clone(), axis.trace.clone()))
            .collect(),
        ..Traces::default()
    };
    if let Some(burnt) = burnt {
        let thrust = &burnt.trace.thrust;
        let (from, to) = burnt.burn.measurable_s;
        let burning = thrust.between(from, to);
        out.cumulated_ns = Series::new(burning.time_s(), &trapezoid::cumulated(&burning));
        out.thrust_u_n = burnt.trace.u_n();
        out.thrust_n = thrust.clone();
        out.corrected_n.clone_from(&burnt.burn.corrected);
        let low_passed = burnt.burn.low_passed.as_ref();
        out.low_passed_n = low_passed.map(|low| low.thrust.clone());
        out.load_n = burnt.trace.load().series();
        out.zero_line_n = burnt.trace.zero.clone();
    }
    if let Some(verdict) = verdict {
        out.motor_thrust_n = verdict.motor_thrust_n.clone();
        out.certified_n = verdict.certified_n.clone();
    }
    out
}

/// A warning for the results: its file is named from the firing file's folder, because results do
/// not depend on where the program was called from.
fn warning(one: &Diagnostic, folder: &Path) -> Warning {
    let mut out = Warning::from(one);
    let inside = out.file.as_deref().and_then(|file| {
        let file = Path::new(file).strip_prefix(folder).ok()?;
        Some(file.to_string_lossy().into_owned())
    });
    out.file = inside.or(out.file);
    out
}

#[expect(
    clippy::too_many_arguments,
    reason = "one for each stage, and called once"
)]
fn assemble(
    firing: &Firing,
    signals: Signals,
    cells: IndexMap<String, CalibratedCell>,
    stand: Option<StandReport>,
    burnt: Option<Burnt>,
    chamber: Option<ChamberReport>,
    verdict: Option<Verdict>,
    class: Option<ClassReport>,
    axes: IndexMap<String, AxisFit>,
    findings: Vec<Finding>,
    warnings: &[Diagnostic],
) -> FiringResult {
    let (burn, thrust, impulse) = burnt.map_or((None, None, None), |burnt| {
        (
            Some(burnt.burn.report),
            Some(burnt.burn.thrust),
            Some(burnt.impulse),
        )
    });
    let (motors, ignition) = verdict.map_or((None, None), |verdict| {
        (Some(verdict.motors), Some(verdict.ignition))
    });
    FiringResult {
        schema: SCHEMA,
        tool: Tool {
            name: env!("CARGO_PKG_NAME").to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
        },
        title: firing.title.clone(),
        date: firing.date.clone(),
        inputs: signals.inputs,
        clocks: signals.clock_reports,
        cells: cells
            .into_iter()
            .map(|(name, cell)| (name, cell.report))
            .collect(),
        stand,
        burn,
        thrust,
        impulse,
        chamber,
        motors,
        ignition,
        class,
        plant: axes
            .into_iter()
            .filter_map(|(name, axis)| Some((name, axis.plant?)))
            .collect(),
        findings,
        warnings: warnings
            .iter()
            .map(|one| warning(one, &firing.folder))
            .collect(),
        cautions: cautions::of_a_firing(),
    }
}
