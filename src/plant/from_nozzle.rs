//! An axis whose nozzle angle is measured: the actuator from it, the rig from its modelled angle.
//!
//! The two stages are joined by first-order propagation: what one standard uncertainty of an
//! actuator parameter moves in the rig's is a least-squares projection of the change in prediction
//! errors (two-stage estimation; Murphy & Topel 1985). A clock offset between nozzle and tilt is a
//! parameter of the rig's stage with what is known of it as its prior.

use nalgebra::{DMatrix, DVector};

use super::AxisInput;
use super::actuator_fit::{NozzleView, duals};
use super::actuator_parameters::{self, CoreNumbers, Fitted};
use super::excitation::Excitation;
use super::measurement_model::{DELAY, GAIN, KindFit, View, WIDTH, fit_from};
use super::progress::Steps;
use super::slew::limited;
use super::structure::{Choice, choose};
use super::tilt_fit::{TiltFit, fit_tilt, instants_of};
use super::tilt_model::Nozzle;
use super::uncertainty::{self, Spread};

/// Blocks of readings for the held-out check; every other one is kept out.
const BLOCKS: usize = 10;
/// Parameters of the actuator that the rig's depend on.
const ACTUATOR_PARAMETERS: usize = 7;

/// The actuator, fitted to its measured angle.
#[derive(Debug, Clone)]
pub struct ActuatorFit {
    /// What it was fitted to.
    seen: NozzleView,
    /// The view, with a slew limit if one shows.
    pub view: NozzleView,
    /// Structures.
    pub choice: Choice,
    /// The fit taken.
    pub fit: KindFit,
    /// Its covariance; `None` when a parameter has no effect.
    pub spread: Option<Spread>,
    /// Whether a slew limit shows.
    pub slew: bool,
    /// Share of the movement explained on blocks kept out, per cent.
    pub held_out_percent: Option<f64>,
}

/// Fits the actuator, or takes an earlier fit of the same view; `None` when the nozzle angle does not
/// allow it.
#[must_use]
pub fn fit_actuator(
    input: &AxisInput,
    earlier: Option<&ActuatorFit>,
    steps: &Steps<'_>,
) -> Option<ActuatorFit> {
    let view = NozzleView::new(input)?;
    if let Some(earlier) = earlier.filter(|earlier| earlier.seen == view) {
        return Some(earlier.clone());
    }
    if view.movement().widest_deg <= 0.0 {
        return None;
    }
    let seen = view.clone();
    let choice = choose(&view)?;
    steps.done();
    let limited = limited(&view, choice.best());
    steps.done();
    let slew = limited.is_some();
    let (view, choice) = limited.unwrap_or((view, choice));
    let fit = choice.best().clone();
    let held_out_percent = held_out(&view, &fit);
    steps.done();
    Some(ActuatorFit {
        seen,
        spread: uncertainty::spread(&fit.minimum),
        view,
        choice,
        fit,
        slew,
        held_out_percent,
    })
}

/// Fits to every other block and looks at the rest: 100 (1 - |error| / |movement|) (Ljung 16.4).
fn held_out(view: &NozzleView, fit: &KindFit) -> Option<f64> {
    let block = view.measured_deg.len().div_ceil(BLOCKS).max(1);
    let kept = view.only(|at| (at / block).is_multiple_of(2));
    let rest = view.only(|at| !(at / block).is_multiple_of(2));
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
        let window = self.view.measured_deg.span_s().unwrap_or(input.window_s);
        let width = self.fit.minimum.x[WIDTH];
        Excitation::of(&input.command_deg, window, (width, self.choice.width_u_deg))
    }

    /// Lag, delay and dead band; `None` when the curvature is singular.
    #[must_use]
    pub fn numbers(&self, input: &AxisInput) -> Option<(CoreNumbers, Vec<(f64, f64)>)> {
        let fitted = Fitted {
            view: &self.view,
            choice: &self.choice,
            fit: &self.fit,
            spread: self.spread.as_ref()?,
            freedom: &[],
            clock_u_s: input.command_to_nozzle_u_s,
            step_s: self.view.measured_deg.step_s().unwrap_or(0.0),
            excitation: self.excitation(input),
        };
        let profile = actuator_parameters::width_profile(&fitted, super::PROFILE_POINTS);
        Some((actuator_parameters::numbers(&fitted), profile))
    }

    /// Covariance of the first `ACTUATOR_PARAMETERS` with the structures' disagreement.
    #[must_use]
    pub fn covariance(&self) -> Option<DMatrix<f64>> {
        let spread = self.spread.as_ref()?;
        let mut out = spread.covariance.clone();
        for index in 0..=WIDTH {
            out[(index, index)] += self.choice.disagreement(index).powi(2);
        }
        Some(out)
    }
}

/// The rig seen through a known nozzle angle.
#[derive(Debug, Clone)]
pub struct RigFit {
    /// The fit.
    pub tilt: TiltFit,
    /// Its covariance, actuator and clock included.
    pub covariance: DMatrix<f64>,
    /// Covariance with the actuator's parameters.
    pub with_actuator: DMatrix<f64>,
    /// The covariance that the information bound allows.
    pub bound: DMatrix<f64>,
}

/// Fits the rig; `None` without tilt and rate or without thrust.
#[must_use]
pub fn fit_rig(input: &AxisInput, actuator: &ActuatorFit, steps: &Steps<'_>) -> Option<RigFit> {
    let instants = instants_of(input)?;
    let x = &actuator.fit.minimum.x;
    let kind = actuator.fit.kind;
    let angle = actuator
        .view
        .nozzle_rad(kind, &duals::<ACTUATOR_PARAMETERS>(x), &instants.times_s);
    let known: Vec<f64> = angle.iter().map(|d| d.value).collect();
    let movement = actuator.view.movement();
    let nozzle = Nozzle::Known {
        angle_rad: known,
        // What a later delay takes off is what an earlier clock puts on.
        rate_rad_s: angle.iter().map(|d| -d.slope[DELAY]).collect(),
    };
    let tilt = fit_tilt(input, instants, nozzle, movement, steps)?;
    let spread = uncertainty::spread(&tilt.fit.minimum)?;
    let effectiveness = tilt.fit.minimum.x[GAIN];
    let moves = |change: &dyn Fn(usize) -> f64| -> DVector<f64> {
        let change: Vec<f64> = (0..angle.len())
            .map(|at| angle[at].value.cos() * change(at))
            .collect();
        shift(&tilt, &tilt.view.response_to_angle(effectiveness, &change))
    };
    let by_actuator: Vec<DVector<f64>> = (0..ACTUATOR_PARAMETERS)
        .map(|index| moves(&|at| angle[at].slope[index]))
        .collect();
    let by_actuator = DMatrix::from_columns(&by_actuator);
    let actuator_covariance = actuator.covariance()?;
    let with_actuator = &by_actuator * &actuator_covariance;
    let covariance = spread.covariance + &with_actuator * by_actuator.transpose();
    let mut bound = spread.bound;
    if let Some(actuator) = &actuator.spread {
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
