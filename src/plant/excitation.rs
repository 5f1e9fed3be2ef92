//! How the command moved: whether it can tell an actuator at all.

use crate::finding::{COMMON_PRACTICE, Finding, Outcome};
use crate::series::Series;

/// Reversals that a dead band and a delay are told from: each gives one look at the gap, and with
/// fewer than four either way one disturbance decides.
pub(crate) const WANTED_REVERSALS: usize = 4;
/// A reversal counts when it swings at least this share of the command's standard deviation.
const REVERSAL_SHARE: f64 = 0.5;
/// ... and at least this many dead-band widths, so that the nozzle surely moved.
const REVERSAL_WIDTHS: f64 = 2.0;
/// A dead band narrower than this share of the command's standard deviation counts as none: it
/// takes less from a movement than a servo's own gain tolerance.
pub(crate) const NEGLIGIBLE_SHARE: f64 = 0.1;
/// A width is told sharply enough when its standard uncertainty is below this share of the command's
/// standard deviation: a dead band of [`NEGLIGIBLE_SHARE`] then stands five of them off zero, enough
/// to be named by a strong lead.
const SHARP_SHARE: f64 = 0.02;

/// Size of a movement.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Movement {
    /// From lowest to highest, deg.
    pub widest_deg: f64,
    /// Standard deviation, deg.
    pub deviation_deg: f64,
}

impl Movement {
    /// Size of the movement of a held series between two times.
    #[must_use]
    pub fn of(series: &Series, from_s: f64, to_s: f64) -> Self {
        let before = series.held_at(from_s);
        let inside = series.between(from_s, to_s);
        let values: Vec<f64> = before
            .into_iter()
            .chain(inside.value().iter().copied())
            .collect();
        let count = values.len().max(1) as f64;
        let mean = values.iter().sum::<f64>() / count;
        let square = values
            .iter()
            .map(|value| (value - mean).powi(2))
            .sum::<f64>();
        let low = values.iter().copied().fold(f64::INFINITY, f64::min);
        let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        Self {
            widest_deg: (high - low).max(0.0),
            deviation_deg: (square / count).sqrt(),
        }
    }
}

/// How a command moved over a stretch of time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Excitation {
    /// Size of the movement.
    pub movement: Movement,
    /// Turns from rising to falling or back that swing far enough.
    pub reversals: usize,
    /// Length of the stretch, s.
    pub duration_s: f64,
    /// Standard uncertainty that a dead band's width has, deg; `None` when it has none.
    pub width_u_deg: Option<f64>,
}

impl Excitation {
    /// Looks at a command between two times; `width` is the dead band's width and its standard
    /// uncertainty, deg.
    #[must_use]
    pub fn of(command_deg: &Series, window: (f64, f64), width: (f64, Option<f64>)) -> Self {
        let movement = Movement::of(command_deg, window.0, window.1);
        let least = (REVERSAL_SHARE * movement.deviation_deg).max(REVERSAL_WIDTHS * width.0);
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
            movement,
            reversals,
            duration_s: window.1 - window.0,
            width_u_deg: width.1,
        }
    }

    /// Whether it can tell the actuator.
    #[must_use]
    pub fn is_enough(&self) -> bool {
        let sharp = |u: f64| u <= SHARP_SHARE * self.movement.deviation_deg;
        self.reversals >= WANTED_REVERSALS && self.width_u_deg.is_some_and(sharp)
    }

    /// What would have been enough.
    #[must_use]
    pub fn advice(&self) -> String {
        format!(
            "command at least {} reversals within the burn, of several sizes from 1 to 4 deg \
             either side and all above twice the dead band expected; this record holds {} over \
             {:.3} s, command's standard deviation {:.3} deg",
            2 * WANTED_REVERSALS,
            self.reversals,
            self.duration_s,
            self.movement.deviation_deg,
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
                "at least {WANTED_REVERSALS} reversals (of half the command's standard deviation \
                 and twice the dead band), and a dead band's width with a standard uncertainty of at \
                 most {} % of that deviation; found {} in {:.3} s and {}",
                100.0 * SHARP_SHARE,
                self.reversals,
                self.duration_s,
                self.width_u_deg
                    .map_or("no width".to_owned(), |u| format!("{u:.4} deg")),
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn small_wiggles_are_no_reversals_and_large_turns_are() {
        let values = [0.0, 3.0, 2.9, 3.1, -3.0, -2.8, 3.0, -3.0, 0.0];
        let time: Vec<f64> = (0..values.len()).map(|i| i as f64).collect();
        let series = Series::new(&time, &values);
        let seen = Excitation::of(&series, (0.0, 8.0), (0.3, Some(0.04)));
        // Up to 3.1, down to -3, up to 3, down to -3, up to 0: four turns.
        assert_eq!(seen.reversals, 4);
        assert!(seen.is_enough());
        let blunt = Excitation::of(&series, (0.0, 8.0), (4.0, Some(0.04)));
        assert!(!blunt.is_enough() && blunt.finding().advice.is_some());
        assert!(!Excitation::of(&series, (0.0, 8.0), (0.3, Some(0.5))).is_enough());
    }
}
