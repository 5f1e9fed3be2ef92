//! Published settings for a double integrating process with dead time, k exp(-L s)/s2.
//!
//! That is what a rocket steered by its nozzle is: without a spring it turns ever faster under a steady
//! command. Most published rules (Ziegler & Nichols, Cohen & Coon, AMIGO) are made for a process that
//! settles after a step and do not apply. Two do, both by SIMC (Skogestad 2003): its row for the double
//! integrator, and its rule for an integrating process taken twice, on the rate and on the angle around
//! it. The row is from memory; the closed-loop time is the dead time in both, as the paper recommends.
//! A rig held by a spring is refused.

use serde::{Deserialize, Serialize};

use super::model::AxisNumbers;
use super::pid::Ideal;

/// A double integrating process with dead time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct DoubleIntegrator {
    /// Angular acceleration for each unit of input, 1/s2.
    pub slope: f64,
    /// Effective dead time, s.
    pub delay_s: f64,
}

impl DoubleIntegrator {
    /// An axis under a thrust: the lag goes to the dead time by the half rule (Skogestad 2003), and so
    /// does half a period for the hold. `None` when a spring holds the axis or it falls over by itself.
    #[must_use]
    pub(crate) fn new(
        of: &AxisNumbers,
        thrust_n: f64,
        period_s: f64,
        latency_s: f64,
    ) -> Option<Self> {
        (of.stiffness_per_s2 == 0.0).then_some(Self {
            slope: of.gain * of.effectiveness_per_kg_m * thrust_n,
            delay_s: of.delay_s + latency_s + 0.5 * period_s + 0.5 * of.lag_s,
        })
    }
}

/// A published rule.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) enum Rule {
    /// SIMC for a double integrator.
    SimcDouble,
    /// SIMC for an integrator, twice.
    SimcCascade,
}

/// Why a rule gives no settings where there is no double integrator.
pub(crate) const REFUSED: &str = "made for a double integrating process, without stiffness";

impl Rule {
    /// All of them.
    pub(crate) const ALL: [Self; 2] = [Self::SimcDouble, Self::SimcCascade];

    /// Its name and source.
    #[must_use]
    pub(crate) const fn name(self) -> (&'static str, &'static str) {
        match self {
            Self::SimcDouble => (
                "SIMC PID, double integrator",
                "Skogestad 2003, table 1, from memory",
            ),
            Self::SimcCascade => ("SIMC, rate inside angle", "Skogestad 2003, twice"),
        }
    }

    /// Its settings.
    #[must_use]
    pub(crate) fn settings(self, of: &DoubleIntegrator) -> Ideal {
        match self {
            Self::SimcDouble => simc_double(of),
            Self::SimcCascade => simc_cascade(of),
        }
    }
}

/// Series form Kc = 1/(4 k (tc + L)^2), tauI = tauD = 4 (tc + L), with tc = L.
fn simc_double(of: &DoubleIntegrator) -> Ideal {
    let together = 2.0 * of.delay_s;
    let series = 1.0 / (4.0 * of.slope * together * together);
    series_to_ideal(series, 4.0 * together, 4.0 * together)
}

/// A proportional loop on the rate (integrating, tc = L), and one with an integral on the angle around
/// it, whose dead time is that of the rate and half of the inner closed loop.
fn simc_cascade(of: &DoubleIntegrator) -> Ideal {
    let inner = 1.0 / (of.slope * 2.0 * of.delay_s);
    let outer_delay_s = of.delay_s + 0.5 * of.delay_s;
    let outer = 1.0 / (2.0 * outer_delay_s);
    Ideal {
        kp: inner * outer,
        ti_s: Some(8.0 * outer_delay_s),
        td_s: Some(1.0 / outer),
    }
}

/// Series form Kc (1 + 1/(tauI s)) (1 + tauD s) as ideal form.
fn series_to_ideal(kc: f64, ti_s: f64, td_s: f64) -> Ideal {
    let f = 1.0 + td_s / ti_s;
    Ideal {
        kp: kc * f,
        ti_s: Some(ti_s * f),
        td_s: Some(td_s / f),
    }
}

#[cfg(test)]
mod tests {
    use super::super::axis_loop::tests::numbers;
    use super::*;
    use approx::assert_relative_eq;

    fn close(found: &Ideal, kp: f64, ti_s: f64, td_s: f64) {
        assert_relative_eq!(found.kp, kp, max_relative = 1e-6);
        assert_relative_eq!(found.ti_s.unwrap(), ti_s, max_relative = 1e-12);
        assert_relative_eq!(found.td_s.unwrap(), td_s, max_relative = 1e-12);
    }

    // Skogestad 2003, example E1: series PID 1.298701, 2, 1.2 is in ideal form 2.077922, 3.2, 0.75.
    #[test]
    fn the_series_form_of_skogestads_example_in_ideal_form() {
        close(&series_to_ideal(1.298_701, 2.0, 1.2), 2.077_922, 3.2, 0.75);
    }

    // k = 100/s2 and L = 30 ms, by hand. Double integrator: tc + L = 60 ms, series 1/1.44, 0.24, 0.24 s,
    // ideal 1/0.72, 0.48, 0.12 s. Cascade: inner 1/6 s, outer dead time 45 ms and gain 1/0.09.
    #[test]
    fn the_rules_worked_by_hand() {
        let of = DoubleIntegrator {
            slope: 100.0,
            delay_s: 0.03,
        };
        close(&Rule::SimcDouble.settings(&of), 1.0 / 0.72, 0.48, 0.12);
        close(&Rule::SimcCascade.settings(&of), 1.0 / 0.54, 0.36, 0.09);
    }

    // Gain 0.95 and 4/(kg m) under 25 N; delay 12 + 3 ms, half of 10 ms, half of a lag of 20 ms.
    #[test]
    fn an_axis_is_a_double_integrator_unless_a_spring_holds_it_or_it_falls_over() {
        let mut axis = numbers();
        let found = DoubleIntegrator::new(&axis, 25.0, 0.01, 0.003).unwrap();
        assert_relative_eq!(found.slope, 95.0, max_relative = 1e-12);
        assert_relative_eq!(found.delay_s, 0.03, max_relative = 1e-12);
        for stiffness_per_s2 in [-20.0, 2.0] {
            axis.stiffness_per_s2 = stiffness_per_s2;
            assert_eq!(DoubleIntegrator::new(&axis, 25.0, 0.01, 0.003), None);
        }
    }
}
