//! What would narrow a result most: inputs bettered one by one.
//!
//! What the firing's own results rest on (masses, the cell's delay, propellant) is bettered all at once in a few
//! rehearsals, since each of these tells on a result of its own; what the axes rest on by the ratio of the
//! information matrices with and without it ([`super::information`]), which costs no rehearsal.

use indexmap::IndexMap;

use super::design::commands_sent;
use super::expected::Expected;
use super::information::Setup;
use super::widths::{Bettered, Case, HalfWidth, OF_FIRING, half_width};
use crate::config::Firing;
use crate::plant::Parameter;
use crate::quantity::{Given, Quantity, Ratio, Spread};
use crate::reduce::FiringResult;
use crate::series::Series;

/// Less of a gain than this is none that a few draws could tell.
const WORTH: f64 = 0.95;
/// Tolerance of good weights, as a share, and of a good balance, kg.
const GOOD_MASSES: f64 = 2e-4;
const GOOD_BALANCE_KG: f64 = 1e-5;

/// A firing that is bettered, and by what: the change, and the place in [`OF_FIRING`] of what rests on it.
pub(super) struct BetterFiring {
    pub firing: Firing,
    changes: Vec<(&'static str, usize)>,
}

/// The firing with everything bettered that can be; `None` where nothing can.
pub(super) fn better_firing(of: &Firing) -> Option<BetterFiring> {
    let mut firing = of.clone();
    let mut changes = Vec::new();
    let mut change = |worth: bool, says, result| {
        if worth && !changes.contains(&(says, result)) {
            changes.push((says, result));
        }
        worth
    };
    for cell in firing.cells.values_mut() {
        let tolerance = |given: &Given<Ratio>| {
            let u = given.standard_uncertainty().unwrap_or(0.0);
            given.si().abs().max(u)
        };
        let coarse = cell
            .masses
            .as_ref()
            .is_none_or(|one| tolerance(one) > GOOD_MASSES);
        if change(coarse, "masses of 0.02 %", TOTAL_IMPULSE) {
            cell.masses = Some(Given::plain(Ratio::from_si(GOOD_MASSES)));
        }
        if let Some(delay) = &mut cell.delay
            && change(
                delay.spread != Spread::Unstated,
                "the cell's delay known exactly",
                IGNITION,
            )
        {
            delay.spread = Spread::Unstated;
        }
    }
    for mass in firing
        .motors
        .values_mut()
        .filter_map(|motor| motor.propellant.mass.as_mut())
    {
        if change(
            mass.spread != Spread::Unstated,
            "propellant weighed to 0.01 g",
            SPECIFIC_IMPULSE,
        ) {
            mass.spread = Spread::Limits(GOOD_BALANCE_KG);
        }
    }
    (!changes.is_empty()).then_some(BetterFiring { firing, changes })
}

/// Places in [`OF_FIRING`].
const TOTAL_IMPULSE: usize = 0;
const SPECIFIC_IMPULSE: usize = 1;
const IGNITION: usize = 2;

/// What each change gains over the same draws.
pub(super) fn of_firing(
    of: &BetterFiring,
    own: &[Option<&FiringResult>],
    bettered: &[Option<&FiringResult>],
) -> Vec<Bettered> {
    // Only draws that both ways could be reduced in.
    let both = own
        .iter()
        .zip(bettered)
        .filter_map(|(own, other)| Some(((*own)?, (*other)?)));
    let (own, other): (Vec<&FiringResult>, Vec<&FiringResult>) = both.unzip();
    let each = of.changes.iter().filter_map(|(change, at)| {
        let (name, result) = OF_FIRING[*at];
        let was = half_width(name, &own, result)?;
        let now = half_width(name, &other, result)?;
        gain(change, (*name).to_owned(), &was, now.median / was.median)
    });
    each.collect()
}

/// What each change of an axis' recorders gains; `case` is the one with all lit.
pub(super) fn of_axes(
    firing: &Firing,
    expected: &Expected,
    thrust_n: &Series,
    case: &Case,
) -> Vec<Bettered> {
    let mut out = Vec::new();
    let mut with = |change: &str, firing: &Firing, expected: &Expected| {
        out.extend(most_gained(change, firing, expected, thrust_n, case));
    };
    let mut pots = firing.clone();
    let without = pots.axes.values_mut().filter(|axis| axis.nozzle.is_none());
    let mut changed = 0;
    for axis in without {
        axis.nozzle = Some(axis.command.clone());
        changed += 1;
    }
    if changed > 0 {
        with("a pot on the nozzle", &pots, expected);
    }
    let logs = firing.axes.values().flat_map(|axis| {
        let seen = [axis.nozzle.as_ref(), axis.tilt.as_ref(), axis.rate.as_ref()];
        seen.into_iter().flatten().map(|one| one.log.value.clone())
    });
    let mut logs: Vec<String> = logs.collect();
    logs.sort();
    logs.dedup();
    for log in logs {
        let mut faster = expected.clone();
        if let Some(rate_hz) = faster.rates_hz.get_mut(&log) {
            *rate_hz *= 2.0;
            let change = format!("log {log} at {rate_hz:.0} Hz");
            with(&change, firing, &faster);
        }
    }
    let mut quieter = expected.clone();
    for axis in quieter.axes.values_mut() {
        axis.nozzle_noise_rad *= 0.5;
        axis.tilt_noise_rad *= 0.5;
        axis.rate_noise_rad_s *= 0.5;
    }
    with(
        "half the noise of nozzle angle, tilt and rate",
        firing,
        &quieter,
    );
    out
}

fn most_gained(
    change: &str,
    firing: &Firing,
    expected: &Expected,
    thrust_n: &Series,
    case: &Case,
) -> Option<Bettered> {
    let each = expected.axes.iter().flat_map(|(name, axis)| {
        let setup = Setup::new(firing, (name, axis), &expected.rates_hz, thrust_n);
        let widths: IndexMap<Parameter, f64> = setup
            .map(|setup| setup.half_widths(&commands_sent(&setup)))
            .unwrap_or_default();
        let own = case.axes.get(name).into_iter().flatten();
        own.filter_map(move |was| {
            let with = widths.iter().find(|(one, _)| one.label() == was.name)?;
            Some((
                format!("{}, axis {name}", was.name),
                was,
                with.1 / was.information?,
            ))
        })
    });
    let each: Vec<(String, &HalfWidth, f64)> = each.collect();
    let (result, was, ratio) = each.into_iter().min_by(|a, b| a.2.total_cmp(&b.2))?;
    gain(change, result, was, ratio)
}

fn gain(change: &str, result: String, was: &HalfWidth, ratio: f64) -> Option<Bettered> {
    (ratio < WORTH).then(|| Bettered {
        change: change.to_owned(),
        result,
        unit: was.unit,
        half_width: ratio * was.median,
        was: was.median,
    })
}
