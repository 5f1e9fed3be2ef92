//! The rig's numbers laid down: which of them the record tells, and what was assumed.

use nalgebra::DMatrix;

use super::measurement_model::{BIAS, GAIN};
use super::parameters::Parameters;
use super::structure::STRONG_LEAD;
use super::tilt_fit::TiltFit;
use super::tilt_model::{COULOMB, DAMPING, SPENT, STIFFNESS};
use super::uncertainty::low_if_selected;
use super::{AxisInput, Rig, findings, flight};
use crate::finding::Finding;
use crate::quantity::Measured;
use crate::quantity::measured::NORMAL_FACTOR;

/// A gain or effectiveness known no better than this share of itself is not known.
const USELESS_SHARE: f64 = 0.3;
/// Damping and stiffness are reported when the record at least halves their prior's uncertainty.
const TOLD_BY_RECORD: f64 = 0.5;
/// Name of the effectiveness among the parameters.
pub const EFFECTIVENESS: &str = "effectiveness_per_kg_m";
/// Name of the thrust bias among the parameters.
pub const THRUST_BIAS: &str = "thrust_bias_per_kg_m";
/// Unit of both.
pub const PER_KG_M: &str = "1/(kg m)";
/// Places of the rig's parameters in the tilt view.
pub const RIG_INDEX: [usize; 5] = [GAIN, BIAS, DAMPING, STIFFNESS, COULOMB];
/// Their names.
pub const RIG_NAMES: [&str; 5] = [
    EFFECTIVENESS,
    THRUST_BIAS,
    "damping_per_s",
    "stiffness_per_s2",
    "coulomb_rad_per_s2",
];

/// Appends the rig's parameters; `cross` has one row for each parameter of the tilt view.
pub fn append_rig(
    parameters: &mut Parameters,
    tilt: &TiltFit,
    covariance: &DMatrix<f64>,
    cross: Option<&DMatrix<f64>>,
) {
    let x = &tilt.fit.minimum.x;
    let named: Vec<(&str, f64)> = RIG_NAMES.into_iter().zip(RIG_INDEX.map(|i| x[i])).collect();
    let own = covariance
        .select_rows(&RIG_INDEX)
        .select_columns(&RIG_INDEX);
    let cross = cross.map(|cross| {
        let rows = cross.select_rows(&RIG_INDEX);
        let old = parameters.covariance(|_| true).names.len();
        rows.columns(0, old.min(rows.ncols())).into_owned()
    });
    let freedom = RIG_INDEX.map(|index| tilt.freedom[index]);
    parameters.append(&named, &own, cross.as_ref(), &freedom);
}

/// The rig as results show it, with findings on what the record does not tell.
pub fn rig_numbers(
    input: &AxisInput,
    tilt: &TiltFit,
    parameters: &mut Parameters,
    findings: &mut Vec<Finding>,
) -> Rig {
    let x = &tilt.fit.minimum.x;
    // All thrust too large by a share makes both coefficients too small by it.
    let share = input.thrust_relative_u;
    parameters.add_shared(
        "thrust calibration",
        &[
            (EFFECTIVENESS, -share * x[GAIN]),
            (THRUST_BIAS, -share * x[BIAS]),
        ],
    );
    // What one standard uncertainty of the inertia's ratio does is in the covariance already.
    let c = &tilt.covariance;
    let ratio_u = c[(SPENT, SPENT)].sqrt();
    if ratio_u > 0.0 {
        let moves = RIG_NAMES.into_iter().zip(RIG_INDEX);
        let moves: Vec<(&str, f64)> = moves
            .map(|(name, index)| (name, c[(index, SPENT)] / ratio_u))
            .collect();
        parameters.note_shared("inertia at burnout over that at ignition", &moves);
    }
    let advice = "steer through the whole burn with 2 deg or more either side";
    let effectiveness_per_kg_m = told(parameters, EFFECTIVENESS, PER_KG_M, advice, findings);
    if input.nozzle_rad.is_some() {
        let both = effectiveness_per_kg_m
            .as_ref()
            .zip(flight::rig_geometry(input));
        findings.extend(both.map(|(found, given)| findings::geometry(found, given)));
    }
    let mut by_prior = |at: usize, name: &str, unit: &str| {
        let u = parameters.u(name)?;
        // What a free swing told is no guess.
        let told = input.free_swing.is_some() || u <= TOLD_BY_RECORD * tilt.priors[at].u;
        if !told {
            let what = name.split('_').next().unwrap_or(name);
            findings.push(findings::untold(
                &format!("{what} of the rig"),
                format!("standard uncertainty {u:.3} {unit} is hardly below what was known before"),
                "log a free swing of the rig without thrust, ten swings or more".to_owned(),
            ));
        }
        parameters.measured(name, unit).filter(|_| told)
    };
    let damping_per_s = by_prior(0, "damping_per_s", "1/s");
    let stiffness_per_s2 = by_prior(1, "stiffness_per_s2", "1/s2");
    let coulomb_rad_per_s2 = friction(tilt, parameters, findings);
    Rig {
        effectiveness_per_kg_m,
        thrust_bias_per_kg_m: parameters.measured(THRUST_BIAS, PER_KG_M),
        damping_per_s,
        stiffness_per_s2,
        coulomb_rad_per_s2,
    }
}

/// Dry friction, when a fit with it scores better by a strong lead than one without (by Wald's
/// approximation of the likelihood ratio: the square of value over uncertainty).
fn friction(
    tilt: &TiltFit,
    parameters: &Parameters,
    findings: &mut Vec<Finding>,
) -> Option<Measured> {
    let (value, u) = (
        tilt.fit.minimum.x[COULOMB],
        parameters.u("coulomb_rad_per_s2")?,
    );
    let lead = (value / u).powi(2) - (tilt.instants.count as f64).ln();
    if value > 0.0 && lead >= STRONG_LEAD {
        // Values that barely pass are too large on average.
        let threshold = (lead - STRONG_LEAD).max(0.0);
        let threshold = ((value / u).powi(2) - threshold).max(0.0).sqrt();
        let (low, high) = (value - NORMAL_FACTOR * u, value + NORMAL_FACTOR * u);
        let low = low.min(low_if_selected(value, u, threshold));
        return Some(Measured::interval(value, u, low, high, "rad/s2"));
    }
    let most = (value + NORMAL_FACTOR * u).max(0.0);
    findings.push(findings::untold(
        "dry friction of the rig",
        format!(
            "found {value:.3} rad/s2 with a standard uncertainty of {u:.3}, so it is below \
             {most:.3}; a fit with it does not score better by {STRONG_LEAD}"
        ),
        "log a free swing of the rig without thrust down to rest".to_owned(),
    ));
    None
}

/// What the tilt stage took for granted, in words.
pub fn assumptions(input: &AxisInput, tilt: &TiltFit) -> Vec<String> {
    let prior = |index: usize| {
        let prior = tilt.priors[index - DAMPING];
        format!("{:.3} +- {:.3}", prior.value, prior.u)
    };
    let from = if input.free_swing.is_some() {
        "from the free swing"
    } else {
        "before the record is looked at"
    };
    let mut out = vec![
        format!(
            "damping {} 1/s, stiffness {} 1/s2 and dry friction {} rad/s2 {from}",
            prior(DAMPING),
            prior(STIFFNESS),
            prior(COULOMB)
        ),
        "no coupling from the other axis".to_owned(),
    ];
    if input.inertia_spent_kg_m2.is_some() && input.impulse_fraction.is_some() {
        out.push("inertia changes with impulse as given; values hold at ignition".to_owned());
    }
    out
}

/// Value and uncertainty of a parameter, unless it is known too badly; a finding then says so.
pub fn told(
    parameters: &Parameters,
    name: &str,
    unit: &str,
    advice: &str,
    out: &mut Vec<Finding>,
) -> Option<Measured> {
    let (value, u) = parameters.value(name).zip(parameters.u(name))?;
    if u > 0.0 && u.is_finite() && u <= USELESS_SHARE * value.abs() {
        return parameters.measured(name, unit);
    }
    let why = format!("found {value:.4} with a standard uncertainty of {u:.4}");
    out.push(findings::untold(name, why, advice.to_owned()));
    None
}
