//! Rises of thrust counted, for motors without certified curves.
//!
//! Every motor that lights makes the thrust rise once. A rise is a stretch of steep slope; two are apart
//! when the slope between them falls below half of the lesser. Motors that light together make one rise,
//! and rough burning may make one too many, so the count speaks for at least as many motors, weakly.

use super::hypothesis::{EvidenceTerm, FLOOR_LOG, Subset};
use crate::series::Series;

/// The slope is taken over this long, s: the fastest rise of a small motor.
const OVER_S: f64 = 0.012;

/// A rise is steeper than this share of the steepest.
const STEEP: f64 = 0.25;

/// Between two rises the slope falls below this share of the lesser.
const DIP: f64 = 0.5;

/// Probability of a rise that no motor made. Common practice, no source.
const SPURIOUS: f64 = 0.02;

/// How often the thrust rises between two times.
#[must_use]
pub(crate) fn rises(thrust: &Series, window_s: (f64, f64)) -> usize {
    let step_s = thrust.step_s().unwrap_or(OVER_S);
    let smooth = thrust
        .between(window_s.0 - 2.0 * OVER_S, window_s.1)
        .averaged((0.5 * OVER_S / step_s).round().max(1.0) as usize);
    let (time, value) = (smooth.time_s(), smooth.value());
    let slope: Vec<f64> = (2..value.len())
        .map(|at| (value[at] - value[at - 2]) / (time[at] - time[at - 2]))
        .collect();
    let steepest = slope.iter().copied().fold(0.0, f64::max);
    if steepest <= 0.0 {
        return 0;
    }
    // Height of the last rise, and the least slope since its top.
    let (mut count, mut top, mut least) = (0, 0.0, 0.0);
    for slope in slope {
        let apart = slope > STEEP * steepest && least < DIP * f64::min(top, slope);
        if count == 0 && slope > STEEP * steepest || count > 0 && apart {
            (count, top, least) = (count + 1, slope, slope);
        } else if slope > top && least >= DIP * top {
            (top, least) = (slope, slope);
        } else {
            least = f64::min(least, slope);
        }
    }
    count
}

/// What the number of rises says of some of the motors, of which no certified curve is known: with n lit there are 1 to
/// n rises, each as likely.
#[must_use]
pub(crate) fn evidence(motors: usize, of: &[usize], rises: usize) -> EvidenceTerm {
    let log_likelihood = Subset::all(motors).map(|subset| {
        let lit = of.iter().filter(|motor| subset.has(**motor)).count();
        let likely = match lit {
            0 => return FLOOR_LOG,
            _ if rises > lit => SPURIOUS,
            _ => (1.0 - SPURIOUS) / lit as f64,
        };
        likely.ln()
    });
    let most = ((1.0 - SPURIOUS) / SPURIOUS).ln();
    EvidenceTerm {
        from: "rises of thrust".to_owned(),
        says: format!(
            "thrust rises {}; without certified curves nothing else tells motors apart, and this \
             never weighs more than {most:.1} where curves weigh up to {:.0}",
            match rises {
                1 => "once".to_owned(),
                more => format!("{more} times"),
            },
            -FLOOR_LOG
        ),
        log_likelihood: log_likelihood.collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::hypothesis::weigh;
    use super::*;

    fn burn(onsets: &[f64]) -> Series {
        let time: Vec<f64> = (0..3000).map(|at| f64::from(at) * 1e-3).collect();
        let motor = |since: f64| match since {
            s if s <= 0.0 || s > 1.5 => 0.0,
            s if s < 0.05 => 400.0 * s,
            s => 20.0 - 5.0 * (s - 0.05),
        };
        let ripple = |t: f64| 0.1 * (t * 400.0).sin();
        let thrust = time
            .iter()
            .map(|t| onsets.iter().map(|onset| motor(t - onset)).sum::<f64>() + ripple(*t));
        Series::new(&time, &thrust.collect::<Vec<_>>())
    }

    #[test]
    fn each_motor_apart_from_the_others_makes_one_rise() {
        for (onsets, count) in [
            (&[0.5][..], 1),
            (&[0.5, 0.5][..], 1),
            (&[0.5, 0.6][..], 2),
            (&[0.5, 0.6, 1.4][..], 3),
        ] {
            assert_eq!(rises(&burn(onsets), (0.5, 2.5)), count, "{onsets:?}");
        }
    }

    #[test]
    fn rises_speak_for_as_many_motors_but_weakly() {
        let two = weigh(2, &[evidence(2, &[0, 1], 2)]);
        assert!(two.all_lit() > 0.8 && two.all_lit() < 0.99);
        let one = weigh(2, &[evidence(2, &[0, 1], 1)]);
        assert!(one.all_lit() > 0.01 && one.all_lit() < 0.5);
        assert!(weigh(2, &[evidence(2, &[0, 1], 1)]).count_probability(0) < 0.01);
    }
}
