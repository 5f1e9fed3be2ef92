//! What can be said of a fit: claims with their rule, and what would help where one fails.

use super::actuator::RAD_PER_DEG;
use super::structure::{Choice, NEGLIGIBLE_SHARE, STRONG_LEAD};
use super::{DeadBandKind, Estimate};
use crate::finding::{COMMON_PRACTICE, Finding, Outcome};
use crate::quantity::Measured;
use crate::series::Series;

/// Reversals that a dead band and a delay are told from: each gives one look at the gap, and with
/// fewer than four either way one disturbance decides.
pub const WANTED_REVERSALS: usize = 4;
/// A reversal counts when it swings at least this share of the widest movement.
const REVERSAL_SHARE: f64 = 0.2;
/// ... and at least this many dead-band widths, so that the nozzle surely moved.
const REVERSAL_WIDTHS: f64 = 2.0;
/// Probability below which residuals are called correlated.
const WHITE_FROM: f64 = 0.05;

/// How a command moved over a stretch of time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Excitation {
    /// Widest movement, deg.
    pub movement_deg: f64,
    /// Turns from rising to falling or back that swing far enough.
    pub reversals: usize,
    /// Length of the stretch, s.
    pub duration_s: f64,
}

impl Excitation {
    /// Looks at a command between two times; reversals must swing `least_deg`.
    #[must_use]
    pub fn of(command_deg: &Series, window: (f64, f64), movement_deg: f64, width_deg: f64) -> Self {
        let least = (REVERSAL_SHARE * movement_deg).max(REVERSAL_WIDTHS * width_deg);
        let part = command_deg.between(window.0, window.1);
        let mut reversals = 0;
        let mut extreme = part.value().first().copied().unwrap_or(0.0);
        let mut rising: Option<bool> = None;
        for &value in part.value() {
            let swing = value - extreme;
            match rising {
                Some(true) if swing > 0.0 => extreme = value,
                Some(false) if swing < 0.0 => extreme = value,
                _ if swing.abs() >= least && least > 0.0 => {
                    reversals += usize::from(rising.is_some());
                    rising = Some(swing > 0.0);
                    extreme = value;
                }
                _ => {}
            }
        }
        Self {
            movement_deg,
            reversals,
            duration_s: window.1 - window.0,
        }
    }

    /// Whether it can tell the actuator.
    #[must_use]
    pub fn is_enough(&self) -> bool {
        self.reversals >= WANTED_REVERSALS
    }

    /// What would have been enough.
    #[must_use]
    pub fn advice(&self) -> String {
        format!(
            "command at least {} reversals of 2 deg or more either side (and at least three times \
             the dead band expected) within the burn; this record holds {} over {:.3} s, widest \
             movement {:.3} deg",
            2 * WANTED_REVERSALS,
            self.reversals,
            self.duration_s,
            self.movement_deg,
        )
    }

    /// The finding.
    #[must_use]
    pub fn finding(&self) -> Finding {
        let outcome = if self.is_enough() {
            Outcome::Holds
        } else {
            Outcome::Fails
        };
        let finding = Finding::plain(
            "the command excites the actuator enough",
            outcome,
            format!(
                "at least {WANTED_REVERSALS} reversals of a fifth of the widest movement and twice \
                 the dead band; found {} in {:.3} s",
                self.reversals, self.duration_s
            ),
            COMMON_PRACTICE,
        );
        if self.is_enough() {
            finding
        } else {
            finding.advice(self.advice())
        }
    }
}

/// Whether a dead band can be told from none.
#[must_use]
pub fn dead_band(choice: &Choice, width: Option<&Measured>, excitation: &Excitation) -> Finding {
    let rule = format!(
        "score (Bayesian information criterion, independent readings) leads by {STRONG_LEAD}; or \
         none leads and the width's interval ends below {} % of the movement",
        100.0 * NEGLIGIBLE_SHARE
    );
    let source = "Schwarz 1978; Kass & Raftery 1995";
    let outcome = match choice.decided {
        Some(DeadBandKind::None) => Outcome::Fails,
        Some(_) => Outcome::Holds,
        None => Outcome::Undecided,
    };
    let mut finding = Finding::plain("the actuator has a dead band", outcome, rule, source);
    finding.measured = width.cloned();
    match choice.decided {
        None => {
            let limit = choice.width_limit_deg.map_or(String::new(), |limit| {
                format!("any dead band is below {limit:.3} deg; ")
            });
            finding.advice(limit + &excitation.advice())
        }
        Some(DeadBandKind::None) => {
            let limit = choice.width_limit_deg.unwrap_or(0.0);
            finding.advice(format!("any dead band is below {limit:.3} deg"))
        }
        Some(_) => finding,
    }
}

/// Whether residuals are white.
#[must_use]
pub fn white(probability: f64) -> Finding {
    let outcome = if probability >= WHITE_FROM {
        Outcome::Holds
    } else {
        Outcome::Fails
    };
    let finding = Finding::plain(
        "the residuals are white: the model leaves nothing out that the record shows",
        outcome,
        format!("Ljung-Box probability {probability:.4} at least {WHITE_FROM}"),
        "Ljung & Box 1978",
    );
    if outcome == Outcome::Holds {
        finding
    } else {
        finding.advice(
            "uncertainties are raised for the correlation found; look at the residuals for what \
             the model lacks",
        )
    }
}

/// Whether the nozzle stayed off its mechanical limit.
#[must_use]
pub fn travel(largest_deg: f64, travel_rad: f64) -> Finding {
    let travel = travel_rad / RAD_PER_DEG;
    let outcome = if largest_deg < travel * (1.0 - 1e-9) {
        Outcome::Holds
    } else {
        Outcome::Fails
    };
    Finding::plain(
        "the demanded nozzle angle stays within its travel",
        outcome,
        format!("largest demanded angle {largest_deg:.3} deg below {travel:.3} deg"),
        "firing file, travel",
    )
}

/// Whether a slew limit shows.
#[must_use]
pub fn slew(found: Option<&Measured>) -> Finding {
    let outcome = if found.is_some() {
        Outcome::Holds
    } else {
        Outcome::Fails
    };
    let mut finding = Finding::plain(
        "the record shows a slew limit",
        outcome,
        "score with a slew limit leads by 10",
        "Schwarz 1978; Kass & Raftery 1995 (very strong)",
    );
    finding.measured = found.cloned();
    finding
}

/// A parameter that the record cannot tell.
#[must_use]
pub fn untold(what: &str, why: String, advice: String) -> Finding {
    Finding::plain(
        format!("the record tells the {what}"),
        Outcome::Undecided,
        why,
        COMMON_PRACTICE,
    )
    .advice(advice)
}

/// Whether the effectiveness found agrees with arm over inertia.
#[must_use]
pub fn geometry(found: &Measured, given: Estimate) -> Finding {
    let difference = Measured::normal(
        found.value - given.value,
        found.u.hypot(given.u),
        &found.unit,
    );
    let limit = 0.05 * given.value.abs();
    Finding::within(
        "the effectiveness found agrees with arm over inertia",
        difference,
        [Some(-limit), Some(limit)],
        "difference within 5 % of arm over inertia",
        COMMON_PRACTICE,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn small_wiggles_are_no_reversals_and_large_turns_are() {
        let values = [0.0, 3.0, 2.9, 3.1, -3.0, -2.8, 3.0, -3.0, 0.0];
        let time: Vec<f64> = (0..values.len()).map(|i| i as f64).collect();
        let series = Series::new(&time, &values);
        let seen = Excitation::of(&series, (0.0, 8.0), 6.1, 0.3);
        // Up to 3.1, down to -3, up to 3, down to -3, up to 0: four turns.
        assert_eq!(seen.reversals, 4);
        assert!(seen.is_enough());
        let blunt = Excitation::of(&series, (0.0, 8.0), 6.1, 4.0);
        assert!(!blunt.is_enough() && blunt.finding().advice.is_some());
    }
}
