//! A sweep up and down: static gain, offset, and the total width of the loop between both ways.
//!
//! With backlash of total width w the output follows raw along one line while raw rises and
//! along another, w further on, while raw falls; after each turn it stands still until raw has moved
//! through w. So a straight line raw(angle) is fitted to each way, over the rows where the output
//! moves, that is from w behind each turn on (w is found by repetition), and over the angles that
//! both ways reach. The width is the mean horizontal gap of the two lines, their gap at the mean
//! angle; the gain is the inverse of their mean slope. For a sensor the same numbers read as its
//! scale and its hysteresis in counts.
//!
//! Uncertainties come from the scatter about each line. The gain's is raised by how much neighbours
//! resemble each other (`numeric::noise`), because what is not straight shows there; in the gap what
//! both ways have in common cancels. A dead zone (no motion about the centre, both ways alike) is no
//! loop: it shows as a bend of the residuals, and a dry run tells the two apart.

use serde::{Deserialize, Serialize};

use super::points::{Direction, Points};
use crate::numeric::noise;
use crate::numeric::polynomial::{self, Fit};
use crate::quantity::measured::coverage_factor;
use crate::quantity::{Measured, Unit};

/// Repetitions of width and rows; each row is either in or out, so a few settle it.
const ROUNDS: usize = 6;

/// Rows of each way that make a line with something left to judge it by.
const FEWEST_ROWS: usize = 4;

/// A value and its standard uncertainty.
type Uncertain = (f64, f64);

/// What a sweep shows; angles in the unit of the points.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Sweep {
    /// Angle for each unit of raw.
    pub gain: Measured,
    /// The same while raw rises.
    pub gain_rising: Measured,
    /// The same while raw falls.
    pub gain_falling: Measured,
    /// Angle where raw is zero, on the middle line.
    pub angle_at_zero_raw: Measured,
    /// Raw where the angle is zero, on the middle line.
    pub raw_at_zero_angle: Measured,
    /// Total width of the loop in units of raw, raw while rising less raw while falling at one angle: the
    /// dead band when raw is the command. Negative when the output runs ahead of its command, which
    /// backlash cannot do.
    pub loop_width_raw: Measured,
    /// The same as angle.
    pub loop_width: Measured,
    /// Which of the two comes behind the other, in words; `None` when zero lies within the width's interval.
    pub behind: Option<String>,
    /// Rows used while raw rises, and while it falls.
    pub rows: [usize; 2],
}

/// Which way raw went at each row, and how far it is from the last turn.
struct Row {
    rising: bool,
    from_turn: f64,
    raw: f64,
    angle: f64,
}

/// Evaluates a sweep; `None` when the points do not go both ways far enough.
#[must_use]
pub(crate) fn sweep(points: &Points) -> Option<Sweep> {
    let rows = rows(points);
    let mut width = 0.0;
    let mut found = None;
    for _ in 0..ROUNDS {
        let next = evaluate(&rows, width, points.unit)?;
        let settled = next.loop_width_raw.value.abs() == width;
        width = next.loop_width_raw.value.abs();
        found = Some(next);
        if settled {
            break;
        }
    }
    found
}

/// Rows with a direction, in stretches of one direction: each turn is the last row before it.
fn rows(points: &Points) -> Vec<Row> {
    let up_is_rising = up_is_rising(points);
    let mut out = Vec::new();
    let mut turn = points.raw.first().copied().unwrap_or(0.0);
    for row in 0..points.raw.len() {
        let raw = points.raw[row];
        if row > 0 && points.direction[row] != points.direction[row - 1] {
            turn = points.raw[row - 1];
        }
        // A new run begins somewhere new.
        if row > 0 && points.run[row] != points.run[row - 1] {
            turn = raw;
        }
        if let Some(direction) = points.direction[row] {
            out.push(Row {
                rising: (direction == Direction::Up) == up_is_rising,
                from_turn: (raw - turn).abs(),
                raw,
                angle: points.load[row],
            });
        }
    }
    out
}

/// Whether raw rises along the rows that are called `up`. With a negative gain the angle falls there,
/// and whoever names the ways by the angle means the other one.
fn up_is_rising(points: &Points) -> bool {
    let mut balance = 0.0;
    for row in 1..points.raw.len() {
        let here = points.direction[row];
        if here == points.direction[row - 1] && points.run[row] == points.run[row - 1] {
            let sign = match here {
                Some(Direction::Up) => 1.0,
                Some(Direction::Down) => -1.0,
                None => 0.0,
            };
            balance += sign * (points.raw[row] - points.raw[row - 1]);
        }
    }
    balance >= 0.0
}

fn evaluate(rows: &[Row], width: f64, unit: Unit) -> Option<Sweep> {
    let moving = |rising: bool| {
        rows.iter()
            .filter(move |row| row.rising == rising && row.from_turn >= width)
    };
    let span = |rising: bool| {
        moving(rising).fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), row| {
            (low.min(row.angle), high.max(row.angle))
        })
    };
    let (up, down) = (span(true), span(false));
    let (low, high) = (up.0.max(down.0), up.1.min(down.1));
    let line = |rising: bool| {
        let used: Vec<&Row> = moving(rising)
            .filter(|row| (low..=high).contains(&row.angle))
            .collect();
        Line::through(&used)
    };
    let lines = [line(true)?, line(false)?];
    Some(both_ways(&lines, unit))
}

/// What the lines of both ways say together.
fn both_ways(lines: &[Line; 2], unit: Unit) -> Sweep {
    let freedom = lines[0].fit.degrees_of_freedom + lines[1].fit.degrees_of_freedom;
    let factor = coverage_factor(freedom as f64);
    let measured = |(value, u): Uncertain, unit: Unit| {
        Measured::interval(value, u, value - factor * u, value + factor * u, unit)
    };
    let half = |[up, down]: [Uncertain; 2]| (0.5 * (up.0 + down.0), 0.5 * up.1.hypot(down.1));
    let [rising, falling] = [&lines[0], &lines[1]].map(|line| (line.slope, line.u_slope));
    let gain = |(slope, u_slope): Uncertain| (1.0 / slope, u_slope / slope.powi(2));
    let middle = 0.5 * (lines[0].mean_angle + lines[1].mean_angle);
    let gap = [lines[0].fit.at(middle), lines[1].fit.at(middle)];
    let u_gap = lines[0].fit.u_at(middle).hypot(lines[1].fit.u_at(middle));
    let width = (gap[0] - gap[1], u_gap);
    let both = gain(half([rising, falling]));
    let gain_unit = match unit {
        Unit::Degree => Unit::DegreePerRaw,
        _ => Unit::RadianPerRaw,
    };
    let loop_width_raw = measured(width, Unit::Raw);
    Sweep {
        gain: measured(both, gain_unit),
        gain_rising: measured(gain(rising), gain_unit),
        gain_falling: measured(gain(falling), gain_unit),
        angle_at_zero_raw: measured(half([0, 1].map(|way| lines[way].angle_at_zero_raw())), unit),
        raw_at_zero_angle: measured(half([0, 1].map(|way| lines[way].at(0.0))), Unit::Raw),
        loop_width: measured((width.0 * both.0.abs(), width.1 * both.0.abs()), unit),
        behind: behind(&loop_width_raw).map(str::to_owned),
        loop_width_raw,
        rows: [lines[0].rows, lines[1].rows],
    }
}

fn behind(width: &Measured) -> Option<&'static str> {
    if width.low > 0.0 {
        Some("the angle comes behind raw, as a nozzle behind its command")
    } else if width.high < 0.0 {
        Some("raw comes behind the angle, as a sensor behind what it measures")
    } else {
        None
    }
}

/// The line raw(angle) of one way.
struct Line {
    fit: Fit,
    slope: f64,
    u_slope: f64,
    /// Factor on every standard uncertainty for the autocorrelation of the residuals.
    inflation: f64,
    mean_angle: f64,
    rows: usize,
}

impl Line {
    fn through(rows: &[&Row]) -> Option<Self> {
        if rows.len() < FEWEST_ROWS {
            return None;
        }
        let angle: Vec<f64> = rows.iter().map(|row| row.angle).collect();
        let raw: Vec<f64> = rows.iter().map(|row| row.raw).collect();
        let fit = polynomial::fit(&angle, &raw, 1)?;
        let slope = fit.slope(fit.centre);
        let residuals: Vec<f64> = rows.iter().map(|row| row.raw - fit.at(row.angle)).collect();
        let inflation = noise::inflation(&residuals).sqrt();
        let u_slope = inflation * fit.covariance.get(1)?.get(1)?.sqrt() / fit.scale;
        let mean_angle = angle.iter().sum::<f64>() / angle.len() as f64;
        (slope != 0.0 && slope.is_finite()).then_some(Self {
            fit,
            slope,
            u_slope,
            inflation,
            mean_angle,
            rows: rows.len(),
        })
    }

    fn at(&self, angle: f64) -> Uncertain {
        (self.fit.at(angle), self.inflation * self.fit.u_at(angle))
    }

    fn angle_at_zero_raw(&self) -> Uncertain {
        let angle = self.fit.centre - self.fit.at(self.fit.centre) / self.slope;
        (angle, self.at(angle).1 / self.slope.abs())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration::points::directions_in;
    use approx::assert_relative_eq;
    use rand::{RngExt, SeedableRng, rngs::ChaCha8Rng};

    /// A sweep through backlash, by its definition: the output moves only when it would
    /// otherwise be more than half the width behind.
    fn through_backlash(gain: f64, width: f64, noise: impl Fn(usize) -> f64) -> Points {
        let rising = (-40..=40).map(|step| 25.0 * f64::from(step));
        let falling = (-40..40).rev().map(|step| 25.0 * f64::from(step));
        let once: Vec<f64> = rising.chain(falling).collect();
        let raw = [&once[..], &once[1..]].concat();
        let mut moved = raw[0];
        let angle = raw
            .iter()
            .enumerate()
            .map(|(row, raw)| {
                moved = moved.clamp(raw - 0.5 * width, raw + 0.5 * width);
                0.3 + gain * moved + noise(row)
            })
            .collect();
        let mut points = Points::exact(raw, angle);
        let ways = directions_in(&points.raw).unwrap();
        points.direction = ways.into_iter().map(Some).collect();
        points
    }

    #[test]
    fn backlash_of_known_width_is_found_exactly_with_either_sign_of_gain() {
        for gain in [0.09, -0.09] {
            let found = sweep(&through_backlash(gain, 60.0, |_| 0.0)).unwrap();
            assert_relative_eq!(found.loop_width_raw.value, 60.0, epsilon = 1e-9);
            assert_relative_eq!(found.gain.value, gain, max_relative = 1e-12);
            assert_relative_eq!(found.angle_at_zero_raw.value, 0.3, epsilon = 1e-9);
            assert_relative_eq!(found.raw_at_zero_angle.value, -0.3 / gain, epsilon = 1e-9);
            // By hand: moving from -925 on, and within reach of the other way up to 975; twice.
            assert_eq!(found.rows, [154, 154]);
        }
        let none = sweep(&through_backlash(0.09, 0.0, |_| 0.0)).unwrap();
        assert_relative_eq!(none.loop_width_raw.value, 0.0, epsilon = 1e-9);
    }

    #[test]
    fn ways_named_by_the_angle_give_the_same_width() {
        let mut points = through_backlash(-0.09, 60.0, |_| 0.0);
        for way in points.direction.iter_mut().flatten() {
            *way = match way {
                Direction::Up => Direction::Down,
                Direction::Down => Direction::Up,
            };
        }
        assert_relative_eq!(
            sweep(&points).unwrap().loop_width_raw.value,
            60.0,
            epsilon = 1e-9
        );
    }

    // A new run turns where it begins: one row fewer has moved through the backlash.
    #[test]
    fn a_new_run_begins_with_its_backlash_untaken() {
        let mut points = through_backlash(0.09, 60.0, |_| 0.0);
        points.run[161..].fill("second".to_owned());
        assert_eq!(sweep(&points).unwrap().rows, [153, 154]);
    }

    // The 95 % interval must hold the truth about 95 times in 100: of 400 sweeps 380, give or take 4.4
    // (binomial); three of those either side, and more above for the gain, which is never taken to be
    // surer than white noise makes it.
    #[test]
    fn the_uncertainties_are_honest() {
        let mut random = ChaCha8Rng::seed_from_u64(11);
        let mut held = [0; 6];
        for _ in 0..400 {
            let noise: Vec<f64> = (0..400)
                .map(|_| (0..12).map(|_| random.random::<f64>()).sum::<f64>() - 6.0)
                .collect();
            // Zero lies well off the middle, where slope and height go together.
            let found =
                sweep(&through_backlash(0.09, 60.0, |row| 40.0 + 0.4 * noise[row])).unwrap();
            let pairs = [
                (found.loop_width_raw, 60.0),
                (found.gain, 0.09),
                (found.gain_rising, 0.09),
                (found.gain_falling, 0.09),
                (found.angle_at_zero_raw, 40.3),
                (found.raw_at_zero_angle, -40.3 / 0.09),
            ];
            for (held, (found, truth)) in held.iter_mut().zip(pairs) {
                *held += usize::from((found.value - truth).abs() <= 1.96 * found.u);
            }
        }
        assert!((367..=393).contains(&held[0]), "{held:?} of 400");
        assert!(
            held[1..].iter().all(|held| (367..=396).contains(held)),
            "{held:?} of 400"
        );
    }

    #[test]
    fn one_way_alone_is_no_sweep() {
        let points = Points::exact(vec![1.0, 2.0, 3.0], vec![1.0, 2.0, 3.0]);
        assert_eq!(sweep(&points), None);
        let mut points = through_backlash(0.09, 60.0, |_| 0.0);
        points.direction = vec![Some(Direction::Up); points.raw.len()];
        assert_eq!(sweep(&points), None);
    }
}
