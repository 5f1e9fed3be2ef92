//! What a dead band makes of a row of commands.
//!
//! - Dead zone: commands within half the width of zero do nothing, larger ones lose that half.
//! - Play (mechanical backlash): the output rests until the command presses on one side of the gap,
//!   then follows at half the width behind. It starts at 0 at the log's first row.
//!
//! Source: Åström & Wittenmark, Computer-Controlled Systems, on describing functions; Gelb & Vander
//! Velde, Multiple-Input Describing Functions, 1968, whose table the test holds this against.
//! Commands are held between updates, so the output is too, and its derivative by the width is
//! exact: a sign of the last push.

use super::DeadBandKind;
use crate::numeric::dual::Scalar;

/// Output of the dead band after each command, deg.
pub(crate) fn follow<S: Scalar>(kind: DeadBandKind, width_deg: S, command_deg: &[f64]) -> Vec<S> {
    let half = width_deg * S::constant(0.5);
    let mut rest = S::constant(0.0);
    let pushed = |command: f64| {
        if command > 0.0 {
            S::constant(command) - half
        } else {
            S::constant(command) + half
        }
    };
    let commands = command_deg.iter();
    match kind {
        DeadBandKind::None => commands.map(|command| S::constant(*command)).collect(),
        DeadBandKind::DeadZone => commands
            .map(|&command| {
                if command.abs() > half.value() {
                    pushed(command)
                } else {
                    S::constant(0.0)
                }
            })
            .collect(),
        DeadBandKind::Play => commands
            .map(|&command| {
                let gap = command - rest.value();
                if gap > half.value() {
                    rest = S::constant(command) - half;
                } else if gap < -half.value() {
                    rest = S::constant(command) + half;
                }
                rest
            })
            .collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use std::f64::consts::TAU;

    /// Fundamental of the output for sin over sine amplitude 1, by a fine sum over the last cycle.
    fn describing_function(kind: DeadBandKind, width: f64) -> (f64, f64) {
        let per_cycle = 200_000;
        let sine = |i: usize| (TAU * i as f64 / per_cycle as f64).sin();
        let input: Vec<f64> = (0..2 * per_cycle).map(sine).collect();
        let output = follow(kind, width, &input);
        let last = per_cycle..2 * per_cycle;
        let factor = 2.0 / per_cycle as f64;
        let turn = |i: usize| TAU * i as f64 / per_cycle as f64;
        let real: f64 = last.clone().map(|i| output[i] * turn(i).sin()).sum();
        let imaginary: f64 = last.map(|i| output[i] * turn(i).cos()).sum();
        (real * factor, imaginary * factor)
    }

    // Published closed forms (tests/data/describing-functions.csv); the sum over 200 000 steps is
    // good to a few 1e-6 (a step of the command is 3e-5 and the corners fall between steps).
    #[test]
    fn describing_functions_are_the_published_ones() {
        let path = concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/tests/data/describing-functions.csv"
        );
        let table = std::fs::read_to_string(path).unwrap();
        let mut checked = 0;
        for line in table.lines() {
            let numbers: Vec<f64> = line
                .rsplitn(4, ',')
                .take(3)
                .filter_map(|field| field.parse().ok())
                .collect();
            let [imaginary, real, ratio] = numbers[..] else {
                continue;
            };
            let (kind, width) = if line.starts_with("\"dead zone") {
                (DeadBandKind::DeadZone, 2.0 * ratio)
            } else if line.starts_with("\"backlash") {
                (DeadBandKind::Play, ratio)
            } else {
                continue;
            };
            let (re, im) = describing_function(kind, width);
            assert_relative_eq!(re, real, epsilon = 2e-5);
            assert_relative_eq!(im, imaginary, epsilon = 2e-5);
            checked += 1;
        }
        assert_eq!(checked, 11);
    }

    #[test]
    fn play_rests_inside_its_gap_and_follows_half_a_width_behind() {
        let out = follow(DeadBandKind::Play, 0.4, &[0.1, 1.0, 0.7, 0.5, -1.0]);
        for (out, by_hand) in out.iter().zip([0.0, 0.8, 0.8, 0.7, -0.8]) {
            assert_relative_eq!(*out, by_hand, epsilon = 1e-15);
        }
    }
}
