//! Zero-order-hold discretisation of a linear plant with a dead time.
//!
//! From x' = A x + B u(t - delay) with u held over each period h, and delay = m h + rest:
//!
//! ```text
//! x(k+1) = Phi x(k) + G_new u(k - m) + G_old u(k - m - 1)
//! ```
//!
//! exact, with the matrix exponential of A and B together (Van Loan 1978). Transfer functions come
//! from the adjugate of z I - Phi by the recursion of Faddeev and Le Verrier. Source: Åström &
//! Wittenmark, Computer-Controlled Systems, 1997, chapter 2 (zero-order hold, fractional delay).

use std::collections::VecDeque;

use nalgebra::{Complex, DMatrix, DVector};

use super::transfer_polynomial;

/// A linear plant in continuous time.
#[derive(Debug, Clone, PartialEq)]
pub struct ContinuousPlant {
    /// How the state moves by itself.
    pub a: DMatrix<f64>,
    /// How the input moves it.
    pub b: DVector<f64>,
    /// Dead time, s.
    pub delay_s: f64,
}

/// Its zero-order-hold discretisation.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct DiscretePlant {
    phi: DMatrix<f64>,
    by_new: DVector<f64>,
    by_old: DVector<f64>,
    /// Whole periods of dead time.
    whole: usize,
    /// Period, s.
    pub period_s: f64,
    /// Determinant of z I - Phi, lowest power first.
    pub poles: Vec<f64>,
}

impl DiscretePlant {
    /// Samples a plant.
    #[must_use]
    pub(crate) fn new(plant: &ContinuousPlant, period_s: f64) -> Self {
        let mut whole = (plant.delay_s / period_s).floor().max(0.0);
        let mut rest_s = plant.delay_s - whole * period_s;
        // A delay of whole periods that rounding put just below them.
        if period_s - rest_s < 1e-9 * period_s {
            whole += 1.0;
            rest_s = 0.0;
        }
        let (phi, _) = zero_order_hold(plant, period_s);
        let (phi_new, by_new) = zero_order_hold(plant, period_s - rest_s);
        let (_, before) = zero_order_hold(plant, rest_s);
        let poles = faddeev(&phi).1;
        Self {
            by_old: phi_new * before,
            by_new,
            phi,
            whole: whole as usize,
            period_s,
            poles,
        }
    }

    /// Numerator from the held command to one number of the state, lowest power first, over
    /// [`Self::poles`] times z to the [`Self::delay_ticks`].
    #[must_use]
    pub(crate) fn numerator(&self, of: usize) -> Vec<f64> {
        let (adjugate, _) = faddeev(&self.phi);
        let along = |by: &DVector<f64>| -> Vec<f64> {
            adjugate.iter().map(|m| (m.row(of) * by)[(0, 0)]).collect()
        };
        let later = transfer_polynomial::times(&along(&self.by_new), &[0.0, 1.0]);
        transfer_polynomial::plus(&later, &along(&self.by_old))
    }

    /// Power of z by which the dead time divides.
    #[must_use]
    pub(crate) fn delay_ticks(&self) -> usize {
        self.whole + 1
    }

    /// At rest, before any command.
    #[must_use]
    pub(crate) fn at_rest(&self) -> DiscreteState {
        DiscreteState {
            state: DVector::zeros(self.phi.nrows()),
            coming: VecDeque::from(vec![0.0; self.delay_ticks()]),
        }
    }

    /// Lets one period pass under a command.
    pub(crate) fn step(&self, moving: &mut DiscreteState, command: f64) {
        moving.coming.push_back(command);
        // From oldest: the command of m + 1 periods ago, then that of m periods ago.
        let old = moving.coming.pop_front().unwrap_or(0.0);
        let new = moving.coming.front().copied().unwrap_or(command);
        moving.state = &self.phi * &moving.state + &self.by_new * new + &self.by_old * old;
    }
}

/// The state of a sampled plant, and the commands on their way.
#[derive(Debug, Clone)]
pub struct DiscreteState {
    /// The state.
    pub state: DVector<f64>,
    coming: VecDeque<f64>,
}

/// exp(A t) and the integral of exp(A s) B over s from 0 to t.
fn zero_order_hold(plant: &ContinuousPlant, time_s: f64) -> (DMatrix<f64>, DVector<f64>) {
    let n = plant.a.nrows();
    let mut both = DMatrix::zeros(n + 1, n + 1);
    both.view_mut((0, 0), (n, n)).copy_from(&plant.a);
    both.view_mut((0, n), (n, 1)).copy_from(&plant.b);
    let grown = (both * time_s).exp();
    (
        grown.view((0, 0), (n, n)).into_owned(),
        grown.column(n).rows(0, n).into_owned(),
    )
}

/// Coefficients of adj(z I - M), lowest power first, and of det(z I - M).
fn faddeev(matrix: &DMatrix<f64>) -> (Vec<DMatrix<f64>>, Vec<f64>) {
    let n = matrix.nrows();
    let mut determinant = vec![0.0; n + 1];
    determinant[n] = 1.0;
    let mut adjugate = vec![DMatrix::zeros(n, n); n];
    let mut now = DMatrix::identity(n, n);
    for k in 1..=n {
        adjugate[n - k].copy_from(&now);
        let product = matrix * &now;
        let coefficient = -product.trace() / k as f64;
        determinant[n - k] = coefficient;
        now = product + DMatrix::identity(n, n) * coefficient;
    }
    (adjugate, determinant)
}

/// A transfer function in z.
#[derive(Debug, Clone, PartialEq)]
pub struct TransferFunction {
    /// Numerator, lowest power first.
    pub numerator: Vec<f64>,
    /// Denominator, lowest power first.
    pub denominator: Vec<f64>,
    /// Period, s.
    pub period_s: f64,
}

impl TransferFunction {
    /// Value at a frequency, rad/s.
    #[must_use]
    #[inline]
    pub fn at(&self, rad_s: f64) -> Complex<f64> {
        self.at_place(Complex::from_polar(1.0, rad_s * self.period_s))
    }

    /// Value at a complex number.
    #[must_use]
    #[inline]
    pub fn at_place(&self, z: Complex<f64>) -> Complex<f64> {
        transfer_polynomial::ratio(&self.numerator, &self.denominator, z)
    }

    /// Value at each of several complex numbers.
    #[must_use]
    pub(crate) fn at_places(&self, places: &[Complex<f64>]) -> Vec<Complex<f64>> {
        let above = transfer_polynomial::values(&self.numerator, places);
        let below = transfer_polynomial::values(&self.denominator, places);
        above.iter().zip(below).map(|(a, b)| a / b).collect()
    }

    /// Whether the loop closed around it (negative feedback) is stable: every root of numerator plus
    /// denominator lies inside the unit circle.
    #[must_use]
    pub fn closed_is_stable(&self) -> bool {
        transfer_polynomial::inside_unit_circle(&transfer_polynomial::plus(
            &self.numerator,
            &self.denominator,
        ))
    }

    /// The same with a factor.
    #[must_use]
    pub fn times(&self, factor: f64) -> Self {
        let mut out = self.clone();
        for coefficient in &mut out.numerator {
            *coefficient *= factor;
        }
        out
    }

    /// Highest frequency that makes sense, rad/s.
    #[must_use]
    pub fn nyquist_rad_s(&self) -> f64 {
        std::f64::consts::PI / self.period_s
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::{assert_abs_diff_eq, assert_relative_eq};

    fn lag(lag_s: f64, gain: f64, delay_s: f64) -> ContinuousPlant {
        ContinuousPlant {
            a: DMatrix::from_element(1, 1, -1.0 / lag_s),
            b: DVector::from_element(1, gain / lag_s),
            delay_s,
        }
    }

    // h/tau = 0.2: a = 0.818730753078, b/K = 0.181269246922 (recomputed check values, section 7.1).
    #[test]
    fn a_sampled_lag_has_the_published_coefficients() {
        let sampled = DiscretePlant::new(&lag(1.0, 1.0, 0.0), 0.2);
        assert_relative_eq!(sampled.poles[0], -0.818_730_753_078, max_relative = 1e-11);
        let numerator = sampled.numerator(0);
        assert_abs_diff_eq!(numerator[0], 0.0, epsilon = 1e-15);
        assert_relative_eq!(numerator[1], 0.181_269_246_922, max_relative = 1e-11);
        assert_eq!(sampled.delay_ticks(), 1);
    }

    // A step through delay 0.27 s at h = 0.1 s: 1 - exp(-(t - 0.27)/0.5) at every tick.
    #[test]
    fn a_fractional_delay_is_exact() {
        let sampled = DiscretePlant::new(&lag(0.5, 3.0, 0.27), 0.1);
        let mut moving = sampled.at_rest();
        for at in 0..20 {
            let since_s = (0.1 * f64::from(at) - 0.27_f64).max(0.0);
            let exact = 3.0 * (1.0 - (-since_s / 0.5).exp());
            assert_abs_diff_eq!(moving.state[0], exact, epsilon = 1e-13);
            sampled.step(&mut moving, 1.0);
        }
    }

    // The transfer function at a frequency is the ratio of a long sine's response to the sine.
    #[test]
    fn the_transfer_function_says_what_the_steps_do() {
        let plant = ContinuousPlant {
            a: DMatrix::from_row_slice(2, 2, &[-4.0, 0.0, 1.0, -0.5]),
            b: DVector::from_row_slice(&[4.0, 0.0]),
            delay_s: 0.034,
        };
        let sampled = DiscretePlant::new(&plant, 0.02);
        let rad_s = std::f64::consts::TAU / (0.02 * 40.0);
        let mut denominator = vec![0.0; sampled.delay_ticks()];
        denominator.extend(&sampled.poles);
        let transfer = TransferFunction {
            numerator: sampled.numerator(1),
            denominator,
            period_s: 0.02,
        };
        let mut moving = sampled.at_rest();
        let mut sum = Complex::new(0.0, 0.0);
        for at in 0..4040 {
            let turn = rad_s * 0.02 * f64::from(at);
            if at >= 4000 {
                sum += Complex::from_polar(moving.state[1] / 20.0, -turn);
            }
            sampled.step(&mut moving, turn.cos());
        }
        assert_relative_eq!((sum - transfer.at(rad_s)).norm(), 0.0, epsilon = 1e-10);
    }
}
