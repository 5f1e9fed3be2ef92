//! An edge that lingers near its level: between which times thrust passed it.
//!
//! A foot before the rise, a tail behind the fall, a rise on which the stand swings: near the level a line or a ramp leads
//! anywhere. There the set of times is stated that readings do not refute. With means m(t) over enough readings to tell
//! a thirtieth of the level, thrust cannot have passed it while m lies below by more than twice the standard uncertainty of
//! mean and level together and twice what is rough (rough thrust passes first at a spike), and has passed it once m lies above by as
//! much, for good: a swing that comes back below the level leaves that open. The set of all times that a test does not refute is
//! a confidence interval (Neyman, Philosophical Transactions A 236, 1937).
//!
//! Limits: it is taken where it spans several readings and the edge as it was found lies outside or says less; steep edges are as found.

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

/// A set narrower than so many readings says no more than the edge as it was found.
const FEWEST_STEPS: f64 = 6.0;

/// ... and one that is not so many times as wide as the interval of the edge as it was found.
const SAYS_LESS: f64 = 2.0;

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
    let Some(set) = set(&time, &value, (level_n, level_u_n), (sd_n, step_s)) else {
        return as_found;
    };
    let [low, time_s, high] = match edge {
        Edge::First => set,
        Edge::Last => [-set[2], -set[1], -set[0]],
    };
    let says_less = high - low > SAYS_LESS * 2.0 * NORMAL_FACTOR * u_s;
    let outside = !(low..=high).contains(&found.time_s);
    if high - low < FEWEST_STEPS * step_s || !(says_less || outside) {
        return as_found;
    }
    Passage {
        time_s,
        u_s: 0.5 * (high - low) / NORMAL_FACTOR,
        reach_s: Some((time_s - low, high - time_s)),
    }
}

/// First time, best time and last time of passing, time running inwards.
fn set(
    time: &[f64],
    value: &[f64],
    (level_n, level_u_n): (f64, f64),
    (sd_n, step_s): (f64, f64),
) -> Option<[f64; 3]> {
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
    let may = |row: &usize| {
        let near = means[*row] > FALLEN * level_n && means[*row] + sure < level_n;
        let spikes = if near { SPIKE_SDS * rough(*row) } else { 0.0 };
        means[*row] + sure + spikes >= level_n
    };
    let must = |row: &usize| means[*row] - sure >= level_n;
    let first = (0..value.len()).find(may)?;
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
    // Means rise as far ahead of a corner as they reach.
    let blurred = (last + half).min(value.len() - 1);
    Some([time[first], time[best.min(last)], time[blurred]])
}

#[cfg(test)]
mod tests {
    use super::*;

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
}
