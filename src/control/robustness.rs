//! Robustness of a set of gains over thrust and plant.
//!
//! Every plant sampled from the covariance is looked at under its worst thrust. Limits: a phase margin of
//! 30 degrees and a gain margin of 2 are the lower ends of what control texts advise (gain margin 2 to 5,
//! phase margin 30 to 60 degrees: Åström & Murray, Feedback Systems, 2008, 9.3); a sensitivity peak of 2
//! likewise; a delay margin of one period is common practice, no source.

use super::axis_loop::SampledAxis;
use super::curves::response_to_step;
use super::gains::Robustness;
use super::margins::Margins;
use super::model::AxisNumbers;
use super::pid::Controller;
use crate::quantity::Unit;

/// A plant the loop is closed around: the best estimate, or one sampled from the covariance.
pub(super) struct SampledPlant {
    /// Its numbers.
    pub numbers: AxisNumbers,
    /// Its discretisation.
    pub discrete: SampledAxis,
}

/// Least phase margin, deg.
pub(crate) const LEAST_PHASE_DEG: f64 = 30.0;
/// Least upper gain margin.
pub(crate) const LEAST_UPPER_GAIN: f64 = 2.0;
/// Most lower gain margin: what a sensitivity peak of 2 alone makes sure of, Ms/(Ms + 1).
pub(crate) const MOST_LOWER_GAIN: f64 = 2.0 / 3.0;
/// Largest sensitivity peak.
pub(crate) const MOST_SENSITIVITY_PEAK: f64 = 2.0;

/// Margins of a plant at its worst thrust, each number by itself.
fn at_worst_thrust(axis: &SampledAxis, of: &Controller, thrusts_n: &[f64]) -> Margins {
    let all = thrusts_n.iter().map(|thrust| axis.margins(of, *thrust));
    all.reduce(worse).unwrap_or_else(|| axis.margins(of, 0.0))
}

/// The worse of each number.
fn worse(a: Margins, b: Margins) -> Margins {
    let least = |a: Option<f64>, b: Option<f64>| match (a, b) {
        (Some(a), Some(b)) => Some(a.min(b)),
        (a, b) => a.or(b),
    };
    let most = |a: Option<f64>, b: Option<f64>| match (a, b) {
        (Some(a), Some(b)) => Some(a.max(b)),
        (a, b) => a.or(b),
    };
    let phase = if b.phase_deg.unwrap_or(f64::INFINITY) < a.phase_deg.unwrap_or(f64::INFINITY) {
        (b.phase_deg, b.gain_crossover_rad_s)
    } else {
        (a.phase_deg, a.gain_crossover_rad_s)
    };
    let gain = if b.upper_gain.unwrap_or(f64::INFINITY) < a.upper_gain.unwrap_or(f64::INFINITY) {
        (b.upper_gain, b.phase_crossover_rad_s)
    } else {
        (a.upper_gain, a.phase_crossover_rad_s)
    };
    Margins {
        stable: a.stable && b.stable,
        upper_gain: gain.0,
        phase_crossover_rad_s: gain.1,
        lower_gain: most(a.lower_gain, b.lower_gain),
        phase_deg: phase.0,
        gain_crossover_rad_s: phase.1,
        delay_s: least(a.delay_s, b.delay_s),
        sensitivity_peak: a.sensitivity_peak.max(b.sensitivity_peak),
    }
}

/// Margins of a controller for the best estimate and over all sampled plants.
pub(super) fn robustness(
    gains: &str,
    controller: Controller,
    nominal: &SampledPlant,
    draws: &[SampledPlant],
    thrusts_n: &[f64],
) -> Robustness {
    let best = at_worst_thrust(&nominal.discrete, &controller, thrusts_n);
    let each: Vec<Margins> = draws
        .iter()
        .map(|draw| at_worst_thrust(&draw.discrete, &controller, thrusts_n))
        .collect();
    let worst = each.iter().copied().fold(best, worse);
    let stable = each.iter().filter(|one| one.stable).count();
    let unstable = draws.iter().zip(&each).find(|(_, one)| !one.stable);
    let unstable_corner =
        unstable.map(|(draw, _)| corner(&draw.numbers, &draw.discrete, &controller, thrusts_n));
    Robustness {
        gains: gains.to_owned(),
        chosen: false,
        nominal: best,
        fifth_percentile: fifth(&each, &best),
        worst,
        draws: draws.len(),
        stable_share: stable as f64 / draws.len().max(1) as f64,
        unstable_corner,
        disturbance: thrusts_n
            .iter()
            .map(|thrust| disturbance(&nominal.discrete, &controller, *thrust))
            .fold(0.0, f64::max),
        controller,
    }
}

fn corner(
    of: &AxisNumbers,
    axis: &SampledAxis,
    controller: &Controller,
    thrusts_n: &[f64],
) -> String {
    let unstable_n = thrusts_n
        .iter()
        .find(|thrust| !axis.is_stable(controller, **thrust));
    format!(
        "at {:.1} N with gain {:.4}, lag {:.4} s, delay {:.4} s, effectiveness {:.4} {}, damping {:.3} {}, \
         stiffness {:.3} {}",
        unstable_n.copied().unwrap_or(f64::NAN),
        of.gain,
        of.lag_s,
        of.delay_s,
        of.effectiveness_per_kg_m,
        Unit::PerKilogramMetre,
        of.damping_per_s,
        Unit::PerSecond,
        of.stiffness_per_s2,
        Unit::PerSecondSquared,
    )
}

/// The number that 95 of 100 sampled plants meet or pass, of each margin by itself.
fn fifth(each: &[Margins], best: &Margins) -> Margins {
    let rank = |mut values: Vec<f64>, worst_is_small: bool| {
        values.sort_by(f64::total_cmp);
        if !worst_is_small {
            values.reverse();
        }
        let at = (0.05 * values.len() as f64).floor() as usize;
        values.get(at).copied()
    };
    let of = |get: fn(&Margins) -> Option<f64>, small: bool| {
        rank(each.iter().filter_map(get).collect(), small).or(get(best))
    };
    Margins {
        stable: each.iter().filter(|one| !one.stable).count() * 20 <= each.len(),
        upper_gain: of(|one| one.upper_gain, true),
        phase_crossover_rad_s: best.phase_crossover_rad_s,
        lower_gain: of(|one| one.lower_gain, false),
        phase_deg: of(|one| one.phase_deg, true),
        gain_crossover_rad_s: best.gain_crossover_rad_s,
        delay_s: of(|one| one.delay_s, true),
        sensitivity_peak: of(|one| Some(one.sensitivity_peak), false)
            .unwrap_or(best.sensitivity_peak),
    }
}

/// Time over which the disturbance response is followed, s.
const FOLLOWED_S: f64 = 4.0;

/// Root of the squared area of tilt after a step disturbance of one degree of nozzle, deg s^(1/2), run
/// tick by tick.
fn disturbance(axis: &SampledAxis, of: &Controller, thrust_n: f64) -> f64 {
    let tilts = response_to_step(axis, of, thrust_n, FOLLOWED_S);
    let sum: f64 = tilts.iter().map(|tilt| tilt * tilt * of.period_s).sum();
    sum.sqrt()
}

/// Whether 95 of 100 sampled plants meet every limit.
pub(super) fn meets_limits(of: &Robustness, period_s: f64) -> bool {
    let fifth = &of.fifth_percentile;
    fifth.stable
        && fifth.phase_deg.is_none_or(|deg| deg >= LEAST_PHASE_DEG)
        && fifth
            .upper_gain
            .is_none_or(|factor| factor >= LEAST_UPPER_GAIN)
        && fifth
            .lower_gain
            .is_none_or(|factor| factor <= MOST_LOWER_GAIN)
        && fifth.delay_s.is_none_or(|delay_s| delay_s >= period_s)
        && fifth.sensitivity_peak <= MOST_SENSITIVITY_PEAK
}
