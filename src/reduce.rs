//! From a firing file to a result: the stages in order, a page long.
//!
//! ```text
//! firing file -> logs, clocks -> cells -> stand -> burn -> plant of each axis -> which motors lit
//!             -> burn and plant again with what lit -> chamber -> class -> result
//! ```
//!
//! The plant comes before the verdict on the motors because the tilt torque is evidence for it. When fewer motors
//! lit than were loaded, less weight was lost, and when they lit one after the other their torques did not
//! balance: burn and plant are then made once more.

mod progress;
mod result;

pub(crate) use progress::Watch;
pub(crate) use result::SCHEMA;
pub use result::{FiringResult, Reduction, Tool, Traces};

use std::path::Path;

use indexmap::IndexMap;

use crate::burn::segmentation::{Choice, Segmentation};
use crate::burn::witness;
use crate::burn::{
    Burn, Located, Recording, Stand, measure, restart, silence, stand, stand_report,
};
use crate::calibration::readings::{cell_readings, outliers};
use crate::calibration::{
    CellReadings, Load, Signals, beyond, calibrate_cells, cell_limits, soundness,
};
use crate::cautions;
use crate::config::Firing;
use crate::diagnostic::{Code, Diagnostic, Error};
use crate::finding::{Finding, Outcome};
use crate::log::overlap;
use crate::motors::chamber::{FiringChamber, measure_firing};
use crate::motors::class::classify_firing;
use crate::motors::lit::{self, AxisEvidence, Verdict};
use crate::plant::axes::{self, plant_file, read_sweeps};
use crate::plant::progress::STEPS;
use crate::plant::{AxesInput, AxisFit, AxisInput, fit_axes};
use progress::Progress;

/// Reduces a firing.
///
/// # Errors
/// Input that cannot be read or does not fit together, each problem with its place.
pub fn reduce(firing: &Firing) -> Result<Reduction, Error> {
    reduce_watched(firing, &|_, _| ())
}

/// Reduces a firing and tells from several threads how many steps of the fit, which takes longest, are done
/// of how many; more may turn out to be needed on the way.
///
/// # Errors
/// As [`reduce`].
pub fn reduce_watched(firing: &Firing, watch: Watch<'_>) -> Result<Reduction, Error> {
    let progress = Progress::new(watch);
    let mut warnings = Vec::new();
    let recording = record(firing, &mut warnings);
    let recording = recording.map_err(|error| told(error, &warnings))?;
    let found = find(&recording, &progress, &mut warnings);
    let found = found.map_err(|error| told(error, &warnings))?;
    let chamber = measure_firing(&recording, found.burn.as_ref(), found.verdict.as_ref());
    Ok(conclude(recording, found, chamber, warnings))
}

/// What stopped the work, after clocks that stepped back: that is often why.
fn told(error: Error, warnings: &[Diagnostic]) -> Error {
    let back = |one: &&Diagnostic| matches!(one.code, Code::ClockRestart | Code::OutOfOrder);
    error.after(warnings.iter().filter(back).cloned().collect())
}

/// What the plant of each axis is fitted from, all motors taken to have lit: for studies of the fit
/// alone, which [`fit_axes`] does.
///
/// # Errors
/// As [`reduce`].
pub fn axis_inputs(firing: &Firing) -> Result<Vec<AxisInput>, Error> {
    let mut warnings = Vec::new();
    let recording = record(firing, &mut warnings)?;
    let lit: Vec<String> = firing.motors.keys().cloned().collect();
    let located = Located::in_all_cells(&recording, &mut warnings);
    let burn = located.and_then(|located| measure(&recording, &located, &lit));
    let input = AxesInput {
        recording: &recording,
        burn: burn.as_ref(),
        sweeps: &read_sweeps(firing)?,
        missed: &[],
        lit: &lit,
        settling_s: 0.0,
    };
    Ok(input.inputs())
}

/// Logs to cell readings: every log read and tied, every cell calibrated and read, the stand's taps fitted.
fn record<'a>(firing: &'a Firing, warnings: &mut Vec<Diagnostic>) -> Result<Recording<'a>, Error> {
    let mut signals = Signals::read(firing)?;
    warnings.append(&mut signals.channels.warnings);
    overlap::with_first(firing, &signals.channels)?;
    let cells = calibrate_cells(firing)?;
    warnings.extend(restart::choose(firing, &mut signals, &cells));
    warnings.extend(signals.off_scale(firing));
    warnings.extend(
        cells
            .values()
            .flat_map(|cell| cell.warnings.iter().cloned()),
    );
    warnings.extend(outliers(firing, &mut signals));
    let mut readings = cell_readings(firing, &signals, &cells);
    stand::check_low_pass(firing, &readings)?;
    let split = |load: &Load| witness::split(firing, &signals, load);
    let lost = soundness::lost(&readings);
    let (mut load, segmentation, left_out) = believed(&readings, &lost, split);
    let burn_s = match segmentation.choice() {
        Choice::Burn(burn) => burn.span_s,
        Choice::Unclear(_) | Choice::Nothing => (f64::NEG_INFINITY, f64::INFINITY),
    };
    if let Some(load) = load.as_mut() {
        beyond::widen(load, &mut readings, burn_s);
    }
    let mut unsound = soundness::unsound(&readings, burn_s);
    for (name, (_, why)) in lost.into_iter().filter(|_| left_out) {
        unsound.entry(name).or_insert(why);
    }
    warnings.extend(soundness::warnings(firing, &unsound));
    let stand = Stand::known(firing, &signals, &segmentation);
    warnings.extend(stand.warnings.iter().cloned());
    Ok(Recording {
        firing,
        signals,
        cells,
        readings,
        load,
        segmentation,
        unsound,
        stand,
    })
}

/// The load that can be believed, what it shows, and whether the lost cells are left out of it: those lost before the
/// burn was over that the others feel, and all of them where all cells together show no burn.
fn believed(
    readings: &[CellReadings],
    lost: &IndexMap<String, (f64, String)>,
    split: impl Fn(&Load) -> Segmentation,
) -> (Option<Load>, Segmentation, bool) {
    let of = |cells: &[CellReadings]| {
        let load = Load::from_cells(cells);
        let segmentation = load.as_ref().map(&split).unwrap_or_default();
        (load, segmentation)
    };
    if lost.is_empty() {
        let (load, segmentation) = of(readings);
        return (load, segmentation, false);
    }
    let sound = readings
        .iter()
        .filter(|cell| !lost.contains_key(&cell.name));
    let sound: Vec<CellReadings> = sound.cloned().collect();
    let (load, segmentation) = of(&sound);
    if let Choice::Burn(burn) = segmentation.choice()
        && lost.values().all(|(from_s, _)| *from_s < burn.span_s.1)
    {
        return (load, segmentation, true);
    }
    let (all, all_segmentation) = of(readings);
    let burns = matches!(all_segmentation.choice(), Choice::Burn(_));
    if burns || sound.is_empty() {
        (all, all_segmentation, !burns)
    } else {
        (load, segmentation, true)
    }
}

/// What burnt, how each axis answered, and which motors lit.
struct Found {
    burn: Option<Burn>,
    axes: IndexMap<String, AxisFit>,
    verdict: Option<Verdict>,
}

/// Burn, plant and verdict, and all of them again where the verdict changes what they rest on.
fn find(
    recording: &Recording<'_>,
    progress: &Progress<'_>,
    warnings: &mut Vec<Diagnostic>,
) -> Result<Found, Error> {
    let firing = recording.firing;
    let sweeps = read_sweeps(firing)?;
    let all: Vec<String> = firing.motors.keys().cloned().collect();
    let located = Located::in_all_cells(recording, warnings);
    let measured = |lit: &[String]| measure(recording, located.as_ref()?, lit);
    let mut burn = measured(&all);
    let mut missed = IndexMap::new();
    match &burn {
        Some(burn) => {
            beyond::plausible(firing, &recording.readings, burn.window_s())?;
            warnings.extend(burn.warnings.iter().cloned());
            warnings.extend(beyond::warnings(firing, burn.trace.load()));
            let channels = &recording.signals.channels;
            missed = overlap::missing_the_burn(firing, channels, burn.window_s());
            warnings.extend(missed.values().cloned());
        }
        None => silence::explained(recording)?,
    }
    let missed: Vec<&str> = missed.keys().map(String::as_str).collect();
    let fit = |burn: Option<&Burn>, lit: &[String], settling_s, earlier: &_| {
        let input = AxesInput {
            recording,
            // Thrust that a cell did not read turns the rocket as well.
            burn: burn.filter(|_| recording.unsound.is_empty()),
            sweeps: &sweeps,
            missed: &missed,
            lit,
            settling_s,
        };
        let inputs = input.inputs();
        progress.expect(STEPS * inputs.len());
        fit_axes(&inputs, earlier, &|| progress.step())
    };
    let decide = |burn: Option<&Burn>, axes: Vec<AxisEvidence>, earlier: Option<Verdict>| {
        let input = lit::gather(recording, burn, axes, earlier.as_ref())?;
        Some(lit::decide(input))
    };
    let mut axes = fit(burn.as_ref(), &all, 0.0, &IndexMap::new());
    let whole = axes::evidence(recording, &axes);
    let mut verdict = decide(burn.as_ref(), whole.clone(), None);
    if let Some((lit, settling_s)) = verdict.as_ref().and_then(|one| second_look(one, &all)) {
        if lit.len() < all.len() {
            burn = measured(&lit);
        }
        axes = fit(burn.as_ref(), &lit, settling_s, &axes);
        // What the torque of the whole burn says of motors stands: the later part alone does not weigh those that were
        // out by then.
        let mut settled = axes::evidence(recording, &axes);
        for axis in &mut settled {
            if let Some(whole) = whole.iter().find(|one| one.axis == axis.axis) {
                axis.thrust_bias_per_kg_m = whole.thrust_bias_per_kg_m.clone();
            }
        }
        verdict = decide(burn.as_ref(), settled, verdict);
    }
    if burn.is_none() && !firing.is_dry_run() {
        warnings.push(nothing_burnt());
    }
    Ok(Found {
        burn,
        axes,
        verdict,
    })
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

fn nothing_burnt() -> Diagnostic {
    Diagnostic::warning(
        Code::NothingLit,
        "no thrust stands out of the noise in any cell",
    )
    .hint("check that the cell columns, their calibration and the sign of the load are right")
    .hint("nobody approaches before 60 s after the last attempt to fire")
}

/// The findings of every stage but class and plant, in the order of the stages.
fn findings(recording: &Recording<'_>, found: &mut Found) -> Vec<Finding> {
    let verdict = found.verdict.iter();
    let mut out: Vec<Finding> = verdict.flat_map(|one| one.findings.clone()).collect();
    if let (Some(burn), Some(verdict)) = (&mut found.burn, &found.verdict)
        && verdict.ignition.all_lit == Outcome::Undecided
    {
        out.extend(burn.impulse.forget_propellant());
    }
    let lit = found.verdict.as_ref().map_or(&[][..], |one| &one.lit);
    if let Some(burn) = &mut found.burn
        && !recording.unsound.is_empty()
    {
        out.push(burn.impulse.forget(&recording.unsound));
        let thrust = &mut burn.description.thrust;
        (thrust.peak_n, thrust.average_n) = (None, None);
    }
    if let (Some(burn), Some(verdict)) = (&found.burn, &found.verdict)
        && let Some(began) = &burn.description.report.ignition_s
    {
        let peak_n = burn.description.peak.value_n;
        out.extend(lit::burns_before(verdict, began, peak_n));
    }
    if let Some(burn) = &found.burn {
        out.extend(burn.findings(recording.firing, lit));
        out.extend(cell_limits::findings(
            &recording.cells,
            &recording.readings,
            burn.trace.load(),
            burn.window_s(),
        ));
    }
    out.extend(stand_report::findings(
        &recording.stand,
        found.burn.as_ref(),
    ));
    out
}

/// The last part of a path.
fn file_name(file: &str) -> String {
    let name = Path::new(file).file_name();
    name.map_or_else(
        || file.to_owned(),
        |name| name.to_string_lossy().into_owned(),
    )
}

/// Class and plant file, and all stages gathered into one result.
fn conclude(
    recording: Recording<'_>,
    mut found: Found,
    chamber: FiringChamber,
    mut warnings: Vec<Diagnostic>,
) -> Reduction {
    let firing = recording.firing;
    let mut findings = findings(&recording, &mut found);
    findings.extend(chamber.findings);
    let Found {
        burn,
        axes,
        verdict,
    } = found;
    let stand = stand_report::report(&recording.stand, burn.as_ref());
    warnings.extend(stand_report::unknown(stand.as_ref(), burn.as_ref()));
    warnings.extend(axes.values().flat_map(|axis| axis.warnings.iter().cloned()));
    warnings.extend(verdict.iter().flat_map(|one| one.warnings.clone()));
    warnings.extend(chamber.warnings);
    let class = verdict
        .as_ref()
        .map(|verdict| classify_firing(firing, verdict, burn.as_ref()));
    let titled = match &firing.date {
        Some(date) => format!("{}, {date}", firing.title),
        None => firing.title.clone(),
    };
    let plant = plant_file(&axes, burn.as_ref(), titled);
    let mut traces = Traces::new(&recording.cells, burn.as_ref(), verdict.as_ref(), &axes);
    traces.pressure_kpa = chamber.pressure_kpa;
    traces.loaded_n = (verdict.as_ref().zip(burn.as_ref()))
        .and_then(|(verdict, burn)| result::loaded_n(firing, verdict, burn));
    let (described, impulse) = burn.map(|burn| (burn.description, burn.impulse)).unzip();
    let (burn, thrust) = described.map(|one| (one.report, one.thrust)).unzip();
    let (motors, ignition) = verdict.map(|one| (one.motors, one.ignition)).unzip();
    let result = FiringResult {
        schema: SCHEMA,
        tool: Tool::this(),
        firing: file_name(&firing.file),
        title: firing.title.clone(),
        date: firing.date.clone(),
        inputs: recording.signals.channels.inputs,
        clocks: recording.signals.channels.clock_reports,
        cells: recording
            .cells
            .into_iter()
            .map(|(name, cell)| (name, cell.report))
            .collect(),
        record: recording.segmentation.report(),
        stand,
        burn,
        thrust,
        impulse,
        chamber: chamber.report,
        motors,
        ignition,
        class,
        plant: plant
            .as_ref()
            .map_or_else(IndexMap::new, |of| of.axes.clone()),
        findings,
        warnings: result::warnings(&warnings, &firing.folder),
        cautions: cautions::of_a_firing(),
    };
    Reduction {
        result,
        plant,
        traces,
    }
}
