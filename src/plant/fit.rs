//! One axis from input to plant: calls the fits in their order.

use super::actuator::RAD_PER_DEG;
use super::axis_plant::{nozzle_plant, tilt_plant, unknown_plant};
use super::kalman_filter::NoiseModel;
use super::nozzle_fit::{ActuatorFit, fit_actuator, fit_rig};
use super::progress::FitProgress;
use super::tilt_only_fit::fit_tilt_only;
use super::{AxisInput, AxisPlant, AxisTrace};
use crate::diagnostic::{Code, Diagnostic};
use crate::numeric::least_squares::Ended;
use crate::series::Series;

/// What came of one axis.
#[derive(Debug, Clone)]
pub struct AxisFit {
    /// The plant; all unknown, with reasons, when nothing could be fitted.
    pub plant: AxisPlant,
    /// Signals and model, for pictures.
    pub trace: AxisTrace,
    /// What deserves attention.
    pub warnings: Vec<Diagnostic>,
    /// The actuator behind it, where the nozzle angle is measured.
    pub actuator: Option<ActuatorFit>,
    /// The noise of tilt and rate, where they were fitted.
    pub(crate) noise: Option<NoiseModel>,
}

/// Fits one axis.
#[cfg(test)]
pub(crate) fn fit_axis(input: &AxisInput) -> AxisFit {
    refit_axis(input, None, &|| ())
}

/// Fits one axis again, now that thrust is known better: an actuator that is seen through the same
/// commands and angles is taken from the earlier fit. `tell` is called `progress::STEPS` times on the way.
#[must_use]
pub(crate) fn refit_axis(input: &AxisInput, earlier: Option<&AxisFit>, tell: &dyn Fn()) -> AxisFit {
    let progress = FitProgress::new(tell);
    let fit = fit_stages(input, earlier, &progress);
    progress.finish();
    fit
}

fn fit_stages(input: &AxisInput, earlier: Option<&AxisFit>, progress: &FitProgress<'_>) -> AxisFit {
    let mut trace = measured_trace(input);
    let noise = earlier.and_then(|earlier| earlier.noise);
    let earlier = earlier.and_then(|earlier| earlier.actuator.as_ref());
    if let Some(actuator) = fit_actuator(input, earlier, progress) {
        let rig = fit_rig(input, &actuator, noise, progress);
        let plant = nozzle_plant(input, &actuator, rig.as_ref(), &mut trace);
        let mut out = done(plant, trace, input);
        (out.actuator, out.noise) = (Some(actuator), rig.map(|rig| rig.tilt.noise));
        return out;
    }
    if let Some(alone) = fit_tilt_only(input, noise, progress) {
        let plant = tilt_plant(input, &alone, &mut trace);
        let mut out = done(plant, trace, input);
        out.noise = Some(alone.tilt.noise);
        return out;
    }
    let (what, hint) = why_not_fitted(input);
    let warning = Diagnostic::warning(
        Code::AxisNotFitted,
        format!("axis {} cannot be fitted: {what}", input.name),
    );
    AxisFit {
        plant: unknown_plant(input, &mut trace, (what, hint)),
        trace,
        warnings: vec![warning.hint(hint)],
        actuator: None,
        noise: None,
    }
}

/// Why nothing could be fitted, and what would help.
fn why_not_fitted(input: &AxisInput) -> (&'static str, &'static str) {
    let unseen =
        input.nozzle_rad.is_none() && input.tilt_rad.is_none() && input.rate_rad_s.is_none();
    if unseen {
        (
            "it has neither nozzle angle nor tilt nor rate",
            "give the axis a nozzle, tilt or rate signal",
        )
    } else {
        (
            "the command does not move while readings are there, or the readings are too few",
            "command at least 8 reversals of 2 deg or more within the burn, and log at 100 Hz or more",
        )
    }
}

fn done(plant: AxisPlant, trace: AxisTrace, input: &AxisInput) -> AxisFit {
    let mut warnings = Vec::new();
    if plant.fit.ended != Ended::Converged {
        warnings.push(Diagnostic::warning(
            Code::PlantNotConverged,
            format!("axis {}: the fit {}", input.name, plant.fit.ended.words()),
        ));
    }
    AxisFit {
        plant,
        trace,
        warnings,
        actuator: None,
        noise: None,
    }
}

fn measured_trace(input: &AxisInput) -> AxisTrace {
    let in_degrees = |series: &Option<Series>| {
        series
            .as_ref()
            .map(|series| series.map(|_, angle| angle / RAD_PER_DEG))
    };
    AxisTrace {
        command_deg: input.command_deg.clone(),
        nozzle_deg: in_degrees(&input.nozzle_rad),
        tilt_deg: in_degrees(&input.tilt_rad),
        rate_deg_s: in_degrees(&input.rate_rad_s),
        ..AxisTrace::default()
    }
}
