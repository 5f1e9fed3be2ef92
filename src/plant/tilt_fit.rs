//! Fits rig (and, without a nozzle angle, actuator) to tilt and rate.
//!
//! Noise levels and parameters depend on each other, so they are found in turns: first values, fit,
//! noise by likelihood, fit, and once more with the damping and stiffness found put into the filter.

use nalgebra::DMatrix;

use super::excitation::Movement;
use super::measurement_model::{
    BIAS, DELAY, GAIN, KindFit, LAG, View, fit_from, refine, scan, solve_two,
};
use super::progress::Steps;
use super::slew::limited;
use super::structure::{Choice, choose};
use super::tilt::{Filter, Instants, Noise, Swing};
use super::tilt_model::{
    APART, COULOMB, DAMPING, LATE, LATER, LONGER, Nozzle, PRIORS, Prior, Push, SPENT, STIFFNESS,
    TiltView,
};
use super::{AxisInput, DeadBandKind, Estimate, noise, uncertainty};
use crate::numeric::least_squares::Minimum;
use crate::quantity::STANDARD_GRAVITY_M_S2;
use crate::series::Series;

/// The rig is left alone this long after the burn begins, s: clamps open, thrust builds up.
const SETTLE_S: f64 = 0.03;
/// Fewest readings of tilt and rate together.
const FEWEST_READINGS: usize = 60;
/// Prior standard deviation of the damping, 1/s: rig bearings damp within a second at most.
const DAMPING_PRIOR_PER_S: f64 = 1.0;
/// Prior standard deviation of the stiffness when geometry does not tell it, 1/s2: a centre of
/// gravity a few millimetres to centimetres off the pivot.
const STIFFNESS_PRIOR_PER_S2: f64 = 10.0;
/// Prior standard deviation of the dry friction, rad/s2: ball bearings and a cable rub with a few
/// millinewton metres, which is a tenth of this on a rig of 0.1 kg m2. Common practice, no source.
const FRICTION_PRIOR_RAD_S2: f64 = 0.3;

/// By how much, as a share, damping, stiffness and friction may differ between a free swing and the
/// burn: propellant goes, cables hang otherwise. Common practice, no source.
const SWING_SHARE: f64 = 0.05;

/// What was found.
#[derive(Debug, Clone)]
pub struct TiltFit {
    /// The last view.
    pub view: TiltView,
    /// The best fit.
    pub fit: KindFit,
    /// The structures tried; `None` when the nozzle angle was known.
    pub choice: Option<Choice>,
    /// Instants of the filter.
    pub instants: Instants,
    /// Noise found.
    pub noise: Noise,
    /// Priors of the parameters from the damping on.
    pub priors: [Prior; PRIORS],
    /// Whether a slew limit shows.
    pub slew: bool,
    /// Degrees of freedom of each parameter's uncertainty.
    pub freedom: Vec<f64>,
    /// Covariance of the parameters given the steering.
    pub covariance: DMatrix<f64>,
}

/// Readings, thrust and priors of one axis.
struct Setting<'a> {
    input: &'a AxisInput,
    instants: Instants,
    push: Push,
    priors: [Prior; PRIORS],
    nozzle: Nozzle,
    movement: Movement,
}

/// The instants at which the nozzle angle will be needed; `None` without tilt and rate, without
/// thrust, or with too few readings.
#[must_use]
pub fn instants_of(input: &AxisInput) -> Option<Instants> {
    input.thrust_n.as_ref()?;
    let window = (input.window_s.0 + SETTLE_S, input.window_s.1);
    let instants = Instants::new(input.tilt_rad.as_ref(), input.rate_rad_s.as_ref(), window);
    (instants.count >= FEWEST_READINGS).then_some(instants)
}

/// Fits; `nozzle` must give angles at the instants.
#[must_use]
pub fn fit_tilt(
    input: &AxisInput,
    instants: Instants,
    nozzle: Nozzle,
    movement: Movement,
    steps: &Steps<'_>,
) -> Option<TiltFit> {
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
    let steering_known = matches!(nozzle, Nozzle::Known { .. });
    let setting = Setting {
        priors: priors(input, steering_known),
        push: Push {
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
    };
    setting.run(steps)
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

fn priors(input: &AxisInput, steering_known: bool) -> [Prior; PRIORS] {
    let mut out = [Prior::default(); PRIORS];
    let mut put = |index: usize, value: f64, u: f64| out[index - DAMPING] = Prior { value, u };
    put(DAMPING, 0.0, DAMPING_PRIOR_PER_S);
    // Gravity on a centre of gravity above the pivot: m g h / J.
    let geometry = (input.swinging_mass_kg.zip(input.pivot_to_cg_m)).zip(input.inertia_kg_m2);
    let stiffness = geometry.map_or(0.0, |((mass, height), inertia)| {
        mass.value * STANDARD_GRAVITY_M_S2 * height.value / inertia.value
    });
    put(STIFFNESS, stiffness, STIFFNESS_PRIOR_PER_S2);
    put(COULOMB, 0.0, FRICTION_PRIOR_RAD_S2);
    if let Some(swing) = &input.free_swing {
        let wider = |one: Estimate| one.u.hypot(SWING_SHARE * one.value);
        put(
            DAMPING,
            swing.damping_per_s.value,
            wider(swing.damping_per_s),
        );
        put(
            STIFFNESS,
            swing.stiffness_per_s2.value,
            wider(swing.stiffness_per_s2),
        );
        put(
            COULOMB,
            swing.coulomb_rad_per_s2.value,
            wider(swing.coulomb_rad_per_s2),
        );
    }
    let clocks = input.clocks(steering_known);
    put(APART, 0.0, clocks.apart_u_s);
    let late_u_s = if steering_known {
        clocks.steering_u_s
    } else {
        0.0
    };
    put(LATE, 0.0, late_u_s);
    put(SPENT, 0.0, input.spent_ratio_u());
    put(LATER, 0.0, input.unlike.later_u_s_per_kg_m);
    put(LONGER, 0.0, input.unlike.longer_u_per_kg_m);
    out
}

impl Setting<'_> {
    fn view(&self, noise: &Noise, swing: Swing, acceleration: &[f64]) -> TiltView {
        let filter = Filter::new(&self.instants, noise, swing);
        let (push, nozzle) = (self.push.clone(), self.nozzle.clone());
        TiltView::new(filter, &self.instants, push, nozzle, swing, acceleration)
            .with_priors(self.priors)
            .with_movement(self.movement)
    }

    fn problem<'b>(
        &self,
        view: &TiltView,
        fit: &KindFit,
        readings: &'b (Instants, Vec<f64>),
    ) -> noise::NoiseProblem<'b> {
        let x = &fit.minimum.x;
        let drivers = view.drivers(fit.kind, x, &fit.minimum.free);
        let priors = drivers.iter().map(|(index, _)| {
            let prior = index
                .checked_sub(DAMPING)
                .and_then(|at| view.priors().get(at));
            let known = prior.filter(|prior| prior.u > 0.0)?;
            Some(((x[*index] - known.value) / known.u, 1.0 / known.u))
        });
        noise::NoiseProblem {
            instants: &readings.0,
            swing: swing_of(&fit.minimum),
            acceleration: &readings.1,
            priors: priors.collect(),
            drivers: drivers.into_iter().map(|(_, driver)| driver).collect(),
            two_sensors: self.input.tilt_rad.is_some() && self.input.rate_rad_s.is_some(),
        }
    }

    /// The readings moved to where they belong, and the acceleration of the model.
    fn readings(&self, view: &TiltView, fit: &KindFit) -> (Instants, Vec<f64>) {
        let x = &fit.minimum.x;
        let straight = view.straightened(&self.instants, x);
        (straight, view.acceleration(fit.kind, x))
    }

    fn noise_for(&self, view: &TiltView, fit: &KindFit, start: &Noise, wide: bool) -> Noise {
        let readings = self.readings(view, fit);
        self.problem(view, fit, &readings).solve(start, wide)
    }

    /// Degrees of freedom of each parameter.
    fn freedom(&self, view: &TiltView, fit: &KindFit, noise: &Noise) -> Vec<f64> {
        let readings = self.readings(view, fit);
        let found = self.problem(view, fit, &readings).freedom(noise);
        let mut out = vec![f64::INFINITY; fit.minimum.x.len()];
        let free = (0..out.len()).filter(|index| fit.minimum.free[*index]);
        for (index, freedom) in free.zip(found) {
            out[index] = freedom;
        }
        out
    }

    fn run(self, steps: &Steps<'_>) -> Option<TiltFit> {
        let window = (self.instants.times_s.first(), self.instants.times_s.last());
        let window = (*window.0?, *window.1?);
        let (tilt, rate) = (self.input.tilt_rad.as_ref(), self.input.rate_rad_s.as_ref());
        let first = noise::first_noise(tilt, rate, window);
        let still = vec![0.0; self.instants.times_s.len()];
        let known = matches!(self.nozzle, Nozzle::Known { .. });
        let geometry = Swing {
            damping_per_s: 0.0,
            stiffness_per_s2: self.priors[STIFFNESS - DAMPING].value,
        };
        let mut view = self.view(&first, geometry, &still);
        let mut fit = if known {
            known_fit(&view)?
        } else {
            let kind = DeadBandKind::None;
            refine(&view, kind, first_of(&scan(&view, kind, f64::INFINITY)))?
        };
        steps.done();
        let mut noise = self.noise_for(&view, &fit, &first, true);
        steps.done();
        let (mut choice, mut slew) = (None, false);
        for turn in 0..2 {
            let acceleration = view.acceleration(fit.kind, &fit.minimum.x);
            view = self.view(&noise, swing_of(&fit.minimum), &acceleration);
            if known {
                fit = fit_from(&view, fit.kind, &fit.minimum.x, None);
            } else if turn == 0 {
                // Play takes a zero width if it must, so it serves for the noise.
                let kind = DeadBandKind::Play;
                let slowest_s = 2.0 * (fit.minimum.x[LAG] + fit.minimum.x[DELAY]);
                fit = refine(&view, kind, first_of(&scan(&view, kind, slowest_s)))?;
            } else {
                let mut tried = choose(&view)?;
                steps.done();
                if let Some((slewing, again)) = limited(&view, tried.best()) {
                    (view, tried, slew) = (slewing, again, true);
                }
                fit = tried.best().clone();
                choice = Some(tried);
            }
            steps.done();
            if turn == 0 {
                noise = self.noise_for(&view, &fit, &noise, false);
                steps.done();
            }
        }
        let spread = uncertainty::spread(&fit.minimum)?;
        Some(TiltFit {
            covariance: spread.covariance,
            freedom: self.freedom(&view, &fit, &noise),
            view,
            fit,
            choice,
            instants: self.instants,
            noise,
            priors: self.priors,
            slew,
        })
    }
}

fn first_of(starts: &[[f64; 5]]) -> &[[f64; 5]] {
    &starts[..starts.len().min(1)]
}

fn swing_of(minimum: &Minimum) -> Swing {
    Swing {
        damping_per_s: minimum.x[DAMPING],
        stiffness_per_s2: minimum.x[STIFFNESS],
    }
}

/// The fit when the nozzle angle is known: effectiveness and thrust bias first, then all.
fn known_fit(view: &TiltView) -> Option<KindFit> {
    let point = super::measurement_model::ScanPoint {
        lag_s: 0.01,
        delay_s: 0.0,
        width_deg: 0.0,
    };
    let (target, columns) = view.columns(DeadBandKind::None, point);
    let column = |i: usize| columns.column(i).into_owned();
    let (_, two) = solve_two(&target, &column(0), &column(1))?;
    let mut x = view.start([0.0, 0.0, point.lag_s, point.delay_s, point.width_deg]);
    (x[GAIN], x[BIAS]) = (two[0], two[1]);
    Some(fit_from(view, DeadBandKind::None, &x, None))
}
