//! The dead band of the gimbal, as controller design and simulator see it: dead zone or backlash.
//!
//! A dead zone takes half its width off a command on either side. Backlash (`play` in the plant file)
//! holds the output until the command presses on one side of the gap, then lets it follow half a width
//! behind; it starts in the middle of the gap. Written from the definition of the plant file; the fit of
//! the plant has a dead band of its own, and neither knows the other.

use crate::plant::DeadBandKind;

/// A dead band and where its output stands.
#[derive(Debug, Clone)]
pub(crate) struct DeadBand {
    kind: DeadBandKind,
    half_width_deg: f64,
    output_deg: f64,
}

impl DeadBand {
    /// A dead band of a total width, its output at zero.
    #[must_use]
    pub(crate) fn new(kind: DeadBandKind, width_deg: f64) -> Self {
        Self {
            kind,
            half_width_deg: 0.5 * width_deg,
            output_deg: 0.0,
        }
    }

    /// Sends a command through it. What is no number moves nothing.
    #[inline]
    pub(crate) fn pass(&mut self, command_deg: f64) -> f64 {
        let half = self.half_width_deg;
        if command_deg.is_finite() {
            self.output_deg = match self.kind {
                DeadBandKind::None => command_deg,
                DeadBandKind::DeadZone if command_deg > half => command_deg - half,
                DeadBandKind::DeadZone if command_deg < -half => command_deg + half,
                DeadBandKind::DeadZone => 0.0,
                DeadBandKind::Play => self
                    .output_deg
                    .max(command_deg - half)
                    .min(command_deg + half),
            };
        }
        self.output_deg
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn passed(kind: DeadBandKind, commands: &[f64]) -> Vec<f64> {
        let mut dead_band = DeadBand::new(kind, 0.5);
        commands.iter().map(|u| dead_band.pass(*u)).collect()
    }

    // Width 0.5: the output follows a quarter behind and stays put for the first half degree back.
    #[test]
    fn backlash_follows_half_a_width_behind() {
        let commands = [0.25, 1.0, 0.75, 0.5, f64::NAN, 0.25, -1.0, -0.5, -0.25];
        let by_hand = [0.0, 0.75, 0.75, 0.75, 0.75, 0.5, -0.75, -0.75, -0.5];
        assert_eq!(passed(DeadBandKind::Play, &commands), by_hand);
    }

    #[test]
    fn a_dead_zone_takes_half_a_width_off_either_side() {
        let commands = [0.25, 0.5, -0.25, -1.0, 0.0];
        assert_eq!(
            passed(DeadBandKind::DeadZone, &commands),
            [0.0, 0.25, 0.0, -0.75, 0.0]
        );
        assert_eq!(passed(DeadBandKind::None, &commands), commands);
    }
}
