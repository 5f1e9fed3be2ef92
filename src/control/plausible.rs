//! Plausibility of a gains file and of a controller specification.

use super::gains::{AxisGains, GainsFile, SCHEMA};
use super::specification::Specification;
use crate::diagnostic::{Diagnostic, Problems};
use crate::plausible::{Believable, Judge, Misfit};
use crate::quantity::range::plainly;

/// Slowest and fastest loop, Hz.
const RATES_HZ: (f64, f64) = (1.0, 20_000.0);

/// Longest time of a schedule, s.
const LONGEST_S: f64 = 600.0;

impl Believable for GainsFile {
    fn misfits(&self) -> Vec<Misfit> {
        let mut judge = Judge::default();
        judge.axes((self.schema, SCHEMA), &self.axes, of_axis);
        judge.done()
    }
}

fn of_axis(axis: &AxisGains, judge: &mut Judge) {
    judge.number("late_s", axis.latency_s, 0.0, 1.0);
    judge.within("controller", |judge| {
        let of = &axis.controller;
        judge.number("period_s", of.period_s, 1.0 / RATES_HZ.1, 1.0 / RATES_HZ.0);
        judge.number("kp", of.kp, -1e6, 1e6);
        judge.number("ki_per_s", of.ki_per_s, -1e6, 1e6);
        judge.number("kd_s", of.kd_s, -1e6, 1e6);
        judge.number("filter_s", of.filter_s, 0.0, 100.0);
        judge.number("set_point_weight", of.set_point_weight, -10.0, 10.0);
        judge.number("limit_deg", of.limit_deg, 1e-3, 90.0);
        judge.perhaps("slew_deg_s", of.slew_deg_s, 1e-3, 1e6);
        judge.number("tracking_s", of.tracking_s, 1e-6, 1e9);
        judge.number("glide_s", of.fade_s, 0.0, 100.0);
    });
    if let Some(of) = &axis.schedule {
        judge.within("schedule", |judge| {
            judge.number("reference_n", of.reference_n, 1e-6, 1e6);
            let factors = ("factor", of.factor.as_slice(), 1e6);
            judge.course(("time_s", &of.time_s), factors, LONGEST_S);
        });
    }
}

impl Specification {
    /// Refuses a specification that no flight computer has.
    ///
    /// # Errors
    /// Each of them that lies out of its range.
    pub fn believed(&self) -> Result<(), Problems> {
        let mut out = Vec::new();
        let mut within = |what: &str, value: Option<f64>, (low, high): (f64, f64)| {
            if value.is_some_and(|value| !(low..=high).contains(&value)) {
                let text = format!(
                    "{what} must lie between {} and {}",
                    plainly(low),
                    plainly(high)
                );
                out.push(Diagnostic::error("out-of-range", text).hint("choose another"));
            }
        };
        within("the rate of the loop, in Hz,", Some(self.rate_hz), RATES_HZ);
        within("the latency, in s,", Some(self.latency_s), (0.0, 1.0));
        within(
            "the derivative's filter, in s,",
            self.filter_s,
            (0.0, 100.0),
        );
        within(
            "the sensitivity peak",
            Some(self.sensitivity_peak),
            (1.0, 10.0),
        );
        within("the largest command, in deg,", self.limit_deg, (1e-3, 90.0));
        within(
            "the fastest change of the command, in deg/s,",
            self.slew_deg_s,
            (1e-3, 1e6),
        );
        within(
            "the noise of a tilt, in deg,",
            self.tilt_noise_deg,
            (0.0, 90.0),
        );
        within(
            "the noise of a rate, in deg/s,",
            self.rate_noise_deg_s,
            (0.0, 1e5),
        );
        within(
            "the share of peak thrust",
            Some(self.thrust_from),
            (0.0, 1.0),
        );
        within(
            "the first tilt, in deg,",
            Some(self.first_tilt_deg),
            (1e-6, 180.0),
        );
        if out.is_empty() {
            Ok(())
        } else {
            Err(Problems(out))
        }
    }
}
