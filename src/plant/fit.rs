//! One axis from input to plant: calls the fits and lays their numbers down.

use indexmap::IndexMap;

use super::actuator::RAD_PER_DEG;
use super::actuator_fit::SLEW;
use super::actuator_parameters::{CoreNumbers, widened_either_side};
use super::from_nozzle::{ActuatorFit, RigFit, fit_actuator, fit_rig};
use super::from_tilt::{TiltAloneFit, fit_tilt_alone};
use super::measurement_model::{BIAS, DELAY, GAIN, LAG, WIDTH};
use super::parameters::Parameters;
use super::progress::Steps;
use super::rig::{
    EFFECTIVENESS, PER_KG_M, RIG_INDEX, RIG_NAMES, THRUST_BIAS, append_rig, assumptions,
    rig_numbers, told,
};
use super::structure::Choice;
use super::tilt_fit::TiltFit;
use super::tilt_model::{SLEW as TILT_SLEW, degrees};
use super::{
    Actuator, AxisInput, AxisPlant, AxisTrace, DeadBand, DeadBandKind, FitReport, Rig, findings,
    flight, residuals,
};
use crate::diagnostic::Diagnostic;
use crate::finding::Finding;
use crate::numeric::autocorrelation::{autocorrelation, whiteness};
use crate::quantity::Measured;
use crate::quantity::measured::NORMAL_FACTOR;
use crate::series::Series;

/// What came of one axis.
#[derive(Debug, Clone)]
pub struct AxisFit {
    /// The plant; `None` when nothing could be fitted.
    pub plant: Option<AxisPlant>,
    /// Signals and model, for pictures.
    pub trace: AxisTrace,
    /// What deserves attention.
    pub warnings: Vec<Diagnostic>,
    /// The actuator behind it, where the nozzle angle is measured.
    pub actuator: Option<ActuatorFit>,
}

/// Lags of the autocorrelation that is drawn.
const DRAWN_LAGS: usize = 30;
const DEAD_BAND_WIDTH: &str = "dead_band.width_deg";

/// Parameters of the actuator by name, in the order of a measured nozzle's view.
const ACTUATOR: [&str; 6] = [
    "gain",
    "bias_deg",
    "lag_s",
    "delay_s",
    DEAD_BAND_WIDTH,
    "slew_deg_s",
];

/// Fits one axis.
#[must_use]
pub fn fit_axis(input: &AxisInput) -> AxisFit {
    fit_axis_again(input, None, &|| ())
}

/// Fits one axis again, now that thrust is known better: an actuator that is seen through the same
/// commands and angles is taken from the earlier fit. `tell` is called [`STEPS`] times on the way.
///
/// [`STEPS`]: super::progress::STEPS
#[must_use]
pub fn fit_axis_again(input: &AxisInput, earlier: Option<&AxisFit>, tell: &dyn Fn()) -> AxisFit {
    let steps = Steps::new(tell);
    let fit = fit_in_steps(input, earlier, &steps);
    steps.finish();
    fit
}

fn fit_in_steps(input: &AxisInput, earlier: Option<&AxisFit>, steps: &Steps<'_>) -> AxisFit {
    let mut trace = measured_trace(input);
    let earlier = earlier.and_then(|earlier| earlier.actuator.as_ref());
    if let Some(actuator) = fit_actuator(input, earlier, steps) {
        let rig = fit_rig(input, &actuator, steps);
        let plant = nozzle_plant(input, &actuator, rig.as_ref(), &mut trace);
        let mut out = done(plant, trace, input);
        out.actuator = Some(actuator);
        return out;
    }
    if let Some(alone) = fit_tilt_alone(input, steps) {
        let plant = tilt_plant(input, &alone, &mut trace);
        return done(plant, trace, input);
    }
    let name = &input.name;
    let (what, hint) = if input.nozzle_rad.is_none()
        && input.tilt_rad.is_none()
        && input.rate_rad_s.is_none()
    {
        (
            "it has neither nozzle angle nor tilt nor rate",
            "give the axis a nozzle, tilt or rate signal",
        )
    } else {
        (
            "the command does not move while readings are there, or the readings are too few",
            "command at least 8 reversals of 2 deg or more within the burn, and log at 100 Hz or more",
        )
    };
    let warning = Diagnostic::warning(
        "axis-not-fitted",
        format!("axis {name} cannot be fitted: {what}"),
    );
    AxisFit {
        plant: None,
        trace,
        warnings: vec![warning.hint(hint)],
        actuator: None,
    }
}

fn done(plant: AxisPlant, trace: AxisTrace, input: &AxisInput) -> AxisFit {
    let mut warnings = Vec::new();
    if plant.fit.ended != "converged" {
        warnings.push(Diagnostic::warning(
            "plant-not-converged",
            format!("axis {}: the fit {}", input.name, plant.fit.ended),
        ));
    }
    AxisFit {
        plant: Some(plant),
        trace,
        warnings,
        actuator: None,
    }
}

fn measured_trace(input: &AxisInput) -> AxisTrace {
    let in_degrees = |series: &Option<Series>| {
        series
            .as_ref()
            .map(|series| series.map(|_, angle| angle / RAD_PER_DEG))
    };
    AxisTrace {
        command_deg: input.command_deg.clone(),
        nozzle_deg: in_degrees(&input.nozzle_rad),
        tilt_deg: in_degrees(&input.tilt_rad),
        rate_deg_s: in_degrees(&input.rate_rad_s),
        ..AxisTrace::default()
    }
}

fn unknown_actuator(input: &AxisInput) -> Actuator {
    Actuator {
        gain: None,
        bias_deg: None,
        lag_s: None,
        delay_s: None,
        dead_band: DeadBand {
            kind: None,
            width_deg: None,
        },
        slew_deg_s: None,
        travel_deg: input.travel_rad.map(|travel| travel / RAD_PER_DEG),
    }
}

fn nozzle_plant(
    input: &AxisInput,
    actuator: &ActuatorFit,
    rig: Option<&RigFit>,
    trace: &mut AxisTrace,
) -> AxisPlant {
    let mut findings = Vec::new();
    let mut out = unknown_actuator(input);
    let mut parameters = Parameters::default();
    let x = &actuator.fit.minimum.x;
    let advice = actuator.excitation(input).advice();
    let core = actuator.numbers(input);
    if let (Some(covariance), Some((core, profile))) = (actuator.covariance(), core) {
        let named: Vec<(&str, f64)> = ACTUATOR.into_iter().zip(x.iter().copied()).collect();
        let n = named.len();
        parameters.append(
            &named,
            &covariance.view((0, 0), (n, n)).into_owned(),
            None,
            &[],
        );
        trace.dead_band_profile = profile;
        out.gain = told(&parameters, "gain", "1", &advice, &mut findings);
        let bias_u = parameters.u("bias_deg").filter(|_| out.gain.is_some());
        out.bias_deg = bias_u.map(|u| Measured::normal(x[BIAS], u, "deg"));
        take_core(&mut out, core, &mut findings);
    } else {
        let why = "the curvature of the fit is singular".to_owned();
        findings.push(findings::untold("actuator", why, advice));
    }
    if actuator.slew {
        let u = parameters.u("slew_deg_s");
        out.slew_deg_s = u.map(|u| Measured::normal(x[SLEW], u, "deg/s"));
    }
    findings.push(findings::slew(out.slew_deg_s.as_ref()));
    findings.extend(travel(input, actuator.fit.kind, x));
    let rig_numbers = rig.map(|rig| {
        append_rig(
            &mut parameters,
            &rig.tilt,
            &rig.covariance,
            Some(&rig.with_actuator),
        );
        rig_numbers(input, &rig.tilt, &mut parameters, &mut findings)
    });
    parameters.add(&[("delay_s", input.command_to_nozzle_u_s)]);
    let residuals = actuator.fit.minimum.residuals.as_slice();
    let mut report = FitReport {
        seen_from: vec!["nozzle".to_owned()],
        samples: residuals.len(),
        residual_sd: IndexMap::new(),
        held_out_fit_percent: actuator.held_out_percent,
        whiteness_p: whiteness(residuals),
        command_p: {
            let times = actuator.view.measured_deg.time_s();
            residuals::follow_command(times, residuals, &input.command_deg)
        },
        information_bound: actuator
            .spread
            .as_ref()
            .map(|spread| residuals::bounds(&ACTUATOR, &[0, 1, 2, 3, 4, 5], &spread.bound))
            .unwrap_or_default(),
        structures: actuator.choice.structures(),
        ended: actuator.fit.minimum.ended.words().to_owned(),
        assumed: vec![],
    };
    if let Some(spread) = &actuator.spread {
        let deviation = spread.dispersion.sqrt();
        report
            .residual_sd
            .insert("nozzle_deg".to_owned(), deviation);
    }
    findings.extend(report.whiteness_p.map(findings::white));
    findings.extend(report.command_p.map(findings::free_of_command));
    report.assumed.extend(no_dead_band(&actuator.choice));
    if let Some(rig) = rig {
        report
            .information_bound
            .extend(residuals::bounds(&RIG_NAMES, &RIG_INDEX, &rig.bound));
        note_tilt(input, &rig.tilt, &mut report, trace);
        report.assumed.extend(assumptions(input, &rig.tilt));
    }
    let times = actuator.view.measured_deg.time_s();
    let model = actuator.view.nozzle_rad(actuator.fit.kind, x, times);
    trace.nozzle_model_deg = Series::new(times, &degrees(&model));
    trace.residual_autocorrelation = autocorrelation(residuals, DRAWN_LAGS);
    finish(input, out, rig_numbers, &parameters, report, findings)
}

fn tilt_plant(input: &AxisInput, alone: &TiltAloneFit, trace: &mut AxisTrace) -> AxisPlant {
    let mut findings = Vec::new();
    let mut out = unknown_actuator(input);
    let tilt = &alone.tilt;
    let x = &tilt.fit.minimum.x;
    let (core, width_profile) = alone.numbers(input);
    trace.dead_band_profile = width_profile;
    take_core(&mut out, core, &mut findings);
    let mut covariance = alone.spread.covariance.clone();
    for index in BIAS..=WIDTH {
        covariance[(index, index)] += alone.choice.disagreement(index).powi(2);
    }
    // The profile holds what the kinds of dead band disagree by.
    let profile = alone.product_profile();
    let own_u = 0.5 * (profile.high - profile.low) / NORMAL_FACTOR;
    covariance[(GAIN, GAIN)] = covariance[(GAIN, GAIN)].max(own_u * own_u);
    let own_variance = covariance[(GAIN, GAIN)];
    let mut parameters = Parameters::default();
    let core = [
        ("lag_s", x[LAG]),
        ("delay_s", x[DELAY]),
        (DEAD_BAND_WIDTH, x[WIDTH]),
    ];
    let own = covariance.select_rows(&[LAG, DELAY, WIDTH]);
    let own_block = own.select_columns(&[LAG, DELAY, WIDTH]);
    let freedom = [LAG, DELAY, WIDTH].map(|index| tilt.freedom[index]);
    parameters.append(&core, &own_block, None, &freedom);
    append_rig(&mut parameters, tilt, &covariance, Some(&own.transpose()));
    parameters.add(&[("delay_s", input.clocks(false).steering_u_s)]);
    let mut rig = rig_numbers(input, tilt, &mut parameters, &mut findings);
    if let Some(product) = &mut rig.effectiveness_per_kg_m {
        let more_u = (product.u.powi(2) - own_variance).max(0.0).sqrt();
        let freedom = tilt.freedom[GAIN];
        *product = widened_either_side(product.value, profile, more_u, freedom, PER_KG_M);
    }
    let mut report = FitReport {
        seen_from: vec![],
        samples: 0,
        residual_sd: IndexMap::new(),
        held_out_fit_percent: alone.held_out_percent,
        whiteness_p: None,
        command_p: None,
        information_bound: residuals::bounds(
            &["gain", "lag_s", "delay_s", DEAD_BAND_WIDTH, "slew_deg_s"],
            &[GAIN, LAG, DELAY, WIDTH, TILT_SLEW],
            &alone.spread.bound,
        ),
        structures: alone.choice.structures(),
        ended: tilt.fit.minimum.ended.words().to_owned(),
        assumed: assumptions(input, tilt),
    };
    let of_rig = residuals::bounds(&RIG_NAMES, &RIG_INDEX, &alone.spread.bound);
    report.information_bound.extend(of_rig);
    note_tilt(input, tilt, &mut report, trace);
    findings.extend(report.whiteness_p.map(findings::white));
    findings.extend(report.command_p.map(findings::free_of_command));
    report.assumed.extend(no_dead_band(&alone.choice));
    split_product(
        input,
        &mut out,
        &mut rig,
        &mut parameters,
        &mut report,
        &mut findings,
    );
    if tilt.slew {
        // Seen from tilt alone the limit is that of the command; the nozzle's is its gain times it.
        let gain = out.gain.as_ref().map_or(1.0, |gain| gain.value.abs());
        let relative = out.gain.as_ref().map_or(0.0, Measured::relative);
        let u = alone.spread.u(TILT_SLEW).hypot(relative * x[TILT_SLEW]);
        out.slew_deg_s = Some(Measured::normal(gain * x[TILT_SLEW], gain * u, "deg/s"));
    }
    findings.push(findings::slew(out.slew_deg_s.as_ref()));
    findings.extend(travel(input, tilt.fit.kind, x));
    let model = tilt.view.nozzle_rad(tilt.fit.kind, x);
    let gain = out.gain.as_ref().map_or(1.0, |gain| gain.value);
    let model: Vec<f64> = degrees(&model).iter().map(|angle| gain * angle).collect();
    trace.nozzle_model_deg = Series::new(&tilt.instants.times_s, &model);
    let errors = tilt.fit.minimum.residuals.as_slice();
    trace.residual_autocorrelation = autocorrelation(&errors[..tilt.instants.count], DRAWN_LAGS);
    finish(input, out, Some(rig), &parameters, report, findings)
}

/// Parts the product of gain and effectiveness where geometry allows it.
fn split_product(
    input: &AxisInput,
    out: &mut Actuator,
    rig: &mut Rig,
    parameters: &mut Parameters,
    report: &mut FitReport,
    findings: &mut Vec<Finding>,
) {
    let Some(product) = rig.effectiveness_per_kg_m.clone() else {
        return;
    };
    if let Some(geometry) = flight::rig_geometry(input) {
        let bound = &mut report.information_bound;
        if let Some(gain) = bound.get_mut("gain") {
            *gain /= geometry.value;
        }
        bound.shift_remove(EFFECTIVENESS);
        let gain = product.value / geometry.value;
        let of_geometry = gain * geometry.u / geometry.value;
        let own = product.times(1.0 / geometry.value, "1");
        let half = |side: f64| (side - gain).hypot(NORMAL_FACTOR * of_geometry);
        let u = own.u.hypot(of_geometry);
        let (low, high) = (gain - half(own.low), gain + half(own.high));
        out.gain = Some(Measured::interval(gain, u, low, high, "1"));
        let assumed = Measured::normal(geometry.value, geometry.u, PER_KG_M);
        rig.effectiveness_per_kg_m = Some(assumed);
        parameters.rename(EFFECTIVENESS, "gain", 1.0 / geometry.value);
        parameters.add_shared("arm over inertia", &[("gain", -of_geometry)]);
        report.assumed.push(
            "effectiveness is arm over inertia as given; gain is the measured product over it"
                .to_owned(),
        );
        return;
    }
    report.information_bound.shift_remove("gain");
    report.assumed.push(
        "gain is taken as 1: effectiveness stands for the product of gain and effectiveness"
            .to_owned(),
    );
    findings.push(findings::untold(
        "gain of the actuator",
        "without a nozzle angle only gain x effectiveness can be seen".to_owned(),
        "measure the nozzle angle, or give arm and inertia of the axis".to_owned(),
    ));
}

/// A command of two levels cannot part a dead band from a smaller gain.
fn no_dead_band(choice: &Choice) -> Option<String> {
    choice.assumes_none().then(|| {
        "no dead band: this command cannot part one from a smaller gain, so the gain is what is \
         left of it"
            .to_owned()
    })
}

fn take_core(out: &mut Actuator, core: CoreNumbers, findings: &mut Vec<Finding>) {
    out.lag_s = core.lag_s;
    out.delay_s = core.delay_s;
    out.dead_band = core.dead_band;
    findings.extend(core.findings);
}

fn travel(input: &AxisInput, kind: DeadBandKind, x: &[f64]) -> Option<Finding> {
    let limit = input.travel_rad?;
    let half = if kind == DeadBandKind::None {
        0.0
    } else {
        0.5 * x[WIDTH]
    };
    let largest = input
        .command_deg
        .value()
        .iter()
        .map(|u| u.abs())
        .fold(0.0, f64::max);
    // Seen from tilt alone the gain is not known here; the command itself is the demand.
    let gain = if input.nozzle_rad.is_some() {
        x[GAIN].abs()
    } else {
        1.0
    };
    Some(findings::travel(gain * (largest - half).max(0.0), limit))
}

/// Adds what the tilt stage says to the report and the trace.
fn note_tilt(input: &AxisInput, tilt: &TiltFit, report: &mut FitReport, trace: &mut AxisTrace) {
    let errors = &tilt.fit.minimum.residuals.as_slice()[..tilt.instants.count];
    if input.tilt_rad.is_some() {
        report.seen_from.push("tilt".to_owned());
    }
    if input.rate_rad_s.is_some() {
        report.seen_from.push("rate".to_owned());
    }
    report.samples += tilt.instants.raw_count;
    report.whiteness_p = report.whiteness_p.or_else(|| whiteness(errors));
    if report.command_p.is_none() {
        // One sensor's prediction errors: the tilt's, or the rate's where there is no tilt.
        let wanted = input.tilt_rad.is_none();
        let (times, own): (Vec<f64>, Vec<f64>) = tilt
            .instants
            .readings()
            .zip(errors)
            .filter(|((_, rate), _)| *rate == wanted)
            .map(|((time, _), error)| (time, *error))
            .unzip();
        report.command_p = residuals::follow_command(&times, &own, &input.command_deg);
    }
    for (rate, name) in [(false, "tilt_deg"), (true, "rate_deg_s")] {
        let physical: Vec<f64> = errors
            .iter()
            .zip(tilt.view.filter().channels())
            .filter(|(_, (is_rate, _))| *is_rate == rate)
            .map(|(error, (_, deviation))| error * deviation / RAD_PER_DEG)
            .collect();
        if !physical.is_empty() {
            let square = physical.iter().map(|error| error * error).sum::<f64>();
            let deviation = (square / physical.len() as f64).sqrt();
            report.residual_sd.insert(name.to_owned(), deviation);
        }
    }
    let predicted = tilt.view.predicted(tilt.fit.kind, &tilt.fit.minimum.x);
    if input.tilt_rad.is_some() {
        let times = &tilt.instants.times_s;
        trace.tilt_model_deg = Some(Series::new(times, &degrees(&predicted.tilt_rad)));
    }
}

fn finish(
    input: &AxisInput,
    actuator: Actuator,
    rig: Option<Rig>,
    parameters: &Parameters,
    report: FitReport,
    mut findings: Vec<Finding>,
) -> AxisPlant {
    let dry = input.thrust_n.is_none();
    let (free, more) = if dry {
        (None, vec![])
    } else {
        flight::flight(input)
    };
    findings.extend(more);
    let bench = input.bench_sweep.as_ref();
    findings.extend(
        bench
            .map(|bench| findings::bench_sweep(&actuator, bench))
            .into_iter()
            .flatten(),
    );
    let known = |name: &str| match name {
        "gain" => actuator.gain.is_some(),
        "bias_deg" => actuator.bias_deg.is_some(),
        "lag_s" => actuator.lag_s.is_some(),
        "delay_s" => actuator.delay_s.is_some(),
        "slew_deg_s" => actuator.slew_deg_s.is_some(),
        DEAD_BAND_WIDTH => matches!(
            actuator.dead_band.kind,
            Some(DeadBandKind::Play | DeadBandKind::DeadZone)
        ),
        _ => rig.as_ref().is_some_and(|rig| match name {
            EFFECTIVENESS => rig.effectiveness_per_kg_m.is_some(),
            THRUST_BIAS => rig.thrust_bias_per_kg_m.is_some(),
            "damping_per_s" => rig.damping_per_s.is_some(),
            "stiffness_per_s2" => rig.stiffness_per_s2.is_some(),
            _ => rig.coulomb_rad_per_s2.is_some(),
        }),
    };
    AxisPlant {
        covariance: parameters.covariance(known),
        systematic: parameters.systematic(known),
        actuator,
        rig,
        flight: free,
        fit: report,
        findings,
    }
}
