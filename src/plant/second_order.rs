//! The nozzle of a second-order actuator between two switching times, exactly.
//!
//! ```text
//! (lag / (2 damping))^2 d'' + lag d' + d = d_dem
//! ```
//!
//! with lag = 2 damping / w, w the natural frequency (rad/s): the lag behind a slow ramp is the same as that of a first-order
//! actuator, which is the limit of a large damping ratio. For a constant d_dem the solution is
//!
//! ```text
//! x(t) = e^(-s t) [(C + s t S) x0 + t S v0],   v(t) = e^(-s t) [(C - s t S) v0 - w^2 t S x0]
//! x = d - d_dem,  s = damping w,  z = (s^2 - w^2) t^2,  C = cosh sqrt z,  S = sinh sqrt z / sqrt z
//! ```
//!
//! and C and S are smooth in z through 0 (cos and sin below it), so no kind of damping is a case of its own. Source: any
//! text on linear systems (Franklin, Powell & Emami-Naeini, Feedback Control of Dynamic Systems, 3.3).

use crate::numeric::dual::Scalar;

/// Below this size of z, C and S are taken from their power series, five terms of which are exact to 1e-15.
const SERIES_BELOW: f64 = 0.01;

/// Angle and rate of the nozzle.
#[derive(Debug, Clone, Copy)]
pub(crate) struct NozzleState<S> {
    /// Angle, rad.
    pub angle: S,
    /// Its rate, rad/s.
    pub rate: S,
}

/// A second-order actuator: decay s, its square less that of the natural frequency, and that square.
#[derive(Debug, Clone, Copy)]
pub(crate) struct SecondOrder<S> {
    decay: S,
    apart: S,
    stiffness: S,
}

impl<S: Scalar> SecondOrder<S> {
    /// From lag and damping ratio.
    #[must_use]
    pub(crate) fn new(lag_s: S, damping_ratio: S) -> Self {
        let frequency = S::constant(2.0) * damping_ratio / lag_s;
        let decay = damping_ratio * frequency;
        let stiffness = frequency * frequency;
        Self {
            decay,
            apart: decay * decay - stiffness,
            stiffness,
        }
    }

    /// Where a state is after a time under a constant demand.
    #[must_use]
    pub(crate) fn after(&self, elapsed_s: S, from: NozzleState<S>, demand: S) -> NozzleState<S> {
        if elapsed_s.value() <= 0.0 {
            return from;
        }
        let away = from.angle - demand;
        let (even, odd) = self.faded(elapsed_s);
        let reach = elapsed_s * odd;
        let turn = self.decay * reach;
        NozzleState {
            angle: demand + (even + turn) * away + reach * from.rate,
            rate: (even - turn) * from.rate - self.stiffness * reach * away,
        }
    }

    /// e^(-s t) C and e^(-s t) S.
    fn faded(&self, elapsed_s: S) -> (S, S) {
        let z = self.apart * elapsed_s * elapsed_s;
        let at = z.value();
        if at > SERIES_BELOW {
            // Two real poles, each with its own exponential, so that neither factor grows beyond reach.
            let root = self
                .apart
                .chain(self.apart.value().sqrt(), 0.5 / self.apart.value().sqrt());
            let fast = (-(self.decay + root) * elapsed_s).exp();
            let slow = (-(self.stiffness / (self.decay + root)) * elapsed_s).exp();
            let half = S::constant(0.5);
            return (
                half * (slow + fast),
                half * (slow - fast) / (root * elapsed_s),
            );
        }
        let (even, odd) = if at < -SERIES_BELOW {
            let root = (-at).sqrt();
            (root.cos(), root.sin() / root)
        } else {
            (
                1.0 + at / 2.0 * (1.0 + at / 12.0 * (1.0 + at / 30.0 * (1.0 + at / 56.0))),
                1.0 + at / 6.0 * (1.0 + at / 20.0 * (1.0 + at / 42.0 * (1.0 + at / 72.0))),
            )
        };
        // d odd/dz = (even - odd) / (2 z), by its series where that cancels.
        let odd_slope = if at < -SERIES_BELOW {
            (even - odd) / (2.0 * at)
        } else {
            1.0 / 6.0 + at / 60.0 * (1.0 + at / 28.0 * (1.0 + at / 54.0))
        };
        let faded = (-self.decay * elapsed_s).exp();
        (
            faded * z.chain(even, 0.5 * odd),
            faded * z.chain(odd, odd_slope),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::dual::Dual;
    use approx::assert_relative_eq;

    fn step(lag_s: f64, damping_ratio: f64, time_s: f64) -> NozzleState<f64> {
        let rest = NozzleState {
            angle: 0.0,
            rate: 0.0,
        };
        SecondOrder::new(lag_s, damping_ratio).after(time_s, rest, 1.0)
    }

    // Unit step, from the textbook: overshoot exp(-pi z / sqrt(1 - z^2)) at t = pi / (w sqrt(1 - z^2)), where the rate is
    // zero: 4.599 % for z = 0.7, 16.303 % for 0.5. Critically damped 1 - (1 + w t) e^(-w t): 0.264241 at w t = 1.
    #[test]
    fn a_step_overshoots_as_the_textbook_says() {
        for (damping, overshoot) in [(0.7_f64, 0.045_99), (0.5, 0.163_03)] {
            let (lag_s, root) = (0.03, (1.0 - damping * damping).sqrt());
            let frequency = 2.0 * damping / lag_s;
            let top = step(lag_s, damping, std::f64::consts::PI / (frequency * root));
            assert_relative_eq!(top.angle, 1.0 + overshoot, epsilon = 1e-5);
            assert_relative_eq!(top.rate, 0.0, epsilon = 1e-9);
        }
        assert_relative_eq!(step(0.04, 1.0, 0.02).angle, 0.264_241, epsilon = 1e-6);
        assert_relative_eq!(
            step(0.04, 1.0, 0.02).rate,
            (-1.0_f64).exp() / 0.02,
            epsilon = 1e-9
        );
    }

    // A large damping ratio is a first-order lag but for the fast pole, lag / (4 z^2) long.
    #[test]
    fn a_large_damping_ratio_is_one_lag() {
        for time_s in [0.01, 0.03, 0.3, 3.0] {
            let first = 1.0 - (-time_s / 0.03_f64).exp();
            assert_relative_eq!(step(0.03, 200.0, time_s).angle, first, epsilon = 1e-5);
        }
    }

    // In two steps or in one; with a start at speed; across all kinds of damping and the edges of the series.
    #[test]
    fn two_steps_are_one_and_derivatives_are_central_differences() {
        let from = [0.3, 8.0];
        for (lag_s, damping, time_s) in [
            (0.03, 0.4, 0.05),
            (0.03, 0.999, 0.05),
            (0.03, 1.0, 0.02),
            (0.03, 1.001, 0.05),
            (0.03, 2.5, 0.05),
            (0.02, 0.7, 0.002),
        ] {
            let run = |lag_s: f64, damping: f64, time_s: f64| {
                let state = NozzleState {
                    angle: from[0],
                    rate: from[1],
                };
                SecondOrder::new(lag_s, damping).after(time_s, state, -0.2)
            };
            let model = SecondOrder::new(lag_s, damping);
            let half = run(lag_s, damping, 0.5 * time_s);
            let (whole, twice) = (
                run(lag_s, damping, time_s),
                model.after(0.5 * time_s, half, -0.2),
            );
            assert_relative_eq!(whole.angle, twice.angle, epsilon = 1e-13);
            assert_relative_eq!(whole.rate, twice.rate, epsilon = 1e-10);
            let d = |value: f64, at: usize| Dual::<3>::parameter(value, at);
            let state = NozzleState {
                angle: Dual::constant(from[0]),
                rate: Dual::constant(from[1]),
            };
            let exact = SecondOrder::new(d(lag_s, 0), d(damping, 1)).after(
                d(time_s, 2),
                state,
                Dual::constant(-0.2),
            );
            let steps = [1e-7, 1e-5, 1e-7];
            for at in 0..3 {
                let moved = |sign: f64| {
                    let mut p = [lag_s, damping, time_s];
                    p[at] += sign * steps[at];
                    run(p[0], p[1], p[2]).angle
                };
                let slope = (moved(1.0) - moved(-1.0)) / (2.0 * steps[at]);
                assert_relative_eq!(
                    exact.angle.slope[at],
                    slope,
                    epsilon = 2e-6,
                    max_relative = 2e-6
                );
            }
        }
    }
}
