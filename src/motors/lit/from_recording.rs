//! What the verdict on the motors rests on, gathered: cells of single motors, fire commands, motion.

use indexmap::IndexMap;

use super::input::VerdictInput;
use super::order::AxisEvidence;
use super::verdict::Verdict;
use super::{cells, firing_evidence};
use crate::burn::{Burn, Recording};
use crate::config::Firing;

/// All that says which motors lit; `None` for a firing without motors. `earlier` is the verdict before the burn was
/// measured again with the motors that lit.
#[must_use]
pub(crate) fn gather<'a>(
    recording: &'a Recording<'_>,
    burn: Option<&'a Burn>,
    axes: Vec<AxisEvidence>,
    earlier: Option<&Verdict>,
) -> Option<VerdictInput<'a>> {
    let firing = recording.firing;
    if firing.motors.is_empty() {
        return None;
    }
    let fire_s = fire_commands(recording, burn.and_then(|burn| burn.within_s));
    let lit = earlier.map_or_else(
        || firing.motors.keys().cloned().collect(),
        |verdict| verdict.lit.clone(),
    );
    let felt = burn.map(|burn| cells::read(recording, burn, &lit, &fire_s));
    let mut felt = felt.unwrap_or_default();
    let evidence = firing_evidence::all(recording, burn, &mut felt, &axes, earlier);
    Some(VerdictInput {
        motors: &firing.motors,
        evidence,
        thrust: burn.map(|burn| &burn.trace.thrust),
        own: felt.own,
        shared: felt.shared,
        fire_s,
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
