//! Findings on gains: stability, margins, start-up transient, limit cycle.
//!
//! The probability of stability is the share of sampled plants that are stable, (k + 1)/(n + 2) of n
//! (Laplace's rule of succession), so that no finite number of them makes it certain. That of a margin
//! comes from its spread between the best estimate and the fifth percentile.

use super::gains::{ExpectedLimitCycle, Robustness};
use super::model::AxisNumbers;
use super::robustness::{
    LEAST_PHASE_DEG, LEAST_UPPER_GAIN, MOST_LOWER_GAIN, MOST_SENSITIVITY_PEAK,
};
use super::start_up::{Start, StartUpTransient};
use crate::finding::{COMMON_PRACTICE, Finding, Outcome};
use crate::plant::DeadBandKind;
use crate::quantity::{Measured, Unit};

const TEXTS: &str = "Åström & Murray, Feedback Systems, 2008, 9.3: gain margin 2 to 5, phase margin \
                     30 to 60 degrees, sensitivity peak up to 2";

/// One finding on a margin: by the spread between best estimate and fifth percentile.
fn margin(
    claim: &str,
    (best, fifth): (Option<f64>, Option<f64>),
    unit: Unit,
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

/// Whether the loop is stable over the range of thrust for every sampled plant.
pub(super) fn stability(of: &Robustness) -> Finding {
    let probability = (of.stable_share * of.draws as f64 + 1.0) / (of.draws as f64 + 2.0);
    let mut out = Finding::plain(
        "the loop is stable over the range of thrust and for all sampled plants",
        if of.nominal.stable {
            Outcome::from_probability(probability)
        } else {
            Outcome::Fails
        },
        format!(
            "closed-loop poles inside the unit circle for {} plants sampled from the covariance, each over the \
             range of thrust",
            of.draws
        ),
        "Jury 1964; Laplace's rule of succession",
    );
    out.probability = Some(probability);
    match &of.unstable_corner {
        Some(corner) => out.advice(format!("unstable {corner}")),
        None => out,
    }
}

/// Each margin against its limit.
pub(super) fn margins(of: &Robustness, period_s: f64) -> [Finding; 5] {
    let (best, fifth) = (&of.nominal, &of.fifth_percentile);
    let stable = best.stable && fifth.stable;
    [
        margin(
            "the phase margin is large enough",
            (best.phase_deg, fifth.phase_deg),
            Unit::Degree,
            [Some(LEAST_PHASE_DEG), None],
            stable,
            ("at the worst thrust, at least 30 deg", TEXTS),
        ),
        margin(
            "the upper gain margin is large enough",
            (best.upper_gain, fifth.upper_gain),
            Unit::One,
            [Some(LEAST_UPPER_GAIN), None],
            stable,
            ("at the worst thrust, at least a factor of 2", TEXTS),
        ),
        margin(
            "the lower gain margin is low enough",
            (best.lower_gain, fifth.lower_gain),
            Unit::One,
            [None, Some(MOST_LOWER_GAIN)],
            stable,
            (
                "at the worst thrust, stable down to two thirds of the gain, as a sensitivity peak of 2 has it",
                TEXTS,
            ),
        ),
        margin(
            "the delay margin is at least one period of the loop",
            (best.delay_s, fifth.delay_s),
            Unit::Second,
            [Some(period_s), None],
            stable,
            (
                "at the worst thrust, one more period of latency leaves the loop stable",
                COMMON_PRACTICE,
            ),
        ),
        margin(
            "the sensitivity peak is low enough",
            (Some(best.sensitivity_peak), Some(fifth.sensitivity_peak)),
            Unit::One,
            [None, Some(MOST_SENSITIVITY_PEAK)],
            stable,
            ("at the worst thrust, at most 2", TEXTS),
        ),
    ]
}

/// Largest share of a first command that its derivative kick may be.
const MOST_KICK: f64 = 0.5;

/// The start that the firmware makes is judged. Where it is the shipped one, the note tells what a
/// derivative started from zero would do.
pub(super) fn start_up(all: &[StartUpTransient], start: Start) -> Option<Finding> {
    let by = |start: Start| all.iter().find(|one| one.start == start);
    let (own, naive) = (by(start)?, by(Start::ZeroError)?);
    let fails = own.kick_share > MOST_KICK;
    let finding = Finding::plain(
        "the first command is not mostly derivative kick",
        if fails {
            Outcome::Fails
        } else {
            Outcome::Holds
        },
        format!(
            "{}: {:.0} % of the first command is derivative kick, at most 50 %",
            start.words(),
            100.0 * own.kick_share
        ),
        COMMON_PRACTICE,
    );
    Some(finding.advice(if fails {
        format!(
            "at a tilt of {:.1} deg the controller asks for {:.1} deg, the nozzle goes to {:.1} deg, and the \
             kick alone tilts the rocket by {:.2} deg; start as controller.h does",
            own.tilt_deg, own.wanted_deg, own.command_deg, own.kick_tilt_deg
        )
    } else {
        format!(
            "a derivative of the error started from zero would ask for {:.1} deg at a tilt of {:.1} deg, \
             {:.0} % of it derivative kick, and tilt the rocket by {:.2} deg",
            naive.wanted_deg,
            naive.tilt_deg,
            100.0 * naive.kick_share,
            naive.kick_tilt_deg
        )
    }))
}

/// Largest amplitude of a limit cycle that nobody minds, deg of tilt.
const MOST_CYCLE_DEG: f64 = 1.0;

/// What fails of the plant that the gains are for.
pub(super) fn of_the_plant(all: &[Finding]) -> impl Iterator<Item = Finding> {
    let failing = all.iter().filter(|one| one.outcome == Outcome::Fails);
    failing.map(|one| Finding {
        claim: format!("the plant was fitted well: {}", one.claim),
        ..one.clone()
    })
}

/// The largest limit cycle that the dead band will keep up; nobody can tell where it is not `known`.
pub(super) fn limit_cycle(of: &[ExpectedLimitCycle], axis: &AxisNumbers, known: bool) -> Finding {
    let largest = of.iter().filter_map(|one| one.tilt_deg).reduce(f64::max);
    let outcome = match largest {
        None if !known => Outcome::Undecided,
        Some(tilt_deg) if tilt_deg > MOST_CYCLE_DEG => Outcome::Fails,
        _ => Outcome::Holds,
    };
    let what = match axis.dead_band {
        DeadBandKind::Play => "backlash",
        DeadBandKind::DeadZone | DeadBandKind::None => "a dead zone",
    };
    let note = match largest {
        None if !known => "the plant's dead band is not known".to_owned(),
        None => "no limit cycle is predicted".to_owned(),
        Some(tilt_deg) => format!(
            "{what} of {:.3} deg will keep it swinging by {tilt_deg:.2} deg (limit {MOST_CYCLE_DEG} deg): \
             stiffen the linkage or take the play out of it",
            axis.width_deg
        ),
    };
    Finding::plain(
        "the limit cycle that the dead band keeps swinging is small",
        outcome,
        "predicted amplitude of the tilt at most 1 deg at either end of the range of thrust",
        "describing function (Gelb & Vander Velde 1968); the limit is common practice, no source",
    )
    .advice(note)
}
