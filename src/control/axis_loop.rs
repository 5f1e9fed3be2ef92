//! The loop of one axis from tick to tick: controller and plant as one transfer function.
//!
//! Thrust is a factor of the loop: tilt and rate follow the nozzle in proportion to it. So the plant
//! is sampled once for one newton, and every thrust has the same shape. Frequencies are shares of the highest, so that the
//! places on the unit circle at which a loop is looked at are the same for all.

use std::sync::LazyLock;

use nalgebra::Complex;

use super::margins::{Margins, frequencies, margins};
use super::model::AxisNumbers;
use super::pid::{Controller, Derivative};
use super::transfer_polynomial;
use super::zero_order_hold::{DiscretePlant, DiscreteState, TransferFunction};

/// Lowest frequency looked at, as a share of the highest: 20 s for a loop of 100 Hz.
const LOWEST: f64 = 1e-4;

/// Shares of the highest frequency at which a loop is looked at, and the place of each on the unit circle.
static CIRCLE: LazyLock<(Vec<f64>, Vec<Complex<f64>>)> = LazyLock::new(|| {
    let shares = frequencies(LOWEST, 1.0);
    let place = |share: f64| Complex::from_polar(1.0, std::f64::consts::PI * share);
    shares.map(|share| (share, place(share))).unzip()
});

/// A plant as the loop sees it, for one newton of thrust.
#[derive(Debug, Clone)]
pub struct SampledAxis {
    sampled: DiscretePlant,
    tilt: Vec<f64>,
    rate: Vec<f64>,
}

impl SampledAxis {
    /// Samples an axis; `latency_s` runs from reading the sensors to the command's leaving.
    #[must_use]
    pub fn new(numbers: &AxisNumbers, period_s: f64, latency_s: f64) -> Self {
        let sampled = DiscretePlant::new(&numbers.linear(latency_s), period_s);
        Self {
            tilt: sampled.numerator(1),
            rate: sampled.numerator(2),
            sampled,
        }
    }

    fn denominator(&self) -> Vec<f64> {
        let mut out = vec![0.0; self.sampled.delay_ticks()];
        out.extend(&self.sampled.poles);
        out
    }

    /// Command to tilt for one newton.
    #[must_use]
    pub fn tilt(&self) -> TransferFunction {
        TransferFunction {
            numerator: self.tilt.clone(),
            denominator: self.denominator(),
            period_s: self.sampled.period_s,
        }
    }

    /// The open loop under a thrust, N.
    #[must_use]
    pub fn open(&self, of: &Controller, thrust_n: f64) -> TransferFunction {
        let (a, h) = (of.filter_share(), self.sampled.period_s);
        let filter = [-a, 1.0];
        let integrator = [-1.0, 1.0];
        let plain = of.ki_per_s <= 0.0;
        // Position part over 1 or over z - 1.
        let by_tilt = if plain {
            vec![of.kp]
        } else {
            vec![of.ki_per_s * h - of.kp, of.kp]
        };
        let widened = |part: &[f64]| {
            if plain {
                part.to_vec()
            } else {
                transfer_polynomial::times(part, &integrator)
            }
        };
        let numerator = match of.derivative {
            Derivative::Rate => {
                let derivative = widened(&[0.0, of.kd_s * (1.0 - a)]);
                transfer_polynomial::plus(
                    &transfer_polynomial::times(
                        &transfer_polynomial::times(&by_tilt, &filter),
                        &self.tilt,
                    ),
                    &transfer_polynomial::times(&derivative, &self.rate),
                )
            }
            Derivative::Difference => {
                let share = of.kd_s * (1.0 - a) / h;
                let derivative = widened(&[-share, share]);
                let both = transfer_polynomial::plus(
                    &transfer_polynomial::times(&by_tilt, &filter),
                    &derivative,
                );
                transfer_polynomial::times(&both, &self.tilt)
            }
        };
        let denominator = widened(&transfer_polynomial::times(&filter, &self.denominator()));
        TransferFunction {
            numerator,
            denominator,
            period_s: h,
        }
        .times(thrust_n)
    }

    /// The margins under a thrust, N.
    #[must_use]
    pub fn margins(&self, of: &Controller, thrust_n: f64) -> Margins {
        let open = self.open(of, thrust_n);
        let highest = open.nyquist_rad_s();
        let stable = open.closed_is_stable();
        let (shares, places) = &*CIRCLE;
        let values = shares.iter().zip(open.at_places(places));
        let grid: Vec<(f64, Complex<f64>)> = values
            .map(|(share, value)| (share * highest, value))
            .collect();
        margins(&grid, &|w| open.at(w), stable)
    }

    /// Whether the closed loop is stable under a thrust, N.
    #[must_use]
    pub fn is_stable(&self, of: &Controller, thrust_n: f64) -> bool {
        self.open(of, thrust_n).closed_is_stable()
    }

    /// At rest, before any command.
    #[must_use]
    pub fn at_rest(&self) -> DiscreteState {
        self.sampled.at_rest()
    }

    /// Lets one period pass under a command times thrust.
    pub fn step(&self, moving: &mut DiscreteState, command_times_thrust: f64) {
        self.sampled.step(moving, command_times_thrust);
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::control::pid::{Pid, Reading};
    use approx::assert_relative_eq;

    /// SIMC's PI with tc = theta on any first-order process with dead time: its response to a step of the set
    /// point at t/theta = 1 to 8 (method of steps, recomputed).
    pub(crate) const SIMC_STEP: [f64; 8] = [
        0.0,
        0.5,
        7.0 / 8.0,
        49.0 / 48.0,
        133.0 / 128.0,
        1307.0 / 1280.0,
        46_343.0 / 46_080.0,
        644_729.0 / 645_120.0,
    ];

    /// Place, in steps, and height of the peak of evenly spaced values: a parabola through three.
    pub(crate) fn peak_of(values: &[f64]) -> (f64, f64) {
        let top = (1..values.len() - 1)
            .max_by(|a, b| values[*a].total_cmp(&values[*b]))
            .unwrap();
        let (l, m, r) = (values[top - 1], values[top], values[top + 1]);
        let shift = 0.5 * (l - r) / (l - 2.0 * m + r);
        (top as f64 + shift, m - 0.25 * (l - r) * shift)
    }

    /// A rocket of effectiveness 4/(kg m) with a lag of 20 ms and a delay of 12 ms.
    pub fn numbers() -> AxisNumbers {
        AxisNumbers {
            gain: 0.95,
            lag_s: 0.02,
            damping_ratio: None,
            delay_s: 0.012,
            travel_deg: Some(5.0),
            effectiveness_per_kg_m: 4.0,
            ..AxisNumbers::default()
        }
    }

    pub fn controller(derivative: Derivative) -> Controller {
        Controller {
            period_s: 0.01,
            kp: 0.8,
            ki_per_s: 0.6,
            kd_s: 0.12,
            derivative,
            filter_s: 0.01,
            set_point_weight: 1.0,
            limit_deg: f64::INFINITY,
            slew_deg_s: None,
            tracking_s: 0.5,
            fade_s: 0.0,
        }
    }

    fn size_after(axis: &SampledAxis, of: &Controller, thrust_n: f64, ticks: usize) -> f64 {
        let mut pid = Pid::<f64>::new(of, 0.0);
        let mut moving = axis.at_rest();
        moving.state[1] = 1.0;
        let mut late = 0.0_f64;
        for at in 0..ticks {
            let command = pid.tick(&Reading {
                set_point_deg: 0.0,
                tilt_deg: moving.state[1],
                rate_deg_s: moving.state[2],
                factor: 1.0,
            });
            axis.step(&mut moving, command * thrust_n);
            if at > ticks - 200 {
                late = late.max(moving.state[1].abs());
            }
        }
        late
    }

    // The loop run tick by tick grows just above the gain margin and fades just below it, for both
    // kinds of derivative: transfer function, margins and controller agree.
    #[test]
    fn the_loop_run_tick_by_tick_is_as_stable_as_its_margins_say() {
        let axis = SampledAxis::new(&numbers(), 0.01, 0.003);
        for derivative in [Derivative::Rate, Derivative::Difference] {
            let of = controller(derivative);
            let found = axis.margins(&of, 25.0);
            println!("{derivative:?} {found:?}");
            assert!(found.stable);
            let (up, down) = (found.upper_gain.unwrap(), found.lower_gain.unwrap());
            assert!(size_after(&axis, &of, 25.0 * up * 0.98, 3000) < 0.1);
            assert!(size_after(&axis, &of, 25.0 * up * 1.02, 3000) > 10.0);
            assert!(!axis.margins(&of, 25.0 * up * 1.01).stable);
            assert!(!axis.margins(&of, 25.0 * down * 0.99).stable);
            assert!(axis.margins(&of, 25.0 * down * 1.01).stable);
            assert!(axis.margins(&of, 25.0 * up * 0.99).stable);
        }
    }

    // A loop that bears 9.9 ms more dead time is unstable with 10 % more than its delay margin.
    #[test]
    fn the_delay_margin_is_the_delay_that_makes_it_unstable() {
        let of = controller(Derivative::Rate);
        let axis = SampledAxis::new(&numbers(), 0.01, 0.0);
        let delay_s = axis.margins(&of, 25.0).delay_s.unwrap();
        let later = |share: f64| {
            let axis = SampledAxis::new(&numbers(), 0.01, share * delay_s);
            axis.margins(&of, 25.0).stable
        };
        assert!(later(0.99) && !later(1.01));
    }

    // SIMC PI with tc = theta on any first-order plant makes the loop exp(-theta s)/(2 theta s); its
    // set-point response at t/theta = 1..8 is 0, 1/2, 7/8, 49/48, 133/128, 1307/1280, 46343/46080,
    // 644729/645120, with the peak 1.0405196 at 4.7400790 theta (method of steps, recomputed). The
    // hold makes the sampled loop h/2 later, an error in proportion to h: it halves with h, and two
    // periods together take it out.
    #[test]
    fn the_delayed_step_of_simc_is_the_exact_one() {
        use crate::control::pid::Ideal;
        use crate::control::zero_order_hold::ContinuousPlant;
        use nalgebra::{DMatrix, DVector};
        for lag_s in [1.0, 7.0] {
            let run = |per_theta: usize| -> Vec<f64> {
                let plant = ContinuousPlant {
                    a: DMatrix::from_element(1, 1, -1.0 / lag_s),
                    b: DVector::from_element(1, 3.0 / lag_s),
                    delay_s: 1.0,
                };
                // T/(K (tc + L)) with K = 3 and tc = L = 1 s.
                let ideal = Ideal {
                    kp: lag_s / 6.0,
                    ti_s: Some(lag_s),
                    td_s: None,
                };
                let of = Controller::ideal(&ideal, 1.0, 1.0 / per_theta as f64);
                let sampled = DiscretePlant::new(&plant, of.period_s);
                let (mut pid, mut moving) = (Pid::<f64>::new(&of, 0.0), sampled.at_rest());
                (0..=8 * per_theta)
                    .map(|_| {
                        let out = moving.state[0];
                        let command = pid.tick(&Reading {
                            set_point_deg: 1.0,
                            tilt_deg: out,
                            rate_deg_s: 0.0,
                            factor: 1.0,
                        });
                        sampled.step(&mut moving, command);
                        out
                    })
                    .collect()
            };
            let (coarse, fine) = (run(500), run(1000));
            for (at, exact) in (1..).zip(SIMC_STEP) {
                let (c, f) = (coarse[500 * at] - exact, fine[1000 * at] - exact);
                if f.abs() > 2e-4 {
                    assert_relative_eq!(c / f, 2.0, max_relative = 0.02);
                }
                assert!((2.0 * f - c).abs() < 2e-6, "{at} {c} {f}");
            }
            // Peak, by the same extrapolation on the coarse grid and a parabola through three points.
            let both: Vec<f64> = (0..coarse.len())
                .map(|at| 2.0 * fine[2 * at] - coarse[at])
                .collect();
            let (at, peak) = peak_of(&both);
            assert_relative_eq!(peak, 1.040_519_6, epsilon = 1e-6);
            let at_theta = at / 500.0;
            assert_relative_eq!(at_theta, 4.740_079, epsilon = 2e-3);
        }
    }
}
