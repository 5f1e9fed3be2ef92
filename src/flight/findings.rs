//! Findings on simulated flights: tilt, command limit, Monte Carlo share, replay.

use super::replay::Replay;
use super::result::AxisSimulation;
use crate::finding::{COMMON_PRACTICE, Finding, Outcome};

/// Share of flights beyond the tilt limit that is acceptable.
const ACCEPTABLE: f64 = 0.05;
/// Share of ticks with the command at its limit that is acceptable.
const AT_LIMIT: f64 = 0.1;
/// Share of the error of keeping the rate that the model should explain, in per cent.
const EXPLAINED: f64 = 50.0;

/// What can be said of the flights of an axis.
pub(super) fn findings(of: &AxisSimulation, tilt_limit_deg: f64) -> Vec<Finding> {
    let judged = |holds: bool| {
        if holds {
            Outcome::Holds
        } else {
            Outcome::Fails
        }
    };
    let nominal = &of.nominal;
    let mut out = vec![
        Finding::plain(
            format!("the flight stays within {tilt_limit_deg} deg of tilt"),
            judged(nominal.largest_tilt_deg <= tilt_limit_deg),
            format!("largest tilt {:.2} deg", nominal.largest_tilt_deg),
            "limit given by the user",
        ),
        Finding::plain(
            "the command is seldom at its limit",
            judged(nominal.at_limit <= AT_LIMIT),
            format!("{:.1} % of ticks, at most 10 %", 100.0 * nominal.at_limit),
            COMMON_PRACTICE,
        ),
    ];
    if let Some(many) = &of.monte_carlo {
        let [low, high] = many.share_interval;
        let outcome = if high < ACCEPTABLE {
            Outcome::Holds
        } else if low > ACCEPTABLE {
            Outcome::Fails
        } else {
            Outcome::Undecided
        };
        let finding = Finding::plain(
            format!("fewer than 5 % of flights tilt beyond {tilt_limit_deg} deg"),
            outcome,
            format!(
                "{} of {} flights, 95 % interval {:.2} % to {:.2} %",
                many.beyond,
                many.runs,
                100.0 * low,
                100.0 * high
            ),
            "interval: Clopper & Pearson 1934; the 5 % is common practice, no source",
        );
        out.push(finding.advice(format!(
            "see the worst one with --seed {} --run {}",
            many.seed, many.worst_run
        )));
    }
    out.extend(of.replay.as_ref().map(replay_finding));
    out
}

fn replay_finding(of: &Replay) -> Finding {
    let outcome = if of.prediction_explains_percent >= EXPLAINED {
        Outcome::Holds
    } else {
        Outcome::Undecided
    };
    let finding = Finding::plain(
        "simulator and plant predict the recorded tilt from the recorded commands",
        outcome,
        format!(
            "{:.0} % of the error of keeping the rate over {:.1} s is explained, at least 50 %",
            of.prediction_explains_percent, of.horizon_s
        ),
        "skill score against persistence of the rate (Murphy 1988); horizon and limit are common practice, no source",
    );
    finding.advice(format!(
        "as a free run over all {:.2} s it explains {:.0} % of the movement: {:.2} deg off, of which a wrong \
         first rate and a steady disturbance leave {:.2} deg",
        of.window_s[1] - of.window_s[0],
        of.free_run_explains_percent,
        of.free_run_rms_deg,
        of.free_run_without_drift_rms_deg
    ))
}
