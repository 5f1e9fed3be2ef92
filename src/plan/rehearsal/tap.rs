//! A tap test before the firing: the rig at rest, tapped along thrust, and a log of its own.
//!
//! Each tap is half a sine of force, as soft hammers make; the stand answers as the rig's own oscillator
//! does, in steps of [`STEP_S`]. The readings are those of a cell,
//! with its curve, noise and delay. The log's clock is tied to no other.

use super::cell;
use super::recorder::fixed;
use super::rig::spring;
use super::spec::{Rehearsal, TapPlan};
use crate::flight::integrate::{Equations, runge_kutta};
use crate::flight::oscillator::{Oscillator, Spring};
use crate::series::Series;

/// Step of the integration, s.
const STEP_S: f64 = 1.0 / 20_000.0;

/// What the cell feels, N, from zero to the end of the log.
fn felt(plan: &TapPlan, spring: Spring) -> Series {
    let force_n = |time_s: f64| -> f64 {
        let taps = plan.taps_s.iter().filter_map(|tap_s| {
            let since_s = time_s - tap_s;
            let touching = (0.0..=plan.contact_s).contains(&since_s);
            touching.then(|| (std::f64::consts::PI * since_s / plan.contact_s).sin())
        });
        plan.size_n * taps.sum::<f64>()
    };
    let mut stand = Oscillator { spring, force_n };
    let mut state = [0.0, 0.0];
    let mut out = Series::default();
    let steps = (plan.lasts_s / STEP_S) as usize + 1;
    for at in 0..=steps {
        let time_s = at as f64 * STEP_S;
        out.push(time_s, state[0]);
        let acting = stand.inputs(time_s);
        (state, _) = runge_kutta(&mut stand, &state, (time_s, STEP_S), &acting);
    }
    out
}

/// The file of the tap log: time in microseconds and the cell's raw readings. `None` for a stiff
/// stand or an unknown cell, which the reading of the file has refused.
pub(super) fn csv(plan: &TapPlan, rehearsal: &Rehearsal) -> Option<Vec<u8>> {
    let cell = rehearsal.cells.get(&plan.cell)?;
    let felt = felt(plan, spring(rehearsal)?);
    let count = (plan.lasts_s * plan.rate_hz) as usize + 1;
    let instants: Vec<f64> = (0..count).map(|at| at as f64 / plan.rate_hz).collect();
    let source = format!("{}.tap", plan.cell);
    let readings = cell::readings(cell, &source, rehearsal.seed, &felt, &instants);
    let mut out = format!("t_us,{}\n", plan.column);
    for (time_s, reading) in instants.iter().zip(readings) {
        out += &format!(
            "{},{}\n",
            fixed((time_s * 1e6).floor(), 0),
            fixed(reading, 0)
        );
    }
    Some(out.into_bytes())
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn plan() -> TapPlan {
        TapPlan {
            log: "tap".to_owned(),
            file: "tap.csv".to_owned(),
            column: "raw".to_owned(),
            cell: "base".to_owned(),
            rate_hz: 1000.0,
            lasts_s: 1.0,
            taps_s: vec![0.1],
            size_n: 40.0,
            contact_s: 2e-4,
        }
    }

    // A tap much shorter than a period is an impulse I = 2 F t / pi: the answer is
    // I w / (1 - z2)^(1/2) e^(-z w t) sin wd t (Rao, Mechanical Vibrations, 4.5; from memory).
    #[test]
    fn a_short_tap_rings_as_an_impulse_does() {
        let (hz, damping) = (50.0, 0.04);
        let omega = std::f64::consts::TAU * hz;
        let root = (1.0_f64 - damping * damping).sqrt();
        let impulse = 2.0 * 40.0 * 2e-4 / std::f64::consts::PI;
        let spring = Spring {
            omega_rad_s: omega,
            damping_ratio: damping,
        };
        let found = felt(&plan(), spring);
        for since in [0.003, 0.011, 0.057] {
            let late = since - 1e-4;
            let exact = impulse * omega / root
                * (-damping * omega * late).exp()
                * (omega * root * late).sin();
            // The half sine's own width leaves (w t)^2 (1/8 - 1/pi^2) of it, some 1e-4.
            assert_relative_eq!(
                found.at(0.1 + since).unwrap(),
                exact,
                epsilon = 1e-3 * impulse * omega
            );
        }
        assert_eq!(found.at(0.05), Some(0.0));
    }
}
