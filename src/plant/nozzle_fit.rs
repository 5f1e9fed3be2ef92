//! An axis whose nozzle angle is measured: the actuator from it, the rig from its modelled angle.
//!
//! The two stages are joined by first-order propagation: what one standard uncertainty of an
//! actuator parameter moves in the rig's is a least-squares projection of the change in prediction
//! errors (two-stage estimation; Murphy & Topel 1985). A clock offset between nozzle and tilt is a
//! parameter of the rig's stage with what is known of it as its prior.

use nalgebra::{DMatrix, DVector};

use super::AxisInput;
use super::actuator_estimates::{
    ActuatorEstimates, ActuatorSolution, actuator_estimates, width_profile,
};
use super::excitation::Excitation;
use super::fit_uncertainty::{self, FitUncertainty};
use super::kalman_filter::NoiseModel;
use super::measurement_model::{DELAY, MeasurementModel, StructureFit, WIDTH, fit_from};
use super::nozzle_model::{COUNT, NozzleModel, duals};
use super::parameter::Parameter;
use super::progress::FitProgress;
use super::slew::limited;
use super::structure::{StructureChoice, choose};
use super::tilt_fit::{TiltFit, fit_tilt, instants_of};
use super::tilt_model::{NozzleAngle, TiltModel};
use super::trace::WidthProfile;

/// Blocks of readings for the validation; every other one is kept out.
const BLOCKS: usize = 10;

/// The actuator, fitted to its measured angle.
#[derive(Debug, Clone)]
pub struct ActuatorFit {
    /// What it was fitted to.
    seen: NozzleModel,
    /// The model, with a slew limit if one shows.
    pub model: NozzleModel,
    /// Structures.
    pub choice: StructureChoice,
    /// The fit taken.
    pub fit: StructureFit,
    /// Its covariance; `None` when a parameter has no effect.
    pub uncertainty: Option<FitUncertainty>,
    /// Whether a slew limit shows.
    pub slew: bool,
    /// Share of the movement explained on blocks kept out, per cent.
    pub validation_percent: Option<f64>,
}

/// Fits the actuator, or takes an earlier fit of the same model; `None` when the nozzle angle does not
/// allow it.
#[must_use]
pub(crate) fn fit_actuator(
    input: &AxisInput,
    earlier: Option<&ActuatorFit>,
    progress: &FitProgress<'_>,
) -> Option<ActuatorFit> {
    let model = NozzleModel::new(input)?;
    if let Some(earlier) = earlier.filter(|earlier| earlier.seen == model) {
        return Some(earlier.clone());
    }
    if model.movement().widest_deg <= 0.0 {
        return None;
    }
    let seen = model.clone();
    let choice = choose(&model)?;
    progress.done();
    let limited = limited(&model, &choice);
    progress.done();
    let slew = limited.is_some();
    let (model, choice) = limited.unwrap_or((model, choice));
    let fit = choice.best().clone();
    let validation_percent = validation_fit(&model, &fit);
    progress.done();
    Some(ActuatorFit {
        seen,
        uncertainty: fit_uncertainty::fit_uncertainty(&fit.minimum),
        model,
        choice,
        fit,
        slew,
        validation_percent,
    })
}

/// Fits to every other block and looks at the rest: 100 (1 - |error| / |movement|) (Ljung 16.4).
fn validation_fit(model: &NozzleModel, fit: &StructureFit) -> Option<f64> {
    let block = model.measured_deg.len().div_ceil(BLOCKS).max(1);
    let kept = model.only(|at| (at / block).is_multiple_of(2));
    let rest = model.only(|at| !(at / block).is_multiple_of(2));
    if rest.measured_deg.len() < BLOCKS {
        return None;
    }
    let found = fit_from(&kept, fit.kind, &fit.minimum.x, None);
    let error = rest.residuals(fit.kind, &found.minimum.x).norm();
    let measured = DVector::from_column_slice(rest.measured_deg.value());
    let movement = measured.add_scalar(-measured.mean()).norm();
    (movement > 0.0).then(|| 100.0 * (1.0 - error / movement))
}

impl ActuatorFit {
    /// How the command moved where readings were used.
    #[must_use]
    pub fn excitation(&self, input: &AxisInput) -> Excitation {
        let window = self.model.measured_deg.span_s().unwrap_or(input.window_s);
        let width = self.fit.minimum.x[WIDTH];
        Excitation::of(&input.command_deg, window, (width, self.choice.width_u_deg))
    }

    /// Lag, delay and dead band; `None` when the curvature is singular.
    #[must_use]
    pub fn estimates(&self, input: &AxisInput) -> Option<(ActuatorEstimates, WidthProfile)> {
        let solution = ActuatorSolution {
            model: &self.model,
            choice: &self.choice,
            fit: &self.fit,
            uncertainty: self.uncertainty.as_ref()?,
            freedom: &[],
            clock_u_s: input.command_to_nozzle_u_s,
            step_s: self.model.measured_deg.step_s().unwrap_or(0.0),
            excitation: self.excitation(input),
        };
        let profile = width_profile(&solution);
        Some((actuator_estimates(&solution), profile))
    }

    /// Covariance of the parameters with what the kinds of dead band disagree by. What a second pole that does not show
    /// would do to lag and delay it would undo in the nozzle's angle, which is what the rig sees.
    #[must_use]
    pub fn covariance(&self) -> Option<DMatrix<f64>> {
        let uncertainty = self.uncertainty.as_ref()?;
        Some(&uncertainty.covariance + self.choice.disagreement_of_kinds())
    }
}

/// The rig seen through a known nozzle angle.
#[derive(Debug, Clone)]
pub(crate) struct RigFit {
    /// The fit.
    pub tilt: TiltFit,
    /// Its covariance, actuator and clock included.
    pub covariance: DMatrix<f64>,
    /// Covariance with the actuator's parameters.
    pub with_actuator: DMatrix<f64>,
    /// The covariance that the information bound allows.
    pub bound: DMatrix<f64>,
}

/// Fits the rig, its noise sought from that of an earlier look; `None` without tilt and rate or without thrust.
#[must_use]
pub(crate) fn fit_rig(
    input: &AxisInput,
    actuator: &ActuatorFit,
    earlier: Option<NoiseModel>,
    progress: &FitProgress<'_>,
) -> Option<RigFit> {
    let instants = instants_of(input)?;
    let x = &actuator.fit.minimum.x;
    let kind = actuator.fit.kind;
    let angle = actuator
        .model
        .nozzle_rad(kind, &duals::<COUNT>(x), &instants.times_s);
    let known: Vec<f64> = angle.iter().map(|d| d.value).collect();
    let movement = actuator.model.movement();
    let nozzle = NozzleAngle::Known {
        angle_rad: known,
        // What a later delay takes off is what an earlier clock puts on.
        rate_rad_s: angle.iter().map(|d| -d.slope[DELAY]).collect(),
    };
    let tilt = fit_tilt(input, instants, nozzle, movement, earlier, progress)?;
    let uncertainty = fit_uncertainty::fit_uncertainty(&tilt.fit.minimum)?;
    let effectiveness = tilt.fit.minimum.x[TiltModel::at(Parameter::Effectiveness)];
    let moves = |change: &dyn Fn(usize) -> f64| -> DVector<f64> {
        let change: Vec<f64> = (0..angle.len())
            .map(|at| angle[at].value.cos() * change(at))
            .collect();
        shift(&tilt, &tilt.model.response_to_angle(effectiveness, &change))
    };
    let by_actuator: Vec<DVector<f64>> = (0..COUNT)
        .map(|index| moves(&|at| angle[at].slope[index]))
        .collect();
    let by_actuator = DMatrix::from_columns(&by_actuator);
    let actuator_covariance = actuator.covariance()?;
    let with_actuator = &by_actuator * &actuator_covariance;
    let covariance = uncertainty.covariance + &with_actuator * by_actuator.transpose();
    let mut bound = uncertainty.bound;
    if let Some(actuator) = &actuator.uncertainty {
        bound += &by_actuator * &actuator.bound * by_actuator.transpose();
    }
    Some(RigFit {
        tilt,
        bound,
        covariance,
        with_actuator,
    })
}

/// How a change of the residuals moves the estimate: -R^-1 Q' change, zero for held parameters.
fn shift(tilt: &TiltFit, change: &DVector<f64>) -> DVector<f64> {
    let minimum = &tilt.fit.minimum;
    let index: Vec<usize> = (0..minimum.free.len())
        .filter(|i| minimum.free[*i])
        .collect();
    let mut out = DVector::zeros(minimum.free.len());
    let qr = minimum.jacobian.select_columns(&index).qr();
    let mut rotated = change
        .clone()
        .resize_vertically(minimum.residuals.len(), 0.0);
    qr.q_tr_mul(&mut rotated);
    let top = rotated.rows(0, index.len()).into_owned();
    if let Some(solved) = qr.r().solve_upper_triangular(&top) {
        for (&i, value) in index.iter().zip(solved.iter()) {
            out[i] = -value;
        }
    }
    out
}
