//! Pieces of evidence: what each measurement says about which motors lit.
//!
//! A motor that lights delivers its certified impulse within the motor-to-motor spread, or, with a
//! small probability, something else: less (a puff, an early end), more, or what another motor delivers that was loaded
//! by mistake. That part keeps a weak motor from being called dead, and a strong one from being taken for two. A motor
//! that does not light delivers nothing.
//!
//! But a cell reads other things than its motors: a few per cent of what its neighbours feel, whoever pushes them (cross-talk),
//! heat and a zero that moves, an igniter that pops in a dead motor, a hand. The first two widen what is
//! expected of every hypothesis alike; the others add some impulse with a small probability, the more the less likely (an exponential
//! density). So a little thrust in the cell of a motor does not make it lit, and much of it does. The sizes are common
//! practice, no source; what they are worth is counted in a study over firings drawn by another program.

use super::hypothesis::{EvidenceTerm, FLOOR_LOG, Subset, floored};
use crate::quantity::Measured;
use crate::quantity::measured::normal_below;

/// Probability that a motor that lit delivers less or more than its spread allows. Common practice, no source.
const ODD_PROBABILITY: f64 = 0.1;

/// What such a motor delivers, relative to its certificate: ends and probability of rectangles. Weak (from the least on that
/// counts as lit), strong, and another motor. Common practice, no source.
const ODD: [(f64, f64, f64); 3] = [(0.0, 1.0, 0.5), (1.0, 1.4, 0.4), (1.4, 3.0, 0.1)];

/// What a motor that lit delivers, relative to its certificate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Delivers {
    /// Motor-to-motor standard deviation.
    pub spread: f64,
    /// Least share; with less it did not light.
    pub least: f64,
}

/// Standard deviation of the cross-talk between cells, as a share of the impulse that the other cells feel.
const CROSS_TALK: f64 = 0.03;

/// Standard deviation of what heat and a zero that moves add where something burns, as a share of the certified impulse.
const HEAT: f64 = 0.01;

/// Probability that a cell shows neither: a neighbour that reads an exact zero must not speak much against a motor that
/// burnt. Common practice, no source.
const CALM: f64 = 0.1;

/// Probability that an igniter's pop, a hand or a knock adds to the impulse of a cell ...
const WORLD_PROBABILITY: f64 = 0.05;

/// ... where what was read surely looks like a burn, only this: a pop and a hand seldom do ...
const WORLD_LIKE_BURN: f64 = 0.005;

/// ... where it is flat besides, as often as not: a hand presses so ...
const WORLD_FLAT: f64 = 0.5;

/// ... and how much it adds on average, as a share of the certified impulse: a pop or a knock ...
const WORLD_SHARE: f64 = 0.1;

/// ... and a hand, which is one in two of what looks like a burn.
const HAND_SHARE: f64 = 0.4;

/// What is known of each motor beforehand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Expected {
    /// Certified impulse, N s.
    pub impulse_ns: f64,
    /// Its distance from the rocket's axis in the plane of one steering axis, m.
    pub offset_m: f64,
}

/// What the course of the thrust in some cells looks like.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Course {
    /// Nothing is known of it.
    Any,
    /// One motor alone loads the cells, and it surely looks like a burn.
    Burn,
    /// ... that is no share of what the other cells feel: cross-talk is none of it.
    OwnBurn,
    /// It looks like a burn, but far lower and longer than that of this motor: a hand presses so.
    Flat,
}

/// What the rest of the record says about an impulse in a cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Beside {
    /// What its course looks like.
    pub course: Course,
    /// What all other cells feel, N s.
    pub others_ns: f64,
}

/// The impulse of the sum of some motors, in a cell or cells they share. `carried` marks the motors that load it.
#[must_use]
pub(crate) fn impulse(
    from: &str,
    measured: &Measured,
    expected_ns: &[f64],
    carried: &[bool],
    delivers: Delivers,
    beside: Beside,
) -> EvidenceTerm {
    let (odds, cross_talk, hand) = match beside.course {
        Course::Any => (WORLD_PROBABILITY, CROSS_TALK, 0.0),
        Course::Burn => (WORLD_LIKE_BURN, CROSS_TALK, 0.5),
        Course::OwnBurn => (WORLD_LIKE_BURN, 0.0, 0.5),
        Course::Flat => (WORLD_FLAT, CROSS_TALK, 1.0),
    };
    let certified: f64 = expected_ns
        .iter()
        .zip(carried)
        .filter(|(_, c)| **c)
        .map(|(impulse, _)| impulse)
        .sum();
    let added_ns = (cross_talk * beside.others_ns).hypot(HEAT * certified);
    let log_likelihood = Subset::all(expected_ns.len()).map(|subset| {
        let lit: Vec<f64> = (0..expected_ns.len())
            .filter(|motor| subset.has(*motor) && carried[*motor])
            .map(|motor| expected_ns[motor])
            .collect();
        let disturbed = delivered(measured, &lit, delivers, added_ns);
        let calm = delivered(measured, &lit, delivers, 0.0);
        let own = (1.0 - CALM) * disturbed + CALM * calm;
        let beyond_ns = measured.value - lit.iter().sum::<f64>();
        ((1.0 - odds) * own + odds * world(beyond_ns, certified, hand)).ln()
    });
    let names = carried.iter().filter(|carried| **carried).count();
    let whole = if names == 1 {
        "its motor is certified for"
    } else {
        "all motors together are certified for"
    };
    EvidenceTerm {
        from: from.to_owned(),
        says: format!(
            "{:.2} N s measured, {whole} {certified:.2} N s",
            measured.value
        ),
        log_likelihood: floored(log_likelihood.collect()),
    }
}

/// Density of an impulse that no motor gave, but a hand with this probability.
fn world(beyond_ns: f64, certified_ns: f64, hand: f64) -> f64 {
    let exponential = |share: f64| {
        let mean_ns = (share * certified_ns).max(f64::MIN_POSITIVE);
        (-beyond_ns / mean_ns).exp() / mean_ns
    };
    if beyond_ns < 0.0 {
        0.0
    } else {
        (1.0 - hand) * exponential(WORLD_SHARE) + hand * exponential(HAND_SHARE)
    }
}

/// Density of a measured impulse when some motors lit: each delivers its certificate within the spread,
/// or with a small probability something else. With one odd motor among them the density is that of rectangles
/// and a normal sum; with more it is taken as normal of the same mean and variance.
fn delivered(measured: &Measured, lit: &[f64], delivers: Delivers, added_ns: f64) -> f64 {
    let own = measured.u.hypot(added_ns).max(f64::MIN_POSITIVE);
    let (odd_mean, odd_variance) = odd_moments();
    (0..1_usize << lit.len())
        .map(|odd| {
            let is_odd = |motor: &usize| odd >> motor & 1 == 1;
            let count = odd.count_ones() as i32;
            let share = ODD_PROBABILITY.powi(count)
                * (1.0 - ODD_PROBABILITY).powi(lit.len() as i32 - count);
            let (mut mean, mut variance, mut one_odd) = (0.0, own * own, 0.0);
            for (motor, impulse) in lit.iter().enumerate() {
                if !is_odd(&motor) {
                    mean += impulse;
                    variance += (delivers.spread * impulse).powi(2);
                } else if count == 1 {
                    one_odd = *impulse;
                } else {
                    mean += odd_mean * impulse;
                    variance += odd_variance * impulse * impulse;
                }
            }
            let sd = variance.sqrt();
            let below = |edge: f64| normal_below((measured.value - edge) / sd);
            let rectangle = |(low, high, part): (f64, f64, f64)| {
                let low = low.max(delivers.least);
                let within = below(mean + low * one_odd) - below(mean + high * one_odd);
                part * within / ((high - low) * one_odd)
            };
            share
                * if one_odd > 0.0 {
                    ODD.map(rectangle).iter().sum()
                } else {
                    normal(measured.value, mean, sd)
                }
        })
        .sum()
}

/// Mean and variance of what an odd motor delivers, relative to its certificate.
fn odd_moments() -> (f64, f64) {
    let mean: f64 = ODD
        .map(|(low, high, part)| part * 0.5 * (low + high))
        .iter()
        .sum();
    let square =
        |(low, high, part): (f64, f64, f64)| part * (low * low + low * high + high * high) / 3.0;
    (mean, ODD.map(square).iter().sum::<f64>() - mean * mean)
}

/// What is no motor's thrust passes within this distance of the axis, m. Common practice, no source.
const ANYWHERE_M: f64 = 0.1;

/// Probability that something else than the motors turned the rig, or that what is known of it is wrong. Common practice, no
/// source.
const TURNED: f64 = 0.02;

/// The steady tilt torque for each newton of thrust: the distance of the thrust from the axis.
/// `alignment_u_m` is how far motors and nozzles may point beside the axis without anything wrong. Where one of several
/// is weak, strong or another motor, the thrust may pass anywhere between them.
#[must_use]
pub(crate) fn torque(
    axis: &str,
    measured_m: &Measured,
    motors: &[Expected],
    alignment_u_m: f64,
) -> EvidenceTerm {
    let log_likelihood = Subset::all(motors.len()).map(|subset| {
        let lit = || {
            (0..motors.len())
                .filter(|motor| subset.has(*motor))
                .map(|at| &motors[at])
        };
        let impulse: f64 = lit().map(|motor| motor.impulse_ns).sum();
        let sd = measured_m.u.hypot(alignment_u_m);
        if impulse <= 0.0 {
            // Whatever it was that pushed passed the axis anywhere.
            return -(2.0 * ANYWHERE_M).ln();
        }
        let mean = lit()
            .map(|motor| motor.impulse_ns * motor.offset_m)
            .sum::<f64>()
            / impulse;
        let (low, high) = lit().fold((f64::INFINITY, f64::NEG_INFINITY), |ends, motor| {
            (ends.0.min(motor.offset_m), ends.1.max(motor.offset_m))
        });
        let certified = normal(measured_m.value, mean, sd);
        let turned = TURNED / (2.0 * ANYWHERE_M);
        if high <= low {
            return ((1.0 - TURNED) * certified + turned).ln();
        }
        let below = |edge: f64| normal_below((measured_m.value - edge) / sd);
        let anywhere = (below(low) - below(high)) / (high - low);
        let odd = 1.0 - (1.0 - ODD_PROBABILITY).powi(subset.count() as i32);
        ((1.0 - TURNED) * ((1.0 - odd) * certified + odd * anywhere) + turned).ln()
    });
    EvidenceTerm {
        from: format!("tilt torque on the {axis} axis"),
        says: format!(
            "the line of thrust passes {:.1} mm beside the rocket's axis",
            1e3 * measured_m.value
        ),
        log_likelihood: floored(log_likelihood.collect()),
    }
}

/// Nothing burnt in the cells of some motors: no subset that holds one of them explains it.
#[must_use]
pub(crate) fn nothing(motors: usize, of: &[usize]) -> EvidenceTerm {
    let burns = |subset: Subset| of.iter().any(|motor| subset.has(*motor));
    let log = |subset| if burns(subset) { FLOOR_LOG } else { 0.0 };
    EvidenceTerm {
        from: "load cells".to_owned(),
        says: "no thrust stands out of the noise".to_owned(),
        log_likelihood: Subset::all(motors).map(log).collect(),
    }
}

/// A normal density.
pub(super) fn normal(value: f64, mean: f64, sd: f64) -> f64 {
    let z = (value - mean) / sd;
    (-0.5 * z * z).exp() / (sd * (2.0 * std::f64::consts::PI).sqrt())
}

#[cfg(test)]
mod tests {
    use super::super::hypothesis::{Posterior, weigh};
    use super::*;
    use crate::quantity::Unit;

    const LOT: Delivers = Delivers {
        spread: 0.05,
        least: 0.02,
    };

    /// Nothing is known of the course; the other cells feel so many newton seconds.
    const fn beside(others_ns: f64) -> Beside {
        Beside {
            course: Course::Any,
            others_ns,
        }
    }

    /// Two motors of 29.8 N s in one cell that read so many.
    fn in_one_cell(value_ns: f64, u_ns: f64) -> Posterior {
        let seen = Measured::normal(value_ns, u_ns, Unit::NewtonSecond);
        let both = [29.8, 29.8];
        let piece = impulse("cell base", &seen, &both, &[true, true], LOT, beside(0.0));
        weigh(2, &[piece])
    }

    #[test]
    fn half_of_two_motors_impulse_is_one_dead_motor_not_two_weak_ones() {
        let weighed = in_one_cell(29.1, 0.1);
        assert!(weighed.all_lit() < 0.01, "{:?}", weighed.probability);
        assert_eq!(weighed.count(), 1);
    }

    #[test]
    fn the_whole_impulse_means_that_both_lit() {
        assert!(in_one_cell(57.0, 0.2).all_lit() > 0.99);
    }

    #[test]
    fn a_little_thrust_in_its_own_cell_does_not_make_a_motor_lit() {
        let of = |seen_ns| {
            let seen = Measured::normal(seen_ns, 0.05, Unit::NewtonSecond);
            let piece = impulse(
                "cell left",
                &seen,
                &[29.8, 29.8],
                &[true, false],
                LOT,
                beside(29.8),
            );
            weigh(2, &[piece]).lit(0)
        };
        // Cross-talk, an igniter's pop or a puff that died: nobody can tell. Negative, or next to nothing: dead.
        for seen_ns in [2.0, 4.0, 9.0] {
            assert!(
                (0.01..0.99).contains(&of(seen_ns)),
                "{seen_ns}: {}",
                of(seen_ns)
            );
        }
        for seen_ns in [-0.3, 0.1, 0.5] {
            assert!(of(seen_ns) < 0.01, "{seen_ns}: {}", of(seen_ns));
        }
        for seen_ns in [22.0, 26.0, 29.8, 33.0] {
            assert!(of(seen_ns) > 0.99, "{seen_ns}: {}", of(seen_ns));
        }
    }

    // Whatever pushes a neighbour, a motor or a hand, its cross-talk is the same: it tells nothing of who pushed.
    #[test]
    fn what_a_cell_reads_says_nothing_of_the_motors_of_other_cells() {
        for seen_ns in [0.0003, 0.27, 28.0] {
            let seen = Measured::normal(seen_ns, 0.005, Unit::NewtonSecond);
            let of = [false, true];
            let piece = impulse("cell right", &seen, &[34.5, 34.5], &of, LOT, beside(6.9));
            let weighed = weigh(2, &[piece]);
            approx::assert_relative_eq!(weighed.lit(0), 0.5, max_relative = 1e-9);
        }
    }

    #[test]
    fn a_flat_course_does_not_make_a_motor_surely_lit() {
        let seen = Measured::normal(8.22, 0.01, Unit::NewtonSecond);
        let of = |course| {
            let beside = Beside {
                course,
                others_ns: 0.0,
            };
            weigh(
                1,
                &[impulse("cell left", &seen, &[8.9], &[true], LOT, beside)],
            )
            .lit(0)
        };
        assert!(of(Course::OwnBurn) > 0.999 && (0.5..0.99).contains(&of(Course::Flat)));
    }

    #[test]
    fn off_axis_thrust_names_the_motor_that_burns() {
        let motors = [
            Expected {
                impulse_ns: 29.8,
                offset_m: 0.014,
            },
            Expected {
                impulse_ns: 29.8,
                offset_m: -0.014,
            },
        ];
        let sum = Measured::normal(29.5, 0.1, Unit::NewtonSecond);
        let piece = torque(
            "yaw",
            &Measured::normal(0.0131, 0.0005, Unit::Metre),
            &motors,
            0.003,
        );
        let impulse = impulse(
            "cell base",
            &sum,
            &[29.8, 29.8],
            &[true, true],
            LOT,
            beside(0.0),
        );
        let weighed = weigh(2, &[impulse, piece]);
        assert!(
            weighed.lit(0) > 0.999 && weighed.lit(1) < 0.01,
            "{:?}",
            weighed.probability
        );
    }
}
