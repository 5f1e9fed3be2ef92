//! Thrust of one motor: the certified points joined by a monotone cubic, stretched and scaled,
//! with rough burning on top.
//!
//! The cubic is that of Fritsch & Carlson (SIAM J. Numer. Anal. 17, 1980) with the slopes of
//! Fritsch & Butland (SIAM J. Sci. Stat. Comput. 5, 1984): it runs through every point and never
//! beyond two neighbours, so a motor never sucks. Its area is brought to that of the straight lines
//! between the points, so that `impulse_scale` is exactly the ratio of impulses. Roughness is a sum
//! of sines with random phases at even steps through its band.

use std::f64::consts::TAU;

use super::noise::Stream;
use super::spec::MotorTruth;
use crate::diagnostic::{Code, Diagnostic, Error, Place};
use crate::series::Series;

/// A cubic through points with given slopes, zero outside them.
pub(super) struct Cubic {
    x: Vec<f64>,
    y: Vec<f64>,
    slope: Vec<f64>,
}

impl Cubic {
    /// The monotone cubic through at least two points.
    pub(super) fn monotone(points: &Series) -> Self {
        let (x, y) = (points.time_s().to_vec(), points.value().to_vec());
        let width: Vec<f64> = x.windows(2).map(|pair| pair[1] - pair[0]).collect();
        let secant: Vec<f64> = y
            .windows(2)
            .zip(&width)
            .map(|(pair, width)| (pair[1] - pair[0]) / width)
            .collect();
        let last = x.len() - 1;
        let slope = (0..x.len())
            .map(|at| {
                if last < 2 {
                    secant[0]
                } else if at == 0 {
                    end_slope(width[0], width[1], secant[0], secant[1])
                } else if at == last {
                    end_slope(width[at - 1], width[at - 2], secant[at - 1], secant[at - 2])
                } else {
                    inner_slope(width[at - 1], width[at], secant[at - 1], secant[at])
                }
            })
            .collect();
        Self { x, y, slope }
    }

    /// Its value; zero outside the points.
    pub(super) fn at(&self, x: f64) -> f64 {
        let after = self.x.partition_point(|point| *point <= x);
        if after == 0 || after == self.x.len() {
            return 0.0;
        }
        let (a, b) = (after - 1, after);
        let width = self.x[b] - self.x[a];
        let s = (x - self.x[a]) / width;
        let (y0, y1) = (self.y[a], self.y[b]);
        let (m0, m1) = (self.slope[a] * width, self.slope[b] * width);
        let rise = y1 - y0;
        y0 + s * (m0 + s * (3.0 * rise - 2.0 * m0 - m1 + s * (m0 + m1 - 2.0 * rise)))
    }

    /// Its area, exact.
    pub(super) fn area(&self) -> f64 {
        (1..self.x.len())
            .map(|at| {
                let width = self.x[at] - self.x[at - 1];
                width
                    * (0.5 * (self.y[at] + self.y[at - 1])
                        + width * (self.slope[at - 1] - self.slope[at]) / 12.0)
            })
            .sum()
    }
}

fn inner_slope(h0: f64, h1: f64, d0: f64, d1: f64) -> f64 {
    if d0 * d1 <= 0.0 {
        return 0.0;
    }
    let (w0, w1) = (2.0 * h1 + h0, h1 + 2.0 * h0);
    (w0 + w1) / (w0 / d0 + w1 / d1)
}

fn end_slope(h0: f64, h1: f64, d0: f64, d1: f64) -> f64 {
    let slope = ((2.0 * h0 + h1) * d0 - h0 * d1) / (h0 + h1);
    if slope * d0 <= 0.0 {
        0.0
    } else if d0 * d1 < 0.0 && slope.abs() > 3.0 * d0.abs() {
        3.0 * d0
    } else {
        slope
    }
}

/// Sines that make up the roughness.
const ROUGHNESS_SINES: u32 = 24;

/// How fast thrust fades when a motor goes out, s: about the blow-down time of a small case.
const FADE_S: f64 = 0.02;

/// Step of the sum that gives a motor's full impulse, s.
const SUM_STEP_S: f64 = 1e-4;

/// One motor as it really burns.
pub(super) struct BurningMotor {
    /// First gas, s; never when the igniter fails.
    pub begins_s: Option<f64>,
    /// When it goes out, s.
    pub goes_out_s: Option<f64>,
    /// End of its curve, s after first gas.
    duration_s: f64,
    curve: Cubic,
    time_scale: f64,
    force_scale: f64,
    /// Angular frequency and phase of each sine.
    sines: Vec<(f64, f64)>,
    sine_size: f64,
    /// Impulse it would deliver if it burnt to its end, N s.
    pub full_impulse_ns: f64,
    /// Propellant, kg.
    pub propellant_kg: f64,
}

impl BurningMotor {
    /// The motor of a rehearsal.
    pub(super) fn new(
        truth: &MotorTruth,
        name: &str,
        seed: u64,
        fire_s: f64,
    ) -> Result<Self, Error> {
        let points = curve_points(truth)?;
        let straight = crate::numeric::trapezoid::area(&points);
        let curve = Cubic::monotone(&points);
        let mut stream = Stream::new(seed, &format!("motor.{name}.roughness"));
        let (low, high) = truth.roughness_band_hz;
        let sines = (0..ROUGHNESS_SINES)
            .map(|at| {
                let share = (f64::from(at) + stream.uniform()) / f64::from(ROUGHNESS_SINES);
                (TAU * (low + (high - low) * share), TAU * stream.uniform())
            })
            .collect();
        let begins_s = truth.lights.then_some(fire_s + truth.delay_s);
        let mut out = Self {
            begins_s,
            goes_out_s: None,
            duration_s: points.span_s().map_or(0.0, |span| span.1) * truth.time_scale,
            force_scale: truth.impulse_scale * straight / (curve.area() * truth.time_scale),
            curve,
            time_scale: truth.time_scale,
            sines,
            sine_size: truth.roughness * (2.0 / f64::from(ROUGHNESS_SINES)).sqrt(),
            full_impulse_ns: 0.0,
            propellant_kg: truth.propellant_kg,
        };
        out.full_impulse_ns = out.sum_to_the_end();
        out.goes_out_s = begins_s
            .zip(truth.goes_out_s)
            .map(|(begin, after)| begin + after);
        Ok(out)
    }

    /// Thrust at a time, N.
    pub(super) fn thrust_n(&self, time_s: f64) -> f64 {
        let Some(begin) = self.begins_s else {
            return 0.0;
        };
        let whole = self.unbroken_n(time_s - begin);
        match self.goes_out_s {
            Some(out) if time_s > out => whole * (-(time_s - out) / FADE_S).exp(),
            _ => whole,
        }
    }

    /// Instants at which the thrust has a kink, s.
    pub(super) fn kinks_s(&self) -> impl Iterator<Item = f64> {
        let end = self.begins_s.map(|begin| begin + self.duration_s);
        [self.begins_s, self.goes_out_s, end].into_iter().flatten()
    }

    fn unbroken_n(&self, since_s: f64) -> f64 {
        if since_s <= 0.0 || since_s >= self.duration_s {
            return 0.0;
        }
        let smooth = self.force_scale * self.curve.at(since_s / self.time_scale);
        if self.sine_size <= 0.0 {
            return smooth;
        }
        let rough: f64 = self
            .sines
            .iter()
            .map(|(omega, phase)| (omega * since_s + phase).cos())
            .sum();
        smooth * (1.0 + self.sine_size * rough)
    }

    fn sum_to_the_end(&self) -> f64 {
        let steps = (self.duration_s / SUM_STEP_S).ceil().max(1.0);
        let step = self.duration_s / steps;
        (0..steps as usize)
            .map(|at| step * self.unbroken_n((at as f64 + 0.5) * step))
            .sum()
    }
}

/// The certified points, begun at zero.
fn curve_points(truth: &MotorTruth) -> Result<Series, Error> {
    let certified = &truth.certified;
    let Some(given) = &certified.thrust_curve else {
        return Err(Diagnostic::error(
            Code::NoCurve,
            format!(
                "the certified motor `{}` has no thrust curve",
                certified.name
            ),
        )
        .at(Place::file(&*certified.file))
        .hint("a rehearsal needs one: add thrust_curve = [[0.0, 0.0], [0.05, 18.0], ..]")
        .into());
    };
    let mut points = Series::default();
    if given.time_s().first().is_some_and(|first| *first > 0.0) {
        points.push(0.0, 0.0);
    }
    for (time_s, thrust_n) in given.iter() {
        points.push(time_s, thrust_n);
    }
    if crate::numeric::trapezoid::area(&points) > 0.0 {
        return Ok(points);
    }
    Err(
        Diagnostic::error(Code::NoCurve, "this thrust curve has no area")
            .at(Place::file(&*certified.file))
            .into(),
    )
}

#[cfg(test)]
mod tests {
    use super::super::spec::tests::plain_motor;
    use super::*;
    use approx::{assert_abs_diff_eq, assert_relative_eq};

    fn curve() -> Series {
        Series::new(
            &[0.0, 0.05, 0.2, 0.3, 1.2, 1.4],
            &[0.0, 18.0, 26.0, 15.0, 12.0, 0.0],
        )
    }

    fn motor(impulse_scale: f64, time_scale: f64, roughness: f64) -> MotorTruth {
        MotorTruth {
            impulse_scale,
            time_scale,
            roughness,
            delay_s: 0.25,
            ..plain_motor(curve())
        }
    }

    fn impulse_ns(motor: &BurningMotor, to_s: f64) -> f64 {
        let step = 5e-5;
        (0..(to_s / step) as usize)
            .map(|at| step * motor.thrust_n((at as f64 + 0.5) * step))
            .sum()
    }

    // Trapezoid by hand: 0.45 + 3.3 + 2.05 + 12.15 + 1.2 = 19.15 N s.
    #[test]
    fn impulse_is_the_scaled_area_of_the_certified_points_whatever_the_stretch() {
        let burning = BurningMotor::new(&motor(1.03, 0.95, 0.0), "m", 1, 2.0).unwrap();
        // Midpoint rule on a piecewise cubic with steps of 50 us: far below 1e-6.
        assert_relative_eq!(impulse_ns(&burning, 4.0), 1.03 * 19.15, max_relative = 1e-6);
        assert_relative_eq!(burning.full_impulse_ns, 1.03 * 19.15, max_relative = 1e-6);
        assert_eq!(burning.thrust_n(2.25), 0.0);
        assert!(burning.thrust_n(2.2501) > 0.0);
    }

    #[test]
    fn the_cubic_meets_every_point_and_stays_between_neighbours() {
        let points = curve();
        let cubic = Cubic::monotone(&points);
        for (x, y) in points.iter().take(5) {
            assert_abs_diff_eq!(cubic.at(x), y, epsilon = 1e-12);
        }
        for (time, value) in points.time_s().windows(2).zip(points.value().windows(2)) {
            for part in 1..50 {
                let y = cubic.at(time[0] + (time[1] - time[0]) * f64::from(part) / 50.0);
                let (low, high) = (value[0].min(value[1]), value[0].max(value[1]));
                assert!((low - 1e-12..=high + 1e-12).contains(&y), "{y}");
            }
        }
    }

    // Sines of 20 Hz and more over a second: the impulse moves by less than 2 parts in 1000.
    #[test]
    fn rough_burning_has_its_size_and_hardly_moves_the_impulse() {
        let smooth = BurningMotor::new(&motor(1.0, 1.0, 0.0), "m", 1, 0.0).unwrap();
        let rough = BurningMotor::new(&motor(1.0, 1.0, 0.02), "m", 1, 0.0).unwrap();
        let ratio: Vec<f64> = (0..8000)
            .map(|at| 0.4 + f64::from(at) * 1e-4)
            .map(|time| rough.thrust_n(time) / smooth.thrust_n(time) - 1.0)
            .collect();
        let rms = (ratio.iter().map(|x| x * x).sum::<f64>() / 8000.0).sqrt();
        assert_abs_diff_eq!(rms, 0.02, epsilon = 0.002);
        assert_relative_eq!(
            impulse_ns(&rough, 2.0),
            impulse_ns(&smooth, 2.0),
            max_relative = 2e-3
        );
    }

    #[test]
    fn a_dead_igniter_gives_nothing_and_a_puff_dies_within_a_few_fade_times() {
        let mut truth = motor(1.0, 1.0, 0.0);
        truth.goes_out_s = Some(0.06);
        let puff = BurningMotor::new(&truth, "m", 1, 0.0).unwrap();
        assert!(puff.thrust_n(0.30) > 15.0);
        assert!(puff.thrust_n(0.31 + 8.0 * FADE_S) < 0.01);
        truth.lights = false;
        let dead = BurningMotor::new(&truth, "m", 1, 0.0).unwrap();
        assert_eq!(impulse_ns(&dead, 3.0), 0.0);
    }
}
