//! A motor that bursts: a huge short spike, then nothing.
//!
//! It gives some hundredths of its impulse in some hundredths of a second, too little to be told from none in what
//! others deliver. Where such a spike stands out of what several motors share, any set of them may hold one more than impulse
//! and course say; a knock gives less. A spike that nothing else burns beside, or that the converter answered with its
//! full-scale code, is no silence of a motor.

use super::hypothesis::EvidenceTerm;
use super::input::Top;
use crate::calibration::CellReadings;
use crate::config::{Certified, Motor};
use crate::numeric::trapezoid;
use crate::series::Series;

/// A burst is over within so long, s, ...
const LASTS_S: f64 = 0.06;

/// ... stands this many certified peaks of its motor above what is read that long before and after, ...
const PEAKS: f64 = 0.6;

/// ... and gives at least this share of its certified impulse. Common practice, no source.
const LEAST: f64 = 0.02;

/// ... or this one, where nothing else presses the cell.
const LEAST_OF_TOP: f64 = 0.005;

/// A motor that burns, or bursts, so long before or after the others, s, still belongs to their firing: igniters answer within
/// some seconds, and nobody walks up. Common practice, no source.
pub(super) const ONE_FIRING_S: f64 = 6.0;

/// Probability of a burst beside that of a motor that did not light, where a spike like one was seen.
const ODDS: f64 = 0.5;

/// Whether a spike stands out of the thrust between two times, s, as a motor of this certified peak, N, and impulse, N s,
/// makes that bursts.
pub(super) fn seen(
    thrust: &Series,
    (from_s, to_s): (f64, f64),
    (peak_n, impulse_ns): (f64, f64),
) -> bool {
    let thrust = thrust.between(from_s - ONE_FIRING_S, to_s + ONE_FIRING_S);
    let (mut before, mut after) = (thrust.walk(), thrust.walk());
    let mut beside = |time_s: f64| {
        let before_n = before(time_s - LASTS_S).unwrap_or(0.0);
        before_n.max(after(time_s + LASTS_S).unwrap_or(0.0))
    };
    // What is beside is no lower than the lowest.
    let lowest_n = thrust.value().iter().copied().fold(f64::INFINITY, f64::min);
    let least_n = 0.5 * PEAKS * peak_n;
    let high = thrust
        .iter()
        .filter(|(_, force_n)| force_n - lowest_n > least_n)
        .map(|(time_s, force_n)| force_n - beside(time_s));
    let high: Vec<f64> = high.filter(|high_n| *high_n > least_n).collect();
    let most = high.iter().copied().fold(0.0, f64::max);
    let area_ns = high.iter().sum::<f64>() * thrust.step_s().unwrap_or(0.0);
    most > PEAKS * peak_n && area_ns > LEAST * impulse_ns
}

/// Whether the top of what was read in silence may be a motor of this certified peak, N, and impulse, N s, that bursts. A
/// converter or an amplifier may have kept most of it back.
pub(super) fn is_top(top: Top, (peak_n, impulse_ns): (f64, f64)) -> bool {
    top.peak_n > PEAK_SHARE * peak_n && top.impulse_ns > LEAST_OF_TOP * impulse_ns
}

/// What evidence says of the sets where each of these motors may have burst.
pub(super) fn may_hold(mut piece: EvidenceTerm, motors: &[usize]) -> EvidenceTerm {
    unseen(&mut piece, motors, ODDS);
    piece.says += "; a spike may be a motor that burst";
    piece
}

/// Takes from evidence what it says against motors that it may not have seen: a set with such a motor is, but for these
/// odds, as likely as the same without it.
pub(super) fn unseen(piece: &mut EvidenceTerm, motors: &[usize], odds: f64) {
    for motor in motors {
        for subset in 0..piece.log_likelihood.len() {
            if subset >> motor & 1 == 1 {
                let without = piece.log_likelihood[subset & !(1 << motor)] + odds.ln();
                let with = &mut piece.log_likelihood[subset];
                *with = with.max(without);
            }
        }
    }
}

/// A cell that reads this share of the certified peak, but less than ...
pub(super) const PEAK_SHARE: f64 = 0.3;

/// ... this share of the certified impulse, tells of a motor that burst or of a knock, and not which.
pub(super) const IMPULSE_SHARE: f64 = 0.3;

/// The certified peak thrust of a motor, N.
pub(super) fn peak_of(motor: &Motor) -> Option<f64> {
    let curve = motor.certified.as_ref()?.thrust_curve.as_ref()?;
    curve.value().iter().copied().reduce(f64::max)
}

/// Codes that go on for so long, s, may be a push beyond what the converter holds; shorter ones are a bit that flipped.
const NO_FLIPPED_BIT_S: f64 = 3e-3;

/// Whether a push of this height and area may be this motor, bursting.
pub(super) fn may_be(motor: &Motor, push: Top) -> bool {
    let certified_ns = motor
        .certified
        .as_ref()
        .and_then(Certified::total_impulse_ns);
    peak_of(motor)
        .zip(certified_ns)
        .is_some_and(|certified| is_top(push, certified))
}

/// Whether what was left out of a cell between two times, s, may be this motor, bursting: codes in a row, far up, or one of them
/// beside readings that were kept.
pub(super) fn lost_spike(cell: &CellReadings, motor: &Motor, (from_s, to_s): (f64, f64)) -> bool {
    let (Some(peak_n), Some(step_s)) = (peak_of(motor), cell.raw.step_s()) else {
        return false;
    };
    let up = |reading: f64| {
        let load_n = cell.curve.load(reading);
        // Beyond the curve: the side on which loads press.
        load_n.is_none_or(|load_n| load_n > PEAK_SHARE * peak_n)
    };
    let near = cell.left_out.iter();
    let near = near.filter(|one| (from_s..=to_s).contains(&one.0) && up(one.1));
    let near: Vec<f64> = near.map(|one| one.0).collect();
    let in_a_row = |a: &f64, b: &f64| b - a < 1.5 * step_s;
    near.chunk_by(in_a_row).any(|run| {
        let kept = |time_s: f64| cell.raw.at(time_s).is_some_and(&up);
        let on_either_side = |end_s: f64, step_s: f64| {
            let each = (1..).map(|at| f64::from(at) * step_s);
            let each = each.take_while(|by_s| by_s.abs() < LASTS_S);
            each.take_while(|by_s| kept(end_s + by_s)).count()
        };
        let beside = on_either_side(run[0], -step_s) + on_either_side(run[run.len() - 1], step_s);
        let lasts_s = (run.len() + beside) as f64 * step_s;
        // What goes on for longer is a burn in which a bit flipped.
        let alone_s = run.len() as f64 * step_s;
        alone_s > NO_FLIPPED_BIT_S || (NO_FLIPPED_BIT_S..LASTS_S).contains(&lasts_s)
    })
}

/// A spike's impulse is taken over so long on either side of its top, s.
const SPIKE_S: f64 = 0.03;

/// The top of some thrust.
pub(super) fn top_of(thrust: &Series) -> Top {
    let highest = thrust.iter().max_by(|a, b| a.1.total_cmp(&b.1));
    let (time_s, peak_n) = highest.unwrap_or((0.0, 0.0));
    // A stand that rings swings back as far as it was pushed.
    let pushed = thrust.map(|_, force_n| force_n.max(0.0));
    Top {
        peak_n,
        impulse_ns: trapezoid::area_between(&pushed, time_s - SPIKE_S, time_s + SPIKE_S),
    }
}

#[cfg(test)]
mod tests {
    use super::super::hypothesis::weigh;
    use super::*;

    fn thrust(spike: impl Fn(f64) -> f64) -> Series {
        let time: Vec<f64> = (0..3000).map(|at| f64::from(at) * 1e-3).collect();
        let burn = |t: f64| if (1.0..2.5).contains(&t) { 20.0 } else { 0.0 };
        let value: Vec<f64> = time.iter().map(|t| burn(*t) + spike(*t)).collect();
        Series::new(&time, &value)
    }

    // A motor of 20 N and 30 N s: 60 N for 20 ms is 4 % of its impulse, for 5 ms 1 %.
    #[test]
    fn a_spike_of_a_burst_is_told_from_a_knock_and_from_ignition() {
        let of = |lasts_s: f64, high_n: f64| {
            let spike = |t: f64| {
                if (1.5..1.5 + lasts_s).contains(&t) {
                    high_n
                } else {
                    0.0
                }
            };
            seen(&thrust(spike), (1.0, 2.5), (20.0, 30.0))
        };
        assert!(of(0.02, 60.0));
        assert!(!of(0.005, 60.0) && !of(0.02, 15.0) && !of(0.0, 0.0));
    }

    #[test]
    fn where_one_may_have_burst_a_dead_motor_is_undecided() {
        let piece = EvidenceTerm {
            from: "x".into(),
            says: "y".into(),
            log_likelihood: vec![-30.0, 0.0, -30.0, -20.0],
        };
        let weighed = weigh(2, &[may_hold(piece, &[0, 1])]);
        assert!(weighed.lit(0) > 0.99);
        assert!((0.1..0.9).contains(&weighed.lit(1)), "{}", weighed.lit(1));
    }
}
