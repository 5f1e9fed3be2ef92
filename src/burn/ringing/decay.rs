//! One decay: least squares of a damped oscillation about a slowly moving rest.
//!
//! Frequency and damping are first searched on a grid around the loudest frequency of the spectrum,
//! where everything else is linear (Golub & Pereyra, variable projection, 1973), then all are
//! refined together with exact derivatives. Standard uncertainties and the correlation of the two
//! come from residuals and Jacobian (JCGM 100:2008, 4.2 and 5.2); where residuals are not white, as
//! beside rough burning, they are raised by what their correlation is worth (Newey & West 1987).

use std::f64::consts::TAU;

use nalgebra::{DMatrix, DVector};

use super::{decrement, spectrum};
use crate::numeric::autocorrelation;
use crate::numeric::gram_schmidt::{dot, upright};
use crate::numeric::least_squares::{self, Ended, Minimum, Residuals, Search};
use crate::series::Series;

/// Fewest readings in a period: below, a swing and its alias look alike.
pub(crate) const FEWEST_PER_PERIOD: f64 = 2.5;

/// Lowest frequency looked for, Hz: slower stands cannot follow a burn.
pub(crate) const SLOWEST_HZ: f64 = 5.0;

/// Readings beyond the number of parameters that a fit needs.
const SPARE_READINGS: usize = 10;

/// Damping ratios of the grid.
const GRID_DAMPING: [f64; 12] = [
    0.001, 0.002, 0.004, 0.007, 0.012, 0.02, 0.035, 0.06, 0.1, 0.17, 0.28, 0.45,
];

/// The grid reaches this many steps of half the record's resolution to either side.
const GRID_STEPS: i32 = 4;

/// Readings in a period that lead to a fit, where there are more.
const FEW_PER_PERIOD: f64 = 20.0;

/// The grid's best explains far less than is sought below this share of its logarithm.
const FAR_LESS: f64 = 0.5;

/// Few readings damp far more than is sought above this many times.
const FAR_MORE: f64 = 2.0;

/// An angle whose sixth power is nothing beside 1, rad.
const SMALL: f64 = 0.01;

/// So many readings are turned one after the other before the exact functions are asked again.
const EXACT_EVERY: usize = 16;

/// Residuals are taken for white above this probability.
const WHITE: f64 = 0.01;

/// Half swings count for the decrement while they stand this many residual deviations high.
const SWING_SDS: f64 = 5.0;

/// A fitted decay.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Decay {
    /// Natural frequency, Hz.
    pub natural_hz: f64,
    /// Damping ratio.
    pub damping: f64,
    /// Covariance of the two: Hz2, Hz, 1.
    pub covariance: [[f64; 2]; 2],
    /// Degrees of freedom of the residuals.
    pub degrees_of_freedom: usize,
    /// Height of the swing at the beginning, in the unit of the readings.
    pub amplitude: f64,
    /// Standard deviation of the residuals, in the same unit.
    pub residual_sd: f64,
    /// Sum of squared residuals without the oscillation over that with it.
    pub explains: f64,
    /// Damping ratio by the logarithmic decrement.
    pub decrement_damping: Option<f64>,
}

/// What is looked for.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sought {
    /// Degree of the polynomial beside the oscillation.
    pub degree: usize,
    /// Range of its frequency, Hz.
    pub from_hz: f64,
    pub to_hz: f64,
    /// Without it the sum of squares is so many times larger, or nobody asks for it.
    pub explains: f64,
    /// Largest damping ratio that anybody asks for.
    pub damping: f64,
}

/// Fits a damped oscillation about a polynomial to readings. `None` when there are too few readings, no oscillation
/// can be fitted, or what leads to it explains far less, or is damped far more, than is sought.
#[must_use]
pub(crate) fn fit(readings: &Series, sought: Sought) -> Option<Decay> {
    let Sought {
        degree, from_hz, ..
    } = sought;
    let step_s = readings.step_s()?;
    let highest_hz = sought.to_hz.min(1.0 / (FEWEST_PER_PERIOD * step_s));
    if readings.len() < 5 + degree + SPARE_READINGS || highest_hz <= from_hz {
        return None;
    }
    let about = less_rest(readings, degree)?;
    let loudest_hz = spectrum::loudest_hz(&about, from_hz, highest_hz)?;
    let within_hz = (from_hz, highest_hz);
    // A grid finds the start, and most of the way is gone, with no more readings than show the swing.
    let nth = ((1.0 / (FEW_PER_PERIOD * loudest_hz * step_s)) as usize).max(1);
    let few = Model::of_every(nth, readings, degree)?;
    let (start, explains) = few.grid(loudest_hz, within_hz)?;
    if explains.ln() < FAR_LESS * sought.explains.ln() {
        return None;
    }
    let near = few.least(&start, loudest_hz, within_hz);
    if nth == 1 {
        return few.decay(&near?, about.value());
    }
    if near
        .as_ref()
        .is_some_and(|near| near.x[1] > FAR_MORE * sought.damping)
    {
        return None;
    }
    let model = Model::of_every(1, readings, degree)?;
    let start = near.map_or(start, |near| near.x);
    model.decay(&model.least(&start, loudest_hz, within_hz)?, about.value())
}

/// Readings less the polynomial through them.
fn less_rest(readings: &Series, degree: usize) -> Option<Series> {
    let rest = crate::numeric::polynomial::fit(readings.time_s(), readings.value(), degree)?;
    Some(readings.map(|time, value| value - rest.at(time)))
}

/// y = e^(-z w t) (A cos wd t + B sin wd t) + sum c_k x^k, x from -1 to 1 over the window.
/// Parameters: frequency, damping, A, B, c.
struct Model {
    time_s: Vec<f64>,
    value: DVector<f64>,
    length_s: f64,
    /// x^k at each time, a column each.
    powers: Vec<Vec<f64>>,
    /// Mean step of the readings, s, and the most by which one is another, s.
    step_s: f64,
    uneven_s: f64,
}

/// Decaying cosine and sine at each time.
type Pairs = (Vec<f64>, Vec<f64>);

impl Model {
    /// Of every nth reading.
    fn of_every(nth: usize, readings: &Series, degree: usize) -> Option<Self> {
        let (start_s, end_s) = readings.span_s()?;
        let times = readings.time_s().iter().step_by(nth);
        let values: Vec<f64> = readings.value().iter().copied().step_by(nth).collect();
        Some(Self::new(
            times.map(|time| time - start_s).collect(),
            DVector::from_vec(values),
            degree,
            end_s - start_s,
        ))
    }

    /// The least squares from a start, within a range of frequencies; `None` where the search ends at a bound or nowhere.
    fn least(&self, start: &[f64], loudest_hz: f64, within_hz: (f64, f64)) -> Option<Minimum> {
        let mut search = Search::free(start);
        (search.low[0], search.high[0]) = within_hz;
        (search.low[1], search.high[1]) = (0.0, 0.9);
        (search.typical[0], search.typical[1]) = (0.1 * loudest_hz, 0.05);
        let size = start[2].hypot(start[3]);
        for (typical, start) in search.typical.iter_mut().zip(start).skip(2) {
            *typical = size.max(start.abs()).max(f64::MIN_POSITIVE);
        }
        // A parameter is found to some 1e-5 of its standard uncertainty.
        (search.angle, search.step, search.gain) = (1e-7, 1e-8, 1e-12);
        let found = least_squares::minimise(self, start, &search);
        let pressed = found.free.iter().any(|free| !free);
        (found.ended == Ended::Converged && !pressed).then_some(found)
    }

    fn new(time_s: Vec<f64>, value: DVector<f64>, degree: usize, length_s: f64) -> Self {
        let power = |time: &f64, power: usize| (2.0 * time / length_s - 1.0).powi(power as i32);
        let column = |at: usize| time_s.iter().map(|time| power(time, at)).collect();
        let step_s = length_s / (time_s.len().max(2) - 1) as f64;
        let off = |pair: &[f64]| (pair[1] - pair[0] - step_s).abs();
        Self {
            powers: (0..=degree).map(column).collect(),
            uneven_s: time_s.windows(2).map(off).fold(0.0, f64::max),
            step_s,
            time_s,
            value,
            length_s,
        }
    }

    /// The polynomial the oscillation is about, at each time.
    fn rest(&self, x: &[f64]) -> Vec<f64> {
        let mut out = vec![0.0; self.time_s.len()];
        for (c, powers) in x[4..].iter().zip(&self.powers) {
            for (out, power) in out.iter_mut().zip(powers) {
                *out += c * power;
            }
        }
        out
    }

    /// Decaying cosine and sine at each time. Over steps that are all but even one turns into the next, by the turn of the even
    /// step and the series of the exponential for what the step has more; every few are exact again.
    fn pairs(&self, natural_hz: f64, damping: f64) -> Pairs {
        let omega = TAU * natural_hz;
        let (fades, turns) = (-damping * omega, omega * (1.0 - damping * damping).sqrt());
        let exact = |time_s: f64| {
            let shrunk = (fades * time_s).exp();
            let (sine, cosine) = (turns * time_s).sin_cos();
            (shrunk * cosine, shrunk * sine)
        };
        if omega * self.uneven_s > SMALL {
            return self.time_s.iter().map(|time| exact(*time)).unzip();
        }
        let step = exact(self.step_s);
        let (mut cosines, mut sines) = (self.room(), self.room());
        for times in self.time_s.chunks(EXACT_EVERY) {
            let (mut before_s, mut here) = (times[0], exact(times[0]));
            for time_s in times {
                if *time_s > before_s {
                    let more_s = time_s - before_s - self.step_s;
                    here = turned(turned(here, step), small((fades * more_s, turns * more_s)));
                    before_s = *time_s;
                }
                cosines.push(here.0);
                sines.push(here.1);
            }
        }
        (cosines, sines)
    }

    fn room(&self) -> Vec<f64> {
        Vec::with_capacity(self.time_s.len())
    }

    /// The best start on the grid, frequency, damping, and what is linear; and how many times larger the sum of squares is without it.
    fn grid(&self, loudest_hz: f64, (from_hz, to_hz): (f64, f64)) -> Option<(Vec<f64>, f64)> {
        let width_hz = 0.5 / self.length_s;
        let beside = Beside::new(&self.powers, self.value.as_slice())?;
        let mut best = (f64::INFINITY, 0.0, 0.0);
        for shift in -GRID_STEPS..=GRID_STEPS {
            let natural_hz = loudest_hz + f64::from(shift) * width_hz;
            if !(from_hz..=to_hz).contains(&natural_hz) {
                continue;
            }
            for damping in GRID_DAMPING {
                let (cosines, sines) = self.pairs(natural_hz, damping);
                let left = beside.left_by(&cosines, &sines);
                if left < best.0 {
                    best = (left, natural_hz, damping);
                }
            }
        }
        let (left, natural_hz, damping) = best;
        let (cosines, sines) = self.pairs(natural_hz, damping);
        let mut columns = vec![cosines, sines];
        columns.extend(self.powers.iter().cloned());
        let found = upright(&mut columns, &mut self.value.as_slice().to_vec());
        let linear = found.r.solve_upper_triangular(&found.explained)?;
        let start = [natural_hz, damping]
            .into_iter()
            .chain(linear.iter().copied());
        left.is_finite()
            .then(|| (start.collect(), beside.squares / left))
    }

    fn decay(&self, found: &Minimum, about: &[f64]) -> Option<Decay> {
        let freedom = self.time_s.len().checked_sub(found.x.len())?;
        let sum = found.sum_of_squares();
        let residual_sd = (sum / freedom.max(1) as f64).sqrt();
        let unit = least_squares::unit_covariance(&found.jacobian, &found.free)?;
        let raised = raised(&found.jacobian, found.residuals.as_slice())?;
        let variance = residual_sd * residual_sd;
        let entry = |i: usize, j: usize| variance * unit[(i, j)] * raised[i] * raised[j];
        let out = Decay {
            natural_hz: found.x[0],
            damping: found.x[1],
            covariance: [[entry(0, 0), entry(0, 1)], [entry(1, 0), entry(1, 1)]],
            degrees_of_freedom: freedom,
            amplitude: found.x[2].hypot(found.x[3]),
            residual_sd,
            explains: about.iter().map(|value| value * value).sum::<f64>() / sum,
            decrement_damping: self.decrement(&found.x, residual_sd),
        };
        Some(out)
    }

    /// Damping by the decrement of the half swings that stand out: the readings themselves, less
    /// the fitted rest, at the fitted frequency.
    fn decrement(&self, x: &[f64], residual_sd: f64) -> Option<f64> {
        let half_s = 0.5 / (x[0] * (1.0 - x[1] * x[1]).sqrt());
        let rest = self.rest(x);
        let mut heights = Vec::new();
        let mut row = 0;
        while row < self.time_s.len() {
            let bin = (self.time_s[row] / half_s) as usize;
            let mut height = 0.0_f64;
            while row < self.time_s.len() && (self.time_s[row] / half_s) as usize == bin {
                height = height.max((self.value[row] - rest[row]).abs());
                row += 1;
            }
            if height < SWING_SDS * residual_sd {
                break;
            }
            heights.push(height);
        }
        decrement::of_half_swings(&heights).map(decrement::damping_ratio)
    }
}

/// The readings beside a polynomial: unit columns that span it, and what it leaves of the readings.
struct Beside {
    units: Vec<Vec<f64>>,
    left: Vec<f64>,
    squares: f64,
}

impl Beside {
    fn new(powers: &[Vec<f64>], value: &[f64]) -> Option<Self> {
        let (mut units, mut left) = (powers.to_vec(), value.to_vec());
        let squares = upright(&mut units, &mut left).left;
        squares.is_finite().then_some(Self {
            units,
            left,
            squares,
        })
    }

    /// Sum of squares that two columns more leave of the readings (normal equations of what the polynomial leaves of the
    /// two); infinite where they are one.
    fn left_by(&self, cosines: &[f64], sines: &[f64]) -> f64 {
        let mut normal = [
            dot(cosines, cosines),
            dot(cosines, sines),
            dot(sines, sines),
        ];
        for unit in &self.units {
            let (a, b) = (dot(unit, cosines), dot(unit, sines));
            for (entry, along) in normal.iter_mut().zip([a * a, a * b, b * b]) {
                *entry -= along;
            }
        }
        let [aa, ab, bb] = normal;
        let (a, b) = (dot(cosines, &self.left), dot(sines, &self.left));
        let determinant = aa * bb - ab * ab;
        if determinant <= 0.0 {
            return f64::INFINITY;
        }
        self.squares - (bb * a * a - 2.0 * ab * a * b + aa * b * b) / determinant
    }
}

/// Factors by which correlated residuals raise the standard uncertainties; 1 for white ones.
fn raised(jacobian: &DMatrix<f64>, residuals: &[f64]) -> Option<Vec<f64>> {
    if autocorrelation::whiteness(residuals).is_none_or(|p| p > WHITE) {
        return Some(vec![1.0; jacobian.ncols()]);
    }
    let qr = jacobian.clone().qr();
    let back = qr.r().try_inverse()?;
    Some(autocorrelation::inflation(&qr.q(), &back, residuals))
}

/// The product of two complex numbers.
#[inline]
fn turned(a: (f64, f64), b: (f64, f64)) -> (f64, f64) {
    (a.0 * b.0 - a.1 * b.1, a.1 * b.0 + a.0 * b.1)
}

/// The exponential of a small complex number, by its series.
#[inline]
fn small(z: (f64, f64)) -> (f64, f64) {
    let mut sum = (1.0, 0.0);
    for over in &[1.0 / 5.0, 1.0 / 4.0, 1.0 / 3.0, 1.0 / 2.0, 1.0] {
        sum = turned(sum, (z.0 * over, z.1 * over));
        sum.0 += 1.0;
    }
    sum
}

impl Residuals for Model {
    fn residuals(&self, x: &[f64]) -> DVector<f64> {
        let (cosines, sines) = self.pairs(x[0], x[1]);
        let swing = cosines.iter().zip(&sines).zip(self.rest(x));
        let model = swing.map(|((cosine, sine), rest)| x[2] * cosine + x[3] * sine + rest);
        DVector::from_iterator(self.time_s.len(), model) - &self.value
    }

    fn with_jacobian(&self, x: &[f64]) -> (DVector<f64>, DMatrix<f64>) {
        let (omega, root) = (TAU * x[0], (1.0 - x[1] * x[1]).sqrt());
        let count = self.time_s.len();
        let (cosines, sines) = self.pairs(x[0], x[1]);
        let mut columns = Vec::with_capacity(count * x.len());
        let each = || self.time_s.iter().zip(cosines.iter().zip(&sines));
        let swing = |cosine: &f64, sine: &f64| x[2] * cosine + x[3] * sine;
        let across = |cosine: &f64, sine: &f64| x[3] * cosine - x[2] * sine;
        columns.extend(each().map(|(time, (cosine, sine))| {
            TAU * time * (root * across(cosine, sine) - x[1] * swing(cosine, sine))
        }));
        columns.extend(each().map(|(time, (cosine, sine))| {
            -omega * time * (swing(cosine, sine) + x[1] / root * across(cosine, sine))
        }));
        for column in [&cosines, &sines].into_iter().chain(&self.powers) {
            columns.extend_from_slice(column);
        }
        let rest = self.rest(x);
        let left = each().zip(rest.iter().zip(self.value.iter()));
        let left =
            left.map(|((_, (cosine, sine)), (rest, value))| swing(cosine, sine) + rest - value);
        (
            DVector::from_iterator(count, left),
            DMatrix::from_vec(count, x.len(), columns),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn derivatives_are_those_of_the_residuals() {
        let time_s = (0..50).map(|at| f64::from(at) * 1e-3).collect();
        let model = Model::new(time_s, DVector::zeros(50), 1, 0.049);
        let x = [60.0, 0.2, 1.5, -0.7, 0.3, 0.1];
        let (_, jacobian) = model.with_jacobian(&x);
        for at in 0..x.len() {
            let step = 1e-6 * x[at].abs();
            let moved = |by: f64| {
                let mut x = x;
                x[at] += by;
                model.residuals(&x)
            };
            let slope = (moved(step) - moved(-step)) / (2.0 * step);
            for row in 0..50 {
                let exact = jacobian[(row, at)];
                assert_relative_eq!(slope[row], exact, epsilon = 1e-6, max_relative = 1e-5);
            }
        }
    }

    // Turned step by step, over steps that differ by up to 4 us, or asked one by one, the oscillation is the same.
    #[test]
    fn steps_are_turned_to_the_last_digits() {
        let uneven_s = |at: i32| 1e-6 * f64::from(at * 7 % 5);
        let time_s = (0..2000).map(|at| 3.7e-4 * f64::from(at) + uneven_s(at));
        let time_s: Vec<f64> = time_s.collect();
        let model = Model::new(time_s.clone(), DVector::zeros(2000), 0, time_s[1999]);
        assert!(TAU * 84.0 * model.uneven_s < SMALL);
        let (cosines, sines) = model.pairs(84.0, 0.03);
        for (row, time) in time_s.iter().enumerate() {
            let omega = TAU * 84.0;
            let shrunk = (-0.03 * omega * time).exp();
            let turned = omega * (1.0 - 0.03 * 0.03_f64).sqrt() * time;
            assert_relative_eq!(cosines[row], shrunk * turned.cos(), epsilon = 1e-13);
            assert_relative_eq!(sines[row], shrunk * turned.sin(), epsilon = 1e-13);
        }
    }

    #[test]
    fn too_few_readings_and_too_slow_readings_give_nothing() {
        let time: Vec<f64> = (0..10).map(f64::from).collect();
        let sought = Sought {
            degree: 1,
            from_hz: SLOWEST_HZ,
            to_hz: 400.0,
            explains: 1.0,
            damping: 1.0,
        };
        assert_eq!(fit(&Series::new(&time, &time), sought), None);
        let slow = Series::new(&time, &[0.0; 10]);
        assert_eq!(
            fit(
                &slow,
                Sought {
                    degree: 0,
                    ..sought
                }
            ),
            None
        );
    }
}
