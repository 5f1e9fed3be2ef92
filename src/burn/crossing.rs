//! When thrust passed a level.
//!
//! Where: in means over as many readings as tell the level from rest, for a single reading may be noise long before the rise.
//! When: on a steep edge by a ramp out of rest ([`super::ramp`]), which knows that a recorder may sample or average; where no
//! ramp follows the readings, by the line through the two on either side. Where noise would move that by more than half a
//! reading, a straight line is fitted to the readings around, as far as they show no bend (a test of its quadratic term), because
//! the first of many noisy readings above a level comes too early and the last too late.
//!
//! How sure: what is rough beside the edge, burning or the stand's ringing, lasts over several readings and no fit averages it
//! out. An edge that rises whole between two readings lies anywhere between them, and so does one in a hole.
//!
//! No filter is applied: one that runs both ways lifts the curve before ignition. Limits: a stand that swings slowly is late by
//! what its mode says, and where none is stated nor seen that is not known.

use super::edge_line;
pub(crate) use super::edge_line::{Crossing, Edge};
use super::ramp::{self, Around};
use crate::numeric::polynomial;
use crate::series::Series;

/// The two-reading line is used while noise moves the crossing by less than this many readings.
const STEEP_READINGS: f64 = 0.5;
/// Thrust has passed a level where means stand above it that noise alone lifts so high once in a million.
const SURE_SDS: f64 = 4.8;
/// Share of the step between readings that no line through them can do better than.
const LEAST_SHARE: f64 = 0.02;

/// The two lines differ by a corner, not by noise, from so many standard deviations of its effect on.
const CORNER_NOISES: f64 = 4.0;

/// Scatter is looked for this far inside an edge, s.
const SCATTER_REACH_S: f64 = 0.045;

/// What is rough is what a polynomial of this degree leaves there: the edge itself bends.
const ROUGH_DEGREE: usize = 5;

/// ... where so many readings lie there.
const FEWEST_STEPS: f64 = 10.0;
/// A step this many times the usual one is a hole in the record.
const GAP_STEPS: f64 = 5.0;

/// Finds when thrust crossed a level between two times.
#[must_use]
pub(crate) fn find(
    thrust: &Series,
    from_s: f64,
    to_s: f64,
    level_n: f64,
    edge: Edge,
    sd_n: f64,
) -> Option<Crossing> {
    let part = with_neighbours(thrust, from_s, to_s);
    let (time, value) = (part.time_s(), part.value());
    let (before, after) = passed(value, level_n, edge, sd_n)?;
    if after >= part.len() {
        return None;
    }
    let step = time[after] - time[before];
    let inside_s = match edge {
        Edge::First => (time[after], time[after] + SCATTER_REACH_S),
        Edge::Last => (time[before] - SCATTER_REACH_S, time[before]),
    };
    let rough_n = roughness(&part, inside_s, step, sd_n);
    let rise = value[after] - value[before];
    let simple = between(&part, (before, after), level_n);
    let local = local_slope(&part, simple, step).unwrap_or(rise / step);
    let usual = part.step_s().unwrap_or(step);
    if step > GAP_STEPS * usual {
        // Thrust passed the level somewhere in the hole: anywhere is as likely as anywhere else.
        let u_s = step / 12.0_f64.sqrt();
        let middle = 0.5 * (time[before] + time[after]);
        return Some(Crossing {
            time_s: middle,
            slope_n_s: rise / step,
            u_s,
        });
    }
    let ramp = || ramp_crossing(&part, (before, after), level_n, edge, sd_n);
    let fitted = || edge_line::crossing(&part, simple, (step, sd_n), level_n, edge);
    let found = if sd_n <= STEEP_READINGS * step * local.abs() {
        ramp().unwrap_or_else(|| steep(&part, (before, after), level_n, edge, (sd_n, local)))
    } else {
        fitted().unwrap_or_else(|| unfitted(&part, (before, after), level_n, edge, sd_n))
    };
    // What is rough beside the edge lasts over several readings: no fit to them averages it out.
    let u_s = found.u_s.hypot(rough_n / found.slope_n_s);
    Some(Crossing {
        u_s: u_s.hypot(LEAST_SHARE * step),
        ..found
    })
}

/// When the line through two readings passes a level, s: between them, for means may pass it where the readings themselves do not.
fn between(part: &Series, (before, after): (usize, usize), level_n: f64) -> f64 {
    let (time, value) = (part.time_s(), part.value());
    let share = ((level_n - value[before]) / (value[after] - value[before])).clamp(0.0, 1.0);
    time[before] + (time[after] - time[before]) * if share.is_nan() { 0.5 } else { share }
}

/// The crossing between the two readings nearest to where means pass the level that do so themselves.
fn unfitted(
    part: &Series,
    (before, after): (usize, usize),
    level_n: f64,
    edge: Edge,
    sd_n: f64,
) -> Crossing {
    let (time, value) = (part.time_s(), part.value());
    let high = |row: usize| value[row] >= level_n;
    let passes = |row: &usize| match edge {
        Edge::First => !high(*row) && high(row + 1),
        Edge::Last => high(*row) && !high(row + 1),
    };
    let found = match edge {
        Edge::First => (before..value.len() - 1).find(passes),
        Edge::Last => (0..after).rev().find(passes),
    };
    let row = found.unwrap_or(before);
    let (step, rise) = (time[row + 1] - time[row], value[row + 1] - value[row]);
    Crossing {
        time_s: between(part, (row, row + 1), level_n),
        slope_n_s: rise / step,
        u_s: (sd_n * step / rise).hypot(step / 12.0_f64.sqrt()),
    }
}

/// The crossing of a ramp out of rest, where the edge is one.
fn ramp_crossing(
    part: &Series,
    (before, after): (usize, usize),
    level_n: f64,
    edge: Edge,
    sd_n: f64,
) -> Option<Crossing> {
    let (time, value) = (part.time_s(), part.value());
    let from = before.saturating_sub(RAMP_ROWS);
    let to = (after + RAMP_ROWS).min(time.len());
    let origin = time[before];
    let mut x_s: Vec<f64> = time[from..to].iter().map(|at| at - origin).collect();
    let mut value_n = value[from..to].to_vec();
    let mut inside = after - from;
    if edge == Edge::Last {
        x_s = x_s.iter().rev().map(|x| -x).collect();
        value_n.reverse();
        inside = to - 1 - before;
    }
    let around = Around {
        x_s: &x_s,
        value_n: &value_n,
        inside,
        sd_n: sd_n.max(LEAST_NOISE * level_n),
        period_s: part.step_s()?,
    };
    let found = ramp::crossing(&around, level_n)?;
    let sign = if edge == Edge::Last { -1.0 } else { 1.0 };
    Some(Crossing {
        time_s: origin + sign * found.x_s,
        slope_n_s: sign * found.slope_n_s,
        u_s: found.u_s,
    })
}

/// Readings without noise are taken to have this share of the level.
const LEAST_NOISE: f64 = 1e-3;

/// Readings on either side that are given to it.
const RAMP_ROWS: usize = 48;

/// The rows between which thrust passes a level for the first, or last, time: in means over as many readings as tell the level
/// from rest.
fn passed(value: &[f64], level_n: f64, edge: Edge, sd_n: f64) -> Option<(usize, usize)> {
    let count = (SURE_SDS * sd_n / level_n).powi(2).ceil();
    let half = (count.min(value.len() as f64) as usize) / 2;
    let mean = |row: usize| {
        let part = &value[row.saturating_sub(half)..(row + half + 1).min(value.len())];
        part.iter().sum::<f64>() / part.len() as f64
    };
    let mut rows = 0..value.len();
    let high = |row: &usize| mean(*row) >= level_n;
    match edge {
        Edge::First => {
            let after = rows.find(high)?;
            Some((after.checked_sub(1)?, after))
        }
        Edge::Last => {
            let before = rows.rev().find(high)?;
            Some((before, before + 1))
        }
    }
}

/// The crossing on an edge that noise moves by less than a reading.
fn steep(
    part: &Series,
    (before, after): (usize, usize),
    level_n: f64,
    edge: Edge,
    (sd_n, slope_n_s): (f64, f64),
) -> Crossing {
    let (time, value) = (part.time_s(), part.value());
    let step = time[after] - time[before];
    let rise = value[after] - value[before];
    let simple = between(part, (before, after), level_n);
    let noise_s = (sd_n / slope_n_s).abs();
    let Some(prolonged_s) = prolonged(part, (before, after), level_n, edge) else {
        // Thrust does not rise on behind the edge: the edge lies whole between two readings.
        return Crossing {
            time_s: 0.5 * (time[before] + time[after]),
            slope_n_s: rise / step,
            u_s: step / 12.0_f64.sqrt(),
        };
    };
    let apart_s = (prolonged_s - simple).abs();
    // What is not a corner is mostly noise, which is counted already.
    let apart_s = if apart_s <= CORNER_NOISES * noise_s {
        apart_s / 3.0
    } else {
        apart_s
    };
    let u_s = noise_s.hypot(apart_s / 12.0_f64.sqrt());
    Crossing {
        time_s: simple,
        slope_n_s,
        u_s,
    }
}

/// Where the line through the two nearest readings inside the burn meets the level, kept between the
/// readings on either side of it; `None` where that line does not lead there.
fn prolonged(
    part: &Series,
    (before, after): (usize, usize),
    level_n: f64,
    edge: Edge,
) -> Option<f64> {
    let (time, value) = (part.time_s(), part.value());
    let (near, far) = match edge {
        Edge::First => (after, after + 1),
        Edge::Last => (before, before.checked_sub(1)?),
    };
    let slope = (value.get(far)? - value[near]) / (time[far] - time[near]);
    let leads_there = (slope > 0.0) == (edge == Edge::First) && slope != 0.0;
    leads_there.then(|| {
        let there = time[near] + (level_n - value[near]) / slope;
        there.clamp(time[before], time[after])
    })
}

/// The readings between two times and one more on either side, so that a hole at an end is seen.
fn with_neighbours(thrust: &Series, from_s: f64, to_s: f64) -> Series {
    let time = thrust.time_s();
    let first = thrust.index_at(from_s).saturating_sub(1);
    let last = (time.partition_point(|t| *t <= to_s) + 1).min(time.len());
    let rows = first.min(last)..last;
    Series::new(&time[rows.clone()], &thrust.value()[rows])
}

/// Scatter about a cubic through the readings just inside an edge beyond their noise, N: rough burning and what is left of the
/// stand's ringing. Zero where there are too few readings to see it, and where noise may have made it.
fn roughness(part: &Series, (from_s, to_s): (f64, f64), step_s: f64, sd_n: f64) -> f64 {
    if to_s - from_s < FEWEST_STEPS * step_s {
        return 0.0;
    }
    let around = part.between(from_s, to_s);
    let at_s = 0.5 * (from_s + to_s);
    let shifted: Vec<f64> = around.time_s().iter().map(|time| time - at_s).collect();
    let fit = polynomial::fit(&shifted, around.value(), ROUGH_DEGREE);
    let Some(scatter_n) = fit.and_then(|fit| fit.residual_sd()) else {
        return 0.0;
    };
    // Two standard deviations of a mean of squares.
    let by_chance = 2.0 * (2.0 / (around.len() as f64 - 4.0)).sqrt();
    let beyond = scatter_n.powi(2) - (1.0 + by_chance) * sd_n.powi(2);
    beyond.max(0.0).sqrt()
}

/// Slope of a line through the nearest readings, N/s.
fn local_slope(part: &Series, at_s: f64, step_s: f64) -> Option<f64> {
    let around = part.between(at_s - 3.0 * step_s, at_s + 3.0 * step_s);
    let shifted: Vec<f64> = around.time_s().iter().map(|time| time - at_s).collect();
    polynomial::fit(&shifted, around.value(), 1).map(|fit| fit.slope(0.0))
}

#[cfg(test)]
mod tests {
    use super::super::coverage_tests::normal;
    use super::*;
    use approx::assert_relative_eq;
    use rand::{SeedableRng, rngs::ChaCha8Rng};

    // A line from rest at 0.1 s: a sampler read it so, and passed 5 N at 0.15 s. For one that averages the corner lies later: its
    // first reading is a mean, 0.0414 of a period more.
    #[test]
    fn a_straight_edge_is_crossed_where_it_should_be() {
        let ramp = Series::new(&[0.0, 0.1, 0.2, 0.3], &[0.0, 0.0, 10.0, 20.0]);
        let up = find(&ramp, 0.0, 0.3, 5.0, Edge::First, 0.0).unwrap();
        assert!((0.15..0.165).contains(&up.time_s), "{up:?}");
        assert!((up.time_s - 0.15).abs() < 1.96 * up.u_s, "{up:?}");
        let fall = Series::new(&[0.0, 1.0, 2.0, 3.0], &[9.0, 9.0, 3.0, 0.0]);
        let down = find(&fall, 0.0, 3.0, 6.0, Edge::Last, 0.0).unwrap();
        assert!((down.time_s - 1.5).abs() < 1.96 * down.u_s, "{down:?}");
        assert!(down.slope_n_s < 0.0);
    }

    // 77 N in five readings of 10 ms, clipped at the top: what seems rough lets means decide where it passed, and the readings beside
    // that may be anything.
    #[test]
    fn a_spike_of_few_readings_is_crossed_where_it_is() {
        let time: Vec<f64> = (0..400).map(|row| f64::from(row) * 0.01).collect();
        let value: Vec<f64> = (0..400_i32)
            .map(|row| match row {
                200 => 27.0,
                201 => 36.0,
                202 => 36.5,
                203 | 204 => 77.0,
                _ => 0.004 * f64::from(row * 37 % 11 - 5),
            })
            .collect();
        let thrust = Series::new(&time, &value);
        for edge in [Edge::First, Edge::Last] {
            let seen = find(&thrust, 0.5, 3.5, 3.85, edge, 1.9).unwrap();
            assert!((1.97..2.07).contains(&seen.time_s), "{seen:?}");
        }
    }

    // 100 N at once, read every 0.1 ms, falling by half in 0.35 s: a line fitted to the readings around
    // the edge would cross 5 N some 5 ms early.
    #[test]
    fn an_edge_within_one_step_is_not_taken_for_noise() {
        let time: Vec<f64> = (0..20_000).map(|row| f64::from(row) * 1e-4).collect();
        let value: Vec<f64> = time
            .iter()
            .map(|t| {
                if *t < 1.0 {
                    0.0
                } else {
                    100.0 * (-2.0 * (t - 1.0)).exp()
                }
            })
            .collect();
        let thrust = Series::new(&time, &value);
        let up = find(&thrust, 0.5, 1.9, 5.0, Edge::First, 0.0).unwrap();
        assert!((up.time_s - 1.0).abs() < 1e-4, "{up:?}");
        let u_s = (1e-4 / 12.0_f64.sqrt()).hypot(LEAST_SHARE * 1e-4);
        assert_relative_eq!(up.u_s, u_s, max_relative = 1e-6);
    }

    #[test]
    fn noise_on_a_slow_edge_does_not_make_it_late() {
        // 1 N/s downwards, noise 0.05 N at 1 kHz: the last reading above the level comes some 80 ms
        // late; the fitted line must not.
        let mut state: u64 = 7;
        let mut uniform = || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            (state >> 11) as f64 / (1_u64 << 53) as f64
        };
        let mut bias = 0.0;
        for _ in 0..40 {
            let time: Vec<f64> = (0..2000).map(|i| f64::from(i) * 1e-3).collect();
            let value: Vec<f64> = time
                .iter()
                .map(|t| 1.5 - t + 0.17 * (uniform() - 0.5))
                .collect();
            let thrust = Series::new(&time, &value);
            bias += find(&thrust, 0.0, 2.0, 0.5, Edge::Last, 0.05)
                .unwrap()
                .time_s
                - 1.0;
        }
        assert!((bias / 40.0).abs() < 0.03, "{}", bias / 40.0);
    }

    #[test]
    fn a_level_that_is_not_known_moves_the_crossing_by_the_slope() {
        let crossing = Crossing {
            time_s: 1.0,
            slope_n_s: -100.0,
            u_s: 0.003,
        };
        assert_relative_eq!(crossing.with_level_u(0.4), 0.005, max_relative = 1e-12);
    }

    /// Readings every 10 ms.
    fn read(value: &[f64]) -> Series {
        let time: Vec<f64> = (0..value.len()).map(|row| 0.01 * row as f64).collect();
        Series::new(&time, value)
    }

    // 100 N/s from 15 ms on: the line across the corner passes 0.2 N at 14 ms, the edge at 17 ms, whoever reads it: the corner
    // lies where a mean over the period is that of a sample.
    #[test]
    fn behind_a_corner_the_edge_is_prolonged() {
        let up = read(&[0.0, 0.0, 0.5, 1.5, 2.5, 3.5, 4.5]);
        let found = find(&up, 0.0, 0.06, 0.2, Edge::First, 1e-4).unwrap();
        assert_relative_eq!(found.time_s, 0.017, max_relative = 1e-6);
        assert!(found.u_s < 0.002, "{found:?}");
        let down: Vec<f64> = up.value().iter().rev().copied().collect();
        let found = find(&read(&down), 0.0, 0.06, 0.2, Edge::Last, 1e-4).unwrap();
        assert_relative_eq!(found.time_s, 0.043, max_relative = 1e-6);
        assert!(found.slope_n_s < 0.0);
    }

    // A foot of 2 N that lingers is no ramp: the line through the two readings around the level, and how far the one through the
    // two above it differs.
    #[test]
    fn on_a_foot_the_two_readings_around_the_level_are_joined() {
        let foot = read(&[0.0, 0.0, 2.0, 2.0, 2.0, 2.0, 2.0, 12.0, 32.0, 52.0]);
        let found = find(&foot, 0.0, 0.09, 5.0, Edge::First, 1e-3).unwrap();
        assert_relative_eq!(found.time_s, 0.063, max_relative = 1e-9);
        // Prolonged the edge passes 5 N at 66.5 ms.
        let u_s = (0.0035 / 12.0_f64.sqrt()).hypot(LEAST_SHARE * 0.01);
        assert_relative_eq!(found.u_s, u_s, max_relative = 1e-3);
    }

    #[test]
    fn in_a_hole_of_the_record_anywhere_is_as_likely() {
        let time = [0.0, 0.01, 0.02, 0.03, 0.04, 0.14, 0.15, 0.16];
        let value = [0.0, 0.0, 0.0, 0.0, 0.0, 10.0, 11.0, 12.0];
        let thrust = Series::new(&time, &value);
        let found = find(&thrust, 0.0, 0.16, 5.0, Edge::First, 0.0).unwrap();
        assert_relative_eq!(found.time_s, 0.09, max_relative = 1e-12);
        assert_relative_eq!(found.slope_n_s, 100.0, max_relative = 1e-9);
        assert_relative_eq!(found.u_s, 0.1 / 12.0_f64.sqrt(), max_relative = 1e-9);
    }

    #[test]
    fn an_edge_that_the_record_cuts_off_is_not_crossed() {
        let thrust = read(&[6.0, 7.0, 8.0, 9.0]);
        assert_eq!(find(&thrust, 0.0, 0.03, 5.0, Edge::First, 0.0), None);
        assert_eq!(find(&thrust, 0.0, 0.03, 5.0, Edge::Last, 0.0), None);
        assert_eq!(find(&thrust, 0.0, 0.03, 50.0, Edge::First, 0.0), None);
    }

    // 20 N/s read at 1 kHz with 0.5 N of noise, which moves a single reading's crossing by 25 ms. The
    // root of the mean square of 300 errors over their uncertainty is 1 within 4 % without the bend that the readings could not
    // show, and there is none: two thirds; four of these.
    #[test]
    fn a_line_through_noise_is_as_sure_as_it_says() {
        let mut random = ChaCha8Rng::seed_from_u64(5);
        for (edge, slope) in [(Edge::First, 20.0), (Edge::Last, -20.0)] {
            let (mut squares, mut sum) = (0.0, 0.0);
            for _ in 0..300 {
                let time: Vec<f64> = (0..1000).map(|row| 1e-3 * f64::from(row)).collect();
                let value: Vec<f64> = time
                    .iter()
                    .map(|t| 10.0 + slope * (t - 0.5) + 0.5 * normal(&mut random))
                    .collect();
                let found = find(&Series::new(&time, &value), 0.0, 1.0, 10.0, edge, 0.5).unwrap();
                let error = (found.time_s - 0.5) / found.u_s;
                assert!((found.slope_n_s / slope - 1.0).abs() < 0.5);
                squares += error * error / 300.0;
                sum += error / 300.0;
            }
            assert!(
                (0.56..0.78).contains(&squares.sqrt()),
                "{edge:?}: {squares}"
            );
            assert!(sum.abs() < 0.16, "{edge:?}: {sum}");
        }
    }

    #[test]
    fn scatter_inside_an_edge_is_what_a_cubic_leaves() {
        let mut random = ChaCha8Rng::seed_from_u64(6);
        let time: Vec<f64> = (0..400).map(|row| 1e-4 * f64::from(row)).collect();
        let value: Vec<f64> = time
            .iter()
            .map(|t| 5.0 + 300.0 * t - 2e4 * t * t + 0.3 * normal(&mut random))
            .collect();
        let part = Series::new(&time, &value);
        let rough = roughness(&part, (0.01, 0.03), 1e-4, 0.0);
        assert!((0.27..0.33).contains(&rough), "{rough}");
        // What noise explains is none of it, and nine readings are too few.
        assert_eq!(roughness(&part, (0.01, 0.03), 1e-4, 0.3), 0.0);
        assert_eq!(roughness(&part, (0.01, 0.0109), 1e-4, 0.0), 0.0);
    }

    #[test]
    fn the_slope_beside_a_crossing_is_that_of_the_nearest_readings() {
        let thrust = read(&[0.0, 3.0, 6.0, 9.0, 12.0, 15.0, 18.0, 21.0]);
        assert_relative_eq!(
            local_slope(&thrust, 0.035, 0.01).unwrap(),
            300.0,
            max_relative = 1e-9
        );
        // Three steps to either side: what bends further out is not seen.
        let bent = read(&[90.0, 3.0, 6.0, 9.0, 12.0, 15.0, 18.0, 90.0]);
        assert_relative_eq!(
            local_slope(&bent, 0.035, 0.01).unwrap(),
            300.0,
            max_relative = 1e-9
        );
    }
}
