//! Numbers that carry their own derivatives.
//!
//! A dual number is a value with its partial derivatives by N parameters; sums, products and
//! exponentials follow the rules of calculus, so a function written over [`Scalar`] gives exact
//! derivatives beside its value (Griewank & Walther, Evaluating Derivatives, 2nd ed., 3.1).
//! Comparisons look at the value only: on a kink the derivative is the one of the branch taken.

use std::ops::{Add, Div, Mul, Neg, Sub};

/// What a model needs of a number.
pub trait Scalar:
    Copy
    + Add<Output = Self>
    + Sub<Output = Self>
    + Mul<Output = Self>
    + Div<Output = Self>
    + Neg<Output = Self>
{
    /// A number without derivatives.
    fn constant(value: f64) -> Self;
    /// The value alone.
    fn value(self) -> f64;
    /// Exponential function.
    fn exp(self) -> Self;
    /// The value moved by `slope` times another number that is worth nothing but has derivatives:
    /// for a function g of `x` with g(x) = `value` and g'(x) = `slope`.
    fn chain(self, value: f64, slope: f64) -> Self;
    /// The sum with `share` times another.
    fn plus(self, share: f64, other: Self) -> Self;
}

impl Scalar for f64 {
    #[inline]
    fn constant(value: f64) -> Self {
        value
    }
    #[inline]
    fn value(self) -> f64 {
        self
    }
    #[inline]
    fn exp(self) -> Self {
        f64::exp(self)
    }
    #[inline]
    fn chain(self, value: f64, _slope: f64) -> Self {
        value
    }
    #[inline]
    fn plus(self, share: f64, other: Self) -> Self {
        self + share * other
    }
}

/// A value and its derivatives by `N` parameters.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Dual<const N: usize> {
    /// The value.
    pub value: f64,
    /// Partial derivatives.
    pub slope: [f64; N],
}

impl<const N: usize> Dual<N> {
    /// Parameter number `index` at a value.
    #[must_use]
    pub(crate) fn parameter(value: f64, index: usize) -> Self {
        let mut out = Self::constant(value);
        if let Some(slope) = out.slope.get_mut(index) {
            *slope = 1.0;
        }
        out
    }

    #[inline]
    fn combine(self, other: Self, value: f64, by_self: f64, by_other: f64) -> Self {
        let mut slope = [0.0; N];
        for (at, out) in slope.iter_mut().enumerate() {
            *out = by_self * self.slope[at] + by_other * other.slope[at];
        }
        Self { value, slope }
    }
}

impl<const N: usize> Scalar for Dual<N> {
    #[inline]
    fn constant(value: f64) -> Self {
        Self {
            value,
            slope: [0.0; N],
        }
    }
    #[inline]
    fn value(self) -> f64 {
        self.value
    }
    #[inline]
    fn exp(self) -> Self {
        let value = self.value.exp();
        self.chain(value, value)
    }
    #[inline]
    fn chain(self, value: f64, slope: f64) -> Self {
        Self {
            value,
            slope: self.slope.map(|mine| mine * slope),
        }
    }
    #[inline]
    fn plus(mut self, share: f64, other: Self) -> Self {
        self.value += share * other.value;
        for (mine, other) in self.slope.iter_mut().zip(other.slope) {
            *mine += share * other;
        }
        self
    }
}

impl<const N: usize> Add for Dual<N> {
    type Output = Self;
    #[inline]
    fn add(self, other: Self) -> Self {
        self.combine(other, self.value + other.value, 1.0, 1.0)
    }
}

impl<const N: usize> Sub for Dual<N> {
    type Output = Self;
    #[inline]
    fn sub(self, other: Self) -> Self {
        self.combine(other, self.value - other.value, 1.0, -1.0)
    }
}

impl<const N: usize> Mul for Dual<N> {
    type Output = Self;
    #[inline]
    fn mul(self, other: Self) -> Self {
        self.combine(other, self.value * other.value, other.value, self.value)
    }
}

impl<const N: usize> Div for Dual<N> {
    type Output = Self;
    #[inline]
    fn div(self, other: Self) -> Self {
        let value = self.value / other.value;
        self.combine(other, value, 1.0 / other.value, -value / other.value)
    }
}

impl<const N: usize> Neg for Dual<N> {
    type Output = Self;
    #[inline]
    fn neg(self) -> Self {
        self.chain(-self.value, -1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    // f = exp(x y) / (x - y): by hand, df/dx = f (y - 1/(x - y)), df/dy = f (x + 1/(x - y)).
    #[test]
    fn derivatives_of_a_quotient_are_those_worked_by_hand() {
        let x = Dual::<2>::parameter(1.5, 0);
        let y = Dual::<2>::parameter(0.5, 1);
        let f = (x * y).exp() / (x - y);
        let value = (0.75_f64).exp();
        assert_relative_eq!(f.value, value, max_relative = 1e-15);
        assert_relative_eq!(f.slope[0], value * (0.5 - 1.0), max_relative = 1e-14);
        assert_relative_eq!(f.slope[1], value * (1.5 + 1.0), max_relative = 1e-14);
    }
}
