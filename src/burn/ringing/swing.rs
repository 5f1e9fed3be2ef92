//! A swing that may be the stand's or the thrust's own, and what it makes unsure.
//!
//! A stand that is pushed by a force c t answers c (t - sin(w t)/w), with little damping (Rao, ch. 4, from memory): it is late by 1/w at
//! most, and swings by c/w afterwards. So a swing seen after an edge bounds how late the edge was read, and at the top how much of it may be swing.

use std::f64::consts::SQRT_2;

/// A swing, where it was seen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Swing {
    /// When it was seen first, s.
    pub from_s: f64,
    /// ... and last, s.
    pub to_s: f64,
    /// How high it stood at first.
    pub amplitude: f64,
    /// By how much it fades, 1/s.
    pub fades_per_s: f64,
    /// Its angular frequency, 1/s.
    pub omega_per_s: f64,
}

impl Swing {
    /// Standard deviation of what it adds at a time: before it was seen no more than then, and nothing farther off than its stretch
    /// of the record is long.
    fn height(&self, at_s: f64) -> f64 {
        let reach_s = self.to_s - self.from_s;
        let near = (self.from_s - reach_s..=self.to_s + reach_s).contains(&at_s);
        let faded = (-self.fades_per_s * (at_s - self.from_s).max(0.0)).exp();
        if near {
            self.amplitude * faded / SQRT_2
        } else {
            0.0
        }
    }
}

/// Standard uncertainty that swings give a value at a time.
#[must_use]
pub(crate) fn height(swings: &[Swing], at_s: f64) -> f64 {
    let each = swings.iter().map(|one| one.height(at_s));
    each.fold(0.0, f64::max)
}

/// Standard uncertainty that swings give the time at which a slope passes a level, s.
#[must_use]
pub(crate) fn late_s(swings: &[Swing], at_s: f64, slope: f64) -> f64 {
    let late = |one: &Swing| {
        let most_s = one.omega_per_s.recip() / SQRT_2;
        (one.height(at_s) / slope.abs()).min(most_s)
    };
    swings.iter().map(late).fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    // By hand: 2 N of swing on an edge of 200 N/s are 10 ms, but a stand of 40 Hz is late by 1/(2 pi 40 Hz) = 4 ms at most.
    #[test]
    fn a_stand_is_late_by_a_radian_at_most() {
        let swing = |amplitude| Swing {
            from_s: 1.01,
            to_s: 1.25,
            amplitude,
            fades_per_s: 5.0,
            omega_per_s: TAU * 40.0,
        };
        let late = |amplitude, slope| SQRT_2 * late_s(&[swing(amplitude)], 1.0, slope);
        assert!((late(2.0, 200.0) - 1.0 / (TAU * 40.0)).abs() < 1e-12);
        assert!((late(0.2, -200.0) - 0.001).abs() < 1e-12);
    }
}
