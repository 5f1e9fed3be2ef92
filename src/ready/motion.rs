//! Nozzle, tilt and gyro of an axis at rest, and their signs where they were moved.

use super::{plainly, undecided};
use crate::config::{Axis, Firing, Signal};
use crate::finding::Finding;
use crate::numeric::noise::{mean_and_sd, median};
use crate::plan::rest::{AtRest, still};
use crate::quantity::{Measured, Unit};
use crate::series::Series;

/// Bias that a gyro of this trade may have at rest, deg/s, and its Allan deviation over one second.
const GYRO_BIAS_DEG_S: f64 = 5.0;
const ALLAN_DEG_S: f64 = 0.2;
const ALLAN_TIME_S: f64 = 1.0;
/// Farthest that a rig stands from upright before a firing, deg.
const TILT_DEG: f64 = 15.0;
/// Tilt moves no farther than this at rest, deg.
const AT_REST_DEG: f64 = 2.0;
/// Smallest movement that shows a sign, deg.
const MOVED_DEG: f64 = 0.5;
/// Correlation that shows it.
const CORRELATED: f64 = 0.5;

/// A signal in deg or deg/s.
fn degrees(rest: &AtRest, signal: &Signal) -> Option<Series> {
    let unit = signal.unit.as_ref()?;
    Some(
        rest.all(signal)?
            .map(|_, value| unit.to_si(value).to_degrees()),
    )
}

pub(super) fn findings(
    (name, axis): (&str, &Axis),
    firing: &Firing,
    rest: &AtRest,
    moved_by_hand: &AtRest,
) -> Vec<Finding> {
    let mut out = Vec::new();
    let named = [
        ("nozzle angle", axis.nozzle.as_ref()),
        ("tilt", axis.tilt.as_ref()),
        ("tilt rate", axis.rate.as_ref()),
    ];
    for (what, signal) in named {
        let Some(series) = signal.and_then(|signal| rest.all(signal)) else {
            continue;
        };
        // A quiet encoder may well repeat one number; a gyro and a potentiometer never do.
        let may_rest = what == "tilt";
        let alive = may_rest
            || still(series.value()).is_some_and(|still| still.sd > 0.0 || still.step > 0.0);
        let rule = "last digits of a living sensor move";
        out.push(plainly(
            format!("the {what} reads, and not one number only"),
            alive,
            rule,
        ));
    }
    let tilt = axis.tilt.as_ref().and_then(|signal| degrees(rest, signal));
    if let Some(moved) = tilt
        .as_ref()
        .map(moved_deg)
        .filter(|moved| *moved > AT_REST_DEG)
    {
        let rule = format!("the tilt moves by {moved:.1} deg; {AT_REST_DEG:.0} deg are allowed");
        let advice = "record ten seconds of the rig at rest, and give them with --rest";
        out.push(plainly("the rig is at rest in the recording", false, rule).advice(advice));
        out.extend(signs((name, axis), firing, moved_by_hand));
        return out;
    }
    if let Some(tilt) = tilt {
        let level = median(tilt.value()).unwrap_or(0.0);
        let rule = format!("{level:.2} deg at rest; 15 deg either side are allowed");
        out.push(
            plainly(
                "the tilt at rest is near upright",
                level.abs() <= TILT_DEG,
                rule,
            )
            .advice("is it the right column, and is the encoder zeroed?"),
        );
    }
    let travel = axis.travel.as_ref().map(|travel| travel.si().to_degrees());
    if let (Some(nozzle), Some(travel)) = (
        axis.nozzle
            .as_ref()
            .and_then(|signal| degrees(rest, signal)),
        travel,
    ) {
        let level = median(nozzle.value()).unwrap_or(0.0);
        let rule = format!("{level:.2} deg at rest, travel {travel:.1} deg either side");
        out.push(plainly(
            "the nozzle at rest is within its travel",
            level.abs() <= travel,
            rule,
        ));
    }
    if let Some(rate) = axis.rate.as_ref().and_then(|signal| degrees(rest, signal)) {
        out.extend(gyro(&rate));
    }
    out.extend(signs((name, axis), firing, moved_by_hand));
    out
}

/// How far readings go, single ones left out.
fn moved_deg(of: &Series) -> f64 {
    let mut sorted = of.value().to_vec();
    sorted.sort_by(f64::total_cmp);
    let at = |share: f64| sorted.get((share * sorted.len() as f64) as usize).copied();
    at(0.995)
        .zip(at(0.005))
        .map_or(0.0, |(high, low)| high - low)
}

/// Bias and Allan deviation (Allan 1966; IEEE Std 952-1997, annex C).
fn gyro(rate: &Series) -> Vec<Finding> {
    let Some(level) = mean_and_sd(rate.value()) else {
        return Vec::new();
    };
    let rule = format!(
        "{:.2} deg/s at rest; 5 deg/s are allowed, the fit takes a bias out",
        level.mean
    );
    let mut out = vec![
        plainly(
            "the gyro's bias is one of a gyro at rest",
            level.mean.abs() <= GYRO_BIAS_DEG_S,
            rule,
        )
        .advice("is the rig at rest, and is it the right column?"),
    ];
    let claim = "the gyro is quiet over a second";
    match allan_deviation(rate, ALLAN_TIME_S) {
        Some((deviation, pairs)) => {
            // The relative standard uncertainty of the deviation from so many pairs (IEEE Std 952, C.1).
            let measured = Measured::normal(
                deviation,
                deviation / (2.0 * pairs as f64).sqrt(),
                Unit::DegreePerSecond,
            );
            let rule = "Allan deviation over 1 s";
            let source = "IEEE Std 952-1997, annex C; limit: common practice, no source";
            out.push(Finding::within(
                claim,
                measured,
                [None, Some(ALLAN_DEG_S)],
                rule,
                source,
            ));
        }
        None => out.push(undecided(
            claim,
            "the recording is shorter than five seconds",
            "record ten seconds at rest",
        )),
    }
    out
}

/// Root of half the mean square difference of neighbouring means over a time, and the number of pairs.
fn allan_deviation(rate: &Series, time_s: f64) -> Option<(f64, usize)> {
    let (from_s, to_s) = rate.span_s()?;
    let blocks = ((to_s - from_s) / time_s) as usize;
    let means: Vec<f64> = (0..blocks)
        .filter_map(|block| {
            let at_s = from_s + block as f64 * time_s;
            mean_and_sd(rate.between(at_s, at_s + time_s).value()).map(|of| of.mean)
        })
        .collect();
    let squares = means.windows(2).map(|pair| (pair[1] - pair[0]).powi(2));
    let pairs = means.len().saturating_sub(1);
    (pairs >= 4).then(|| ((squares.sum::<f64>() / (2.0 * pairs as f64)).sqrt(), pairs))
}

/// Signs, from a recording in which nozzle and rig were moved.
fn signs((name, axis): (&str, &Axis), firing: &Firing, moved: &AtRest) -> Vec<Finding> {
    let mut out = Vec::new();
    let series =
        |signal: &Option<Signal>| signal.as_ref().and_then(|signal| degrees(moved, signal));
    let command = degrees(moved, &axis.command);
    if axis.nozzle.is_some() {
        let claim = "a positive command gives a positive nozzle angle";
        let both = command
            .zip(series(&axis.nozzle))
            .and_then(|(command, nozzle)| correlation(&command, &nozzle));
        let advice =
            "wiggle the nozzle by command, three degrees either way, and give that with --wiggle";
        out.push(sign(claim, both, advice));
        if both.is_none_or(|own| own.abs() < CORRELATED) {
            out.extend(crossed(name, firing, moved));
        }
    }
    if axis.tilt.is_some() && axis.rate.is_some() {
        let claim = "tilt and gyro have the same sign";
        let both = series(&axis.tilt)
            .zip(series(&axis.rate))
            .and_then(|(tilt, rate)| correlation(&rate, &slope(&tilt)));
        out.push(sign(
            claim,
            both,
            "tilt the rig by hand, five degrees either way, and give that with --wiggle",
        ));
    }
    out
}

/// The nozzle of another axis that follows this one's command, where its own does not.
fn crossed(name: &str, firing: &Firing, moved: &AtRest) -> Option<Finding> {
    let command = degrees(moved, &firing.axes.get(name)?.command)?;
    let others = firing.axes.iter().filter(|(other, _)| *other != name);
    let follows = |axis: &Axis| {
        let nozzle = degrees(moved, axis.nozzle.as_ref()?)?;
        correlation(&command, &nozzle).filter(|of| of.abs() >= CORRELATED)
    };
    let mut found = others.filter_map(|(other, axis)| Some((other, follows(axis)?)));
    let (other, of) = found.next()?;
    let rule = format!("correlation {of:.2} with the nozzle of axis {other}");
    let claim = "no other axis's nozzle follows this command in place of its own";
    Some(plainly(claim, false, rule).advice("columns or plugs of the two axes are swapped"))
}

fn sign(claim: &str, correlation: Option<f64>, advice: &str) -> Finding {
    match correlation {
        Some(found) if found.abs() >= CORRELATED => plainly(
            claim,
            found > 0.0,
            format!("correlation {found:.2}, at least 0.5 is asked"),
        ),
        Some(found) => undecided(
            claim,
            &format!("correlation {found:.2}, at least 0.5 is asked"),
            advice,
        ),
        None => undecided(claim, "no recording in which it moves is at hand", advice),
    }
}

/// How fast a series changes, over some twentieths of a second either side.
fn slope(of: &Series) -> Series {
    let reach_s = 0.05;
    of.map(
        |at_s, _| match (of.at(at_s - reach_s), of.at(at_s + reach_s)) {
            (Some(before), Some(after)) => (after - before) / (2.0 * reach_s),
            _ => 0.0,
        },
    )
}

/// Correlation of two series at the times of the first; `None` where one hardly moves.
fn correlation(one: &Series, other: &Series) -> Option<f64> {
    let pairs: Vec<(f64, f64)> = one
        .iter()
        .filter_map(|(at_s, value)| Some((value, other.at(at_s)?)))
        .collect();
    let (first, second): (Vec<f64>, Vec<f64>) = pairs.iter().copied().unzip();
    let (a, b) = (mean_and_sd(&first)?, mean_and_sd(&second)?);
    if a.sd < MOVED_DEG || b.sd < 0.5 * MOVED_DEG {
        return None;
    }
    let sum: f64 = pairs.iter().map(|(x, y)| (x - a.mean) * (y - b.mean)).sum();
    Some(sum / (pairs.len() as f64 * a.sd * b.sd))
}

#[cfg(test)]
mod tests {
    use super::*;

    // White noise of 0.1 deg/s at 100 Hz: the mean over 1 s has 0.01, which is its Allan deviation.
    #[test]
    fn the_allan_deviation_of_white_noise_falls_with_the_root_of_time() {
        let mut state = 1_u64;
        let mut uniform = || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (state >> 11) as f64 / (1_u64 << 53) as f64
        };
        let times: Vec<f64> = (0..20_000).map(|row| f64::from(row) / 100.0).collect();
        let values: Vec<f64> = times
            .iter()
            .map(|_| 0.1 * ((0..12).map(|_| uniform()).sum::<f64>() - 6.0))
            .collect();
        let (deviation, pairs) = allan_deviation(&Series::new(&times, &values), 1.0).unwrap();
        assert!(
            pairs > 190 && (deviation - 0.01).abs() < 0.002,
            "{deviation}"
        );
    }
}
