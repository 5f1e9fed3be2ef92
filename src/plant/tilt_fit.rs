//! Fits rig (and, without a nozzle angle, actuator) to tilt and rate.
//!
//! Noise levels and parameters depend on each other, so they are found in turns: first values, fit,
//! noise by likelihood, fit, and once more with the damping and stiffness found put into the filter.

use std::cell::RefCell;

use nalgebra::DMatrix;

use super::excitation::Movement;
use super::instants::Instants;
use super::kalman_filter::{KalmanFilter, NoiseModel, RigDynamics};
use super::measurement_model::{
    DELAY, LAG, MeasurementModel, ScanPoint, Steering, StructureFit, fit_from, refine, scan,
    solve_two,
};
use super::noise_search::NoiseSearch;
use super::parameter::{Parameter, WITH_PRIOR};
use super::prior::{Prior, Priors};
use super::progress::FitProgress;
use super::slew::limited;
use super::structure::{StructureChoice, choose};
use super::tilt_model::{NozzleAngle, ThrustInput, TiltModel};
use super::{AxisInput, DeadBandKind, fit_uncertainty, noise_likelihood};
use crate::numeric::least_squares::Minimum;
use crate::quantity::STANDARD_GRAVITY_M_S2;
use crate::series::Series;

/// The rig is left alone this long after the burn begins, s: clamps open, thrust builds up.
const SETTLE_S: f64 = 0.03;
/// Fewest readings of tilt and rate together.
const FEWEST_READINGS: usize = 60;

/// By how much, as a share, damping, stiffness and friction may differ between a free swing and the
/// burn: propellant goes, cables hang otherwise. Common practice, no source.
const SWING_SHARE: f64 = 0.05;

/// What was found.
#[derive(Debug, Clone)]
pub(crate) struct TiltFit {
    /// The last model.
    pub model: TiltModel,
    /// The best fit.
    pub fit: StructureFit,
    /// The structures tried; `None` when the nozzle angle was known.
    pub choice: Option<StructureChoice>,
    /// Instants of the filter.
    pub instants: Instants,
    /// Priors.
    pub priors: Priors,
    /// Whether a slew limit shows.
    pub slew: bool,
    /// Degrees of freedom of each parameter's uncertainty.
    pub freedom: Vec<f64>,
    /// Covariance of the parameters given the steering.
    pub covariance: DMatrix<f64>,
    /// The noise found.
    pub noise: NoiseModel,
}

/// Readings, thrust and priors of one axis.
struct Setting<'a> {
    input: &'a AxisInput,
    instants: Instants,
    push: ThrustInput,
    priors: Priors,
    nozzle: NozzleAngle,
    movement: Movement,
}

/// The instants at which the nozzle angle will be needed; `None` without tilt and rate, without
/// thrust, or with too few readings.
#[must_use]
pub(crate) fn instants_of(input: &AxisInput) -> Option<Instants> {
    input.thrust_n.as_ref()?;
    let window = (input.window_s.0 + SETTLE_S, input.window_s.1);
    let instants = Instants::new(input.tilt_rad.as_ref(), input.rate_rad_s.as_ref(), window);
    (instants.count >= FEWEST_READINGS).then_some(instants)
}

/// Fits; `nozzle` must give angles at the instants. The noise is sought from that of an `earlier` look, if there was one.
#[must_use]
pub(crate) fn fit_tilt(
    input: &AxisInput,
    instants: Instants,
    nozzle: NozzleAngle,
    movement: Movement,
    earlier: Option<NoiseModel>,
    progress: &FitProgress<'_>,
) -> Option<TiltFit> {
    setting(input, instants, nozzle, movement)?.run(earlier, progress)
}

/// The model under noise and dynamics that are known beforehand, its readings not looked at: for what a record
/// to come can tell.
#[must_use]
pub(crate) fn expected_model(
    input: &AxisInput,
    nozzle: NozzleAngle,
    noise: &NoiseModel,
    swing: RigDynamics,
) -> Option<TiltModel> {
    let instants = instants_of(input)?;
    let still = vec![0.0; instants.times_s.len()];
    let (start_s, end_s) = input.window_s;
    let movement = Movement::of(&input.command_deg, start_s, end_s);
    Some(setting(input, instants, nozzle, movement)?.model(noise, swing, &still))
}

fn setting(
    input: &AxisInput,
    instants: Instants,
    nozzle: NozzleAngle,
    movement: Movement,
) -> Option<Setting<'_>> {
    let thrust = input.thrust_n.as_ref()?;
    let times = instants.times_s.iter();
    let thrust_n: Vec<f64> = times.map(|time| thrust.at(*time).unwrap_or(0.0)).collect();
    let (mut push_n, mut lighter) = (vec![], vec![]);
    let (mut later, mut longer) = (vec![], vec![]);
    for (&time, thrust_now) in instants.times_s.iter().zip(&thrust_n) {
        let lightening = input.lightening_at(time);
        push_n.push(thrust_now * lightening);
        lighter.push(input.burnt_at(time) * lightening);
        let growth = growth_n_s(thrust, time);
        later.push(-growth * lightening);
        // At the same impulse, so that the thrust bias stays the mean over the burn.
        let since_s = time - input.window_s.0;
        longer.push(-(growth * since_s + thrust_now) * lightening);
    }
    let steering_known = matches!(nozzle, NozzleAngle::Known { .. });
    Some(Setting {
        priors: priors(input, steering_known),
        push: ThrustInput {
            push_n,
            lighter,
            later,
            longer,
            moves_rate: input.clocks(steering_known).moves_rate,
        },
        input,
        instants: instants.under_thrust(&thrust_n),
        nozzle,
        movement,
    })
}

/// Reach over which the growth of thrust is taken, s: longer than ringing, shorter than a spike.
const GROWTH_REACH_S: f64 = 0.012;

/// How fast thrust grows, N/s: means of two stretches side by side.
fn growth_n_s(thrust: &Series, time_s: f64) -> f64 {
    let mean = |from_s: f64, to_s: f64| {
        let part = thrust.between(from_s, to_s);
        part.value().iter().sum::<f64>() / part.len() as f64
    };
    let (before, after) = (
        mean(time_s - 2.0 * GROWTH_REACH_S, time_s),
        mean(time_s, time_s + 2.0 * GROWTH_REACH_S),
    );
    let growth = (after - before) / (2.0 * GROWTH_REACH_S);
    if growth.is_finite() { growth } else { 0.0 }
}

fn priors(input: &AxisInput, steering_known: bool) -> Priors {
    let mut out = Priors::default();
    for parameter in WITH_PRIOR {
        out[parameter].u = parameter.definition().prior_u;
    }
    // Gravity on a centre of gravity above the pivot: m g h / J.
    let geometry = (input.swinging_mass_kg.zip(input.pivot_to_cg_m)).zip(input.inertia_kg_m2);
    let stiffness = geometry.map_or(0.0, |((mass, height), inertia)| {
        mass.value * STANDARD_GRAVITY_M_S2 * height.value / inertia.value
    });
    out[Parameter::Stiffness].value = stiffness;
    let mut put = |parameter, value: f64, u: f64| out[parameter] = Prior { value, u };
    if let Some(swing) = &input.free_swing {
        for (parameter, one) in [
            (Parameter::Damping, swing.damping_per_s),
            (Parameter::Stiffness, swing.stiffness_per_s2),
            (Parameter::DryFriction, swing.coulomb_rad_per_s2),
        ] {
            put(parameter, one.value, one.u.hypot(SWING_SHARE * one.value));
        }
    }
    let clocks = input.clocks(steering_known);
    put(Parameter::SensorClock, 0.0, clocks.apart_u_s);
    let late_u_s = if steering_known {
        clocks.steering_u_s
    } else {
        0.0
    };
    put(Parameter::NozzleClock, 0.0, late_u_s);
    put(Parameter::InertiaAtBurnout, 0.0, input.spent_ratio_u());
    put(
        Parameter::UnequalIgnition,
        0.0,
        input.unlike.later_u_s_per_kg_m,
    );
    put(
        Parameter::UnequalBurnTime,
        0.0,
        input.unlike.longer_u_per_kg_m,
    );
    out
}

impl Setting<'_> {
    fn model(&self, noise: &NoiseModel, swing: RigDynamics, acceleration: &[f64]) -> TiltModel {
        let filter = KalmanFilter::new(&self.instants, noise, swing);
        let (push, nozzle) = (self.push.clone(), self.nozzle.clone());
        TiltModel::new(filter, &self.instants, push, nozzle, swing, acceleration)
            .with_priors(self.priors)
            .with_movement(self.movement)
    }

    fn problem<'b>(
        &self,
        model: &TiltModel,
        fit: &StructureFit,
        readings: &'b (Instants, Vec<f64>),
    ) -> noise_likelihood::NoiseLikelihood<'b> {
        let x = &fit.minimum.x;
        let sensitivities = model.sensitivities(fit.kind, x, &fit.minimum.free);
        let priors = sensitivities.iter().map(|(parameter, _)| {
            let prior = model.priors()[*parameter];
            let off = (x[TiltModel::at(*parameter)] - prior.value) / prior.u;
            (prior.u > 0.0).then_some((off, 1.0 / prior.u))
        });
        noise_likelihood::NoiseLikelihood {
            instants: &readings.0,
            swing: rig_dynamics_of(&fit.minimum),
            acceleration: &readings.1,
            priors: priors.collect(),
            sensitivities: sensitivities
                .into_iter()
                .map(|(_, sensitivity)| sensitivity)
                .collect(),
            two_sensors: self.input.tilt_rad.is_some() && self.input.rate_rad_s.is_some(),
            known: RefCell::default(),
        }
    }

    /// The readings moved to where they belong, and the acceleration of the model.
    fn readings(&self, model: &TiltModel, fit: &StructureFit) -> (Instants, Vec<f64>) {
        let x = &fit.minimum.x;
        let straight = model.straightened(&self.instants, x);
        (straight, model.acceleration(fit.kind, x))
    }

    fn noise_for(
        &self,
        model: &TiltModel,
        fit: &StructureFit,
        start: &NoiseModel,
        search: NoiseSearch,
    ) -> NoiseModel {
        let readings = self.readings(model, fit);
        self.problem(model, fit, &readings).solve(start, search)
    }

    /// Degrees of freedom of each parameter.
    fn freedom(&self, model: &TiltModel, fit: &StructureFit, noise: &NoiseModel) -> Vec<f64> {
        let readings = self.readings(model, fit);
        let found = self.problem(model, fit, &readings).freedom(noise);
        let mut out = vec![f64::INFINITY; fit.minimum.x.len()];
        let free = (0..out.len()).filter(|index| fit.minimum.free[*index]);
        for (index, freedom) in free.zip(found) {
            out[index] = freedom;
        }
        out
    }

    fn run(self, earlier: Option<NoiseModel>, progress: &FitProgress<'_>) -> Option<TiltFit> {
        let window = (self.instants.times_s.first(), self.instants.times_s.last());
        let window = (*window.0?, *window.1?);
        let (tilt, rate) = (self.input.tilt_rad.as_ref(), self.input.rate_rad_s.as_ref());
        let first = earlier.unwrap_or_else(|| noise_likelihood::first_noise(tilt, rate, window));
        let still = vec![0.0; self.instants.times_s.len()];
        let known = matches!(self.nozzle, NozzleAngle::Known { .. });
        let geometry = RigDynamics {
            damping_per_s: 0.0,
            stiffness_per_s2: self.priors[Parameter::Stiffness].value,
        };
        let mut model = self.model(&first, geometry, &still);
        let mut fit = if known {
            known_fit(&model)?
        } else {
            let kind = DeadBandKind::None;
            refine(&model, kind, first_of(&scan(&model, kind, f64::INFINITY)))?
        };
        progress.done();
        // An earlier look found its noise; this one's will be found from there.
        let mut noise =
            earlier.unwrap_or_else(|| self.noise_for(&model, &fit, &first, NoiseSearch::Rough));
        progress.done();
        let (mut choice, mut slew) = (None, false);
        for turn in 0..2 {
            let acceleration = model.acceleration(fit.kind, &fit.minimum.x);
            model = self.model(&noise, rig_dynamics_of(&fit.minimum), &acceleration);
            if known {
                fit = fit_from(&model, fit.kind, &fit.minimum.x, None);
            } else if turn == 0 {
                // Play takes a zero width if it must, so it serves for the noise.
                let kind = DeadBandKind::Play;
                let slowest_s = 2.0 * (fit.minimum.x[LAG] + fit.minimum.x[DELAY]);
                fit = refine(&model, kind, first_of(&scan(&model, kind, slowest_s)))?;
            } else {
                let mut tried = choose(&model)?;
                progress.done();
                if let Some((slewing, again)) = limited(&model, &tried) {
                    (model, tried, slew) = (slewing, again, true);
                }
                fit = tried.best().clone();
                choice = Some(tried);
            }
            progress.done();
            if turn == 0 {
                noise = self.noise_for(&model, &fit, &noise, NoiseSearch::Precise);
                progress.done();
            }
        }
        let uncertainty = fit_uncertainty::fit_uncertainty(&fit.minimum)?;
        Some(TiltFit {
            noise,
            covariance: uncertainty.covariance,
            freedom: self.freedom(&model, &fit, &noise),
            model,
            fit,
            choice,
            instants: self.instants,
            priors: self.priors,
            slew,
        })
    }
}

fn first_of(starts: &[Steering]) -> &[Steering] {
    &starts[..starts.len().min(1)]
}

fn rig_dynamics_of(minimum: &Minimum) -> RigDynamics {
    RigDynamics {
        damping_per_s: minimum.x[TiltModel::at(Parameter::Damping)],
        stiffness_per_s2: minimum.x[TiltModel::at(Parameter::Stiffness)],
    }
}

/// The fit when the nozzle angle is known: effectiveness and thrust bias first, then all.
fn known_fit(model: &TiltModel) -> Option<StructureFit> {
    let point = ScanPoint {
        lag_s: 0.01,
        delay_s: 0.0,
        width_deg: 0.0,
    };
    let (target, thrust) = model.to_explain();
    let columns = model.gain_columns(DeadBandKind::None, &[point]);
    let (_, two) = solve_two(&target, columns.first()?, &thrust)?;
    let mut x = model.start([0.0, 0.0, point.lag_s, point.delay_s, point.width_deg]);
    x[..two.len()].copy_from_slice(&two);
    Some(fit_from(model, DeadBandKind::None, &x, None))
}
