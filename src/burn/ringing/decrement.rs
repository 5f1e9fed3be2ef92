//! The logarithmic decrement: damping from how swings shrink.
//!
//! delta = ln(x0 / xn) / n over n whole periods, z = delta / (4 pi^2 + delta^2)^(1/2) (Rao,
//! Mechanical Vibrations, 2.6.3). From the first swing to the hundredth are 99 periods, not 100.
//! Over many swings the decrement is the slope of a line through the logarithms of their heights.

use std::f64::consts::PI;

use crate::numeric::polynomial;

/// Damping ratio of a decrement.
#[must_use]
pub(crate) fn damping_ratio(decrement: f64) -> f64 {
    decrement / (4.0 * PI * PI + decrement * decrement).sqrt()
}

/// Decrement of the heights of successive half swings, either side, without their signs. `None` for
/// fewer than three or when one is not above zero.
#[must_use]
pub(crate) fn of_half_swings(heights: &[f64]) -> Option<f64> {
    if heights.len() < 3 || heights.iter().any(|height| *height <= 0.0) {
        return None;
    }
    let periods: Vec<f64> = (0..heights.len()).map(|at| 0.5 * at as f64).collect();
    let logarithms: Vec<f64> = heights.iter().map(|height| height.ln()).collect();
    let line = polynomial::fit(&periods, &logarithms, 1)?;
    Some(-line.slope(0.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Decrement between two swings of one side that lie some whole periods apart.
    fn between(first: f64, last: f64, periods: f64) -> f64 {
        (first / last).ln() / periods
    }

    // Check values 7.8: the hundredth swing is 13 % of the first, 99 periods later.
    #[test]
    fn from_the_first_to_the_hundredth_swing_are_ninety_nine_periods() {
        let decrement = between(1.0, 0.13, 99.0);
        assert_relative_eq!(decrement, 0.020_608_3, epsilon = 5e-8);
        assert_relative_eq!(damping_ratio(decrement), 0.003_279_89, epsilon = 5e-9);
        // Two hundred half swings less one at that decrement: the line gives it back.
        let swings: Vec<f64> = (0..199)
            .map(|half| (-decrement * 0.5 * f64::from(half)).exp())
            .collect();
        assert_relative_eq!(swings[198], 0.13, epsilon = 1e-12);
        assert_relative_eq!(of_half_swings(&swings).unwrap(), decrement, epsilon = 1e-12);
    }

    // Rao, example 2.11 (check values 7.8): damped period 2 s, a quarter left after half a period.
    #[test]
    fn rao_s_motorcycle_comes_out() {
        let decrement = between(1.0, 1.0 / 16.0, 1.0);
        assert_relative_eq!(decrement, 2.772_588_7, epsilon = 5e-8);
        assert_relative_eq!(
            of_half_swings(&[16.0, 4.0, 1.0]).unwrap(),
            decrement,
            epsilon = 1e-12
        );
        let damping = damping_ratio(decrement);
        assert_relative_eq!(damping, 0.403_712_8, epsilon = 5e-8);
        // Natural from damped frequency.
        let natural = PI / (1.0 - damping * damping).sqrt();
        assert_relative_eq!(natural, 3.433_86, epsilon = 5e-6);
    }
}
