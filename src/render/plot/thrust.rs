//! Thrust and what follows from it over the burn: against the certified curve, impulse, chamber pressure.

use crate::motors::lit::Lit;
use crate::quantity::measured::NORMAL_FACTOR;
use crate::reduce::Reduction;
use crate::render::words::name_of;
use crate::series::Series;

use super::palette::{FAINT, INK, LOADED, MEASURED, MODEL, MOTORS, RAW};
use super::{
    Chart, Layer, Named, Role, SINCE_IGNITION, around_burn, burn_ends_s, level, named, played,
    points,
};

/// Thrust with its 95 % interval, what each motor gives, the certified curve, and the moments; `None`
/// without a burn.
#[must_use]
pub(crate) fn thrust(reduction: &Reduction) -> Option<Chart> {
    let ends = burn_ends_s(reduction)?;
    let traces = &reduction.traces;
    let shown = &traces.thrust_n;
    let mut layers = shares(reduction, ends);
    let colour = if layers.is_empty() { MEASURED } else { INK };
    let low = traces.low_passed_n.as_ref();
    let main = low.map_or("thrust", |_| "low-passed");
    layers.push(named(
        Layer::Band(interval(reduction, shown, ends), colour),
        "95 % interval",
    ));
    // A filtered trace, where there is one, is the main curve, and the readings stand behind it.
    if low.is_some() {
        layers.push(named(Layer::Trace(around_burn(shown, ends), RAW), "thrust"));
    }
    if let Some(loaded) = &traces.loaded_n {
        let curve = points(&around_burn(loaded, ends));
        let name = "certified, all that were loaded";
        layers.push(named(Layer::Curve(curve, LOADED), name));
    }
    if let Some(certified) = &traces.certified_n {
        let curve = points(&around_burn(certified, ends));
        layers.push(named(
            Layer::Curve(curve, MODEL),
            "certified, motors that lit",
        ));
    }
    let curve = Layer::Trace(around_burn(low.unwrap_or(shown), ends), colour);
    layers.push(match only_lit(reduction) {
        Some(nth) if traces.motor_thrust_n.len() < 2 => played(curve, main, Role::Motor(nth)),
        _ => named(curve, main),
    });
    let chart = Chart::around("Thrust over time", SINCE_IGNITION, "thrust, N", layers)?;
    Some(chart.since(ends.0, moments(reduction, ends)))
}

/// The place of the one motor that may have lit; `None` where several may have.
pub(crate) fn only_lit(reduction: &Reduction) -> Option<usize> {
    let motors = reduction.result.motors.iter().flatten().enumerate();
    let mut may = motors.filter(|(_, (_, motor))| motor.lit != Lit::NotLit);
    let (nth, _) = may.next()?;
    may.next().is_none().then_some(nth)
}

/// What each motor gives, the first at the bottom; nothing where they cannot be told apart.
fn shares(reduction: &Reduction, ends: (f64, f64)) -> Vec<Named> {
    let all = &reduction.traces.motor_thrust_n;
    if all.len() < 2 {
        return vec![];
    }
    let mut below: Vec<f64> = vec![];
    let motors = reduction.result.motors.as_ref();
    let share = |(nth, (name, series)): (usize, (&String, &Series))| {
        let own = around_burn(series, ends);
        below.resize(own.len(), 0.0);
        let area = own.iter().zip(&mut below).map(|((time, value), below)| {
            let from = *below;
            *below += value;
            (time, from, *below)
        });
        let place = motors.and_then(|motors| motors.get_index_of(name));
        let place = place.unwrap_or(nth);
        let share = Layer::Share(area.collect(), MOTORS[place % MOTORS.len()]);
        played(share, &name_of(name), Role::Motor(place))
    };
    all.iter().enumerate().map(share).collect()
}

/// The 95 % interval at every reading.
fn interval(reduction: &Reduction, shown: &Series, ends: (f64, f64)) -> Vec<(f64, f64, f64)> {
    let (all, u_n) = (&reduction.traces.thrust_n, &reduction.traces.thrust_u_n);
    let ends_of = |(time, thrust): (f64, f64)| {
        let u = u_n.get(all.index_at(time + ends.0 - 1e-9))?;
        let half = NORMAL_FACTOR * u;
        half.is_finite()
            .then_some((time, thrust - half, thrust + half))
    };
    around_burn(shown, ends)
        .iter()
        .filter_map(ends_of)
        .collect()
}

/// Ignition and burnout of the burn, and the ignition of each motor when there are several.
pub(super) fn moments(
    reduction: &Reduction,
    (ignition, burnout): (f64, f64),
) -> Vec<(f64, String)> {
    let motors = reduction.result.motors.as_ref();
    let mut out: Vec<(f64, String)> = motors
        .filter(|motors| motors.len() > 1)
        .into_iter()
        .flatten()
        .filter_map(|(name, motor)| {
            let onset = motor.ignition_s.as_ref()?;
            Some((onset.value - ignition, format!("{} lights", name_of(name))))
        })
        .collect();
    if out.is_empty() {
        out.push((0.0, "ignition".to_owned()));
    }
    out.push((burnout - ignition, "burnout".to_owned()));
    out
}

/// Measured minus certified with the 95 % band of what motors of the design do; `None` where there is
/// nothing to compare with.
#[must_use]
pub(crate) fn difference(reduction: &Reduction) -> Option<Chart> {
    let ends = burn_ends_s(reduction)?;
    let pieces = &reduction.result.class.as_ref()?.comparison.as_ref()?.pieces;
    let band = pieces
        .iter()
        .map(|one| (one.after_s, -one.band_n, one.band_n));
    let steps: Vec<_> = pieces
        .iter()
        .map(|one| (one.after_s, one.difference_n))
        .collect();
    let layers = vec![
        named(
            Layer::Band(band.collect(), MODEL),
            "95 % of motors of the design",
        ),
        named(Layer::Curve(steps, MEASURED), "measured minus certified"),
    ];
    let title = "Measured thrust minus certified thrust";
    let mut chart = Chart::around(title, SINCE_IGNITION, "difference, N", layers)?;
    // About a steep end the band is wider than there is to see.
    let mut halves: Vec<f64> = pieces.iter().map(|one| one.band_n).collect();
    halves.sort_by(f64::total_cmp);
    let seen = pieces.iter().map(|one| 1.2 * one.difference_n.abs());
    let reach = seen.fold(2.0 * halves[halves.len() / 2], f64::max);
    chart.y = (chart.y.0.max(-reach), chart.y.1.min(reach));
    Some(chart.since(ends.0, vec![]))
}

/// Impulse delivered so far, and the total; `None` without a burn.
#[must_use]
pub(crate) fn cumulated(reduction: &Reduction) -> Option<Chart> {
    let ends = burn_ends_s(reduction)?;
    let shown = around_burn(&reduction.traces.cumulated_ns, ends);
    let mut layers = vec![named(
        Layer::Curve(points(&shown), MEASURED),
        "delivered so far",
    )];
    let certified = reduction.traces.certified_n.as_ref();
    if let Some(certified) = certified.map(|certified| around_burn(certified, ends)) {
        let sums = crate::numeric::trapezoid::cumulated(&certified);
        let curve = Layer::Curve(points(&Series::new(certified.time_s(), &sums)), MODEL);
        layers.push(named(curve, "by the certified curves"));
    }
    let title = "Impulse delivered so far";
    let chart = Chart::around(title, SINCE_IGNITION, "impulse, N s", layers)?;
    Some(chart.since(ends.0, moments(reduction, ends)))
}

/// Pressure in the chamber; `None` without a pressure record or a burn.
#[must_use]
pub(crate) fn pressure(reduction: &Reduction) -> Option<Chart> {
    let ends = burn_ends_s(reduction)?;
    let shown = around_burn(&reduction.traces.pressure_kpa, ends);
    let span = shown.span_s()?;
    let mut layers = vec![named(Layer::Trace(shown, MEASURED), "pressure")];
    let chamber = reduction.result.chamber.as_ref();
    if let Some(air) = chamber.and_then(|chamber| chamber.ambient_kpa.as_ref()) {
        layers.push(named(Layer::Curve(level(span, air.value), FAINT), "air"));
    }
    let title = "Absolute pressure in the chamber";
    let chart = Chart::around(title, SINCE_IGNITION, "absolute pressure, kPa", layers)?;
    Some(chart.since(ends.0, moments(reduction, ends)))
}
