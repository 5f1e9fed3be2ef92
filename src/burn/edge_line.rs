//! When thrust passes a level on a slow edge: a straight line through the readings around it, as far as they show no bend.
//!
//! The longest line counts that the test of a quadratic term does not refute; the bend that it could not show is in its
//! uncertainty. Limits: a line never wanders further than its own reach from where means passed the level.

use crate::numeric::polynomial;
use crate::series::Series;

/// Which way thrust passes the level.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Edge {
    /// The first time upwards.
    First,
    /// The last time downwards.
    Last,
}

/// A crossing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Crossing {
    /// When, s.
    pub time_s: f64,
    /// Slope there, N/s; negative on the way down.
    pub slope_n_s: f64,
    /// Standard uncertainty from noise and sampling, s.
    pub u_s: f64,
}

impl Crossing {
    /// Standard uncertainty when the level itself, or the baseline, is only known to `u_n`.
    #[must_use]
    pub(crate) fn with_level_u(&self, u_n: f64) -> f64 {
        self.u_s.hypot(u_n / self.slope_n_s)
    }
}

/// A fitted line counts from a slope of so many of its standard uncertainties on.
const SURE_SLOPE: f64 = 4.0;
/// Standard uncertainty of a parabola over that of a line, both through many even readings, at their middle.
const UNSEEN_BEND: f64 = 1.5;
/// Readings bend from a line from so many standard uncertainties of a bend on.
const BEND_SDS: f64 = 2.0;
/// The fitted line never reaches further than this to either side, s: edges bend.
const LONGEST_REACH_S: f64 = 0.15;
/// The shortest line has this many readings on either side, and each next one this many times more.
const SHORTEST: f64 = 2.0;
const LONGER: f64 = 1.4;
/// Times the line is moved to where it found the crossing.
const ROUNDS: usize = 8;

/// Crossing of a straight line fitted to the readings around it, as long as they show no bend.
pub(super) fn crossing(
    part: &Series,
    start_s: f64,
    (step_s, sd_n): (f64, f64),
    level_n: f64,
    edge: Edge,
) -> Option<Crossing> {
    let mut found = None;
    let mut reach_s = SHORTEST * step_s;
    while reach_s <= LONGEST_REACH_S.max(SHORTEST * step_s) {
        if let Some((line, bend_sds)) = line_crossing(part, start_s, (reach_s, sd_n), level_n, edge)
        {
            if found.is_some() && bend_sds > BEND_SDS {
                break;
            }
            found = Some(line);
        }
        reach_s *= LONGER;
    }
    found
}

/// One straight line through the readings around a crossing, moved until it stands where it crosses, and how far they bend
/// from it, in standard uncertainties of a bend; `None` where its slope is not sure.
fn line_crossing(
    part: &Series,
    start_s: f64,
    (reach_s, sd_n): (f64, f64),
    level_n: f64,
    edge: Edge,
) -> Option<(Crossing, f64)> {
    let mut centre = start_s;
    let mut found = None;
    for _ in 0..ROUNDS {
        let around = part.between(centre - reach_s, centre + reach_s);
        let shifted: Vec<f64> = around.time_s().iter().map(|time| time - centre).collect();
        let fit = polynomial::fit(&shifted, around.value(), 1)?;
        let slope = fit.slope(0.0);
        let count = shifted.len() as f64;
        let middle = shifted.iter().sum::<f64>() / count;
        let squares: f64 = shifted.iter().map(|time| (time - middle).powi(2)).sum();
        let bent = polynomial::fit(&shifted, around.value(), 2);
        let sd_n = sd_n.max(
            bent.as_ref()
                .and_then(polynomial::Fit::residual_sd)
                .unwrap_or(0.0),
        );
        let right_way = (slope > 0.0) == (edge == Edge::First);
        if !right_way || slope.abs() < SURE_SLOPE * sd_n / squares.sqrt() {
            return None;
        }
        let shift = ((level_n - fit.at(0.0)) / slope).clamp(-reach_s, reach_s);
        let u_n = sd_n * (1.0 / count + (shift - middle).powi(2) / squares).sqrt();
        // A line through so many readings carries the bend that they could not show: at its middle 5/4 of its variance.
        let u_s = UNSEEN_BEND * u_n / slope.abs();
        centre += shift;
        if (centre - start_s).abs() > reach_s {
            return None;
        }
        // The square of what a bend adds to the sum of squares is that of a standard normal variable.
        let left = |fit: &polynomial::Fit| {
            (fit.residual_sd().unwrap_or(0.0)).powi(2) * (count - fit.coefficients().len() as f64)
        };
        let bend_sds = bent.map_or(0.0, |bent| {
            ((left(&fit) - left(&bent)).max(0.0)).sqrt() / sd_n
        });
        let line = Crossing {
            time_s: centre,
            slope_n_s: slope,
            u_s,
        };
        found = Some((line, bend_sds));
        if shift.abs() < 0.1 * u_s {
            break;
        }
    }
    found
}
