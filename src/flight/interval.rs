//! Interval of a share from counts: Clopper & Pearson, Biometrika 26, 1934.
//!
//! The exact interval: its ends are the shares under which as many, or as few, would come up with a
//! probability of 2.5 %. They are quantiles of the beta distribution, found by bisection of its
//! distribution function.

use statrs::function::beta::beta_reg;

/// Probability outside either end.
const TAIL: f64 = 0.025;

/// The 95 % interval of a share, from `hits` of `of`.
#[must_use]
pub(super) fn clopper_pearson(hits: usize, of: usize) -> (f64, f64) {
    if of == 0 {
        return (0.0, 1.0);
    }
    let (k, n) = (hits as f64, of as f64);
    let low = if hits == 0 {
        0.0
    } else {
        bisect(|p| beta_reg(k, n - k + 1.0, p) - TAIL)
    };
    let high = if hits >= of {
        1.0
    } else {
        bisect(|p| beta_reg(k + 1.0, n - k, p) - (1.0 - TAIL))
    };
    (low, high)
}

fn bisect(rising: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if rising(middle) < 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    // Closed forms: 0 of n gives 1 - 0.025^(1/n) above (0.3084971 for 10), n of n its mirror image.
    // 1 of 2 solves p^2 = 0.025 turned round: 1 - sqrt(0.975), sqrt(0.975).
    #[test]
    fn the_ends_are_those_of_the_closed_forms() {
        let (low, high) = clopper_pearson(0, 10);
        assert_eq!(low, 0.0);
        assert_relative_eq!(high, 1.0 - 0.025_f64.powf(0.1), max_relative = 1e-10);
        let (low, high) = clopper_pearson(10, 10);
        assert_relative_eq!(low, 0.025_f64.powf(0.1), max_relative = 1e-10);
        assert_eq!(high, 1.0);
        let (low, high) = clopper_pearson(1, 2);
        assert_relative_eq!(low, 1.0 - 0.975_f64.sqrt(), max_relative = 1e-9);
        assert_relative_eq!(high, 0.975_f64.sqrt(), max_relative = 1e-9);
    }

    // Of 40 shares of 100 the chance of k or fewer adds up to 2.5 % at the upper end: the definition,
    // by summing the binomial.
    #[test]
    fn the_ends_keep_their_definition() {
        let (_, high) = clopper_pearson(40, 100);
        let mut term = (1.0 - high).powi(100);
        let mut sum = term;
        for k in 0..40 {
            term *= (100 - k) as f64 / f64::from(k + 1) * high / (1.0 - high);
            sum += term;
        }
        assert_relative_eq!(sum, 0.025, max_relative = 1e-8);
    }
}
