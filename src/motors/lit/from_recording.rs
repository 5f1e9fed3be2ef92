//! What the verdict on the motors rests on, gathered: cells of single motors, fire commands, motion.

use indexmap::IndexMap;

use super::firing_evidence;
use super::input::{OwnCell, VerdictInput};
use super::order::AxisEvidence;
use super::own_cells::impulse_in_cells_of;
use crate::burn::{Burn, Recording};
use crate::config::Firing;

/// All that says which motors lit; `None` for a firing without motors.
#[must_use]
pub(crate) fn gather<'a>(
    recording: &'a Recording<'_>,
    burn: Option<&'a Burn>,
    axes: Vec<AxisEvidence>,
) -> Option<VerdictInput<'a>> {
    let firing = recording.firing;
    if firing.motors.is_empty() {
        return None;
    }
    let own = own_cells(recording, burn);
    Some(VerdictInput {
        motors: &firing.motors,
        evidence: firing_evidence::all(recording, burn, &own, &axes),
        thrust: burn.map(|burn| &burn.trace.thrust),
        edges: burn.map(|burn| &burn.description.edges),
        noise_n: burn.map_or(0.0, |burn| burn.description.edge_noise_n),
        window_s: burn.map_or((0.0, 0.0), Burn::window_s),
        clock_u_s: burn
            .and_then(|burn| burn.description.report.ignition_s.as_ref())
            .map_or(0.0, |ignition| ignition.u),
        own,
        fire_s: fire_commands(recording, burn.and_then(|burn| burn.within_s)),
        motion: axes.into_iter().filter_map(|axis| axis.motion).collect(),
        inertia: inertia(firing),
        spread: firing.reduce.motor_spread,
    })
}

fn inertia(firing: &Firing) -> IndexMap<String, (f64, f64)> {
    let each = firing.axes.iter().filter_map(|(name, axis)| {
        let given = axis.inertia.as_ref()?;
        let u = given.standard_uncertainty().unwrap_or(0.0);
        Some((name.clone(), (given.si(), u)))
    });
    each.collect()
}

fn fire_commands(
    recording: &Recording<'_>,
    within_s: Option<(f64, f64)>,
) -> IndexMap<String, (f64, f64)> {
    let channels = &recording.signals.channels;
    let motors = recording.firing.motors.iter();
    motors
        .filter_map(|(name, motor)| {
            let edge = channels.first_rise(motor.fire.as_ref()?, within_s)?;
            Some((name.clone(), edge))
        })
        .collect()
}

/// What the cells that carry a single motor say of it.
fn own_cells(recording: &Recording<'_>, burn: Option<&Burn>) -> IndexMap<String, OwnCell> {
    let firing = recording.firing;
    let Some(burn) = burn.filter(|_| firing.motors.len() > 1) else {
        return IndexMap::new();
    };
    let one = |motor: &String| {
        let own = impulse_in_cells_of(recording, burn, &[motor.as_str()])?;
        Some((motor.clone(), own))
    };
    firing.motors.keys().filter_map(one).collect()
}
