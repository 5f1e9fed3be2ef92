//! The plant of one axis laid down from its fits, with what can be said of it.
//!
//! Two ways lead here: a measured nozzle angle gives the actuator and, through its modelled angle, the rig
//! ([`super::nozzle_fit`]); tilt and rate alone give both at once ([`super::tilt_only_fit`]), and only the product of
//! gain and effectiveness, which geometry parts where it is given.

use indexmap::IndexMap;

use super::actuator::RAD_PER_DEG;
use super::actuator_estimates::{ActuatorEstimates, widened_either_side};
use super::measurement_model::{DELAY, LAG, MeasurementModel, WIDTH};
use super::nozzle_fit::{ActuatorFit, RigFit};
use super::nozzle_model::NozzleModel;
use super::parameter::{ACTUATOR, Parameter};
use super::parameter_estimates::ParameterEstimates;
use super::rig_estimates::{append_rig, assumptions, identifiable, rig_estimates, rig_places};
use super::structure::StructureChoice;
use super::tilt_fit::TiltFit;
use super::tilt_model::{TiltModel, degrees};
use super::tilt_only_fit::TiltOnlyFit;
use super::{
    Actuator, AxisInput, AxisPlant, AxisTrace, Covariance, DeadBandKind, FitReport, Rig, findings,
    free_rocket, residuals,
};
use crate::finding::{Finding, Outcome};
use crate::numeric::autocorrelation::{autocorrelation, whiteness};
use crate::numeric::least_squares::Ended;
use crate::quantity::measured::NORMAL_FACTOR;
use crate::quantity::{Measured, Unit};
use crate::series::Series;

/// Lags of the autocorrelation that is drawn.
const DRAWN_LAGS: usize = 30;

/// The plant of an axis whose nozzle angle is measured.
pub(super) fn nozzle_plant(
    input: &AxisInput,
    fit: &ActuatorFit,
    rig: Option<&RigFit>,
    trace: &mut AxisTrace,
) -> AxisPlant {
    let x = &fit.fit.minimum.x;
    let mut out = Assembly::new(input, nozzle_report(input, fit), trace);
    out.take_nozzle_fit(fit);
    out.note_slew();
    out.note_travel(
        fit.fit.kind,
        x[WIDTH],
        x[NozzleModel::at(Parameter::Gain)].abs(),
    );
    if let Some(rig) = rig {
        let with_actuator = Some(&rig.with_actuator);
        append_rig(
            &mut out.parameters,
            &rig.tilt,
            &rig.covariance,
            with_actuator,
        );
        out.take_rig(&rig.tilt);
    }
    let clock = (Parameter::Delay, input.command_to_nozzle_u_s);
    out.parameters.add(&[clock]);
    out.take_either_order();
    out.note_residuals();
    out.note_structure(&fit.choice);
    if let Some(rig) = rig {
        let bound = residuals::bounds(&rig_places(), &rig.bound);
        out.report.information_bound.extend(bound);
        out.note_tilt(&rig.tilt);
        out.report.assumed.extend(assumptions(input, &rig.tilt));
    }
    let times = fit.model.measured_deg.time_s();
    let model = fit.model.nozzle_rad(fit.fit.kind, x, times);
    out.trace.nozzle_model_deg = Series::new(times, &degrees(&model));
    let errors = fit.fit.minimum.residuals.as_slice();
    out.take_autocorrelation(errors);
    out.finish()
}

fn nozzle_report(input: &AxisInput, fit: &ActuatorFit) -> FitReport {
    let errors = fit.fit.minimum.residuals.as_slice();
    let times = fit.model.measured_deg.time_s();
    let places = ACTUATOR.map(|parameter| (parameter, NozzleModel::at(parameter)));
    let uncertainty = fit.uncertainty.as_ref();
    let deviation = uncertainty.map(|of| ("nozzle_deg".to_owned(), of.dispersion.sqrt()));
    FitReport {
        seen_from: vec!["nozzle".to_owned()],
        samples: errors.len(),
        residual_sd: deviation.into_iter().collect(),
        validation_fit_percent: fit.validation_percent,
        whiteness_p: whiteness(errors),
        command_p: residuals::follow_command(times, errors, &input.command_deg),
        information_bound: uncertainty
            .map(|of| residuals::bounds(&places, &of.bound))
            .unwrap_or_default(),
        structures: fit.choice.structures(),
        ended: fit.fit.minimum.ended,
        assumed: vec![],
    }
}

/// The plant of an axis seen from tilt and rate alone.
pub(super) fn tilt_plant(input: &AxisInput, fit: &TiltOnlyFit, trace: &mut AxisTrace) -> AxisPlant {
    let tilt = &fit.tilt;
    let x = &tilt.fit.minimum.x;
    let mut out = Assembly::new(input, tilt_report(input, fit), trace);
    let (estimates, width_profile) = fit.estimates(input);
    out.trace.dead_band_profile = width_profile;
    out.take_actuator(estimates);
    out.take_product(fit);
    out.note_tilt(tilt);
    out.note_residuals();
    out.note_structure(&fit.choice);
    out.split_product();
    let gain = out.actuator.gain.clone();
    let size = gain.as_ref().map_or(1.0, |gain| gain.value.abs());
    if tilt.slew {
        // Seen from tilt alone the limit is that of the command; the nozzle's is its gain times it.
        let at = TiltModel::at(Parameter::Slew);
        let relative = gain.as_ref().map_or(0.0, Measured::relative);
        let u = fit.uncertainty.u(at).hypot(relative * x[at]);
        out.actuator.slew_deg_s = Some(Measured::normal(
            size * x[at],
            size * u,
            Unit::DegreePerSecond,
        ));
    }
    out.note_slew();
    // The gain is not part of what was fitted; the command itself is the demand.
    out.note_travel(tilt.fit.kind, x[WIDTH], 1.0);
    let model = tilt.model.nozzle_rad(tilt.fit.kind, x);
    let gain = gain.map_or(1.0, |gain| gain.value);
    let model: Vec<f64> = degrees(&model).iter().map(|angle| gain * angle).collect();
    out.trace.nozzle_model_deg = Series::new(&tilt.instants.times_s, &model);
    out.take_autocorrelation(&tilt.fit.minimum.residuals.as_slice()[..tilt.instants.count]);
    out.finish()
}

/// The plant of an axis that could not be fitted: every number unknown, each with the reason and what would help.
pub(super) fn unknown_plant(
    input: &AxisInput,
    trace: &mut AxisTrace,
    (why, advice): (&str, &str),
) -> AxisPlant {
    let report = FitReport {
        seen_from: vec![],
        samples: 0,
        residual_sd: IndexMap::new(),
        validation_fit_percent: None,
        whiteness_p: None,
        command_p: None,
        information_bound: IndexMap::new(),
        structures: vec![],
        ended: Ended::Converged,
        assumed: vec![],
    };
    let mut out = Assembly::new(input, report, trace);
    let unknown = [Parameter::Gain, Parameter::Lag, Parameter::Delay];
    let finding =
        |parameter| findings::not_identifiable(parameter, why.to_owned(), advice.to_owned());
    out.findings.extend(unknown.map(finding));
    out.finish()
}

fn tilt_report(input: &AxisInput, fit: &TiltOnlyFit) -> FitReport {
    // What the nozzle's coefficient is known to stands for the gain until geometry parts the two.
    let mut places = vec![(Parameter::Gain, TiltModel::at(Parameter::Effectiveness))];
    let searched = ACTUATOR.iter().filter(|one| TiltModel::ORDER.contains(one));
    places.extend(searched.map(|one| (*one, TiltModel::at(*one))));
    places.extend(rig_places());
    FitReport {
        seen_from: vec![],
        samples: 0,
        residual_sd: IndexMap::new(),
        validation_fit_percent: fit.validation_percent,
        whiteness_p: None,
        command_p: None,
        information_bound: residuals::bounds(&places, &fit.uncertainty.bound),
        structures: fit.choice.structures(),
        ended: fit.tilt.fit.minimum.ended,
        assumed: assumptions(input, &fit.tilt),
    }
}

/// A plant as far as it is laid down.
struct Assembly<'a> {
    input: &'a AxisInput,
    actuator: Actuator,
    rig: Option<Rig>,
    parameters: ParameterEstimates,
    report: FitReport,
    findings: Vec<Finding>,
    trace: &'a mut AxisTrace,
    /// The farthest that any structure's lag and delay together is from the one stated, s.
    structures_apart_s: f64,
}

impl<'a> Assembly<'a> {
    fn new(input: &'a AxisInput, report: FitReport, trace: &'a mut AxisTrace) -> Self {
        let actuator = Actuator {
            travel_deg: input.travel_rad.map(|travel| travel / RAD_PER_DEG),
            ..Actuator::default()
        };
        Self {
            input,
            actuator,
            rig: None,
            parameters: ParameterEstimates::default(),
            report,
            findings: vec![],
            trace,
            structures_apart_s: 0.0,
        }
    }

    fn take_actuator(&mut self, estimates: ActuatorEstimates) {
        self.actuator.lag_s = estimates.lag_s;
        self.actuator.damping_ratio = estimates.damping_ratio;
        self.actuator.delay_s = estimates.delay_s;
        self.actuator.lag_plus_delay_s = Some(estimates.lag_plus_delay_s);
        self.structures_apart_s = estimates.structures_apart_s;
        self.actuator.dead_band = estimates.dead_band;
        self.findings.extend(estimates.findings);
    }

    fn take_nozzle_fit(&mut self, fit: &ActuatorFit) {
        let x = &fit.fit.minimum.x;
        let advice = fit.excitation(self.input).advice();
        let estimates = fit.estimates(self.input);
        let Some((covariance, (estimates, profile))) = fit.covariance().zip(estimates) else {
            let why = "the curvature of the fit is singular, so no parameter of the actuator is \
                       identifiable";
            let finding = findings::not_identifiable(Parameter::Gain, why.to_owned(), advice);
            return self.findings.push(finding);
        };
        let places = ACTUATOR.map(NozzleModel::at);
        let values = ACTUATOR.map(|parameter| (parameter, x[NozzleModel::at(parameter)]));
        let own = covariance.select_rows(&places).select_columns(&places);
        self.parameters.append(&values, &own, None, &[]);
        self.trace.dead_band_profile = profile;
        let gain = identifiable(
            &self.parameters,
            Parameter::Gain,
            &advice,
            &mut self.findings,
        );
        self.actuator.bias_deg = gain.as_ref().and_then(|_| self.normal(Parameter::Bias));
        self.actuator.gain = gain;
        self.take_actuator(estimates);
        if fit.slew {
            self.actuator.slew_deg_s = self.normal(Parameter::Slew);
        }
    }

    /// A parameter as a normal law with the uncertainty found so far.
    fn normal(&self, parameter: Parameter) -> Option<Measured> {
        let value = self.parameters.value(parameter)?;
        let u = self.parameters.u(parameter)?;
        Some(Measured::normal(value, u, parameter.unit()))
    }

    fn take_rig(&mut self, tilt: &TiltFit) {
        let (parameters, findings) = (&mut self.parameters, &mut self.findings);
        self.rig = Some(rig_estimates(self.input, tilt, parameters, findings));
    }

    /// Takes what tilt alone says: the rig with the product of gain and effectiveness.
    fn take_product(&mut self, fit: &TiltOnlyFit) {
        let tilt = &fit.tilt;
        let x = &tilt.fit.minimum.x;
        let product_at = TiltModel::at(Parameter::Effectiveness);
        let own = &fit.uncertainty.covariance;
        let mut covariance = own + fit.choice.disagreement_of_kinds();
        covariance.set_row(product_at, &own.row(product_at));
        covariance.set_column(product_at, &own.column(product_at));
        // The profile holds what the model structures disagree by.
        let profile = fit.product_profile();
        let own_u = 0.5 * (profile.high - profile.low) / NORMAL_FACTOR;
        let own_variance = covariance[(product_at, product_at)].max(own_u * own_u);
        covariance[(product_at, product_at)] = own_variance;
        let places = [LAG, DELAY, WIDTH, TiltModel::at(Parameter::DampingRatio)];
        let values = places.map(|at| (TiltModel::ORDER[at], x[at]));
        let own = covariance.select_rows(&places);
        let own_block = own.select_columns(&places);
        let freedom = places.map(|at| tilt.freedom[at]);
        self.parameters.append(&values, &own_block, None, &freedom);
        append_rig(
            &mut self.parameters,
            tilt,
            &covariance,
            Some(&own.transpose()),
        );
        let clock = (Parameter::Delay, self.input.clocks(false).steering_u_s);
        self.parameters.add(&[clock]);
        self.take_either_order();
        self.take_rig(tilt);
        let rig = self.rig.as_mut();
        if let Some(product) = rig.and_then(|rig| rig.effectiveness_per_kg_m.as_mut()) {
            let more_u = (product.u.powi(2) - own_variance).max(0.0).sqrt();
            let freedom = tilt.freedom[product_at];
            *product = widened_either_side(
                product.value,
                profile,
                more_u,
                freedom,
                Unit::PerKilogramMetre,
            );
        }
    }

    /// What lag and delay are less sure of because the order is not: the one has it from the other.
    fn take_either_order(&mut self) {
        let more = |stated: Option<&Measured>, parameter| {
            let own = self.parameters.u(parameter).unwrap_or(0.0);
            let stated = stated.map_or(0.0, |stated| stated.u);
            (stated * stated - own * own).max(0.0).sqrt()
        };
        let lag = more(self.actuator.lag_s.as_ref(), Parameter::Lag);
        let delay = more(self.actuator.delay_s.as_ref(), Parameter::Delay);
        self.parameters
            .add(&[(Parameter::Lag, lag), (Parameter::Delay, -delay)]);
    }

    fn note_slew(&mut self) {
        let finding = findings::slew(self.actuator.slew_deg_s.as_ref());
        self.findings.push(finding);
    }

    fn note_travel(&mut self, kind: DeadBandKind, width_deg: f64, gain: f64) {
        let Some(limit) = self.input.travel_rad else {
            return;
        };
        let half = if kind == DeadBandKind::None {
            0.0
        } else {
            0.5 * width_deg
        };
        let commands = self.input.command_deg.value().iter();
        let largest = commands.map(|u| u.abs()).fold(0.0, f64::max);
        let demanded = gain * (largest - half).max(0.0);
        self.findings.push(findings::travel(demanded, limit));
    }

    /// What is drawn of the residuals.
    fn take_autocorrelation(&mut self, errors: &[f64]) {
        self.trace.residual_autocorrelation = autocorrelation(errors, DRAWN_LAGS);
        self.trace.residual_count = errors.len();
    }

    fn note_residuals(&mut self) {
        let (white, command) = (self.report.whiteness_p, self.report.command_p);
        self.findings.extend(white.map(findings::white));
        let Some(free) = command.map(findings::free_of_command) else {
            return;
        };
        if free.outcome == Outcome::Fails {
            self.keep_lag_and_delay_together();
        }
        self.findings.push(free);
    }

    /// A model that the residuals refute parts lag and delay by its own shape, not by the actuator's; their sum is the
    /// first moment of any answer, and gets an interval that reaches what every structure says of it.
    fn keep_lag_and_delay_together(&mut self) {
        let Actuator {
            lag_s,
            damping_ratio,
            delay_s,
            lag_plus_delay_s,
            ..
        } = &mut self.actuator;
        (*lag_s, *damping_ratio, *delay_s) = (None, None, None);
        let Some(sum) = lag_plus_delay_s else { return };
        let u = sum.u.hypot(self.structures_apart_s);
        *sum = Measured::normal(sum.value, u, Unit::Second);
        for parameter in [Parameter::Lag, Parameter::Delay] {
            let why = "the residuals follow the command, so the model parts lag and delay by its own shape";
            let advice = "use lag and delay together".to_owned();
            self.findings.push(findings::not_identifiable(
                parameter,
                why.to_owned(),
                advice,
            ));
        }
    }

    /// A command of two levels cannot part a dead band from a smaller gain.
    fn note_structure(&mut self, choice: &StructureChoice) {
        if choice.assumes_none() {
            self.report.assumed.push(
                "no dead band: this command cannot part one from a smaller gain, so the gain is \
                 what is left of it"
                    .to_owned(),
            );
        }
    }

    /// Adds what the tilt stage says to the report and the trace.
    fn note_tilt(&mut self, tilt: &TiltFit) {
        let input = self.input;
        let report = &mut self.report;
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
                .zip(tilt.model.filter().channels())
                .filter(|(_, (is_rate, _))| *is_rate == rate)
                .map(|(error, (_, deviation))| error * deviation / RAD_PER_DEG)
                .collect();
            if !physical.is_empty() {
                let square = physical.iter().map(|error| error * error).sum::<f64>();
                let deviation = (square / physical.len() as f64).sqrt();
                report.residual_sd.insert(name.to_owned(), deviation);
            }
        }
        let predicted = tilt.model.predicted(tilt.fit.kind, &tilt.fit.minimum.x);
        if input.tilt_rad.is_some() {
            let times = &tilt.instants.times_s;
            self.trace.tilt_model_deg = Some(Series::new(times, &degrees(&predicted.tilt_rad)));
        }
    }

    /// Parts the product of gain and effectiveness where geometry allows it.
    fn split_product(&mut self) {
        let rig = self.rig.as_mut();
        let Some(product) = rig.and_then(|rig| rig.effectiveness_per_kg_m.as_mut()) else {
            return;
        };
        let bound = &mut self.report.information_bound;
        let Some(geometry) = free_rocket::rig_geometry(self.input) else {
            bound.shift_remove(&Parameter::Gain);
            self.report.assumed.push(
                "gain is taken as 1: effectiveness stands for the product of gain and \
                 effectiveness"
                    .to_owned(),
            );
            self.findings.push(findings::not_identifiable(
                Parameter::Gain,
                "without a nozzle angle only gain x effectiveness can be seen".to_owned(),
                "measure the nozzle angle, or give arm and inertia of the axis".to_owned(),
            ));
            return;
        };
        if let Some(gain) = bound.get_mut(&Parameter::Gain) {
            *gain /= geometry.value;
        }
        bound.shift_remove(&Parameter::Effectiveness);
        let gain = product.value / geometry.value;
        let of_geometry = gain * geometry.u / geometry.value;
        let own = product.times(1.0 / geometry.value, Unit::One);
        let half = |side: f64| (side - gain).hypot(NORMAL_FACTOR * of_geometry);
        let u = own.u.hypot(of_geometry);
        let (low, high) = (gain - half(own.low), gain + half(own.high));
        self.actuator.gain = Some(Measured::interval(gain, u, low, high, Unit::One));
        *product = Measured::normal(geometry.value, geometry.u, Unit::PerKilogramMetre);
        let per_product = 1.0 / geometry.value;
        self.parameters
            .rescale(Parameter::Effectiveness, Parameter::Gain, per_product);
        self.parameters
            .add_shared("arm over inertia", &[(Parameter::Gain, -of_geometry)]);
        self.report.assumed.push(
            "effectiveness is arm over inertia as given; gain is the measured product over it"
                .to_owned(),
        );
    }

    fn finish(mut self) -> AxisPlant {
        let mut flight = None;
        if self.input.thrust_n.is_some() {
            let (free, more) = free_rocket::flight(self.input);
            flight = free;
            self.findings.extend(more);
        }
        if let Some(bench) = &self.input.bench_sweep {
            let compared = findings::bench_sweep(&self.actuator, bench);
            self.findings.extend(compared);
        }
        let mut plant = AxisPlant {
            actuator: self.actuator,
            rig: self.rig,
            flight,
            covariance: Covariance {
                names: vec![],
                matrix: vec![],
            },
            systematic: vec![],
            fit: self.report,
            findings: self.findings,
        };
        let identifiable = |parameter: Parameter| match parameter {
            Parameter::DeadBandWidth => matches!(
                plant.actuator.dead_band.kind,
                Some(DeadBandKind::Play | DeadBandKind::DeadZone)
            ),
            _ => plant.value(parameter).is_some(),
        };
        let covariance = self.parameters.covariance(identifiable);
        let systematic = self.parameters.systematic(identifiable);
        (plant.covariance, plant.systematic) = (covariance, systematic);
        plant
    }
}
