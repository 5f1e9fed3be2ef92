//! An edge that lingers near its level: between which times thrust passed it.
//!
//! A foot before the rise, a tail behind the fall, a rise on which the stand swings: near the level a line or a ramp leads
//! anywhere. There the set of times is stated that readings do not refute. With means m(t) over enough readings to tell
//! a thirtieth of the level, thrust cannot have passed it while m lies below by more than twice the standard uncertainty of
//! mean and level together and twice what is rough (rough thrust passes first at a spike), and has passed it once m lies above by as
//! much, for good: a swing that comes back below the level leaves that open. The set of all times that a test does not refute is
//! a confidence interval (Neyman, Philosophical Transactions A 236, 1937).
//!
//! A straight edge has such a set too, as wide as the uncertainty of mean and level over its slope, and the reach of the means. So an
//! interval is that of the edge as it was found, wider by what the set is wider than that of a straight edge; and it goes over into the set
//! as far as the readings in it refute a straight edge, by their sum of squares. No count of readings and no factor decides between the two.
//!
//! Limits: how the weight goes with the sum of squares is a choice; it was made on firings drawn for the purpose.

use super::crossing::{Crossing, Edge};
use crate::numeric::noise;
use crate::quantity::measured::NORMAL_FACTOR;
use crate::series::Series;

/// Means tell this share of the level, if the longest of them do.
const TELLS: f64 = 0.03;

/// Longest reach of a mean to either side, s: edges bend.
const LONGEST_S: f64 = 0.02;

/// Neighbours resemble each other: what that adds to the standard deviation of a mean.
const ALIKE: f64 = 1.5;

/// What is rough is looked for over so many readings to either side.
const ROUGH_ROWS: usize = 8;

/// Rough thrust stands so many of its standard deviations off at the first of some spikes.
const SPIKE_SDS: f64 = 2.0;

/// Half of normal errors are smaller than this share of their standard deviation.
const NORMAL_MEDIAN: f64 = 0.674_489_75;

/// No edge is straighter than to this share of its height.
const STRAIGHT: f64 = 0.1;

/// A swing is followed until means stand so many times as high as the level, or so far below it.
const RISEN: f64 = 2.5;
const FALLEN: f64 = 0.4;

/// When thrust passed a level, with what is known of the level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Passage {
    /// When, s.
    pub time_s: f64,
    /// Standard uncertainty, s.
    pub u_s: f64,
    /// How far the interval reaches before and after, s; `None` where it is normal.
    pub reach_s: Option<(f64, f64)>,
}

/// The passage of a level, known to `level_u_n`, that was found as a crossing.
pub(super) fn passage(
    thrust: &Series,
    search_s: (f64, f64),
    (level_n, level_u_n): (f64, f64),
    sd_n: f64,
    edge: Edge,
    found: &Crossing,
) -> Passage {
    let u_s = found.with_level_u(level_u_n);
    let as_found = Passage {
        time_s: found.time_s,
        u_s,
        reach_s: None,
    };
    let part = thrust.between(search_s.0, search_s.1);
    let Some(step_s) = part.step_s() else {
        return as_found;
    };
    let mut time: Vec<f64> = part.time_s().to_vec();
    let mut value = part.value().to_vec();
    if edge == Edge::Last {
        time = time.iter().rev().map(|time| -time).collect();
        value.reverse();
    }
    let slope_n_s = found.slope_n_s.abs();
    let Some(set) = set(
        &time,
        &value,
        (level_n, level_u_n),
        (sd_n, step_s),
        slope_n_s,
    ) else {
        return as_found;
    };
    let inwards = |at_s: f64| if edge == Edge::First { at_s } else { -at_s };
    let line = Line {
        at_s: inwards(found.time_s),
        u_s: found.u_s,
        slope_n_s,
        level_n,
    };
    let bent = line.refuted(&time, &value, (set.low_s, set.high_s), (sd_n, step_s));
    let near_s = line.at_s.clamp(set.low_s, set.high_s);
    let half_s = NORMAL_FACTOR * u_s;
    let reach = |set_s: f64, straight_s: f64| {
        let lingers_s = half_s + (set_s - straight_s).max(0.0);
        lingers_s + bent * (set_s - lingers_s).max(0.0)
    };
    let before_s = reach(near_s - set.low_s, set.straight_s.0);
    let after_s = reach(set.high_s - near_s, set.straight_s.1);
    let lingers_s = before_s + after_s - 2.0 * half_s;
    if near_s == line.at_s && lingers_s <= 0.0 || !lingers_s.is_finite() {
        return as_found;
    }
    let straight = (1.0 - bent) * 2.0 * half_s / (before_s + after_s);
    let (low_s, high_s) = (near_s - before_s, near_s + after_s);
    let time_s = (set.best_s + straight * (near_s - set.best_s)).clamp(low_s, high_s);
    let reach_s = (time_s - low_s, high_s - time_s);
    Passage {
        time_s: inwards(time_s),
        u_s: 0.5 * (high_s - low_s) / NORMAL_FACTOR,
        reach_s: Some(match edge {
            Edge::First => reach_s,
            Edge::Last => (reach_s.1, reach_s.0),
        }),
    }
}

/// A straight edge out of rest, time running inwards.
struct Line {
    at_s: f64,
    u_s: f64,
    slope_n_s: f64,
    level_n: f64,
}

impl Line {
    /// How far readings refute it, from 0 where they follow to 1: by how many standard deviations their sum of squares is larger than
    /// it should be. Their noise is what neighbours differ by, for what is rough elsewhere need not be so here.
    fn refuted(
        &self,
        time: &[f64],
        value: &[f64],
        (low_s, high_s): (f64, f64),
        (sd_n, step_s): (f64, f64),
    ) -> f64 {
        let (low_s, high_s) = (low_s.min(self.at_s), high_s.max(self.at_s));
        let rows = |more: f64| {
            let from = time.partition_point(|at| *at < low_s - more * step_s);
            from..time.partition_point(|at| *at <= high_s + more * step_s)
        };
        let near = &value[rows(ROUGH_ROWS as f64)];
        let bends = near
            .windows(3)
            .map(|of| (of[0] - 2.0 * of[1] + of[2]).abs());
        let bends = noise::median(&bends.collect::<Vec<_>>()).unwrap_or(f64::INFINITY);
        let sd_n = sd_n.min(bends / NORMAL_MEDIAN / 6.0_f64.sqrt());
        let within = rows(0.5);
        let count = within.len().max(1) as f64;
        let squares = within.map(|row| {
            let line_n = self.level_n + self.slope_n_s * (time[row] - self.at_s);
            let line_n = line_n.max(0.0);
            let u_n = sd_n
                .hypot(self.slope_n_s * self.u_s)
                .hypot(STRAIGHT * line_n);
            ((value[row] - line_n) / u_n).powi(2)
        });
        let sds = (squares.sum::<f64>() - count) / (2.0 * count).sqrt();
        1.0 - (-sds.max(0.0)).exp()
    }
}

/// When thrust may have passed a level, time running inwards.
struct Set {
    low_s: f64,
    best_s: f64,
    high_s: f64,
    /// How far the set of a straight edge would reach before and after its passage.
    straight_s: (f64, f64),
}

/// The times that readings do not refute, and what they would be on a straight edge of some slope.
fn set(
    time: &[f64],
    value: &[f64],
    (level_n, level_u_n): (f64, f64),
    (sd_n, step_s): (f64, f64),
    slope_n_s: f64,
) -> Option<Set> {
    let needed = (sd_n / (TELLS * level_n)).powi(2).min(1e6) as usize / 2;
    let half = needed.clamp(1, ((LONGEST_S / step_s) as usize).max(1));
    let rows =
        |row: usize, reach: usize| row.saturating_sub(reach)..(row + reach + 1).min(value.len());
    let sums: Vec<f64> = std::iter::once(0.0)
        .chain(value.iter().scan(0.0, |sum, one| {
            *sum += one;
            Some(*sum)
        }))
        .collect();
    let mean = |row: usize| {
        let rows = rows(row, half);
        (sums[rows.end] - sums[rows.start]) / rows.len() as f64
    };
    let means: Vec<f64> = (0..value.len()).map(mean).collect();
    let sure = NORMAL_FACTOR * (ALIKE * sd_n / ((2 * half + 1) as f64).sqrt()).hypot(level_u_n);
    // By the median, for a corner nearby is no roughness.
    let rough = |row: usize| {
        let off: Vec<f64> = rows(row, ROUGH_ROWS.max(half))
            .map(|at| (value[at] - means[at]).abs())
            .collect();
        let shrunk = 1.0 - 1.0 / (2 * half + 1) as f64;
        let sd = noise::median(&off).unwrap_or(0.0) / NORMAL_MEDIAN / shrunk.sqrt();
        (sd * sd - sd_n * sd_n).max(0.0).sqrt()
    };
    let spikes = |row: usize| {
        let near = means[row] > FALLEN * level_n && means[row] + sure < level_n;
        if near { SPIKE_SDS * rough(row) } else { 0.0 }
    };
    let most = |row: usize| means[row] + sure + spikes(row);
    let least = |row: usize| means[row] - sure;
    let must = |row: &usize| least(*row) >= level_n;
    let first = (0..value.len()).find(|row| most(*row) >= level_n)?;
    let best = (first..value.len()).find(|row| means[*row] >= level_n)?;
    let mut last = (first..value.len()).find(must)?;
    let mut row = last;
    while row < value.len() && (FALLEN * level_n..RISEN * level_n).contains(&means[row]) {
        if !must(&row) {
            last = (row..value.len()).find(must)?;
            row = last;
        }
        row += 1;
    }
    // Between two readings what passes the level is taken as straight.
    let passes = |row: usize, of: &dyn Fn(usize) -> f64| {
        let before = row.saturating_sub(1);
        let share = (level_n - of(before)) / (of(row) - of(before));
        let share = if share.is_finite() {
            share.clamp(0.0, 1.0)
        } else {
            1.0
        };
        time[before] + share * (time[row] - time[before])
    };
    // Means rise as far ahead of a corner as they reach.
    let blur_s = half as f64 * step_s;
    let low_s = passes(first, &most);
    let best_s = passes(best.min(last), &|row| means[row]).max(low_s);
    let high_s = (passes(last, &least) + blur_s).max(best_s);
    let straight = |sure_n: f64| sure_n / slope_n_s + blur_s;
    Some(Set {
        low_s,
        best_s,
        high_s,
        straight_s: (
            straight(sure + spikes(first.saturating_sub(1))),
            straight(sure),
        ),
    })
}

#[cfg(test)]
mod tests {
    use super::super::coverage_tests::normal;
    use super::*;
    use rand::{SeedableRng, rngs::ChaCha8Rng};

    /// A crossing that was found somewhere, as sure as a step.
    fn found(time_s: f64) -> Crossing {
        Crossing {
            time_s,
            slope_n_s: 100.0,
            u_s: 0.001,
        }
    }

    /// 1 kHz from nought: a foot of 2.2 N rising to 2.6 N between 0.1 and 0.3 s, then 400 N/s; a little noise, always the same.
    fn foot() -> Series {
        let time: Vec<f64> = (0..500).map(|row| f64::from(row) * 1e-3).collect();
        let value: Vec<f64> = time
            .iter()
            .enumerate()
            .map(|(row, t)| {
                let noise = 0.02 * ((row * 37 % 11) as f64 - 5.0) / 5.0;
                noise
                    + if *t < 0.1 {
                        0.0
                    } else if *t < 0.3 {
                        2.2 + 2.0 * (t - 0.1)
                    } else {
                        2.6 + 400.0 * (t - 0.3)
                    }
            })
            .collect();
        Series::new(&time, &value)
    }

    // By hand: it passes 2.5 N at 0.25 s, and 2.5 N u 0.03 N between 0.22 and 0.28 s.
    #[test]
    fn a_foot_near_the_level_gets_the_width_it_deserves() {
        let read = |level: (f64, f64)| {
            let at = found(0.1);
            passage(&foot(), (0.0, 0.49), level, 0.015, Edge::First, &at)
        };
        let one = read((2.5, 0.03));
        let (before, after) = one.reach_s.unwrap();
        assert!((one.time_s - 0.25).abs() < 0.01, "{one:?}");
        assert!((0.025..0.06).contains(&before), "{one:?}");
        assert!((0.025..0.06).contains(&after), "{one:?}");
        // Just below where it rises the set ends with the rise: it reaches far before and hardly after.
        let (before, after) = read((2.58, 0.05)).reach_s.unwrap();
        assert!(before > 3.0 * after, "{before} {after}");
    }

    #[test]
    fn a_tail_is_a_foot_that_runs_backwards() {
        let (time, mut value) = (foot().time_s().to_vec(), foot().value().to_vec());
        value.reverse();
        let tail = Series::new(&time, &value);
        let one = passage(
            &tail,
            (0.0, 0.49),
            (2.5, 0.03),
            0.015,
            Edge::Last,
            &found(0.4),
        );
        assert!((one.time_s - 0.249).abs() < 0.01, "{one:?}");
    }

    #[test]
    fn a_steep_edge_stays_as_it_was_found() {
        let one = passage(
            &foot(),
            (0.0, 0.49),
            (20.0, 0.1),
            0.015,
            Edge::First,
            &found(0.3435),
        );
        assert_eq!((one.time_s, one.reach_s), (0.3435, None));
    }

    // A swing of 1 N about 3 N: it passes 3.5 N again and again, until thrust rises for good at 0.3 s.
    #[test]
    fn a_swing_about_the_level_leaves_open_which_time_it_was() {
        let time: Vec<f64> = (0..400).map(|row| f64::from(row) * 1e-3).collect();
        let value: Vec<f64> = time
            .iter()
            .map(|t| {
                let swing = 3.0 - (std::f64::consts::TAU * 25.0 * (t - 0.1)).cos();
                if *t < 0.1 {
                    0.0
                } else if *t < 0.3 {
                    swing
                } else {
                    3.0 + 400.0 * (t - 0.3)
                }
            })
            .collect();
        let swung = Series::new(&time, &value);
        let one = passage(
            &swung,
            (0.0, 0.39),
            (3.5, 0.01),
            0.01,
            Edge::First,
            &found(0.113),
        );
        let (before, after) = one.reach_s.unwrap();
        assert!(
            one.time_s - before < 0.12 && one.time_s + after > 0.29,
            "{one:?}"
        );
    }

    /// A straight edge of 50 N/s that passes 2.5 N at 0.25 s, read at 1 kHz with some noise, found where it is and as surely as four
    /// readings tell it.
    fn straight(unit: &[f64], sd_n: f64) -> (Passage, f64) {
        let time: Vec<f64> = (0..unit.len()).map(|row| row as f64 * 1e-3).collect();
        let rows = time.iter().zip(unit);
        let value: Vec<f64> = rows
            .map(|(t, unit)| f64::max(0.0, 50.0 * (t - 0.2)) + sd_n * unit)
            .collect();
        let at = Crossing {
            time_s: 0.25,
            slope_n_s: 50.0,
            u_s: 0.5 * sd_n / 50.0,
        };
        let thrust = Series::new(&time, &value);
        let search_s = (0.0, 0.39);
        let one = passage(&thrust, search_s, (2.5, 0.01), sd_n, Edge::First, &at);
        (one, at.with_level_u(0.01))
    }

    fn noise_of(seed: u64) -> Vec<f64> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        (0..400).map(|_| normal(&mut rng)).collect()
    }

    // While the set held from six readings on, more than three times the width came with one hundredth more noise. What is left: a
    // reading more that comes back below the level.
    #[test]
    fn a_little_more_noise_makes_an_interval_a_little_wider() {
        for seed in 0..20 {
            let unit = noise_of(seed);
            let widths: Vec<f64> = (0..160)
                .map(|step| straight(&unit, 0.02 * 1.01_f64.powi(step)).0.u_s)
                .collect();
            for pair in widths.windows(2) {
                let ratio = pair[1] / pair[0];
                assert!((0.6..1.6).contains(&ratio), "seed {seed}: {pair:?}");
            }
        }
    }

    // 200 edges without a foot, noise of 0.06 N: sets of 6 ms and more, as the six readings were.
    #[test]
    fn a_straight_edge_in_noise_is_as_sure_as_it_was_found() {
        let mut ratios: Vec<f64> = (0..200)
            .map(|seed| straight(&noise_of(seed), 0.06))
            .map(|(one, u_s)| one.u_s / u_s)
            .collect();
        ratios.sort_by(f64::total_cmp);
        assert!((1.0..1.2).contains(&ratios[100]), "{}", ratios[100]);
        assert!(ratios[190] < 3.0, "{}", ratios[190]);
    }
}
