//! An axis whose nozzle angle is not measured: actuator and rig together from tilt and rate.
//!
//! Only the product of gain and effectiveness can be seen, and only the sum of bias and thrust bias.
//! With arm and inertia given the effectiveness is assumed to be their ratio and the gain follows;
//! without them the product stands in place of the effectiveness and the gain is unknown.

use super::AxisInput;
use super::actuator::Commands;
use super::actuator_estimates::{
    ActuatorEstimates, ActuatorSolution, actuator_estimates, width_profile,
};
use super::excitation::{Excitation, Movement};
use super::fit_uncertainty::{self, FitUncertainty, Profile};
use super::kalman_filter::NoiseModel;
use super::measurement_model::{MeasurementModel, WIDTH, fit_from};
use super::parameter::Parameter;
use super::progress::FitProgress;
use super::structure::StructureChoice;
use super::tilt_fit::{TiltFit, fit_tilt, instants_of};
use super::tilt_model::{NozzleAngle, TiltModel};
use super::trace::WidthProfile;
use crate::series::Series;

/// Blocks of readings for the validation; every other one is kept out.
const BLOCKS: usize = 10;
/// How long before the burn a command still matters, s.
const BEFORE_S: f64 = 0.1;

/// Actuator and rig from tilt alone.
#[derive(Debug, Clone)]
pub(crate) struct TiltOnlyFit {
    /// The fit.
    pub tilt: TiltFit,
    /// Structures.
    pub choice: StructureChoice,
    /// Covariance.
    pub uncertainty: FitUncertainty,
    /// Share of the steered movement explained on blocks kept out, per cent.
    pub validation_percent: Option<f64>,
}

/// Fits; `None` without tilt and rate, without thrust, or with a command that never moves.
#[must_use]
pub(crate) fn fit_tilt_only(
    input: &AxisInput,
    earlier: Option<NoiseModel>,
    progress: &FitProgress<'_>,
) -> Option<TiltOnlyFit> {
    let instants = instants_of(input)?;
    let nozzle = NozzleAngle::FromCommands {
        commands: Commands::new(&input.command_deg),
        travel_rad: input.travel_rad,
    };
    let (start, end) = input.window_s;
    let movement = Movement::of(&input.command_deg, start - BEFORE_S, end);
    if movement.widest_deg <= 0.0 {
        return None;
    }
    let mut tilt = fit_tilt(input, instants, nozzle, movement, earlier, progress)?;
    let choice = tilt.choice.take()?;
    let uncertainty = fit_uncertainty::fit_uncertainty(&tilt.fit.minimum)?;
    let validation_percent = validation_fit(&tilt);
    progress.done();
    Some(TiltOnlyFit {
        tilt,
        choice,
        uncertainty,
        validation_percent,
    })
}

/// Fits to every other block of readings; on the rest, compares the prediction errors with those of
/// a filter that knows nothing of the command.
fn validation_fit(tilt: &TiltFit) -> Option<f64> {
    let count = tilt.instants.count;
    let block = count.div_ceil(BLOCKS).max(1);
    let odd = |at: usize| !(at / block).is_multiple_of(2);
    let kept = tilt.model.clone().without(odd);
    let found = fit_from(&kept, tilt.fit.kind, &tilt.fit.minimum.x, None);
    let mut unsteered = found.minimum.x.clone();
    unsteered[TiltModel::at(Parameter::Effectiveness)] = 0.0;
    let size = |model: &TiltModel, x: &[f64]| -> f64 {
        let left = model.residuals(tilt.fit.kind, x);
        let rest = left
            .iter()
            .take(count)
            .enumerate()
            .filter(|(at, _)| odd(*at));
        rest.map(|(_, error)| error * error).sum::<f64>().sqrt()
    };
    let movement = size(&tilt.model, &unsteered);
    (movement > 0.0).then(|| 100.0 * (1.0 - size(&tilt.model, &found.minimum.x) / movement))
}

impl TiltOnlyFit {
    fn solution(&self, input: &AxisInput) -> ActuatorSolution<'_, TiltModel> {
        let window = input.window_s;
        let width = self.tilt.fit.minimum.x[WIDTH];
        let step = |series: Option<&Series>| series.and_then(Series::step_s);
        let steps = [
            step(input.tilt_rad.as_ref()),
            step(input.rate_rad_s.as_ref()),
        ];
        ActuatorSolution {
            model: &self.tilt.model,
            choice: &self.choice,
            fit: &self.tilt.fit,
            uncertainty: &self.uncertainty,
            freedom: &self.tilt.freedom,
            clock_u_s: input.clocks(false).steering_u_s,
            step_s: steps
                .iter()
                .flatten()
                .copied()
                .fold(f64::INFINITY, f64::min),
            excitation: Excitation::of(
                &input.command_deg,
                window,
                (width, self.choice.width_u_deg),
            ),
        }
    }

    /// The interval of the product of gain and effectiveness, over every kind of dead band left open.
    #[must_use]
    pub(crate) fn product_profile(&self) -> Profile {
        fit_uncertainty::profile_over(
            &self.tilt.model,
            &self.tilt.fit,
            &self.choice.open_beside_best(),
            &self.uncertainty,
            TiltModel::at(Parameter::Effectiveness),
            f64::NEG_INFINITY,
        )
    }

    /// Lag, delay and dead band, and the profile of the width.
    #[must_use]
    pub(crate) fn estimates(&self, input: &AxisInput) -> (ActuatorEstimates, WidthProfile) {
        let solution = self.solution(input);
        let profile = width_profile(&solution);
        (actuator_estimates(&solution), profile)
    }
}
