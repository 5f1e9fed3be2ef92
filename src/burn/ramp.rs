//! An edge as a straight ramp out of rest.
//!
//! Most edges of a burn leave rest with a corner. Near it a straight line through the readings on both sides passes the
//! level too early, and what a reading means there depends on the recorder: one that samples reads the ramp, one that
//! averages reads its mean over the period. Both are fitted to the readings around the edge by least squares, the time of the
//! corner and the slope, and weighed by their likelihood (Hoeting et al., Bayesian model averaging, Statistical Science 14,
//! 1999, from memory): the crossing is the weighted mean, its variance holds what they differ by. The ramp reaches inwards as
//! far as it follows the readings.
//!
//! Limits: the baseline is nought here, how sure it is comes in later; an edge with a foot that is no ramp is not followed,
//! and `None`.

/// Readings inside the edge that are tried, the fewest first.
const INSIDE: [usize; 9] = [2, 3, 4, 6, 9, 13, 19, 28, 40];

/// Readings outside of it: at least so many, and as many as inside.
const OUTSIDE: usize = 4;

/// A ramp follows readings whose sum of squares stands no more than so many standard deviations above what is expected.
const FOLLOWS_SDS: f64 = 2.0;

/// No edge is straighter than to this share of its height.
const STRAIGHT: f64 = 0.10;

/// A crossing surer than to this share of the time between readings needs no longer ramp.
const FINE_ENOUGH: f64 = 0.3;

/// Places of the corner that are tried for every reading, and rounds of refining.
const PER_READING: usize = 8;
const ROUNDS: usize = 30;

/// What a recorder makes of a ramp.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Recorder {
    Samples,
    Averages,
}

impl Recorder {
    /// A ramp of slope one from nought on, as it is read.
    fn reads(self, x_s: f64, period_s: f64) -> f64 {
        let half_s = 0.5 * period_s;
        match self {
            Self::Averages if x_s.abs() < half_s => (x_s + half_s).powi(2) / (2.0 * period_s),
            _ => x_s.max(0.0),
        }
    }
}

/// Readings around an edge, time running inwards.
pub(super) struct Around<'a> {
    /// Times from some time on, s, rising inwards.
    pub x_s: &'a [f64],
    /// Readings, N.
    pub value_n: &'a [f64],
    /// The first that is inside the edge.
    pub inside: usize,
    /// Noise of one reading, N.
    pub sd_n: f64,
    /// Time between readings, s.
    pub period_s: f64,
}

/// A crossing: time as in the readings, slope, standard uncertainty.
#[derive(Debug, Clone, Copy)]
pub(super) struct Crossed {
    pub x_s: f64,
    pub slope_n_s: f64,
    pub u_s: f64,
    /// -2 ln of its likelihood.
    chi2: f64,
    freedom: f64,
}

/// Where the ramp passes a level.
pub(super) fn crossing(around: &Around<'_>, level_n: f64) -> Option<Crossed> {
    let mut found = None;
    for inside in INSIDE {
        let to = around.inside + inside;
        if to > around.x_s.len() {
            break;
        }
        let from = around.inside.saturating_sub(inside.max(OUTSIDE));
        let part = Around {
            x_s: &around.x_s[from..to],
            value_n: &around.value_n[from..to],
            inside: around.inside - from,
            ..*around
        };
        let both = [Recorder::Samples, Recorder::Averages].map(|kind| fitted(&part, kind, level_n));
        let both: Vec<Crossed> = both.into_iter().flatten().collect();
        match weighed(&both) {
            Some(one) => {
                found = Some(one);
                if one.u_s < FINE_ENOUGH * around.period_s {
                    break;
                }
            }
            None => break,
        }
    }
    found
}

/// The mean of fits that follow, weighed by their likelihood; `None` where none does.
fn weighed(fits: &[Crossed]) -> Option<Crossed> {
    let follow = |one: &&Crossed| {
        one.chi2 <= one.freedom + FOLLOWS_SDS * (2.0 * one.freedom).sqrt() + FOLLOWS_SDS
    };
    let best = fits
        .iter()
        .filter(follow)
        .min_by(|a, b| a.chi2.total_cmp(&b.chi2))?;
    let weight = |one: &Crossed| (0.5 * (best.chi2 - one.chi2)).exp();
    let sum: f64 = fits.iter().map(weight).sum();
    let mean = |of: &dyn Fn(&Crossed) -> f64| {
        fits.iter().map(|one| weight(one) * of(one)).sum::<f64>() / sum
    };
    let x_s = mean(&|one| one.x_s);
    let variance = mean(&|one| one.u_s.powi(2) + (one.x_s - x_s).powi(2));
    Some(Crossed {
        x_s,
        slope_n_s: mean(&|one| one.slope_n_s),
        u_s: variance.sqrt(),
        ..*best
    })
}

/// One ramp fitted.
fn fitted(around: &Around<'_>, recorder: Recorder, level_n: f64) -> Option<Crossed> {
    let value_n = around.value_n;
    // Where clocks jitter, or cells are read in turn, a reading holds a little of its neighbours.
    let near_n = |at: usize| {
        let near = &value_n[at.saturating_sub(1)..(at + 2).min(value_n.len())];
        near.iter().sum::<f64>() / near.len() as f64
    };
    let inverse: Vec<f64> = (0..value_n.len())
        .map(|at| 1.0 / (around.sd_n.powi(2) + (STRAIGHT * near_n(at)).powi(2)))
        .collect();
    let rows = || around.x_s.iter().zip(value_n).zip(&inverse);
    // For a corner the best slope is linear.
    let slope_at = |corner: f64| {
        let (mut ry, mut rr) = (0.0, 0.0);
        for ((x, y), w) in rows() {
            let r = recorder.reads(x - corner, around.period_s);
            ry += w * r * y;
            rr += w * r * r;
        }
        ry / rr
    };
    let chi2_at = |corner: f64| {
        let slope = slope_at(corner);
        let left = |((x, y), w): ((&f64, &f64), &f64)| {
            w * (y - slope * recorder.reads(x - corner, around.period_s)).powi(2)
        };
        rows().map(left).sum::<f64>()
    };
    let (first, last) = (*around.x_s.first()?, *around.x_s.get(around.inside + 1)?);
    let count = PER_READING * around.x_s.len();
    let step = (last - first) / count as f64;
    let best = (0..count)
        .map(|at| first + step * at as f64)
        .min_by(|a, b| chi2_at(*a).total_cmp(&chi2_at(*b)))?;
    let (mut low, mut high) = (best - step, best + step);
    for _ in 0..ROUNDS {
        let (a, b) = (low + (high - low) / 3.0, high - (high - low) / 3.0);
        if chi2_at(a) < chi2_at(b) {
            high = b;
        } else {
            low = a;
        }
    }
    let corner = 0.5 * (low + high);
    let slope = slope_at(corner);
    if !(slope > 0.0 && slope.is_finite()) {
        return None;
    }
    // Fisher's information of corner and slope; the crossing is corner + level / slope.
    let (mut cc, mut cs, mut ss) = (0.0, 0.0, 0.0);
    let d = 1e-3 * around.period_s;
    for ((x, _), w) in rows() {
        let r = recorder.reads(x - corner, around.period_s);
        let moved = recorder.reads(x - corner - d, around.period_s)
            - recorder.reads(x - corner + d, around.period_s);
        let by_corner = slope * moved / (2.0 * d);
        cc += w * by_corner * by_corner;
        cs += w * by_corner * r;
        ss += w * r * r;
    }
    let det = cc * ss - cs * cs;
    let by_slope = -level_n / (slope * slope);
    let variance = (ss - 2.0 * by_slope * cs + by_slope * by_slope * cc) / det;
    (det > 0.0).then(|| Crossed {
        x_s: corner + level_n / slope,
        slope_n_s: slope,
        u_s: variance.max(0.0).sqrt(),
        chi2: chi2_at(corner),
        freedom: around.x_s.len() as f64 - 2.0,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// A ramp of 1000 N/s from 13.1 ms on, every 4 ms, as a recorder reads it; the first reading inside is the fourth or fifth.
    fn read(recorder: Recorder, level_n: f64) -> Crossed {
        let x_s: Vec<f64> = (0..10).map(|at| 0.004 * f64::from(at)).collect();
        let value_n: Vec<f64> = x_s
            .iter()
            .map(|x| 1000.0 * recorder.reads(x - 0.0131, 0.004))
            .collect();
        let inside = value_n.iter().position(|one| *one >= level_n).unwrap();
        let around = Around {
            x_s: &x_s,
            value_n: &value_n,
            inside,
            sd_n: 1e-3,
            period_s: 0.004,
        };
        crossing(&around, level_n).unwrap()
    }

    // By hand: 13.1 ms + 1.5 N / 1000 N/s. What both recorders explain is the mean of both, and its interval holds the truth.
    #[test]
    fn the_corner_of_a_ramp_is_found_whoever_reads_it() {
        for recorder in [Recorder::Samples, Recorder::Averages] {
            let found = read(recorder, 1.5);
            assert!((found.x_s - 0.0146).abs() < 2.0 * found.u_s, "{found:?}");
            assert!(found.u_s < 0.5 * 0.004, "{found:?}");
            assert_relative_eq!(found.slope_n_s, 1000.0, max_relative = 0.25);
        }
    }

    // A mean over a period of a ramp whose corner lies in its middle: an eighth of the period times the slope.
    #[test]
    fn a_mean_over_a_corner_is_an_eighth() {
        assert_relative_eq!(Recorder::Averages.reads(0.0, 0.004), 0.0005);
        assert_eq!(Recorder::Samples.reads(0.0, 0.004), 0.0);
        assert_relative_eq!(Recorder::Averages.reads(0.002, 0.004), 0.002);
    }

    // A foot that lingers is no ramp.
    #[test]
    fn a_foot_is_not_followed() {
        let x_s: Vec<f64> = (0..12).map(|at| 0.004 * f64::from(at)).collect();
        let value_n: Vec<f64> = (0..12)
            .map(|at| if at < 6 { 0.8 } else { 3.0 * f64::from(at) })
            .collect();
        let around = Around {
            x_s: &x_s,
            value_n: &value_n,
            inside: 6,
            sd_n: 1e-3,
            period_s: 0.004,
        };
        assert!(crossing(&around, 1.0).is_none());
    }
}
