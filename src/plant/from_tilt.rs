//! An axis whose nozzle angle is not measured: actuator and rig together from tilt and rate.
//!
//! Only the product of gain and effectiveness can be seen, and only the sum of bias and thrust bias.
//! With arm and inertia given the effectiveness is assumed to be their ratio and the gain follows;
//! without them the product stands in place of the effectiveness and the gain is unknown.

use super::AxisInput;
use super::actuator::Commands;
use super::actuator_parameters::{self, CoreNumbers, Fitted};
use super::excitation::{Excitation, Movement};
use super::measurement_model::{GAIN, View, WIDTH, fit_from};
use super::progress::Steps;
use super::structure::Choice;
use super::tilt_fit::{TiltFit, fit_tilt, instants_of};
use super::tilt_model::{Nozzle, TiltView};
use super::uncertainty::{self, Profile, Spread};
use crate::series::Series;

/// Blocks of readings for the held-out check; every other one is kept out.
const BLOCKS: usize = 10;
/// How long before the burn a command still matters, s.
const BEFORE_S: f64 = 0.1;

/// Actuator and rig from tilt alone.
#[derive(Debug, Clone)]
pub struct TiltAloneFit {
    /// The fit.
    pub tilt: TiltFit,
    /// Structures.
    pub choice: Choice,
    /// Covariance.
    pub spread: Spread,
    /// Share of the steered movement explained on blocks kept out, per cent.
    pub held_out_percent: Option<f64>,
}

/// Fits; `None` without tilt and rate, without thrust, or with a command that never moves.
#[must_use]
pub fn fit_tilt_alone(input: &AxisInput, steps: &Steps<'_>) -> Option<TiltAloneFit> {
    let instants = instants_of(input)?;
    let nozzle = Nozzle::Fitted {
        commands: Commands::new(&input.command_deg),
        travel_rad: input.travel_rad,
    };
    let (start, end) = input.window_s;
    let movement = Movement::of(&input.command_deg, start - BEFORE_S, end);
    if movement.widest_deg <= 0.0 {
        return None;
    }
    let mut tilt = fit_tilt(input, instants, nozzle, movement, steps)?;
    let choice = tilt.choice.take()?;
    let spread = uncertainty::spread(&tilt.fit.minimum)?;
    let held_out_percent = held_out(&tilt);
    steps.done();
    Some(TiltAloneFit {
        tilt,
        choice,
        spread,
        held_out_percent,
    })
}

/// Fits to every other block of readings; on the rest, compares the prediction errors with those of
/// a filter that knows nothing of the command.
fn held_out(tilt: &TiltFit) -> Option<f64> {
    let count = tilt.instants.count;
    let block = count.div_ceil(BLOCKS).max(1);
    let odd = |at: usize| !(at / block).is_multiple_of(2);
    let kept = tilt.view.clone().without(odd);
    let found = fit_from(&kept, tilt.fit.kind, &tilt.fit.minimum.x, None);
    let mut unsteered = found.minimum.x.clone();
    unsteered[GAIN] = 0.0;
    let size = |view: &TiltView, x: &[f64]| -> f64 {
        let left = view.residuals(tilt.fit.kind, x);
        let rest = left
            .iter()
            .take(count)
            .enumerate()
            .filter(|(at, _)| odd(*at));
        rest.map(|(_, error)| error * error).sum::<f64>().sqrt()
    };
    let movement = size(&tilt.view, &unsteered);
    (movement > 0.0).then(|| 100.0 * (1.0 - size(&tilt.view, &found.minimum.x) / movement))
}

impl TiltAloneFit {
    fn fitted(&self, input: &AxisInput) -> Fitted<'_, TiltView> {
        let window = input.window_s;
        let width = self.tilt.fit.minimum.x[WIDTH];
        let step = |series: Option<&Series>| series.and_then(Series::step_s);
        let steps = [
            step(input.tilt_rad.as_ref()),
            step(input.rate_rad_s.as_ref()),
        ];
        Fitted {
            view: &self.tilt.view,
            choice: &self.choice,
            fit: &self.tilt.fit,
            spread: &self.spread,
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
    pub fn product_profile(&self) -> Profile {
        uncertainty::profile_over(
            &self.tilt.view,
            &self.tilt.fit,
            &self.choice.open_beside_best(),
            &self.spread,
            GAIN,
            f64::NEG_INFINITY,
        )
    }

    /// Lag, delay and dead band, and the profile of the width.
    #[must_use]
    pub fn numbers(&self, input: &AxisInput) -> (CoreNumbers, Vec<(f64, f64)>) {
        let fitted = self.fitted(input);
        let profile = actuator_parameters::width_profile(&fitted, super::PROFILE_POINTS);
        (actuator_parameters::numbers(&fitted), profile)
    }
}
