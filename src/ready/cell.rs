//! A load cell at rest: whether it lives, how it wanders, whether the burn fits its range.

use super::{plainly, undecided};
use crate::calibration::Curve;
use crate::config::{Cell, Firing};
use crate::finding::{COMMON_PRACTICE, Finding, Outcome};
use crate::numeric::noise::{mean_and_sd, median};
use crate::numeric::polynomial;
use crate::plan::rest::{AtRest, still};
use crate::quantity::{Given, Measured, STANDARD_GRAVITY_M_S2, Unit};
use crate::series::Series;

/// Half width of the impulse's interval that is wanted when nobody says, as a share of what is certified.
const WANTED_SHARE: f64 = 0.01;
/// Share of it that noise and drift of the zero may take.
const OF_WANTED: f64 = 0.5;
/// Stretches over which the zero is averaged, s, and how far it may move within a burn, as a share of the certified
/// peak.
const BLOCK_S: f64 = 0.5;
const ZERO_SHARE: f64 = 0.005;
/// The same over the whole recording, from which on it is none of a stand at rest.
const MOVED_SHARE: f64 = 0.2;
/// Peak over the certified one that the range must hold: motors differ, and a stand rings.
const PEAK_FACTOR: f64 = 1.3;
/// Amplitude of mains hum over the standard deviation of the noise.
const HUM_FACTOR: f64 = 1.0;
/// How far the response to a known weight may be off, as a share.
const WEIGHT_SHARE: f64 = 0.05;
/// Shortest recording from which a warm-up can be judged, s, and the change of zero that is allowed from the
/// first minute to the last, as a share of the capacity.
const WARM_UP_S: f64 = 300.0;
const WARM_UP_SHARE: f64 = 5e-4;

/// One cell and what reads it.
pub(super) struct AtWork<'a> {
    pub firing: &'a Firing,
    pub name: &'a str,
    pub cell: &'a Cell,
    pub curve: &'a Curve,
    pub range_n: Option<[f64; 2]>,
}

impl AtWork<'_> {
    /// Readings, N; as far as the curve goes.
    fn load_n(&self, rest: &AtRest) -> Option<Series> {
        let raw = rest.all(&self.cell.signal)?;
        let load = raw.map(|_, raw| self.curve.load(raw).unwrap_or(f64::NAN));
        let known = load.iter().filter(|(_, value)| value.is_finite());
        let (times, values): (Vec<f64>, Vec<f64>) = known.unzip();
        Some(Series::new(&times, &values))
    }

    pub(super) fn at_rest(&self, rest: &AtRest) -> Vec<Finding> {
        let raw = rest.all(&self.cell.signal);
        let Some(raw) = raw.filter(|raw| raw.len() >= 40) else {
            return vec![undecided(
                "the cell reads",
                "fewer than 40 readings are at hand",
                "record ten seconds at rest, and give them with --rest",
            )];
        };
        let alive = still(raw.value()).is_some_and(|still| still.step > 0.0 || still.sd > 0.0);
        let claim = "the cell reads, and not one number only";
        let rule = "a living converter's last digits move";
        if !alive {
            let advice =
                "look at plug, supply and column; a converter that hangs repeats its last reading";
            return vec![plainly(claim, false, rule).advice(advice)];
        }
        let mut out = vec![plainly(claim, true, rule)];
        let load = self.load_n(rest).filter(|load| 2 * load.len() > raw.len());
        let Some(load) = load else {
            out.push(
                plainly(
                    "the readings are loads",
                    false,
                    "most lie where the calibration curve has no load",
                )
                .advice("is it the right column, and its own calibration?"),
            );
            return out;
        };
        if let Some(finding) = self.moved(&load) {
            out.push(finding);
            return out;
        }
        out.push(self.plausible(&load));
        out.extend(self.impulse(&load));
        out.extend(self.zero(&load));
        out.extend(self.range(&load));
        out.extend(self.hum(&load));
        out.push(self.warm_up(&load));
        out
    }

    /// Peak of all motors it feels, N, as certified.
    fn peak_n(&self) -> Option<f64> {
        let motors = self.firing.motors_of(self.cell);
        let peaks: Option<Vec<f64>> = motors
            .into_iter()
            .map(|name| {
                let certified = self.firing.motors.get(name)?.certified.as_ref()?;
                let of_curve = certified
                    .thrust_curve
                    .as_ref()
                    .map(|curve| curve.value().iter().copied().fold(0.0, f64::max));
                certified.peak_thrust.as_ref().map(Given::si).or(of_curve)
            })
            .collect();
        peaks
            .filter(|peaks| !peaks.is_empty())
            .map(|peaks| peaks.iter().sum())
    }

    /// A recording in which a motor burnt, or a hand pushed, says nothing of rest.
    fn moved(&self, load: &Series) -> Option<Finding> {
        let peak_n = self.peak_n()?;
        let means = block_means(load);
        let (low, high) = means
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), mean| {
                (low.min(*mean), high.max(*mean))
            });
        let limit = MOVED_SHARE * peak_n;
        let rule = format!(
            "means of half a second from {low:.2} N to {high:.2} N; {limit:.2} N are allowed"
        );
        let advice = "record ten seconds of the stand at rest, and give them with --rest";
        let finding = plainly("the stand is at rest in the recording", false, rule);
        (high - low > limit).then(|| finding.advice(advice))
    }

    /// A load at rest that no rocket of this size has comes from another column.
    fn plausible(&self, load: &Series) -> Finding {
        let level = median(load.value()).unwrap_or(0.0);
        let mass_kg = self
            .firing
            .axes
            .values()
            .filter_map(|axis| Some(axis.swinging_mass.as_ref()?.si()))
            .fold(0.0, f64::max);
        let reach = self.range_n.map_or(0.0, |[low, high]| high.max(-low));
        let rated = self.cell.capacity.as_ref().map_or(0.0, Given::si);
        let most = reach.max(rated);
        let least = -(1.3 * mass_kg * STANDARD_GRAVITY_M_S2).max(0.15 * most);
        let rule = format!("{level:.2} N at rest; {least:.1} N to {most:.1} N could be");
        let holds = most <= 0.0 || (least..=most).contains(&level);
        plainly(
            "the load at rest is one that this stand can have",
            holds,
            rule,
        )
        .advice("is it the right column, and its own calibration?")
    }

    /// Certified impulse of the motors it feels, N s, and the longest of their burns, s.
    fn certified(&self) -> (f64, f64) {
        let motors = self.firing.motors_of(self.cell);
        let certified = motors
            .iter()
            .filter_map(|name| self.firing.motors.get(*name)?.certified.as_ref());
        let mut impulse_ns = 0.0;
        let mut burns_s = 0.0_f64;
        for one in certified {
            impulse_ns += one.total_impulse_ns().unwrap_or(0.0);
            let of_curve = one
                .thrust_curve
                .as_ref()
                .and_then(Series::span_s)
                .map(|(_, end_s)| end_s);
            burns_s = burns_s.max(
                one.burn_time
                    .as_ref()
                    .map(Given::si)
                    .or(of_curve)
                    .unwrap_or(0.0),
            );
        }
        (impulse_ns, burns_s)
    }

    /// What noise and drift of the zero put into the impulse.
    fn impulse(&self, load: &Series) -> Option<Finding> {
        let (impulse_ns, burns_s) = self.certified();
        if impulse_ns <= 0.0 || burns_s <= 0.0 {
            return None;
        }
        let stated = self.firing.plan.impulse_within.as_ref().map(Given::si);
        let wanted_ns = stated.unwrap_or(WANTED_SHARE * impulse_ns);
        // Windows as long as the burn with the baseline on either side of it, as the reduction draws it: what is
        // left of their areas is what the zero does to the impulse.
        let areas = areas_ns(load, burns_s);
        let spread = if areas.len() >= 5 {
            mean_and_sd(&areas)?.sd
        } else {
            let step_s = load.step_s()?;
            still(load.value())?.sd * (burns_s * step_s).sqrt() * 2.0_f64.sqrt()
        };
        let measured = Measured::normal(1.96 * spread, 0.15 * spread, Unit::NewtonSecond);
        let claim = "noise and drift of the zero leave the impulse as sure as wanted";
        let rule = format!(
            "1.96 standard deviations of the area over {burns_s:.2} s at rest, at most half of {wanted_ns:.2} N s"
        );
        let finding = Finding::within(
            claim,
            measured,
            [None, Some(OF_WANTED * wanted_ns)],
            rule,
            COMMON_PRACTICE,
        );
        Some(finding.advice("let it warm up, keep wind and hands off, shield the cable"))
    }

    /// How far the zero moves within a burn: a straight drift leaves the impulse alone, but a zero that moves is one
    /// that has not settled, or a hand on the stand.
    fn zero(&self, load: &Series) -> Option<Finding> {
        let (_, burns_s) = self.certified();
        let peak_n = self.peak_n()?;
        let means = block_means(load);
        let apart = (burns_s / BLOCK_S).ceil().max(1.0) as usize;
        let pairs = means.iter().zip(means.iter().skip(apart));
        let moved = pairs
            .map(|(before, after)| (after - before).abs())
            .reduce(f64::max)?;
        let limit = ZERO_SHARE * peak_n;
        let rule = format!("{moved:.3} N at most within {burns_s:.1} s, of {limit:.3} N");
        let claim = "the zero stays where it is for as long as a burn";
        let finding = plainly(claim, moved <= limit, rule);
        Some(finding.advice("let it warm up, keep wind and hands off"))
    }

    fn range(&self, load: &Series) -> Vec<Finding> {
        let Some(peak_n) = self.peak_n() else {
            return Vec::new();
        };
        let rest_n = median(load.value()).unwrap_or(0.0);
        let top_n = rest_n + PEAK_FACTOR * peak_n;
        let mut out = Vec::new();
        let claim = "the burn fits the cell";
        let says = |limit: f64| {
            format!("rest and 1.3 times the certified peak make {top_n:.1} N, of {limit:.1} N")
        };
        match self.cell.capacity.as_ref().map(Given::si) {
            Some(rated) => out.push(plainly(claim, top_n <= rated, says(rated))),
            None => out.push(undecided(
                claim,
                "the cell's capacity is not stated",
                "add capacity = \"98 N\" to the cell",
            )),
        }
        let planned = self.firing.plan.cells.get(self.name);
        if let Some(full) = planned.and_then(|planned| planned.full_scale) {
            let raw = self.curve.fit.at(top_n);
            let rule = format!("{raw:.0} counts at {top_n:.1} N, of {full:.0}");
            out.push(plainly(
                "the burn fits the recorder",
                raw.abs() <= full,
                rule,
            ));
        }
        out
    }

    /// Mains hum, where the recorder is fast enough to show it.
    fn hum(&self, load: &Series) -> Option<Finding> {
        let step_s = load.step_s()?;
        let noise = still(load.value())?.sd;
        let (largest, hz) = [50.0, 60.0]
            .into_iter()
            .filter(|hz| *hz < 0.45 / step_s)
            .map(|hz| (amplitude(load, hz), hz))
            .max_by(|a, b| a.0.total_cmp(&b.0))?;
        let rule = format!(
            "amplitude {largest:.4} N at {hz:.0} Hz, standard deviation of neighbours {noise:.4} N"
        );
        // Hum itself moves neighbours, by the sine of half its phase step.
        let own = largest * (std::f64::consts::PI * hz * step_s).sin();
        let other = (noise * noise - own * own).max(0.0).sqrt();
        let finding = plainly(
            "mains hum is below the noise",
            largest <= HUM_FACTOR * other.max(0.5 * noise),
            rule,
        );
        Some(finding.advice("ground the shield at one end, and run the cable apart from mains"))
    }

    fn warm_up(&self, load: &Series) -> Finding {
        let claim = "the zero has settled since the supply came on";
        let (from_s, to_s) = load.span_s().unwrap_or((0.0, 0.0));
        let rated = self.cell.capacity.as_ref().map(Given::si).or(self.peak_n());
        let (true, Some(rated)) = (to_s - from_s >= WARM_UP_S, rated) else {
            let advice =
                "record from switching on: the zero at 0, 5, 15 and 30 minutes shows the warm-up";
            return undecided(claim, "the recording is shorter than five minutes", advice);
        };
        let mean = |from_s: f64, to_s: f64| {
            mean_and_sd(load.between(from_s, to_s).value()).map_or(0.0, |of| of.mean)
        };
        let moved =
            mean(to_s - 60.0, to_s) - mean(from_s.max(to_s - WARM_UP_S), to_s - WARM_UP_S + 60.0);
        let rule = format!(
            "{moved:.3} N over the last five minutes, at most {:.3} N",
            WARM_UP_SHARE * rated
        );
        let outcome = if moved.abs() <= WARM_UP_SHARE * rated {
            Outcome::Holds
        } else {
            Outcome::Fails
        };
        Finding::plain(
            claim,
            outcome,
            rule,
            "warm-up as in OIML R 60-2:2017, 2.10.7.3; limit: common practice, no source",
        )
    }

    /// A known weight laid on and off.
    pub(super) fn polarity(&self, weight: Option<(&AtRest, f64)>) -> Finding {
        let claim = "a known weight is read as its weight, with the sign of thrust";
        let Some((load, mass_kg)) =
            weight.and_then(|(rest, mass)| Some((self.load_n(rest)?, mass)))
        else {
            let advice = "lay a known mass on so that it presses the way thrust does, take it off, and give that with --weight";
            return undecided(claim, "no recording with a weight is at hand", advice);
        };
        let mut sorted = load.value().to_vec();
        sorted.sort_by(f64::total_cmp);
        // On and off are the two ends; the ends themselves may be jolts.
        let level = |share: f64| {
            sorted
                .get((share * (sorted.len() - 1) as f64) as usize)
                .copied()
                .unwrap_or(0.0)
        };
        let off = mean_and_sd(load.between(f64::NEG_INFINITY, first_moment(&load)).value())
            .map_or(level(0.1), |of| of.mean);
        let (low, high) = (level(0.1) - off, level(0.9) - off);
        let moved = if high.abs() >= low.abs() { high } else { low };
        let wanted = mass_kg * STANDARD_GRAVITY_M_S2;
        let rule = format!("{moved:.3} N read, {wanted:.3} N laid on; 5 % are allowed");
        plainly(claim, (moved / wanted - 1.0).abs() <= WEIGHT_SHARE, rule)
            .advice("if the sign is wrong, the points were made upside down, or the cell hangs the other way round")
    }
}

/// Means of stretches of half a second.
fn block_means(load: &Series) -> Vec<f64> {
    let (from_s, to_s) = load.span_s().unwrap_or((0.0, 0.0));
    let begins =
        (0..((to_s - from_s) / BLOCK_S) as usize).map(|block| from_s + block as f64 * BLOCK_S);
    begins
        .filter_map(|at_s| {
            mean_and_sd(load.between(at_s, at_s + BLOCK_S).value()).map(|of| of.mean)
        })
        .collect()
}

/// The end of the first tenth of a record, before anything is laid on.
fn first_moment(load: &Series) -> f64 {
    load.span_s()
        .map_or(0.0, |(from_s, to_s)| from_s + 0.1 * (to_s - from_s))
}

/// Areas over windows as long as a burn, less the line between the means of half a second before and after.
fn areas_ns(load: &Series, burns_s: f64) -> Vec<f64> {
    let (from_s, to_s) = load.span_s().unwrap_or((0.0, 0.0));
    let side_s = 0.5;
    let mut out = Vec::new();
    let mut at_s = from_s + side_s;
    while at_s + burns_s + side_s <= to_s {
        let mean = |from_s: f64, to_s: f64| {
            mean_and_sd(load.between(from_s, to_s).value()).map(|of| of.mean)
        };
        let parts = (
            mean(at_s - side_s, at_s),
            mean(at_s, at_s + burns_s),
            mean(at_s + burns_s, at_s + burns_s + side_s),
        );
        if let (Some(before), Some(within), Some(after)) = parts {
            out.push(burns_s * (within - 0.5 * (before + after)));
        }
        at_s += 0.5 * burns_s;
    }
    out
}

/// Amplitude of a sine of a frequency, by least squares on readings from which a parabola is taken.
fn amplitude(load: &Series, hz: f64) -> f64 {
    let Some(trend) = polynomial::fit(load.time_s(), load.value(), 2) else {
        return 0.0;
    };
    let mut sums = (0.0, 0.0);
    for (time_s, value) in load.iter() {
        let (sine, cosine) = (std::f64::consts::TAU * hz * time_s).sin_cos();
        let rest = value - trend.at(time_s);
        sums = (sums.0 + rest * sine, sums.1 + rest * cosine);
    }
    2.0 * f64::hypot(sums.0, sums.1) / load.len() as f64
}
