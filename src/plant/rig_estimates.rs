//! The rig's parameters as results show them: which are identifiable from the record, and what was assumed.

use nalgebra::DMatrix;

use super::fit_uncertainty::low_if_selected;
use super::measurement_model::MeasurementModel;
use super::parameter::{Parameter, RIG};
use super::parameter_estimates::ParameterEstimates;
use super::structure::STRONG_LEAD;
use super::tilt_fit::TiltFit;
use super::tilt_model::TiltModel;
use super::{AxisInput, Rig, findings, free_rocket};
use crate::finding::Finding;
use crate::quantity::measured::NORMAL_FACTOR;
use crate::quantity::{Measured, Unit};

/// A gain or effectiveness known no better than this share of itself is not known.
const USELESS_SHARE: f64 = 0.3;
/// Damping and stiffness are reported when the record at least halves their prior's uncertainty.
const SHARE_OF_PRIOR: f64 = 0.5;

/// The rig's parameters and their places in the tilt model.
#[must_use]
pub(crate) fn rig_places() -> [(Parameter, usize); RIG.len()] {
    RIG.map(|parameter| (parameter, TiltModel::at(parameter)))
}

/// Appends the rig's parameters; `cross` has one row for each parameter of the tilt model.
pub(crate) fn append_rig(
    parameters: &mut ParameterEstimates,
    tilt: &TiltFit,
    covariance: &DMatrix<f64>,
    cross: Option<&DMatrix<f64>>,
) {
    let x = &tilt.fit.minimum.x;
    let named = rig_places().map(|(parameter, at)| (parameter, x[at]));
    let places = RIG.map(TiltModel::at);
    let own = covariance.select_rows(&places).select_columns(&places);
    let cross = cross.map(|cross| {
        let rows = cross.select_rows(&places);
        let old = parameters.covariance(|_| true).names.len();
        rows.columns(0, old.min(rows.ncols())).into_owned()
    });
    let freedom = places.map(|at| tilt.freedom[at]);
    parameters.append(&named, &own, cross.as_ref(), &freedom);
}

/// The rig as results show it, with findings on what is not identifiable from the record.
pub(crate) fn rig_estimates(
    input: &AxisInput,
    tilt: &TiltFit,
    parameters: &mut ParameterEstimates,
    findings: &mut Vec<Finding>,
) -> Rig {
    let x = &tilt.fit.minimum.x;
    // All thrust too large by a share makes both coefficients too small by it.
    let share = input.thrust_relative_u;
    parameters.add_shared(
        "thrust calibration",
        &[
            (
                Parameter::Effectiveness,
                -share * x[TiltModel::at(Parameter::Effectiveness)],
            ),
            (
                Parameter::ThrustBias,
                -share * x[TiltModel::at(Parameter::ThrustBias)],
            ),
        ],
    );
    // What one standard uncertainty of the inertia's ratio does is in the covariance already.
    let c = &tilt.covariance;
    let ratio = TiltModel::at(Parameter::InertiaAtBurnout);
    let ratio_u = c[(ratio, ratio)].sqrt();
    if ratio_u > 0.0 {
        let moves = rig_places().map(|(parameter, at)| (parameter, c[(at, ratio)] / ratio_u));
        parameters.note_shared("inertia at burnout over that at ignition", &moves);
    }
    let advice = "steer through the whole burn with 2 deg or more either side";
    let effectiveness_per_kg_m =
        identifiable(parameters, Parameter::Effectiveness, advice, findings);
    if input.nozzle_rad.is_some() {
        let both = effectiveness_per_kg_m
            .as_ref()
            .zip(free_rocket::rig_geometry(input));
        findings.extend(both.map(|(found, given)| findings::geometry(found, given)));
    }
    let mut beyond_prior = |parameter: Parameter| {
        let u = parameters.u(parameter)?;
        // A free swing is a measurement, not an assumption.
        let prior_u = tilt.priors[parameter].u;
        let identifiable = input.free_swing.is_some() || u <= SHARE_OF_PRIOR * prior_u;
        if !identifiable {
            findings.push(findings::not_identifiable(
                parameter,
                format!(
                    "standard uncertainty {u:.3} {} is hardly below what was known before",
                    parameter.unit()
                ),
                "log a free swing of the rig without thrust, ten swings or more".to_owned(),
            ));
        }
        parameters.measured(parameter).filter(|_| identifiable)
    };
    let damping_per_s = beyond_prior(Parameter::Damping);
    let stiffness_per_s2 = beyond_prior(Parameter::Stiffness);
    let coulomb_rad_per_s2 = friction(tilt, parameters, findings);
    Rig {
        effectiveness_per_kg_m,
        thrust_bias_per_kg_m: parameters.measured(Parameter::ThrustBias),
        damping_per_s,
        stiffness_per_s2,
        coulomb_rad_per_s2,
    }
}

/// Dry friction, when a fit with it scores better by a strong lead than one without (by Wald's
/// approximation of the likelihood ratio: the square of value over uncertainty).
fn friction(
    tilt: &TiltFit,
    parameters: &ParameterEstimates,
    findings: &mut Vec<Finding>,
) -> Option<Measured> {
    let value = tilt.fit.minimum.x[TiltModel::at(Parameter::DryFriction)];
    let u = parameters.u(Parameter::DryFriction)?;
    let lead = (value / u).powi(2) - (tilt.instants.count as f64).ln();
    if value > 0.0 && lead >= STRONG_LEAD {
        // Values that barely pass are too large on average.
        let threshold = (lead - STRONG_LEAD).max(0.0);
        let threshold = ((value / u).powi(2) - threshold).max(0.0).sqrt();
        let (low, high) = (value - NORMAL_FACTOR * u, value + NORMAL_FACTOR * u);
        let low = low.min(low_if_selected(value, u, threshold));
        return Some(Measured::interval(
            value,
            u,
            low,
            high,
            Unit::RadianPerSecondSquared,
        ));
    }
    let most = (value + NORMAL_FACTOR * u).max(0.0);
    findings.push(findings::not_identifiable(
        Parameter::DryFriction,
        format!(
            "found {value:.3} rad/s2 with a standard uncertainty of {u:.3}, so it is below \
             {most:.3}; a fit with it does not score better by {STRONG_LEAD}"
        ),
        "log a free swing of the rig without thrust down to rest".to_owned(),
    ));
    None
}

/// What the tilt stage took for granted, in words.
pub(crate) fn assumptions(input: &AxisInput, tilt: &TiltFit) -> Vec<String> {
    let prior = |parameter: Parameter| {
        let prior = tilt.priors[parameter];
        format!("{:.3} ± {:.3} {}", prior.value, prior.u, parameter.unit())
    };
    let from = if input.free_swing.is_some() {
        "from the free swing"
    } else {
        "before the record is looked at"
    };
    let mut out = vec![
        format!(
            "damping {}, stiffness {} and dry friction {} {from}",
            prior(Parameter::Damping),
            prior(Parameter::Stiffness),
            prior(Parameter::DryFriction)
        ),
        "no coupling from the other axis".to_owned(),
    ];
    if input.inertia_spent_kg_m2.is_some() && input.impulse_fraction.is_some() {
        out.push(if input.spent_is_assumed {
            "inertia falls with impulse by the propellant's mass times arm squared, for inertia_spent is not given; values \
             hold at ignition"
                .to_owned()
        } else {
            "inertia changes with impulse as given; values hold at ignition".to_owned()
        });
    }
    out
}

/// Value and uncertainty of a parameter, unless it is known too badly; a finding then says so.
pub(crate) fn identifiable(
    parameters: &ParameterEstimates,
    parameter: Parameter,
    advice: &str,
    out: &mut Vec<Finding>,
) -> Option<Measured> {
    let (value, u) = parameters.value(parameter).zip(parameters.u(parameter))?;
    if u > 0.0 && u.is_finite() && u <= USELESS_SHARE * value.abs() {
        return parameters.measured(parameter);
    }
    let why = format!("found {value:.4} with a standard uncertainty of {u:.4}");
    out.push(findings::not_identifiable(
        parameter,
        why,
        advice.to_owned(),
    ));
    None
}
