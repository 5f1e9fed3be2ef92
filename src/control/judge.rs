//! What gains bear over thrust and plants, and the findings on it.
//!
//! Every plant drawn from the covariance is judged at its worst thrust. A finding's probability is the
//! share of drawn plants that meet the limit, (k + 1)/(n + 2) of n (Laplace's rule of succession), so
//! that no finite number of draws makes it certain. Limits: a phase margin of 30 degrees and a gain
//! margin of 2 are the lower ends of what control texts advise (gain margin 2 to 5, phase margin 30 to
//! 60 degrees: Åström & Murray, Feedback Systems, 2008, 9.3); a sensitivity peak of 2 likewise; a delay
//! margin of one period is common practice, no source.

use super::axis_loop::SampledAxis;
use super::curves::after_push;
use super::gains::{Robustness, Wobble};
use super::margins::Margins;
use super::model::AxisNumbers;
use super::pid::Controller;
use super::start_up::{FirstTick, Start};
use super::tune::Drawn;
use crate::finding::{COMMON_PRACTICE, Finding, Outcome};
use crate::quantity::Measured;

/// Least phase margin, deg.
pub const PHASE_DEG: f64 = 30.0;
/// Least gain margin upwards.
pub const GAIN: f64 = 2.0;
/// To this share the gain may fall: what a sensitivity peak of 2 alone makes sure of, Ms/(Ms + 1).
pub const GAIN_DOWN: f64 = 2.0 / 3.0;
/// Largest sensitivity peak.
pub const SENSITIVITY_PEAK: f64 = 2.0;

const TEXTS: &str = "Åström & Murray, Feedback Systems, 2008, 9.3: gain margin 2 to 5, phase margin \
                     30 to 60 degrees, sensitivity peak up to 2";

/// Margins of a drawn plant at its worst thrust, each number by itself.
fn at_worst_thrust(axis: &SampledAxis, of: &Controller, thrusts_n: &[f64]) -> Margins {
    let all = thrusts_n.iter().map(|thrust| axis.margins(of, *thrust));
    all.reduce(worse).unwrap_or(axis.margins(of, 0.0))
}

/// The worse of each number.
fn worse(a: Margins, b: Margins) -> Margins {
    let least = |a: Option<f64>, b: Option<f64>| match (a, b) {
        (Some(a), Some(b)) => Some(a.min(b)),
        (a, b) => a.or(b),
    };
    let most = |a: Option<f64>, b: Option<f64>| match (a, b) {
        (Some(a), Some(b)) => Some(a.max(b)),
        (a, b) => a.or(b),
    };
    let phase = if b.phase_deg.unwrap_or(f64::INFINITY) < a.phase_deg.unwrap_or(f64::INFINITY) {
        (b.phase_deg, b.gain_crossover_rad_s)
    } else {
        (a.phase_deg, a.gain_crossover_rad_s)
    };
    let gain = if b.gain_up.unwrap_or(f64::INFINITY) < a.gain_up.unwrap_or(f64::INFINITY) {
        (b.gain_up, b.phase_crossover_rad_s)
    } else {
        (a.gain_up, a.phase_crossover_rad_s)
    };
    Margins {
        stable: a.stable && b.stable,
        gain_up: gain.0,
        phase_crossover_rad_s: gain.1,
        gain_down: most(a.gain_down, b.gain_down),
        phase_deg: phase.0,
        gain_crossover_rad_s: phase.1,
        delay_s: least(a.delay_s, b.delay_s),
        sensitivity_peak: a.sensitivity_peak.max(b.sensitivity_peak),
    }
}

/// Goes over the draws.
pub(super) fn robustness(
    gains: &str,
    controller: Controller,
    nominal: &Drawn,
    draws: &[Drawn],
    thrusts_n: &[f64],
) -> Robustness {
    let best = at_worst_thrust(&nominal.sampled, &controller, thrusts_n);
    let each: Vec<Margins> = draws
        .iter()
        .map(|draw| at_worst_thrust(&draw.sampled, &controller, thrusts_n))
        .collect();
    let worst = each.iter().copied().fold(best, worse);
    let stable = each.iter().filter(|one| one.stable).count();
    let corner = draws.iter().zip(&each).find(|(_, one)| !one.stable);
    let unstable_corner =
        corner.map(|(draw, _)| words(&draw.numbers, &draw.sampled, &controller, thrusts_n));
    Robustness {
        gains: gains.to_owned(),
        chosen: false,
        nominal: best,
        fifth_percentile: fifth(&each, &best),
        worst,
        draws: draws.len(),
        stable_share: stable as f64 / draws.len().max(1) as f64,
        unstable_corner,
        disturbance: thrusts_n
            .iter()
            .map(|thrust| disturbance(&nominal.sampled, &controller, *thrust))
            .fold(0.0, f64::max),
        controller,
    }
}

fn words(
    of: &AxisNumbers,
    axis: &SampledAxis,
    controller: &Controller,
    thrusts_n: &[f64],
) -> String {
    let unstable = thrusts_n
        .iter()
        .find(|thrust| !axis.margins(controller, **thrust).stable);
    format!(
        "at {:.1} N with gain {:.4}, lag {:.4} s, delay {:.4} s, effectiveness {:.4} 1/(kg m), damping \
         {:.3} 1/s, stiffness {:.3} 1/s2",
        unstable.copied().unwrap_or(f64::NAN),
        of.gain,
        of.lag_s,
        of.delay_s,
        of.effectiveness_per_kg_m,
        of.damping_per_s,
        of.stiffness_per_s2
    )
}

/// The number that 95 of 100 draws meet or pass, of each margin by itself.
fn fifth(each: &[Margins], best: &Margins) -> Margins {
    let rank = |mut values: Vec<f64>, worst_is_small: bool| {
        values.sort_by(f64::total_cmp);
        if !worst_is_small {
            values.reverse();
        }
        let at = (0.05 * values.len() as f64).floor() as usize;
        values.get(at).copied()
    };
    let of = |get: fn(&Margins) -> Option<f64>, small: bool| {
        rank(each.iter().filter_map(get).collect(), small).or(get(best))
    };
    Margins {
        stable: each.iter().filter(|one| !one.stable).count() * 20 <= each.len(),
        gain_up: of(|one| one.gain_up, true),
        phase_crossover_rad_s: best.phase_crossover_rad_s,
        gain_down: of(|one| one.gain_down, false),
        phase_deg: of(|one| one.phase_deg, true),
        gain_crossover_rad_s: best.gain_crossover_rad_s,
        delay_s: of(|one| one.delay_s, true),
        sensitivity_peak: of(|one| Some(one.sensitivity_peak), false)
            .unwrap_or(best.sensitivity_peak),
    }
}

/// Time over which the answer to a push is followed, s.
const FOLLOWED_S: f64 = 4.0;

/// Root of the squared area of tilt after a step of one degree of nozzle, deg s^(1/2), run tick by
/// tick.
fn disturbance(axis: &SampledAxis, of: &Controller, thrust_n: f64) -> f64 {
    let tilts = after_push(axis, of, thrust_n, FOLLOWED_S);
    let sum: f64 = tilts.iter().map(|tilt| tilt * tilt * of.period_s).sum();
    sum.sqrt()
}

/// Whether 95 of 100 draws meet every limit.
pub(super) fn meets_limits(of: &Robustness, period_s: f64) -> bool {
    let fifth = &of.fifth_percentile;
    fifth.stable
        && fifth.phase_deg.is_none_or(|deg| deg >= PHASE_DEG)
        && fifth.gain_up.is_none_or(|factor| factor >= GAIN)
        && fifth.gain_down.is_none_or(|factor| factor <= GAIN_DOWN)
        && fifth.delay_s.is_none_or(|delay_s| delay_s >= period_s)
        && fifth.sensitivity_peak <= SENSITIVITY_PEAK
}

/// One finding on a margin: by the spread between best estimate and fifth percentile.
fn margin(
    claim: &str,
    (best, fifth): (Option<f64>, Option<f64>),
    unit: &str,
    limits: [Option<f64>; 2],
    stable: bool,
    (rule, source): (&str, &str),
) -> Finding {
    let Some((value, fifth)) = best.zip(fifth).filter(|_| stable) else {
        let outcome = if stable {
            Outcome::Holds
        } else {
            Outcome::Fails
        };
        return Finding::plain(claim, outcome, rule, source);
    };
    // 1.645 standard deviations lie between the median and the fifth percentile of a normal spread.
    let u = (value - fifth).abs() / 1.644_853_6;
    Finding::within(
        claim,
        Measured::normal(value, u, unit),
        limits,
        rule,
        source,
    )
}

/// What can be said of the gains handed over.
pub(super) fn findings(
    of: &Robustness,
    wobble: &[Wobble],
    (first, start): (&[FirstTick], Start),
    axis: &AxisNumbers,
    period_s: f64,
) -> Vec<Finding> {
    let (best, fifth) = (&of.nominal, &of.fifth_percentile);
    let stable = best.stable && fifth.stable;
    let probability = (of.stable_share * of.draws as f64 + 1.0) / (of.draws as f64 + 2.0);
    let mut corners = Finding::plain(
        "the loop is stable in every corner of thrust and plant",
        if best.stable {
            Outcome::from_probability(probability)
        } else {
            Outcome::Fails
        },
        format!(
            "roots inside the unit circle for {} plants drawn from the covariance, each over the range of \
             thrust",
            of.draws
        ),
        "Jury 1964; Laplace's rule of succession",
    );
    corners.probability = Some(probability);
    if let Some(corner) = &of.unstable_corner {
        corners = corners.advice(format!("unstable {corner}"));
    }
    let mut out = vec![
        corners,
        margin(
            "the phase margin is large enough",
            (best.phase_deg, fifth.phase_deg),
            "deg",
            [Some(PHASE_DEG), None],
            stable,
            ("at the worst thrust, at least 30 deg", TEXTS),
        ),
        margin(
            "the gain margin upwards is large enough",
            (best.gain_up, fifth.gain_up),
            "1",
            [Some(GAIN), None],
            stable,
            ("at the worst thrust, at least a factor of 2", TEXTS),
        ),
        margin(
            "the loop bears a loss of gain",
            (best.gain_down, fifth.gain_down),
            "1",
            [None, Some(GAIN_DOWN)],
            stable,
            (
                "at the worst thrust, stable down to two thirds of it, as a sensitivity peak of 2 has it",
                TEXTS,
            ),
        ),
        margin(
            "the loop bears another period of delay",
            (best.delay_s, fifth.delay_s),
            "s",
            [Some(period_s), None],
            stable,
            (
                "delay margin of at least one period of the loop",
                COMMON_PRACTICE,
            ),
        ),
        margin(
            "the sensitivity peak is low enough",
            (Some(best.sensitivity_peak), Some(fifth.sensitivity_peak)),
            "1",
            [None, Some(SENSITIVITY_PEAK)],
            stable,
            ("at the worst thrust, at most 2", TEXTS),
        ),
    ];
    out.extend(first_command(first, start));
    out.push(wobbles(wobble, axis));
    out
}

/// More than this share of the first command is mostly.
const MOSTLY: f64 = 0.5;

/// The start that the firmware makes is judged. Where it is the shipped one, the note tells what a
/// derivative started from zero would do.
pub(super) fn first_command(first: &[FirstTick], start: Start) -> Option<Finding> {
    let by = |start: Start| first.iter().find(|one| one.start == start);
    let (own, naive) = (by(start)?, by(Start::ZeroError)?);
    let fails = own.initialisation_share > MOSTLY;
    let finding = Finding::plain(
        "the first command is not mostly initialisation",
        if fails {
            Outcome::Fails
        } else {
            Outcome::Holds
        },
        format!(
            "{}: {:.0} % of the first command is put there by the start alone, at most 50 %",
            start.words(),
            100.0 * own.initialisation_share
        ),
        COMMON_PRACTICE,
    );
    Some(finding.advice(if fails {
        format!(
            "at a tilt of {:.1} deg it asks for {:.1} deg, the nozzle goes to {:.1} deg, and the start alone \
             tilts the rocket by {:.2} deg; start as controller.h does",
            own.tilt_deg, own.wanted_deg, own.command_deg, own.kick_tilt_deg
        )
    } else {
        format!(
            "a derivative of the error started from zero would ask for {:.1} deg at a tilt of {:.1} deg, \
             {:.0} % of it initialisation, and tilt the rocket by {:.2} deg",
            naive.wanted_deg,
            naive.tilt_deg,
            100.0 * naive.initialisation_share,
            naive.kick_tilt_deg
        )
    }))
}

/// Largest wobble that nobody minds, deg of tilt.
const WOBBLE_DEG: f64 = 1.0;

fn wobbles(of: &[Wobble], axis: &AxisNumbers) -> Finding {
    let largest = of.iter().filter_map(|one| one.tilt_deg).reduce(f64::max);
    let claim = "the wobble that the dead band keeps up is small";
    let rule = "predicted amplitude of the tilt at most 1 deg at either end of the range of thrust";
    let source =
        "describing function (Gelb & Vander Velde 1968); the limit is common practice, no source";
    let outcome = match largest {
        Some(tilt_deg) if tilt_deg > WOBBLE_DEG => Outcome::Fails,
        _ => Outcome::Holds,
    };
    let note = match largest {
        None => "no wobble is predicted".to_owned(),
        Some(tilt_deg) => format!(
            "expect {tilt_deg:.3} deg from {} of {:.3} deg",
            axis.dead_band.word(),
            axis.width_deg
        ),
    };
    Finding::plain(claim, outcome, rule, source).advice(note)
}
