//! What the cells read of the motors they carry: of one motor where it has cells of its own, of several where they share
//! them.
//!
//! Cells that carry a motor in common belong together, and each such group of cells is measured by itself, so that no
//! reading counts twice. Where a burn is surely found it is measured. Where nothing stands out, what was read during the
//! burn of the others is an impulse too, of about nothing. In between, or where a cell cannot be believed, nothing is
//! said.

use indexmap::IndexMap;

use super::burst::{self, ONE_FIRING_S};
use super::course::follows;
use super::group::{Group, groups};
use super::input::{OwnCell, SharedBurn, SharedCells, Top};
use super::puff::{self, Before};
use super::timing::IGNITION_FRACTION;
use crate::burn::segmentation::Choice;
use crate::burn::thrust::{self, WeightLoss};
use crate::burn::{Burn, Delay, Located, Recording, baseline, locate, measure};
use crate::calibration::Load;
use crate::config::Firing;
use crate::numeric::trapezoid;
use crate::quantity::{Measured, Unit};
use crate::series::Series;
use crate::uncertainty::measured;

/// What all cells read.
#[derive(Default)]
pub(super) struct Felt {
    /// Of motors with cells of their own.
    pub own: IndexMap<String, OwnCell>,
    /// Of motors that share cells.
    pub shared: Vec<SharedCells>,
}

impl Felt {
    /// What the cells feel that do not carry these motors, N s; of what was not measured, or not to the end, what the motors
    /// are certified for.
    pub(super) fn others_ns(&self, firing: &Firing, motors: &[usize]) -> f64 {
        let all = 0..firing.motors.len();
        let mut rest: Vec<usize> = all.filter(|at| !motors.contains(at)).collect();
        let mut sum_ns = 0.0;
        for (name, cell) in self.own.iter().filter(|one| one.1.whole) {
            let at = firing.motors.get_index_of(name);
            if let Some(place) = rest.iter().position(|one| Some(*one) == at) {
                rest.swap_remove(place);
                sum_ns += cell.total_ns.value.abs();
            }
        }
        for cells in &self.shared {
            if let (true, Some(total_ns)) = (rest.contains(&cells.motors[0]), &cells.total_ns) {
                rest.retain(|one| !cells.motors.contains(one));
                sum_ns += total_ns.value.abs();
            }
        }
        let certified_ns = |at: usize| firing.motors[at].certified.as_ref()?.total_impulse_ns();
        sum_ns + rest.into_iter().filter_map(certified_ns).sum::<f64>()
    }
}

/// What presses a cell, is not surely a burn, and gives at least this share of the certified impulse is neither a burn
/// nor silence. Common practice, no source.
const UNCLEAR: f64 = 0.15;

/// Reads every group of cells; `lit` are the motors whose propellant is taken to have burnt.
pub(super) fn read(
    recording: &Recording<'_>,
    burn: &Burn,
    lit: &[String],
    fire_s: &IndexMap<String, (f64, f64)>,
) -> Felt {
    let firing = recording.firing;
    let mut out = Felt::default();
    for group in groups(firing) {
        let sound = |name: &&str| !recording.unsound.contains_key(*name);
        let sound = group.cells.iter().all(sound);
        if !sound && group.motors.len() > 1 {
            continue;
        }
        let names = group
            .motors
            .iter()
            .filter_map(|at| firing.motors.get_index(*at));
        let names: Vec<&String> = names.map(|(name, _)| name).collect();
        let Some(reading) = group.reading(recording, burn, &names, lit) else {
            continue;
        };
        match names.as_slice() {
            [name] => {
                let fire_s = fire_s.get(*name).map(|fire| fire.0);
                let own = reading.of_one(burn, fire_s);
                // Of a cell that was at its rail for a while, a burn tells that the motor lit, and silence nothing.
                let own = own.filter(|own| sound || !own.thrust.is_empty());
                let hides_spike = group.hides_spike(recording, around_s(burn));
                let own = own.map(|own| OwnCell {
                    whole: sound,
                    hides_spike,
                    ..own
                });
                out.own.extend(own.map(|own| ((*name).clone(), own)));
            }
            _ => {
                let hides_spike = group.hides_spike(recording, around_s(burn));
                let shared = reading.of_several(group.motors);
                out.shared.push(SharedCells {
                    hides_spike,
                    ..shared
                });
            }
        }
    }
    out
}

/// When a motor may still burst, s.
fn around_s(burn: &Burn) -> (f64, f64) {
    let (from_s, to_s) = burn.window_s();
    (from_s - ONE_FIRING_S, to_s + ONE_FIRING_S)
}

/// What a group of cells reads.
enum Reading<'a> {
    /// These cells are all there are.
    All(&'a Burn),
    Burnt(Box<Burn>),
    /// Its impulse during the burn of the others, and the top of what it read.
    Silent(Measured, Top),
}

impl Group<'_> {
    fn reading<'a>(
        &self,
        recording: &Recording<'_>,
        burn: &'a Burn,
        names: &[&String],
        lit: &[String],
    ) -> Option<Reading<'a>> {
        let firing = recording.firing;
        let readings = self.readings(recording);
        if readings.len() == recording.readings.len() {
            return Some(Reading::All(burn));
        }
        let load = Load::from_cells(&readings)?;
        let within_s = firing.reduce.window_s.or_else(|| {
            let (from_s, to_s) = burn.window_s();
            Some((from_s - ONE_FIRING_S, to_s + ONE_FIRING_S))
        });
        let split = locate::split(firing, &load, within_s);
        if let Choice::Burn(found) = split.choice() {
            let mut located = Located::at(recording, &load, found, within_s)?;
            let mine = firing
                .cells
                .iter()
                .filter(|one| self.cells.contains(&one.0.as_str()));
            located.delay = Delay::of(mine.map(|one| one.1), &load);
            let burnt = names.iter().filter(|name| lit.contains(name));
            let mut burnt: Vec<String> = burnt.map(|name| (*name).clone()).collect();
            if burnt.is_empty() {
                burnt = names.iter().map(|name| (*name).clone()).collect();
            }
            let burn = measure(recording, &located, &burnt)?;
            return Some(Reading::Burnt(Box::new(burn)));
        }
        // What may be a burn, only not surely, is no silence; what presses a little is an impulse to be weighed.
        let certified = names.iter().filter_map(|name| {
            let certified = firing.motors.get(*name)?.certified.as_ref()?;
            certified.total_impulse_ns()
        });
        let certified_ns = certified.reduce(f64::min).unwrap_or(0.0);
        let (least_ns, most_ns) = (
            firing.reduce.least_impulse * certified_ns,
            UNCLEAR * certified_ns,
        );
        let mut stands_out = false;
        let (mut from_s, mut to_s) = burn.window_s();
        if self.hides_spike(recording, around_s(burn)) {
            return None;
        }
        let since_s = from_s - ONE_FIRING_S;
        for one in split.pressed().filter(|one| one.to_s > since_s) {
            if one.area_ns >= most_ns {
                return None;
            }
            stands_out |= one.area_ns > least_ns;
            (from_s, to_s) = (from_s.min(one.from_s), to_s.max(one.to_s));
        }
        let (silent, read_n, noise_n) = silent(load, (from_s, to_s))?;
        // What is no share of what the other cells read may be a smaller motor.
        (!stands_out || follows(&read_n, &burn.trace.thrust, noise_n)).then_some(silent)
    }
}

impl Reading<'_> {
    /// Of the motor that alone loads the cells.
    fn of_one(&self, all: &Burn, fire_s: Option<f64>) -> Option<OwnCell> {
        let alone = match self {
            Self::All(burn) => burn,
            Self::Burnt(burn) => &**burn,
            Self::Silent(total_ns, top) => {
                return Some(OwnCell {
                    total_ns: total_ns.clone(),
                    top: *top,
                    ignition_s: None,
                    relight_s: None,
                    thrust: Series::default(),
                    whole: true,
                    hides_spike: false,
                });
            }
        };
        let burning = &alone.description;
        let began_s = burning.report.ignition_s.clone();
        let thrust = &alone.trace.thrust;
        let level_n = IGNITION_FRACTION * burning.peak.value_n;
        let noise_n = alone.trace.noise_n();
        // The record may be split between a puff and the burn, or not; a knock before the burn is neither.
        let burning_n = thrust.between(f64::NEG_INFINITY, burning.window_s.1);
        let again = |began: &Measured| puff::rises_again(&burning_n, began, (level_n, noise_n));
        let burn_s = began_s.as_ref().and_then(again).or(began_s);
        let puff_s = burn_s.as_ref().and_then(|burn| {
            puff::find(&Before {
                thrust,
                all: &all.trace.thrust,
                burn,
                level_n,
                noise_n,
                fire_s,
                may_pop: false,
            })
        });
        Some(OwnCell {
            total_ns: alone.impulse.total_ns.clone()?,
            top: burst::top_of(
                &alone
                    .trace
                    .thrust
                    .between(burning.window_s.0, burning.window_s.1),
            ),
            relight_s: puff_s.as_ref().and(burn_s.clone()),
            ignition_s: puff_s.or(burn_s),
            thrust: alone.trace.thrust.clone(),
            whole: true,
            hides_spike: false,
        })
    }

    /// Of several motors.
    fn of_several(&self, motors: Vec<usize>) -> SharedCells {
        let burn = match self {
            Self::All(burn) => burn,
            Self::Burnt(burn) => &**burn,
            Self::Silent(total_ns, top) => {
                return SharedCells {
                    motors,
                    total_ns: Some(total_ns.clone()),
                    top: *top,
                    burn: None,
                    hides_spike: false,
                    spike: false,
                };
            }
        };
        let burning = &burn.description;
        SharedCells {
            motors,
            total_ns: burn.impulse.total_ns.clone(),
            top: Top::default(),
            hides_spike: false,
            spike: false,
            burn: Some(SharedBurn {
                thrust: burn.trace.thrust.clone(),
                edges: burning.edges.clone(),
                noise_n: burning.edge_noise_n,
                window_s: burn.window_s(),
                clock_u_s: burning.report.ignition_s.as_ref().map_or(0.0, |one| one.u),
                course: None,
            }),
        }
    }
}

/// Impulse of cells in which nothing stood out: what they read during the burn of the others, above their
/// baseline, whose drift is what such an impulse mostly is made of; what they read, N, and its noise.
fn silent<'a>(load: Load, (from, to): (f64, f64)) -> Option<(Reading<'a>, Series, f64)> {
    let rows = load.time_s.partition_point(|time| *time < from)
        ..load.time_s.partition_point(|time| *time <= to);
    if rows.is_empty() {
        return None;
    }
    let line = baseline::find(&load.time_s, &load.force_n, &rows);
    let trace = thrust::thrust(load, line, (from, to), &WeightLoss::none(), None)?;
    let weights = trapezoid::weights(trace.thrust.time_s(), from, to);
    let value = trapezoid::area_between(&trace.thrust, from, to);
    // A motor that burst before or after the others burnt is no silence.
    let part = trace.thrust.between(from - ONE_FIRING_S, to + ONE_FIRING_S);
    let total_ns = measured(value, &trace.terms(&weights), Unit::NewtonSecond);
    let read_n = trace.thrust.between(from, to);
    let silent = Reading::Silent(total_ns, burst::top_of(&part));
    Some((silent, read_n, trace.noise_n()))
}
