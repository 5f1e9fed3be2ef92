//! Plausibility of a gains file and of a controller specification.

use super::gains::{AxisGains, GainsFile, SCHEMA};
use super::specification::Specification;
use crate::diagnostic::{Code, Diagnostic, Error};
use crate::plausible::{Misfit, Plausible, Validator};
use crate::quantity::range::Range;

/// Slowest and fastest loop, Hz.
const RATES_HZ: (f64, f64) = (1.0, 20_000.0);

/// Longest time of a schedule, s.
const LONGEST_S: f64 = 600.0;

impl Plausible for GainsFile {
    fn misfits(&self) -> Vec<Misfit> {
        let mut validator = Validator::default();
        validator.axes((self.schema, SCHEMA), &self.axes, of_axis);
        validator.done()
    }
}

fn of_axis(axis: &AxisGains, validator: &mut Validator) {
    validator.number("late_s", axis.latency_s, 0.0, 1.0);
    validator.within("controller", |validator| {
        let of = &axis.controller;
        validator.number("period_s", of.period_s, 1.0 / RATES_HZ.1, 1.0 / RATES_HZ.0);
        validator.number("kp", of.kp, -1e6, 1e6);
        validator.number("ki_per_s", of.ki_per_s, -1e6, 1e6);
        validator.number("kd_s", of.kd_s, -1e6, 1e6);
        validator.number("filter_s", of.filter_s, 0.0, 100.0);
        validator.number("set_point_weight", of.set_point_weight, -10.0, 10.0);
        validator.number("limit_deg", of.limit_deg, 1e-3, 90.0);
        validator.perhaps("slew_deg_s", of.slew_deg_s, 1e-3, 1e6);
        validator.number("tracking_s", of.tracking_s, 1e-6, 1e9);
        validator.number("glide_s", of.fade_s, 0.0, 100.0);
    });
    if let Some(of) = &axis.schedule {
        validator.within("schedule", |validator| {
            validator.number("reference_n", of.reference_n, 1e-6, 1e6);
            let factors = ("factor", of.factor.as_slice(), 1e6);
            validator.course(("time_s", &of.time_s), factors, LONGEST_S);
        });
    }
}

impl Specification {
    /// Refuses a specification that no flight computer has.
    ///
    /// # Errors
    /// Each of them that lies out of its range.
    pub fn validate(&self) -> Result<(), Error> {
        let mut out = Vec::new();
        let mut within = |what: &str, value: Option<f64>, (low, high): (f64, f64), unit: &str| {
            let range = Range::Between(low, high);
            if value.is_some_and(|value| !range.holds(value, 1.0)) {
                let text = format!("{what} {}", range.rule(unit));
                out.push(Diagnostic::error(Code::OutOfRange, text).hint("choose another"));
            }
        };
        within("the rate of the loop", Some(self.rate_hz), RATES_HZ, "Hz");
        let latency = Some(self.latency_s);
        within("the latency of the command", latency, (0.0, 1.0), "s");
        within("the derivative's filter", self.filter_s, (0.0, 100.0), "s");
        let peak = Some(self.sensitivity_peak);
        within("the sensitivity peak", peak, (1.0, 10.0), "");
        within("the largest command", self.limit_deg, (1e-3, 90.0), "deg");
        let slew = self.slew_deg_s;
        within("the slew limit of the command", slew, (1e-3, 1e6), "deg/s");
        within(
            "the noise of a tilt",
            self.tilt_noise_deg,
            (0.0, 90.0),
            "deg",
        );
        let rate_noise = self.rate_noise_deg_s;
        within("the noise of a rate", rate_noise, (0.0, 1e5), "deg/s");
        let share = Some(self.thrust_from);
        within("the share of peak thrust", share, (0.0, 1.0), "");
        let first_tilt = Some(self.first_tilt_deg);
        within("the first tilt", first_tilt, (1e-6, 180.0), "deg");
        Error::if_any(out)
    }
}
