//! Evidence of which motors lit, piece by piece, from whatever the stand has.

use super::burst::{self, ONE_FIRING_S};
use super::cells::Felt;
use super::circumstance;
use super::course::course_of;
use super::evidence::{self, Beside, Course, Delivers, Expected};
use super::hypothesis::{self, EvidenceTerm, MOST_MOTORS, Subset};
use super::input::{OwnCell, SharedCells};
use super::order::AxisEvidence;
use super::part::Pattern;
use super::quiet;
use super::shape::{self, SetFits, Shared};
use super::thrust_steps;
use super::verdict::Verdict;
use crate::burn::segmentation::SegmentKind;
use crate::burn::{Burn, Recording};
use crate::calibration::gravity;
use crate::config::{Firing, Motor, Signal};
use crate::numeric::noise;
use crate::quantity::{Given, Measured, Unit};
use crate::series::Series;

/// How far thrust may point beside the rocket's axis with nothing wrong, rad: motors seated askew
/// and a nozzle centred by eye make about a degree. Common practice, no source.
const ALIGNMENT_RAD: f64 = 0.017;

/// ... and how far a motor may sit beside its stated place, m.
const SEATING_M: f64 = 0.001;

/// All pieces of evidence. What explains the course of the thrust that motors share is kept beside what their cells read;
/// `earlier` is the verdict before the burn was measured again.
pub(super) fn all(
    recording: &Recording<'_>,
    burn: Option<&Burn>,
    felt: &mut Felt,
    axes: &[AxisEvidence],
    earlier: Option<&Verdict>,
) -> Vec<EvidenceTerm> {
    let firing = recording.firing;
    let count = firing.motors.len().min(MOST_MOTORS);
    let Some(burn) = burn else {
        return quiet::evidence(recording);
    };
    let certified_ns = |motor: &Motor| motor.certified.as_ref()?.total_impulse_ns();
    let expected: Vec<Option<f64>> = firing.motors.values().map(certified_ns).collect();
    let certified: Option<Vec<f64>> = expected.iter().take(count).copied().collect();
    let own = felt.own.iter();
    let place = |name: &String| firing.motors.get_index_of(name).unwrap_or(0);
    let pressed = own.clone().any(|(name, cell)| {
        let certified_ns = expected[place(name)];
        certified_ns.is_some_and(|one| cell.total_ns.value > STRONG * one)
    });
    let mut out: Vec<EvidenceTerm> = own
        .map(|(name, cell)| {
            let at = place(name);
            let beside = Beside {
                course: match course_of(cell, &firing.motors[at], &burn.trace.thrust) {
                    // What pressed one cell beyond its motor presses the others as likely.
                    Course::Burn | Course::OwnBurn if pressed => Course::Flat,
                    course => course,
                },
                others_ns: felt.others_ns(firing, &[at]),
            };
            own_impulse(firing, (at, name, cell), beside, &expected, count)
        })
        .collect();
    out.extend(weighings(firing, &expected));
    out.extend(mass_lost(recording, burn));
    out.extend(pressure(recording, burn, count));
    out.extend(asked(recording, burn, count));
    if let Some(certified) = &certified {
        let each = axes.iter();
        out.extend(each.filter_map(|axis| torque(firing, axis, certified)));
    }
    let others_ns: Vec<f64> = felt
        .shared
        .iter()
        .map(|cells| felt.others_ns(firing, &cells.motors))
        .collect();
    for (cells, others_ns) in felt.shared.iter_mut().zip(others_ns) {
        cells.spike = spike(firing, cells);
        let mut here = Vec::from_iter(shared_impulse(firing, cells, others_ns, &expected));
        let rest = hypothesis::total(count, &out);
        let other = rest.iter().zip(hypothesis::total(count, &here));
        let other = other.map(|(rest, here)| rest + here).collect();
        let before = earlier.and_then(|verdict| verdict.course_of(&cells.motors));
        let (course, explained) = course(firing, cells, (other, before)).unzip();
        here.extend(course);
        let is = |of: fn(&SetFits) -> bool| explained.as_ref().is_some_and(of);
        let unexplained = is(|one| one.misfit() > EXPLAINED);
        let odd = is(|one| one.shares().0 < FAINT || one.shares().1 > STRONG);
        if let Some(burn) = &mut cells.burn {
            burn.course = explained;
            if here.is_empty() {
                let rises = thrust_steps::rises(&burn.edges, burn.window_s);
                here.push(thrust_steps::evidence(count, &cells.motors, rises));
            }
        }
        if unexplained || odd {
            // What a hand adds to a burn takes nothing from it: that something burnt stands, where it gives as much as a motor.
            let certified_ns = cells.motors.iter().filter_map(|at| expected[*at]);
            let least_ns = FAINT * certified_ns.fold(f64::INFINITY, f64::min);
            let little = |total_ns: &Measured| total_ns.value < least_ns;
            let unexplained = unexplained || cells.total_ns.as_ref().is_some_and(little);
            let burns = |subset: Subset| cells.motors.iter().any(|motor| subset.has(*motor));
            let doubted = |subset: Subset| unexplained || burns(subset);
            here.iter_mut().for_each(|piece| cap(piece, &doubted));
        }
        out.extend(here);
    }
    let mut elsewhere = fired_later(recording, burn, count);
    if burns_elsewhere(recording, burn) {
        elsewhere.extend(felt.shared.iter().flat_map(|cells| &cells.motors));
    }
    out.iter_mut()
        .for_each(|piece| burst::unseen(piece, &elsewhere, 1.0));
    out
}

/// What else may be a motor's burn has this share of the least certified impulse.
const LEAST_ELSEWHERE: f64 = 0.1;

/// Whether something else in the record, near enough to be of the same firing, may be one of its motors: then this burn does
/// not speak against any that it is not.
fn burns_elsewhere(recording: &Recording<'_>, burn: &Burn) -> bool {
    let (burn_from_s, burn_to_s) = burn.window_s();
    let near_s = (burn_from_s - ONE_FIRING_S)..(burn_to_s + ONE_FIRING_S);
    let motors = recording.firing.motors.values();
    let certified = motors.filter_map(|motor| motor.certified.as_ref()?.total_impulse_ns());
    let least_ns = LEAST_ELSEWHERE * certified.fold(f64::INFINITY, f64::min);
    recording.segmentation.segments.iter().any(|one| {
        matches!(one.kind, SegmentKind::Burn | SegmentKind::Unclear)
            && (near_s.contains(&one.from_s) || near_s.contains(&one.to_s))
            && (one.to_s < burn_from_s || one.from_s > burn_to_s)
            && one.area_ns > least_ns
    })
}

/// Motors whose fire line rises only after the burn: they may burn then, or the lines' clock is wrong. What this burn shows
/// does not speak against them.
fn fired_later(recording: &Recording<'_>, burn: &Burn, count: usize) -> Vec<usize> {
    let motors = recording.firing.motors.values().take(count).enumerate();
    let later = motors.filter(|(_, motor)| {
        let line = motor
            .fire
            .as_ref()
            .and_then(|fire| rise(recording, fire, burn));
        line == Some(Rise::Later)
    });
    later.map(|(at, _)| at).collect()
}

/// Where the best set leaves more than this share of the peak (RMS), something happened that no hypothesis holds ...
pub(super) const EXPLAINED: f64 = 0.07;

/// ... and so it did where the best set needs a motor that gives less than this share of its certified impulse: a hand, or a
/// knock, gives as much ...
const FAINT: f64 = 0.65;

/// ... and so does one that gives more than this: it may be another motor, or two ...
const STRONG: f64 = 1.5;

/// ... and neither impulse nor course may weigh more than this: both together leave the verdict undecided.
const CAPPED: f64 = 1.8;

fn cap(piece: &mut EvidenceTerm, doubted: &dyn Fn(Subset) -> bool) {
    let each = piece.log_likelihood.iter().copied();
    let best = each.fold(f64::NEG_INFINITY, f64::max);
    for (at, log) in piece.log_likelihood.iter_mut().enumerate() {
        if doubted(Subset(at as u32)) {
            *log = log.max(best - CAPPED);
        }
    }
    piece.says += "; no set of motors explains that well, so it hardly counts";
}

/// Whether a spike stands out of what motors share that one of them may have left, bursting.
fn spike(firing: &Firing, cells: &SharedCells) -> bool {
    let certified = cells.motors.iter().filter_map(|at| {
        let (_, motor) = firing.motors.get_index(*at)?;
        let impulse_ns = motor.certified.as_ref()?.total_impulse_ns()?;
        Some((burst::peak_of(motor)?, impulse_ns))
    });
    let least = certified.min_by(|a, b| a.0.total_cmp(&b.0));
    let spike = |least: (f64, f64)| match &cells.burn {
        Some(burn) => burst::seen(&burn.thrust, burn.window_s, least),
        None => burst::is_top(cells.top, least),
    };
    cells.hides_spike || least.is_some_and(spike)
}

/// Evidence of motors that share cells, any of which may have burst where a spike stands out.
fn burst_or_not(cells: &SharedCells, piece: EvidenceTerm) -> EvidenceTerm {
    if cells.spike {
        burst::may_hold(piece, &cells.motors)
    } else {
        piece
    }
}

const fn delivers(firing: &Firing) -> Delivers {
    Delivers {
        spread: firing.reduce.motor_spread,
        least: firing.reduce.least_impulse,
    }
}

/// Impulse in the cell of one motor.
fn own_impulse(
    firing: &Firing,
    (at, name, cell): (usize, &str, &OwnCell),
    beside: Beside,
    expected: &[Option<f64>],
    count: usize,
) -> EvidenceTerm {
    let carried: Vec<bool> = (0..count).map(|motor| motor == at).collect();
    let certified_n = firing.motors.get(name).and_then(burst::peak_of);
    let little = expected[at].is_some_and(|one| cell.total_ns.value < burst::IMPULSE_SHARE * one);
    let burst = || {
        let certified = certified_n.zip(expected[at]);
        certified.is_some_and(|certified| burst::is_top(cell.top, certified))
    };
    if little && (!cell.whole || cell.hides_spike || burst()) {
        return EvidenceTerm {
            from: format!("own cell of motor {name}"),
            says: format!(
                "{:.0} N, but {:.2} N s only: a motor that burst, or a knock",
                cell.top.peak_n, cell.total_ns.value
            ),
            log_likelihood: vec![0.0; 1 << count],
        };
    }
    // Without a certificate a motor that lit is expected to give what was measured, if anything.
    let guess = expected[at].unwrap_or(cell.total_ns.value.max(10.0 * cell.total_ns.u));
    let mut seen = cell.total_ns.clone();
    if !cell.whole {
        seen.value = seen.value.max(guess);
    }
    let mut out = evidence::impulse(
        &format!("own cell of motor {name}"),
        &seen,
        &vec![guess; count],
        &carried,
        delivers(firing),
        beside,
    );
    if expected[at].is_none() {
        out.says = format!(
            "{:.2} N s measured, and no certificate to hold it against",
            seen.value
        );
    }
    out
}

/// Impulse of motors that share cells: a course that looks like two motors does not outvote an impulse that is that of
/// one. `None` unless each has a certificate.
fn shared_impulse(
    firing: &Firing,
    cells: &SharedCells,
    others_ns: f64,
    expected_ns: &[Option<f64>],
) -> Option<EvidenceTerm> {
    let count = firing.motors.len().min(MOST_MOTORS);
    let carried: Vec<bool> = (0..count).map(|at| cells.motors.contains(&at)).collect();
    let known = |at: &usize| expected_ns[*at].is_some();
    if !cells.motors.iter().all(known) {
        return None;
    }
    let expected: Vec<f64> = expected_ns.iter().map(|one| one.unwrap_or(0.0)).collect();
    let piece = evidence::impulse(
        &format!("impulse of {}", cells_of(firing, cells)),
        cells.total_ns.as_ref()?,
        &expected[..count],
        &carried,
        delivers(firing),
        Beside {
            course: Course::Any,
            others_ns,
        },
    );
    Some(burst_or_not(cells, piece))
}

/// The cells of some motors, in words.
fn cells_of(firing: &Firing, cells: &SharedCells) -> String {
    let names = cells
        .motors
        .iter()
        .filter_map(|at| firing.motors.get_index(*at));
    let names: Vec<&str> = names.map(|(name, _)| name.as_str()).collect();
    if names.len() == firing.motors.len() {
        "all cells".to_owned()
    } else {
        format!("the cells of {}", names.join(" and "))
    }
}

/// Exhaust leaves no small motor faster than this, m/s (the best solid propellants have a specific impulse of some
/// 280 s at sea level: Sutton & Biblarz, Rocket Propulsion Elements, ch. 12; from memory): the least mass that an
/// impulse costs.
const FASTEST_M_S: f64 = 2800.0;

/// What the motors weighed before and after.
fn weighings(firing: &Firing, expected_ns: &[Option<f64>]) -> Vec<EvidenceTerm> {
    let count = firing.motors.len().min(MOST_MOTORS);
    let one = |(at, motor): (usize, &Motor)| {
        let (lost_kg, u_kg) = motor.propellant.lost_kg()?;
        let least_kg = (*expected_ns.get(at)?)? / FASTEST_M_S;
        Some(circumstance::weighing(
            count,
            at,
            lost_kg,
            u_kg.unwrap_or(0.0),
            least_kg,
        ))
    };
    firing
        .motors
        .values()
        .enumerate()
        .take(count)
        .filter_map(one)
        .collect()
}

/// What the stand lost over the burn, where its cells feel the weight and every motor's propellant is known.
fn mass_lost(recording: &Recording<'_>, burn: &Burn) -> Option<EvidenceTerm> {
    let firing = recording.firing;
    let sign = firing.stand.mount.weight_sign();
    if sign == 0.0 || !recording.unsound.is_empty() || firing.motors.len() > MOST_MOTORS {
        return None;
    }
    let (shift_n, u_n) = burn.trace.shift_n()?;
    let gravity = gravity::at(&firing.site).value_m_s2;
    let seen_kg = (sign * shift_n / gravity, u_n / gravity);
    let each = firing.motors.values();
    let burnt_kg: Option<Vec<f64>> = each
        .map(|motor| Some(motor.propellant.burnt_kg()?.0.max(0.0)))
        .collect();
    let burnt_kg = burnt_kg.filter(|each| each.iter().sum::<f64>() > 0.0)?;
    Some(circumstance::mass_lost(
        seen_kg,
        &burnt_kg,
        firing.reduce.motor_spread,
    ))
}

/// The course of the thrust explained by certified curves, where every motor that shares the cells has one; `other` is
/// the log-likelihood of every subset by all other evidence.
fn course(
    firing: &Firing,
    cells: &SharedCells,
    (other, earlier): (Vec<f64>, Option<&SetFits>),
) -> Option<(EvidenceTerm, SetFits)> {
    let count = firing.motors.len().min(MOST_MOTORS);
    let names: Vec<&str> = firing.motors.keys().map(String::as_str).collect();
    let pattern = |at: &usize| {
        let certified = firing.motors[*at].certified.as_ref()?;
        Some((*at, Pattern::new(certified.thrust_curve.as_ref()?)?))
    };
    let motors: Option<Vec<(usize, Pattern)>> = cells.motors.iter().map(pattern).collect();
    let shared = Shared {
        pieces: &cells.burn.as_ref()?.pieces(firing.reduce.motor_spread)?,
        motors: motors?,
        other,
        earlier,
    };
    let explained = shape::explain(&shared)?;
    let from = format!("course of the thrust in {}", cells_of(firing, cells));
    let evidence = shape::evidence(&from, count, &names, &shared, &explained);
    Some((burst_or_not(cells, evidence), explained))
}

/// Time before the burn in which a transducer or a fire line rests, and between rest and burn, s.
const REST_S: (f64, f64) = (1.0, 0.3);

/// Pressure in the chamber of one of several motors.
fn pressure(recording: &Recording<'_>, burn: &Burn, count: usize) -> Option<EvidenceTerm> {
    let firing = recording.firing;
    let chamber = firing.chamber.as_ref().filter(|_| count > 1)?;
    let motor = firing.motors.get_index_of(&chamber.motor.as_ref()?.value)?;
    let read = recording.signals.quantity(&chamber.pressure)?;
    let (from, to) = burn.window_s();
    let rest = noise::mean_and_sd(read.between(from - REST_S.0, from - REST_S.1).value())?;
    let burning = read.between(from, to);
    let mut values = burning.value().to_vec();
    values.sort_by(f64::total_cmp);
    // Nine tenths of all readings lie below: no spike, and a motor that burns a tenth of the time counts.
    let high = *values.get(values.len() * 9 / 10)?;
    Some(circumstance::pressure(
        count,
        motor,
        high - rest.mean,
        rest.sd,
    ))
}

/// Fire lines and igniter currents: whether each motor was told to light.
fn asked(recording: &Recording<'_>, burn: &Burn, count: usize) -> Vec<EvidenceTerm> {
    let mut out = Vec::new();
    for (at, motor) in recording.firing.motors.values().enumerate().take(count) {
        let seen = |signal: &Option<Signal>| rose(recording, signal.as_ref()?, burn);
        if let Some(seen) = seen(&motor.fire) {
            out.push(circumstance::asked(count, at, "its fire command", seen));
        }
        if let Some(seen) = seen(&motor.igniter) {
            out.push(circumstance::asked(
                count,
                at,
                "current in its igniter",
                seen,
            ));
        }
    }
    out
}

/// A signal rose when it stands so many standard deviations of its noise above its rest.
const ROSE_SDS: f64 = 10.0;

/// Whether a line rose before the burn ended; `None` when it was not read before, and when it rose later.
fn rose(recording: &Recording<'_>, signal: &Signal, burn: &Burn) -> Option<bool> {
    match rise(recording, signal, burn)? {
        Rise::Before => Some(true),
        Rise::Never => Some(false),
        Rise::Later => None,
    }
}

/// When a line rose.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Rise {
    /// Before the burn ended.
    Before,
    /// After it.
    Later,
    Never,
}

fn rise(recording: &Recording<'_>, signal: &Signal, burn: &Burn) -> Option<Rise> {
    let series = recording.signals.channels.series(signal)?;
    let series = match burn.within_s {
        Some((from, to)) => series.between(from, to),
        None => series,
    };
    let part = series.between(f64::NEG_INFINITY, burn.window_s().1);
    let before = part.between(f64::NEG_INFINITY, burn.window_s().0);
    if before.len() < 10 {
        return None;
    }
    let rest = noise::median(part.value())?.min(noise::median(before.value())?);
    let high = |of: &Series| of.value().iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let least = rest + ROSE_SDS * noise::sd_from_differences(before.value());
    Some(if high(&part) > least {
        Rise::Before
    } else if high(&series) > least {
        Rise::Later
    } else {
        Rise::Never
    })
}

/// Torque of motors beside an axis.
fn torque(firing: &Firing, seen: &AxisEvidence, expected_ns: &[f64]) -> Option<EvidenceTerm> {
    let axis = firing.axes.get(&seen.axis)?;
    let inertia = axis.inertia.as_ref()?;
    let bias = &seen.thrust_bias_per_kg_m;
    let offset = |motor: &Motor| motor.offset.get(&seen.axis).map_or(0.0, Given::si);
    let motors: Vec<Expected> = firing
        .motors
        .values()
        .zip(expected_ns)
        .map(|(motor, impulse_ns)| Expected {
            impulse_ns: *impulse_ns,
            offset_m: offset(motor),
        })
        .collect();
    if motors.iter().all(|motor| motor.offset_m == 0.0) {
        return None;
    }
    let inertia_u = inertia.standard_uncertainty().unwrap_or(0.0);
    let value = bias.value * inertia.si();
    let u = (bias.u * inertia.si()).hypot(bias.value * inertia_u);
    let arm_m = axis.arm.as_ref().map_or(0.3, Given::si);
    let alignment_u_m = SEATING_M.hypot(ALIGNMENT_RAD * arm_m);
    Some(evidence::torque(
        &seen.axis,
        &Measured::normal(value, u, Unit::Metre),
        &motors,
        alignment_u_m,
    ))
}
