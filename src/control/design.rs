//! Gains by optimisation: the smallest disturbance response that the loop's robustness allows.
//!
//! Of all kp, ki, kd the ones are taken that make
//!
//! ```text
//! sqrt of the sum over frequency of |P / (1 + L) / (z - 1)|^2
//! ```
//!
//! smallest, for the worst thrust of the range: the size of the tilt (root of its squared area) that
//! a step of one degree of nozzle leaves, which is what misalignment, unequal motors and a gust are to
//! the loop. The sensitivity peak has to stay below the specified one for every thrust and every plant looked
//! at, the loop has to be stable, and the sensors' noise may not move the command by more than a tenth
//! of its limit. A sensitivity peak of 1.6 alone means at least 36 degrees of phase and a factor of
//! 2.6 of gain.
//!
//! Source: the criterion (disturbance rejection under a limit of the sensitivity peak) is that of Åström,
//! Panagopoulos & Hägglund, Automatica 34, 1998; the search is that of
//! Nelder & Mead. Plants looked at are the best
//! estimate and those drawn from the covariance that were worst in the round before.

use nalgebra::Complex;

use super::axis_loop::SampledAxis;
use super::pid::{Controller, tracking_s};
use crate::numeric::digits::rounded;
use crate::numeric::nelder_mead;

/// Points of the frequency grid.
const POINTS: usize = 120;
/// Lowest frequency, rad/s: what happens over longer than a burn is not looked at.
const LOWEST_RAD_S: f64 = 0.5;
/// How steep the wall of the sensitivity peak and of the noise is.
const WALL: f64 = 50.0;
/// Share of the command's limit that noise may take, as a standard deviation.
pub(crate) const NOISE_SHARE: f64 = 0.1;

/// What a loop has to meet.
#[derive(Debug, Clone, Copy)]
pub(crate) struct LoopSpecification {
    /// Largest sensitivity peak.
    pub sensitivity_peak: f64,
    /// Standard deviation of a tilt reading, deg.
    pub tilt_noise_deg: f64,
    /// Standard deviation of a rate reading, deg/s.
    pub rate_noise_deg_s: f64,
}

/// A plant on the grid.
struct Gridded<'a> {
    axis: &'a SampledAxis,
    tilt: Vec<Complex<f64>>,
}

/// Looks for gains, from some to start from.
#[must_use]
pub(crate) fn design(
    start: &Controller,
    plants: &[SampledAxis],
    thrusts_n: &[f64],
    wanted: &LoopSpecification,
) -> Controller {
    let nyquist = std::f64::consts::PI / start.period_s;
    let grid: Vec<f64> = (0..POINTS)
        .map(|at| LOWEST_RAD_S * (nyquist / LOWEST_RAD_S).powf(at as f64 / (POINTS - 1) as f64))
        .collect();
    let places = grid.iter().map(|w| w * start.period_s);
    let places: Vec<Complex<f64>> = places.map(|turn| Complex::from_polar(1.0, turn)).collect();
    let gridded: Vec<Gridded<'_>> = plants
        .iter()
        .map(|axis| Gridded {
            axis,
            tilt: axis.tilt().at_places(&places),
        })
        .collect();
    let grid = (&grid[..], &places[..]);
    let cost = |x: &[f64]| {
        let of = with(start, x);
        let mut worst = 0.0_f64;
        for plant in &gridded {
            for thrust_n in thrusts_n {
                worst = worst.max(one(plant, &of, *thrust_n, grid, wanted));
            }
        }
        worst
    };
    let first = [
        start.kp.ln(),
        start.ki_per_s.max(1e-6).ln(),
        start.kd_s.ln(),
    ];
    let rough = nelder_mead::minimum(&first, 0.3, 3e-3, 300, cost);
    // A second simplex around the end of the first: the first may have folded on a wall.
    let fine = nelder_mead::minimum(&rough.x, 0.1, 1e-3, 200, cost);
    six_digits(&with(start, &fine.x))
}

/// Gains to six digits: the search stops long before, and the last ones depend on the compiler.
fn six_digits(of: &Controller) -> Controller {
    let [kp, ki_per_s, kd_s] = [of.kp, of.ki_per_s, of.kd_s].map(|gain| rounded(gain, 6));
    Controller {
        kp,
        ki_per_s,
        kd_s,
        tracking_s: rounded(tracking_s(kd_s, ki_per_s, of.period_s), 6),
        ..of.clone()
    }
}

fn with(start: &Controller, x: &[f64]) -> Controller {
    let (kp, ki_per_s, kd_s) = (x[0].exp(), x[1].exp(), x[2].exp());
    Controller {
        kp,
        ki_per_s,
        kd_s,
        tracking_s: tracking_s(kd_s, ki_per_s, start.period_s),
        ..start.clone()
    }
}

/// A square below this share of another is that of a smaller number, whatever rounding does.
const SURELY_LESS: f64 = 1.0 - 1e-9;

/// Cost of one plant under one thrust; the grid in rad/s, and its places on the unit circle.
fn one(
    plant: &Gridded<'_>,
    of: &Controller,
    thrust_n: f64,
    (grid, places): (&[f64], &[Complex<f64>]),
    wanted: &LoopSpecification,
) -> f64 {
    let open = plant.axis.open(of, thrust_n);
    if !open.closed_is_stable() {
        return f64::INFINITY;
    }
    let (mut size, mut peak, mut noise) = (0.0, 0.0_f64, 0.0);
    let step = (grid[1] / grid[0]).ln();
    let loops = open.at_places(places);
    for (at, ((w, z), loop_here)) in grid.iter().zip(places).zip(loops).enumerate() {
        let sensitivity = (loop_here + 1.0).inv();
        if sensitivity.norm_sqr() > SURELY_LESS * peak * peak {
            peak = peak.max(sensitivity.norm());
        }
        let tilt = plant.tilt[at] * thrust_n * sensitivity * of.period_s / (z - 1.0);
        // Trapezoid on the logarithmic grid.
        let width = w * step;
        size += tilt.norm_sqr() * width;
        let by_tilt = Complex::from(of.kp) + of.ki_per_s * of.period_s / (z - 1.0);
        let by_rate = z * of.kd_s * (1.0 - of.filter_share()) / (z - of.filter_share());
        let moved = match of.derivative {
            super::pid::Derivative::Rate => {
                (by_tilt * wanted.tilt_noise_deg).norm_sqr()
                    + (by_rate * wanted.rate_noise_deg_s).norm_sqr()
            }
            super::pid::Derivative::Difference => {
                let difference = (z - 1.0) / (z * of.period_s);
                ((by_tilt + by_rate * difference) * wanted.tilt_noise_deg).norm_sqr()
            }
        };
        noise += moved * sensitivity.norm_sqr() * width * of.period_s / std::f64::consts::PI;
    }
    let over_peak = (peak / wanted.sensitivity_peak - 1.0).max(0.0);
    let over_noise = (noise.sqrt() / (NOISE_SHARE * of.limit_deg) - 1.0).max(0.0);
    size.sqrt() * (1.0 + WALL * (over_peak + over_noise))
}

#[cfg(test)]
mod tests {
    use super::super::axis_loop::tests::{controller, numbers};
    use super::super::pid::Derivative;
    use super::*;

    #[test]
    fn the_gains_keep_the_sensitivity_peak_and_reject_more_than_those_they_started_from() {
        let axis = [SampledAxis::new(&numbers(), 0.01, 0.003)];
        let mut start = controller(Derivative::Rate);
        start.limit_deg = 5.0;
        let wanted = LoopSpecification {
            sensitivity_peak: 1.6,
            tilt_noise_deg: 0.03,
            rate_noise_deg_s: 0.5,
        };
        let found = design(&start, &axis, &[25.0], &wanted);
        let margins = axis[0].margins(&found, 25.0);
        println!("{found:?} {margins:?}");
        assert!(margins.stable && margins.sensitivity_peak < 1.62);
        assert!(margins.phase_deg.unwrap() > 35.0);
        // The peak is used up: nothing is left on the table.
        assert!(margins.sensitivity_peak > 1.5);
    }
}
